"""The timeline file, field by field."""

from __future__ import annotations

import itertools
import json
from fractions import Fraction
from pathlib import Path

import pytest

from backing import __version__
from backing.ground.errors import OutputError
from backing.output.timeline_json import as_json, text, write
from tests.hand_made import performance


def test_the_head_says_what_and_how_long() -> None:
    p = performance(title="Paper Boat", count_in_bars=2)
    found = as_json(p)
    assert list(found) == [
        "version", "made_by", "title", "seed", "style", "duration_s", "count_in", "bars", "chords", "tempo",
    ]  # fmt: skip
    assert found["version"] == 1
    assert found["made_by"] == f"backing {__version__}"
    assert (found["title"], found["seed"], found["style"]) == ("Paper Boat", 1, "plain")
    assert found["count_in"] == {"bars": 2, "end_s": 4.0}
    assert found["duration_s"] == pytest.approx(p.duration_s)


def test_a_bar_says_where_it_is_in_chart_form_and_time() -> None:
    p = performance(("C", "F"), meter=("3/4", "6/8"), qpm=Fraction(120), silent=frozenset({2}))
    first, second = as_json(p)["bars"]
    assert first == {
        "index": 1, "number": 1, "section": "A", "pass": 1, "chorus": 1, "line": 1, "meter": "3/4",
        "start_s": 1.5, "end_s": 3.0, "beats_s": [1.5, 2.0, 2.5], "silent": False,
    }  # fmt: skip
    assert second["beats_s"] == [3.0, 3.75]  # counted in dotted quarters
    assert second["silent"] is True


def test_a_chord_says_what_sounds_and_what_is_written() -> None:
    p = performance(("Cmaj7 Dm7/G", "N.C."), meter="3/4", qpm=Fraction(60), count_in_bars=0)
    first, second, third = as_json(p)["chords"]
    assert first == {
        "bar": 1, "beat": "1", "start_s": 0.0, "end_s": 1.5, "symbol": "Cmaj7", "written": "Cmaj7",
        "root": "C", "bass": None, "degrees": ["1", "3", "5", "7"], "pitch_classes": [0, 4, 7, 11],
    }  # fmt: skip
    assert (second["beat"], second["root"], second["bass"]) == ("5/2", "D", "G")
    assert third["symbol"] == "N.C."
    assert (third["root"], third["bass"]) == (None, None)
    assert (third["degrees"], third["pitch_classes"]) == ([], [])


def test_tempo_lists_changes_only_from_the_first_sample() -> None:
    p = performance(("C", "C"), qpm=((0, 500000), (2, 500000), (4, 400000)))
    assert as_json(p)["tempo"] == [{"at_s": 0.0, "qpm": 120.0}, {"at_s": 4.0, "qpm": 150.0}]


def test_bars_and_chords_follow_each_other_without_a_gap() -> None:
    found = as_json(performance(("C F", "G", "Am7 D7"), meter=("4/4", "7/8", "3/4")))
    for rows in (found["bars"], found["chords"]):
        for before, after in itertools.pairwise(rows):
            assert before["end_s"] == after["start_s"]


def test_the_text_is_json_with_a_line_a_bar() -> None:
    p = performance(title="Ærø ♭")
    written = text(p)
    assert json.loads(written) == json.loads(json.dumps(as_json(p)))
    assert sum(line.startswith('  {"index"') for line in written.splitlines()) == 4
    assert "Ærø ♭" in written


def test_an_empty_tune_is_still_a_document() -> None:
    p = performance(("N.C.",), {})
    assert json.loads(text(p))["bars"][0]["index"] == 1


def test_it_replaces_its_own_file_and_no_other(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    write(performance(), path)
    write(performance(), path)
    path.write_text('{"version": 1}')
    with pytest.raises(OutputError, match="is in the way"):
        write(performance(), path)
