"""Which patterns may stand at a place of a section: those of its meter and level that keep what the player holds to.

A drummer keeps time on one voice through a section and changes it with the section or the level; a hand that picks
goes on picking; who follows another leaves room (common practice).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from enum import Enum
from functools import lru_cache
from typing import NamedTuple

from backing.band.players.common import BarPlan, Brief, band
from backing.band.players.patterns.traits import begins_alone, density, technique, timekeeping
from backing.ground.timebase import Meter
from backing.styles.grid import choices
from backing.styles.model import Pattern, Where
from backing.timeline.model import PlayedBar

FOLLOWS = 0.3  # who may do less than this leaves room for another

Pool = tuple[Pattern, ...]


class Keeps(Enum):
    """What a player holds to through a section."""

    NOTHING = "nothing"
    TIME = "the voice that keeps time, and how densely"
    TECHNIQUE = "the technique of the hand"


class Spot(NamedTuple):
    """What a bar asks of a pattern; `follows` where its player leaves room for another."""

    meter: Meter
    level: str
    where: Where
    follows: bool


def spot(bar: PlayedBar, plan: BarPlan, fills: bool, yields: bool, own: Collection[Where]) -> Spot:
    """What a bar asks for: with `fills` the end of a phrase is where the plan asks for a fill; `yields`: may follow.

    `own` are the places that the player has patterns for.
    """
    special = next((where for where in plan.places if where in own), None)
    if plan.close and (special is None or Where.CLOSE in own):
        where = Where.CLOSE
    elif special is not None:
        where = special
    elif plan.fill if fills else plan.phrase_end:
        where = Where.PHRASE_END
    else:
        where = Where.OPENING if plan.opening else Where.TIME
    return Spot(bar.meter, band(plan.level), where, yields and plan.busy < FOLLOWS)


def pool(brief: Brief, keeps: Keeps, at: Spot) -> Pool:
    """The patterns that may stand at a spot; empty where the part has none."""
    return _POOLS[keeps](brief, at)


def _any(brief: Brief, at: Spot) -> Pool:
    return choices(brief.part.patterns, at.meter, at.level, at.where)


def _in_time(brief: Brief, at: Spot) -> Pool:
    """The patterns that keep time as the section's groove does.

    The groove is chosen for all playings of the section in a chorus or two; other places keep its cymbal where they can.
    """
    time = _any(brief, at._replace(where=Where.TIME))
    found = _any(brief, at)
    if not time:
        return found
    groove = timekeeping(brief.groove.pick(time, [p.weight for p in time], "groove", at.level))
    if any(p.where is Where.TIME for p in found):
        return tuple(p for p in found if groove.goes_with(timekeeping(p)))
    same = tuple(p for p in found if timekeeping(p).voice in ("", groove.voice))
    return same or tuple(_kept_on(p, groove.voice) for p in found)


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
    if at.follows:
        whole = tuple(p for p in time if technique(p) != "picked")
        time = _sparse(whole or time)
        if at.where is Where.TIME:
            found = time
    wanted = technique(brief.groove.pick(time, [p.weight for p in time], "technique", at.level))
    return tuple(p for p in found if technique(p) == wanted) or found


def _sparse(patterns: Pool) -> Pool:
    """The half with the fewest strokes, two at least."""
    counts = sorted(density(p) for p in patterns)
    most = counts[min(len(counts) - 1, max(1, (len(counts) - 1) // 2))]
    return tuple(p for p in patterns if density(p) <= most)


def others(brief: Brief, at: Spot, wanted: str) -> Iterator[Pool]:
    """Where a level's own patterns are used up: those of the other levels, of the `wanted` technique first."""
    if at.follows:  # more of the level's own for one who follows
        yield tuple(p for p in _any(brief, at) if not begins_alone(p))
    levels = [level for level in ("mf", "p", "f") if level != at.level]
    found = [p for level in levels for p in _any(brief, at._replace(level=level))]
    yield tuple(p for p in found if technique(p) == wanted)
    yield tuple(found)


_POOLS: Mapping[Keeps, Callable[[Brief, Spot], Pool]] = {
    Keeps.NOTHING: _any,
    Keeps.TIME: _in_time,
    Keeps.TECHNIQUE: _in_hand,
}
