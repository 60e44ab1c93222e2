"""Broken charts: cut anywhere, with anything typed in between, the answer is a chart or a `ChartError`."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.parse import parse_all
from tests.charts import case_parts, cases, charts
from tests.fuzz import SIGNS, mutated, seeds, survives, survives_bytes

FILES = cases("parse") + cases("errors")


@pytest.mark.slow
@pytest.mark.parametrize("path", cases("parse"), ids=lambda p: p.stem)
def test_a_chart_may_be_cut_at_any_character(path: Path) -> None:
    text = case_parts(path)[0]
    for end in range(len(text)):
        parse_all(text[:end])
        parse_all(text[end:])


@pytest.mark.slow
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_any_sign_may_be_typed_anywhere(path: Path) -> None:
    """Every place gets three signs, turn by turn, so that over the cases every sign meets every construct."""
    text = case_parts(path)[0]
    for at in range(len(text) + 1):
        for turn in range(3):
            sign = SIGNS[(7 * at + 31 * turn + len(text)) % len(SIGNS)]
            parse_all(text[:at] + sign + text[at:])


@pytest.mark.parametrize("path", cases("parse")[::4], ids=lambda p: p.stem)
def test_any_byte_may_stand_anywhere(path: Path) -> None:
    data = case_parts(path)[0].encode()
    for at in range(len(data) + 1):
        survives_bytes(data[:at] + bytes([37 * at % 256]) + data[at:])


def test_mutated_charts_are_answered() -> None:
    """100,000 of them: `python -m tests.fuzz --count 100000`."""
    texts = seeds()
    assert sum(survives(mutated(texts, number)) for number in range(400)) > 10


@given(st.text(max_size=200))
@settings(max_examples=150, deadline=None)
def test_any_text_is_answered(text: str) -> None:
    survives(text)


@given(st.text(alphabet=st.sampled_from('|:/%<>()[]!="#. x23ABCDEFGbm7\n'), max_size=80))
@settings(max_examples=300, deadline=None)
def test_any_heap_of_signs_is_answered(text: str) -> None:
    survives(text)


@pytest.mark.slow
@given(charts(), st.data())
@settings(max_examples=60, deadline=None)
def test_a_generated_chart_with_one_slip_is_answered(text: str, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(text)))
    survives(
        text[:at] + data.draw(st.sampled_from(SIGNS)) + text[at + data.draw(st.integers(0, 2)) :]
    )
