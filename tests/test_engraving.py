"""What an engraver would look for on a sheet, measured on the marks that are laid out.

Source of every rule: common practice, as the standard handbooks of music engraving have it; distances by eye.
"""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest

from backing.chart.parse import parse
from backing.output.sheet.beams import STEEPEST, stem_ends
from backing.output.sheet.breaks import page_starts
from backing.output.sheet.cells import rows
from backing.output.sheet.marks import BOLD, ITALIC, MUSIC, Line, Mark, Shape, Text, box, width
from backing.output.sheet.notes import HEAD
from backing.output.sheet.staff import stem_up
from backing.output.sheet.systems import Block, phrases
from backing.output.sheet.write import layout
from tests.each import each
from tests.sheets import overlaps, texts

NOTES = tuple("𝅘𝅗𝅝")


def sheet_of(text: str) -> list[Mark]:
    (page,) = layout(parse(text))
    return page


def staff_lines(page: list[Mark]) -> list[list[Line]]:
    """The five lines of each staff, from above."""
    flat = sorted(
        (m for m in page if isinstance(m, Line) and m.y1 == m.y2 and m.x2 - m.x1 > 60),
        key=lambda m: m.y1,
    )
    return [flat[i : i + 5] for i in range(0, len(flat), 5)]


def barlines(page: list[Mark], y0: float, y1: float) -> list[float]:
    """The x of the thin bar lines between two heights."""
    found = {
        round(m.x1, 2)
        for m in page
        if isinstance(m, Line)
        and m.x1 == m.x2
        and m.width < 1.5
        and abs(m.y1 - y0) < 0.1
        and abs(m.y2 - y1) < 0.1
    }
    return sorted(found)


def heads(page: list[Mark]) -> list[Text]:
    return [t for t in texts(page) if t.text in NOTES]


def stems(page: list[Mark]) -> list[Line]:
    """Upright lines thinner than those of bars."""
    size = heads(page)[0].size
    return [
        m
        for m in page
        if isinstance(m, Line) and m.x1 == m.x2 and m.width == pytest.approx(0.032 * size)
    ]


# ------------------------------------------------------------------------------------------------ spacing and breaks


def test_bars_are_as_wide_as_they_are_long() -> None:
    page = sheet_of("| C | 3/4 F | 4/4 G | 2/4 C |\n")
    rule = next(m for m in page if isinstance(m, Line) and m.y1 == m.y2 and m.x2 - m.x1 > 40)
    ends = sorted(m.x2 for m in page if isinstance(m, Line) and m.y1 == m.y2 == rule.y1)
    starts = sorted(m.x1 for m in page if isinstance(m, Line) and m.y1 == m.y2 == rule.y1)
    wide = [b - a for a, b in zip(starts, ends, strict=True)]
    assert [w / wide[0] for w in wide] == pytest.approx([1, 0.75, 1, 0.5], rel=0.01)


def test_clef_and_meter_do_not_take_room_from_the_first_bar() -> None:
    page = sheet_of(
        "key: E\n| E | A | B7 | E |\nmelody: | E5 E5 E5 E5 | E5 E5 E5 E5 | E5 E5 E5 E5 | E5 E5 E5 E5 |\n"
    )
    xs = [t.x for t in heads(page)]
    steps = [b - a for i, (a, b) in enumerate(itertools.pairwise(xs), 1) if i % 4]
    assert max(steps) == pytest.approx(min(steps), rel=0.01)


def test_a_bar_with_more_in_it_is_wider() -> None:
    many = "(C5 (D5 E5)) (F5 (E5 D5)) (C5 (D5 E5)) (F5 (E5 D5))"
    page = sheet_of(f"| C | F | G | C | C | F |\nmelody: | C5 | {many} | C5 | C5 | C5 | C5 |\n")
    (staff,) = staff_lines(page)
    bars = barlines(page, staff[0].y1, staff[4].y1)
    assert bars[1] - bars[0] > 1.3 * (bars[2] - bars[1])


def test_the_last_system_fills_the_line_or_keeps_the_spacing_of_the_others() -> None:
    page = sheet_of("| C | F | G | C |\n| C | F | G | C |\n| C | F |\n")
    y = sorted({m.y1 for m in page if isinstance(m, Line) and m.y1 == m.y2})
    right = [
        max(m.x2 for m in page if isinstance(m, Line) and m.y1 == m.y2 == at and m.x2 > 100)
        for at in y
    ]
    left = min(m.x1 for m in page if isinstance(m, Line) and m.y1 == m.y2 == y[0])
    assert right[0] == pytest.approx(right[1])
    assert right[2] - left == pytest.approx((right[0] - left) / 2)


