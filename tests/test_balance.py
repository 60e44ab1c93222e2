"""The band in balance: thirds and sevenths are heard, nobody stands far to one side, the limiter rests.

A listener who is told only the borders of the bars (`listening`) names what the whole mix plays, drums and all.
"""

from __future__ import annotations

import numpy as np
import pytest

from backing.styles.find import find, names
from tests import mixes
from tests.mixes import NO_THIRDS, SEVENTH_STYLES, SEVENTHS, TRIADS, some

LEAST_THIRDS, LEAST_SEVENTHS = 0.9, 0.75
CHORDAL = [
    name for name in names() if {"keys", "guitar", "strings", "horns"} & set(find(name).roles)
]


def ears(style: str, bars: str) -> mixes.Ears:
    taken = mixes.take(mixes.played(style, bars))
    return mixes.listened(taken.mix, taken.borders, taken.performance)


@pytest.mark.parametrize("style", ["blues shuffle", "rock eighths"])
def test_thirds_are_heard_over_power_chords(style: str) -> None:
    found = ears(style, TRIADS)
    assert found.thirds >= LEAST_THIRDS, found.wrong


def test_sevenths_are_heard_in_a_shuffle() -> None:
    assert ears("blues shuffle", SEVENTHS).sevenths >= LEAST_SEVENTHS


@pytest.mark.slow
@pytest.mark.parametrize("style", some([n for n in CHORDAL if n not in NO_THIRDS]))
def test_thirds_are_heard_in_every_style(style: str) -> None:
    found = ears(style, TRIADS)
    assert found.thirds >= LEAST_THIRDS, found.wrong


@pytest.mark.slow
@pytest.mark.parametrize("style", some(SEVENTH_STYLES))
def test_sevenths_are_heard_in_jazz_blues_and_funk(style: str) -> None:
    assert ears(style, SEVENTHS).sevenths >= LEAST_SEVENTHS


def test_a_style_without_thirds_says_so() -> None:
    for style in NO_THIRDS:
        assert "no third" in find(style).about


def test_the_listener_is_no_flatterer() -> None:
    """Where nobody plays a third, none is heard: minor chords of bare fifths are taken for major or for nothing."""
    assert ears("fast punk", TRIADS).thirds < LEAST_THIRDS


def in_space(style: str) -> None:
    """Common practice: nothing far to one side, a phone's one speaker loses nothing, sizzle stays in the middle."""
    taken = mixes.take(mixes.played(style, mixes.SHORT))
    leans, lost, sides = mixes.space(taken)
    assert leans <= 6.0
    assert lost <= 1.0
    assert sides <= -6.0
    together = np.sum(list(taken.stems.values()), axis=0)
    assert 20 * np.log10(np.abs(together - taken.mix).max() + 1e-9) < -90


def test_shakers_and_triangles_stand_where_the_style_says() -> None:
    """The default font has them 16 dB and more to one side."""
    in_space("sixteenth-note pop")


@pytest.mark.slow
@pytest.mark.parametrize("style", some(names()))
def test_every_style_stands_in_the_middle_of_its_room(style: str) -> None:
    in_space(style)


@pytest.mark.slow
@pytest.mark.parametrize("style", some(names()))
def test_the_limiter_hardly_works_at_forte(style: str) -> None:
    most, mean = mixes.limited(mixes.take(mixes.played(style, mixes.SHORT, "f")).level)
    assert most <= 6.0
    assert mean <= 0.2
