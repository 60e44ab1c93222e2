"""Chord symbols as they are engraved: what is large, what is raised, what is stacked, and where the bass stands."""

from __future__ import annotations

import itertools

import pytest

from backing.harmony.symbol import read
from backing.output.sheet.chord import BASS, JOIN, LOWERED, marked, symbol
from backing.output.sheet.marks import BOLD, CAP, MUSIC, REGULAR, Arc, Dot, Line, Text, box
from backing.output.symbols import PLAIN, Spelling, parts
from tests.chord_tables import symbols as table
from tests.each import each
from tests.sheets import NEAR, overlaps

SIZE = 15.0  # points of a root, as on most sheets


def letters(typed: str, signs: bool = False) -> list[Text]:
    return [m for m in symbol(read(typed), Spelling(signs)).marks if isinstance(m, Text)]


def written(typed: str, signs: bool = False) -> str:
    return "".join(t.text for t in letters(typed, signs))


def one(typed: str, text: str) -> Text:
    """The run of a symbol that reads `text`."""
    return next(t for t in letters(typed) if t.text == text)


@each(
    ("typed", "words", "signs"),
    [
        ("C", "C", "C"),
        ("Bbmaj7", "B♭maj7", "B♭△7"),
        ("F#m7b5", "F♯m7(♭5)", "F♯ø7"),
        ("Ebdim7", "E♭dim7", "E♭°7"),
        ("Am9", "Am9", "A–9"),
        ("CmMaj7", "Cm(maj7)", "C–△7"),
        ("G7sus4b9", "G7sus4(♭9)", "G7sus4(♭9)"),
        ("D7b9#11", "D7(♭9♯11)", "D7(♭9♯11)"),
        ("Abadd9/C", "A♭add9/C", "A♭add9/C"),
        ("Caug", "C+", "C+"),
        ("D6/9", "D6/9", "D6/9"),
        ("E7alt", "E7alt", "E7alt"),
        ("F5", "F5", "F5"),
        ("Bbbdim7/Fb", "B𝄫dim7/F♭", "B𝄫°7/F♭"),
    ],
)
def test_one_spelling_in_words_and_one_in_signs(typed: str, words: str, signs: str) -> None:
    """Both manners are common practice of engravers."""
    assert written(typed) == words
    assert written(typed, signs=True) == signs


def test_no_chord_is_written_out() -> None:
    assert [m.text for m in symbol(None).marks if isinstance(m, Text)] == ["N.C."]


def test_the_root_is_bold_and_the_quality_regular_on_one_baseline() -> None:
    root, quality = one("Cmaj7", "C"), one("Cmaj7", "maj")
    assert (root.face, quality.face) == (BOLD, REGULAR)
    assert (root.size, quality.size) == (1.0, 0.7)
    assert root.y == quality.y == 0.0


def test_extensions_end_at_cap_height() -> None:
    extension = one("C13", "13")
    assert extension.size == 0.6
    assert box(extension)[1] == pytest.approx(-CAP)


@each("typed", ["Bb7", "F#7", "Ab", "C#m7", "Bbb7", "F##7"])
def test_accidentals_stand_between_baseline_and_a_little_over_the_capitals(typed: str) -> None:
    """The ink of the sign, not its box: a flat or sharp must look like one beside a bold capital."""
    sign = next(t for t in letters(typed) if t.face == MUSIC)
    _, top, _, bottom = box(sign)
    assert -0.12 < bottom < 0.12 or sign.text == "𝄪"
    assert bottom - top > (0.2 if sign.text == "𝄪" else 0.8 * CAP)
    assert top > -CAP - 0.1


def test_one_and_two_alterations_stand_in_a_row_in_brackets() -> None:
    ys = {t.y for t in letters("C7b9#11") if t.text in ("(", "9", "11", ")")}
    assert len(ys) == 1
    assert not [m for m in symbol(read("C7b9#11")).marks if isinstance(m, Arc)]


