"""What the beats of a meter are made of, and how they are joined.

Conventions: a beat is a pulse of the meter (`timebase.Meter.pulses_q`), but groups of four and more eighths are taken
as twos and threes, and halves as two quarters.
"""

from __future__ import annotations

from enum import Enum
from fractions import Fraction
from functools import lru_cache

from backing.ground.timebase import Meter


class Kind(Enum):
    """What a beat is made of."""

    SIMPLE = "a quarter, or what the lower figure of the meter counts"
    COMPOUND = "a dotted quarter"
    ONE = "a group of a single eighth"
    SHORT = "a group of two eighths"
    LONG = "a group of three eighths"


THREEFOLD = (Kind.COMPOUND, Kind.LONG)


def _split(size: int) -> list[int]:
    """A group as twos and threes, three last."""
    if size <= 3:
        return [size]
    return [2] * ((size - 3) // 2) + [3] if size % 2 else [2] * (size // 2)


_KINDS = {1: Kind.ONE, 2: Kind.SHORT, 3: Kind.LONG}


@lru_cache(maxsize=512)
def beats_of(meter: Meter) -> tuple[tuple[Fraction, Kind], ...]:
    """Length in quarters and kind of every beat of a meter."""
    if meter.compound:
        return ((meter.beat_q, Kind.COMPOUND),) * meter.beats
    if meter.counted_in_eighths:
        sizes = [part for group in meter.groups for part in _split(group)]
        return tuple((size * meter.unit_q, _KINDS[size]) for size in sizes)
    beat_q = min(Fraction(1), meter.beat_q)  # halves and wholes are felt in quarters
    return ((beat_q, Kind.SIMPLE),) * int(meter.length_q / beat_q)


def joined_of(meter: Meter) -> list[int]:
    """How the beats of a meter are joined: cells of two, three or four beats."""
    count = len(beats_of(meter))
    grouped = meter.unit == 4
    cells: list[int] = []
    for size in meter.groups if grouped else (count,):
        left = size
        while left > 4:
            cells.append(3 if left % 3 == 0 or left == 5 else 4 if left % 4 == 0 else 2)
            left -= cells[-1]
        cells.append(left)
    return cells
