"""Spelled pitch: letters, intervals, degrees, keys."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.ground.pitch import Degree, Interval, Key, NoteName, Pitch, accidental, degrees
from tests.each import each

NOTES = st.builds(NoteName, st.sampled_from("ABCDEFG"), st.integers(-2, 2))
INTERVALS = st.builds(Interval, st.integers(-7, 7), st.integers(-12, 12))


@each(
    ("name", "pc", "fifths"),
    [("C", 0, 0), ("F#", 6, 6), ("Bb", 10, -2), ("Cb", 11, -7), ("B#", 0, 12), ("E##", 6, 18), ("Abb", 7, -11)],
)  # fmt: skip
def test_note_names(name: str, pc: int, fifths: int) -> None:
    """Pitch class and place on the line of fifths (any harmony textbook)."""
    note = NoteName.parse(name)
    assert (note.name, str(note), note.pc, note.fifths) == (name, name, pc, fifths)


@each("text", ["", "H", "c", "C#b", "Cbbbb", "C4", "♭"])
def test_what_is_no_note_name(text: str) -> None:
    """Other letters, mixed accidentals and octaves are refused."""
    with pytest.raises(ValueError, match="no note name"):
        NoteName.parse(text)


@each(
    ("start", "degree", "expected"),
    [
        ("C", "3", "E"), ("Ab", "b3", "Cb"), ("Cb", "b3", "Ebb"), ("F#", "3", "A#"), ("E", "#9", "F##"), ("C", "bb7", "Bbb"),
        ("Bb", "#11", "E"), ("Gb", "#9", "A"), ("C#", "#9", "D##"), ("Eb", "b5", "Bbb"), ("B", "b13", "G"),
    ],
)  # fmt: skip
def test_degrees_are_spelled_by_letters(start: str, degree: str, expected: str) -> None:
    """A third is two letters up, a seventh six, a ninth one (any harmony textbook)."""
    assert Degree.parse(degree).of(NoteName.parse(start)).name == expected


@each(
    ("text", "semitones"),
    [
        ("1", 0),
        ("b3", 3),
        ("#5", 8),
        ("b7", 10),
        ("bb7", 9),
        ("9", 14),
        ("#11", 18),
        ("b13", 20),
        ("13", 21),
    ],
)
def test_degrees_count_semitones(text: str, semitones: int) -> None:
    """Semitones above the root, not folded."""
    degree = Degree.parse(text)
    assert (degree.semitones, degree.name, str(degree)) == (semitones, text, text)


@each("text", ["", "0", "16", "b", "x7", "bbb7", "#b5"])
def test_what_is_no_degree(text: str) -> None:
    """Numbers outside 1 to 15 and more than two accidentals are refused."""
    with pytest.raises(ValueError, match="no degree"):
        Degree.parse(text)


def test_several_degrees() -> None:
    """Degrees in a row, as the tables have them."""
    assert degrees("1 b3 #11") == (Degree(1), Degree(3, -1), Degree(11, 1))


@each(
    ("text", "midi"), [("C4", 60), ("A4", 69), ("E2", 40), ("Cb4", 59), ("B#3", 60), ("C-1", 0), ("G9", 127)]
)  # fmt: skip
def test_pitches_have_midi_numbers(text: str, midi: int) -> None:
    """Middle C is 60, the A above it 69 (MIDI 1.0, General MIDI); the octave belongs to the letter."""
    pitch = Pitch.parse(text)
    assert (pitch.midi, pitch.name, str(pitch)) == (midi, text, text)


@each("text", ["C", "H4", "C10", "C###4", "4C"])
def test_what_is_no_pitch(text: str) -> None:
    """A pitch needs a letter and one digit of octave."""
    with pytest.raises(ValueError, match="no pitch"):
        Pitch.parse(text)


@each(
    ("start", "steps", "semitones", "expected"),
    [
        ("B3", 1, 1, "C4"),
        ("C4", -1, -1, "B3"),
        ("A4", 7, 12, "A5"),
        ("G4", 2, 3, "Bb4"),
        ("C4", -4, -7, "F3"),
    ],
)
def test_pitches_move_over_octaves(start: str, steps: int, semitones: int, expected: str) -> None:
    """The octave changes between B and C."""
    assert Pitch.parse(start).up(Interval(steps, semitones)).name == expected


@each(
    ("text", "fifths", "name", "short"),
    [
        ("C", 0, "C major", "C"), ("Em", 1, "E minor", "Em"), ("Bb major", -2, "Bb major", "Bb"),
        ("F# minor", 3, "F# minor", "F#m"), ("Cb", -7, "Cb major", "Cb"), ("Abm", -7, "Ab minor", "Abm"), ("C#", 7, "C# major", "C#"),
    ],
)  # fmt: skip
def test_keys(text: str, fifths: int, name: str, short: str) -> None:
    """Accidentals of the signature (circle of fifths) and names."""
    key = Key.parse(text)
    assert (key.fifths, key.name, str(key), key.short_name) == (fifths, name, name, short)


@each("text", ["", "H", "C blues", "c", "D#", "G#", "Fb", "Dbm", "Cbb"])
def test_what_is_no_key(text: str) -> None:
    """Modes, German names and keys beyond seven accidentals are refused."""
    with pytest.raises(ValueError, match=r"no key|more than seven"):
        Key.parse(text)


def test_accidentals_as_typed() -> None:
    """Flats and sharps repeat."""
    assert [accidental(n) for n in (-2, -1, 0, 1, 2)] == ["bb", "b", "", "#", "##"]


def test_keys_move() -> None:
    """A key keeps its mode."""
    assert Key.parse("Am").up(Interval(2, 3)).name == "C minor"


@given(NOTES, INTERVALS)
def test_up_and_down_again(note: NoteName, interval: Interval) -> None:
    """An interval and its opposite cancel, spelling included."""
    there = note.up(interval)
    assert there.up(-interval) == note
    assert (there.pc - note.pc - interval.semitones) % 12 == 0


@given(NOTES, NOTES)
def test_the_interval_between_two_notes(one: NoteName, other: NoteName) -> None:
    """The interval up from one note to another leads there, within an octave of letters."""
    interval = one.interval_to(other)
    assert one.up(interval) == other
    assert 0 <= interval.steps < 7


@given(NOTES, INTERVALS, INTERVALS)
def test_intervals_add(note: NoteName, first: Interval, second: Interval) -> None:
    """Two moves are one move by their sum."""
    assert note.up(first).up(second) == note.up(first + second)
