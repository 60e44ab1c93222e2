"""How a band is counted in, and the click that may go on during the form."""

from __future__ import annotations

from fractions import Fraction

import pytest

from backing.band.players.click import ACCENT, KINDS, SOFT, clicks, count_in
from backing.ground.instruments import DRUM_KEYS
from backing.ground.timebase import Meter
from backing.timeline.model import Timeline
from tests.each import each
from tests.hand_made import performance
from tests.test_feel import table

ACCENT_KEY = DRUM_KEYS[ACCENT[0]]


def timeline(meter: str, bpm: Fraction = Fraction(120), pickup: Fraction = Fraction(0)) -> Timeline:
    """Two bars at a number of pulses a minute."""
    name, _, groups = meter.partition(" ")
    upper, lower = map(int, name.split("/"))
    made = Meter.of(upper, lower, [int(g) for g in groups.strip("()").split("+")] if groups else ())
    qpm = bpm * made.pulses_q[0]
    plain = performance(("C", "C"), meter=name, qpm=qpm, pickup_q=pickup or None)
    bars = tuple(b._replace(meter=made) for b in plain.arrangement.timeline.bars)
    return plain.arrangement.timeline._replace(bars=bars)


def clicked(text: str) -> list[tuple[Fraction, bool]]:
    """Places as the table writes them, and whether they are soft."""
    return [(Fraction(t.strip("()")), t.startswith("(")) for t in text.split()]


@each("row", table("count-in.tsv"), ids=lambda r: f"{r['meter']} {r['bpm']}")
def test_the_count_in_is_the_one_that_bandleaders_give(row: dict[str, str]) -> None:
    bpm = Fraction(row["bpm"])
    tune = timeline(row["meter"], bpm, Fraction(row["pickup"]))
    count = count_in(tune)
    assert count.bars == int(row["bars"])
    heard = [(n.start_q + count.length_q, n.velocity == SOFT[1]) for n in count.notes]
    assert heard == clicked(row["clicks"])
    seconds = float(count.length_q) * tune.tempo[0].us / 1e6
    assert seconds == pytest.approx(float(row["length_s"]), abs=0.001)


def test_the_count_in_ends_at_the_first_bar_and_is_strict() -> None:
    count = count_in(timeline("4/4"))
    assert count.notes[0].start_q == -count.length_q == -8
    assert all(n.start_q < 0 and n.strict for n in count.notes)


def test_the_first_beat_of_each_bar_is_accented() -> None:
    count = count_in(timeline("4/4"))
    accents = [n.start_q for n in count.notes if n.pitch == ACCENT_KEY]
    assert accents == [-8, -4]


def test_groups_are_accented_where_a_bar_has_them() -> None:
    count = count_in(timeline("5/4 (3+2)", Fraction(150)))
    assert [n.start_q + 5 for n in count.notes if n.pitch == ACCENT_KEY] == [0, 3]
    other = count_in(timeline("5/4 (2+3)", Fraction(150)))
    assert [n.start_q + 5 for n in other.notes if n.pitch == ACCENT_KEY] == [0, 2]


@each("bars", [1, 3, 4])
def test_a_written_number_of_bars_overrides_the_usual_one(bars: int) -> None:
    count = count_in(timeline("3/4")._replace(count_in=bars))
    assert (count.bars, count.length_q) == (bars, 3 * bars)
    assert len(count.notes) == 3 * bars


def test_the_count_in_can_be_off() -> None:
    count = count_in(timeline("4/4")._replace(count_in=0))
    assert (count.notes, count.length_q, count.bars) == ((), 0, 0)


PLACES = {
    # kind, meter: quarters from the bar line, by the definition of the kind
    ("beats", "4/4"): "0 1 2 3",
    ("beats", "6/8"): "0 3/2",
    ("beats", "7/8"): "0 1/2 1 3/2 2 5/2 3",
    ("backbeat", "4/4"): "1 3",
    ("backbeat", "3/4"): "1 2",
    ("backbeat", "6/8"): "3/2",
    ("backbeat", "12/8"): "3/2 9/2",
    ("downbeat", "5/4"): "0",
    ("eighths", "3/4"): "0 1/2 1 3/2 2 5/2",
    ("eighths", "6/8"): "0 1/2 1 3/2 2 5/2",
    ("triplets", "2/4"): "0 1/3 2/3 1 4/3 5/3",
    ("triplets", "6/8"): "0 1/2 1 3/2 2 5/2",
    ("offbeats", "4/4"): "1/2 3/2 5/2 7/2",
    ("offbeats", "6/8"): "1 5/2",
    ("groups", "7/8"): "0 1 2",
    ("groups", "5/4"): "0 3",
    ("groups", "4/4"): "0",
}


@each(("kind", "meter"), PLACES)
def test_a_click_falls_where_its_name_says(kind: str, meter: str) -> None:
    tune = timeline(meter)
    length = tune.bars[0].length_q
    found = clicks(tune.bars, kind)
    wanted = [Fraction(q) for q in PLACES[kind, meter].split()]
    assert [n.start_q for n in found] == wanted + [length + q for q in wanted]
    assert all(n.strict for n in found)


def test_every_kind_has_a_case() -> None:
    assert {kind for kind, _ in PLACES} | {"off"} == set(KINDS)
    assert clicks(timeline("4/4").bars, "off") == []


def test_a_click_over_a_pickup_keeps_to_its_place_in_the_bar() -> None:
    """A pickup of one beat in 4/4 is beat four: the backbeat sounds, the downbeat does not."""
    tune = timeline("4/4", pickup=Fraction(1))
    assert [n.start_q for n in clicks(tune.bars, "backbeat")] == [0, 2, 4]
    assert [n.start_q for n in clicks(tune.bars, "downbeat")] == [1]


def test_there_is_no_click_out_of_time() -> None:
    tune = timeline("4/4")
    free = (tune.bars[0]._replace(rubato=True), tune.bars[1])
    assert [n.start_q for n in clicks(free, "beats")] == [4, 5, 6, 7]


def test_a_held_chord_has_only_the_beat_that_cues_its_end() -> None:
    tune = timeline("4/4")
    held = [(Fraction(1), Fraction(3), Fraction(4))]
    assert [n.start_q for n in clicks(tune.bars, "beats", held)] == [0, 3, 4, 5, 6, 7]
