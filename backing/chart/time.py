"""How what stands in a bar shares its time: the five rules.

Conventions: quarters from the bar line. A *shape* is a bar without its symbols: `CHORD`, `HOLD`, or a tuple of shapes for
what stands in brackets and shares one place. Times are in reading order, one (start, length) for every leaf.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from backing.chart.codes import count
from backing.ground.timebase import Meter

CHORD, HOLD = 0, 1
Shape = int | tuple["Shape", ...]
Times = tuple[tuple[Fraction, Fraction], ...]
MOST_SHARING = 16  # items in one pair of brackets
MOST_ITEMS = 64  # of a bar, brackets counted as one: all quarters of 32/2


class Space(NamedTuple):
    """The bar that is filled: a whole one of `meter`, or a pickup of so many counted beats."""

    meter: Meter
    pickup: Fraction | None = None

    @property
    def length_q(self) -> Fraction:
        return self.meter.length_q if self.pickup is None else self.pickup * self.meter.beat_q

    @property
    def grids(self) -> tuple[tuple[Fraction, ...], ...]:
        """The ways in which items with '/' may be counted: places of the items, the bar's end included."""
        return _grids(self)


@lru_cache(maxsize=256)
def _grids(space: Space) -> tuple[tuple[Fraction, ...], ...]:
    meter, length = space.meter, space.length_q
    grids: list[tuple[Fraction, ...]] = []
    if space.pickup is None:
        grids.append(_even(meter.beats, length))
        if len(meter.groups) > 1:
            grids.append((*meter.group_starts_q, length))
    else:
        if space.pickup.denominator == 1:
            grids.append(_even(space.pickup.numerator, length))
        else:
            grids.append(_even(space.pickup.numerator, length))
    small = Fraction(1, 2) if meter.unit == 8 else Fraction(1) if meter.unit == 2 else None
    if small and (length / small).denominator == 1:
        grids.append(_even(int(length / small), length))
    return tuple(dict.fromkeys(grids))


def _even(parts: int, length_q: Fraction) -> tuple[Fraction, ...]:
    return tuple(length_q * i / parts for i in range(parts + 1))


def without_hold(space: Space, items: int) -> tuple[Fraction, ...] | None:
    """Places of `items` chords that share a bar with no '/' in it, None where they do not divide it."""
    length, meter = space.length_q, space.meter
    beats = meter.beats if space.pickup is None else space.pickup.numerator
    if items == 1 or beats % items == 0:
        return _even(items, length)
    if space.pickup is None and items == len(meter.groups):
        return (*meter.group_starts_q, length)
    return None


def layout(space: Space, shape: Sequence[Shape]) -> Times | None:
    """When every leaf of a bar begins and how long its place is; None where the items do not fit the bar.

    >>> from backing.ground.timebase import Meter
    >>> [str(start) for start, _ in layout(Space(Meter.of(7, 8)), (CHORD, CHORD, CHORD)) or ()]
    ['0', '1', '2']
    """
    return _layout(space, tuple(shape)) if len(shape) <= MOST_ITEMS else None


@lru_cache(maxsize=8192)
def _layout(space: Space, shape: tuple[Shape, ...]) -> Times | None:
    items = len(shape)
    places: tuple[Fraction, ...] | None = None
    if HOLD in shape:
        places = next((grid for grid in space.grids if len(grid) == items + 1), None)
    else:
        places = without_hold(space, items)
    if places is None:
        return None
    times: list[tuple[Fraction, Fraction]] = []
    for item, (start, end) in zip(shape, pairwise(places), strict=True):
        _share(item, start, end - start, times)
    return tuple(times)


def _share(
    item: Shape, start: Fraction, length: Fraction, times: list[tuple[Fraction, Fraction]]
) -> None:
    if isinstance(item, tuple):
        part = length / len(item)
        for i, inner in enumerate(item):
            _share(inner, start + part * i, part, times)
    else:
        times.append((start, length))


def beat_words(space: Space) -> str:
    """`4 beats`, `7 eighths in groups of 2+2+3`: what the items of a bar have to fill."""
    meter = space.meter
    if space.pickup is not None:
        return f"a pickup of {count(space.pickup, 'beat')}"
    if meter.counted_in_eighths:
        return f"{meter.count} notes in groups of {'+'.join(map(str, meter.groups))}"
    return count(meter.beats, "beat")


def advice(space: Space, items: Sequence[str], holds: bool) -> tuple[str, str, str]:
    """How to write items that do not fit: what was expected, what to do, and an example.

    `items` are the pieces of the bar as typed, of which the first ones are shown where there are too many.
    """
    items = items[:MOST_ITEMS]
    counts = [len(grid) - 1 for grid in space.grids]
    expected = " or ".join(map(str, counts))
    have = len(items)
    chords = [i for i in items if i != "/"] or ["C7"]
    larger = sorted(c for c in counts if c > len(chords) or (holds and c == len(chords)))
    if not larger:
        return expected, "let chords share a beat in brackets", _paired(chords, counts[0])
    target = next((c for c in larger if c >= have), larger[-1]) if holds else larger[0]
    return expected, "write the beats with '/'", _spread(list(items), chords, target)


def _spread(items: list[str], chords: list[str], target: int) -> str:
    """Items with '/' added or taken away until there are `target`."""
    while len(items) > target and "/" in items:
        del items[len(items) - 1 - items[::-1].index("/")]
    if "/" in items and len(items) < target:
        return " ".join(items + ["/"] * (target - len(items)))
    extra, each = [0] * len(chords), target - len(chords)
    for i in range(each):
        extra[i % len(chords)] += 1
    return " ".join(c + " /" * n for c, n in zip(chords, extra, strict=True))


def _paired(chords: list[str], places: int) -> str:
    """Chords in brackets so that there are as many places as the bar has."""
    if len(chords) > 4 * places:
        return "(C F) (G C)"
    sizes = [len(chords) // places + (i >= places - len(chords) % places) for i in range(places)]
    parts, at = [], 0
    for size in sizes:
        part = chords[at : at + size]
        parts.append(part[0] if size == 1 else f"({' '.join(part)})")
        at += size
    return " ".join(parts)
