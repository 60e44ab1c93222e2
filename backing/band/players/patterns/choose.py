"""Which pattern stands in which bar of a section.

One choosing for every player; a `Policy` says in what they differ. A groove is allowed to be a groove: its figure is
taken up with a section, a level or a turnaround and held for as long as the style says. Whoever comps in jazz holds a
conversation instead: a motif of two bars, said again and answered, in which no bar comes three times running. A pattern
of several bars is entered at the bar of the phrase (with a clave: of the piece) that the leader counts, so that no
player ever turns it round, and in half time both halves of a bar are played (all common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from itertools import chain
from typing import NamedTuple

from backing.band.players.common import BarPlan, Brief
from backing.band.players.patterns.altered import one_more_or_less
from backing.band.players.patterns.fillings import next_fill
from backing.band.players.patterns.lay import Chosen, leads_to
from backing.band.players.patterns.pools import (
    FIGURES,
    SHORT,
    Keeps,
    Pool,
    Spot,
    others,
    own_fills,
    pool,
    spot,
)
from backing.band.players.patterns.traits import density, rhythm, technique
from backing.ground.dice import Place
from backing.ground.timebase import Meter
from backing.styles.grid import Asked
from backing.styles.model import SECTION, Part, Pattern, Style, Where
from backing.timeline.model import TimeFeel

WHOLE, TWO = (
    0.6,
    0.8,
)  # chance that what is held for a phrase lasts as long, and up to where for two bars
STAYS = 0.5  # chance that a player goes on with the section's own figure when it has been held

_LEADING = (Where.TURNAROUND, Where.BUILD, Where.BREAK)  # what ends with the section


class Manner(Enum):
    """How a player goes on from bar to bar."""

    GROOVE = "a figure held, another one in each playing of a section"
    SECTION = "a figure held, the same in all playings of a section"
    TALK = "a motif of two bars, said again and answered"


class Policy(NamedTuple):
    """How a player chooses.

    `fills`: patterns for a phrase's end stand where the plan asks for a fill, otherwise where a section or eight bars
    end, and now and then at the end of a phrase. `weighs`: the wanted density counts, and who follows takes the sparse
    ones. `alters`: a held figure has a stroke more or less now and then.
    """

    keeps: Keeps
    manner: Manner
    fills: bool = False
    weighs: bool = False
    alters: bool = False


BASS = Policy(Keeps.NOTHING, Manner.GROOVE, alters=True)
DRUMS = Policy(Keeps.TIME, Manner.GROOVE, fills=True)
PERCUSSION = Policy(Keeps.TIME, Manner.GROOVE)
COMPING = Policy(Keeps.TECHNIQUE, Manner.SECTION, weighs=True, alters=True)
CONVERSING = Policy(Keeps.TECHNIQUE, Manner.TALK, weighs=True)  # comping in jazz


class _Bar(NamedTuple):
    """A bar to choose for: number in the section, plan, spot, what may stand there, and the stretch it is held in.

    `since` is the bar in which that stretch begins, `busy` how much the player may do in it.
    """

    number: int
    plan: BarPlan
    spot: Spot
    pool: Pool
    since: int
    busy: float

    @property
    def ground(self) -> tuple[Meter, str, Where, Asked | None]:
        """What its patterns are for; a place without patterns of its own is played as any other."""
        asked = self.spot.asked
        if asked is not None:
            asked = asked._replace(left=0, side=self.pool[0].side)
        return self.spot.meter, self.spot.level, self.pool[0].where, asked

    @property
    def fills(self) -> bool:
        """Whether one of the style's fills stands here, and none that the band plays together."""
        first = self.pool[0] if self.pool else None
        here = first is not None and first.where is self.spot.where and not first.idea
        return here and self.spot.where is Where.PHRASE_END


class _Past(NamedTuple):
    """What was chosen so far: bar by bar, and the name of every pattern as it was begun."""

    bars: list[Chosen | None]
    names: list[str]
    held: dict[
        tuple[Meter, str, Where, Asked | None], tuple[Pattern, int]
    ]  # by what the patterns are for: until which bar

    def keep(self, style: Style, part: Part, here: _Bar, pattern: Pattern) -> None:
        """Hold a pattern from this bar on, where it or its player says so, and what comes after such a one."""
        after = style.hold if here.ground in self.held else 0
        if bars := pattern.hold or part.hold or after:
            self.held[here.ground] = pattern, here.number + bars

    def heard_twice(self, pattern: Pattern, bar: int) -> bool:
        """Whether the last two bars had the rhythm that a bar of a pattern has."""
        wanted = rhythm(Chosen(pattern, bar))
        return len(self.bars) > 1 and all(c and rhythm(c) == wanted for c in self.bars[-2:])

    def kept(self, here: _Bar) -> Pattern | None:
        """The pattern that is held in this bar."""
        pattern, until = self.held.get(here.ground, (None, 0))
        return pattern if here.number < until else None


def choose(brief: Brief, policy: Policy) -> list[Chosen | None]:
    """The pattern of every bar of a section; None where the part has none."""
    past = _Past([], [], {})
    pools: dict[Spot, Pool] = {}
    last: Spot | None = None
    for number in range(len(brief.bars)):
        here = _bar(brief, policy, number, pools)
        if not here.pool:
            past.bars.append(None)
            continue
        same_spot = here.spot.goes_on_as(last)
        pattern = _going_on(past, here, policy, same_spot) or past.kept(here)
        if pattern is None:
            pattern = _begun(brief, policy, here, past)
            past.names.append(pattern.name)
            past.keep(brief.style, brief.part, here, pattern)
        past.bars.append(_entered(brief, pattern, here))
        last = here.spot
    found = _led_into(brief, past.bars)
    return one_more_or_less(brief, found) if policy.alters else found


