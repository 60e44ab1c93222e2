"""Exact musical time.

Conventions: time is a `Fraction` of a quarter note, spans are half-open, 0 is the first bar played (a pickup
included) and the count-in lies before it. Tempo is in whole microseconds a quarter, as in a Standard MIDI File, so
that everything that counts seconds agrees. A *counted beat* is what a player counts: the dotted quarter in 6/8, 9/8
and 12/8, the half in 2/2, otherwise the lower figure of the meter. A *pulse* is what a foot taps: the counted beat,
but in meters counted in eighths a whole group of them (7/8 as 2+2+3 has three pulses, short, short, long).
"""

from __future__ import annotations

import itertools
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from backing.ground.source import Shown

EIGHTH = Fraction(1, 2)
SIXTEENTH = Fraction(1, 4)
TRIPLET = Fraction(1, 3)  # an eighth of a triplet
QUARTER = Fraction(1)

COMPOUND = ((6, 8), (9, 8), (12, 8))
UNITS = (1, 2, 4, 8, 16, 32)


def default_groups(count: int, unit: int) -> tuple[int, ...]:
    """How a meter is grouped when its chart does not say: 5 = 3+2, 7/4 = 4+3, 7/8 = 2+2+3, others in twos and threes.

    Meters of up to four quarters or halves are one group; counts are in the meter's lower figure.

    >>> default_groups(7, 8), default_groups(7, 4), default_groups(10, 8), default_groups(11, 8), default_groups(4, 4)
    ((2, 2, 3), (4, 3), (3, 3, 2, 2), (3, 3, 3, 2), (4,))
    """
    if (count, unit) in COMPOUND:
        return (3,) * (count // 3)
    if count == 5:
        return (3, 2)
    if count == 7:
        return (4, 3) if unit < 8 else (2, 2, 3)
    if unit < 8 and count <= 4:
        return (count,)
    if unit < 8 and count % 4 == 0:
        return (4,) * (count // 4)
    if count <= 3:
        return (count,)
    if unit >= 8 and count == 4:
        return (2, 2)
    twos = {0: 0, 1: 2, 2: 1}[count % 3]
    return (3,) * ((count - 2 * twos) // 3) + (2,) * twos


@dataclass(frozen=True, slots=True, repr=False)
class Meter(Shown):
    """A time signature: `count` notes of one `unit`th each, in `groups` that add up to `count`."""

    count: int
    unit: int
    groups: tuple[int, ...]

    @staticmethod
    def of(count: int, unit: int, groups: Sequence[int] = ()) -> Meter:
        """The meter with its usual groups where none are given. Raises ValueError for what is no meter."""
        if count < 1 or unit not in UNITS:
            raise ValueError(f"{count}/{unit} is no meter")
        chosen = tuple(groups) or default_groups(count, unit)
        if sum(chosen) != count or min(chosen) < 1:
            raise ValueError(f"groups {'+'.join(map(str, chosen))} do not add up to {count}")
        return _meter(count, unit, chosen)

    @property
    def name(self) -> str:
        """`7/8`, without groups."""
        return f"{self.count}/{self.unit}"

    @property
    def full_name(self) -> str:
        """`7/8 (2+2+3)` where the grouping is not obvious, otherwise `4/4`."""
        if len(self.groups) < 2 or self.compound:
            return self.name
        return f"{self.name} ({'+'.join(map(str, self.groups))})"

    @property
    def compound(self) -> bool:
        """Counted in dotted quarters; 9/8 (2+2+2+3) is not."""
        return (self.count, self.unit) in COMPOUND and set(self.groups) == {3}

    @property
    def counted_in_eighths(self) -> bool:
        """Lower figure 8 or less and not compound: the beat felt is a group (3/8, 5/8, 7/8, 10/8 …)."""
        return self.unit >= 8 and not self.compound

    @property
    def length_q(self) -> Fraction:
        """Length of a bar in quarters."""
        return Fraction(4 * self.count, self.unit)

    @property
    def unit_q(self) -> Fraction:
        """Length of the lower figure in quarters."""
        return Fraction(4, self.unit)

    @property
    def beat_q(self) -> Fraction:
        """Length of a counted beat in quarters."""
        return Fraction(3, 2) if self.compound else self.unit_q

    @property
    def beats(self) -> int:
        """Counted beats in a bar."""
        return int(self.length_q / self.beat_q)

    @property
    def group_starts_q(self) -> tuple[Fraction, ...]:
        """Where each group begins, in quarters from the bar line."""
        starts, at = [], 0
        for size in self.groups:
            starts.append(at * self.unit_q)
            at += size
        return tuple(starts)

    @property
    def pulses_q(self) -> tuple[Fraction, ...]:
        """Length of every pulse of the bar in quarters; they add up to `length_q`."""
        return _pulses(self)

    @property
    def pulse_starts_q(self) -> tuple[Fraction, ...]:
        """Where every pulse begins, in quarters from the bar line."""
        starts, at = [], Fraction(0)
        for length in self.pulses_q:
            starts.append(at)
            at += length
        return tuple(starts)

    def __str__(self) -> str:
        return self.full_name


@lru_cache(maxsize=1024)
def _meter(count: int, unit: int, groups: tuple[int, ...]) -> Meter:
    return Meter(count, unit, groups)


@lru_cache(maxsize=1024)
def _pulses(meter: Meter) -> tuple[Fraction, ...]:
    if meter.counted_in_eighths:
        return tuple(size * meter.unit_q for size in meter.groups)
    return (meter.beat_q,) * meter.beats


FOUR_FOUR = Meter.of(4, 4)


def microseconds_a_quarter(qpm: Fraction | float) -> int:
    """Tempo in quarters a minute as whole microseconds a quarter (Standard MIDI File 1.0, set tempo).

    >>> microseconds_a_quarter(120), microseconds_a_quarter(97)
    (500000, 618557)
    """
    return round(Fraction(60_000_000) / Fraction(qpm))


class TempoStep(NamedTuple):
    """From `at_q` on, a quarter lasts `us` microseconds."""

    at_q: Fraction
    us: int

    @property
    def qpm(self) -> float:
        """Quarters a minute."""
        return 60_000_000 / self.us


class TempoMap:
    """Steps of tempo; turns quarters into seconds from `zero_q`, exactly.

    The first step holds before its place too, so a count-in before the form needs no step of its own.
    """

    __slots__ = ("_at", "_us", "steps", "zero_q")

    def __init__(self, steps: Sequence[TempoStep], zero_q: Fraction = Fraction(0)) -> None:
        if not steps:
            raise ValueError("a tempo map needs at least one step")
        ordered = sorted(steps, key=lambda s: s.at_q)
        self.steps: tuple[TempoStep, ...] = tuple(ordered)
        self.zero_q = zero_q
        self._at = [s.at_q for s in ordered]
        total = Fraction(0)
        cumulative = [total]
        for before, after in itertools.pairwise(ordered):
            total += (after.at_q - before.at_q) * before.us
            cumulative.append(total)
        self._us = cumulative  # microseconds from the first step to each step
        origin = self._microseconds(zero_q)
        self._us = [u - origin for u in cumulative]

    def _microseconds(self, at_q: Fraction) -> Fraction:
        i = max(0, bisect_right(self._at, at_q) - 1)
        return self._us[i] + (at_q - self._at[i]) * self.steps[i].us

    def exact_s(self, at_q: Fraction) -> Fraction:
        """Seconds from `zero_q` to `at_q` as a fraction."""
        return self._microseconds(at_q) / 1_000_000

    def seconds(self, at_q: Fraction) -> float:
        """Seconds from `zero_q` to `at_q`."""
        return float(self._microseconds(at_q)) / 1e6

    def us_at(self, at_q: Fraction) -> int:
        """Microseconds a quarter that hold at `at_q`."""
        return self.steps[max(0, bisect_right(self._at, at_q) - 1)].us

    def changes(self) -> tuple[tuple[Fraction, int], ...]:
        """Where the tempo changes from `zero_q` on, and to how many microseconds a quarter; the first is at `zero_q`."""
        found = [(self.zero_q, self.us_at(self.zero_q))]
        for step in self.steps:
            if step.at_q > self.zero_q and step.us != found[-1][1]:
                found.append((step.at_q, step.us))
        return tuple(found)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, TempoMap) and (self.steps, self.zero_q) == (
            other.steps,
            other.zero_q,
        )

    def __hash__(self) -> int:
        return hash((self.steps, self.zero_q))

    def __repr__(self) -> str:
        return f"TempoMap({self.steps!r}, zero_q={self.zero_q!r})"


class Feel(NamedTuple):
    """How a beat is divided.

    `unit_q` is the note that is played in pairs long-short (an eighth or a sixteenth), 0 for straight. `ratio` is
    long : short, or None when the tempo decides. `shares` are how long the four sixteenths of a beat are, one to
    another, where they are no pairs; () otherwise.
    """

    unit_q: Fraction
    ratio: Fraction | None = None
    shares: tuple[int, ...] = ()

    @property
    def swung_eighths(self) -> bool:
        """Whether eighths are played long and short."""
        return self.unit_q == EIGHTH

    @property
    def straight(self) -> bool:
        return self.unit_q == 0

    @property
    def name(self) -> str:
        """As a chart writes it: `straight`, `swing`, `swing 16`, `swing 3:2`."""
        if self.straight:
            return "straight"
        if self.shares:
            return f"sixteenths {':'.join(map(str, self.shares))}"
        sixteenths = " 16" if self.unit_q == SIXTEENTH else ""
        ratio = "" if self.ratio is None else f" {self.ratio.numerator}:{self.ratio.denominator}"
        return f"swing{sixteenths}{ratio}"


STRAIGHT = Feel(Fraction(0))
SWING = Feel(EIGHTH)
SHUFFLE = Feel(EIGHTH, Fraction(2))

# The steps of loudness; a glide passes through the numbers between them.
DYNAMICS = {"pp": 0.0, "p": 1.0, "mp": 2.0, "mf": 3.0, "f": 4.0, "ff": 5.0}


class Tempo(NamedTuple):
    """A tempo as written: `bpm` notes of `unit_q` quarters a minute, gliding to `to_bpm` where that is given.

    `unit_q` None is the counted beat of the meter, or the quarter in meters counted in eighths.
    """

    bpm: Fraction
    unit_q: Fraction | None = None
    to_bpm: Fraction | None = None

    def qpm(self, meter: Meter) -> Fraction:
        """Quarters a minute at the start."""
        return self.bpm * self.unit(meter)

    def to_qpm(self, meter: Meter) -> Fraction | None:
        """Quarters a minute at the end of the glide, None without one."""
        return None if self.to_bpm is None else self.to_bpm * self.unit(meter)

    def unit(self, meter: Meter) -> Fraction:
        """The note that is counted, in quarters."""
        if self.unit_q is not None:
            return self.unit_q
        return QUARTER if meter.counted_in_eighths else meter.beat_q
