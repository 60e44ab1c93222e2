"""A performance as a Standard MIDI File.

Conventions: type 1, 960 ticks a quarter, tick 0 is the first sample of the sound. The first track conducts: title,
maker, tempo, every meter with its clocks a click, keys, section markers, and each chord as text at its written place.
Then one track a player, named by its role. Events at one tick stand in this order: note ends, then programs and
controllers, then note starts. The file ends where the sound ends.

Roles without pitch share the percussion channel; its kit and mix are those of the first of them that plays, since a
channel has only one program, volume and pan.

Sources: Standard MIDI Files 1.0 (tempo in microseconds a quarter; time signature with clocks a click, 24 a quarter;
text in metas 1, 3 and 6); General MIDI level 1 (channel 10 for percussion; volume as 40 log10 of controller 7 and 11).
"""

from __future__ import annotations

import io
import math
import os
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from backing.ground.pitch import Key, NoteName
from backing.ground.roles import CHANNELS, pitched
from backing.ground.timebase import Meter
from backing.output.asked import AS_USUAL, Sound
from backing.output.files import MARK, write_bytes
from backing.output.notes import Sounding, apart
from backing.performance.model import Performance, PerformedNote, PerformedPlayer

if TYPE_CHECKING:
    from mido import Message, MidiTrack

TICKS = 960
VOLUME, PAN, EXPRESSION, ROOM = 7, 10, 11, 91  # controllers
CHOKE = 127  # pressure on a key that stops it
FULL_VOLUME = 100  # of a player whose level is 0 dB, the default of General MIDI
FADE_STEP_TICKS = TICKS // 4

_END, _PROGRAM, _START = range(3)  # order of events at one tick
Event = tuple[int, int, int, Any]  # tick, order, number, message


def write(
    performance: Performance,
    path: str | os.PathLike[str],
    *,
    sound: Sound = AS_USUAL,
    force: bool = False,
) -> None:
    """Write the file. Raises `OutputError`."""
    write_bytes(path, midi_bytes(performance, sound), force=force)


def midi_bytes(performance: Performance, sound: Sound = AS_USUAL) -> bytes:
    """The file as bytes; the same performance gives the same bytes."""
    from mido import MidiFile

    file = MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    file.tracks.append(_track(_conductor(performance), _end_tick(performance)))
    leader = next((p.role for p in performance.players if not pitched(p.role)), None)
    for player in performance.players:
        leads = pitched(player.role) or player.role == leader
        events = list(_player(performance, player, a4=sound.a4, leads=leads))
        file.tracks.append(_track(events, max((e[0] for e in events), default=0)))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def tick(performance: Performance, at_q: Fraction | float) -> int:
    """The tick of a place in quarters from the first bar played; never before the start of the file."""
    return max(0, round((at_q - performance.tempo.zero_q) * TICKS))


def volume(level_db: float) -> int:
    """Controller 7 for a level; General MIDI hears it as 40 log10.

    >>> volume(0), volume(-12), volume(6)
    (100, 50, 127)
    """
    return min(127, round(FULL_VOLUME * 10 ** (level_db / 40)))


def pan(place: float) -> int:
    """Controller 10 for a place from -1 (left) to 1 (right).

    >>> pan(-1), pan(0), pan(1)
    (1, 64, 127)
    """
    return round(64 + 63 * max(-1.0, min(1.0, place)))


def clocks_a_click(meter: Meter) -> int:
    """MIDI clocks from one click to the next: 24 a quarter, one click a counted beat.

    >>> [clocks_a_click(Meter.of(*m)) for m in ((4, 4), (2, 2), (6, 8), (7, 8))]
    [24, 48, 36, 12]
    """
    return int(24 * meter.beat_q)


def _track(events: list[Event], end: int) -> MidiTrack:
    from mido import MetaMessage, MidiTrack

    track = MidiTrack()
    now = 0
    for at, _, _, message in sorted(events):  # no two have one number
        message.time = at - now
        now = at
        track.append(message)
    track.append(MetaMessage("end_of_track", time=max(0, end - now)))
    return track


