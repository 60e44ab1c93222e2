"""Swing by tempo and the drift of human timing, taken alone."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from backing.ground.pitch import Key
from backing.ground.timebase import (
    SHUFFLE,
    SIXTEENTH,
    STRAIGHT,
    SWING,
    Feel,
    Meter,
    TempoMap,
    TempoStep,
    microseconds_a_quarter,
)
from backing.performance.feel import Beats, Clock, apart, deviations, drift, ratio, wander
from backing.timeline.model import PlayedBar
from tests.each import each

DATA = Path(__file__).parent / "data"
KEY = Key.parse("C")


def table(name: str) -> list[dict[str, str]]:
    lines = [
        line
        for line in (DATA / name).read_text("utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    names = lines[0].split("\t")
    return [dict(zip(names, line.split("\t"), strict=True)) for line in lines[1:]]


def bars(*meters: Meter, pickup: Fraction | None = None) -> list[PlayedBar]:
    made, at = [], Fraction(0)
    for i, meter in enumerate(meters, start=1):
        length = pickup if pickup is not None and i == 1 else meter.length_q
        made.append(PlayedBar(i, i, "A", 0, 1, 1, i, meter, at, at + length, KEY))
        at += length
    return made


def beats(feel: Feel, *meters: Meter, bpm: float = 120, pickup: Fraction | None = None) -> Beats:
    played = bars(*meters, pickup=pickup)
    tempo = TempoMap([TempoStep(Fraction(0), microseconds_a_quarter(bpm))])
    return Beats(played, [feel] * len(played), Clock(tempo))


@each("row", table("swing.tsv"), ids=lambda r: r["bpm"])
def test_the_ratio_follows_the_short_note(row: dict[str, str]) -> None:
    assert ratio(60_000 / float(row["bpm"])) == pytest.approx(float(row["ratio"]), abs=0.0005)


def test_the_ratio_never_rises_with_tempo_and_stays_within_its_limits() -> None:
    ratios = [ratio(60_000 / bpm) for bpm in range(40, 400)]
    assert all(a >= b for a, b in itertools.pairwise(ratios))
    assert ratios[0] == 2.2
    assert ratios[-1] == 1.0


@each(
    ("long", "short", "tick"),
    # places of the off-beat in ticks of 480 a quarter, by arithmetic: 480 * ratio / (1 + ratio)
    [(1, 1, 240), (3, 2, 288), (2, 1, 320), (3, 1, 360)],
)
def test_a_fixed_ratio_holds_at_every_tempo(long: int, short: int, tick: int) -> None:
    for bpm in (60, 180, 320):
        feel = Feel(Fraction(1, 2), Fraction(long, short))
        q, on = beats(feel, Meter.of(4, 4), bpm=bpm).place(1.5)
        assert q == pytest.approx(1 + tick / 480)
        assert not on


def test_swing_is_a_rising_map_of_time() -> None:
    """Eighths and sixteenths keep their order, and beats stay where they are."""
    swung = beats(SWING, Meter.of(4, 4), bpm=120)
    places = [swung.place(i / 16)[0] for i in range(65)]
    assert all(a < b for a, b in itertools.pairwise(places))
    assert [places[16 * b] for b in range(4)] == [0, 1, 2, 3]


def test_triplets_are_not_moved() -> None:
    swung = beats(SWING, Meter.of(4, 4), bpm=120)
    for third in (1 / 3, 2 / 3, 1 / 6, 5 / 6):
        q = 2 + third
        assert swung.place(q)[0] == pytest.approx(q)


@each("meter", [Meter.of(6, 8), Meter.of(9, 8), Meter.of(12, 8)], ids=str)
def test_dotted_beats_do_not_swing(meter: Meter) -> None:
    swung = beats(SWING, meter, bpm=120)
    for i in range(int(meter.length_q * 4)):
        assert swung.place(i / 4)[0] == i / 4


def test_in_seven_eight_only_the_pairs_swing() -> None:
    swung = beats(SWING, Meter.of(7, 8), bpm=120)
    moved = [q for q in (0.5, 1.5, 2.5, 3.0) if swung.place(q)[0] != q]
    assert moved == [0.5, 1.5]
    assert [swung.place(q)[1] for q in (0, 1, 2, 3.0)] == [True, True, True, False]


def test_swing_in_sixteenths_leaves_the_eighths_alone() -> None:
    swung = beats(Feel(SIXTEENTH, Fraction(3, 2)), Meter.of(4, 4), bpm=90)
    assert swung.place(0.5)[0] == 0.5
    assert swung.place(0.25)[0] == pytest.approx(0.3)
    assert swung.place(0.75)[0] == pytest.approx(0.8)


def test_a_straight_feel_moves_nothing() -> None:
    even = beats(STRAIGHT, Meter.of(4, 4))
    assert all(even.place(i / 8)[0] == i / 8 for i in range(32))


def test_a_pickup_is_the_end_of_its_bar() -> None:
    """A pickup of an eighth in 4/4 is the off-beat of four, which swings towards the bar line."""
    swung = beats(SHUFFLE, Meter.of(4, 4), Meter.of(4, 4), pickup=Fraction(3, 2))
    assert swung.place(0.5) == (0.5, True)
    assert swung.place(1.0)[0] == pytest.approx(0.5 + 2 / 3)
    assert swung.place(1.5) == (1.5, True)
    assert swung.place(2.0)[0] == pytest.approx(1.5 + 2 / 3)


def slope(numbers: list[float]) -> float:
    """The exponent of the power spectrum: a straight line through its logarithm over that of frequency."""
    power = (
        np.abs(np.fft.rfft((np.array(numbers) - np.mean(numbers)) * np.hanning(len(numbers)))) ** 2
    )
    frequency = np.fft.rfftfreq(len(numbers))
    return float(np.polyfit(np.log(frequency[1:]), np.log(power[1:] + 1e-12), 1)[0])


def test_drift_is_standard_and_long_range_correlated() -> None:
    """Power falls with frequency, as it does in human timing (Hennig et al. 2011), neither white nor a random walk."""
    slopes = []
    for seed in range(30):
        numbers = drift(256, seed, "bass")
        assert np.mean(numbers) == pytest.approx(0, abs=1e-9)
        assert np.std(numbers) == pytest.approx(1)
        slopes.append(slope(numbers))
    assert min(slopes) > -1.5
    assert max(slopes) < -0.5
    assert -1.2 < float(np.mean(slopes)) < -0.8


def test_drift_belongs_to_its_place() -> None:
    assert drift(64, 1, "bass", "A") == drift(64, 1, "bass", "A")
    assert drift(64, 1, "bass", "A") != drift(64, 1, "bass", "B")
    assert drift(64, 1, "bass", "A") != drift(64, 2, "bass", "A")


def test_the_shortest_stretches_have_a_drift_too() -> None:
    assert drift(1, "a") == [0.0]
    assert len(drift(2, "a")) == 2
    assert all(math.isfinite(n) for n in drift(3, "a"))


def test_the_players_own_drift_shares_nothing_with_the_bands() -> None:
    band, own = drift(128, 1, "band"), drift(128, 1, "bass")
    rest = apart(own, band)
    assert np.dot(rest, band) / 128 == pytest.approx(0, abs=1e-9)
    assert np.std(rest) == pytest.approx(1)


@each("lengths", [[32.0], [32.0, 16.0], [8.0, 8.0, 8.0], [32.0] * 7])
def test_wandering_from_section_to_section_adds_up_to_nothing(lengths: list[float]) -> None:
    offsets = wander(lengths, 1, "bass")
    assert sum(o * n for o, n in zip(offsets, lengths, strict=True)) == pytest.approx(0, abs=1e-9)
    assert (max(offsets) > 0) is (len(lengths) > 1)


def test_laying_back_moves_beats_only() -> None:
    """Beats late with off-beats together is what swings (Nelias et al. 2022)."""
    places = [(i, i % 2 == 0) for i in range(64)]
    common, own = drift(64, "band"), drift(64, "own")
    late = deviations(places, common, own, (0.0, 0.0), 12.0, 6.0)
    assert np.mean(late[::2]) == pytest.approx(12, abs=0.5)
    assert np.mean(late[1::2]) == pytest.approx(0, abs=0.5)


def test_off_beats_of_all_players_agree_within_15_ms() -> None:
    places = [(i, i % 2 == 0) for i in range(256)]
    for seed in range(20):
        common = drift(256, seed, "band")
        rows = [
            deviations(
                places, common, apart(drift(256, seed, role), common), (0.0, 0.0), late, spread
            )
            for role, late, spread in (("a", 0.0, 4.0), ("b", 15.0, 8.0), ("c", -5.0, 12.0))
        ]
        apart_ms = [
            max(row[i] for row in rows) - min(row[i] for row in rows) for i in range(1, 256, 2)
        ]
        assert max(apart_ms) <= 15


def test_no_drift_is_larger_than_20_ms() -> None:
    places = [(i, True) for i in range(512)]
    common = drift(512, "band")
    late = deviations(places, common, drift(512, "own"), (0.0, 0.0), 0.0, 12.0)
    assert max(map(abs, late)) <= 20
