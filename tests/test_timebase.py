"""Meters, groups, pulses and tempo arithmetic."""

from __future__ import annotations

from fractions import Fraction

import mido
import pytest

from backing.ground.timebase import (
    FOUR_FOUR,
    SHUFFLE,
    STRAIGHT,
    SWING,
    Feel,
    Meter,
    Tempo,
    TempoMap,
    TempoStep,
    microseconds_a_quarter,
)
from tests.each import each

Q = Fraction


@each("bpm", [30, 58, 76, 97, 112, 120, 138, 152, 200, 300])
def test_microseconds_a_quarter_agree_with_the_reference_library(bpm: int) -> None:
    """mido counts as the Standard MIDI File does."""
    assert microseconds_a_quarter(bpm) == mido.bpm2tempo(bpm)


@each(
    ("tempo", "meter", "us"),
    [
        (Tempo(Q(120)), (4, 4), 500_000),  # FF 51 03 07 A1 20
        (Tempo(Q(97)), (4, 4), 618_557),
        (Tempo(Q(90)), (6, 8), 444_444),  # the dotted quarter, not 666667
        (Tempo(Q(90), Q(1)), (6, 8), 666_667),
        (Tempo(Q(100)), (2, 2), 300_000),
        (Tempo(Q(100)), (7, 8), 600_000),
        (Tempo(Q(200), Q(1, 2)), (5, 8), 600_000),
    ],
)
def test_a_tempo_in_a_meter(tempo: Tempo, meter: tuple[int, int], us: int) -> None:
    """Values of Standard MIDI File 1.0: always microseconds a quarter, whatever the meter."""
    assert microseconds_a_quarter(tempo.qpm(Meter.of(*meter))) == us


def test_97_beats_a_minute_come_back_within_a_thousandth() -> None:
    assert TempoStep(Q(0), 618_557).qpm == pytest.approx(97, abs=1e-3)


@each(
    ("count", "unit", "beats", "beat_q", "pulses"),
    [
        (2, 4, 2, Q(1), (1, 1)),
        (3, 4, 3, Q(1), (1, 1, 1)),
        (4, 4, 4, Q(1), (1, 1, 1, 1)),
        (5, 4, 5, Q(1), (1, 1, 1, 1, 1)),
        (2, 2, 2, Q(2), (2, 2)),
        (6, 8, 2, Q(3, 2), (Q(3, 2), Q(3, 2))),
        (9, 8, 3, Q(3, 2), (Q(3, 2),) * 3),
        (12, 8, 4, Q(3, 2), (Q(3, 2),) * 4),
        (3, 8, 3, Q(1, 2), (Q(3, 2),)),
        (5, 8, 5, Q(1, 2), (Q(3, 2), Q(1))),
        (7, 8, 7, Q(1, 2), (Q(1), Q(1), Q(3, 2))),
    ],
)
def test_what_is_counted_and_what_the_foot_taps(
    count: int, unit: int, beats: int, beat_q: Fraction, pulses: tuple[Fraction, ...]
) -> None:
    """Counted beats as theory primers have them: dotted quarters in compound time, otherwise the lower figure."""
    meter = Meter.of(count, unit)
    assert (meter.beats, meter.beat_q) == (beats, beat_q)
    assert meter.pulses_q == pulses
    assert sum(meter.pulses_q) == meter.length_q == Q(4 * count, unit)


def test_groups_can_be_written_and_turn_the_pulses_round() -> None:
    meter = Meter.of(7, 8, (3, 2, 2))
    assert meter.pulse_starts_q == (0, Q(3, 2), Q(5, 2))
    assert meter.group_starts_q == (0, Q(3, 2), Q(5, 2))
    assert meter.full_name == "7/8 (3+2+2)"
    assert Meter.of(4, 4).full_name == "4/4"
    assert Meter.of(6, 8).full_name == "6/8"


@each("unit", [4, 8, 16])
@each("count", range(1, 25))
def test_the_usual_groups_of_any_meter_add_up(count: int, unit: int) -> None:
    meter = Meter.of(count, unit)
    assert sum(meter.groups) == count
    assert sum(meter.pulses_q) == meter.length_q
    assert all(1 <= g <= 4 for g in meter.groups)


@each(
    ("count", "unit", "groups", "message"),
    [
        (0, 4, (), "0/4 is no meter"),
        (4, 5, (), "4/5 is no meter"),
        (7, 8, (2, 2, 2), "groups 2\\+2\\+2 do not add up to 7"),
        (4, 4, (4, 0), "groups 4\\+0 do not add up to 4"),
    ],
)
def test_what_is_no_meter_is_refused(
    count: int, unit: int, groups: tuple[int, ...], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        Meter.of(count, unit, groups)


@each(
    ("meter", "bars", "bpm", "seconds"),
    [((4, 4), 2, 120, 4), ((6, 8), 1, 60, 2), ((5, 4), 1, 150, 2)],
)
def test_bars_last_as_long_as_arithmetic_says(
    meter: tuple[int, int], bars: int, bpm: int, seconds: int
) -> None:
    """n bars last n x beats x 60 / bpm seconds, to half a microsecond a quarter."""
    played = Meter.of(*meter)
    us = microseconds_a_quarter(Tempo(Q(bpm)).qpm(played))
    tempo = TempoMap([TempoStep(Q(0), us)])
    length_q = bars * played.length_q
    assert abs(tempo.exact_s(length_q) - seconds) <= length_q / 2_000_000


def test_a_tempo_map_adds_its_steps_exactly() -> None:
    tempo = TempoMap([TempoStep(Q(4), 1_000_000), TempoStep(Q(0), 500_000)])
    assert tempo.exact_s(Q(4)) == 2
    assert tempo.exact_s(Q(6)) == 4
    assert tempo.seconds(Q(5)) == 3.0
    assert tempo.us_at(Q(3)) == 500_000
    assert tempo.us_at(Q(4)) == 1_000_000


def test_the_first_step_holds_before_its_place_and_zero_can_lie_there() -> None:
    """A count-in of two bars before the form: file time starts with it."""
    tempo = TempoMap([TempoStep(Q(0), 500_000)], zero_q=Q(-8))
    assert tempo.exact_s(Q(-8)) == 0
    assert tempo.exact_s(Q(0)) == 4
    assert tempo.us_at(Q(-3)) == 500_000


def test_tempo_maps_compare_by_what_they_hold() -> None:
    one, other = TempoMap([TempoStep(Q(0), 500_000)]), TempoMap([TempoStep(Q(0), 500_000)])
    assert one == other
    assert hash(one) == hash(other)
    assert one != TempoMap([TempoStep(Q(0), 500_000)], zero_q=Q(-4))
    assert "500000" in repr(one)
    with pytest.raises(ValueError, match="at least one step"):
        TempoMap([])


@each(
    ("feel", "name"),
    [
        (STRAIGHT, "straight"),
        (SWING, "swing"),
        (SHUFFLE, "swing 2:1"),
        (Feel(Q(1, 4)), "swing 16"),
        (Feel(Q(1, 4), Q(3, 2)), "swing 16 3:2"),
    ],
)
def test_a_feel_is_named_as_a_chart_writes_it(feel: Feel, name: str) -> None:
    assert feel.name == name
    assert feel.straight == (name == "straight")


def test_meters_of_one_kind_are_one_object() -> None:
    assert Meter.of(4, 4) is Meter.of(4, 4)
    assert Meter.of(4, 4) == FOUR_FOUR
    assert str(Meter.of(5, 4)) == "5/4 (3+2)"
