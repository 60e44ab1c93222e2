"""Chord symbols: every row of the tables of expected values, public bug reports, and random text."""

from __future__ import annotations

import json

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from backing.commands.cli import program
from backing.harmony.report import guide_tones, report, text
from backing.harmony.symbol import Chord, SymbolError, SymbolWarning, read, read_with_warnings
from tests.chord_tables import rows, symbols, typed
from tests.each import each

EXPECTED = rows("chord-symbols.tsv")
ODD = rows("odd-symbols.tsv")


def chord(symbol: str, german: bool = False) -> Chord:
    found = read(symbol, german)
    assert found is not None
    return found


def notes(symbol: str) -> str:
    return " ".join(n.name for n in chord(symbol).notes)


def degrees(symbol: str) -> str:
    return " ".join(d.name for d in chord(symbol).degrees)


def refused(symbol: str, german: bool = False) -> SymbolError:
    with pytest.raises(SymbolError) as caught:
        read(symbol, german)
    return caught.value


def outcome(symbol: str) -> Chord | SymbolError | None:
    try:
        return read(symbol)
    except SymbolError as wrong:
        return wrong


@each("row", EXPECTED, ids=lambda r: r["symbol"])
def test_every_expected_symbol(row: dict[str, str]) -> None:
    """Root, bass, degrees, semitones, spelled notes, what must sound and what is left out are those of the table."""
    found = report(row["symbol"])
    if row["group"] == "nc":
        assert (found["symbol"], found["root"], found["degrees"]) == ("N.C.", None, [])
        return
    assert "error" not in found, found
    assert found["root"] == row["root"]
    assert found["bass"] == (row["bass"] or None)
    assert found["degrees"] == row["degrees"].split()
    assert found["semitones"] == [int(n) for n in row["semitones"].split()]
    assert found["notes"] == row["spelled"].split()
    assert found["must_sound"] == row["must_sound"].split()
    assert found["omit"] == row["omit"].split()
    if row["bass_semitones"]:
        read_chord = chord(row["symbol"])
        distance = (read_chord.lowest.pc - read_chord.root.pc) % 12
        assert distance == int(row["bass_semitones"])


def test_the_table_is_whole() -> None:
    """The table of expected values and the odd table have all their rows."""
    assert len(EXPECTED) == 456
    assert len(ODD) == 84


def test_one_group_of_the_table_is_one_quality() -> None:
    """Symbols of one group are one quality, and different groups are different qualities."""
    by_group: dict[str, set[str]] = {}
    for row in EXPECTED:
        if row["group"] != "nc":
            by_group.setdefault(row["group"], set()).add(chord(row["symbol"]).quality)
    assert all(len(names) == 1 for names in by_group.values())
    assert len({min(names) for names in by_group.values()}) == len(by_group)


@each("row", ODD, ids=lambda r: r["input"])
def test_every_odd_symbol(row: dict[str, str]) -> None:
    """Refused with the code of the table and a hint, or read as the table says, with a warning where it says so."""
    symbol = typed(row["input"])
    if row["verdict"] == "reject":
        wrong = refused(symbol)
        assert wrong.code == row["reason"]
        assert wrong.message
        assert wrong.hint
        return
    found, warnings = read_with_warnings(symbol)
    assert found is not None
    assert bool(warnings) == (row["verdict"] == "accept+warn")
    if warnings:
        assert warnings[0].code == row["reason"]
    wanted = row["read_as"].split(" (")[0].replace(" over ", "/")
    if wanted.startswith("1 "):
        assert degrees(symbol) == wanted
    else:
        assert found == chord(wanted)


