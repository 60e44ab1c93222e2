"""The printed sheet: what stands where, read back from the PDF by pdfplumber; nothing overlaps or leaves the page."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
import zlib
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from io import BytesIO
from pathlib import Path

import pdfplumber
import pytest

from backing.chart.ast import LAST, Chart, LineNote
from backing.chart.parse import parse
from backing.ground.errors import OutputError
from backing.ground.pitch import Key, Pitch
from backing.ground.source import NOWHERE
from backing.ground.timebase import Meter
from backing.output.asked import Paper
from backing.output.files import MARK, made_here
from backing.output.sheet.cells import rows
from backing.output.sheet.faces import FILES, advances
from backing.output.sheet.grips import chords_used, chosen
from backing.output.sheet.marks import (
    BOLD,
    ITALIC,
    MEDIUM,
    MUSIC,
    REGULAR,
    Arc,
    Dot,
    Line,
    Mark,
    Shape,
    Text,
    width,
    wrapped,
)
from backing.output.sheet.page import PAPERS
from backing.output.sheet.staff import accidentals, bass_clef
from backing.output.sheet.system import spread
from backing.output.sheet.systems import BASE, EVEN, SMALLEST, even
from backing.output.sheet.values import figures
from backing.output.sheet.words import ending_words, form_words, title_words
from backing.output.sheet.write import TRANSPOSING, layout, set_sheet, write
from tests.each import each
from tests.generated import tunes
from tests.sheets import busy, crossed, outside, overlaps, read_in_order, symbols, texts

DEMO = Path(__file__).parent.parent / "demo"
DEMOS = sorted(DEMO.glob("*.txt"), key=lambda p: p.name)
LONG = "C#7(b9,#9,#11,b13) Ebmaj9#11/Bb F#m13b5/G# AbmMaj11/Gb"
FOUR = Meter.of(4, 4)


@lru_cache(maxsize=32)
def demo(name: str) -> Chart:
    return parse((DEMO / name).read_text("utf-8"), name)


@lru_cache(maxsize=64)
def pdf(name: str) -> bytes:
    return set_sheet(demo(name))[0]


def words(pages: list[list[Mark]]) -> str:
    return "".join(t.text for page in pages for t in texts(page))


def sheet_of(text: str) -> list[list[Mark]]:
    return layout(parse(text))


def on(page: list[Mark], text: str) -> Text:
    """The one run of a page that reads `text`."""
    found = [t for t in texts(page) if t.text == text]
    assert len(found) == 1, (text, len(found))
    return found[0]


def lines(page: list[Mark]) -> Iterator[Line]:
    return (m for m in page if isinstance(m, Line))


def bar_lines(page: list[Mark]) -> list[Line]:
    """Upright lines as high as a chord."""
    return [m for m in lines(page) if m.x1 == m.x2 and abs(m.y2 - m.y1) > 12]


# ------------------------------------------------------------------------------------------------ by a PDF reader


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_a_pdf_reader_finds_every_text_where_it_was_planned(path: Path) -> None:
    """Every run of the layout is found in the PDF, character by character, at its place and size; kerning only
    changes its width, by an eighth of its size and 3 % at most."""
    with pdfplumber.open(BytesIO(pdf(path.name))) as read:
        for page, planned in zip(read.pages, layout(demo(path.name)), strict=True):
            chars = iter(c for c in page.chars if c["text"].strip())
            for run in texts(planned):
                letters = run.text.replace(" ", "")
                drawn = [next(chars) for _ in letters]
                assert "".join(c["text"] for c in drawn) == letters
                for char in drawn:
                    assert page.height - char["matrix"][5] == pytest.approx(run.y, abs=0.05)
                    assert char["size"] == pytest.approx(run.size, abs=0.02)
                    assert 0 < char["x0"] < char["x1"] < page.width
                lead = width(" ", run.face, run.size) * (len(run.text) - len(run.text.lstrip()))
                assert drawn[0]["matrix"][4] == pytest.approx(run.x + lead, abs=0.02)
                end = run.x + width(run.text.rstrip(), run.face, run.size)
                assert (
                    end - 0.12 * run.size - 0.03 * (end - run.x)
                    <= drawn[-1]["x1"]
                    <= end + 0.06 * run.size
                )
            assert next(chars, None) is None


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_every_chord_is_found_in_the_text_of_the_pdf_in_order(path: Path) -> None:
    with pdfplumber.open(BytesIO(pdf(path.name))) as read:
        text = "".join(c["text"] for page in read.pages for c in page.chars)
    assert read_in_order(text, symbols(demo(path.name))) == []


def test_the_pdf_tells_title_maker_and_program() -> None:
    with pdfplumber.open(BytesIO(pdf("folk.txt"))) as read:
        assert read.metadata["Title"] == "The Miller's Second Daughter"
        assert read.metadata["Author"] == "Demo songbook"
        assert read.metadata["Keywords"] == MARK
        assert "CreationDate" not in read.metadata


@each(("paper", "size"), sorted(PAPERS.items()))
def test_paper_is_a4_or_letter(paper: str, size: tuple[float, float]) -> None:
    """ISO 216: 210 by 297 mm; US Letter: 8.5 by 11 inches."""
    assert size == pytest.approx(
        {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}[paper], abs=0.01
    )
    with pdfplumber.open(BytesIO(set_sheet(demo("waltz.txt"), paper=Paper(size=paper))[0])) as read:
        assert (read.pages[0].width, read.pages[0].height) == pytest.approx(size, abs=0.01)


# ------------------------------------------------------------------------------------------------ geometry


def faults(chart: Chart, paper: str = "a4") -> list[object]:
    """Everything on the sheet of a chart that overlaps, is crossed by a line, leaves the page or is missing."""
    pages = layout(chart, paper=Paper(size=paper))
    found: list[object] = []
    for page in pages:
        found += [*overlaps(page), *crossed(page), *outside(page, paper)]
    return found + list(read_in_order(words(pages), symbols(chart)))


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_nothing_overlaps_or_leaves_the_page_in_a_demo(path: Path, paper: str) -> None:
    assert faults(demo(path.name), paper) == []


@pytest.mark.slow
def test_nothing_overlaps_in_a_hundred_generated_charts() -> None:
    """Tunes of all meters and densities, and charts with melody, rhythms, verses, remarks and the longest symbols."""
    for number, (text, _) in enumerate(tunes(("",), 80)):
        assert faults(parse(text)) == [], number
    for number in range(20):
        assert faults(parse(busy(number))) == [], busy(number)


def test_four_long_symbols_in_every_bar_stay_readable() -> None:
    """Roots at least 10.8 points, the smallest figure of a stack at least 4.9; the order of chords is kept."""
    text = "title: Long\n" + f"| {' | '.join([LONG] * 4)} |\n" * 8
    assert faults(parse(text)) == []
    roots = [
        t for page in sheet_of(text) for t in texts(page) if t.face == BOLD and t.text in "CEFA"
    ]
    assert len(roots) == 4 * 4 * 8
    assert min(t.size for t in roots) >= SMALLEST - 1e-6
    small = [t for page in sheet_of(text) for t in texts(page) if t.face == REGULAR]
    assert min(t.size for t in small) > 4.9


def test_two_hundred_bars_break_between_lines_with_numbered_pages() -> None:
    text = "title: Many\n" + "| Cmaj7 | Am7 D7b9 | Gm7 C7 | F6 |\n" * 50
    pages = sheet_of(text)
    assert faults(parse(text)) == []
    assert len(pages) > 1
    for n, page in enumerate(pages, 1):
        assert on(page, f"{n} / {len(pages)}")
        sizes = {t.size for t in texts(page) if t.face == BOLD and t.text == "C"}
        assert sizes == {BASE}
    assert [t.text for t in texts(pages[1])].count("Many") == 1


def test_a_bar_too_wide_for_any_line_is_cut_between_its_chords() -> None:
    """Eight of the longest symbols in one bar: no bar line at the cut, one number, nothing lost."""
    text = f"meter: 8/4\n| {LONG} {LONG} | C |\n"
    (page,) = sheet_of(text)
    assert faults(parse(text)) == []
    assert [t.text for t in texts(page) if t.soft] == ["1"]  # the second bar begins inside a system
    assert len(bar_lines(page)) == 4  # before the first bar, after it, and the final pair


def test_one_size_serves_the_sheet_and_an_empty_page_is_used() -> None:
    for name in ("gospel.txt", "waltz.txt", "bossa.txt", "seven.txt"):
        sizes = {
            t.size
            for page in layout(demo(name))
            for t in texts(page)
            if t.face == BOLD and t.text in tuple("CDEFG") and t.size >= EVEN
        }
        root = max(sizes)
        assert all(size in (root, pytest.approx(0.8 * root)) for size in sizes), (
            name
        )  # roots, basses
    assert max(t.size for t in texts(sheet_of("| C | F |\n")[0]) if t.text == "C") == 20.0


def test_the_lines_are_kept_as_typed() -> None:
    text = "| C | F |\n| G7 | Am | Dm |\n| C |\n"
    (page,) = sheet_of(text)
    first = [t for t in texts(page) if t.text in ("1", "3", "6") and t.soft]
    assert [t.text for t in first] == ["1", "3", "6"]
    ys = [on(page, "G").y, on(page, "D").y]
    assert ys[0] == ys[1]


def test_chords_start_over_their_beats_and_width_follows_time() -> None:
    """Four bars of four quarters: equal bars, and a chord on three stands half way on."""
    (page,) = sheet_of("| C G | C G | C G | C G |\n| F | F | F | F |\n")
    xs = sorted({round(m.x1, 2) for m in bar_lines(page)})
    assert xs[2] - xs[1] == pytest.approx(xs[3] - xs[2], abs=0.02)
    c, g = ([t.x for t in texts(page) if t.text == k and t.face == BOLD] for k in "CG")
    ticks = sorted(m.x1 for m in lines(page) if m.x1 == m.x2 and abs(m.y2 - m.y1) < 4)
    for x in (*c, *g):
        assert min(abs(x - tick) for tick in ticks) < 0.01


# ------------------------------------------------------------------------------------------------ the language


def test_repeats_have_dots_and_counts_stand_at_their_end() -> None:
    (page,) = sheet_of("| C |\n|: F | G :| x4\n")
    assert len([m for m in page if isinstance(m, Dot)]) == 4
    assert on(page, "×4").x > on(page, "G").x


def test_endings_have_brackets_with_their_numbers() -> None:
    (page,) = sheet_of("| C | F |1. G | G7 :|2-3. Am |last. C |]\n")
    assert [t.text for t in texts(page) if t.text in ("1.", "2. 3.", "last time")] == [
        "1.",
        "2. 3.",
        "last time",
    ]


def test_an_ending_goes_on_over_the_next_system_without_its_number() -> None:
    (page,) = sheet_of("| C | F |\n|1. G | G7 |\n| Am | D7 :|2. C | C |\n")
    assert [t.text for t in texts(page)].count("1.") == 1
    long = [m for m in lines(page) if m.y1 == m.y2 and m.x2 - m.x1 > 60]
    assert len({round(m.y1, 1) for m in long}) == 5  # three rules and two rows of brackets


@each(
    ("numbers", "shown"),
    [
        ((1,), "1."),
        ((1, 2), "1. 2."),
        ((1, 2, 3), "1.–3."),
        ((1, 3), "1. 3."),
        ((LAST,), "last time"),
        ((), ""),
    ],
)
def test_numbers_of_endings(numbers: tuple[int, ...], shown: str) -> None:
    assert ending_words(numbers) == shown


def test_directions_stand_where_they_are_obeyed() -> None:
    """Signs at the start of their bar, jumps at its end."""
    (page,) = sheet_of('| "Segno" C | "To Coda" F | "D.S. al Coda" G |\n| "Coda" Am | "Fine" D |\n')
    assert on(page, "𝄋").x < on(page, "C").x
    assert on(page, "To Coda ").x > on(page, "F").x
    assert on(page, "D.S. al Coda").x > on(page, "G").x
    assert on(page, "Fine").x > on(page, "D").x


def test_other_directions_are_words_over_their_chord_and_a_fermata_is_a_sign() -> None:
    (page,) = sheet_of('| "rit. to 60" C "fermata" F | "tacet guitar" G | "my words" Am |\n')
    assert on(page, "rit. to 60").face == ITALIC
    assert on(page, "𝄐").x == pytest.approx(on(page, "F").x, abs=6)
    assert on(page, "𝄐").y < on(page, "F").y
    assert on(page, "tacet guitar")
    assert on(page, "my words")


def test_a_beat_that_keeps_its_length_is_shown_in_notes() -> None:
    text = words(layout(demo("stairwell.txt")))
    assert "♩ = ♩." in text


def test_signs_of_repetition() -> None:
    (page,) = sheet_of("| C | % | F | G |\n| %2 | Am | D |\n")
    assert on(page, "𝄎")
    two = on(page, "𝄏")
    middle = two.x + width("𝄏", MUSIC, two.size) / 2
    assert min(abs(m.x1 - middle) for m in bar_lines(page)) < 0.1


def test_a_ringing_chord_has_an_open_head_on_the_rule() -> None:
    (page,) = sheet_of("| C= | F |\n")
    assert len([m for m in page if isinstance(m, Shape) and len(m.points) == 4 and m.width]) == 1
    assert len([m for m in page if isinstance(m, Arc)]) == 1


def test_written_slashes_are_drawn_through_the_rule() -> None:
    (page,) = sheet_of("| Am7 / D7 G | / C / / | F | F |\n")
    oblique = [m for m in lines(page) if m.x1 != m.x2 and m.y1 != m.y2]
    assert len(oblique) == 4


def test_a_meter_is_shown_where_it_changes_with_its_groups() -> None:
    (page,) = sheet_of("meter: 4/4\n| C | 7/8 C D E | 7/8 F G A | 3/4 G |\n")
    assert [t.text for t in texts(page) if t.face == BOLD and t.text.isdigit()] == [
        "4", "4", "7", "8", "3", "4",
    ]  # fmt: skip
    assert on(page, "2+2+3")


def test_a_pickup_has_no_number() -> None:
    (page,) = layout(demo("homeward.txt"))
    assert [t.text for t in texts(page) if t.soft] == ["5", "9", "13"]


def test_changes_of_a_section_stand_at_its_start() -> None:
    text = words(
        sheet_of(
            "[A]\n| C |\n[B]\nkey: Eb minor\ntempo: 120 -> 96\ndynamics: p -> f\nplayers: all but drums\n"
            "feel: swing\nclave: 2-3\nstyle: bossa nova\n| C |\n"
        )
    )
    for part in (
        "E♭ minor",
        "♩ = 120 → 96",
        "p cresc. to f",
        "without drums",
        "swung",
        "2–3 clave",
        "bossa nova",
    ):
        assert part in text, part


def test_a_section_name_too_long_for_the_margin_stands_over_its_first_bar() -> None:
    (page,) = sheet_of(
        "[Middle Eight]\n| C | F |\n[Instrumental Interlude after the Bridge]\n| C | F |\n[Supercalifragilistic]\n| G |\n"
    )
    first = min(m.x1 for m in bar_lines(page))
    margin, *over = [m for m in page if isinstance(m, Shape) and m.width]
    assert 30 < min(x for x, _ in margin.points) < max(x for x, _ in margin.points) < first
    roots = [t.y for t in texts(page) if t.face == BOLD and t.text in ("C", "G")]
    for box, root in zip(over, roots[1:], strict=True):
        assert min(x for x, _ in box.points) == pytest.approx(first)
        assert max(y for _, y in box.points) < root
    assert {"Instrumental Interlude after the Bridge", "Supercalifragilistic"} <= {
        t.text for t in texts(page)
    }


def test_verses_stand_under_their_bars_in_rows() -> None:
    (page,) = sheet_of("| C | F |\nwords: | one | two |\nwords: | three | four |\n")
    assert on(page, "one").y == on(page, "two").y < on(page, "three").y
    assert on(page, "one").x == on(page, "three").x == on(page, "C").x
    assert on(page, "two").x == on(page, "F").x


def test_title_block_in_words() -> None:
    chart = parse(
        "title: T\nkey: Bb\nmeter: 6/8\ntempo: dotted quarter = 66\nstyle: slow blues\ncapo: 2\ntuned: -1\n"
        "form: Intro (A A+2) x2\nending: fade 4\nchoruses: 3\n[Intro]\n| C |\n[A]\n| F |\n"
    )
    assert title_words(chart, "", None, "Eb") == (
        "slow blues, ♩. = 66, B♭ major, capo 2, guitar tuned down a half step, for instruments in E♭"
    )
    assert form_words(chart) == "Intro – (A – A +2) ×2 · 3 choruses · fades over 4 bars"
    assert (
        title_words(parse("| C |"), "bossa nova", (Fraction(1), Fraction(120)), None)
        == "bossa nova, ♩ = 120"
    )


def test_signs_are_an_option() -> None:
    text = words(layout(parse("| Cmaj7 Dm7b5 | Bdim7 |\n"), paper=Paper(signs=True)))
    for symbol in ("C△7", "Dø7", "B°7"):
        assert symbol in text


@each(("instrument", "shown"), [("Bb", "D"), ("Eb", "A"), ("F", "G")])
def test_transposing_instruments_read_higher(instrument: str, shown: str) -> None:
    """Concert C is D for B flat, A for E flat, G for F instruments (any orchestration handbook)."""
    chart = parse("key: C\n| C |\n")
    text = words(layout(chart, paper=Paper(transposing=instrument)))
    assert symbols(parse(f"| {shown} |"))[0] in text
    assert f"{shown} major" in text
    assert set(TRANSPOSING) == {"Bb", "Eb", "F"}


def test_a_capo_leaves_the_chords_as_written() -> None:
    assert read_in_order(words(layout(demo("folk.txt"))), symbols(demo("folk.txt"))) == []
    assert "capo 3" in words(layout(demo("folk.txt")))


def test_a_section_ends_with_a_double_line_and_the_piece_with_a_final_one() -> None:
    """Even where single lines are typed, over the rule and on the staff; none is final where the music goes back."""
    tune = "melody: | C4 / / / | D4 / / / |\n"
    for text, thick in (
        ("[A]\n| C | F |\n[B]\n| C | G |\n", 1),
        (f"[A]\n| C | F |\n{tune}[B]\n| C | G |\n{tune}", 1),
        ("form: A B A\n[A]\n| C | F |\n[B]\n| C | G |\n", 0),
        ('[A]\n| C "Fine" | F |\n[B]\n| C | G "D.C. al Fine" |\n', 0),
        ("[A]\n|: C | F :|\n", 2),  # a repeat, which stays
    ):
        lines = [m for page in sheet_of(text) for m in page if isinstance(m, Line) and m.x1 == m.x2]
        widest = max(m.width for m in lines)
        found = [m for m in lines if m.width > 0.9 * widest] if widest > 1.5 else []
        assert len(found) == thick, text


def test_grips_are_drawn_for_every_chord_used() -> None:
    """Dots where fingers stand; the grips' own notes are tested with the grips."""
    chart = demo("folk.txt")
    pages = layout(chart, paper=Paper(grips="foot"))
    named = [c.symbol for c, _ in chosen(chart)]
    assert named == [c.symbol for c in chords_used(chart)] == ["G", "C/G", "D", "Em", "C", "G/B"]
    held = sum(f >= 0 for _, grip in chosen(chart) for f in grip.frets)
    assert len([m for page in pages for m in page if isinstance(m, Dot)]) == held
    assert [f for page in pages for f in overlaps(page)] == []


