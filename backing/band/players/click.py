"""The count-in, and a click during the form.

Conventions: the count-in lies at negative quarters and ends at 0, where the first bar or its pickup begins. Clicks are
strict: never swung, never early or late. A *pulse* is what a foot taps (`timebase`).

Sources: counts by meter and tempo as bandleaders give them (common practice; "one, two, one-two-three-four" for an
ordinary 4/4); wood blocks, General MIDI percussion keys 76 and 77.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Kind, Note, Why
from backing.ground.instruments import DRUM_KEYS
from backing.ground.timebase import EIGHTH, Meter
from backing.timeline.model import PlayedBar, Timeline

KINDS = (
    "off", "beats", "backbeat", "downbeat", "eighths", "triplets", "offbeats", "groups",
)  # fmt: skip
CLICK_Q = Fraction(1, 8)

# name -> drum, velocity
ACCENT = ("high block", 112)
BEAT = ("low block", 92)
SOFT = ("low block", 55)
CLICK_KEYS = frozenset(DRUM_KEYS[name] for name, _ in (ACCENT, BEAT, SOFT))
Sound = tuple[str, int]


class CountIn(NamedTuple):
    """Clicks before the form, how long they take (a pickup is played inside the last bar) and in how many bars."""

    notes: tuple[Note, ...]
    length_q: Fraction
    bars: int


NONE = CountIn((), Fraction(0), 0)


def _note(at_q: Fraction, sound: Sound, why: Why) -> Note:
    name, velocity = sound
    return Note(at_q, at_q + CLICK_Q, DRUM_KEYS[name], velocity, why, strict=True)


def pulses_a_minute(meter: Meter, qpm: float) -> float:
    """How fast a foot taps, by the first pulse of the bar."""
    return qpm / float(meter.pulses_q[0])


def usual_bars(meter: Meter, qpm: float) -> int:
    """How many bars are counted when the chart does not say: about two to four seconds, in whole bars.

    >>> usual_bars(Meter.of(4, 4), 120), usual_bars(Meter.of(4, 4), 60), usual_bars(Meter.of(12, 8), 90)
    (2, 1, 1)
    """
    bpm = pulses_a_minute(meter, qpm)
    if meter.counted_in_eighths:
        return 2 if meter.length_q / Fraction(qpm) * 60 < 2 else 1
    if meter.count == 12 or meter.beats >= 5:
        return 1
    if meter.beats == 2:
        return 2
    if meter.beats == 3:
        return 4 if not meter.compound and bpm > 200 else (1 if bpm < 100 else 2)
    return 1 if bpm < 70 else 2


def count_in(timeline: Timeline) -> CountIn:
    """The count before the form; a number of bars in the chart overrides the usual one, 0 leaves it out."""
    if not timeline.bars or timeline.count_in == 0:
        return NONE
    first = timeline.bars[0]
    meter = first.meter
    qpm = timeline.tempo[0].qpm
    bars = usual_bars(meter, qpm) if timeline.count_in is None else timeline.count_in
    pickup = first.length_q if timeline.pickup else Fraction(0)
    length = bars * meter.length_q - pickup
    notes = tuple(
        _note(at - length, sound, Why(Kind.COUNT_IN, f"count-in, bar {bar + 1} of {bars}"))
        for bar in range(bars)
        for at, sound in (
            (bar * meter.length_q + q, sound)
            for q, sound in _counted(meter, pulses_a_minute(meter, qpm), bar, bars)
        )
        if at < length
    )
    return CountIn(notes, length, bars)


def _counted(meter: Meter, bpm: float, bar: int, bars: int) -> Iterator[tuple[Fraction, Sound]]:
    """What is counted in one bar of the count: place from the bar line and sound."""
    last = bar == bars - 1
    starts = meter.pulse_starts_q
    if (meter.count, meter.unit) == (4, 4) and bars > 1 and (not last or bpm > 200):
        yield starts[0], ACCENT
        yield starts[2], BEAT
        return
    if meter.beats == 3 and not meter.compound and not meter.counted_in_eighths and bpm > 200:
        yield starts[0], ACCENT
        return
    groups = set(meter.group_starts_q)
    slow = bpm < 70
    for i, (at, length) in enumerate(zip(starts, meter.pulses_q, strict=True)):
        strong = i == 0 or (at in groups and not meter.compound and not meter.counted_in_eighths)
        yield at, ACCENT if strong else BEAT
        if slow and meter.compound:
            yield at + EIGHTH, SOFT
            yield at + 2 * EIGHTH, SOFT
        elif slow and last and not meter.counted_in_eighths and 2 * at >= meter.length_q:
            yield at + length / 2, SOFT


def _places(meter: Meter, kind: str) -> Iterator[tuple[Fraction, Sound]]:
    """Where a kind of click falls in a full bar, in quarters from the bar line."""
    starts, lengths = meter.pulse_starts_q, meter.pulses_q
    groups = set(meter.group_starts_q)

    def sound(at: Fraction) -> Sound:
        return ACCENT if at == 0 else BEAT

    if kind == "downbeat":
        yield Fraction(0), ACCENT
    elif kind == "groups":
        for at in meter.group_starts_q:
            yield at, sound(at)
    elif kind == "backbeat":
        for at in starts[1:] if len(starts) == 3 else starts[1::2]:
            yield at, BEAT
    elif kind == "beats":
        for i in range(meter.beats):
            at = i * meter.beat_q
            unaccented = SOFT if meter.counted_in_eighths and at not in groups else BEAT
            yield at, ACCENT if i == 0 else unaccented
    elif kind == "offbeats":
        for at, length in zip(starts, lengths, strict=True):
            yield at + (length - EIGHTH if length == 3 * EIGHTH else length / 2), BEAT
    elif kind == "eighths":
        for i in range(int(meter.length_q / EIGHTH)):
            at = i * EIGHTH
            yield at, sound(at) if at in starts else SOFT
    else:
        for at, length in zip(starts, lengths, strict=True):
            yield at, sound(at)
            yield at + length / 3, SOFT
            yield at + 2 * length / 3, SOFT


def clicks(
    bars: Sequence[PlayedBar], kind: str, held: Sequence[tuple[Fraction, Fraction, Fraction]] = ()
) -> list[Note]:
    """A click of some kind over bars; out of time there is none, and a held chord has only the beat that cues its end.

    `held` has start, cue and end of every fermata.
    """
    if kind == "off":
        return []
    by_meter: dict[Meter, tuple[tuple[Fraction, Sound], ...]] = {}
    notes = []
    why = Why(Kind.CLICK, f"click: {kind}")
    waiting = 0
    for bar in bars:
        if bar.rubato:
            continue
        if bar.meter not in by_meter:
            by_meter[bar.meter] = tuple(sorted(_places(bar.meter, kind)))
        origin = bar.start_q
        missing = bar.meter.length_q - bar.length_q if bar.index == 1 else Fraction(0)
        for place, sound in by_meter[bar.meter]:
            at = origin + place - missing
            if not bar.start_q <= at < bar.end_q:
                continue
            while waiting < len(held) and held[waiting][2] <= at:
                waiting += 1
            if waiting < len(held) and held[waiting][0] <= at and at != held[waiting][1]:
                continue
            notes.append(_note(at, sound, why))
    return notes
