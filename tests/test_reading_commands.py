"""Other formats as the commands take them: made into a track or a chart, checked, harmonised, through a pipe."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from backing.commands.cli import run
from tests.test_reading_midi import TUNE, midi

ABC = 'X:1\nT:Own\nM:4/4\nL:1/4\nK:G\n"G"GABd|"D7"dcBA|{a}"G"G4|\nw:one two three four\n'
MELODY = "X:1\nT:Own\nM:4/4\nL:1/4\nK:G\nGABd|edBz|G4|\n"
TWO = ABC + '\nX:2\nT:Other\nM:4/4\nL:1/4\nK:D\n"D"DEFA|\n'


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.abc").write_text(ABC, "utf-8")
    Path("melody.abc").write_text(MELODY, "utf-8")
    Path("two.abc").write_text(TWO, "utf-8")
    Path("line.mid").write_bytes(midi(more=TUNE))


def test_a_file_is_made_into_every_kind(capsys: pytest.CaptureFixture[str]) -> None:
    files = ["t.txt", "t.abc", "t.cho", "t.musicxml", "t.mxl", "t.mid", "t.json"]
    assert run(["make", "tune.abc", *(x for f in files for x in ("-o", f))]) == 0
    assert capsys.readouterr().out.split() == files
    assert Path("t.txt").read_text("utf-8") == (
        "title: Own\nkey:   G major\nmeter: 4/4\n\n"
        "        | G                  | D7          | G  |\nmelody: | G4 A4 B4 D5        | D5 C5 B4 A4 | G4 |\n"
        "words:  | one two three four |             |    |\n"
    )
    for name in ("t.abc", "t.cho", "t.musicxml", "t.mxl"):
        assert run(["make", name, "-o", "again.txt", "--force", "--quiet"]) == 0
        assert "D7" in Path("again.txt").read_text("utf-8")
        assert run(["make", "tune.abc", "-o", name, "--quiet"]) == 0  # it is this program's own


def test_a_melody_without_chords_becomes_a_chart_to_fill_in(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["make", "melody.abc", "-o", "t.txt"]) == 0
    assert "| ?           | ?          | ?  |" in Path("t.txt").read_text("utf-8")
    assert run(["make", "melody.abc", "-o", "t.mid"]) == 1
    assert "E703 this file holds a melody and no chords" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["melody.abc", "line.mid", "melody.musicxml"])
def test_a_melody_is_harmonised(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["make", "melody.abc", "-o", "melody.musicxml", "--quiet"]) == 0
    assert run(["harmonise", name, "-o", "found.txt", "--quiet"]) == 0
    text = Path("found.txt").read_text("utf-8")
    assert "?" not in text
    assert "melody:" in text


def test_check_tells_what_was_understood_assumed_and_left(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["check", "tune.abc"]) == 0
    out = capsys.readouterr().out
    assert "W710 a grace note is left out" in out
    assert "read from tune.abc: 3 bars, 9 notes, 3 chords, 1 verse; 1 left out (above)" in out
    assert "1  | G | D7 | G |" in out
    assert run(["check", "line.mid"]) == 1
    out = capsys.readouterr().out
    assert "W701 the file names no meter, so 4/4 is assumed" in out
    assert "E703 this file holds a melody and no chords" in out
    assert "read from line.mid: 2 bars, 6 notes; 2 assumed or changed (above)" in out


def test_a_tune_is_chosen_by_number(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["make", "two.abc", "-o", "t.txt", "--tune-number", "2"]) == 0
    assert "Other" in Path("t.txt").read_text("utf-8")
    assert run(["make", "two.abc", "-o", "u.txt", "--tune-number", "5"]) == 2
    assert "two.abc has the tunes 1, 2" in capsys.readouterr().err


def test_a_tune_is_harmonised_by_number() -> None:
    Path("two.abc").write_text(
        MELODY + "\n" + MELODY.replace("X:1", "X:2").replace("GABd", "BdBd"), "utf-8"
    )
    assert run(["harmonise", "two.abc", "--tune-number", "2", "-o", "found.txt", "--quiet"]) == 0
    assert "B4 D5 B4 D5" in Path("found.txt").read_text("utf-8")


def test_a_file_comes_through_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    for data in (ABC.encode(), Path("line.mid").read_bytes()):
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(data)))
        assert run(["make", "-", "-o", "piped.txt", "--force", "--quiet"]) == 0
        assert "G4 A4 B4" in Path("piped.txt").read_text("utf-8")


def test_a_name_that_is_nearly_right_is_offered(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["make", "tunes.abc", "-o", "t.txt"]) == 4
    assert "Did you mean 'tune.abc'?" in capsys.readouterr().err


def test_the_track_of_a_harmonised_tune_takes_the_options_of_a_track() -> None:
    asked = ["harmonise", "melody.abc", "-o", "found.mid", "-o", "found.txt", "--quiet"]
    assert run([*asked, "--style", "bossa nova", "--tempo", "150", "--only", "bass"]) == 0
    import mido

    with mido.MidiFile("found.mid") as track:
        tempos = [m.tempo for line in track.tracks for m in line if m.type == "set_tempo"]
        names = {m.name for line in track.tracks for m in line if m.type == "track_name"}
    assert tempos[0] == 400_000
    assert not {"drums", "keys", "guitar"} & {name.casefold() for name in names}


def test_the_key_of_harmonise_names_the_melodys_key() -> None:
    assert run(["harmonise", "G4 B4 D5 G5", "--key", "G", "-o", "found.txt", "--quiet"]) == 0
    assert "key:   G\n" in Path("found.txt").read_text("utf-8")
    assert "| G4 B4 D5 G5 |" in Path("found.txt").read_text("utf-8")