def test_grips_stand_above_the_bars_at_each_new_chord() -> None:
    """Over their symbols, clear of each other and of what stands over them; dots and open strings are counted."""
    text = (
        '| C | C "softly" G/B | Am7 F | G7 |1. C :|2. C |\nhits: | x / / / | r | r | r | r | r |\n'
    )
    for name, chart in (
        ("own", parse(text)),
        ("waltz", demo("waltz.txt")),
        ("folk", demo("folk.txt")),
    ):
        pages = layout(chart, paper=Paper(grips="above"))
        grips = {c.symbol: g for c, g in chosen(chart)}
        assert [f for page in pages for f in overlaps(page) + outside(page)] == [], name
        assert read_in_order(words(pages), symbols(chart)) == []
        if name == "own":
            shown = [grips[s] for s in ("C", "G/B", "Am7", "F", "G7", "C")]
            dots = [m for page in pages for m in page if isinstance(m, Dot) and m.radius != 0.065]
            assert len(dots) >= sum(f >= 0 for grip in shown for f in grip.frets)


def test_grips_take_further_pages_where_they_must() -> None:
    text = "".join(
        f"| {r}maj7 | {r}m7 | {r}7 | {r}6 |\n"
        for r in ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A")
    )
    pages = layout(parse(text), paper=Paper(grips="foot"))
    assert len(pages) > 1
    for page in pages:
        assert overlaps(page) == []
        assert outside(page) == []


