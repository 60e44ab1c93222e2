"""Patterns as text, and patterns in meters that they were not written for."""

from __future__ import annotations

from fractions import Fraction
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.ground.timebase import Meter
from backing.styles.cells import CellError, read, write
from backing.styles.find import styles
from backing.styles.grid import choices, fit, telling
from backing.styles.model import Pattern, Where
from tests.each import each

FOUR = Meter.of(4, 4)
THREE = Meter.of(3, 4)
TWO = Meter.of(2, 4)
SIX_EIGHT = Meter.of(6, 8)
TWELVE = Meter.of(12, 8)
SEVEN = Meter.of(7, 8)


def pattern(
    text: str,
    meter: Meter = FOUR,
    kind: str = "drum",
    where: Where = Where.TIME,
    swung: bool = False,
) -> Pattern:
    line = read(text, meter, kind)
    return Pattern("idea", meter, len(line), "mf", where, 2.0, {"line": line}, swung)


def fitted(text: str, meter: Meter, source: Meter = FOUR, **how: object) -> str:
    return write(fit(pattern(text, source, **how), meter).lines["line"])  # type: ignore[arg-type]


@cache
def every_pattern() -> tuple[Pattern, ...]:
    return tuple(p for style in styles() for part in style.parts for p in part.patterns)


def test_a_pulse_is_divided_by_its_cells() -> None:
    (bar,) = read("x x. x..x x.x", FOUR, "drum")
    places = [[c.at_q for c in pulse.cells] for pulse in bar]
    assert places == [
        [0],
        [0],
        [0, Fraction(3, 4)],
        [0, Fraction(2, 3)],
    ]


def test_a_pulse_of_a_compound_meter_is_a_dotted_quarter() -> None:
    (bar,) = read("x.x xxxxxx", SIX_EIGHT, "drum")
    assert [c.at_q for c in bar[0].cells] == [0, Fraction(1)]
    assert bar[1].cells[1].at_q == Fraction(1, 4)


def test_holds_reach_over_pulses_and_bars() -> None:
    bars = read("1= = .5 = | = 1 . .", FOUR, "bass")
    first, second = bars[0][0].cells[0], bars[0][2].cells[0]
    assert first.length_q == 2
    assert second.length_q == Fraction(5, 2)


def test_a_hold_at_the_start_goes_round() -> None:
    """The last note of a pattern is tied over the bar line into its own beginning."""
    (bar,) = read("= =5 = n1", FOUR, "bass")
    assert bar[3].cells[0].length_q == Fraction(5, 2)
    assert write((bar,)) == "= =5 = n1"


def test_a_hold_after_a_rest_holds_nothing() -> None:
    with pytest.raises(CellError, match="there is a rest before it"):
        read("x .= x x", FOUR, "drum")
    with pytest.raises(CellError, match="there is a rest before it"):
        read("= x x .", FOUR, "drum")


@pytest.mark.slow
def test_every_pattern_of_every_style_is_written_as_it_is_read() -> None:
    kinds = {"bass": "bass", "chord": "strings", "line": "run", "line 2": "run"}
    held = {"strings": "held chord", "run": "held line"}
    for found in every_pattern():
        for name, line in found.lines.items():
            kind = kinds.get(name, "drum")
            marks = {c.mark for bar in line for pulse in bar for c in pulse.cells}
            if any(mark[-1:] in ("<", ">") for mark in marks):
                kind = held[kind]
            if name == "bass" and marks & {"X", "g"}:
                kind = "thumb"
            assert read(write(line), found.meter, kind) == line, (found.name, name)


# --- what a beat becomes


def test_a_pattern_at_home_is_left_alone() -> None:
    idea = pattern("x . x .")
    assert fit(idea, FOUR) is idea


def test_straight_hats_run_on_in_eighths_of_twelve_eight() -> None:
    assert fitted("Xx Xx Xx Xx", TWELVE) == "Xxx Xxx Xxx Xxx"


def test_swing_puts_its_off_beats_on_the_third_eighth() -> None:
    assert fitted("x Xx x Xx", TWELVE, swung=True) == "x X=x x X=x"


def test_a_single_off_beat_falls_on_the_third_eighth() -> None:
    assert fitted("X . xx .", TWELVE) == "X . x=x ."


def test_twelve_eight_in_four_is_played_in_triplets() -> None:
    assert fitted("Xgx Xgx X.x X..", FOUR, TWELVE) == "Xgx Xgx X.x X.."


def test_long_groups_lose_an_eighth_in_short_ones() -> None:
    """2+2+3 in 2+3+2: the eighth keeps its value."""
    assert fitted("x x Xgx", Meter.of(7, 8, (2, 3, 2)), SEVEN) == "x x Xg"


def test_groups_of_four_eighths_are_two_beats() -> None:
    assert fitted("X x X x", Meter.of(7, 8, (4, 3))) == "X X x"


def test_a_bass_line_keeps_what_leads_on_at_the_end_of_a_long_beat() -> None:
    assert fitted("11 11 11 1a", Meter.of(8, 8, (2, 2, 2, 2)), kind="bass") == "11 11 11 1a"
    assert fitted("11 11 11 5a", TWELVE, kind="bass") == "111 111 111 55a"


# --- which beats are taken


def test_seven_eight_has_three_beats_and_one_backbeat() -> None:
    assert fitted(". X . X", SEVEN) == ". . X"
    assert fitted("X . x .", SEVEN) == "X x ."


def test_bars_of_three_take_the_first_a_middle_and_the_last_beat() -> None:
    assert fitted("1 2 3 4", THREE, kind="chord") == "1 3 4"


