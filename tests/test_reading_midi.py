"""Melodies from MIDI files: lines that the program itself plays with human timing come back as they were written.

*Source*: Standard MIDI Files 1.0; the tolerance of players, some 30 ms, is common practice.
"""

from __future__ import annotations

import io
from fractions import Fraction

import mido
import pytest

from backing.chart.ast import Chart
from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.ground.dice import Place
from backing.ground.errors import ChartError, RequestError
from backing.output.midi import midi_bytes
from backing.reading.asked import Reading
from backing.reading.grid import quantised
from backing.reading.midi import likely_key
from tests.each import each
from tests.foreign import codes, music, read, settings

SCALE = ("C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5")
CELLS = {
    "4/4": ("{} / / /", "{} / {} /", "{} {} {} {}", "({} {}) {} ({} {}) {}", "{} ({} {}) / {}", "({} {}) ({} {}) ({} {}) {}",
            "r {} ({} {}) {}", "({} {} {}) {} {} /", "{} / ({} {} {} {}) {}", "({} / {}) {} r /"),
    "3/4": ("{} / /", "{} {} {}", "{} ({} {}) {}", "({} {}) ({} {}) {}", "{} / ({} {})"),
    "6/8": ("{} {}", "({} / {}) ({} / {})", "({} {} {}) {}", "({} {} {}) ({} / {})"),
}  # fmt: skip
EIGHTHS = {"4/4": 7, "3/4": 5, "6/8": 4}  # how many of them have eighths only, which can be swung
LINES = [
    (number, ("4/4", "4/4", "3/4", "6/8")[number % 4], number % 3 == 0) for number in range(20)
]


def line(number: int, meter: str, swung: bool) -> str:
    """Twelve bars of a melody that moves by steps and small leaps."""
    place, at, bars = Place(("a line", number)), 4, []
    swung = swung and meter != "6/8"
    for i in range(12):
        cells = CELLS[meter][: EIGHTHS[meter] if swung else None]
        cell = place.at(i).pick(cells, [1.0] * len(cells), "cell")
        while "{}" in cell:
            step = place.at(i, cell.count("{}")).pick((-2, -1, 1, 2, 3), (1, 3, 3, 1, 1), "step")
            at = min(9, max(0, at + step))
            cell = cell.replace("{}", SCALE[at], 1)
        bars.append(cell)
    head = f"title: Line {number}\nkey: C\nmeter: {meter}\ntempo: {80 + number * 13 % 80}\nfeel: {'swing' if swung else 'straight'}\n"
    return f"{head}style: rock eighths\nending: as written\n\n| {' | '.join(['C', 'F', 'G7', 'C'] * 3)} |\nmelody: | {' | '.join(bars)} |\n"


def sounding(chart: Chart) -> list[tuple[Fraction, Fraction, int]]:
    """Place, length and pitch of every note, held ones as one."""
    found: list[tuple[Fraction, Fraction, int]] = []
    at = Fraction(0)
    for bar in (b for s in chart.sections for b in s.bars):
        for note in bar.melody or ():
            if note.pitch and note.held and found:
                start, length, midi = found[-1]
                found[-1] = (start, length + note.length_q, midi)
            elif note.pitch:
                found.append((at + note.start_q, note.length_q, note.pitch.midi))
        at += bar.length_q
    return found


def played(chart: Chart) -> bytes:
    return midi_bytes(band(prepare(chart), Options()))


def stray_ms(data: bytes) -> float:
    """How far the melody's onsets lie from the nearest 24th of a quarter, at most."""
    file = mido.MidiFile(file=io.BytesIO(data))
    track = next(t for t in file.tracks if t.name == "melody")
    at, found = 0, [0.0]
    for message in track:
        at += message.time
        if message.type == "note_on" and message.velocity:
            place = at / file.ticks_per_beat * 24
            found.append(abs(place - round(place)) / 24 * 500)
    return max(found)


def test_lines_played_by_the_program_come_back_as_written() -> None:
    """At least 98 of a hundred notes, each with its place, length and pitch; sections of swing are recognised."""
    count = found = 0
    for number, meter, swung in LINES:
        chart = parse(line(number, meter, swung))
        data = played(chart)
        back = read(data, "line.mid")
        assert stray_ms(data) > 2, "the line was played by a machine"
        mine, theirs = sounding(chart), sounding(back)
        count += max(len(mine), len(theirs))
        found += len(set(mine) & set(theirs))
        assert ("feel" in settings(back)) == (swung and meter != "6/8")
        assert settings(back)["key"] == "C major"
        assert back.settings.tempo is not None
        assert chart.settings.tempo is not None
        assert back.settings.tempo.bpm == chart.settings.tempo.bpm
    assert count > 800
    assert found >= 0.98 * count


def test_chords_come_from_text_events() -> None:
    chart = parse(line(1, "4/4", False))
    back = read(played(chart), "line.mid")
    assert [s.chord for s in (x for b in back.sections[0].bars for x in b.slots)] == [
        s.chord for s in (x for b in chart.sections[0].bars for x in b.slots)
    ]


@each("number, meter, swung", LINES, ids=str)
def test_onsets_that_stray_by_thirty_milliseconds_find_their_places(
    number: int, meter: str, swung: bool
) -> None:
    """At 120 beats a minute; of all notes of a line at most one in twenty is misplaced."""
    chart = parse(line(number, meter, swung))
    beat = Fraction(3, 2) if meter == "6/8" else Fraction(1)
    places = [start / beat for start, _, _ in sounding(chart)]
    late = 0.11 if swung and meter != "6/8" else 0.0  # 61 %, as swing is played at this tempo
    onsets = [
        float(p)
        + (late if p % 1 == Fraction(1, 2) else 0.0)
        + 0.06 * float(beat) ** -1 * (2 * Place(("stray", number)).at(i).roll("by") - 1)
        for i, p in enumerate(places)
    ]
    found = quantised(sorted(max(0.0, o) for o in onsets), meter == "6/8")
    assert found.swung == (late > 0)
    assert sum(a != b for a, b in zip(found.places, places, strict=True)) <= len(places) / 20