def _end_tick(performance: Performance) -> int:
    """The tick at which the sound ends."""
    tempo = performance.tempo
    last = tempo.steps[-1]
    here_s = tempo.exact_s(last.at_q)
    rest_q = (Fraction(performance.duration_s) - here_s) * 1_000_000 / last.us
    return tick(performance, last.at_q + rest_q)


def _conductor(performance: Performance) -> list[Event]:
    from mido import MetaMessage

    from backing.output import hand

    arrangement = performance.arrangement
    timeline = arrangement.timeline
    events: list[Event] = []

    def add(at: int, kind: str, **fields: object) -> None:
        events.append((at, _PROGRAM, len(events), MetaMessage(kind, **fields)))

    def at(q: Fraction) -> int:
        return tick(performance, q)

    add(0, "track_name", name=timeline.title)
    add(0, "text", text=f"{MARK}, style {arrangement.style.name}, seed {arrangement.seed}")
    if told := hand.said(timeline):
        add(0, "text", text=told.replace("♭", "b").replace("♯", "#"))
    for place, us in performance.tempo.changes():
        add(at(place), "set_tempo", tempo=us)
    for place, meter in _meters(performance):
        add(
            at(place),
            "time_signature",
            numerator=meter.count,
            denominator=meter.unit,
            clocks_per_click=clocks_a_click(meter),
            notated_32nd_notes_per_beat=8,
        )
    key: Key | None = None
    for i, bar in enumerate(timeline.bars):
        if bar.key != key:
            key = bar.key
            start = at(bar.start_q) if i else 0
            add(start, "key_signature", key=_signature(key))
    for mark in performance.markers:
        add(at(mark.at_q), "marker", text=mark.text)
    for mark in performance.feels:
        add(at(mark.at_q), "text", text=mark.text)
    for span in timeline.chords:
        add(at(span.start_q), "text", text=hand.symbol(timeline, span))
    return events


def _meters(performance: Performance) -> Iterator[tuple[Fraction, Meter]]:
    """Where bars of a new length begin, so that every bar line of the file is one of the music.

    The count-in is counted in the first bar's meter. A short bar (a pickup) gets a meter of its own length unless the
    count-in stops where it begins and the two make whole bars.
    """
    bars = performance.arrangement.timeline.bars
    line = performance.tempo.zero_q
    if not bars:
        return
    meter = bars[0].meter
    if line < bars[0].start_q or bars[0].length_q == meter.length_q:
        yield line, meter
    for bar in bars:
        into = (bar.start_q - line) % meter.length_q
        whole = bar.length_q == bar.meter.length_q
        joined = (bar.end_q - line) % meter.length_q == 0
        if meter == bar.meter and (not into if whole else joined):
            continue
        meter, line = bar.meter if whole else _of_length(bar.length_q, bar.meter), bar.start_q
        yield line, meter


def _of_length(length_q: Fraction, meter: Meter) -> Meter:
    """A meter for a bar that is shorter or longer than its meter says."""
    for unit in (meter.unit, 4, 8, 16, 32):
        count = length_q * unit / 4
        if count.denominator == 1 and 1 <= count <= 255:
            return Meter.of(int(count), unit)
    return meter


def _signature(key: Key) -> str:
    """The key as the file can hold it: of a mode the key of its signature, beyond seven accidentals its other spelling."""
    key = key.signature
    if abs(key.fifths) <= 7:
        return key.short_name
    names = [
        NoteName.parse(n) for n in ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
    ]
    near = min(
        (Key(n, key.minor) for n in names if n.pc == key.tonic.pc), key=lambda k: abs(k.fifths)
    )
    if abs(near.fifths) > 7:
        near = Key(
            NoteName.parse({1: "C#", 3: "D#", 6: "F#", 8: "G#", 10: "A#"}[near.tonic.pc]), key.minor
        )
    return near.short_name