@each(
    ("symbol", "hint"),
    [
        ("H7", "type B7,"), ("Hm/D", "type Bm/D,"), ("am", "type Am"), ("bb7", "type Bb7"),
        ("b7", "type B7 or Bb7"), ("C maj7", "type Cmaj7"), ("Cm maj7", "type Cm(maj7)"),
        ("C(b9)", "type C7(b9) or C(addb9)"), ("Dadd", "type Dadd9"), ("Cadd7", "type C7 or Cmaj7"),
        ("C9b9", "type C7b9"), ("C9#9", "type C7#9"), ("C11#11", "type C9#11"), ("C7#7", "type Cmaj7"),
        ("CMm7", "type Cm7 or CmMaj7 or C7"), ("C7m", "type Cm7"), ("C7-", "type Cm7"),
        ("C^", "type Cmaj7"), ("C07", "type Cdim7"), ("C0", "type Cdim"), ("G7atl", "type G7alt"),
        ("C7/b9", "type C7(b9)"), ("C/Em", "type C/E"), ("C\\E", "type C/E"), ("Sol", "type G"),
        ("Fis7", "type F#7,"), ("\u0421m7", "type a plain C"), ("Cm(maj7", "type Cm(maj7)"),
        ("Bbb7b5b", "type Bbb7b5"), ("C7/4", "type C7sus4"), ("C/9", "type Cadd9"), ("C/maj7", "type C(maj7)"),
        ("C7(b9/b13)", "type C7(b9,b13)"), ("C/e", "type C/E"), ("C7((b9))", "type C7(b9)"),
        ("C7(b9,)", "type C7(b9)"), ("C7b9,#11", "type C7b9(#11)"), ("C7b3", "type Cm"),
        ("G7/Ab7", "type G7/Ab,"), ("C7b5b7", "type C7"), ("Cadd3", "leave one"), ("C69b9", "type C6(b9)"),
        ("La7", "type A7"), ("C[b9]", "type C"), ("C7+11/H", "type C7+11/B,"), ("Cdim13", "type Cdim7 or Cdim11"),
        ("Cdim(b13)", "type Cdim7(b13) or Cdim(addb13)"), ("C+11", "type C7#11 or C11#5"),
    ],
)  # fmt: skip
def test_hints_say_what_to_type(symbol: str, hint: str) -> None:
    """The hint offers the spelling that was probably meant."""
    assert refused(symbol).hint.startswith(hint)


@each("row", [r for r in ODD if r["verdict"] == "reject"], ids=lambda r: r["input"])
def test_every_offer_can_be_read(row: dict[str, str]) -> None:
    """What a hint offers is accepted."""
    for offer in refused(typed(row["input"])).offers:
        read(offer)


@each(
    ("symbol", "column"),
    [
        ("C maj7", 1), ("  C maj7", 3), ("Cm(maj7", 2), ("C7(b9)x", 6), ("C🎸", 1), ("C𝄫♯", 2), ("Cmaj7)", 5),
        ("C7♭9♭9", 4), ("C/E/G", 3), ("D/C7", 2), ("H7", 0),
    ],
)  # fmt: skip
def test_errors_point_at_the_column(symbol: str, column: int) -> None:
    """Columns count characters of the symbol as typed, from 0, blanks and music signs included."""
    assert refused(symbol).column == column