def midi(
    *messages: mido.Message | mido.MetaMessage, more: tuple[tuple[int, int, int], ...] = ()
) -> bytes:
    """A file with a track of messages, and one of notes (start, length, pitch) in eighths."""
    file = mido.MidiFile(ticks_per_beat=480)
    file.tracks.append(mido.MidiTrack(messages))
    if more:
        events = sorted(
            [(s, True, p) for s, _, p in more] + [(s + n, False, p) for s, n, p in more],
            key=lambda e: (e[0], e[1]),
        )
        at, track = 0, mido.MidiTrack()
        for when, on, pitch in events:
            track.append(
                mido.Message(
                    "note_on", note=pitch, velocity=80 if on else 0, time=(when - at) * 240
                )
            )
            at = when
        file.tracks.append(track)
    made = io.BytesIO()
    file.save(file=made)
    return made.getvalue()


TUNE = ((0, 2, 67), (2, 2, 69), (4, 4, 71), (8, 2, 72), (10, 2, 71), (12, 4, 67))


def test_a_plain_file_without_meter_and_key() -> None:
    chart = read(midi(more=TUNE), "own.mid")
    assert music(chart) == "| ? | ? |\nmelody: | G4 A4 B4 / | C5 B4 G4 / |"
    assert settings(chart)["key"] == "G major"
    assert [d.message for d in chart.warnings] == [
        "the file names no meter, so 4/4 is assumed",
        "the file names no key, so G major is assumed",
    ]
    assert chart.source.line_text(1) == "quarter 0.00 to 1.00  67"


def test_the_file_tells_meter_key_sections_and_chords() -> None:
    told = (
        mido.MetaMessage("track_name", name="Own line"), mido.MetaMessage("time_signature", numerator=3, denominator=4),
        mido.MetaMessage("key_signature", key="Em"), mido.MetaMessage("set_tempo", tempo=500_000), mido.MetaMessage("marker", text="A"),
        mido.MetaMessage("text", text="Em7"), mido.MetaMessage("text", text="B7", time=3 * 480), mido.MetaMessage("text", text="no chord here"),
    )  # fmt: skip
    chart = read(midi(*told, more=((0, 6, 64), (6, 6, 66))), "own.mid")
    assert music(chart) == "[A]\n| Em7 | B7 |\nmelody: | E4 | F#4 |"
    assert settings(chart) == {
        "title": "Own line",
        "key": "E minor",
        "tempo": "quarter = 120",
        "meter": "3/4",
    }


def test_the_track_is_chosen_by_what_it_plays_or_by_its_number() -> None:
    file = mido.MidiFile(file=io.BytesIO(midi(more=TUNE)))
    low = mido.MidiTrack([mido.MetaMessage("track_name", name="Low")])
    for _ in range(2):
        low += [mido.Message("note_on", note=n, velocity=70) for n in (36, 43, 48)]
        low += [mido.Message("note_off", note=n, time=1920 * (n == 36)) for n in (36, 43, 48)]
    file.tracks.insert(1, low)
    made = io.BytesIO()
    file.save(file=made)
    assert "melody: | G4 A4 B4 / | C5 B4 G4 / |" in music(read(made.getvalue(), "own.mid"))
    assert "melody: | C3 | C3 |" in music(read(made.getvalue(), "own.mid", Reading(track=2)))
    with pytest.raises(
        RequestError, match=r"--track 9: own\.mid has notes in the tracks 2 \(Low\), 3"
    ):
        read(made.getvalue(), "own.mid", Reading(track=9))


@each("pitches, key", (
    ((60, 62, 64, 65, 67, 69, 71, 72), "C major"), ((69, 71, 72, 74, 76, 68, 69), "A minor"), ((65, 67, 69, 70, 72, 74, 76, 77), "F major"),
    ((64, 66, 67, 69, 71, 63, 64), "E minor"), ((63, 65, 67, 68, 70, 72, 74, 75), "Eb major"),
))  # fmt: skip
def test_the_key_of_a_line(pitches: tuple[int, ...], key: str) -> None:
    """Scales and their tonics, common practice."""
    assert likely_key([(p, 1.0) for p in pitches]).name == key


@each("data, code", (
    (b"MThd", "E701"), (b"MThd\x00\x00\x00\x06\x00\x01\x00\x01\x01\xe0MTrk\x00\x00\x00\xff\x00", "E701"), (midi(), "E702"), (b"no MIDI at all", "E701"),
    (midi(more=((0, 2, 60), (16_100, 2, 60))), "E704"),
    (midi(mido.Message("note_on", channel=9, note=36, velocity=9), mido.Message("note_off", channel=9, note=36, time=480)), "E702"),
), ids=lambda cell: str(cell)[:30])  # fmt: skip
def test_what_cannot_be_read_is_said(data: bytes, code: str) -> None:
    with pytest.raises(ChartError) as wrong:
        read(data, "own.mid")
    assert [d.code for d in wrong.value.diagnostics if d.severity.value == "error"] == [code]


def test_notes_at_once_and_empty_bars_are_said() -> None:
    chart = read(midi(more=(*((s + 8, n, p) for s, n, p in TUNE), (8, 2, 48))), "own.mid")
    assert music(chart) == "| ? | ? |\nmelody: | G4 A4 B4 / | C5 B4 G4 / |"
    assert codes(chart) == ["W701", "W707", "W709"]
