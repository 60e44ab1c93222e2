"""Notes on the exact grid: for notation and editors, with the feel in words."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import mido
import pytest

from backing.commands.cli import run
from backing.performance.perform import perform
from backing.performance.session import joined
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
