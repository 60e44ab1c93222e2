"""What is typed from habit gets one answer, and who follows the answer has a chart that reads.

The mistakes stand in `data/typing-habits.toml` with their source. Instruments of styles are in `test_style_load.py`, options
in `test_commands.py`.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from backing.chart.ast import Chart
from backing.chart.parse import parse_all
from backing.desk.fixes import fixes
from backing.ground.source import Diagnostic, Severity
from backing.reading.asked import Reading
from backing.reading.opened import opened
from tests.each import each

DATA = Path(__file__).parent / "data" / "typing-habits.toml"
MISTAKES: list[dict[str, Any]] = tomllib.loads(DATA.read_text("utf-8"))["mistake"]


def said(text: str) -> tuple[Diagnostic, ...]:
    return parse_all(text, "tune.txt")[1]


def symbols(chart: Chart) -> str:
    slots = [s for section in chart.sections for bar in section.bars for s in bar.slots]
    return " ".join(s.chord.written for s in slots if s.chord and not s.held)


@pytest.mark.parametrize("one", MISTAKES, ids=lambda one: one["name"])
def test_a_habit_gets_one_answer_that_mends_the_chart(one: dict[str, Any]) -> None:
    typed, mended = one["typed"], one["mended"]
    (only,) = said(typed)
    assert only.code == one["code"]
    if one["by"] == "words":
        assert "--read-as words" in only.hint
        assert symbols(opened(typed.encode(), "tune.txt", Reading(read_as="words"))) == mended
        return
    if one["by"] == "press":
        assert fixes(only, said, [only])[0].applied(typed) == mended
    else:
        assert all(word in only.hint and word in mended for word in one["types"])
    assert [d.code for d in said(mended)] == one.get("then", [])


def test_what_a_mistake_hid_is_told_once_too() -> None:
    """All marks that a jump lacks, in one sentence."""
    (only,) = said('| C | F | "D.S. al Coda" G |\n')
    assert (
        only.message
        == "D.S. al Coda needs a Segno, a To Coda and a Coda, and none is in this chart"
    )
    assert only.severity is Severity.ERROR


def test_a_jump_without_quotes_hides_no_mistake_at_another_place() -> None:
    found = said("| C | F To Coda | G | C |\nD.C. al Coda\n| A | H |\n")
    assert [(d.code, d.line) for d in found] == [("E330", 1), ("E330", 2), ("E505", 3)]


@each("typed", ["| C | F |\n", "[A]\n| C | {F} |\n"])
def test_brackets_in_music_are_no_directives(typed: str) -> None:
    assert not [d for d in said(typed) if "curly brackets: type" in d.hint]
