"""Lines by degree, on every player: riffs in two parts, runs of a guitar, both hands of a piano, one notation for all."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.band.arrange import arrange
from backing.band.model import Kind, Note
from backing.ground.errors import StyleError
from backing.ground.instruments import INSTRUMENTS, STANDARD_TUNING
from backing.styles.load import load_text
from backing.styles.marks import told
from backing.styles.model import Style
from backing.styles.show import page
from tests.band import chart, player, timeline
from tests.each import each

HEAD = """
about = "For tests."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 260 }
"""
SOUNDS = {
    "horns": "brass section", "strings": "fiddle", "keys": "acoustic piano", "guitar": "steel guitar",
    "bass": "finger bass",
}  # fmt: skip


def style(role: str, lines: str, more: str = "", head: str = "") -> Style:
    """A style of one player with one pattern; `more` stands in the player's table, `head` in the style's."""
    rows = [HEAD, head, f"[{role}]", f'instrument = "{SOUNDS[role]}"', more]
    return load_text("\n".join([*rows, f"[[{role}.pattern]]", 'name = "told"', lines]), "test")


def played(role: str, lines: str, bars: str, more: str = "", **words: str) -> tuple[Note, ...]:
    text = chart(bars, **{"key": "C", "meter": "4/4", "ending": "as written"} | words)
    return player(arrange(timeline(text), style(role, lines, more), 1), role).notes


def told_notes(notes: tuple[Note, ...]) -> list[tuple[str, int]]:
    """Place and pitch."""
    return [(str(n.start_q), n.pitch) for n in notes]


# -- horns and strings --------------------------------------------------------------------------------------


def test_a_riff_in_two_parts_keeps_its_shape_and_its_rests() -> None:
    """A first part on the root, flat third and fifth and a second part under it (common practice of riffs)."""
    lines = 'lines = { line = "1 .b3 5! .", "line 2" = "-5 .1 3! ." }'
    found = told_notes(played("horns", lines, "C7 | F7"))
    assert found == [
        ("0", 55), ("0", 60), ("3/2", 60), ("3/2", 63), ("2", 64), ("2", 67),
        ("4", 60), ("4", 65), ("11/2", 65), ("11/2", 68), ("6", 69), ("6", 72),
    ]  # fmt: skip


def test_a_single_line_is_one_voice() -> None:
    """A clarinet has one note at a time, a section in unison too."""
    found = played("horns", 'lines.line = "3 5 .8 ."', "Dm7 | G7 | Cmaj7 | C6")
    assert len({n.start_q for n in found}) == len(found) == 12
    assert {n.why.kind for n in found} == {Kind.LINE}
    assert [n.degree for n in found[:3]] == ["b3", "5", "1"]


def test_a_section_may_play_its_line_in_octaves() -> None:
    found = played("horns", 'lines.line = "1 . 5 ."', "C", "settings = { octaves = true }")
    assert [n.pitch for n in found] == [60, 72, 67, 79]


def test_a_fiddle_plays_two_degrees_together() -> None:
    """Root and fifth in double stops: the drone of session playing (common practice)."""
    found = played("strings", 'lines.line = "1+5= = = ="', "D | G")
    assert [(n.pitch % 12, n.degree) for n in found] == [(2, "1"), (9, "5"), (7, "1"), (2, "5")]
    assert all(n.length_q == 4 for n in found)


def test_a_note_that_is_held_over_a_change_is_the_same_degree_of_the_new_chord() -> None:
    found = played("strings", 'lines.line = "3= = = ="', "C F | G7")
    assert [(n.start_q, n.length_q, n.degree, n.pitch % 12) for n in found] == [
        (0, 2, "3", 4), (2, 2, "3", 9), (4, 4, "3", 11),
    ]  # fmt: skip


def test_degrees_are_those_of_the_chord_and_else_of_the_scale() -> None:
    found = played("horns", 'lines.line = "3 6 7 b7"', "Dm7 | Cmaj7 | F7b9", key="C")
    assert [(n.degree, n.pitch % 12) for n in found[:4]] == [
        ("b3", 5),
        ("6", 11),
        ("b7", 0),
        ("b7", 0),
    ]
    assert [(n.degree, n.pitch % 12) for n in found[4:8]] == [
        ("3", 4),
        ("6", 9),
        ("7", 11),
        ("7", 11),
    ]


def test_a_riff_lies_on_the_root_whatever_the_bass_is() -> None:
    found = played("horns", 'lines.line = "1 3 5 ."', "C/E | F/G")
    told = [
        n for i, n in enumerate(found) if not i or n.pitch != found[i - 1].pitch
    ]  # a stroke more may repeat one
    assert [n.pitch % 12 for n in told] == [0, 4, 7, 5, 9, 0]


def test_what_is_told_of_the_next_chord_is_where_it_goes_on() -> None:
    found = played("horns", 'lines.line = "1 . . .n1"', "C7 | F7 | Bb7 | C7")
    ahead, after = found[1::2], found[2::2]
    assert [n.pitch for n in ahead[:3]] == [n.pitch for n in after]
    assert "of the next chord" in ahead[0].why.words


def test_an_approach_steps_into_the_next_note() -> None:
    found = played("horns", 'lines.line = "3 a 5 a"', "C | C")
    assert [n.pitch - found[0].pitch for n in found[:5]] == [0, 2, 3, 1, 0]


# -- keys ---------------------------------------------------------------------------------------------------


def test_a_left_hand_plays_octaves_and_degrees_below_a_right_hand_s_line() -> None:
    lines = """lines = { bass = "1+8 . 5 8", line = "3' . 1' 5" }"""
    found = played("keys", lines, "C | A")
    low = [(str(n.start_q), n.pitch) for n in found if n.why.kind is Kind.THUMB]
    assert low == [
        ("0", 36), ("0", 48), ("2", 43), ("3", 48), ("4", 45), ("4", 57), ("6", 52), ("7", 57),
    ]  # fmt: skip
    line = [n.pitch for n in found if n.why.kind is Kind.LINE]
    assert line[:3] == [76, 72, 67]
    assert min(line) > max(pitch for _, pitch in low)


def test_two_voices_stand_in_one_cell() -> None:
    found = played("keys", 'lines.chord = "1 2+3 1 2+3"', "C", 'settings = { voicing = "triads" }')
    assert [sum(n.start_q == beat for n in found) for beat in range(4)] == [1, 2, 1, 2]


# -- guitar -------------------------------------------------------------------------------------------------

RUN = 'lines.line = "1 2b3 h35 68"'
OPEN = 'settings = { voicing = "open" }'


def test_a_run_goes_over_the_strings_under_the_hand() -> None:
    """The bluegrass run in G: 6/3 5/0 5/1-2 4/0 4/2 3/0, third hammered on (common practice)."""
    found = played("guitar", RUN, "G", OPEN, key="G")
    assert [(n.string, n.fret) for n in found] == [
        (6, 3), (5, 0), (5, 1), (5, 2), (4, 0), (4, 2), (3, 0),
    ]  # fmt: skip
    assert [n.why.kind for n in found].index(Kind.HAMMERED) == 3
    assert all(n.pitch == STANDARD_TUNING[6 - n.string] + n.fret for n in found)


def test_a_hammered_note_is_softer_and_takes_over_where_the_one_before_ends() -> None:
    _, _, before, hammered, *_ = played("guitar", RUN, "G", OPEN, key="G")
    assert hammered.string == before.string
    assert hammered.velocity < before.velocity - 6
    assert before.end_q == hammered.start_q


def test_a_pull_off_goes_down_on_one_string() -> None:
    found = played("guitar", 'lines.line = "5 3pb3 1 ."', "G", OPEN, key="G")
    assert [n.why.kind for n in found] == [Kind.LINE, Kind.LINE, Kind.PULLED, Kind.LINE]
    assert found[1].string == found[2].string
    assert found[2].fret == found[1].fret - 1


def test_a_slur_that_no_string_has_is_struck() -> None:
    """Where third and flat third are one note there is nothing to hammer."""
    found = played("guitar", RUN, "Em", OPEN, key="G")
    assert Kind.HAMMERED not in {n.why.kind for n in found}


def test_a_slide_passes_the_frets_on_one_string() -> None:
    found = played("guitar", 'lines.line = "-5 1 /3 ."', "C", OPEN, key="C")
    before, *passed, last = found[1:]
    assert last.why.kind is Kind.SLID
    assert (before.string, before.fret, last.string, last.fret) == (5, 3, 5, 7)
    assert [n.fret for n in passed] == [4, 5, 6]
    assert [n.end_q for n in (before, *passed)] == [n.start_q for n in (*passed, last)]
    assert last.start_q == 2
    assert last.start_q - passed[0].start_q < Fraction(1, 4)


def test_a_slide_out_of_nothing_begins_two_frets_below() -> None:
    found = played("guitar", 'lines.line = ". /5 . ."', "A", OPEN, key="A")
    assert [n.fret - found[-1].fret for n in found] == [-2, -1, 0]
    assert {n.string for n in found} == {found[-1].string}


def test_two_strings_stand_in_one_cell() -> None:
    found = played("guitar", 'lines.chord = "5 3+2 4 3+2"', "C", OPEN)
    rows = [[n.string for n in found if n.start_q == beat] for beat in range(4)]
    assert rows == [[5], [3, 2], [4], [3, 2]]


def test_a_run_alone_adds_no_chord() -> None:
    """Who comps strikes every chord, but not over what the style tells by degree."""
    found = played("guitar", RUN, "G | C D | Em", OPEN, key="G")
    assert all(n.why.kind in (Kind.LINE, Kind.HAMMERED) for n in found)


def test_a_run_with_a_strum_behind_it() -> None:
    lines = 'lines = { line = "1 2b3 3 .", chord = ". . . D" }'
    found = played("guitar", lines, "G", OPEN, key="G")
    assert sum(n.start_q == 3 for n in found) == 6
    assert sum(n.start_q < 3 for n in found) == 4


def test_a_run_leads_out_of_any_figure_at_the_end_of_a_phrase() -> None:
    lines = (
        f'lines.chord = "D Du D Du"\n[[guitar.pattern]]\nname = "run"\nwhere = "phrase-end"\n{RUN}'
    )
    found = played("guitar", lines, "G | G | G | G", OPEN, key="G")
    assert any(n.why.kind is Kind.HAMMERED for n in found if n.start_q >= 12)
    assert not any(n.why.kind is Kind.HAMMERED for n in found if n.start_q < 12)


def test_the_range_of_the_guitar_moves_its_runs() -> None:
    low = played("guitar", RUN, "G", OPEN, key="G")
    high = played("guitar", RUN, "G", 'low = "G3"\n' + OPEN, key="G")
    assert [n.pitch - 12 for n in high] == [n.pitch for n in low]


# -- one notation -------------------------------------------------------------------------------------------


@each("role", ["horns", "keys", "guitar", "bass"])
def test_an_octave_is_written_alike_for_every_player(role: str) -> None:
    line = "bass" if role == "bass" else "line"
    more = 'low = "C2"' if role == "bass" else OPEN if role == "guitar" else ""
    found = played(role, f"""lines.{line} = "1 3' 1' 8" """, "C", more)
    assert [n.pitch - found[0].pitch for n in found] == [0, 16, 12, 12]


METERS = ("3/4", "6/8", "12/8", "5/4", "7/8", "2/2", "5/8", "9/8")


@each("meter", METERS)
def test_lines_are_fitted_to_every_meter(meter: str) -> None:
    lines = {
        "horns": 'lines = { line = "1 .b3 5 n1", "line 2" = "3 .5 8 ." }',
        "keys": 'lines = { bass = "1+8 . 5 8", line = "3 5 a 8" }',
        "guitar": 'lines = { line = "1 2b3 h35 /6n1", chord = ". . . D" }',
    }
    for role, line in lines.items():
        text = chart("C | F/A | G7 | C", meter=meter, ending="as written")
        instrument = INSTRUMENTS[SOUNDS[role]]
        for note in player(arrange(timeline(text), style(role, line), 1), role).notes:
            assert 0 <= note.start_q < note.end_q
            assert instrument.low <= note.pitch <= max(instrument.high, 86)


@given(st.from_regex(r"\A[hp/]?n?-?[b#]?[1-9]'{0,2}(\+-?[b#]?[1-9])?!?\Z"))
def test_every_mark_of_a_line_is_read_whole(mark: str) -> None:
    found = told(mark)
    assert len(found.degrees) == mark.count("+") + 1
    assert (found.slur, found.accent) == (mark[0] if mark[0] in "hp/" else "", mark.endswith("!"))


WRONG = (
    ("horns", 'lines.line = "h3 . . ."', "'h' is no mark of this line", "degrees such as 1 b3 5 8"),
    ("guitar", 'lines.line = "1 5, . ."', "',' is no mark of this line", "-5 below, 3' above"),
    ("keys", 'lines.line = "x . . ."', "'x' is no mark of this line", "1+5 together"),
    ("guitar", 'lines.lien = "1 . . ."', "there is no line 'lien'", "did you mean 'line'?"),
    ("bass", 'lines.line = "1 . . ."', "there is no line 'line'", "write one of: bass"),
)


@each("role, lines, message, hint", WRONG)
def test_a_mistyped_line_is_told_with_what_to_type(
    role: str, lines: str, message: str, hint: str
) -> None:
    with pytest.raises(StyleError) as wrong:
        style(role, lines)
    [found] = wrong.value.diagnostics
    assert message in found.message
    assert hint in found.hint


def test_a_page_shows_the_lines() -> None:
    text = page(style("horns", 'lines = { line = "1 . 5! .", "line 2" = "3 . 8 ." }'))
    assert "    line    1  .  5! ." in text
    assert "    line 2  3  .  8  ." in text