def test_a_line_of_many_bars_goes_on_at_phrases_of_four() -> None:
    sixteen = " | ".join(["C", "F", "G", "Am"] * 4)
    page = sheet_of(f"| {sixteen} |\n")
    assert [t.text for t in texts(page) if t.soft] == ["1", "5", "9", "13"]
    page = sheet_of(f"pickup: 1\n| G7 | {sixteen} |\n")
    assert [t.text for t in texts(page) if t.soft] == ["5", "9", "13"]
    (row,) = rows(parse(f"| {' | '.join('CFGC')} | C | F |\n"))
    assert phrases(row.cells) == [(0, 4), (4, 6)]


@each(
    "sections",
    [(17, 17), (4, 4, 4, 4, 4), (3,) * 9, (2,) * 14, (1, 19, 2), (5, 6, 7, 8, 9), (40, 2, 30), (18, 1)],
)  # fmt: skip
def test_no_page_begins_or_ends_with_one_line_of_a_section(sections: tuple[int, ...]) -> None:
    blocks = [Block((), 30.0, 12.0, n == 0) for count in sections for n in range(count)]
    starts = page_starts(blocks, 640.0, 750.0, 1.0)
    for at in starts[1:]:
        if not blocks[at].begins:
            assert not blocks[at - 1].begins
            assert not blocks[at + 1 : at + 2] or not blocks[at + 1].begins
            assert at + 1 < len(blocks)
    for n, (a, b) in enumerate(zip(starts, [*starts[1:], len(blocks)], strict=True)):
        assert sum(30 + 12 for _ in blocks[a:b]) - 12 <= (750.0 if n else 640.0)


def test_a_section_of_a_chart_leaves_no_line_alone_on_the_next_page() -> None:
    four = "| C | Am | F | G |\n"
    for lines in range(15, 22):
        text = "[A]\n" + four * 4 + "[B]\n" + four * (lines - 4)
        pages = layout(parse(text))
        for page in pages[1:]:
            numbers = [t for t in texts(page) if t.soft and t.text.isdigit()]
            assert len(numbers) != 1, lines


def test_type_grows_where_half_of_the_page_would_be_empty() -> None:
    sizes = []
    for lines in (4, 10, 16):
        page = layout(parse("| C | Am | F | G |\n" * lines))[0]
        sizes.append(next(t.size for t in texts(page) if t.text == "C"))
    assert sizes[0] == 20.0
    assert sizes[0] >= sizes[1] >= sizes[2] >= 15.0


def test_names_of_sections_have_one_size() -> None:
    page = sheet_of("[Verse]\n| C | F |\n[Chorus]\n| C | F |\n[Verse 2]\n| C | F |\n[A]\n| C |\n")
    assert len({t.size for t in texts(page) if t.head == 2}) == 1


# ------------------------------------------------------------------------------------------------ notes


def test_stems_of_far_ledger_lines_reach_the_middle_line() -> None:
    page = sheet_of("| C |\nmelody: | E6 A3 C6 E3 |\n")
    (staff,) = staff_lines(page)
    middle = staff[2].y1
    for stem in stems(page):
        assert min(stem.y1, stem.y2) - 0.05 <= middle <= max(stem.y1, stem.y2) + 0.05


def test_stems_point_to_the_middle_and_are_three_and_a_half_spaces_long() -> None:
    page = sheet_of("| C |\nmelody: | E4 F5 G4 D5 |\n")
    (staff,) = staff_lines(page)
    space = staff[1].y1 - staff[0].y1
    for head, stem in zip(heads(page), stems(page), strict=True):
        centre = head.y - 0.134 * head.size
        up = stem.y2 < centre
        assert up == (centre > staff[2].y1)
        assert abs(stem.y2 - centre) == pytest.approx(3.4 * space, abs=0.2 * space)


def test_a_group_follows_the_note_farthest_from_the_middle() -> None:
    assert stem_up([-0.375, 0.25], -0.5)  # F5 is nearer than a note under the staff
    assert not stem_up([-1.5, -0.375], -0.5)
    assert not stem_up([-0.5], -0.5)
    assert not stem_up([-0.75, -0.25], -0.5)  # as far on both sides: down


