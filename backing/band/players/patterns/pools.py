"""Which patterns may stand at a place of a section: those of its meter and level that keep what the player holds to.

A drummer keeps time on one voice through a section and changes it with the section or the level; a hand that picks
goes on picking; who follows another leaves room (common practice).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from enum import Enum
from functools import lru_cache
from typing import NamedTuple

from backing.band.players.common import Brief, band
from backing.band.players.patterns.fillings import ends_eight
from backing.band.players.patterns.traits import (
    LINE,
    Timekeeping,
    begins_alone,
    density,
    technique,
    timekeeping,
)
from backing.ground.timebase import Meter
from backing.styles.grid import Asked, choices, fit
from backing.styles.model import Pattern, Where

FOLLOWS = 0.3  # who may do less than this leaves room for another
BESIDE = {"p": ("mf",), "mf": ("p", "f"), "f": ("mf",)}  # levels whose patterns a level may borrow
GROOVES, FIGURES = 2**0.5 - 1, (5**0.5 - 1) / 2  # steps by which they are shared out over a track
SHORT = 4  # bars: what is held for no longer ends within a phrase
INNER, TALKED = (
    0.2,
    0.6,
)  # chance that a phrase inside of eight bars has an end: in a groove, in a conversation

Pool = tuple[Pattern, ...]


class Keeps(Enum):
    """What a player holds to through a section."""

    NOTHING = "nothing"
    TIME = "the voice that keeps time, and how densely"
    TECHNIQUE = "the technique of the hand"


class Spot(NamedTuple):
    """What a bar asks of a pattern; `follows` where its player leaves room for another.

    `asked` is None for a player whose patterns ask for nothing beside meter, level and place.
    """

    meter: Meter
    level: str
    where: Where
    follows: bool
    asked: Asked | None = None
    accompanies: bool = False  # another player leads: chords are better held or struck than broken

    def goes_on_as(self, other: Spot | None) -> bool:
        """Whether a pattern that was begun at another spot may go on here: all but the side of the clave is the same."""
        return other is not None and self._aside() == other._aside()

    def _aside(self) -> Spot:
        if self.asked is None:
            return self
        return self._replace(asked=self.asked._replace(side="", left=0))


def spot(brief: Brief, number: int, busy: float, fills: bool, yields: bool) -> Spot:
    """What a bar asks for of one who may do `busy` much in it.

    With `fills` the end of a phrase is where the plan asks for a fill; `yields`: may follow.
    """
    bar, plan = brief.bars[number], brief.plans[number]
    asked = None
    if not _anywhere(brief.part.patterns):
        asked = Asked(plan.energy, plan.ideas, plan.side, plan.left)
    own = _places(brief.part.patterns, bar.meter, asked)
    special = next((where for where in plan.places if where in own), None)
    if plan.close and (special is None or Where.CLOSE in own):
        where = Where.CLOSE
    elif special is not None:
        where = special
    elif plan.fill if fills else _leads_on(brief, number):
        where = Where.PHRASE_END
    else:
        where = Where.OPENING if plan.opening else Where.TIME
    less = busy < FOLLOWS
    whole = less and brief.style.clave is None and not brief.style.repeats
    return Spot(bar.meter, band(plan.level), where, yields and less, asked, whole)


def _leads_on(brief: Brief, number: int) -> bool:
    """Whether a bar leads into the next phrase: where eight bars or the section end, elsewhere now and then.

    In a conversation every phrase has an end, if not always the same one.
    """
    plan = brief.plans[number]
    if not plan.phrase_end:
        return False
    whole = ends_eight(brief, brief.bars[number].index)
    inner = INNER if (brief.part.hold or brief.style.hold) > SHORT else TALKED
    return whole or brief.place.chance(inner, number, "leads on")


@lru_cache(maxsize=512)
def _anywhere(patterns: Pool) -> bool:
    return all(p.anywhere for p in patterns)


@lru_cache(maxsize=2048)
def _places(patterns: Pool, meter: Meter, asked: Asked | None) -> frozenset[Where]:
    """The places that a player has patterns for."""
    return frozenset(p.where for p in patterns if asked is None or asked.suits(fit(p, meter)))


def pool(brief: Brief, keeps: Keeps, at: Spot) -> Pool:
    """The patterns that may stand at a spot; empty where the part has none."""
    return _POOLS[keeps](brief, at)


def _any(brief: Brief, at: Spot) -> Pool:
    return choices(brief.part.patterns, at.meter, at.level, at.where, at.asked)


def _in_time(brief: Brief, at: Spot) -> Pool:
    """The patterns that keep time as the section's groove does; other places keep its cymbal where they can."""
    found, groove = _on(_any(brief, at), brief.led.time), _groove(brief, at)
    if groove is None:
        return found
    if any(p.where is Where.TIME for p in found):
        return tuple(p for p in found if groove.goes_with(timekeeping(p)))
    return tuple(_kept_on(p, groove.voice) for p in found)


