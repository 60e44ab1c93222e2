"""Grips of a tune chosen together: the hand stays where it is, or stands where it is asked to."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from statistics import mean

import pytest
from typer.testing import CliRunner

from backing.chart.parse import parse
from backing.commands.cli import program, run
from backing.harmony.positions import along
from backing.harmony.taught import grips_for, grips_near
from backing.output.sheet.grips import chosen
from tests.briefs import chord

DEMOS = sorted((Path(__file__).parent.parent / "demo").glob("*.txt"))


def way(text: str, near: int | None = None) -> list[int]:
    """Frets from each grip of a chart to the next one, in the order of the text."""
    chart = parse(text)
    found = {c.symbol: grip for c, grip in chosen(chart, near)}
    slots = (s for section in chart.sections for bar in section.bars for s in bar.slots)
    played = [found[s.chord.symbol] for s in slots if s.chord and s.chord.symbol in found]
    return [abs(a.position - b.position) for a, b in pairwise(played) if a != b] or [0]


def test_the_hand_moves_two_frets_at_most_on_average() -> None:
    """From grip to grip, in each demo."""
    far = {p.stem: mean(way(p.read_text("utf-8"))) for p in DEMOS}
    assert len(far) >= 10
    assert {name: frets for name, frets in far.items() if frets > 2} == {}
    assert mean(far.values()) <= 1.25


def test_the_first_grip_that_is_taught_stays_where_nothing_is_gained() -> None:
    chords = [chord(s) for s in ("G", "Em", "C", "D")]
    assert along(chords) == {c.symbol: grips_for(c, 1)[0] for c in chords}


@pytest.mark.parametrize("near", [3, 5, 7])
def test_grips_lie_about_the_fret_that_is_asked_for(near: int) -> None:
    for symbol in ("Am7", "D7", "Gmaj7", "Cm9", "F#m7b5"):
        places = [abs(grip.position - near) for grip in grips_near(chord(symbol), near)]
        assert places == sorted(places)
        assert places[0] <= 2
    found = along([chord(s) for s in ("Am7", "D7", "Gmaj7", "Cmaj7")], near=near)
    assert mean(abs(grip.position - near) for grip in found.values()) <= 2


def test_a_typed_grip_stays_and_the_others_go_to_it() -> None:
    chart = parse("| Am7[5 x 5 5 5 x] | D9 | Gmaj7 |\n")
    found = {c.symbol: grip for c, grip in chosen(chart)}
    assert found["Am7"].name == "5x555x"
    assert max(abs(grip.position - 5) for grip in found.values()) <= 3


def test_the_commands_take_a_fret(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = json.loads(
        CliRunner().invoke(program(), ["chord", "Am7", "--near", "5", "--json"]).output
    )
    assert told[0]["grips"][0]["frets"] == [5, 7, 5, 5, 5, 5]
    source = tmp_path / "a.txt"
    source.write_text("| Am7 | D7 |\n", "utf-8")
    for n, grips in enumerate(([], ["--grips"], ["--grips", "above", "--near", "5"])):
        out = tmp_path / f"{n}.svg"
        assert run(["make", str(source), *grips, "-o", str(out)]) == 0
    sizes = [(tmp_path / f"{n}.svg").stat().st_size for n in range(3)]
    assert sizes[0] < min(sizes[1:])
    assert run(["make", str(source), "--grips", "below", "-o", str(tmp_path / "x.svg")]) != 0
    assert "--grips below: choose one of foot, above" in capsys.readouterr().err
