"""What `check` tells a teacher of a chart without mistakes: how it is played, and what was decided for the writer."""

from __future__ import annotations

from pathlib import Path

import pytest

from backing.commands.cli import run

Said = list[str]


def checked(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Said:
    tune = tmp_path / "tune.txt"
    tune.write_text(text, "utf-8")
    assert run(["check", str(tune)]) == 0
    return capsys.readouterr().out.splitlines()


def test_a_repeat_an_ending_and_a_pickup_begin_a_new_row(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A row never joins two places of the sheet, so its number holds for all of it."""
    text = "key: C\nending: as written\npickup: 1\n| G7 |: C | F |1. G7 :|2. C ||\n"
    rows = [line for line in checked(text, tmp_path, capsys) if " | " in line and line[0] == " "]
    assert rows == ["    0  | G7 |", "    1  | C | F | G7 |", "    1  | C | F |", "    4  | C |"]


@pytest.mark.parametrize(
    ("setting", "note"),
    [
        ("capo: 3", "note: capo 3: the sheet stays in G major, the band sounds in Bb major"),
        ("tuned: -2", "note: tuned -2: the sheet stays in G major, the band sounds in F major"),
    ],
)
def test_a_capo_is_said_with_both_keys(
    setting: str, note: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert note in checked(f"key: G\n{setting}\n| G | C |\n", tmp_path, capsys)


def test_what_was_decided_for_the_writer_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Style, key, tempo, the groups of the meter and the bar that ends the tune."""
    said = checked("meter: 5/4\n| C | Am | F | G |\n", tmp_path, capsys)
    assert "5/4 (3+2)" in said[0]
    for words in (
        "no style is written: rock eighths",
        "no key is written",
        "no tempo is written",
        "one bar of C is added",
    ):
        assert any(words in line for line in said), words


def test_a_chart_in_german_names_is_told_in_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "note-names: german\nkey: H minor\nending: as written\n| H7/Fis | B/D | Hm7b5 | C6/9 |\n"
    said = checked(text, tmp_path, capsys)
    assert "H minor" in said[0]
    assert said[-1] == "    1  | H7/F# | B/D | Hm7b5 | C6/9 |"


def test_a_free_bar_is_marked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = 'key: C\nending: as written\n| "rubato" C | "a tempo" F | "break" G7 | C |\n'
    assert checked(text, tmp_path, capsys)[-1] == "    1  | C (rubato) | F | G7 (silent) | C |"


def test_one_run_reports_styles_settings_and_bars(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An unknown style does not wait for the other mistakes to be mended, in the header or under a heading."""
    tune = tmp_path / "tune.txt"
    tune.write_text(
        "style: medium swnig\nkey: bb minor\n[A]\nstyle: bosa nova\n| Am7 D7 G | C |\n", "utf-8"
    )
    assert run(["check", str(tune)]) == 1
    said = capsys.readouterr()
    codes = [line.split()[1] for line in (said.out + said.err).splitlines() if ": E" in line]
    assert codes == ["E230", "E210", "E230", "E104"]