def own_fills(brief: Brief, at: Spot, level: str) -> Pool:
    """A style's own fills for a level, with the time on the cymbal of the groove that they stand in."""
    groove = _groove(brief, at)
    found = (p for p in _any(brief, at._replace(level=level)) if p.where is at.where and not p.idea)
    return tuple(_kept_on(p, groove.voice) if groove else p for p in found)


def _groove(brief: Brief, at: Spot) -> Timekeeping | None:
    """How time is kept at a level, for all playings of the section in a chorus or two."""
    time = _on(_any(brief, at._replace(where=Where.TIME)), brief.led.time)
    if not time:
        return None
    return timekeeping(_by_turns(brief, time, "groove", at.level))


def _on(patterns: Pool, voice: str) -> Pool:
    """The patterns with time on the cymbal that the leader asks for, where it is on hat or ride and closed."""
    if not voice:
        return patterns
    return tuple(p if "open hat" in p.lines else _kept_on(p, voice) for p in patterns)


@lru_cache(maxsize=1024)
def _kept_on(pattern: Pattern, voice: str) -> Pattern:
    """A fill with the time on the groove's own cymbal."""
    own = timekeeping(pattern).voice
    if {own, voice} != {"hat", "ride"} or voice in pattern.lines:
        return pattern
    return replace(pattern, lines={voice if n == own else n: v for n, v in pattern.lines.items()})


def _in_hand(brief: Brief, at: Spot) -> Pool:
    """The patterns in the section's own technique, where there are such; who follows takes the sparse ones."""
    found = _any(brief, at)
    time = _any(brief, at._replace(where=Where.TIME))
    if not time or brief.style.repeats:
        return found
    if at.accompanies:
        found, time = _whole(found), _whole(time)
    if at.follows:
        whole = tuple(p for p in time if technique(p) != "picked")
        time = _sparse(whole or time)
        if at.where is Where.TIME:
            found = time
    wanted = technique(_by_turns(brief, time, "technique", at.level))
    wanted_too = () if at.where is Where.TIME else (LINE,)  # a run may lead out of any figure
    return tuple(p for p in found if technique(p) in (wanted, *wanted_too)) or found


def _by_turns(brief: Brief, patterns: Pool, *decision: object) -> Pattern:
    """What a groove is known by, the patterns that weigh more in more of a track's grooves."""
    weights = [p.weight for p in patterns]
    return brief.track.by_turns(patterns, weights, brief.grooves, GROOVES, *decision)


def _whole(patterns: Pool) -> Pool:
    """Those that do not break chords, where there are such (common practice: one breaks, the other holds)."""
    return tuple(p for p in patterns if technique(p) != "picked" or not begins_alone(p)) or patterns


def _sparse(patterns: Pool) -> Pool:
    """The half with the fewest strokes, two at least."""
    counts = sorted(density(p) for p in patterns)
    most = counts[min(len(counts) - 1, max(1, (len(counts) - 1) // 2))]
    return tuple(p for p in patterns if density(p) <= most)


def others(brief: Brief, at: Spot, wanted: str) -> Iterator[Pool]:
    """Where a level's own patterns are used up: those of the levels beside it, of the `wanted` technique first."""
    if at.follows:  # more of the level's own for one who follows
        yield tuple(p for p in _any(brief, at) if not begins_alone(p))
    found = [p for level in BESIDE[at.level] for p in _any(brief, at._replace(level=level))]
    yield tuple(p for p in found if technique(p) == wanted)
    yield tuple(found)


_POOLS: Mapping[Keeps, Callable[[Brief, Spot], Pool]] = {
    Keeps.NOTHING: _any,
    Keeps.TIME: _in_time,
    Keeps.TECHNIQUE: _in_hand,
}