# ------------------------------------------------------------------------------------------------ notes


def rhythm(text: str, meter: str = "4/4") -> list[tuple[str, str]]:
    """Start and value of the hits of one bar; `.` dotted, `r` rest, `~` tied, `3` in a tuplet, `b` beamed."""
    chart = parse(f"meter: {meter}\n| C |\nhits: | {text} |\n")
    (cell,) = rows(chart)[0].cells
    return [
        (
            str(f.start_q),
            f"{f.value}" + "." * f.dotted + "r" * f.rest + "~" * f.tied + (str(f.number) if f.tuplet else "")
            + "b" * bool(f.beam),
        )
        for f in cell.hits
    ]  # fmt: skip


@each(
    ("text", "meter", "expected"),
    [
        ("x", "4/4", [("0", "4")]),
        ("x / / x", "4/4", [("0", "2."), ("3", "1")]),
        ("x (/ x) / r", "4/4", [("0", "1."), ("3/2", "1/2"), ("2", "1~"), ("3", "1r")]),
        ("(x x) (r x) x r", "4/4", [("0", "1/2b"), ("1/2", "1/2b"), ("1", "1/2r"), ("3/2", "1/2"), ("2", "1"), ("3", "1r")]),
        ("(x x x) x x x", "4/4", [("0", "1/23b"), ("1/3", "1/23b"), ("2/3", "1/23b"), ("1", "1"), ("2", "1"), ("3", "1")]),
        ("(x / x) x x x", "4/4", [("0", "13"), ("2/3", "1/23"), ("1", "1"), ("2", "1"), ("3", "1")]),
        ("(x (x x)) x x x", "4/4", [("0", "1/2b"), ("1/2", "1/4b"), ("3/4", "1/4b"), ("1", "1"), ("2", "1"), ("3", "1")]),
        ("(x x) (/ x) x x", "4/4", [("0", "1/2"), ("1/2", "1"), ("3/2", "1/2"), ("2", "1"), ("3", "1")]),
        ("x x", "6/8", [("0", "1."), ("3/2", "1.")]),
        ("(x x x) (x / x)", "6/8", [("0", "1/2b"), ("1/2", "1/2b"), ("1", "1/2b"), ("3/2", "1"), ("5/2", "1/2")]),
        ("x x x", "7/8 (2+2+3)", [("0", "1"), ("1", "1"), ("2", "1.")]),
    ],
)  # fmt: skip
def test_rhythms_are_written_so_that_the_beat_is_seen(
    text: str, meter: str, expected: list[tuple[str, str]]
) -> None:
    """Dots, ties over the beat, beams by the beat, three in the time of two (common practice of notation)."""
    assert rhythm(text, meter) == expected


