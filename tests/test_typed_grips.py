"""Grips typed behind chords: what they mean, how they are written back, who plays and draws them."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from backing.band.model import Note
from backing.chart import gripping
from backing.chart.ast import Chart, Slot
from backing.chart.parse import parse
from backing.chart.transpose import transpose_chart
from backing.chart.write import write
from backing.ground.instruments import STANDARD_TUNING
from backing.ground.pitch import Interval
from backing.output.page.data import page_data
from backing.output.sheet.grids import FRET
from backing.output.sheet.grips import blocks, chosen
from backing.output.sheet.marks import Dot
from backing.output.symbols import Spelling
from tests.band import arranged, performed, player
from tests.each import each

TEXT = "key: A minor\nmeter: 4/4\nending: as written\n| Am[577555] | F | E7[0 2 2 1 3 0]! | C[8 x 10 9 8 8] / Am / |\n"


def slots(chart: Chart) -> list[Slot]:
    return [slot for section in chart.sections for bar in section.bars for slot in bar.slots]


def guitar(text: str, style: str = "folk strum") -> tuple[Note, ...]:
    return player(arranged(text, style), "guitar").notes


def held(notes: tuple[Note, ...], at: int) -> str:
    frets = {n.string: n.fret for n in notes if n.start_q == at}
    return " ".join(str(frets.get(s, "x")) for s in range(6, 0, -1))


def test_a_grip_is_read_with_the_marks_around_it() -> None:
    found = slots(parse(TEXT))
    assert [s.grip for s in found] == [
        (5, 7, 7, 5, 5, 5), (), (0, 2, 2, 1, 3, 0), (8, -1, 10, 9, 8, 8), (),
    ]  # fmt: skip
    assert [s.text for s in found] == ["Am", "F", "E7", "C", "Am"]
    assert found[2].stop
    [early] = [s for s in slots(parse("| C | (Am <E7[022130]=) |\n")) if s.grip]
    assert (early.pushed, early.ring) == (True, True)


def test_a_grip_is_written_back_in_its_shortest_form() -> None:
    told = write(parse(TEXT))
    assert "| Am[577555] |" in told
    assert "E7[022130]!" in told
    assert "C[8 x 10 9 8 8]" in told
    assert write(parse(told)) == told
    assert slots(parse(told))[0].grip == slots(parse(TEXT))[0].grip


@given(
    st.lists(st.integers(-1, gripping.HIGHEST), min_size=6, max_size=6).filter(
        lambda f: max(f) >= 0
    )
)
def test_every_grip_is_read_as_it_is_written(frets: list[int]) -> None:
    assert gripping.read(gripping.written(tuple(frets))[1:-1]) == tuple(frets)


def test_the_accompanist_plays_the_grip_where_it_is_typed() -> None:
    notes = guitar(TEXT)
    assert held(notes, 0) == "5 7 7 5 5 5"
    assert held(notes, 8) == "0 2 2 1 3 0"
    assert held(notes, 12) == "8 x 10 9 8 8"
    assert held(notes, 14) != "5 7 7 5 5 5"
    assert "grip as typed, 577555" in notes[0].why.words
    assert [n.degree for n in notes if n.start_q == 0] == ["1", "5", "1", "b3", "5", "1"]


@each("setting, semitones", [("capo: 2", 2), ("tuned: -1", -1), ("tuning: E A D G B E", 0)])
def test_a_capo_moves_what_sounds_and_not_the_hand(setting: str, semitones: int) -> None:
    notes = guitar(f"{setting}\n{TEXT}")
    assert held(notes, 0) == "5 7 7 5 5 5"
    assert next(n.pitch for n in notes if n.start_q == 0) == STANDARD_TUNING[0] + 5 + semitones


def test_a_closed_grip_moves_with_its_chord_and_an_open_one_is_left_out() -> None:
    """In another key an open shape is another chord."""
    moved = transpose_chart(parse(TEXT), Interval(1, 2))
    assert [s.grip for s in slots(moved)][:3] == [(7, 9, 9, 7, 7, 7), (), ()]
    told = write(moved)
    assert "Bm[799777]" in told
    assert "F#7!" in told
    up = arranged(TEXT, "folk strum", wish={"transpose": 2})
    assert held(player(up, "guitar").notes, 0) == "7 9 9 7 7 7"


def test_sheet_and_page_draw_the_grip() -> None:
    drawn = [(chord.symbol, grip.name) for chord, grip in chosen(parse(TEXT))]
    assert drawn[:3] == [("Am", "577555"), ("F", "133211"), ("E7", "022130")]
    shown = page_data(performed(TEXT, "folk strum"), parse(TEXT), {})["grips"]
    assert shown is not None
    assert [5, 7, 7, 5, 5, 5] in [shapes[0] for shapes in shown]
    assert [0, 2, 2, 1, 3, 0] in [shapes[0] for shapes in shown]
    both = chosen(parse("| Am[x02210] | Am[577555] |\n"))
    assert [grip.name for _, grip in both] == ["x02210", "577555"]


def test_a_wide_grip_has_a_diagram_of_its_height() -> None:
    """Nothing on the sheet is drawn over the row below."""
    wide, usual = (
        blocks(chosen(parse(f"| Am[{grip}] |\n")), 400.0, Spelling())[0]
        for grip in ("5 x x 9 x 12", "x 0 2 2 1 0")
    )
    low = max(mark.y for mark in wide.marks if isinstance(mark, Dot))
    assert low < wide.height
    assert wide.height - usual.height == 4 * FRET


def test_a_grip_that_the_instrument_does_not_reach_is_found_anew() -> None:
    notes = guitar("capo: 12\n| Am[17 19 19 17 17 17] | Am |\n", "folk finger picking")
    assert notes
    assert max(n.pitch for n in notes) <= 86
