"""Which pattern stands in which bar of a section.

One choosing for every player; a `Policy` says in what they differ. A pattern of several bars is entered at the bar of
the phrase (with a clave: of the piece) that the leader counts, so that no player ever turns it round, and in half time
both halves of a bar are played. No bar comes three times running where there is another one, unless the style lives
on repetition (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from itertools import chain
from typing import NamedTuple

from backing.band.players.common import BarPlan, Brief
from backing.band.players.patterns.lay import Chosen, leads_to
from backing.band.players.patterns.pools import Keeps, Pool, Spot, others, pool, spot
from backing.band.players.patterns.traits import density, rhythm, technique
from backing.ground.dice import Place
from backing.ground.timebase import Meter
from backing.styles.grid import Asked
from backing.styles.model import SECTION, Part, Pattern, Where
from backing.timeline.model import TimeFeel

HELD = 8  # bars for which an idea, or the answer to it, is held
STRAY = 0.3  # chance that a bar, or two for an idea of two, is played with the idea's answer

_LEADING = (Where.TURNAROUND, Where.BUILD, Where.BREAK)  # what ends with the section


class Idea(Enum):
    """For how long one idea is held, and where a second one answers it."""

    BAR = "every bar is chosen anew"
    EIGHT = "eight bars, answered by chance"
    SECTION = "all playings of the section, answered in the third bar of a phrase"


class Policy(NamedTuple):
    """How a player chooses.

    `fills`: patterns for a phrase's end stand where the plan asks for a fill, otherwise at every phrase end. `weighs`:
    the wanted density counts, who follows takes the sparse ones, and neither a pattern nor a rhythm comes three times
    running; others only mind the bar of a pattern, and finish a pattern that began wherever it may stand.
    """

    keeps: Keeps
    idea: Idea
    fills: bool = False
    weighs: bool = False


BASS = Policy(Keeps.NOTHING, Idea.EIGHT)
DRUMS = Policy(Keeps.TIME, Idea.EIGHT, fills=True)
PERCUSSION = Policy(Keeps.TIME, Idea.EIGHT)
COMPING = Policy(Keeps.TECHNIQUE, Idea.SECTION, weighs=True)
CONVERSING = Policy(Keeps.TECHNIQUE, Idea.BAR, weighs=True)  # comping in jazz


class _Bar(NamedTuple):
    """A bar to choose for: number in the section, plan, spot, and what may stand there."""

    number: int
    plan: BarPlan
    spot: Spot
    pool: Pool

    @property
    def ground(self) -> tuple[Meter, str, Where, Asked | None]:
        """What its patterns are for; a place without patterns of its own is played as any other."""
        asked = self.spot.asked
        if asked is not None:
            asked = asked._replace(left=0, side=self.pool[0].side)
        return self.spot.meter, self.spot.level, self.pool[0].where, asked

    @property
    def eight(self) -> int:
        """Which eight bars it is in, counted by the starts of phrases."""
        return (self.number - self.plan.phrase_bar) // HELD


class _Past(NamedTuple):
    """What was chosen so far: bar by bar, and the name of every pattern as it was begun."""

    bars: list[Chosen | None]
    names: list[str]
    held: dict[
        tuple[Meter, str, Where, Asked | None], tuple[Pattern, int]
    ]  # by what the patterns are for: until which bar

    def keep(self, part: Part, here: _Bar, pattern: Pattern) -> None:
        """Hold a pattern from this bar on, where it or its player says so."""
        if bars := pattern.hold or part.hold:
            self.held[here.ground] = pattern, here.number + bars

    def kept(self, here: _Bar) -> Pattern | None:
        """The pattern that is held in this bar."""
        pattern, until = self.held.get(here.ground, (None, 0))
        return pattern if here.number < until else None


def choose(brief: Brief, policy: Policy) -> list[Chosen | None]:
    """The pattern of every bar of a section; None where the part has none."""
    past = _Past([], [], {})
    pools: dict[Spot, Pool] = {}
    last: Spot | None = None
    for number, plan in enumerate(brief.plans):
        at = spot(brief, number, policy.fills, policy.weighs)
        if at not in pools:
            pools[at] = pool(brief, policy.keeps, at)
        here = _Bar(number, plan, at, pools[at])
        if not here.pool:
            past.bars.append(None)
            continue
        pattern = _going_on(past, here, policy, at.goes_on_as(last)) or past.kept(here)
        if pattern is None:
            pattern = _begun(brief, policy, here, past)
            past.names.append(pattern.name)
            past.keep(brief.part, here, pattern)
        past.bars.append(_entered(brief, pattern, here))
        last = at
    return _led_into(brief, past.bars)


def _led_into(brief: Brief, found: list[Chosen | None]) -> list[Chosen | None]:
    """The bars with the strokes that the patterns before them lead to."""
    into = brief.called
    for number, (bar, here) in enumerate(zip(brief.bars, found, strict=True)):
        if here is not None and into:
            found[number] = here._replace(into=into)
        into = leads_to(here, bar) if here is not None else ()
    return found


def _going_on(past: _Past, here: _Bar, policy: Policy, same_spot: bool) -> Pattern | None:
    """The pattern that is under way and not yet at its end; None where another one may begin."""
    before, phase = past.bars[-1] if past.bars else None, here.plan.phase
    if before is None:
        return None
    if before.pattern.where is here.spot.where in _LEADING:
        return before.pattern if same_spot else None
    if here.spot.asked is not None and before.pattern.idea != here.pool[0].idea:
        return None  # another idea begins with its own bar
    may = same_spot if policy.weighs else any(p is before.pattern for p in here.pool)
    second_half = phase.half == 1 and phase.bar % before.pattern.bars == before.bar
    next_bar = phase.half == 0 and phase.bar % before.pattern.bars == before.bar + 1
    return before.pattern if may and (second_half or next_bar) else None


def _entered(brief: Brief, pattern: Pattern, here: _Bar) -> Chosen:
    """Where a pattern is entered: as the leader counts, but what is made for the end of a phrase ends with it."""
    bar, half = here.plan.phase.bar % pattern.bars, here.plan.phase.half
    if pattern.where is here.spot.where in _LEADING:
        return _led(pattern, here.plan.left, brief.bars[here.number].time_feel)
    if pattern.where is here.spot.where is Where.PHRASE_END:
        slow = brief.bars[here.number].time_feel is TimeFeel.HALF
        return Chosen(
            pattern, bar if brief.style.runs_on else pattern.bars - 1, 1 if slow else half
        )
    return Chosen(pattern, bar, half)


def _led(pattern: Pattern, left: int, feel: TimeFeel) -> Chosen:
    """Where a pattern that leads into the next section is entered, so that it ends with this one."""
    if feel is TimeFeel.HALF:
        return Chosen(pattern, -((left + 1) // 2) % pattern.bars, left % 2)
    return Chosen(pattern, -(2 * left if feel is TimeFeel.DOUBLE else left) % pattern.bars)


def _begun(brief: Brief, policy: Policy, here: _Bar, past: _Past) -> Pattern:
    """A pattern for a bar in which one begins: the idea or its answer, unless it would come a third time running."""
    if brief.part.hold:
        return _held(brief, policy, here)
    fresh = _fresh(brief, policy, here, past)
    wanted = _wanted(brief, policy, here)
    for pattern in wanted:
        if any(p is pattern for p in fresh):
            return pattern
    if policy.idea is Idea.EIGHT:
        return wanted[-1]
    return _dense(brief.place, fresh or here.pool, here.plan.busy, here.number)


def _held(brief: Brief, policy: Policy, here: _Bar) -> Pattern:
    """What a player who holds on to a pattern takes up: for a section the same in all its playings of a chorus."""
    place = brief.groove if brief.part.hold == SECTION else brief.place.at(here.number)
    if policy.weighs:
        return _dense(place, here.pool, here.plan.busy, "held")
    return _weighed(place, here.pool, "held")


def _wanted(brief: Brief, policy: Policy, here: _Bar) -> list[Pattern]:
    """The idea that is held and the one that answers it, in the order in which they are wanted."""
    plan, place = here.plan, brief.place
    if policy.idea is Idea.BAR:
        return []
    if policy.idea is Idea.SECTION:
        idea = _dense(brief.groove, here.pool, plan.busy, "idea")
        rest = tuple(p for p in here.pool if p is not idea)
        answer = [_dense(place, rest, plan.busy, "answer", here.eight)] if rest else []
        answers = plan.phrase_bar % 4 == 2 and not brief.style.repeats
        return [*answer, idea] if answers else [idea, *answer]
    same = (
        brief.style.repeats and here.pool[0].where is Where.TIME
    )  # a loop is no other one at the end of a phrase
    idea = _weighed(place, here.pool, "idea", here.eight, plan.phrase_end and not same)
    rest = tuple(p for p in here.pool if p is not idea)
    if not rest:
        return [idea]
    other = _weighed(place, rest, "answer", here.eight)
    began = here.number - plan.phase.half - plan.phase.bar % max(idea.bars, other.bars)
    return [other, idea] if place.chance(STRAY, began, "stray") else [idea, other]


def _fresh(brief: Brief, policy: Policy, here: _Bar, past: _Past) -> Pool:
    """What would not come a third time running; where a level has nothing else, patterns of another level."""
    if brief.style.repeats:
        return here.pool
    if not policy.weighs:
        last = past.bars[-2:]
        return tuple(p for p in here.pool if last != [_entered(brief, p, here)] * 2)
    spare = others(brief, here.spot, technique(here.pool[0]))
    for offer in chain([here.pool], spare):
        if found := _unlike(brief, offer, here, past):
            return found
    return ()


def _unlike(brief: Brief, offer: Pool, here: _Bar, past: _Past) -> Pool:
    """Those that make neither a name nor a rhythm come a third time running."""
    names, heard = past.names[-2:], [rhythm(c) for c in past.bars[-2:] if c is not None]
    if len(names) == 2 and names[0] == names[1]:
        offer = tuple(p for p in offer if p.name != names[0])
    if len(heard) == 2 and heard[0] == heard[1]:
        offer = tuple(p for p in offer if rhythm(_entered(brief, p, here)) != heard[0])
    return offer


def _weighed(place: Place, patterns: Sequence[Pattern], *decision: object) -> Pattern:
    """One of some patterns by weight."""
    return place.pick(patterns, [p.weight for p in patterns], *decision)


def _dense(place: Place, patterns: Pool, busy: float, *decision: object) -> Pattern:
    """One of some patterns by weight, and by how near it comes to the wanted density."""
    counts = [density(p) for p in patterns]
    most, least = max(counts), min(counts)
    weights = []
    for pattern, count in zip(patterns, counts, strict=True):
        share = 0.5 if most == least else (count - least) / (most - least)
        weights.append(pattern.weight * max(0.15, 1.25 - 1.2 * abs(share - busy)))
    return place.pick(patterns, weights, "pattern", *decision)