@each(
    "meter, rest",
    (((3, 4), (1, 1)), ((9, 8), (Fraction(3, 2), Fraction(3, 2))), ((4, 4), (2,))),
    ids=str,
)
def test_no_rest_stands_for_two_of_three_beats(
    meter: tuple[int, int], rest: tuple[Fraction, ...]
) -> None:
    """Gould, Behind Bars, on rests in triple time (from memory)."""
    own = Meter.of(*meter)
    half = sum(rest)
    notes = [
        LineNote(Fraction(0), own.length_q - half, NOWHERE, Pitch.parse("C4")),
        LineNote(own.length_q - half, Fraction(half), NOWHERE),
    ]
    assert tuple(f.length_q for f in figures(notes, own) if f.rest) == rest


def test_note_values_add_up_to_the_bar() -> None:
    """Whatever is cut and tied, the written lengths fill the bar, in every meter and for odd lengths."""
    for count, unit in ((4, 4), (3, 4), (5, 4), (6, 8), (7, 8), (12, 8), (2, 2)):
        meter = Meter.of(count, unit)
        for part in (2, 3, 4, 5, 6, 7, 8):
            step = meter.length_q / part
            notes = [LineNote(step * i, step, NOWHERE, hit=True) for i in range(part)]
            found = figures(notes, meter)
            assert sum(f.length_q for f in found) == meter.length_q, (meter, part)
            assert [f.start_q for f in found if not f.tied] == [n.start_q for n in notes]