def test_longer_bars_join_cells_along_the_groups() -> None:
    assert fitted("1 2 3 4", Meter.of(5, 4), kind="chord") == "1 3 4 3 4"
    assert fitted("1 2 3 4", Meter.of(5, 4, (2, 3)), kind="chord") == "1 2 3 3 4"
    assert fitted("1 2 3 4", Meter.of(7, 4), kind="chord") == "1 2 3 4 3 3 4"
    assert fitted("1 2 3", FOUR, THREE, kind="chord") == "1 2 1 2"


def test_half_as_many_beats_take_twice_as_many_bars() -> None:
    assert fitted("1 2 3 4", TWO, kind="chord") == "1 2 | 3 4"
    assert fitted("1 2 3 4", SIX_EIGHT, kind="chord") == "1 2 | 3 4"


def test_a_bar_cut_in_half_does_not_lean_on_the_half_before() -> None:
    """The second bar may be played without the first, so it strikes what it would only hold."""
    assert fitted("1 = = .", TWO, kind="bass") == "1 = | 1 ."


def test_twice_as_many_beats_take_two_bars_together() -> None:
    assert fitted("1 2 | 3 4", FOUR, TWO, kind="chord") == "1 2 3 4"
    assert fitted("1 2", FOUR, TWO, kind="chord") == "1 2 1 2"


def test_the_end_of_a_phrase_keeps_its_last_beats_together() -> None:
    end = {"kind": "chord", "where": Where.PHRASE_END}
    assert fitted("1 2 3 4", TWO, **end) == "3 4"
    assert fitted("1 2 3 4", Meter.of(7, 4), **end) == "1 2 1 1 2 3 4"
    assert fitted("1 2", FOUR, TWO, **end) == "1 1 1 2"


def test_name_level_place_and_weight_stay() -> None:
    there = fit(pattern("x . x ."), SEVEN)
    assert (there.name, there.level, there.where, there.weight, there.meter) == (
        "idea",
        "mf",
        Where.TIME,
        2.0,
        SEVEN,
    )


@st.composite
def meters(draw: st.DrawFn) -> Meter:
    """Any meter from one to thirteen, in any groups of one to five."""
    groups = draw(st.lists(st.integers(1, 5), min_size=1, max_size=5))
    return Meter.of(sum(groups), draw(st.sampled_from((2, 4, 8, 16))), tuple(groups))


@pytest.mark.slow
@settings(max_examples=400, deadline=None)
@given(data=st.data(), meter=meters())
def test_every_pattern_fills_every_bar_of_every_meter(data: st.DataObject, meter: Meter) -> None:
    """Pulses add up to the bar, cells lie inside their pulses, and no two cells of a line overlap."""
    idea = data.draw(st.sampled_from(every_pattern()))
    there = fit(idea, meter)
    for line in there.lines.values():
        assert len(line) == there.bars
        at, end = Fraction(0), Fraction(0)
        for bar in line:
            assert sum(p.length_q for p in bar) == meter.length_q
            for pulse in bar:
                for cell in pulse.cells:
                    assert 0 <= cell.at_q < pulse.length_q
                    assert cell.length_q > 0
                    assert at + cell.at_q >= end
                    end = at + cell.at_q + cell.length_q
                at += pulse.length_q
        assert end <= at + at  # a tie may go round once


# --- choosing


def _choice(
    name: str, meter: Meter = FOUR, level: str = "mf", where: Where = Where.TIME
) -> Pattern:
    line = read(" ".join("x" * len(meter.pulses_q)), meter, "drum")
    return Pattern(name, meter, 1, level, where, 1.0, {"line": line})


def test_patterns_of_the_meter_come_before_fitted_ones() -> None:
    known = (_choice("four"), _choice("three", THREE))
    assert [p.name for p in choices(known, THREE, "mf", Where.TIME)] == ["three"]
    assert [p.name for p in choices(known, SEVEN, "mf", Where.TIME)] == ["three"]
    assert [p.name for p in choices(known, TWO, "mf", Where.TIME)] == ["four"]
    assert [p.name for p in choices(known, Meter.of(5, 4), "mf", Where.TIME)] == ["four"]


def test_a_level_without_patterns_takes_the_nearest() -> None:
    known = (_choice("soft", level="p"), _choice("medium"))
    assert [p.name for p in choices(known, FOUR, "f", Where.TIME)] == ["medium"]
    assert [p.name for p in choices(known[:1], FOUR, "f", Where.TIME)] == ["soft"]


def test_a_place_without_patterns_is_played_as_time() -> None:
    known = (_choice("time"), _choice("fill", where=Where.PHRASE_END))
    assert [p.name for p in choices(known, FOUR, "mf", Where.PHRASE_END)] == ["fill"]
    assert [p.name for p in choices(known, FOUR, "mf", Where.CLOSE)] == ["time"]
    assert choices((), FOUR, "mf", Where.TIME) == ()


@each(
    ("meter", "words"),
    [
        (FOUR, ""),
        (TWELVE, "its 4/4 patterns are played beat by beat, off-beats on the third eighth"),
        (TWO, "each bar of its 4/4 patterns fills two bars"),
        (THREE, "its 4/4 patterns give their first, a middle and their last beat"),
        (Meter.of(5, 4), "beats of its 4/4 patterns are joined along the groups"),
        (Meter.of(8, 4), "two bars of its 4/4 patterns fill one bar"),
    ],
)
def test_what_is_done_for_a_meter_is_told_in_words(meter: Meter, words: str) -> None:
    assert telling((FOUR,), meter) == words


def test_triplets_and_regrouping_are_told_too() -> None:
    assert telling((TWELVE,), FOUR) == "its 12/8 patterns are played beat by beat, in triplets"
    assert (
        telling((SEVEN,), Meter.of(7, 8, (3, 2, 2)))
        == "its 7/8 (2+2+3) patterns are regrouped as 3+2+2"
    )
