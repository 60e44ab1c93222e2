"""A melody to be harmonised, and the places that want a chord.

*Conventions*: times are quarters from the first bar line (a pickup lies before 0); pitches are spelled and as written;
a bar's `beats_q` are the starts of its counted beats (of its groups in meters counted in eighths) from its bar line.
Rests are where no note lies.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.ground.pitch import Key, Pitch
from backing.ground.timebase import Meter
from backing.harmony.chord import Chord


class TuneNote(NamedTuple):
    """One note of the melody, in quarters."""

    start_q: Fraction
    length_q: Fraction
    pitch: Pitch

    @property
    def end_q(self) -> Fraction:
        return self.start_q + self.length_q


class TuneBar(NamedTuple):
    """One bar; `number` as printed, 0 for a pickup, whose `start_q` is negative."""

    number: int
    start_q: Fraction
    length_q: Fraction
    meter: Meter


class Melody(NamedTuple):
    """Notes in order of time without overlap, and the bars that they stand in.

    `key` is there where it is known, `closes` holds the starts of notes on which a phrase is known to end (fermatas).
    """

    notes: tuple[TuneNote, ...]
    bars: tuple[TuneBar, ...]
    key: Key | None = None
    closes: frozenset[Fraction] = frozenset()

    @property
    def end_q(self) -> Fraction:
        return self.bars[-1].start_q + self.bars[-1].length_q

    def bar_of(self, at_q: Fraction) -> int:
        """The index of the bar in which a place lies."""
        return bisect_right(self.bars, at_q, key=lambda b: b.start_q) - 1

    def between(self, start_q: Fraction, end_q: Fraction) -> tuple[TuneNote, ...]:
        """The notes that sound in a span."""
        first = max(0, bisect_left(self.notes, start_q, key=lambda n: n.start_q) - 1)
        last = bisect_left(self.notes, end_q, key=lambda n: n.start_q)
        return tuple(n for n in self.notes[first:last] if n.end_q > start_q)


class Place(NamedTuple):
    """A span that wants one chord.

    `bar` counts the melody's bars from 0, `beat` is the counted beat as an exact fraction from 1. `weight` is how
    strong the place is in its bar: 2 on the bar line, 1 in its middle or on a group, 0 elsewhere. `kept` is a chord
    that must stay. In a `free` place the chord before it may go on; in others a chord was asked for.
    `was` is the chord that stands there and is to be another.
    """

    bar: int
    beat: Fraction
    start_q: Fraction
    length_q: Fraction
    weight: int
    kept: Chord | None = None
    free: bool = False
    was: Chord | None = None

    @property
    def end_q(self) -> Fraction:
        return self.start_q + self.length_q


def weight_in(meter: Meter, at_q: Fraction) -> int:
    """How strong a place is in a bar: 2 on the bar line, 1 on its middle or a group, 0 elsewhere.

    >>> [weight_in(Meter.of(4, 4), Fraction(q)) for q in range(4)]
    [2, 0, 1, 0]
    """
    if at_q == 0:
        return 2
    middle = meter.length_q / 2 if meter.beats % 2 == 0 and not meter.counted_in_eighths else None
    return 1 if at_q == middle or (len(meter.groups) > 1 and at_q in meter.group_starts_q) else 0


def pulse_starts(bar: TuneBar) -> list[Fraction]:
    """Starts of the beats that players tap, from the bar's start; a pickup counts from its end."""
    if bar.length_q == bar.meter.length_q:
        return list(bar.meter.pulse_starts_q)
    lead = bar.meter.length_q - bar.length_q
    starts = [s - lead for s in bar.meter.pulse_starts_q if s >= lead]
    return starts if starts and starts[0] == 0 else [Fraction(0), *starts]


def counted_beat(bar: TuneBar, offset_q: Fraction) -> Fraction:
    """The counted beat of a place in a bar, from 1; a pickup counts from its first note."""
    return offset_q / bar.meter.beat_q + 1


def places_of(melody: Melody, every: str) -> list[Place]:
    """The places for one chord a `bar`, `half`, `beat` (also for `auto`) or `note`."""
    found: list[Place] = []
    for index, bar in enumerate(melody.bars):
        starts = starts_in(melody, bar, every)
        ends = [*starts[1:], bar.length_q]
        lead = bar.meter.length_q - bar.length_q
        for start, end in zip(starts, ends, strict=True):
            found.append(
                Place(
                    index,
                    counted_beat(bar, start),
                    bar.start_q + start,
                    end - start,
                    weight_in(bar.meter, start + lead),
                    free=every == "auto",
                )
            )
    return found


def starts_in(melody: Melody, bar: TuneBar, every: str) -> list[Fraction]:
    """Where chords may begin in a bar, from its start."""
    pulses = pulse_starts(bar)
    if every == "bar":
        return [Fraction(0)]
    if every == "half":
        half = bar.meter.length_q / 2
        if bar.meter.beats % 2 == 0 and bar.length_q == bar.meter.length_q and half in pulses:
            return [Fraction(0), half]
        return [Fraction(0)]
    if every == "note":
        onsets = {
            n.start_q - bar.start_q
            for n in melody.between(bar.start_q, bar.start_q + bar.length_q)
            if n.start_q >= bar.start_q
        }
        return sorted({Fraction(0), *onsets})
    return pulses


def phrase_ends(melody: Melody) -> frozenset[int]:
    """Indices of bars in which a phrase ends: a fermata, a long note or a rest, about every four bars; the last bar always.

    Source: phrases of four bars, and the long note at their end, are common practice.
    """
    count = len(melody.bars)
    ends = {count - 1}
    closing = {melody.bar_of(start_q) for start_q in melody.closes}
    since = -1
    for index, bar in enumerate(melody.bars[:-1]):
        if bar.number == 0:
            since = index
            continue
        length = index - since
        if length >= 4 or (length >= 2 and _rests(melody, bar)) or index in closing:
            ends.add(index)
            since = index
    return frozenset(ends)


def _rests(melody: Melody, bar: TuneBar) -> bool:
    """Whether the tune comes to rest in a bar: its last note is as long as half the bar, or silence as long follows."""
    end = bar.start_q + bar.length_q
    notes = melody.between(bar.start_q, end)
    if not notes:
        return False
    half = bar.length_q / 2
    return notes[-1].length_q > half or end - notes[-1].end_q >= half


def alike(melody: Melody) -> list[list[int]]:
    """Groups of bars with the same notes at the same places, each of two or more."""
    groups: dict[Sequence[object], list[int]] = {}
    for index, bar in enumerate(melody.bars):
        shape = tuple(
            (n.start_q - bar.start_q, n.length_q, n.pitch.midi)
            for n in melody.between(bar.start_q, bar.start_q + bar.length_q)
        )
        if shape and bar.number:
            groups.setdefault((bar.meter.name, shape), []).append(index)
    return [group for group in groups.values() if len(group) > 1]