def test_hits_have_slash_heads_and_kicks_round_ones_over_the_chords() -> None:
    (page,) = sheet_of("| C | F |\nhits: | x x | r x |\n| C | F |\nkicks: | x x | r x |\n")
    heads = [m for m in page if isinstance(m, Shape) and len(m.points) == 4]
    assert len(heads) == 3
    assert len([t for t in texts(page) if t.text in "𝅘𝅗"]) == 3
    assert on(page, "hits").y < min(t.y for t in texts(page) if t.text == "C")
    assert on(page, "kicks")


def test_a_melody_stands_on_a_staff_with_clef_and_signature() -> None:
    (page,) = sheet_of("key: D\n| D | A7 |\nmelody: | D4 F#4 | C5 C#5 |\n")
    assert on(page, "𝄞")
    sharps = [t for t in texts(page) if t.text == "♯" and t.face == MUSIC and t.y > on(page, "D").y]
    assert len(sharps) == 3  # two of the signature, one that takes back the natural
    assert on(page, "♮")
    staff = {round(m.y1, 2) for m in lines(page) if m.y1 == m.y2 and m.x2 - m.x1 > 150}
    assert len(staff) == 5  # and no rule: notes show the beat


def test_heads_stand_on_the_lines_and_spaces_of_their_notes() -> None:
    """E4 on the lowest line, F5 on the highest, middle C a ledger line below (any primer)."""
    (page,) = sheet_of("| C |\nmelody: | E4 F5 C4 r |\n")
    staff = sorted(m.y1 for m in lines(page) if m.y1 == m.y2 and m.x2 - m.x1 > 150)
    space = staff[1] - staff[0]
    e, f, c = (t.y - 0.134 * t.size for t in texts(page) if t.text == "𝅘")
    assert e == pytest.approx(staff[4], abs=0.05)
    assert f == pytest.approx(staff[0], abs=0.05)
    assert c == pytest.approx(staff[4] + space, abs=0.05)
    ledger = [m for m in lines(page) if m.y1 == m.y2 and m.x2 - m.x1 < 15 and m.y1 > staff[4] + 1]
    assert [m.y1 for m in ledger] == [pytest.approx(staff[4] + space, abs=0.05)]