# Public bug reports of chord libraries; the right values are those that the reports and the standards give.
REPORTS = [
    ("music21 1570", "Csusaddb7", "C F G Bb"),
    ("music21 720", "Dadd6", "D F# A B"),
    ("tonal 20", "Eb7add6", "Eb G Bb Db C"),
    ("tonal 155", "C69#11", "C E G A D F#"),
    ("tonal 155", "C-7", "C Eb G Bb"),
    ("tonal 155", "C2", "C E G D"),
    ("tonal 378", "G6add9", "G B D E A"),
    ("tonal 426", "Emaj9/F#", "E G# B D# F#"),
    ("tonal 426", "Gmaj9/F#", "G B D F# A"),
    ("tonal 52", "Caug", "C E G#"),
    ("chord-symbol 609", "A7+5", "A C# E# G"),
    ("chord-symbol 609", "A7(+5)", "A C# E# G"),
    ("chord-symbol 609", "A7-5", "A C# Eb G"),
    ("chord-symbol 621", "Cadd4", "C E G F"),
    ("teoria 71", "CM7", "C E G B"),
    ("teoria 29", "C##13#11", "C## E## G## B# D## F### A##"),
    ("teoria 123", "Cadd2", "C E G D"),
    ("teoria 129", "C7#11", "C E G Bb F#"),
    ("mingus 88", "C7sus4", "C F G Bb"),
    ("mingus 88", "C9b5", "C E Gb Bb D"),
    ("Chordkit 38", "C7add9", "C E G Bb D"),
    ("music21 1497", "Cø11", "C Eb Gb Bb D F"),
    ("music21 1497", "Cdim11", "C Eb Gb Bbb D F"),
    ("tonal 100", "Co7", "C Eb Gb Bbb"),
    ("tonal 100", "CM6", "C E G A"),
    ("tonal 100", "Cm6", "C Eb G A"),
    ("python-sonic 20", "Cm7", "C Eb G Bb"),
    ("mingus 116", "Cmaj11", "C E G B D F"),
    ("mingus 116", "Cmaj13", "C E G B D F A"),
    ("MusicTheory 37", "C7add11", "C E G Bb F"),
    ("MusicTheory 37", "C7add13", "C E G Bb A"),
    ("mir_eval 251", "A(add9)", "A C# E B"),
    ("mir_eval 430", "A/B", "A C# E"),
    ("pychord 107", "Gm7", "G Bb D F"),
    ("pychord 107", "Gdim", "G Bb Db"),
    ("pychord 95", "Dm7b5", "D F Ab C"),
    ("pychord 95", "Ebm7b5", "Eb Gb Bbb Db"),
    ("mingus 16", "Ebmaj7", "Eb G Bb D"),
    ("osmd 1556", "F#", "F# A# C#"),
    ("osmd 590", "F#m7b5", "F# A C E"),
    ("osmd 590", "F#ø", "F# A C E"),
    ("osmd 780", "Cm(maj7)", "C Eb G B"),
    ("osmd 933", "C7(#11,b13)", "C E G Bb F# Ab"),
    ("music21 359", "EmMaj7b5", "E G Bb D#"),
    ("music21 15", "Fsus4add9", "F Bb C G"),
    ("chord-symbol 4.0.0", "C7-9", "C E G Bb Db"),
    ("chord-symbol 4.0.0", "C7+9", "C E G Bb D#"),
    ("chord-symbol 4.0.0", "C9+11", "C E G Bb D F#"),
    ("chord-symbol 4.0.0", "C7-13", "C E G Bb Ab"),
    ("chord-symbol 4.0.0", "C13-9", "C E G Bb Db F A"),
    ("chord-symbol 4.0.0", "C6(9)", "C E G A D"),
    ("chord-symbol 4.0.0", "C7(13)", "C E G Bb A"),
    ("chord-symbol 4.0.0", "Cm7(11)", "C Eb G Bb F"),
    ("chord-symbol 4.0.0", "C°9", "C Eb Gb Bbb D"),
    ("music21 10.5.1", "C69", "C E G A D"),
    ("music21 10.5.1", "C+5", "C E G#"),
    ("music21 10.5.1", "C4", "C F G"),
    ("music21 10.5.1", "C13#11", "C E G Bb D F# A"),
    ("music21 10.5.1", "C11b9", "C E G Bb Db F"),
    ("pychord 1.4.1", "C6/9", "C E G A D"),
    ("tonal 6.2.0", "C7b5b9", "C E Gb Bb Db"),
    ("tonal 6.2.0", "C7b5#9", "C E Gb Bb D#"),
]  # fmt: skip


@each(("source", "symbol", "expected"), REPORTS)
def test_faults_of_public_bug_reports(source: str, symbol: str, expected: str) -> None:
    """The right notes of symbols that libraries got wrong (number of the report)."""
    assert notes(symbol) == expected, source


@each(
    ("source", "symbol"),
    [
        ("music21 1570", "Csusadd7"), ("music21 720", "bb3"), ("music21 720", "FFr+6"), ("teoria 132", "Ab#5b9"),
        ("Chordkit 38", "C9(omit9)"), ("Chordkit 38", "C13(omit13)"), ("mir_eval 396", "C:#11"),
        ("mir_eval 274", "C#7(b9,b11)"), ("mingus 72", "vii7"), ("music21 10.5.1", "D/C7"), ("music21 10.5.1", "C,"),
        ("music21 10.5.1", "C8"), ("music21 10.5.1", "C10"), ("music21 10.5.1", "Cadd8"), ("music21 10.5.1", "C7#9#9"),
        ("tonal 6.2.0", "c"), ("tonal 6.2.0", "am"), ("osmd 1596", "/E"),
    ],
)  # fmt: skip
def test_what_bug_reports_ask_to_refuse(source: str, symbol: str) -> None:
    """Nothing of a symbol is dropped in silence: what cannot be obeyed is refused."""
    assert refused(symbol).hint, source


def test_the_root_of_a_sixth_chord_is_the_written_one() -> None:
    """C6 is not heard as A minor seven over C (music21 604)."""
    assert chord("C6").root.name == "C"
    assert chord("Am7/C").root.name == "A"