def _player(
    performance: Performance, player: PerformedPlayer, *, a4: float, leads: bool
) -> Iterator[Event]:
    from mido import Message, MetaMessage

    channel = CHANNELS[player.role]
    number = 0

    def event(at: int, order: int, message: object) -> Event:
        nonlocal number
        number += 1
        return at, order, number, message

    def control(at: int, controller: int, value: int) -> Event:
        return event(
            at,
            _PROGRAM,
            Message("control_change", channel=channel, control=controller, value=value),
        )

    yield event(0, _END, MetaMessage("track_name", name=player.role))
    faded = list(_fade(performance))
    if leads:
        if pitched(player.role) and a4 != 440.0:
            for controller, value in tuning(a4):
                yield control(0, controller, value)
        program = level = side = room = -1
        for i, voice in enumerate(player.voices):
            at = tick(performance, voice.at_q) if i else 0
            if voice.instrument.program != program:
                program = voice.instrument.program
                yield event(
                    at, _PROGRAM, Message("program_change", channel=channel, program=program)
                )
            if volume(voice.level_db) != level:
                level = volume(voice.level_db)
                yield control(at, VOLUME, level)
            if pan(voice.pan) != side:
                side = pan(voice.pan)
                yield control(at, PAN, side)
            if round(127 * voice.room) != room:
                room = round(127 * max(0.0, min(1.0, voice.room)))
                yield control(at, ROOM, room)
        for at, value in faded:
            yield control(at, EXPRESSION, value)
    for gesture in player.gestures:
        at = tick(performance, gesture.at_q)
        if gesture.key >= 0:
            yield event(at, _PROGRAM, _pressure(channel, gesture.key, CHOKE))
            yield event(at, _START, _pressure(channel, gesture.key, 0))
        elif not faded or at < faded[0][0]:  # a fade-out comes before a swell
            yield control(at, EXPRESSION, gesture.value)
    for start, end, pitch, velocity in apart(_ticks(performance, player.notes)):
        struck = _note("note_on", channel, pitch).copy()
        struck.velocity = velocity
        yield event(start, _START, struck)
        yield event(end, _END, _note("note_off", channel, pitch).copy())


@lru_cache(maxsize=4096)
def _note(kind: str, channel: int, pitch: int) -> Message:
    """A message to copy; mido checks the values of a new message one by one, and copies as they are."""
    from mido import Message

    return Message(kind, channel=channel, note=pitch, velocity=64)


def _pressure(channel: int, key: int, value: int) -> Message:
    """Pressure on one key: electronic kits stop a cymbal with it (common practice)."""
    from mido import Message

    return Message("polytouch", channel=channel, note=key, value=value)


def _ticks(performance: Performance, notes: Iterable[PerformedNote]) -> Iterator[Sounding]:
    zero_q = float(performance.tempo.zero_q)
    for n in notes:
        start = max(0, round((n.start_q - zero_q) * TICKS))
        yield start, round((n.end_q - zero_q) * TICKS), n.pitch, n.velocity


def _fade(performance: Performance) -> Iterator[tuple[int, int]]:
    """Expression from full to nothing over the fade-out."""
    if performance.fade_s is None:
        return
    tempo = performance.tempo
    step = max(
        (s for s in tempo.steps if tempo.seconds(s.at_q) <= performance.fade_s),
        key=lambda s: s.at_q,
        default=tempo.steps[0],
    )
    begin_q = (
        step.at_q + (Fraction(performance.fade_s) - tempo.exact_s(step.at_q)) * 1_000_000 / step.us
    )
    begin = tick(performance, begin_q)
    end = max(tick(performance, n.end_q) for p in performance.players for n in p.notes)
    steps = max(1, (end - begin) // FADE_STEP_TICKS)
    for i in range(1, steps + 1):
        yield begin + i * (end - begin) // steps, round(127 * (1 - i / steps))


def tuning(a4: float) -> list[tuple[int, int]]:
    """Controllers that tune a channel: registered parameters 2 (coarse) and 1 (fine), then none selected.

    >>> tuning(442.0)[4:8]
    [(101, 0), (100, 1), (6, 69), (38, 3)]
    """
    cents = 1200 * math.log2(a4 / 440.0)
    semitones = round(cents / 100)
    fine = min(16383, round(8192 + (cents - 100 * semitones) / 100 * 8192))
    return [
        *((101, 0), (100, 2), (6, 64 + semitones), (38, 0)),
        *((101, 0), (100, 1), (6, fine >> 7), (38, fine & 127)),
        *((101, 127), (100, 127)),
    ]