def test_accidentals_are_written_once_a_bar() -> None:
    notes = [
        LineNote(Fraction(i), Fraction(1), NOWHERE, pitch=Pitch.parse(p))
        for i, p in enumerate(("F#4", "F#4", "F4", "F#5"))
    ]
    found = figures(notes, FOUR)
    assert accidentals(found, Key.parse("C")) == ["♯", "", "♮", "♯"]
    assert accidentals(found, Key.parse("G")) == ["", "", "♮", ""]


def test_low_melodies_have_a_bass_clef() -> None:
    assert bass_clef([Pitch.parse(p) for p in ("E2", "A2", "C3")])
    assert not bass_clef([Pitch.parse(p) for p in ("C4", "A4", "E3")])


# ------------------------------------------------------------------------------------------------ helpers of the layout


def test_widths_follow_time_but_never_fall_under_the_need() -> None:
    assert spread([1, 1], [1, 3], 8) == [2, 6]
    assert spread([5, 1], [1, 1], 8) == [5, 3]
    assert sum(spread([5, 4, 1], [1, 1, 2], 12)) == pytest.approx(12)
    assert spread([3, 3], [1, 1], 6) == [3, 3]


def test_a_line_is_cut_evenly() -> None:
    assert even([1, 1, 1, 1], 2) == [0, 2, 4]
    assert even([5, 1, 1, 1], 2) == [0, 1, 4]


