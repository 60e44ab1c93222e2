"""Where drums fill, and which of a style's fills stands there: one that was not played for sixteen bars.

Chosen for the whole track from its form alone, so that an edited bar leaves the other fills as they are; a player is
taken to fill from the same patterns all along.

Conventions: bars count as played, from 1. Source: fills in the last bar of each eight (of each section where sections
are short), and no fill twice in a row (common practice).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from functools import cache, lru_cache

from backing.band.players.common import Brief, band
from backing.band.players.patterns.altered import without_one
from backing.ground.dice import Place
from backing.styles.grid import NEAREST
from backing.styles.model import Pattern
from backing.timeline.model import Timeline

PHRASE, EVERY = 4, 8  # bars
FEET = ("kick", "pedal hat")
FRESH = 16  # bars for which a fill does not come again
LATELY = 2  # nor is one of the last two taken again


def fill_due(bar: int, bars: int) -> bool:
    """The last bar of a section of so many, and of each eight in it where at least four bars follow; from 0.

    >>> [bar for bar in range(18) if fill_due(bar, 18)]
    [7, 17]
    """
    if bar < 0:
        return False
    after = bars - 1 - bar
    return after == 0 or (bar % EVERY == EVERY - 1 and after >= PHRASE)


def due(timeline: Timeline) -> Iterator[int]:
    """Every bar in which drums fill if nothing forbids it: where one is due, and where one is written."""
    for section in timeline.sections:
        pickup = int(timeline.pickup and section.first == 1)
        bars = section.last - section.first + 1 - pickup
        for bar in timeline.bars[section.first - 1 : section.last]:
            if bar.fills or fill_due(bar.index - section.first - pickup, bars):
                yield bar.index


def ordinal(brief: Brief, bar: int) -> int:
    """How many fills of the track come before a bar."""
    return sum(at < bar for at, _ in _whole(brief, ""))


def ends_eight(brief: Brief, bar: int) -> bool:
    """Whether eight bars or a section of the track end with a bar, or a fill is written there."""
    return any(at == bar for at, _ in _whole(brief, ""))


def _whole(brief: Brief, level: str) -> Sequence[tuple[int, str]]:
    """The fills of the track with their levels; of a brief that does not know them, those that its timeline tells."""
    return brief.fills or [(at, level) for at in due(brief.timeline)]


def next_fill(
    brief: Brief, number: int, own: Callable[[str], Sequence[Pattern]], spare: bool
) -> Pattern | None:
    """The fill of a bar of a section, one of a style's `own` by level; None where all have been played lately.

    Those of the bar's level come first, then those of the nearest one. A style with nothing to `spare` for such a
    bar plays one of them again, each time without another of its strokes.
    """
    seed, role, *_ = brief.place.key
    place = Place((seed, role, "fills"))
    here = brief.bars[number].index
    level = band(brief.plans[number].level)
    fills = cache(own)  # a long track has hundreds of them, and asks for each again
    played: list[tuple[int, Pattern | None]] = []
    for at, then in _whole(brief, level):
        if at > here:
            break
        played.append((at, _next(place, at, fills, level if at == here else then, played, spare)))
    chosen = played[-1][1] if played else None
    times = sum(p is chosen for _, p in played[:-1])
    return chosen if chosen is None or spare else without_one(chosen, times)


def _next(
    place: Place,
    bar: int,
    own: Callable[[str], Sequence[Pattern]],
    level: str,
    played: Sequence[tuple[int, Pattern | None]],
    spare: bool,
) -> Pattern | None:
    """What is played in a bar after what was played before it."""
    lately = [p for then, p in played if bar - then <= FRESH] + [p for _, p in played[-LATELY:]]
    for near in NEAREST[level]:
        fresh = [p for p in own(near) if not any(_alike(p, q) for q in lately)]
        if fresh:
            return place.pick(fresh, [p.weight for p in fresh], bar)
    if spare:
        return None
    return _longest_ago([p for near in NEAREST[level] for p in own(near)], played)


def _longest_ago(
    offers: Sequence[Pattern], played: Sequence[tuple[int, Pattern | None]]
) -> Pattern | None:
    """Of some fills the one that was played last the longest time ago."""
    last = {id(p): number for number, (_, p) in enumerate(played)}
    return min(offers, key=lambda p: last.get(id(p), -1), default=None)


def _alike(a: Pattern, b: Pattern | None) -> bool:
    """Whether two fills are one to the ear: the same, or with the same strokes of the hands in a meter that leaves no more."""
    return a is b or (b is not None and bool(_hands(a)) and _hands(a) == _hands(b))


@lru_cache(maxsize=1024)
def _hands(pattern: Pattern) -> frozenset[tuple[str, int, int, Fraction]]:
    """Where hands strike in a fill: drum, bar, pulse, and place in it."""
    return frozenset(
        (drum, number, at, cell.at_q)
        for drum, bars in pattern.lines.items()
        if drum not in FEET
        for number, bar in enumerate(bars)
        for at, pulse in enumerate(bar)
        for cell in pulse.cells
    )