def test_three_alterations_are_stacked_between_tall_brackets() -> None:
    """From three up; the rows have the same left edge and do not touch."""
    made = symbol(read("C13(b9,#9,#11)"))
    rows = [t for t in made.marks if isinstance(t, Text) and t.text in ("9", "11")]
    assert len({round(t.y, 3) for t in rows}) == 3
    assert len([m for m in made.marks if isinstance(m, Arc)]) == 2
    signs = [t for t in made.marks if isinstance(t, Text) and t.text in "♭♯"]
    assert len({round(t.x, 3) for t in signs}) == 1
    for arc in (m for m in made.marks if isinstance(m, Arc)):
        assert min(arc.y1, arc.y2) < min(box(t)[1] for t in rows)
        assert max(arc.y1, arc.y2) > max(box(t)[3] for t in rows)


def test_four_alterations_stand_in_two_columns() -> None:
    rows = [t for t in letters("C7(b9,#9,#11,b13)") if t.text in ("9", "11", "13")]
    assert len({round(t.y, 3) for t in rows}) == 2


def test_the_bass_is_smaller_and_a_third_lower_behind_a_stroke() -> None:
    bass = one("Bb7/Eb", "E")
    assert bass.size == BASS == 0.8
    assert bass.y == pytest.approx(LOWERED) == pytest.approx(1 / 3)
    assert one("Bb7/Eb", "/").x < bass.x
    assert symbol(read("Bb7/Eb")).descent >= LOWERED


def test_a_push_is_written_before_and_a_stop_over_the_chord() -> None:
    plain, both = symbol(read("Eb9")), marked(read("Eb9"), True, True, PLAIN)
    assert next(m.text for m in both.marks if isinstance(m, Text)) == "<"
    wedge = [m for m in both.marks if isinstance(m, Line | Dot)]
    assert len(wedge) == 3
    assert all(box(m)[3] < -CAP - 0.05 for m in wedge)
    assert both.width > plain.width
    assert both.ascent > plain.ascent


@each("signs", [False, True])
def test_every_symbol_of_the_table_is_complete_and_nothing_in_it_overlaps(signs: bool) -> None:
    """Every figure of the quality is found in what is drawn, and the ink of no two pieces overlaps."""
    for typed in table():
        chord = read(typed)
        made = symbol(chord, Spelling(signs))
        page = [m for m in made.marks if isinstance(m, Text)]
        large = [Text(t.x * SIZE, t.y * SIZE, t.size * SIZE, t.face, t.text) for t in page]
        assert not overlaps(list(large)), (typed, overlaps(list(large)))
        drawn = "".join(t.text for t in page)
        figures = [c for c in chord.quality if c.isdigit()]
        hidden = "5" if "ø" in drawn else ""
        assert sorted(c for c in drawn if c.isdigit()) + list(hidden) == sorted(
            figures, key=lambda c: (c in hidden, c)
        ), typed
        assert max(box(t)[2] for t in page) <= made.width + NEAR / SIZE


def test_parts_name_the_pieces() -> None:
    pieces = parts(read("Ebm7b5/Gb"))
    assert (pieces.root, pieces.accidental, pieces.quality, pieces.extension) == (
        "E",
        "♭",
        "m",
        "7",
    )
    assert (pieces.alterations, pieces.bass, pieces.bass_accidental) == (("♭5",), "G", "♭")


def test_the_pieces_of_a_symbol_join_so_that_it_is_copied_as_one_word() -> None:
    """PDF readers see a blank where a gap is wider than some hundredths of the size (tried with poppler and pypdf)."""
    for typed in ("Cmaj7", "F#m7b5", "Bb13b9", "Eb7sus4", "Ddim7/Ab", "Aadd9", "CmMaj7"):
        runs = letters(typed)
        for before, after in itertools.pairwise(runs):
            assert after.x - box(before)[2] <= JOIN + 1e-9, (typed, after.text)