def test_the_bass_stands_apart_from_the_chord() -> None:
    """A/B has the notes of A, with B below (mir_eval 430); Am/C keeps its bass (music21 1756)."""
    assert chord("A/B").lowest.name == "B"
    assert chord("A/B") != chord("A(add9)/B")
    assert chord("Am/C").symbol == "Am/C"
    assert chord("C#m/C").lowest.name == "C"


def test_no_chord_is_no_chord_however_typed() -> None:
    """N.C. equals NC (mir_eval 98)."""
    assert {read(s) for s in ("N.C.", "NC", "N.C", "n.c.", "nc", " N.C. ")} == {None}


@each("symbol", symbols())
def test_one_spelling_round_trips(symbol: str) -> None:
    """A chord's own symbol is read as the same chord, with the same symbol."""
    once = chord(symbol)
    assert chord(once.symbol) == once
    assert chord(once.symbol).symbol == once.symbol


def test_case_matters_only_for_single_letters() -> None:
    """CMI7 and CMIN7 are minor, CMA7 and CMAJ7 major, CM7 and Cm7 differ."""
    assert chord("CMI7") == chord("CMIN7") == chord("Cmi7") == chord("Cm7")
    assert chord("CMA7") == chord("CMAJ7") == chord("CM7") == chord("Cmaj7")
    assert chord("CADD9") == chord("Cadd9")
    assert chord("CDIM7") == chord("Cdim7")
    assert chord("CAUG") == chord("C+")


@each(
    ("symbol", "same"),
    [
        ("Cmaj⁷", "Cmaj7"), ("C⁶", "C6"), ("C–7", "Cm7"), ("C—7", "Cm7"), ("C‑7", "Cm7"), ("CΔ", "Cmaj7"),
        ("C△7", "Cmaj7"), ("C∆9", "Cmaj9"), ("C°7", "Cdim7"), ("Cº7", "Cdim7"), ("C˚7", "Cdim7"), ("CØ7", "Cm7b5"),
        ("Cø", "Cm7b5"), ("B𝄫", "Bbb"), ("F𝄪", "F##"), ("C7⁽♭⁹⁾", "C7b9"), ("C7⁺", "C7#5"),
        ("B♭\ufe0e7", "Bb7"),
    ],
)  # fmt: skip
def test_what_word_processors_put(symbol: str, same: str) -> None:
    """Music signs, superscripts and dashes mean what they look like."""
    assert chord(symbol) == chord(same)


@each(
    ("symbol", "expected"),
    [
        ("Csusb9", "1 4 5 b7 b9"), ("Csus13", "1 4 5 b7 9 13"), ("C7b913", "1 3 5 b7 b9 13"), ("C13no11", "1 3 5 b7 9 13"),
        ("C11no3", "1 5 b7 9 11"), ("C5add9", "1 5 9"), ("Cm7(maj7)", "1 b3 5 7"), ("Cm6(maj7)", "1 b3 5 7 13"),
        ("C7b6", "1 3 5 b7 b13"), ("Csus2add4", "1 2 4 5"), ("C+9", "1 3 #5 b7 9"), ("Cm+7", "1 b3 5 7"),
        ("C9M", "1 3 5 7 9"), ("C7aug", "1 3 #5 b7"), ("Cmaj7sus2", "1 2 5 7"), ("Cadd9#11", "1 3 5 9 #11"),
        ("Calt", "1 3 b5 #5 b7 b9 #9"), ("C7b5#5b9#9", "1 3 b5 #5 b7 b9 #9"), ("C6sus4", "1 4 5 6"),
        ("C(maj7)", "1 3 5 7"), ("Cm(add11,no5)", "1 b3 11"), ("Cdim7b9", "1 b3 b5 bb7 b9"),
    ],
)  # fmt: skip
def test_conventions_beyond_the_table(symbol: str, expected: str) -> None:
    """Combinations that follow from the rules (common practice; `b913` splits as b9 and 13)."""
    assert degrees(symbol) == expected