def _bar(brief: Brief, policy: Policy, number: int, pools: dict[Spot, Pool]) -> _Bar:
    """What may stand in a bar; where all of a style's fills were played lately, time, over which one is made up."""
    plan, since = brief.plans[number], stretch(brief, number)
    busy = plan.busy if policy.manner is Manner.TALK else brief.plans[since].busy
    at = spot(brief, number, busy, policy.fills, policy.weighs)
    here = _Bar(number, plan, at, _pooled(brief, policy, at, pools), since, busy)
    if policy.fills and here.fills:
        spare, here_at = _makes_up(brief), at
        fill = next_fill(brief, number, lambda level: own_fills(brief, here_at, level), spare)
        if fill is not None:
            return here._replace(pool=(fill,))
        at = at._replace(where=Where.TIME)
        return here._replace(spot=at, pool=_pooled(brief, policy, at, pools))
    return here


def _pooled(brief: Brief, policy: Policy, at: Spot, pools: dict[Spot, Pool]) -> Pool:
    if at not in pools:
        pools[at] = pool(brief, policy.keeps, at)
    return pools[at]


def _makes_up(brief: Brief) -> bool:
    """Whether a drummer has fills beside those of the style; a clave is kept to in its own."""
    return brief.part.word("fills") != "none" and brief.style.clave is None


def stretch(brief: Brief, number: int) -> int:
    """The bar of a section in which the figure that is held in one was taken up: one that begins a phrase.

    What a style holds for no longer than a phrase ends within it, now and then before its end. In an excerpt it was
    taken up in the first bar at the earliest.
    """
    phrase_bar, hold = brief.plans[number].phrase_bar, brief.style.hold
    begins = number - phrase_bar
    if hold > SHORT:
        while begins % hold >= SHORT and begins >= SHORT:
            begins -= SHORT
        return max(0, begins)
    rolled = brief.place.roll("stretch", begins)
    part = hold if rolled < WHOLE else 2 if rolled < TWO else 3
    return max(0, begins + (part if phrase_bar >= part else 0))


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
    if (
        policy.manner is Manner.TALK
        and next_bar
        and past.heard_twice(before.pattern, before.bar + 1)
    ):
        return None
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
    """A pattern for a bar in which one begins."""
    if brief.part.hold:
        return _held(brief, policy, here)
    if policy.manner is Manner.TALK:
        return _said(brief, policy, here, past)
    if here.pool[0].where is not Where.TIME or here.ground in past.held:
        return _one(policy, brief.place, here, here.pool, here.number)
    return _figure(brief, policy, here)


def _held(brief: Brief, policy: Policy, here: _Bar) -> Pattern:
    """What a player who holds on to a pattern takes up: for a section the same in all its playings of a chorus."""
    place = brief.groove if brief.part.hold == SECTION else brief.place.at(here.number)
    return _one(policy, place, here, here.pool, "held")


def _figure(brief: Brief, policy: Policy, here: _Bar) -> Pattern:
    """The figure of a stretch: the section's own in the first one, then that or another."""
    number = brief.grooves if policy.manner is Manner.SECTION else brief.playing
    weights = _weights(policy, here, here.pool)
    figure = brief.track.by_turns(here.pool, weights, number, FIGURES, "figure", here.spot.level)
    rest = tuple(p for p in here.pool if p is not figure)
    first = here.since <= 1  # a pickup stands before the first phrase
    if first or not rest or brief.place.chance(STAYS, here.since, "stays"):
        return figure
    return _one(policy, brief.place, here, rest, "another", here.since)


def _said(brief: Brief, policy: Policy, here: _Bar, past: _Past) -> Pattern:
    """What comes next in a conversation: the motif again two bars after it, else something new.

    A motif is two bars that differ.
    """
    fresh, said = _fresh(brief, here, past), here.number - here.since
    motif = past.bars[here.since] if 0 < said < 3 else None
    if motif is not None and motif.pattern.where is not Where.TIME:
        motif = past.bars[here.number - 1]  # behind what opens the section
    if motif is not None:
        again = said == 2 and density(motif.pattern) >= 1  # a chord that is held is no motif
        if again and any(p is motif.pattern for p in fresh):
            return motif.pattern
        fresh = tuple(p for p in fresh if p is not motif.pattern) or fresh
    return _one(policy, brief.place, here, fresh or here.pool, here.number)


def _fresh(brief: Brief, here: _Bar, past: _Past) -> Pool:
    """What would not come a third time running; where a level has nothing else, patterns of the next level."""
    if brief.style.repeats:
        return here.pool
    for offer in chain([here.pool], others(brief, here.spot, technique(here.pool[0]))):
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


def _one(
    policy: Policy, place: Place, here: _Bar, patterns: Sequence[Pattern], *decision: object
) -> Pattern:
    """One of some patterns, as the player chooses."""
    return place.pick(patterns, _weights(policy, here, patterns), "pattern", *decision)


def _weights(policy: Policy, here: _Bar, patterns: Sequence[Pattern]) -> list[float]:
    """How readily each of some patterns is taken, for some players by how near it comes to the wanted density too."""
    if not policy.weighs:
        return [p.weight for p in patterns]
    counts = [density(p) for p in patterns]
    most, least = max(counts), min(counts)
    weights = []
    for pattern, count in zip(patterns, counts, strict=True):
        share = 0.5 if most == least else (count - least) / (most - least)
        weights.append(pattern.weight * max(0.15, 1.25 - 1.2 * abs(share - here.busy)))
    return weights
