"""Notes named do, re, mi: in charts, moved to other keys, and on the sheet.

*Source*: note names as French, Italian and Spanish primers list them.
"""

from __future__ import annotations

from backing.chart.latin import in_names, key_in_letters, note_in_letters, symbol_in_letters
from backing.chart.parse import parse, parse_all
from backing.chart.transpose import transpose_chart
from backing.chart.write import write
from backing.ground.pitch import Interval
from backing.harmony.symbol import read
from backing.output import abc, musicxml
from backing.output.sheet.write import layout
from backing.timeline.unroll import unroll
from tests.chord_tables import symbols
from tests.each import each
from tests.foreign import again
from tests.foreign import read as read_file

LATIN = """\
title:      Own
note-names: latin
key:        Sib mayor

| Sib | Solm7 | dom7 Fa7/Mib | RÉm7b5 Sol7 |
  melody: | Sib4 / re5 / | sol4 | (do5 mib5) fa5 r / | lab4 / si4 / |
| N.C. | % | <LabΔ7 | Solb7! |
"""
ENGLISH = """\
title: Own
key:   Bb major

| Bb | Gm7 | Cm7 F7/Eb | Dm7b5 G7 |
  melody: | Bb4 / D5 / | G4 | (C5 Eb5) F5 r / | Ab4 / B4 / |
| N.C. | % | <AbΔ7 | Gb7! |
"""


def test_a_chart_sounds_as_its_twin_in_letters() -> None:
    one, other = unroll(parse(LATIN)), unroll(parse(ENGLISH))
    assert (one.key, one.melody, one.title) == (other.key, other.melody, other.title)
    assert [(c.start_q, c.end_q, c.chord, c.push_q, c.strike) for c in one.chords] == [
        (c.start_q, c.end_q, c.chord, c.push_q, c.strike) for c in other.chords
    ]


@each("symbol", symbols())
def test_every_symbol_has_a_name_that_reads_as_it(symbol: str) -> None:
    chord = read(symbol)
    if chord is not None:
        letters = symbol_in_letters(in_names(chord.symbol))
        assert letters is not None
        assert read(letters) == chord


@each("value, key", (
    ("la mineur", "A minor"), ("Si bémol majeur", "Bb major"), ("fa# minore", "F# minor"), ("do", "C"), ("Mim", "Em"), ("re dorian", "D dorian"),
    ("sol sostenido menor", "G# minor"), ("Sib", "Bb"), ("Dm", "Dm"),
))  # fmt: skip
def test_keys(value: str, key: str) -> None:
    assert key_in_letters(value) == key


@each(
    "word, note",
    (("sol#4", "G#4"), ("Sib3", "Bb3"), ("ti5", "B5"), ("ut4", "C4"), ("D4", None), ("solo", None)),
)
def test_notes(word: str, note: str | None) -> None:
    assert note_in_letters(word) == note


def test_a_letter_is_no_note_in_such_a_chart() -> None:
    found = parse_all("note-names: latin\n| Do | Dm7 |\n", "a.txt")[1]
    assert [d.headline() for d in found] == [
        "a.txt:2:8: E505 Dm7 begins with no note; notes are do re mi fa sol la si"
    ]
    assert found[0].hint == "type a chord such as  Do  or  Sim7"


def test_a_chart_is_moved_in_its_own_names() -> None:
    moved = transpose_chart(parse(LATIN), Interval(1, 2))
    text = write(moved)
    assert "key:        Do major" in text
    assert "| Do" in text
    assert "Rem7 Sol7/Fa" in text
    assert "Do5" in text
    assert unroll(again(moved)).chords == unroll(moved).chords
    back = transpose_chart(moved, Interval(-1, -2))
    assert [s.chord for x in back.sections for b in x.bars for s in b.slots] == [
        s.chord for x in parse(LATIN).sections for b in x.bars for s in b.slots
    ]


def test_the_sheet_prints_the_names() -> None:
    texts = [getattr(m, "text", "") for page in layout(parse(LATIN)) for m in page]
    assert {"Si", "Sol", "Do", "Fa"} <= set(texts)


def test_other_programs_get_letters() -> None:
    chart = parse(LATIN)
    for text, name in ((musicxml.text(chart), "a.musicxml"), (abc.text(chart), "a.abc")):
        back = read_file(text, name)
        assert [s.chord for b in back.sections[0].bars for s in b.slots] == [
            s.chord for b in chart.sections[0].bars for s in b.slots
        ]
