"""Places in a bar as a chart types them: alone, sharing the bar, or beat by beat with `/` and brackets.

The inverse of `chart.time`, which says what the items of a bar mean. Conventions: quarters from the bar line; a leaf is
a symbol, a note or a `/`. Of all ways that a chart allows the one is typed that has the fewest leaves and brackets.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from backing.chart.codes import Faults
from backing.chart.lex import cells, plain
from backing.chart.music import MOST_DEPTH, content
from backing.chart.time import CHORD, HOLD, MOST_SHARING, Shape, Space, layout, without_hold
from backing.ground.source import Source

_AT_ONCE = (Fraction(0),)
BRACKETS = 3  # what a pair of brackets costs, in leaves: beats that stand alone are easier to read
FINEST = 12  # parts of a counted beat to which places that cannot be typed are moved


def shape_of(space: Space, places: Sequence[Fraction]) -> tuple[Shape, ...] | None:
    """The bar in which something begins at each of `places`; what is there before the first is held.

    None where brackets cannot divide a beat so.

    >>> from backing.ground.timebase import FOUR_FOUR
    >>> shape_of(Space(FOUR_FOUR), (Fraction(0), Fraction(2)))
    (0, 0)
    >>> shape_of(Space(FOUR_FOUR), (Fraction(0), Fraction(5, 2)))
    (0, 1, (1, 0), 1)
    """
    return _shape(space, tuple(places))


@lru_cache(maxsize=8192)
def _shape(space: Space, places: tuple[Fraction, ...]) -> tuple[Shape, ...] | None:
    best: tuple[int, tuple[Shape, ...]] | None = None
    fewest = min(map(len, space.grids))  # brackets divide a beat, and no more than that
    for grid in _grids(space):
        items: list[Shape] = []
        for start, end in pairwise(grid):
            inside = tuple((p - start) / (end - start) for p in places if start <= p < end)
            item = _shared(inside, MOST_DEPTH)
            if item is None or (isinstance(item, tuple) and len(grid) < fewest):
                break
            items.append(item)
        else:
            shape = tuple(items)
            cost = sum(map(_cost, shape))
            if (best is None or cost < best[0]) and _begins(space, shape) == places:
                best = cost, shape
    return best[1] if best else None


def _grids(space: Space) -> Iterator[tuple[Fraction, ...]]:
    """The ways in which items may share the bar, those with the fewest first."""
    beats = space.meter.beats if space.pickup is None else space.pickup.numerator
    for items in dict.fromkeys((1, *range(2, beats), len(space.meter.groups))):
        even = without_hold(space, items)
        if even:
            yield even
    yield from space.grids


def _begins(space: Space, shape: tuple[Shape, ...]) -> tuple[Fraction, ...] | None:
    """Where something begins in a bar of this shape, as the reader of charts sees it; None where it sees no bar."""
    times = layout(space, shape)
    if times is None:
        return None
    leaves = _flat(shape)
    return tuple(start for (start, _), leaf in zip(times, leaves, strict=True) if leaf == CHORD)


def _flat(shape: Sequence[Shape]) -> list[Shape]:
    return [leaf for s in shape for leaf in (_flat(s) if isinstance(s, tuple) else [s])]


def _cost(shape: Shape) -> int:
    return sum(map(_cost, shape)) + BRACKETS if isinstance(shape, tuple) else 1


@lru_cache(maxsize=8192)
def _shared(places: tuple[Fraction, ...], depth: int) -> Shape | None:
    """One place of a bar in which something begins at these parts of it."""
    if not places:
        return HOLD
    if places == _AT_ONCE:
        return CHORD
    if depth == 0:
        return None
    best: tuple[int, Shape] | None = None
    for parts in range(2, MOST_SHARING + 1):
        if best and parts + BRACKETS >= best[0]:
            break
        inner: list[list[Fraction]] = [[] for _ in range(parts)]
        for place in places:
            part, rest = divmod(place * parts, 1)
            inner[part].append(rest)
        items = [_shared(tuple(p), depth - 1) for p in inner]
        if None not in items:
            made = tuple(i for i in items if i is not None)
            cost = _cost(made)
            if best is None or cost < best[0]:
                best = cost, made
    return best[1] if best else None


def typed_shape(items: str, numbers: bool = False) -> tuple[Shape, ...]:
    """The shape of a bar as it is typed between its bar lines.

    >>> typed_shape('"softly" C / (G7 C)')
    (0, 1, (0, 0))
    """
    line = f"| {items} |"
    nobody = Faults(Source("", ""))
    found, _, _ = cells(plain(line), 0, len(line), nobody, numbers)
    return tuple(content(found[0].tokens, line, nobody).shape) if found else ()


def as_text(shape: Sequence[Shape]) -> str:
    """A shape with `x` for everything that begins.

    >>> as_text((0, 1, (0, 0)))
    'x / (x x)'
    """
    return " ".join(
        f"({as_text(s)})" if isinstance(s, tuple) else "/" if s == HOLD else "x" for s in shape
    )


def fits(space: Space, shape: tuple[Shape, ...], places: Sequence[Fraction]) -> bool:
    """Whether a bar of this shape has something begin at these places and nowhere else."""
    return _begins(space, shape) == tuple(places)


def snapped(space: Space, place_q: Fraction) -> Fraction:
    """The nearest place that can be typed whatever else stands in the bar."""
    grid = space.meter.beat_q / FINEST
    return round(place_q / grid) * grid