def test_long_words_are_wrapped_inside_only_where_one_is_too_long() -> None:
    assert wrapped("one two three", 1.0, REGULAR, width("one two", REGULAR) + 0.01) == [
        "one two",
        "three",
    ]
    rows_ = wrapped("incomprehensibilities", 1.0, REGULAR, 3.0)
    assert "".join(rows_) == "incomprehensibilities"
    assert all(width(r, REGULAR) <= 3.0 for r in rows_)


@each("face", [REGULAR, MEDIUM, BOLD, ITALIC, MUSIC])
def test_advances_agree_with_another_reader_of_fonts(face: int) -> None:
    """pdfminer's fonts come from the PDF; here fontTools reads the same files."""
    from fontTools.ttLib import TTFont

    font = TTFont(Path(__file__).parent.parent / "backing" / "output" / "fonts" / FILES[face])
    em = font["head"].unitsPerEm
    expected = {chr(c): font["hmtx"][g][0] / em for c, g in font.getBestCmap().items()}
    assert advances(face) == pytest.approx(expected)


# ------------------------------------------------------------------------------------------------ files


def test_the_same_chart_gives_the_same_bytes() -> None:
    for kind in ("pdf", "svg", "png"):
        assert set_sheet(demo("waltz.txt"), kind=kind) == set_sheet(demo("waltz.txt"), kind=kind)


def test_every_format_carries_the_mark_and_can_be_replaced(tmp_path: Path) -> None:
    for ending in (".pdf", ".svg", ".png"):
        path = tmp_path / f"sheet{ending}"
        assert write(demo("waltz.txt"), path) == [path]
        assert made_here(path), ending
        assert write(demo("waltz.txt"), path) == [path]


