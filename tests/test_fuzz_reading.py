"""Broken files of every format: the answer is a chart or an error, soon and in little memory.

Ten minutes of each: `python -m tests.fuzz --format musicxml --seconds 600`.
"""

from __future__ import annotations

import pytest

from tests.broken import FILES, mutated, survives


@pytest.mark.parametrize("name", FILES)
def test_mutated_files_are_answered(name: str) -> None:
    assert sum(survives(name, mutated(name, number)) for number in range(40)) > 0


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
def test_many_mutated_files_are_answered(name: str) -> None:
    many = 140 if name == "midi" else 700  # which takes ten times as long as the others
    assert sum(survives(name, mutated(name, number)) for number in range(40, many)) > 30
