"""How a band feels time: swing by tempo, and the small drift of human hands.

Conventions: places are quarters as floats (exact fractions divided once), deviations are milliseconds, late is
positive. Only + - * / and square roots of IEEE doubles are used, so that every machine agrees.

Swing moves what stands between beats: in a beat of two `Feel.unit_q` notes the second one moves from 1/2 to
ratio / (1 + ratio), and everything between is stretched with it; places on thirds of the beat are triplets and stay.
Pulses that are no whole number of such beats (dotted ones) are left alone. Where a feel gives shares of the beat to its
four sixteenths, their borders move there, and what lies between is stretched with them.

Drift is a sum of square waves, one an octave from the grid step up to half a section, each with its own random
heights: equal power an octave, so the spectrum falls as 1/f. It is keyed by section, pass and place. A part of it is
common to the band, most of it between the beats, where players agree closely.

Sources: ratio from a short note of about 100 ms, Friberg and Sundstrom 2002 (ceiling 2.2: common practice); long-range
correlated deviations of the order of 10 ms, Hennig et al. 2011; players late on the beat and together off it, Nelias
et al. 2022.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from backing.ground import dice
from backing.ground.timebase import Feel, Meter, TempoMap
from backing.timeline.model import PlayedBar

SHORT_NOTE_MS = 100.0
MOST_SWING = 2.2
THIRD = 1e-6  # how near a place must be to a third of a beat to count as one
DOTTED = 1.5

HEIGHT = 1.0  # least height of a square wave; the most is one more
STEEPER = 1.12  # how much higher each octave is than the one above it
MOST_OCTAVES = 9  # the slowest wave turns once in 512 grid steps, 64 bars of eighths
LONG = 0.35  # height of the octaves above whole sections

SOLOIST = 0.075  # of a beat that a soloist is late on it in swing: 30 ms at 150 bpm
LIMIT_MS = 20.0  # no drift is larger
OFF_BEAT_MS = 7.0  # between beats no player drifts with a larger standard deviation
COMMON = (0.5, 0.9)  # the band's share of the drift, on the beat and off it
OWN = (math.sqrt(0.75), math.sqrt(0.19))  # the player's, so that the squares add up to one
MOST = (2.5, 1.8)  # largest height of the player's own drift, in standard deviations


def ratio(beat_ms: float) -> float:
    """Long to short in a swung beat of that length.

    >>> [round(ratio(60_000 / bpm), 2) for bpm in (60, 120, 200, 300, 340)]
    [2.2, 2.2, 2.0, 1.0, 1.0]
    """
    return min(MOST_SWING, max(1.0, (beat_ms - SHORT_NOTE_MS) / SHORT_NOTE_MS))


def soloist_ms(beat_ms: float) -> float:
    """How late a soloist is on the beats of swing, off them with the band (Nelias et al. 2022: of the order of 30 ms at
    about 150 bpm, less when it is faster).

    >>> [soloist_ms(60_000 / bpm) for bpm in (150, 300)]
    [30.0, 15.0]
    """
    return SOLOIST * beat_ms


class Clock:
    """A tempo map in floats: seconds from `zero_q`, and back to milliseconds a quarter."""

    __slots__ = ("_at", "_s", "_us")

    def __init__(self, tempo: TempoMap) -> None:
        self._at = [s.at_q.numerator / s.at_q.denominator for s in tempo.steps]
        self._us = [s.us for s in tempo.steps]
        self._s = [tempo.seconds(s.at_q) for s in tempo.steps]

    def step(self, q: float) -> int:
        """The index of the tempo step that holds at a place."""
        return max(0, bisect_right(self._at, q) - 1) if len(self._at) > 1 else 0

    def seconds(self, q: float) -> float:
        i = self.step(q)
        return self._s[i] + (q - self._at[i]) * self._us[i] / 1e6

    def quarter_ms(self, q: float) -> float:
        return self._us[self.step(q)] / 1000


class Beats:
    """Where places of the form fall once they are swung, and which of them are on a beat."""

    __slots__ = ("_bars", "_clock", "_found", "_pulses", "_starts")

    def __init__(self, bars: Sequence[PlayedBar], feels: Sequence[Feel], clock: Clock) -> None:
        self._clock = clock
        self._starts = [b.start_q.numerator / b.start_q.denominator for b in bars]
        pulses: dict[tuple[Meter, Feel], tuple[list[float], list[float], list[float]]] = {}
        self._bars = []
        for bar, feel in zip(bars, feels, strict=True):
            key = (bar.meter, feel)
            if key not in pulses:
                pulses[key] = _pulses(bar.meter, feel)
            # a pickup is the end of its bar
            missing = bar.meter.length_q - bar.length_q if bar.index == 1 else Fraction(0)
            self._bars.append((float(bar.start_q - missing), pulses[key], feel))
        self._found: dict[float, tuple[float, bool]] = {}

    def place(self, q: float) -> tuple[float, bool]:
        """Where a place is played, in quarters, and whether it is a beat."""
        found = self._found.get(q)
        if found is None:
            found = self._found[q] = self._place(q)
        return found

    def part(self, q: float) -> float | None:
        """How far into its beat a place is written, in quarters; None before the first bar and in dotted beats."""
        if q < self._starts[0]:
            return None
        origin, (starts, lengths, _), _ = self._bars[bisect_right(self._starts, q) - 1]
        i = max(0, bisect_right(starts, q - origin + THIRD) - 1)
        local = max(0.0, q - origin - starts[i])
        return None if lengths[i] == DOTTED and local > THIRD else local % 1

    def swings(self, q: float) -> bool:
        """Whether eighths are swung in the bar of a place."""
        feel = self._bars[max(0, bisect_right(self._starts, q) - 1)][2]
        return feel.swung_eighths

    def number(self, q: float) -> str:
        """The number of the beat of its bar that a place is on, from 1; "" off the beats and before the first bar."""
        if q < self._starts[0]:
            return ""
        origin, (starts, _, _), _ = self._bars[bisect_right(self._starts, q) - 1]
        i = max(0, bisect_right(starts, q - origin + THIRD) - 1)
        return str(i + 1) if abs(q - origin - starts[i]) < THIRD else ""

    def _place(self, q: float) -> tuple[float, bool]:
        if q < self._starts[0]:  # the count-in, in bars of the first meter
            origin, (starts, lengths, pairs), feel = self._bars[0]
            bar = starts[-1] + lengths[-1]
            origin += bar * ((q - origin + THIRD) // bar)
        else:
            origin, (starts, lengths, pairs), feel = self._bars[bisect_right(self._starts, q) - 1]
        inside = q - origin
        i = max(0, bisect_right(starts, inside + THIRD) - 1)
        if i == len(starts) - 1 and inside >= starts[-1] + lengths[-1]:
            return q, True
        local = inside - starts[i]
        pair = pairs[i]
        if local < THIRD:
            return q, True
        if not pair:
            return q, False
        beat = int((local + THIRD) / pair)
        share = (local - beat * pair) / pair
        if share < THIRD:
            return q, False
        sixths = share * 6
        nearest = int(sixths + 0.5)
        if nearest not in (3, 6) and abs(sixths - nearest) < THIRD * 6:
            return q, False
        start = q - share * pair
        if feel.shares:
            return start + _share_of(feel.shares, share) * pair, False
        long_short = (
            ratio(self._clock.quarter_ms(start) * pair)
            if feel.ratio is None
            else feel.ratio.numerator / feel.ratio.denominator
        )
        middle = long_short / (1 + long_short)
        moved = share * 2 * middle if share <= 0.5 else middle + (share - 0.5) * 2 * (1 - middle)
        return start + moved * pair, False


def _share_of(shares: tuple[int, ...], share: float) -> float:
    """Where a share of an even beat falls in one whose parts are so long.

    >>> [round(_share_of((28, 20, 22, 30), i / 8), 3) for i in range(9)]
    [0.0, 0.14, 0.28, 0.38, 0.48, 0.59, 0.7, 0.85, 1.0]
    """
    part = min(int(share * len(shares) + THIRD), len(shares) - 1)
    inside = share * len(shares) - part
    return (sum(shares[:part]) + inside * shares[part]) / sum(shares)


def _pulses(meter: Meter, feel: Feel) -> tuple[list[float], list[float], list[float]]:
    """Start and length of every pulse of a bar, and the length of the swung beats in it (0 where none)."""
    starts = [float(q) for q in meter.pulse_starts_q]
    lengths = [float(q) for q in meter.pulses_q]
    pair = (len(feel.shares) or 2) * float(feel.unit_q)
    swung = [pair if pair and (length / pair).is_integer() else 0.0 for length in lengths]
    return starts, lengths, swung


def drift(steps: int, *key: object) -> list[float]:
    """Long-range correlated numbers, one a step, with mean 0 and standard deviation 1.

    Octave k is a square wave of 2**k steps up and 2**k down with random heights; the lowest octave turns once in the
    whole stretch, or in 512 steps.
    """
    octaves = 1
    while 2**octaves < steps and octaves < MOST_OCTAVES:
        octaves += 1
    total = [0.0] * steps
    scale = 1.0
    for k in range(octaves):
        half = 2**k
        at = 0
        for number in dice.row(-(-steps // (2 * half)), *key, k):
            height = (2 * number - 1 + (HEIGHT if number >= 0.5 else -HEIGHT)) * scale
            for i in range(at, min(at + half, steps)):
                total[i] += height
            for i in range(at + half, min(at + 2 * half, steps)):
                total[i] -= height
            at += 2 * half
        scale *= STEEPER
    return _standard(total)


def _standard(numbers: Sequence[float]) -> list[float]:
    """The numbers with mean 0 and standard deviation 1; all 0 where they do not differ."""
    mean = sum(numbers) / len(numbers)
    square = sum((n - mean) ** 2 for n in numbers) / len(numbers)
    scale = 1 / math.sqrt(square) if square > 1e-12 else 0.0
    return [(n - mean) * scale for n in numbers]


def apart(own: Sequence[float], common: Sequence[float]) -> list[float]:
    """A player's drift without what it happens to share with the band's, both standard, so that their squares add."""
    shared = sum(o * c for o, c in zip(own, common, strict=True)) / len(own)
    return _standard([o - shared * c for o, c in zip(own, common, strict=True)])


def wander(lengths: Sequence[float], *key: object) -> list[float]:
    """The octaves above whole sections: a number a section, their mean over time 0.

    Sections are paired, then pairs, and so on; one half of a pair lies above its mean and the other below. What is
    left over stays at 0, so that the mean holds for forms of any number of sections.
    """
    total = [0.0] * len(lengths)
    block = 1
    while 2 * block <= len(lengths):
        pairs = len(lengths) // (2 * block)
        for pair, number in enumerate(dice.row(pairs, *key, "wander", block)):
            first = 2 * block * pair
            halves = (range(first, first + block), range(first + block, first + 2 * block))
            weights = [sum(lengths[i] for i in half) for half in halves]
            height = LONG if number >= 0.5 else -LONG
            for half, sign, other in ((halves[0], 1.0, weights[1]), (halves[1], -1.0, weights[0])):
                for i in half:
                    total[i] += sign * height * 2 * other / (weights[0] + weights[1])
        block *= 2
    return total


def with_wander(numbers: Sequence[float], offset: float, octaves: int) -> list[float]:
    """A section's standard drift around its offset, in all again of standard deviation about 1."""
    rest = math.sqrt(max(0.25, 1.0 - octaves * LONG * LONG))
    return [n * rest + offset for n in numbers]