def test_a_file_of_somebody_else_stays(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_text("mine")
    with pytest.raises(OutputError, match="--force"):
        write(demo("waltz.txt"), path)
    assert path.read_text() == "mine"
    assert write(demo("waltz.txt"), path, force=True) == [path]


def test_pictures_of_several_pages_are_numbered(tmp_path: Path) -> None:
    chart = parse("title: Many\n" + "| Cmaj7 | Am7 |\n" * 60)
    made = write(chart, tmp_path / "many.svg")
    assert [p.name for p in made] == [f"many-{n}.svg" for n in range(1, len(made) + 1)]
    assert len(made) > 1
    for path in made:
        assert ET.parse(path).getroot().tag.endswith("svg")


def test_a_png_is_whole_and_names_the_title() -> None:
    """Chunks by the PNG specification, third edition: length, type, data and CRC."""
    (page,) = set_sheet(demo("waltz.txt"), kind="png")
    at, kinds, text = 8, [], {}
    while at < len(page):
        length = int.from_bytes(page[at : at + 4], "big")
        kind, data = page[at + 4 : at + 8], page[at + 8 : at + 8 + length]
        assert zlib.crc32(kind + data) == int.from_bytes(
            page[at + 8 + length : at + 12 + length], "big"
        )
        kinds.append(kind)
        if kind == b"iTXt":
            key, _, rest = data.partition(b"\0")
            text[key.decode()] = rest[4:].decode()
        at += 12 + length
    assert kinds[0] == b"IHDR"
    assert kinds[-1] == b"IEND"
    assert text["Title"] == demo("waltz.txt").header.title
    assert text["Comment"] == MARK


@each(
    ("look", "message"),
    [
        (Paper(size="a5"), "paper 'a5' is unknown; there are a4 and letter"),
        (Paper(transposing="G"), "'G' is no transposing instrument; write Bb, Eb, F"),
    ],
)
def test_unknown_paper_and_instruments_are_refused(look: Paper, message: str) -> None:
    with pytest.raises(OutputError, match=re.escape(message)):
        layout(demo("waltz.txt"), paper=look)


def test_other_endings_are_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"a sheet ends in \.pdf, \.svg or \.png"):
        write(demo("waltz.txt"), tmp_path / "sheet.doc")


def test_letters_that_no_face_here_has_do_not_stop_a_sheet() -> None:
    assert set_sheet(parse("title: 夜の歌\nby: Ελένη\n| C |\n"))[0].startswith(b"%PDF")


def test_what_a_title_holds_is_never_read_as_markup() -> None:
    title = '#panic("x") $a_b$ *bold* \\ "quoted" <tag> @ref'
    (made,) = set_sheet(parse(f"title: {title}\n| C |\n"))
    with pdfplumber.open(BytesIO(made)) as read:
        assert read.metadata["Title"] == title


def test_german_charts_name_notes_in_german() -> None:
    """H for B natural and B for B flat, as `note-names: german` has it; sharps and flats stay signs."""
    text = words(sheet_of("note-names: german\nkey: B\n| B | H7 | Es/B | Fism7/H |\n"))
    assert "B major" in text
    assert read_in_order(text, ["B", "H7", "E♭/B", "F♯m7/H"]) == []


def test_a_rest_of_a_whole_bar_is_one_sign_in_its_middle_whatever_the_meter() -> None:
    """Common practice of notation."""
    (page,) = sheet_of("meter: 3/4\n| C | F | G |\nmelody: | C5 D5 E5 | r | F5 / / |\n")
    rest = on(page, "𝄻")
    bars = sorted({round(m.x1, 2) for m in bar_lines(page) if m.y2 - m.y1 > 19})
    middle = rest.x + width("𝄻", MUSIC, rest.size) / 2
    assert middle == pytest.approx((bars[0] + bars[1]) / 2, abs=6)


def test_several_verses_are_numbered_where_they_begin() -> None:
    (page,) = sheet_of(
        "| C |\nwords: | one |\nwords: | two |\n| F |\nwords: | three |\nwords: | four |\n"
    )
    numbers = [t for t in texts(page) if t.text in ("1.", "2.")]
    assert [(n.text, n.y) for n in numbers] == [
        ("1.", on(page, "one").y),
        ("2.", on(page, "two").y),
    ]
    assert all(n.x < on(page, "one").x for n in numbers)


def test_apostrophes_are_set_as_printers_do() -> None:
    (page,) = sheet_of("title: Miller's\n| C |\nwords: | it's |\n")
    assert on(page, "Miller’s").size == 22.0
    assert on(page, "it’s")


def test_a_count_stands_at_the_end_of_a_repeat_that_begins_inside_a_line() -> None:
    (page,) = sheet_of("| C |: F | G :| x3 |: Am | D :| x4 E |\n")
    assert on(page, "×3").x > on(page, "G").x
    assert on(page, "×4").x > on(page, "D").x


def test_a_note_held_over_the_bar_line_is_tied_across_it() -> None:
    (page,) = sheet_of("| C | F |\nmelody: | D5 / / C5 | / / D5 / |\n")
    (tie,) = [m for m in page if isinstance(m, Arc)]
    bars = sorted({round(m.x1, 2) for m in bar_lines(page) if m.y2 - m.y1 > 19})
    assert tie.x1 < bars[0] < tie.x2
