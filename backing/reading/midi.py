"""A melody played into a Standard MIDI File: bytes to a chart.

Conventions: one track is read, the one that is most like a melody where none is asked for; of notes at once the highest
sounds. Meter, key, tempo, title, sections (markers) and chords (text events that are chord symbols) are taken from the
file. A place in the file is a line of a list of its notes, for it has no text of its own. *Source*: Standard MIDI Files 1.0.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Any, NamedTuple

from backing.chart.ast import Chart
from backing.ground.errors import RequestError
from backing.ground.pitch import Key, NoteName, Pitch
from backing.ground.source import Source, Span
from backing.ground.timebase import FOUR_FOUR, UNITS, Meter
from backing.harmony.spelling import note_in_key
from backing.reading.abc_fields import NOTE_WORDS
from backing.reading.findings import Findings
from backing.reading.grid import quantised
from backing.reading.lay import chart_of
from backing.reading.lead import Lead, Measure, Note, Set, Symbol
from backing.reading.symbols import typed_symbol

MOST_EVENTS = 200_000
DRUMS = 9  # channel, counted from 0
MOST_BARS = 2000
CHORD_TEXTS = ("text", "lyrics", "cue_marker")


class Played(NamedTuple):
    """A note as played, in quarters."""

    start_q: float
    end_q: float
    midi: int


class Told(NamedTuple):
    """A meta event that means something here, at its place in quarters."""

    at_q: float
    kind: str
    value: Any


class Line(NamedTuple):
    """The notes of one track."""

    number: int
    name: str
    notes: list[Played]


def read(data: bytes, name: str, track: int | None = None) -> Chart:
    """The chart of a file; `track` counts from 1. Raises `ChartError`, `RequestError`."""
    nothing = Findings(Source(name, "", foreign=True))
    lines, told = _events(data, nothing)
    if not lines:
        raise nothing.refuse(
            "E702", Span(0, 0), hint="a melody stands in a track of its own, away from the drums"
        )
    chosen = _chosen(lines, track, name)
    tune = _one_voice(chosen.notes)
    text = "".join(f"{_place(n)}  {n.midi}\n" for n in tune)
    findings = Findings(Source(name, text, foreign=True))
    if len(lines) > 1:
        words = f"track {chosen.number}" + (f" ({chosen.name})" if chosen.name else "")
        findings.add(
            "W707", Span(0, 0), count=len(lines), kinds="tracks with notes", which=words,
            hint="choose another with --track",
        )  # fmt: skip
    if len(tune) < len(chosen.notes):
        findings.add(
            "W707", Span(0, 0), count="several", kinds="notes at once", which="highest", hint=""
        )
    return chart_of(_Reader(tune, told, findings).lead(), findings)


def _place(note: Played) -> str:
    return f"quarter {note.start_q:.2f} to {note.end_q:.2f}"


def _events(data: bytes, findings: Findings) -> tuple[list[Line], list[Told]]:
    """The notes of every track, drums apart, and what the file tells."""
    import mido

    try:
        file = mido.MidiFile(file=io.BytesIO(data), clip=True)
    except (
        OSError,
        EOFError,
        ValueError,
        KeyError,
        IndexError,
        TypeError,
        mido.KeySignatureError,
    ) as wrong:
        raise findings.refuse(
            "E701", Span(0, 0), what="this file", why=f"it is no whole MIDI file ({str(wrong)[:60]})",
            hint="export it again as a Standard MIDI File",
        ) from None  # fmt: skip
    if sum(map(len, file.tracks)) > MOST_EVENTS:
        raise findings.refuse("E704", Span(0, 0), most=f"{MOST_EVENTS:,} events")
    division = file.ticks_per_beat if 0 < file.ticks_per_beat < 32768 else 480
    lines: list[Line] = []
    told: list[Told] = []
    for number, track in enumerate(file.tracks, 1):
        notes: list[Played] = []
        sounding: dict[tuple[int, int], float] = {}
        at = 0
        for message in track:
            at += message.time
            here = at / division
            if message.is_meta:
                told.append(Told(here, message.type, message))
            elif message.type in ("note_on", "note_off") and message.channel != DRUMS:
                place = (message.channel, message.note)
                start = sounding.pop(place, None)
                if start is not None and here > start:
                    notes.append(Played(start, here, message.note))
                if message.type == "note_on" and message.velocity:
                    sounding[place] = here
        if notes:
            lines.append(
                Line(number, "".join(c for c in track.name if c.isprintable())[:40], sorted(notes))
            )
    return lines, sorted(told, key=lambda t: t.at_q)


def _chosen(lines: Sequence[Line], track: int | None, name: str) -> Line:
    if track is None:
        return max(lines, key=_melodic)
    for line in lines:
        if line.number == track:
            return line
    there = ", ".join(f"{x.number}{f' ({x.name})' if x.name else ''}" for x in lines)
    raise RequestError(f"--track {track}: {name} has notes in the tracks {there}")


def _melodic(line: Line) -> tuple[bool, float]:
    """How much a track is like a melody: by its name, by one note at a time, by how high and how busy it is."""
    named = any(
        word in line.name.casefold() for word in ("melod", "vocal", "lead", "voice", "tune")
    )
    overlaps = sum(1 for a, b in pairwise(line.notes) if b.start_q < a.end_q - 0.1)
    alone = 1 - overlaps / len(line.notes)
    height = sum(n.midi for n in line.notes) / len(line.notes) / 127
    return named, alone + height / 2 + min(len(line.notes), 32) / 64


def _one_voice(notes: Sequence[Played]) -> list[Played]:
    """The highest of what begins together; a note ends where the next one begins."""
    found: list[Played] = []
    for note in sorted(notes, key=lambda n: (n.start_q, -n.midi)):
        if found and note.start_q - found[-1].start_q < 0.06:
            if note.midi > found[-1].midi:
                found[-1] = note._replace(start_q=found[-1].start_q)
            continue
        if found and note.start_q < found[-1].end_q:
            if note.midi < found[-1].midi and note.end_q <= found[-1].end_q:
                continue  # below a note that sounds on
            found[-1] = found[-1]._replace(end_q=note.start_q)
        found.append(note)
    return found


class _Reader:
    """Lays the notes of a line into measures."""

    def __init__(self, tune: list[Played], told: list[Told], findings: Findings) -> None:
        self.tune, self.told, self.findings = tune, told, findings
        self.meters = self._meters()
        self.key = self._key()

    def lead(self) -> Lead:
        bars = self._bars()
        beat = float(self.meters[0][1].beat_q)
        compound = self.meters[0][1].compound
        placed = quantised([max(n.start_q, 0.0) / beat for n in self.tune], compound)
        starts = [p * self.meters[0][1].beat_q for p in placed.places]
        lengths = self._lengths(starts)
        lead = Lead(self._head(placed.swung))
        measures = [Measure(meter=m, length_q=m.length_q, span=Span(0, 0)) for _, m in bars]
        line = 0
        for played, start, length in zip(self.tune, starts, lengths, strict=True):
            text = self.findings.source.text
            span = Span(line, text.index("\n", line))
            line = span.end + 1
            self._lay(measures, bars, start, length, self._pitch(played.midi), span)
        self._tell(measures, bars)
        first = next((i for i, m in enumerate(measures) if m.notes or m.symbols), 0)
        if first:
            self.findings.add(
                "W709", Span(0, 0), what=f"{first} empty bars before the tune are left out", hint=""
            )
            measures[first].opened = measures[first].opened or next(
                (m.opened for m in reversed(measures[:first]) if m.opened), None
            )
        lead.measures = measures[first:]
        return lead

    def _head(self, swung: bool) -> list[Set]:
        found = []
        for told in self.told:
            if told.kind == "track_name" and told.at_q == 0 and told.value.name.strip():
                found.append(Set("title", told.value.name, Span(0, 0)))
                break
        if self.key:
            found.append(Set("key", self.key.name, Span(0, 0)))
        tempos = [t for t in self.told if t.kind == "set_tempo" and t.value.tempo > 0]
        if tempos:
            meter = self.meters[0][1]
            unit = Fraction(1) if meter.counted_in_eighths else meter.beat_q
            bpm = Fraction(60_000_000, tempos[0].value.tempo) / unit
            if 10 <= bpm <= 600:
                found.append(
                    Set(
                        "tempo",
                        f"{NOTE_WORDS.get(unit, 'quarter')} = {float(round(bpm, 1)):g}",
                        Span(0, 0),
                    )
                )
            if len({t.value.tempo for t in tempos}) > 1:
                self.findings.add("W710", Span(0, 0), found="a change of tempo", hint="")
        if swung:
            found.append(Set("feel", "swing", Span(0, 0)))
            self.findings.add(
                "W709",
                Span(0, 0),
                what="the eighths are swung and are written straight, with feel: swing",
                hint="",
            )
        return found

    def _meters(self) -> list[tuple[Fraction, Meter]]:
        """Every meter with the quarter that it begins at."""
        found: list[tuple[Fraction, Meter]] = []
        for told in self.told:
            if told.kind == "time_signature":
                count, unit = told.value.numerator, told.value.denominator
                if 1 <= count <= 32 and unit in UNITS:
                    found.append((Fraction(round(told.at_q * 8), 8), Meter.of(count, unit)))
        if not found:
            self.findings.add(
                "W701", Span(0, 0), what="the file names no meter", assumed="4/4", hint=""
            )
        if not found or found[0][0] > 0:
            found.insert(0, (Fraction(0), FOUR_FOUR))
        return found

    def _bars(self) -> list[tuple[Fraction, Meter]]:
        """Every bar with the quarter that it begins at."""
        end = max(n.end_q for n in self.tune)
        bars: list[tuple[Fraction, Meter]] = []
        at, waiting, meter = Fraction(0), list(self.meters), FOUR_FOUR
        while at < end and len(bars) < MOST_BARS:
            while waiting and waiting[0][0] <= at:
                meter = waiting.pop(0)[1]
            bars.append((at, meter))
            at += meter.length_q
        if at < end:
            raise self.findings.refuse("E704", Span(0, 0), most=f"{MOST_BARS:,} bars")
        return bars

    def _key(self) -> Key | None:
        for told in self.told:
            if told.kind == "key_signature":
                try:
                    return Key.parse(told.value.key)
                except ValueError:
                    continue
        key = likely_key([(n.midi, n.end_q - n.start_q) for n in self.tune])
        self.findings.add(
            "W701", Span(0, 0), what="the file names no key", assumed=key.name, hint=""
        )
        return key

    def _pitch(self, midi: int) -> Pitch:
        note = note_in_key(midi % 12, self.key)
        octave = midi // 12 - 1
        return next(p for p in (Pitch(note, octave + i) for i in (0, -1, 1)) if p.midi == midi)

    def _lengths(self, starts: Sequence[Fraction]) -> list[Fraction]:
        """Up to the next note where the gap is short, else to the nearest eighth or triplet."""
        found = []
        for i, (played, start) in enumerate(zip(self.tune, starts, strict=True)):
            after = starts[i + 1] if i + 1 < len(starts) else None
            long = played.end_q - played.start_q
            room = float(after - start) if after is not None else None
            if room is not None and (room - long < 0.3 or (long > 0.6 * room and room <= 1)):
                assert after is not None
                found.append(after - start)
                continue
            end = start + max(Fraction(round(long * 2), 2), Fraction(1, 4))
            if end.denominator not in (1, 2):
                end = Fraction(round(end * 4), 4)
            found.append(
                min(end, after) - start if after is not None else max(end - start, Fraction(1, 4))
            )
        return found

    def _lay(
        self,
        measures: list[Measure],
        bars: list[tuple[Fraction, Meter]],
        start: Fraction,
        length: Fraction,
        pitch: Pitch,
        span: Span,
    ) -> None:
        """A note in the measure where it begins, held into those that follow."""
        held = False
        number = max(0, bisect_right(bars, start, key=lambda b: b[0]) - 1)
        while number < len(bars) and bars[number][0] < start + length:
            at, meter = bars[number]
            since, until = max(start, at), min(start + length, at + meter.length_q)
            if since < until:
                measures[number].notes.append(Note(since - at, until - since, pitch, span, held))
                held = True
            number += 1

    def _tell(self, measures: list[Measure], bars: list[tuple[Fraction, Meter]]) -> None:
        """Chords and sections from text events and markers."""
        for told in self.told:
            if told.kind not in (*CHORD_TEXTS, "marker"):
                continue
            text = told.value.text
            place = Fraction(round(told.at_q * 4), 4)
            number = bisect_right(bars, place, key=lambda b: b[0]) - 1
            if number < 0 or place >= bars[number][0] + bars[number][1].length_q:
                continue
            measure, at = measures[number], bars[number][0]
            symbol = typed_symbol(text) if told.kind != "marker" else None
            if symbol and all(s.at_q != place - at for s in measure.symbols):
                measure.symbols.append(Symbol(place - at, symbol, Span(0, 0)))
            elif told.kind == "marker" and text.strip() and measure.opened is None:
                measure.opened = text


# Degrees of the major and the natural minor scale with their weight: the tonic triad first. Common practice.
_WEIGHTS = {
    False: {0: 6.0, 2: 3.0, 4: 4.5, 5: 3.0, 7: 5.0, 9: 3.0, 11: 2.5},
    True: {0: 6.0, 2: 3.0, 3: 4.5, 5: 3.0, 7: 5.0, 8: 2.5, 10: 2.5, 11: 2.0},
}


def likely_key(notes: Sequence[tuple[int, float]]) -> Key:
    """The key in which the notes, with their lengths, stand best; the last one counts as a tonic."""
    scores: dict[Key, float] = {}
    for fifths in range(-5, 7):
        for minor in (False, True):
            place = fifths + (3 if minor else 0)
            key = Key(NoteName("FCGDAEB"[(place + 1) % 7], (place + 1) // 7), minor)
            weights = _WEIGHTS[minor]
            score = sum(
                length * weights.get((midi - key.tonic.pc) % 12, -4.0) for midi, length in notes
            )
            scores[key] = score + 6.0 * (notes[-1][0] % 12 == key.tonic.pc)
    return max(scores, key=lambda k: scores[k])
