"""A written bar made ready to be placed in time, as often as it is played.

Conventions: places are quarters from the bar line; chords and notes are moved to where they sound. A direction typed
after the last chord of a bar belongs to that chord, `a tempo` to the bar after; `break` before the first chord silences
the bar, after a chord it strikes that chord and stops (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from backing.chart.ast import Bar, Direction, LineNote, Slot, Text
from backing.harmony.spelling import interval_for_semitones, note_in_key, transpose
from backing.harmony.symbol import Chord
from backing.pitch import LETTER_SEMITONES, LETTERS, UNISON, Interval, Key, Pitch
from backing.source import Source
from backing.timebase import Meter
from backing.timeline import Strike

BENDS = frozenset({"rit.", "accel.", "a tempo"})
SWITCHES = frozenset({"a tempo", "rubato", "in 2", "in 4", "half time", "double time", "tacet"})
ZERO = Fraction(0)


@dataclass(frozen=True, slots=True)
class SpanMark:
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


@dataclass(frozen=True, slots=True)
class NoteMark:
    """A note (or hit: `pitch` None) of a line; `held` goes on from the note before."""

    start_q: Fraction
    end_q: Fraction
    pitch: Pitch | None
    held: bool


@dataclass(frozen=True, slots=True)
class BarMark:
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
    directions = [(t, t.direction) for t in bar.texts if t.direction is not None]
    names = {d.name for _, d in directions}
    spans = tuple(_span(slot, directions, length_q, push_q, interval, key) for slot in bar.slots)
    return BarMark(
        bar.number,
        source.line_column(bar.span.start)[0],
        bar.meter,
        length_q,
        tuple(_beats(bar.meter, length_q)),
        spans,
        _notes(bar.melody, interval, key),
        None if bar.hits is None else _notes(bar.hits, UNISON, key),
        None if bar.kicks is None else _notes(bar.kicks, UNISON, key),
        any(d.name == "break" and t.at_q == 0 for t, d in directions),
        "fill" in names,
        tuple(
            (_bend_place(text, bar.slots, length_q, d), d)
            for text, d in directions
            if d.name in BENDS
        ),
        tuple(
            d for text, d in directions if d.name in SWITCHES and not _next_bar(text, d, length_q)
        ),
    )


def _beats(meter: Meter, length_q: Fraction) -> list[Fraction]:
    """Counted beats; those of a pickup are counted back from its end."""
    beats, at_q = [], length_q
    while at_q > 0:
        at_q -= meter.beat_q
        beats.append(max(at_q, ZERO))
    return beats[::-1]


def _span(
    slot: Slot,
    directions: Sequence[tuple[Text, Direction]],
    length_q: Fraction,
    push_q: Fraction,
    interval: Interval,
    key: Key,
) -> SpanMark:
    start_q, end_q = slot.start_q, slot.start_q + slot.length_q
    chord = transpose(slot.chord, interval, key) if interval != UNISON else slot.chord
    strike = Strike.STOP if slot.stop else Strike.RING if slot.ring else Strike.NORMAL
    fermata = False
    for text, direction in directions:
        if direction.name == "fermata":
            fermata |= text.at_q == start_q or (text.at_q == length_q == end_q)
        elif direction.name == "break" and 0 < text.at_q == end_q:
            strike = Strike.STOP
    symbol = chord.symbol if chord is not None else "N.C."
    push = push_q if slot.pushed else ZERO
    return SpanMark(start_q, end_q, chord, symbol, slot.text, push, strike, fermata, slot.held)


def _bend_place(
    text: Text, slots: Sequence[Slot], length_q: Fraction, direction: Direction
) -> Fraction:
    if text.at_q < length_q or direction.name == "a tempo" or not slots:
        return text.at_q
    return slots[-1].start_q


def _next_bar(text: Text, direction: Direction, length_q: Fraction) -> bool:
    return direction.name == "a tempo" and text.at_q >= length_q


def _notes(line: Sequence[LineNote] | None, interval: Interval, key: Key) -> tuple[NoteMark, ...]:
    return tuple(
        NoteMark(
            n.start_q,
            n.start_q + n.length_q,
            None if n.pitch is None else moved_pitch(n.pitch, interval, key),
            n.held,
        )
        for n in line or ()
        if n.pitch is not None or n.hit or n.held
    )


def moved_pitch(pitch: Pitch, interval: Interval, key: Key) -> Pitch:
    """A pitch an interval up; a double accidental is respelled for the key, at the same height."""
    there = pitch.up(interval)
    if abs(there.note.alter) < 2:
        return there
    note = note_in_key(there.note.pc, key)
    octave = (there.midi - note.alter - LETTER_SEMITONES[LETTERS.index(note.letter)]) // 12 - 1
    return Pitch(note, octave)


def moved_key(key: Key, interval: Interval) -> Key:
    """A key an interval up; one that would need more than seven accidentals is respelled."""
    there = key.up(interval)
    if abs(there.fifths) <= 7:
        return there
    return key.up(interval_for_semitones(key, interval.semitones))
