"""Notes on the exact grid: for notation and editors, with the feel in words."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import mido
import pytest

from backing.band.model import Kind, Note, Why
from backing.chart.parse import parse
from backing.commands.cli import run
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.output.midi import midi_bytes
from backing.performance.perform import perform
from backing.performance.session import joined
from backing.performance.written import written
from tests.band import arranged

TUNE = """\
tempo: 132
ending: as written
count-in: 1
form: A B
[A]
| Dm7 | G7 | Cmaj7 | A7b9 |
[B]
feel: straight
| Dm7 | G7 | C6 | % |
"""
TICKS = 960


def test_every_note_stands_where_it_is_written() -> None:
    music = arranged(TUNE)
    played = perform(music, straight=True)
    for player, performed in zip(music.players, played.players, strict=True):
        written = {(round(float(n.start_q), 6), n.pitch, n.velocity) for n in player.notes}
        found = {(n.start_q, n.pitch, n.velocity) for n in performed.notes}
        assert found <= written | {(0.0, p, v) for at, p, v in written if at < 0}, player.role
        assert {(at, p) for at, p, _ in found if at > 0} == {
            (at, p) for at, p, _ in written if at > 0
        }
        assert all(n.start_q < n.end_q for n in performed.notes)


def test_the_tempo_alone_makes_seconds() -> None:
    """At 132 quarters a minute a quarter lasts 60/132 s."""
    played = perform(arranged(TUNE), straight=True)
    for player in played.players:
        for note in player.notes:
            assert note.onset_s == pytest.approx(
                played.count_in_s + note.start_q * 60 / 132, abs=2e-5
            )


def test_the_usual_performance_is_another() -> None:
    music = arranged(TUNE)
    plain = perform(music)
    assert plain.feels == ()
    assert plain.players != perform(music, straight=True).players


def test_the_feel_is_told_where_it_changes_and_in_every_pass() -> None:
    played = perform(arranged(TUNE), straight=True)
    told = [(Fraction(0), "feel: swing"), (Fraction(16), "feel: straight")]
    assert [(m.at_q, m.text) for m in played.feels] == told
    twice = joined([played, played], ["1", "2"]).feels
    base = played.arrangement.timeline.length_q + played.arrangement.count_in_q
    assert [(m.at_q, m.text) for m in twice] == told + [(at + base, text) for at, text in told]


def test_a_midi_file_has_the_grid_and_the_feel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read with mido: swing is written as eighths (480 of 960 ticks) or triplets, and nothing lies between."""
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(f"style: straight-ahead swing\n{TUNE}", "utf-8")
    assert run(["make", "tune.txt", "-o", "t.mid", "--straight", "--quiet"]) == 0
    file = mido.MidiFile("t.mid")
    assert file.ticks_per_beat == TICKS
    texts, places = [], set()
    for track in file.tracks:
        at = 0
        for message in track:
            at += message.time
            if message.type == "text":
                texts.append((at, message.text))
            if message.type == "note_on" and message.velocity:
                places.add(at % TICKS)
    assert places <= {n * TICKS // 12 for n in range(12)}
    assert 480 in places
    assert (4 * TICKS, "feel: swing") in texts
    assert (20 * TICKS, "feel: straight") in texts


DEMO = Path(__file__).parents[1] / "demo"
COMPOUND_GRID = {Fraction(1, 3): Fraction(1, 2)}  # thirds of a quarter are eighths of a dotted one


@pytest.mark.libraries
@pytest.mark.filterwarnings("ignore")  # music21's own, about what it imports
def test_music21_finds_no_value_under_the_grid() -> None:
    """Every demo, imported with music21's own quantising (fourths and thirds of a quarter): values and rests.

    Where the music itself runs in sixteenths (a shaker, a strum, a fill), a value is as
    short as the way to the next stroke, or to the next place of the grid.
    """
    from music21 import midi

    wish = Options().changed(straight=True, choruses=1)
    faults = []
    for path in sorted(DEMO.glob("*.txt")):
        played = band(prepare(parse(path.read_text("utf-8"), path.name), wish), wish)
        file = midi.MidiFile()
        file.readstr(midi_bytes(played))
        for part, player in zip(
            midi.translate.midiFileToStream(file).parts, played.players, strict=True
        ):
            grid = played.arrangement.style.grid_q
            if played.arrangement.timeline.bars[0].meter.compound:
                grid = COMPOUND_GRID.get(grid, grid)
            zero = -float(played.tempo.zero_q)
            strokes = sorted({round(zero + n.start_q, 4) for n in player.notes})
            for value in part.recurse().notesAndRests:
                at = round(float(value.getOffsetInHierarchy(part)), 4)
                coming = next((stroke - at for stroke in strokes if stroke > at), 99.0)
                least = min(float(grid) - (at - zero) % float(grid), coming)
                if value.quarterLength < least - 0.01:
                    faults.append((path.name, player.role, at, value.quarterLength))
    assert not faults


def test_what_hands_add_to_a_stroke_is_not_written() -> None:
    """A flam before 4 is an ornament; seven strokes in a quarter are four sixteenths; a click lasts a grid."""
    why = Why(Kind.PATTERN, "here")

    def note(at: Fraction, length: Fraction, velocity: int, pitch: int = 38) -> Note:
        return Note(at, at + length, pitch, velocity, why)

    short = Fraction(1, 12)
    flam = [note(4 - Fraction(54, 960), short, 40), note(Fraction(4), short, 90)]
    roll = [note(5 + Fraction(i, 7), short, 60 + i) for i in range(7)]
    rows = written([*flam, *roll], lambda at: Fraction(1, 2))
    assert rows == [
        (4, Fraction(9, 2), 38, 90),
        (5, Fraction(21, 4), 38, 60),
        (Fraction(21, 4), Fraction(11, 2), 38, 62),
        (Fraction(11, 2), Fraction(23, 4), 38, 64),
        (Fraction(23, 4), 6, 38, 66),
    ]
