"""The notes of the demos at seed 1 are those that were kept; `python -m tests.golden_notes` keeps new ones."""

from __future__ import annotations

import pytest

from tests.band import DEMOS
from tests.golden_notes import FOLDER, changes, kept, page, written

NAMES = [path.stem for path in DEMOS]


@pytest.mark.parametrize("name", NAMES)
def test_a_demo_has_the_notes_that_were_kept(name: str) -> None:
    """Where they were changed on purpose the list of bars belongs to the reason for it."""
    assert changes(kept(name), page(name)) == []


def test_every_page_has_its_demo() -> None:
    assert {path.stem for path in FOLDER.glob("*.tsv")} == set(NAMES)


def test_changed_bars_are_listed_by_player() -> None:
    before = {
        "0": {"click": "4 a"},
        "1": {"bass": "4 a", "keys": "2 a"},
        "2": {"bass": "4 b", "keys": "2 b"},
        "3": {"bass": "4 c", "keys": "2 c"},
        "5": {"bass": "4 d"},
        "performed": {"click": "a", "bass": "b", "keys": "c"},
    }
    after = {
        "0": {"click": "4 a"},
        "1": {"bass": "4 x", "keys": "2 a"},
        "2": {"bass": "4 x", "keys": "2 b"},
        "3": {"keys": "2 c"},
        "5": {"bass": "4 x", "drums": "9 a"},
        "performed": {"click": "a", "bass": "x", "keys": "x", "drums": "a"},
    }
    assert changes(before, before) == []
    assert changes(before, after) == [
        "bass: bars 1-3, 5", "keys: the same notes, performed otherwise", "drums: bars 5",
    ]  # fmt: skip


def test_a_page_reads_back() -> None:
    name = NAMES[0]
    assert written(kept(name)) == written(page(name))