@each(
    ("symbol", "code"),
    [
        ("C2", "ambiguous-number"), ("Cm2", "ambiguous-number"), ("C+9", "ambiguous-plus"), ("C11sus4", "redundant"),
        ("Cm(#7)", "old-spelling"), ("Cb5", "ambiguous-flat"), ("C#9", "ambiguous-sharp"), ("C(13)", "ambiguous-extension"),
        ("Cm(9)", "ambiguous-extension"), ("G#13", "ambiguous-sharp"),
    ],
)  # fmt: skip
def test_readings_that_come_with_a_warning(symbol: str, code: str) -> None:
    """What is read in one of two ways says so."""
    found, warnings = read_with_warnings(symbol)
    assert found is not None
    assert [w.code for w in warnings] == [code]
    assert all(isinstance(w, SymbolWarning) and w.message for w in warnings)


@each(
    ("symbol", "start"),
    [
        ("C(9)", "read as Cadd9"), ("Csus(9)", "read as Csus4add9"), ("C4/E", "read as Csus4/E; with the third type Cadd11/E"),
        ("Cm7sus4b9", "sus takes the place of the third, so minor says nothing; read as C7sus4b9"),
        ("C2", "read as Cadd9; without the third type Csus2"), ("C+9", "read as C9#5; for a raised ninth type C7#9"),
        ("C-5", "read as C(b5); for a minor chord type Cm"), ("Cm2", "read as Cmadd9"), ("C11sus", "the 11 is the sus4 again; read as C9sus4"),
    ],
)  # fmt: skip
def test_warnings_name_what_was_read(symbol: str, start: str) -> None:
    """A warning shows the symbol as it was read, with its bass, and what to type for the other reading."""
    assert read_with_warnings(symbol)[1][0].message.startswith(start)


@each("symbol", ["Bb9", "F#9", "Bb5", "F#13", "Eb11", "Ab5", "Db9", "Gb13"])
def test_usual_roots_with_accidentals_never_warn(symbol: str) -> None:
    """The accidental belongs to the root, and with these roots nobody doubts it."""
    assert read_with_warnings(symbol)[1] == ()


CONTRADICTIONS = [
    ("C13b13", "contradiction"), ("C7(9,b9)", "contradiction"), ("Cmaj7b7", "contradiction"), ("C7maj7", "word-order"),
    ("C7(maj7)", "contradiction"), ("Cmaj7(maj7)", "duplicate"), ("Cdim7(maj7)", "contradiction"), ("C5b5", "contradiction"),
    ("Cø6", "contradiction"), ("Cdim6", "contradiction"), ("Cdom6", "contradiction"), ("Cdom", "unknown-word"),
    ("Cmalt", "contradiction"), ("C9alt", "contradiction"), ("C7alt(b9)", "contradiction"), ("C9sus2", "contradiction"),
    ("Cdimsus4", "contradiction"), ("C5sus4", "contradiction"), ("Csus4no3", "contradiction"), ("C5(maj7)", "contradiction"),
    ("C6b6", "contradiction"), ("C6addb7", "contradiction"), ("C7addb7", "contradiction"), ("Cno3no5", "contradiction"),
    ("Cadd9no9", "contradiction"), ("C6add13", "duplicate"), ("C9add9", "duplicate"), ("Csus4sus", "duplicate"), ("C+7+", "duplicate"),
    ("C+#5", "duplicate"), ("C+b5", "contradiction"), ("Cdim#5", "contradiction"), ("Cm5", "contradiction"),
    ("CmM", "contradiction"), ("Csus4add4", "duplicate"), ("C7(13,b13)", "contradiction"), ("C6(maj13,b6)", "contradiction"),
    ("Cmaj4", "ambiguous-number"), ("Cm4", "ambiguous-number"), ("Cno", "omit-without-degree"), ("Cno1", "unknown-number"),
    ("C7#13", "unknown-number"), ("Caddb5", "unknown-number"), ("C79", "unknown-number"), ("C9999", "unknown-number"),
    ("C7b", "dangling-accidental"), ("C7b5-", "dangling-minus"), ("C7?", "junk-at-end"), ("C(b7)", "ambiguous-extension"),
    ("C###", "too-many-accidentals"), ("C/Gbbb", "too-many-accidentals"), ("C/G#b", "mixed-accidentals"),
    ("C(b5)x", "unknown-word"), ("Csus4(maj11)", "contradiction"), ("C7\u200bb9", "bad-character"),
    ("C\tE", "space-inside"), ("C \u00a0 Q", "space-inside"), ("\u00c4m", "bad-character"), ("|", "chart-token"), ("7", "not-a-note-name"),
    ("C7no9", "contradiction"), ("C7sus4add3add3", "duplicate"), ("C\u2669", "bad-character"),
]  # fmt: skip


