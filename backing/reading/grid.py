"""Human timing to written rhythm: for each beat the grid that its onsets lie on.

Conventions: onsets in beats, a beat is the counted beat. One grid a beat, not a note: its cost is how rare it is, how far
the onsets lie from it, and whether it differs from that of the beat before; the cheapest way over all beats wins. Swung
eighths are a grid of their own that is written straight. *Sources*: one grid a beat and the best path over beats are as in
Cemgil et al. 2000 and Raphael 2002 (from memory); the costs were set by the lines in the tests.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction
from statistics import median
from typing import NamedTuple

SPREAD = 0.045  # of human onsets, in beats
CHANGE = 0.6  # from one grid to another
COLLISION = 14.0  # two onsets at one place
LATE = 1.0 - 1e-9
SWUNG = (0.54, 0.72)  # where the second of two swung eighths may lie, in beats
SWINGING = 3  # times as many beats with a late second eighth as with an even one


class Grid(NamedTuple):
    """Places of a beat as they are heard and as they are written, and how rare it is to need them."""

    heard: tuple[float, ...]
    written: tuple[Fraction, ...]
    rarity: float


def _even(parts: int, rarity: float) -> Grid:
    places = tuple(Fraction(i, parts) for i in range(parts + 1))
    return Grid(tuple(map(float, places)), places, rarity)


PLAIN = (_even(1, 0.0), _even(2, 0.4), _even(4, 1.6), _even(3, 1.8), _even(6, 4.5), _even(8, 6.0))
COMPOUND = (
    _even(1, 0.0),
    _even(3, 0.3),
    _even(6, 1.6),
    _even(2, 2.2),
    _even(12, 5.0),
)  # beats of three eighths


class Placed(NamedTuple):
    """Written places of onsets, in beats, and whether they are swung."""

    places: tuple[Fraction, ...]
    swung: bool


def quantised(onsets: Sequence[float], compound: bool = False) -> Placed:
    """The written place of every onset; they come in order.

    >>> [str(p) for p in quantised([0.02, 0.98, 1.51, 2.01, 2.34, 2.65]).places]
    ['0', '1', '3/2', '2', '7/3', '8/3']
    """
    grids = COMPOUND if compound else PLAIN
    straight = _path(onsets, grids)
    late = None if compound else _swing(onsets)
    if late is None:
        return Placed(straight[0], False)
    swing = Grid((0.0, late, 1.0), (Fraction(0), Fraction(1, 2), Fraction(1)), 0.4)
    swung = _path(onsets, (grids[0], swing, *grids[2:]))
    return Placed(swung[0], True) if swung[1] < straight[1] else Placed(straight[0], False)


def _swing(onsets: Sequence[float]) -> float | None:
    """Where the second of two eighths lies, None where they are even."""
    seconds: list[float] = []
    beats: dict[int, list[float]] = {}
    for onset in onsets:
        beats.setdefault(int(onset + 0.12), []).append(onset - int(onset + 0.12))
    for inside in beats.values():
        off = [p for p in inside if 0.2 < p < 0.85]
        if len(off) == 1:
            seconds.append(off[0])
    late = [p for p in seconds if SWUNG[0] <= p <= SWUNG[1]]
    even = [p for p in seconds if abs(p - 0.5) < 0.04]
    return median(late) if len(late) >= 2 and len(late) >= SWINGING * len(even) else None


def _path(onsets: Sequence[float], grids: Sequence[Grid]) -> tuple[tuple[Fraction, ...], float]:
    """The cheapest grids over all beats: the written places and what they cost."""
    if not onsets:
        return (), 0.0
    costs: list[float] = [0.0] * len(grids)
    ends: list[Fraction | None] = [None] * len(grids)  # the last place of each way
    ways: list[
        list[tuple[int, tuple[Fraction, ...]]]
    ] = []  # from which grid, and the places, beat by beat
    for beat in sorted({int(onset) for onset in onsets}):
        inside = onsets[bisect_left(onsets, beat) : bisect_left(onsets, beat + 1)]
        step: list[tuple[int, tuple[Fraction, ...]]] = []
        after: list[float] = []
        for number, grid in enumerate(grids):
            change = CHANGE if ways else 0.0
            cost, other = min((c + change * (i != number), i) for i, c in enumerate(costs))
            own, places = _fit(inside, beat, grid, ends[other])
            after.append(cost + own)
            step.append((other, places))
        costs, ends = after, [places[-1] for _, places in step]
        ways.append(step)
    best = min(range(len(grids)), key=costs.__getitem__)
    total, number, found = costs[best], best, []
    for step in reversed(ways):
        number, places = step[number]
        found.append(places)
    return tuple(p for places in reversed(found) for p in places), total


def _fit(
    inside: Sequence[float], beat: int, grid: Grid, last: Fraction | None
) -> tuple[float, tuple[Fraction, ...]]:
    """What the onsets of a beat cost on a grid, and where they are written."""
    cost = grid.rarity
    places: list[Fraction] = []
    for onset in inside:
        part = onset - beat
        nearest = min(range(len(grid.heard)), key=lambda i: abs(grid.heard[i] - part))
        place = beat + grid.written[nearest]
        cost += ((grid.heard[nearest] - part) / SPREAD) ** 2 / 2
        if last is not None and place <= last:
            cost += COLLISION
            step = grid.written[1]
            place = last + step
        places.append(place)
        last = place
    return cost, tuple(places)