def deviations(
    places: Sequence[tuple[int, bool]],
    common: Sequence[float],
    own: Sequence[float],
    offsets: tuple[float, float],
    late_ms: float,
    spread_ms: float,
) -> list[float]:
    """Milliseconds by which a player is late at the places of one section, in order.

    A place is its grid step and whether it is on a beat; `offsets` are the section's means of `common` and `own`. On
    beats the mean is `late_ms`, off them 0, but for these offsets: what the choice of places adds to the mean is taken
    out, so that a setting holds over any form.
    """
    drifts = []
    for step, on in places:
        kind = 0 if on else 1
        size = spread_ms if on else min(spread_ms, OFF_BEAT_MS)
        mine = min(MOST[kind], max(-MOST[kind], own[step]))
        drifts.append(size * (COMMON[kind] * common[step] + OWN[kind] * mine))
    for kind in (0, 1):
        here = [i for i, (_, on) in enumerate(places) if on is (kind == 0)]
        if here:
            size = min(spread_ms, OFF_BEAT_MS) if kind else spread_ms
            meant = size * (COMMON[kind] * offsets[0] + OWN[kind] * offsets[1])
            mean = sum(drifts[i] for i in here) / len(here) - meant
            add = 0.0 if kind else late_ms
            for i in here:
                drifts[i] = min(LIMIT_MS, max(-LIMIT_MS, drifts[i] - mean)) + add
    return drifts