@each(
    ("notes", "slope"),
    [("(C5 E5) r r r", -1), ("(E5 C5) r r r", 1), ("(C5 C5) r r r", 0), ("(E4 C5 E4) r r r", 0)],
)
def test_beams_follow_their_notes_and_lie_level_over_an_arch(notes: str, slope: int) -> None:
    page = sheet_of(f"| C |\nmelody: | {notes} |\n")
    (beam,) = [m for m in page if isinstance(m, Shape) and not m.width]
    (x0, y0), (x1, y1) = beam.points[:2]
    assert (y1 > y0) - (y1 < y0) == slope
    assert abs(y1 - y0) <= STEEPEST * (x1 - x0) + 1e-6
    assert abs(y1 - y0) <= heads(page)[0].size / 4 + 1e-6  # a space
    for stem in stems(page):
        on = y0 + (y1 - y0) * (stem.x1 - x0) / (x1 - x0)
        assert stem.y2 == pytest.approx(on, abs=0.01)


def test_no_stem_of_a_beam_is_shorter_than_one_alone() -> None:
    for ys in ((0.0, -0.5, -0.9), (-0.2, -0.9, 0.1), (0.0, 0.4, 0.8, 0.2)):
        xs = [0.6 * i for i in range(len(ys))]
        for up in (True, False):
            ends = stem_ends(xs, ys, 1, 1.0, up, None)
            long = [(y - end) if up else (end - y) for y, end in zip(ys, ends, strict=True)]
            assert min(long) == pytest.approx(0.85)


@each(
    ("meter", "line", "lengths"),
    [
        ("5/4 (3+2)", "x / / / /", ["3", "2"]),
        ("5/4 (2+3)", "x / / / /", ["2", "3"]),
        ("7/8 (2+2+3)", "x", ["1", "1", "3/2"]),
        ("8/8 (3+3+2)", "x", ["4"]),  # a note that fills its bar is one
        ("12/8", "x / / /", ["6"]),
        ("12/8", "x / / x", ["3", "3/2", "3/2"]),
        ("12/8", "x x / x", ["3/2", "3/2", "3/2", "3/2"]),  # the middle is seen
        ("9/8", "x / x", ["3", "3/2"]),
    ],
)
def test_notes_are_tied_at_the_groups_of_a_meter(meter: str, line: str, lengths: list[str]) -> None:
    (cell,) = rows(parse(f"meter: {meter}\n| C |\nhits: | {line} |\n"))[0].cells
    assert [str(f.length_q) for f in cell.hits] == lengths


# ------------------------------------------------------------------------------------------------ signatures and signs


def test_the_meter_stands_on_the_staff_where_there_is_one() -> None:
    page = sheet_of("meter: 6/8\nkey: D\n| D | G |\nmelody: | D5 F#5 | 3/4 G4 / / |\n".replace(
        "| D | G |", "| D | 3/4 G |").replace("3/4 G4", "G4"))  # fmt: skip
    (staff,) = staff_lines(page)
    figures = [t for t in texts(page) if t.face == BOLD and t.text in "6834"]
    assert [t.text for t in figures] == ["6", "8", "3", "4"]
    space = staff[1].y1 - staff[0].y1
    for upper, lower in (figures[:2], figures[2:]):
        for one, middle in ((upper, staff[1].y1), (lower, staff[3].y1)):
            _, top, _, bottom = box(one)
            assert (top + bottom) / 2 == pytest.approx(middle, abs=0.05 * space)
            assert bottom - top == pytest.approx(2 * space, rel=0.1)
    signs = [t.x for t in texts(page) if t.text == "♯" and t.face == MUSIC and t.x < figures[0].x]
    first = heads(page)[0].x
    assert len(signs) == 2
    assert max(signs) < figures[0].x < first  # clef, key, meter


def test_the_end_of_a_system_warns_of_the_next_key_and_meter() -> None:
    notes = "melody: | C5 | C5 |\n"
    page = sheet_of(
        f"key: Eb\n[A]\n| Cm | Ab |\n{notes}[B]\nkey: C\nmeter: 3/4\n| C | F |\n{notes}[C]\nkey: A\n| A | A |\n{notes}"
    )
    first, second, third = staff_lines(page)
    for staff, naturals, sharps, figures in (
        (first, 3, 0, "34"),
        (second, 0, 3, "44"),
        (third, 0, 0, ""),
    ):
        top, bottom = staff[0].y1 - 8, staff[4].y1 + 8
        end = max(barlines(page, staff[0].y1, staff[4].y1))
        behind = [t for t in texts(page) if t.x > end and top < t.y < bottom]
        assert sum(t.text == "♮" for t in behind) == naturals
        assert sum(t.text == "♯" for t in behind) == sharps
        assert "".join(t.text for t in behind if t.face == BOLD) == figures


