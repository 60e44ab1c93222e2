"""Note values: lengths in quarters become notes, dots, ties, tuplets and beams that a player can read.

Conventions: places are quarters from the bar line. A note that hides the beat is split and tied; what lies on odd
divisions of the beat becomes a tuplet (3 in the time of 2, 5 of 4, 6 and 7 of 4 …).
Sources: grouping by the beat, the off-beat quarter and the half note over the middle as any manual of notation allows
them (common practice).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from backing.chart.ast import LineNote
from backing.ground.pitch import Pitch
from backing.ground.timebase import EIGHTH, QUARTER, Meter

IN_THREE = 4  # borders of three beats
VALUES = tuple(Fraction(4) / 2**k for k in range(8))  # whole to 128th


@dataclass(frozen=True, slots=True)
class Figure:
    """One written note or rest. `beam` and `tuplet` number the groups of a bar from 1; 0 is none."""

    start_q: Fraction
    length_q: Fraction
    value: Fraction  # as written, without its dot
    dotted: bool = False
    rest: bool = False
    pitch: Pitch | None = None
    tied: bool = False  # to the figure before, over the bar line too
    beam: int = 0
    tuplet: int = 0
    number: int = 0  # over the tuplet

    @property
    def flags(self) -> int:
        """0 for a quarter and longer, 1 for an eighth …"""
        flags, value = 0, self.value
        while value < QUARTER:
            flags, value = flags + 1, value * 2
        return flags


def figures(notes: Sequence[LineNote], meter: Meter) -> tuple[Figure, ...]:
    """What is written for the notes of a bar."""
    if notes and all(n.pitch is None and not n.hit for n in notes):
        start, last = notes[0].start_q, notes[-1]
        length = last.start_q + last.length_q - start
        return (Figure(start, length, VALUES[0], rest=True),)  # whatever the meter
    cuts = [*meter.pulse_starts_q, meter.length_q]
    walls = group_borders(meter)
    found: list[Figure] = []
    for note in notes:
        rest = note.pitch is None and not note.hit
        tied = note.held and not rest
        beats = rest and len(cuts) == IN_THREE  # where no rest stands for two beats
        for start, end in unhidden(note.start_q, note.start_q + note.length_q, cuts):
            for at, length in readable(start, end, cuts, cuts[1:-1] if beats else walls):
                value, dotted = simple(length) or (VALUES[-1], False)
                found.append(Figure(at, length, value, dotted, rest, note.pitch, tied))
                tied = not rest
    return beamed(grouped(found), cuts)


def group_borders(meter: Meter) -> tuple[Fraction, ...]:
    """Places inside a bar over which only a note that fills it is held: where a group of 5/4 or 7/8 begins, and the
    middle of 12/8."""
    if meter.compound:
        return (meter.length_q / 2,) if len(meter.groups) == 4 else ()
    return meter.group_starts_q[1:]


def odd(value: Fraction) -> int:
    """The odd part of a denominator: 3 for places in triplets."""
    d = value.denominator
    while d % 2 == 0:
        d //= 2
    return d


def simple(length: Fraction) -> tuple[Fraction, bool] | None:
    """The plain or dotted value of a length."""
    for value in VALUES:
        if length == value:
            return value, False
        if length == value * 3 / 2:
            return value, True
    return None


def unhidden(
    start: Fraction, end: Fraction, cuts: Sequence[Fraction]
) -> list[tuple[Fraction, Fraction]]:
    """A note that leaves or enters a tuplet is cut at the beat there."""
    inside = [c for c in cuts if start < c < end]
    if not inside or (odd(start) > 1) == (odd(end) > 1):
        return [(start, end)]
    cut = inside[0] if odd(start) > 1 else inside[-1]
    return [(start, cut), (cut, end)]


def readable(
    start: Fraction, end: Fraction, cuts: Sequence[Fraction], walls: Sequence[Fraction]
) -> list[tuple[Fraction, Fraction]]:
    """Place and length of the notes that are tied together for a span."""
    if odd(start) > 1 or odd(end) > 1:
        return [(start, end - start)]
    found = []
    while start < end:
        stop = end
        if not allowed(start, end, cuts, walls):
            later = [c for c in cuts if start < c < end]
            stop = next((c for c in reversed(later) if allowed(start, c, cuts, walls)), None) or (
                later[0] if later else end
            )
        length = stop - start
        if simple(length) is None:  # five eighths in one beat and the like: the largest plain value
            length = next((v for v in VALUES if v < length), length)
        found.append((start, length))
        start += length
    return found


def allowed(
    start: Fraction, end: Fraction, cuts: Sequence[Fraction], walls: Sequence[Fraction] = ()
) -> bool:
    """Whether one note may stand for the span without hiding the beat or, at `walls`, a group of beats."""
    length = end - start
    if simple(length) is None:
        return False
    if length < cuts[-1] and any(start < wall < end for wall in walls):
        return False
    inside = [c for c in cuts if start < c < end]
    if not inside:
        return True
    if start in cuts and end in cuts:
        return True
    quarters = all(b - a == 1 for a, b in itertools.pairwise(cuts))
    if not quarters:
        return False
    if start in cuts:
        return length == Fraction(3, 2)
    middle = cuts[-1] / 2
    return length == 1 and start % 1 == EIGHTH and not (cuts[-1] == 4 and start < middle < end)


def grouped(found: Sequence[Figure]) -> list[Figure]:
    """The figures with their tuplets: a group lasts until the time is even again."""
    done: list[Figure] = []
    group: list[Figure] = []
    count = 0
    for figure in found:
        end = figure.start_q + figure.length_q
        if not group and odd(figure.start_q) == 1 and odd(end) == 1:
            done.append(figure)
            continue
        group.append(figure)
        if odd(end) == 1:
            count += 1
            done += as_tuplet(group, count)
            group = []
    return done + (as_tuplet(group, count + 1) if group else [])


def as_tuplet(group: Sequence[Figure], count: int) -> list[Figure]:
    """The figures of one tuplet: written longer than they sound by its ratio."""
    number = max(max(odd(f.start_q), odd(f.length_q)) for f in group)
    ratio = Fraction(number, 2 ** (number.bit_length() - 1))
    written = []
    for f in group:
        length = f.length_q * ratio
        value, dotted = simple(length) or (
            next((v for v in VALUES if v <= length), VALUES[-1]),
            False,
        )
        written.append(replace(f, value=value, dotted=dotted, tuplet=count, number=number))
    return written


def beamed(found: Sequence[Figure], cuts: Sequence[Fraction]) -> tuple[Figure, ...]:
    """Notes shorter than a quarter in one beat, or in one tuplet, hang on one beam."""

    def beat(f: Figure) -> tuple[int, int]:
        return sum(1 for c in cuts if c <= f.start_q), f.tuplet

    done = list(found)
    count = i = 0
    while i < len(done):
        j = i + 1
        if done[i].flags and not done[i].rest:
            while (
                j < len(done)
                and done[j].flags
                and not done[j].rest
                and beat(done[j]) == beat(done[i])
            ):
                j += 1
            if j - i > 1:
                count += 1
                done[i:j] = [replace(f, beam=count) for f in done[i:j]]
        i = j
    return tuple(done)