@each(("symbol", "code"), CONTRADICTIONS)
def test_contradictions_and_slips_are_refused(symbol: str, code: str) -> None:
    """Contradictions are errors, never the last one wins; slips have a code and a hint."""
    wrong = refused(symbol)
    assert wrong.code == code
    assert wrong.hint


@each(
    ("german", "english"),
    [
        ("H", "B"), ("Hm7", "Bm7"), ("B", "Bb"), ("Bb", "Bb"), ("Bm7b5", "Bbm7b5"), ("Hb", "Bb"), ("H7/Dis", "B7/D#"),
        ("Fis7", "F#7"), ("Cis", "C#"), ("Es", "Eb"), ("Esmaj7", "Ebmaj7"), ("As7", "Ab7"), ("Asus4", "Asus4"),
        ("Esus4", "Esus4"), ("Assus4", "Absus4"), ("Des9", "Db9"), ("Ges", "Gb"), ("Ces7", "Cb7"), ("Fes", "Fb"),
        ("Dis", "D#"), ("Gis°7", "G#dim7"), ("Ais", "A#"), ("His", "B#"), ("Eis", "E#"), ("Ases", "Abb"), ("Eses", "Ebb"),
        ("Heses", "Bbb"), ("Cisis7", "C##7"), ("F#m", "F#m"), ("Am/H", "Am/B"), ("C/B", "C/Bb"), ("Adim", "Adim"),
    ],
)  # fmt: skip
def test_german_note_names_when_asked(german: str, english: str) -> None:
    """H is B natural, B is B flat; Fis, Es, As and the rest (common practice of German charts)."""
    assert chord(german, german=True) == chord(english)


@each(
    ("symbol", "code"),
    [("B#", "german-note-name"), ("am", "lower-case-root"), ("X", "not-a-note-name")],
)
def test_german_names_that_do_not_exist(symbol: str, code: str) -> None:
    """Wrong names are refused in German charts too."""
    assert refused(symbol, german=True).code == code


def test_hints_in_german_charts_can_be_typed_there() -> None:
    """A hint keeps the note name as typed."""
    assert refused("H7m", german=True).hint == "type Hm7"
    assert refused("Hm/x", german=True).hint == "type Hm"


SYMBOLISH = st.text("ABCDEFGHbmajMindsugtolø°Δ^+-#()/,.0123456789 ♭♯", max_size=16)


@given(st.one_of(st.text(max_size=80), SYMBOLISH, SYMBOLISH.map(lambda s: "C" + s)))
@example("C" + "(" * 63)
@example("\x00")
@example("\ufe0f")
@example("\ud800")
@example("C/" * 30)
@settings(max_examples=600, deadline=None)
def test_any_text_is_read_or_refused(symbol: str) -> None:
    """Any Unicode text gives a chord, silence, or a SymbolError with a code, a sentence, a hint and a place."""
    found = outcome(symbol)
    if isinstance(found, SymbolError):
        assert found.code
        assert found.message
        assert found.hint
        assert 0 <= found.column <= len(symbol)
        for offer in found.offers:
            read(offer)
    elif found is not None:
        assert chord(found.symbol) == found
        assert set(found.must_sound) <= set(found.degrees)
        assert not set(found.must_sound) & set(found.omit)
        assert set(found.omit) <= set(found.degrees)


@given(st.sampled_from(symbols()), st.integers(0, 20), st.characters())
@settings(max_examples=400, deadline=None)
def test_a_slip_in_a_good_symbol(symbol: str, place: int, char: str) -> None:
    """A foreign character anywhere in a good symbol never raises anything but a SymbolError."""
    found = outcome(symbol[:place] + char + symbol[place:])
    if isinstance(found, SymbolError):
        assert found.hint


def test_the_report_is_the_object_that_programs_read() -> None:
    """Keys and values of the JSON object of one symbol."""
    assert report(" C6/9/E ") == {
        "input": " C6/9/E ",
        "symbol": "C6/9/E",
        "root": "C",
        "bass": "E",
        "degrees": ["1", "3", "5", "6", "9"],
        "semitones": [0, 2, 4, 7, 9],
        "notes": ["C", "E", "G", "A", "D"],
        "must_sound": ["1", "3", "6", "9"],
        "omit": [],
        "warnings": [],
    }
    assert report("H7")["error"] == {
        "code": "not-a-note-name",
        "message": "H is the German name for B natural",
        "hint": "type B7, or set note-names: german, where B means B flat",
    }


