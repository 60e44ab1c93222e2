"""A written bar made ready to be placed in time, as often as it is played.

Conventions: places are quarters from the bar line; chords and notes are moved to where they sound. A direction typed
after the last chord of a bar belongs to that chord, `a tempo` to the bar after; `break` before the first chord silences
the bar, after a chord it strikes that chord and stops (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from backing.chart.ast import Bar, Direction, LineNote, Slot, Text
from backing.ground.pitch import UNISON, Interval, Key, Pitch
from backing.ground.source import Source
from backing.ground.timebase import Meter
from backing.harmony.spelling import interval_for_semitones, transpose
from backing.harmony.symbol import Chord
from backing.timeline.model import Strike

BENDS = frozenset({"rit.", "accel.", "a tempo"})
SWITCHES = frozenset({"a tempo", "rubato", "in 2", "in 4", "half time", "double time", "tacet"})
ZERO = Fraction(0)


class SpanMark(NamedTuple):
    """A chord's place in its bar and how the band takes it."""

    start_q: Fraction
    end_q: Fraction
    chord: Chord | None
    symbol: str
    written: str
    push_q: Fraction
    strike: Strike
    fermata: bool
    held: bool


class NoteMark(NamedTuple):
    """A note (or hit: `pitch` None) of a line; `held` goes on from the note before."""

    start_q: Fraction
    end_q: Fraction
    pitch: Pitch | None
    held: bool


class BarMark(NamedTuple):
    """Everything of a bar that does not depend on where it is played. `hits` and `kicks` None: no such line."""

    number: int
    line: int
    meter: Meter
    length_q: Fraction
    beats_q: tuple[Fraction, ...]
    spans: tuple[SpanMark, ...]
    melody: tuple[NoteMark, ...]
    hits: tuple[NoteMark, ...] | None
    kicks: tuple[NoteMark, ...] | None
    breaks: bool
    fills: bool
    bends: tuple[tuple[Fraction, Direction], ...]
    switches: tuple[Direction, ...]


def mark_bar(bar: Bar, source: Source, push_q: Fraction, interval: Interval, key: Key) -> BarMark:
    """Prepare a bar whose chords sound `interval` above what is written, in `key`."""
    length_q = bar.length_q
    directions = [(_place(t, bar), t.direction) for t in bar.texts if t.direction is not None]
    return BarMark(
        number=bar.number,
        line=source.line_column(bar.span.start)[0],
        meter=bar.meter,
        length_q=length_q,
        beats_q=_beats(bar.meter, length_q),
        spans=tuple(_span(slot, directions, length_q, push_q, interval, key) for slot in bar.slots),
        melody=_notes(bar.melody, interval),
        hits=None if bar.hits is None else _notes(bar.hits, UNISON),
        kicks=None if bar.kicks is None else _notes(bar.kicks, UNISON),
        breaks=any(d.name == "break" and at_q == 0 for at_q, d in directions),
        fills=any(d.name == "fill" for _, d in directions),
        bends=tuple((_bend_q(at_q, bar, d), d) for at_q, d in directions if d.name in BENDS),
        switches=tuple(
            d
            for at_q, d in directions
            if d.name in SWITCHES and not (d.name == "a tempo" and at_q >= length_q)
        ),
    )


def _place(text: Text, bar: Bar) -> Fraction:
    """Where a text stands: at the chord it is typed before, or at the bar's end after the last one."""
    if bar.slots and text.span.start >= bar.slots[-1].span.end > bar.slots[-1].span.start:
        return bar.length_q
    return text.at_q


def _bend_q(at_q: Fraction, bar: Bar, direction: Direction) -> Fraction:
    """A change of tempo typed after the last chord begins with that chord; `a tempo` is meant for what follows."""
    if at_q < bar.length_q or direction.name == "a tempo" or not bar.slots:
        return at_q
    return bar.slots[-1].start_q


@lru_cache(maxsize=256)
def _beats(meter: Meter, length_q: Fraction) -> tuple[Fraction, ...]:
    """Counted beats; those of a pickup are counted back from its end."""
    beats, at_q = [], length_q
    while at_q > 0:
        at_q -= meter.beat_q
        beats.append(max(at_q, ZERO))
    return tuple(beats[::-1])


def _span(
    slot: Slot,
    directions: Sequence[tuple[Fraction, Direction]],
    length_q: Fraction,
    push_q: Fraction,
    interval: Interval,
    key: Key,
) -> SpanMark:
    start_q, end_q = slot.start_q, slot.start_q + slot.length_q
    chord = transpose(slot.chord, interval, key) if interval != UNISON else slot.chord
    strike = Strike.STOP if slot.stop else Strike.RING if slot.ring else Strike.NORMAL
    fermata = False
    for at_q, direction in directions:
        if direction.name == "fermata":
            fermata |= start_q <= at_q < end_q or at_q == end_q == length_q
        elif direction.name == "break" and start_q < at_q <= end_q:
            strike = Strike.STOP
    symbol = chord.symbol if chord is not None else "N.C."
    push = push_q if slot.pushed else ZERO
    return SpanMark(start_q, end_q, chord, symbol, slot.text, push, strike, fermata, slot.held)


def _notes(line: Sequence[LineNote] | None, interval: Interval) -> tuple[NoteMark, ...]:
    return tuple(
        NoteMark(
            n.start_q,
            n.start_q + n.length_q,
            None if n.pitch is None else moved_pitch(n.pitch, interval),
            n.held,
        )
        for n in line or ()
        if n.pitch is not None or n.hit or n.held
    )


def moved_pitch(pitch: Pitch, interval: Interval) -> Pitch:
    """A pitch an interval up; a double accidental is respelled by the next letter, at the same height."""
    there = pitch.up(interval)
    while abs(there.note.alter) > 1:
        there = there.up(Interval(1 if there.note.alter > 0 else -1, 0))
    return there


def moved_key(key: Key, interval: Interval) -> tuple[Key, Interval]:
    """A key an interval up, and that interval; both respelled where the key would have more than seven signs."""
    if abs(key.up(interval).fifths) > 7:
        interval = interval_for_semitones(key, interval.semitones)
    return key.up(interval), interval
