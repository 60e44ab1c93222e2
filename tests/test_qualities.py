"""The table of qualities: names, families, what must sound, and the kinds of MusicXML."""

from __future__ import annotations

import pytest

from backing.ground.pitch import Degree
from backing.harmony.qualities import ORDER, ROWS, family, quality
from backing.harmony.symbol import read
from tests.chord_tables import rows
from tests.each import each

KINDS = [r for r in rows("musicxml-kinds.tsv") if r["semitones"]]
# How each kind of MusicXML 4.0 is typed here.
TYPED = {
    "major": "", "minor": "m", "augmented": "+", "diminished": "dim", "dominant": "7", "major-seventh": "maj7",
    "minor-seventh": "m7", "diminished-seventh": "dim7", "augmented-seventh": "7#5", "half-diminished": "m7b5",
    "major-minor": "mMaj7", "major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9", "major-ninth": "maj9",
    "minor-ninth": "m9", "dominant-11th": "11", "major-11th": "maj11", "minor-11th": "m11", "dominant-13th": "13",
    "major-13th": "maj13", "minor-13th": "m13", "suspended-second": "sus2", "suspended-fourth": "sus4", "power": "5",
}  # fmt: skip


@each("row", KINDS, ids=lambda r: r["kind"])
def test_musicxml_kinds(row: dict[str, str]) -> None:
    """Every kind of MusicXML 4.0 that names its notes is a quality with those degrees and that name."""
    found = quality(frozenset(row["degrees"].split()))
    assert found.name == TYPED[row["kind"]]
    assert " ".join(d.name for d in found.degrees) == row["degrees"]
    semitones = sorted({d.semitones % 12 for d in found.degrees})
    assert semitones == [int(n) for n in row["semitones"].split()]


def test_every_kind_with_notes_is_checked() -> None:
    """25 of the 33 kinds of MusicXML 4.0 name their notes."""
    assert {r["kind"] for r in KINDS} == set(TYPED)
    assert len(rows("musicxml-kinds.tsv")) == 33


# A dominant chord, from which MusicXML 4.0 counts added degrees: major and perfect intervals, minor seventh.
DOMINANT = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 9: 14, 11: 17, 13: 21}


def musicxml_pitch_classes(kind: str, changes: str) -> set[int]:
    """The notes of a harmony element by the text of the MusicXML 4.0 schema."""
    held = {
        Degree.parse(d).number: Degree.parse(d).semitones
        for row in KINDS
        if row["kind"] == kind
        for d in row["degrees"].split()
    }
    added = []
    for change in filter(None, changes.split("; ")):
        what, number, alter = change.split()
        if what == "add":
            added.append(DOMINANT[int(number)] + int(alter))
        elif what == "alter":
            held[int(number)] += int(alter)
        else:
            del held[int(number)]
    return {n % 12 for n in (*held.values(), *added)}


ENCODED = [r for r in rows("chord-symbols.tsv") if r["musicxml_kind"] not in ("", "none")]


@each("row", ENCODED, ids=lambda r: r["symbol"])
def test_symbols_have_the_notes_of_their_musicxml_encoding(row: dict[str, str]) -> None:
    """Kind and degree elements, summed as MusicXML 4.0 says, give the pitch classes that the symbol is read as."""
    chord = read(row["symbol"])
    assert chord is not None
    wanted = musicxml_pitch_classes(row["musicxml_kind"], row["musicxml_degrees"])
    assert {d.semitones % 12 for d in chord.degrees} == wanted


def test_names_and_sets_are_unique() -> None:
    """No two rows of the table share a name or a set of degrees."""
    assert len({name for name, _, _ in ROWS}) == len(ROWS)
    assert len({degrees for _, degrees, _ in ROWS}) == len(ROWS)


@each(("name", "degrees"), [(n, d) for n, d, _ in ROWS])
def test_every_row_reads_back(name: str, degrees: frozenset[str]) -> None:
    """A name of the table is read as its own degrees, in order of number, all with a root."""
    chord = read("C" + name)
    assert chord is not None
    assert {d.name for d in chord.degrees} == degrees
    assert chord.quality == name
    assert list(chord.degrees) == sorted(chord.degrees)
    assert "1" in degrees
    assert degrees <= set(ORDER)


@each(
    ("degrees", "expected"),
    [
        ("1 3 5", "major"), ("1 b3 5 b7", "minor"), ("1 3 5 b7 9", "dominant"), ("1 b3 b5 b7", "half-diminished"),
        ("1 b3 b5", "diminished"), ("1 b3 b5 bb7", "diminished"), ("1 b3 b5 7", "diminished"), ("1 3 #5", "augmented"),
        ("1 3 #5 7", "augmented"), ("1 3 #5 b7", "dominant"), ("1 4 5 b7", "suspended"), ("1 2 5", "suspended"),
        ("1 5", "power"), ("1 5 b7", "dominant"), ("1 5 7", "major"), ("1 5 9", "suspended"), ("1 3 b5", "major"),
        ("1 b3 #5", "minor"), ("1 b3 5 7", "minor"),
    ],
)  # fmt: skip
def test_families(degrees: str, expected: str) -> None:
    """The broad kind of a set of degrees (common practice)."""
    assert family(frozenset(degrees.split())) == expected


def test_altered_dominants_need_one_of_each_pair() -> None:
    """C7alt: 3 and b7, at least one of b5 #5, at least one of b9 #9 (Hutchinson, open textbook, 31.3)."""
    found = quality(frozenset(["1", "3", "b5", "#5", "b7", "b9", "#9"]))
    assert [d.name for d in found.must_sound] == ["3", "b7"]
    assert [[d.name for d in group] for group in found.any_of] == [["b5", "#5"], ["b9", "#9"]]


@each(
    ("degrees", "name"),
    [
        ("1 3 5 b7 b9 11 b13", "11(b9,b13)"), ("1 b3 11", "m(add11,no5)"), ("1 2 5 7 11", "maj7sus2(add11)"),
        ("1 3 5 b6", "(addb6)"), ("1 b3 b5 bb7 b9", "dim7(b9)"), ("1 5 b7 9 11", "11(no3)"),
    ],
)  # fmt: skip
def test_sets_outside_the_table_are_named_after_a_stack(degrees: str, name: str) -> None:
    """The name says what differs from the nearest stack, and reads back."""
    found = quality(frozenset(degrees.split()))
    assert found.name == name
    again = read("C" + name)
    assert again is not None
    assert {d.name for d in again.degrees} == set(degrees.split())


def test_a_set_that_no_chord_has_is_an_error() -> None:
    """Degrees that cannot stand together have no name."""
    with pytest.raises(KeyError):
        quality(frozenset({"1", "2", "3", "5"}))