def test_the_report_reads_as_a_table() -> None:
    """Many symbols at once: a row each, then warnings and refusals."""
    shown = text([report(s) for s in ("C13", "Dm7/G", "C2", "N.C.", "H7")]).splitlines()
    assert shown[0].split() == ["symbol", "notes", "degrees", "guide", "tones", "left", "out"]
    assert shown[1].split()[0] == "C13"
    assert shown[1].endswith("11")
    assert "F (b3) C (b7)" in shown[2]
    assert "silence" in shown[4]
    assert any(line.startswith("C2: note: ") for line in shown)
    assert any(line.startswith("H7: not-a-note-name: ") for line in shown)
    assert shown[-1].startswith("  hint: type B7")


def test_the_command_answers_every_row_of_both_tables() -> None:
    """`backing chord --json` on all symbols at once: an object each, in order; exit 1 because some are refused."""
    expected = [row["symbol"] for row in EXPECTED]
    odd = [typed(row["input"]) for row in ODD]
    good = CliRunner().invoke(program(), ["chord", "--json", *expected])
    assert good.exit_code == 0
    told = json.loads(good.stdout)
    grips = [row.pop("grips") for row in told]
    assert any(grips)
    assert told == [report(s) for s in expected]
    mixed = CliRunner().invoke(program(), ["chord", "--json", *odd])
    assert mixed.exit_code == 1
    found = json.loads(mixed.stdout)
    assert [r["input"] for r in found] == odd
    for row, answer in zip(ODD, found, strict=True):
        assert ("error" in answer) == (row["verdict"] == "reject")
        code = answer["error"]["code"] if "error" in answer else ""
        assert code == (row["reason"] if row["verdict"] == "reject" else "")


def test_the_report_reads_german_names() -> None:
    """A report made with German names is shown with the notes of its chord."""
    assert text([report("Hm7", german=True)]).splitlines()[1].split()[:5] == [
        "Bm7",
        "B",
        "D",
        "F#",
        "A",
    ]


def test_messages_are_printable() -> None:
    """Characters that cannot be printed are shown by their code."""
    assert "\\x07" in refused("C7\x07").message
    assert "\\x00" in refused("\x00").message


def test_the_report_takes_diagrams() -> None:
    """With diagrams every symbol is a block with its diagram below."""
    shown = text([report("C"), report("H7")], {"C": "x32010"})
    assert "\n  x32010\n" in shown + "\n"
    assert shown.startswith("C\n  notes        C E G\n")
    assert "H7: not-a-note-name" in shown


@each(
    ("symbol", "expected"),
    [("Cmaj9", "3 7"), ("Cm6", "b3 6"), ("C7sus4", "4 b7"), ("C", "3"), ("C5", ""), ("C11", "b7 11"), ("Cdim7", "b3 bb7")],
)  # fmt: skip
def test_guide_tones(symbol: str, expected: str) -> None:
    """Third and seventh, or what stands in their place (common practice)."""
    assert {d.name for d in guide_tones(chord(symbol))} == set(expected.split())


@each("symbol", ("Cm/maj7", "Cm/M7", "Cmin/Maj7", "C-/maj7", "Cm/Δ7", "Cmi/ma7"))
def test_a_minor_chord_with_a_slash_before_its_major_seventh(symbol: str) -> None:
    """A common spelling of the minor chord with a major seventh (common practice); the slash is no bass."""
    chord = read(symbol)
    assert chord is not None
    assert chord.symbol == "CmMaj7"
    assert [str(d) for d in chord.degrees] == ["1", "b3", "5", "7"]
    assert chord.bass is None


def test_that_spelling_may_have_a_bass_too() -> None:
    chord = read("Bbm/maj7/F")
    assert chord is not None
    assert chord.symbol == "BbmMaj7/F"


@each(
    "symbol, told",
    (("Do", True), ("Do7", True), ("Do/A", True), ("D°", False), ("Ddim7", False), ("Co", False)),
)
def test_the_syllable_do_is_no_diminished_chord_in_silence(symbol: str, told: bool) -> None:
    chord, warnings = read_with_warnings(symbol)
    assert chord is not None
    assert chord.family in ("diminished",)
    assert [w.code for w in warnings] == ["looks-like-solfege"] * told
