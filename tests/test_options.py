"""Option values: what is read, and what is said of everything else."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest

from backing.chart.ast import Ending, EndingKind
from backing.commands import options as o
from backing.ground.errors import RequestError
from tests.each import each


@each(
    ("read", "text", "value"),
    [
        (o.read_tempo, "96", (Fraction(96), None)),
        (o.read_tempo, "75%", (None, Fraction(3, 4))),
        (o.read_tempo, " 87.5 % ", (None, Fraction(7, 8))),
        (o.read_bars, "9-16", (9, 16)),
        (o.read_bars, "9", (9, 9)),
        (o.read_bars, "9–12", (9, 12)),
        (o.read_length, "10:00", 600.0),
        (o.read_length, "1:30:00", 5400.0),
        (o.read_length, "45", 45.0),
        (o.read_count_in, "2", 2),
        (o.read_count_in, "off", 0),
        (o.read_ending, "Fade 6", Ending(EndingKind.FADE, 6)),
        (o.read_ending, "fade", Ending(EndingKind.FADE, 4)),
        (o.read_ending, "as written", Ending(EndingKind.AS_WRITTEN)),
        (o.read_click, "Backbeat", "backbeat"),
    ],
)
def test_a_value_is_read(read: Callable[[str], object], text: str, value: object) -> None:
    assert read(text) == value


@each(
    ("read", "text", "words"),
    [
        (o.read_tempo, "fast", "such as 96 or 75%"),
        (o.read_tempo, "0", "such as 96 or 75%"),
        (o.read_tempo, "900%", "10% to 400%"),
        (o.read_key, "H minor", "such as Eb"),
        (o.read_key, "Fb", "such as Eb"),
        (o.read_bars, "16-9", "such as 9-16"),
        (o.read_length, "0", "such as 10:00"),
        (o.read_length, "ten minutes", "such as 10:00"),
        (o.read_count_in, "twelve", "or off"),
        (o.read_ending, "rng", "Did you mean 'ring'"),
        (o.read_ending, "fade 0", "choose one of"),
        (o.read_click, "beat", "Did you mean 'beats'"),
    ],
)
def test_a_wrong_value_says_what_to_type(
    read: Callable[[str], object], text: str, words: str
) -> None:
    with pytest.raises(RequestError) as wrong:
        read(text)
    assert words in str(wrong.value)
    assert text in str(wrong.value)


def test_players_are_read_by_role_in_score_order() -> None:
    assert o.read_roles("--only", ["drums, bass", "keys"]) == ("keys", "bass", "drums")


def test_an_unknown_player_is_named_with_the_nearest() -> None:
    with pytest.raises(
        RequestError, match=r"--only drum: there is no such player.*Did you mean 'drums'"
    ):
        o.read_roles("--only", ["drum"])


def given(**changes: object) -> o.Options:
    plain: dict[str, object] = {
        "tempo": None, "key": None, "transpose": None, "style": None, "choruses": None, "length": None,
        "section": (), "bars": None, "ending": None, "count_in": None, "click": "off", "without": (), "only": (),
        "guide_tones": False, "plain": False, "stems": False, "stems_as": None, "loop": False, "bits": 16,
        "seed": 1, "soundfont": None, "loudness": -16.0, "a4": 440.0, "for_": None, "paper": "a4", "signs": False, "grips": False, "force": False,
    }  # fmt: skip
    return o.options(**(plain | changes))  # type: ignore[arg-type]


def test_nothing_given_is_the_chart_as_it_stands() -> None:
    assert given() == o.Options()


@each(
    "pair",
    [
        {"key": "Eb", "transpose": 2},
        {"choruses": 2, "length": "3:00"},
        {"section": ("A",), "bars": "1-4"},
        {"only": ("bass",), "without": ("drums",)},
    ],
)
def test_two_options_that_say_the_same_thing_are_refused(pair: dict[str, object]) -> None:
    with pytest.raises(RequestError, match="give one of them"):
        given(**pair)


@each(
    ("change", "words"),
    [
        ({"transpose": 30}, "--transpose 30: choose a number from -24 to 24"),
        ({"choruses": 0}, "--choruses 0: choose a number from 1 to 200"),
        ({"loudness": 0.0}, "--loudness 0: choose a number from -40 to -6"),
        ({"a4": 400.0}, "--a4 400: choose a number from 415 to 466"),
        ({"stems_as": "aiff"}, "--stems-as aiff: choose one of wav, flac, ogg, mp3, m4a"),
        ({"bits": 20}, "--bits 20: choose one of 16, 24"),
        ({"for_": "B"}, "--for B: choose one of Bb, Eb, F"),
        ({"paper": "a3"}, "--paper a3: choose one of a4, letter"),
    ],
)
def test_a_number_or_word_outside_its_limits_is_refused(
    change: dict[str, object], words: str
) -> None:
    with pytest.raises(RequestError) as wrong:
        given(**change)
    assert words in str(wrong.value)
