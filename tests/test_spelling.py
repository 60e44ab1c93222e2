"""Moving chords and keys: letter steps, sane spellings, and back again."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from backing.ground.pitch import Interval, Key, NoteName
from backing.harmony.spelling import (
    interval_for_semitones,
    interval_to_key,
    note_in_key,
    transpose,
)
from backing.harmony.symbol import Chord, read
from tests.chord_tables import symbols
from tests.each import each

KEYS = [
    Key.parse(k) for k in ("C", "G", "D", "A", "E", "B", "F#", "Gb", "Db", "Ab", "Eb", "Bb", "F")
]


def chord(symbol: str) -> Chord:
    found = read(symbol)
    assert found is not None
    return found


def moved(symbol: str, old: str, new: str) -> str:
    interval = interval_to_key(Key.parse(old), Key.parse(new))
    return transpose(chord(symbol), interval, Key.parse(new)).symbol


@each(
    ("symbol", "old", "new", "expected"),
    [
        ("Amaj7/C#", "A", "C", "Cmaj7/E"),  # bug report teoria 92
        ("C#/E#", "C", "Db", "D/F#"),
        ("C/D", "C", "Eb", "Eb/F"),
        ("F#m7b5/C", "G", "Ab", "Gm7b5/Db"),
        ("C/Db", "C", "D", "D/Eb"),
        ("C/Db", "C", "Ab", "Ab/A"),  # outside bass: spelled for the key, no Bbb
        ("G7alt", "C", "F#", "C#7alt"),
        ("C#7alt", "C", "F#", "G7alt"),  # F##7alt would hold triple sharps
        ("B#dim7", "C#", "C", "Bdim7"),
        ("G#dim7", "C", "B", "Gdim7"),  # F##dim7 has a double sharp in the root
        ("E7", "A", "Ab", "Eb7"),
        ("Cbmaj7", "Gb", "F", "Bbmaj7"),
        ("C#dim7", "C", "B", "Cdim7"),  # B# is no note of B major
        ("C#dim7", "D", "F#", "E#dim7"),  # E# is one of F# major
        ("Gm7", "F", "E", "F#m7"),
        ("F#7", "B", "C", "G7"),
    ],
)
def test_chords_move_by_letters(symbol: str, old: str, new: str, expected: str) -> None:
    """Root and bass move by the same letters; what is hard to read is respelled whole (common practice)."""
    assert moved(symbol, old, new) == expected


def test_no_chord_is_untouched() -> None:
    """N.C. does not move (bug report verovio-humdrum-viewer 184)."""
    assert transpose(None, Interval(1, 2), Key.parse("D")) is None


def test_a_transposed_key_keeps_its_letters() -> None:
    """F# major has E#, never F natural (bug report osmd 1556)."""
    up = transpose(chord("C"), Interval(3, 6), Key.parse("F#"))
    assert [n.name for n in transpose(chord("F"), Interval(4, 8), Key.parse("C#")).notes] == ["C#", "E#", "G#"]  # fmt: skip
    assert [n.name for n in up.notes] == ["F#", "A#", "C#"]


@each("symbol", symbols())
def test_to_twelve_keys_and_back(symbol: str) -> None:
    """In every key the pitches are right and no note has three accidentals; back home the symbol is as typed."""
    here = chord(symbol)
    for key in (Key.parse("C"), Key.parse("Ebm")):
        for semitones in range(-5, 7):
            interval = interval_for_semitones(key, semitones)
            there = key.up(interval)
            gone = transpose(here, interval, there)
            assert (gone.root.pc - here.root.pc - semitones) % 12 == 0
            assert (gone.lowest.pc - here.lowest.pc - semitones) % 12 == 0
            assert gone.quality == here.quality
            if semitones:
                assert max(abs(n.alter) for n in (*gone.notes, gone.lowest)) <= 2
            back = transpose(gone, interval_to_key(there, key), key)
            assert back.symbol == here.symbol


@given(st.sampled_from(symbols()), st.lists(st.sampled_from(KEYS), min_size=1, max_size=6))
@settings(max_examples=200, deadline=None)
def test_any_walk_through_the_keys_comes_home(symbol: str, walk: list[Key]) -> None:
    """However many keys are visited, coming home restores the symbol."""
    home = Key.parse("C")
    here, key = chord(symbol), home
    for target in [*walk, home]:
        here = transpose(here, interval_to_key(key, target), target)
        key = target
    assert here.symbol == chord(symbol).symbol


def test_twelve_fourths_come_home() -> None:
    """A ladder through all keys in fourths ends where it began, spelled as it began."""
    key = Key.parse("Bb")
    here = chord("Ebmaj7/G")
    names = []
    for _ in range(12):
        interval = interval_for_semitones(key, 5)
        key = key.up(interval)
        here = transpose(here, interval, key)
        names.append(key.tonic.name)
    assert names == ["Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G", "C", "F", "Bb"]
    assert here.symbol == "Ebmaj7/G"


@each(
    ("key", "semitones", "expected"),
    [
        ("C", 1, "Db major"), ("C", 6, "F# major"), ("C", -6, "F# major"), ("F", 1, "Gb major"), ("G", -1, "F# major"),
        ("C", 3, "Eb major"), ("C", 8, "Ab major"), ("C", 11, "B major"), ("Am", 6, "Eb minor"), ("Em", -1, "D# minor"),
        ("Am", 1, "Bb minor"), ("Am", 11, "G# minor"), ("Cm", 1, "C# minor"), ("Gb", 12, "Gb major"), ("E", -12, "E major"),
    ],
)  # fmt: skip
def test_the_key_of_a_transposition(key: str, semitones: int, expected: str) -> None:
    """The key with fewest accidentals; six as in the key before (common practice)."""
    start = Key.parse(key)
    interval = interval_for_semitones(start, semitones)
    assert interval.semitones == semitones
    assert start.up(interval).name == expected


@each(
    ("old", "new", "steps", "semitones"),
    [("C", "Eb", 2, 3), ("C", "A", -2, -3), ("C", "F#", 3, 6), ("C", "Gb", 4, 6), ("C", "G", -3, -5), ("Am", "C", 2, 3), ("Cm", "Db", 0, 1)],
)  # fmt: skip
def test_the_nearest_way_to_a_key(old: str, new: str, steps: int, semitones: int) -> None:
    """At most six semitones up or five down; a minor key beyond seven accidentals is respelled (Db minor as C#)."""
    assert interval_to_key(Key.parse(old), Key.parse(new)) == Interval(steps, semitones)


@each(
    ("pc", "key", "expected"),
    [(10, "D", "A#"), (10, "F", "Bb"), (11, "Gb", "Cb"), (5, "F#", "E#"), (5, "C#m", "F"), (0, "C#m", "B#"), (3, "C", "Eb")],
)  # fmt: skip
def test_notes_are_spelled_for_the_key(pc: int, key: str, expected: str) -> None:
    """A note of the key keeps its letter; others follow the signature's accidentals, but for B#, E#, Cb and Fb."""
    assert note_in_key(pc, Key.parse(key)).name == expected


def test_without_a_key_the_plainest_name_is_taken() -> None:
    """Flats and sharps as they are met most often."""
    assert [note_in_key(pc, None).name for pc in range(12)] == [
        "C",
        "C#",
        "D",
        "Eb",
        "E",
        "F",
        "F#",
        "G",
        "Ab",
        "A",
        "Bb",
        "B",
    ]
    assert note_in_key(0, None) == NoteName("C")