def test_a_line_without_staff_warns_of_the_next_meter() -> None:
    page = sheet_of("[A]\n| C | F |\n[B]\nmeter: 3/4\n| C | F |\n")
    end = max(m.x1 for m in page if isinstance(m, Line) and m.x1 == m.x2)
    figures = [t for t in texts(page) if t.face == BOLD and t.text in "34"]
    assert [t.text for t in figures] == ["4", "4", "3", "4", "3", "4"]
    right = max(m.x1 for m in page if isinstance(m, Line) and m.x1 == m.x2 and m.y1 < figures[0].y)
    assert min(t.x for t in figures[2:4]) > right
    assert overlaps(page) == []
    assert max(t.x for t in figures) < end + 20


def test_there_is_one_sign_for_the_coda() -> None:
    for coda in ('[Coda]\n| "Coda" C | F |\n', "[Coda]\n| C | F |\n"):
        page = sheet_of(f'[A]\n| C "To Coda" | G7 "D.C. al Coda" |\n{coda}')
        (sign,) = [t for t in texts(page) if t.text == "𝄌" and t.x < 200]
        roots = [t for t in texts(page) if t.face == BOLD and t.text == "C"]
        assert roots[0].y < sign.y < roots[1].y
        others = [t.text for t in texts(page) if "Coda" in t.text and t.face != BOLD]
        assert others == ["A – Coda", "To Coda ", "D.C. al Coda"]


def test_dynamics_stand_under_the_line_in_bold_italics_but_over_words_that_are_sung() -> None:
    page = sheet_of("[A]\ndynamics: mf\n| C | F |\n")
    (sign,) = [t for t in texts(page) if t.text == "mf"]
    rule = max(m.y1 for m in page if isinstance(m, Line) and m.y1 == m.y2)
    assert sign.y > rule
    assert (sign.face, sign.stroke > 0) == (ITALIC, True)
    page = sheet_of("[A]\ndynamics: mf\n| C | F |\nwords: | one | two |\n")
    (sign,) = [t for t in texts(page) if t.text == "mf"]
    assert sign.y < min(t.y for t in texts(page) if t.text in ("C", "F"))


# ------------------------------------------------------------------------------------------------ words


def test_syllables_stand_under_their_notes_with_hyphens_between() -> None:
    page = sheet_of(
        "| C | F |\nmelody: | C5 D5 E5 D5 | C5 / / / |\nwords: | har-bour lan-tern | home |\n"
    )
    size = heads(page)[0].size
    for word, head in zip(("har", "bour", "lan", "tern", "home"), heads(page), strict=True):
        (one,) = [t for t in texts(page) if t.text == word]
        middle = one.x + width(one.text, one.face, one.size) / 2
        assert middle == pytest.approx(head.x + HEAD * size / 2, abs=0.4 * size), word
    hyphens = sorted(t.x for t in texts(page) if t.text == "-")
    words = {t.text: t.x for t in texts(page)}
    assert words["har"] < hyphens[0] < words["bour"] < words["lan"] < hyphens[1] < words["tern"]
    assert overlaps(page) == []


def test_a_syllable_that_is_held_has_a_line_to_its_last_note() -> None:
    page = sheet_of("| C |\nmelody: | C5 D5 E5 D5 |\nwords: | oh__ now |\n")
    held, last = heads(page)[2], heads(page)[3]
    word = next(t for t in texts(page) if t.text == "oh")
    (line,) = [
        m for m in page if isinstance(m, Line) and m.y1 == m.y2 and abs(m.y1 - word.y) < 0.01
    ]
    assert held.x < line.x2 < last.x


def test_free_words_stand_under_their_bar() -> None:
    """Words without notes, and more words than notes."""
    page = sheet_of(
        "| C | F |\nmelody: | C5 / D5 / | r |\nwords: | many words in_ here | and here |\n"
    )
    assert any(t.text == "many words in here" for t in texts(page))
    assert any(t.text == "and here" for t in texts(page))


def test_ties_of_a_bar_in_five_are_drawn_at_the_group() -> None:
    page = sheet_of("meter: 5/4 (3+2)\n| C |\nmelody: | D5 / / / / |\n")
    assert [t.text for t in heads(page)] == ["𝅗", "𝅗"]
    assert Fraction(3) in [
        f.start_q
        for f in rows(parse("meter: 5/4 (3+2)\n| C |\nmelody: | D5 / / / / |\n"))[0].cells[0].melody
    ]
