"""Players louder or softer than their style has them: in the mix, in MIDI, and by role."""

from __future__ import annotations

from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from backing.commands.cli import run
from backing.commands.naming import file_stem
from backing.commands.options import options
from backing.output.midi import volume
from backing.performance.levels import with_levels
from tests.band import performed
from tests.test_roles import TUNE, two

CHART = "style: medium swing\ntempo: 200\nending: as written\n| Dm7 | G7 |\n"


def levels(performance: object, role: str) -> list[float]:
    players = performance.players  # type: ignore[attr-defined]
    return [v.level_db for p in players if p.role == role for v in p.voices]


def test_nobody_else_s_level_and_no_note_changes() -> None:
    plain = performed(CHART, None)
    moved = with_levels(plain, {"bass": -6.0})
    assert levels(moved, "bass") == [db - 6 for db in levels(plain, "bass")]
    for player, other in zip(plain.players, moved.players, strict=True):
        assert player.notes == other.notes
        assert player == other or player.role == "bass"


def test_a_role_counts_for_all_its_players_and_a_name_goes_before_it() -> None:
    from backing.band.arrange import arrange
    from backing.performance.perform import perform
    from tests.band import timeline

    plain = perform(arrange(timeline(TUNE), two(), 1))
    moved = with_levels(plain, {"guitar": -6.0, "guitar 2": 3.0})
    assert levels(moved, "guitar") == [db - 6 for db in levels(plain, "guitar")]
    assert levels(moved, "guitar 2") == [db + 3 for db in levels(plain, "guitar 2")]
    both = with_levels(plain, {"guitar": -6.0})
    assert levels(both, "guitar 2") == [db - 6 for db in levels(plain, "guitar 2")]


def test_the_mix_and_the_midi_file_are_as_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A decibel is a twentieth of a decade of amplitude: between bass and drums 6 dB are a factor of 2."""
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(CHART, "utf-8")
    out = ["-o", "t.wav", "-o", "t.mid", "--stems", "--quiet", "--loudness", "-30", "--force"]
    apart = []
    for more in ([], ["--level", "bass=-6"]):
        assert run(["make", "tune.txt", *out, *more]) == 0
        loud = {
            role: float(np.sqrt(np.mean(soundfile.read(f"t-{role}.wav")[0] ** 2)))
            for role in ("bass", "drums")
        }
        apart.append(20 * np.log10(loud["bass"] / loud["drums"]))
        played = mido.MidiFile("t.mid")
        track = next(t for t in played.tracks if t.name == "bass")
        set_to = [m.value for m in track if m.type == "control_change" and m.control == 7]
        plain = levels(performed(CHART, None), "bass")[0]
        assert set_to[0] == volume(plain - (6 if more else 0))
    assert apart[0] - apart[1] == pytest.approx(6, abs=0.1)


def test_tracks_that_differ_have_names_that_differ() -> None:
    """A sign is lost in the name of a file: what is softer is called so."""
    stems = [file_stem("t", options(level=text)) for text in ("bass=-3", "bass=3", "bass=0")]
    stems += [file_stem("t", options(tuned=text)) for text in ("-2", "2", "0")]
    stems += [file_stem("t", options(capo=text)) for text in ("3", "0")]
    assert len(set(stems)) == len(stems)
    assert stems[:2] == ["t-bass-3-dB-softer", "t-bass-3-dB-louder"]


def test_a_player_that_is_not_there_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(CHART, "utf-8")
    assert run(["make", "tune.txt", "-o", "t.mid", "--level", "strings=-3"]) == 2
    assert "--level strings: medium swing has no strings; it has" in capsys.readouterr().err
