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

from backing.chart.ast import Bar, LineNote, Slot, Text
from backing.chart.gripping import moved
from backing.chart.words import HIGHEST, WORDS, Bend, Effect, Once, Switch
from backing.ground.pitch import UNISON, Interval, Key, Pitch
from backing.ground.source import Source
from backing.ground.timebase import Meter
from backing.harmony.spelling import interval_for_semitones, transpose
from backing.harmony.symbol import Chord
from backing.timeline.model import Strike

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
    grip: tuple[int, ...] = ()


class NoteMark(NamedTuple):
    """A note (or hit: `pitch` None) of a line; `held` goes on from the note before."""

    start_q: Fraction
    end_q: Fraction
    pitch: Pitch | None
    held: bool


class Told(NamedTuple):
    """One effect of a direction and where in its bar it takes place, with the figure or the player that is named."""

    at_q: Fraction
    effect: Effect
    value: Fraction | None = None
    role: str | None = None


class Bending(NamedTuple):
    """A change of tempo from `at_q` on: to `to_bpm` counted beats a minute where that is given, else by the bend."""

    at_q: Fraction
    bend: Bend
    to_bpm: Fraction | None


class Switching(NamedTuple):
    """A switch, the player whom it is about, and the fret that it names."""

    switch: Switch
    role: str | None
    fret: int = 0


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
    bends: tuple[Bending, ...]
    switches: tuple[Switching, ...]


def mark_bar(
    bar: Bar, source: Source, push_q: Fraction, interval: Interval, key: Key, higher: int = 0
) -> BarMark:
    """Prepare a bar whose chords sound `interval` above what is written, in `key`.

    Of that `higher` semitones are those of a guitar's capo and tuning, whose grips stay as they are typed.
    """
    length_q = bar.length_q
    told = _told(bar)
    return BarMark(
        number=bar.number,
        line=source.line_column(bar.span.start)[0],
        meter=bar.meter,
        length_q=length_q,
        beats_q=_beats(bar.meter, length_q),
        spans=tuple(
            _span(slot, told, length_q, push_q, interval, key)._replace(
                grip=moved(slot.grip, interval.semitones - higher)
            )
            for slot in bar.slots
        ),
        melody=_notes(bar.melody, interval),
        hits=None if bar.hits is None else _notes(bar.hits, UNISON),
        kicks=None if bar.kicks is None else _notes(bar.kicks, UNISON),
        breaks=any(t.effect is Once.BREAK and t.at_q == 0 for t in told),
        fills=any(t.effect is Once.FILL for t in told),
        bends=tuple(
            Bending(_bend_q(t.at_q, bar, t.effect), t.effect, t.value)
            for t in told
            if isinstance(t.effect, Bend)
        ),
        switches=tuple(
            Switching(t.effect, t.role, _fret(t, interval.semitones - higher))
            for t in told
            if isinstance(t.effect, Switch)
            and not (t.effect.rubato is False and t.at_q >= length_q)
        ),
    )


def _fret(told: Told, semitones: int) -> int:
    """The fret that a direction names, moved with the key."""
    if told.value is None or not isinstance(told.effect, Switch) or not told.effect.position:
        return 0
    fret = int(told.value) + semitones
    return fret if 1 <= fret <= HIGHEST else fret % 12 or 12


def _told(bar: Bar) -> list[Told]:
    """The effects of the directions over a bar, in their order."""
    return [
        Told(_place(text, bar), effect, text.direction.value, text.direction.role)
        for text in bar.texts
        if text.direction is not None
        for effect in WORDS[text.direction.name].effects
    ]


def _place(text: Text, bar: Bar) -> Fraction:
    """Where a text stands: at the chord it is typed before, or at the bar's end after the last one."""
    if bar.slots and text.span.start >= bar.slots[-1].span.end > bar.slots[-1].span.start:
        return bar.length_q
    return text.at_q


def _bend_q(at_q: Fraction, bar: Bar, bend: Bend) -> Fraction:
    """A change of tempo typed after the last chord begins with that chord; `a tempo` is meant for what follows."""
    if at_q < bar.length_q or bend.share is None or not bar.slots:
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
    told: Sequence[Told],
    length_q: Fraction,
    push_q: Fraction,
    interval: Interval,
    key: Key,
) -> SpanMark:
    start_q, end_q = slot.start_q, slot.start_q + slot.length_q
    chord = transpose(slot.chord, interval, key) if interval != UNISON else slot.chord
    strike = Strike.STOP if slot.stop else Strike.RING if slot.ring else Strike.NORMAL
    fermata = False
    for one in told:
        if one.effect is Once.FERMATA:
            fermata |= start_q <= one.at_q < end_q or one.at_q == end_q == length_q
        elif one.effect is Once.BREAK and start_q < one.at_q <= end_q:
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
