"""Spelled pitch: letters, degrees, intervals, keys; semitones and MIDI numbers are derived from them.

Conventions: an alteration counts semitones (flat -1, sharp 1, at most three here); octaves are scientific (C4 is
middle C, MIDI 60); a degree is counted in a major scale (3 is four semitones, b7 ten) and degrees above 7 keep their
number (9, 11, 13). Sources: letter arithmetic of any harmony textbook (common practice); MIDI 1.0 and General MIDI
for note 60 as middle C.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

LETTERS = "CDEFGAB"
LETTER_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
FIFTHS_OF_LETTER = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}


def accidental(alter: int) -> str:
    """Accidentals as typed: `b`, `bb`, `#`, `##`."""
    return "#" * alter if alter > 0 else "b" * -alter


class Interval(NamedTuple):
    """A distance in letters and semitones, up or down: a minor third up is (2, 3), a fifth down (-4, -7)."""

    steps: int
    semitones: int

    def __neg__(self) -> Interval:
        return Interval(-self.steps, -self.semitones)

    def __add__(self, other: Interval) -> Interval:  # type: ignore[override]  # intervals add up, they do not join
        return Interval(self.steps + other.steps, self.semitones + other.semitones)


UNISON = Interval(0, 0)


class NoteName(NamedTuple):
    """A spelled note without an octave.

    >>> NoteName.parse("Bb").up(Interval(2, 4)).name
    'D'
    """

    letter: str
    alter: int = 0

    @staticmethod
    def parse(text: str) -> NoteName:
        """Read `C`, `F#`, `Bb`, `Ebb`. Raises ValueError."""
        if not re.fullmatch(r"[A-G](#{0,3}|b{0,3})", text):
            raise ValueError(f"{text!r} is no note name")
        return NoteName(text[0], text.count("#") - text[1:].count("b"))

    @property
    def name(self) -> str:
        return self.letter + accidental(self.alter)

    @property
    def pc(self) -> int:
        """Pitch class, 0 to 11 above C."""
        return (LETTER_SEMITONES[LETTERS.index(self.letter)] + self.alter) % 12

    @property
    def fifths(self) -> int:
        """Place on the line of fifths: C 0, G 1, F -1, F# 6, Bb -2."""
        return FIFTHS_OF_LETTER[self.letter] + 7 * self.alter

    def up(self, interval: Interval) -> NoteName:
        """The note an interval above (below where negative), spelled by letters; alterations are not limited."""
        return _moved(self, interval.steps, interval.semitones)

    def interval_to(self, other: NoteName) -> Interval:
        """The interval up to `other`, less than an octave (by letters)."""
        steps = (LETTERS.index(other.letter) - LETTERS.index(self.letter)) % 7
        natural = (
            LETTER_SEMITONES[LETTERS.index(other.letter)]
            - LETTER_SEMITONES[LETTERS.index(self.letter)]
        ) % 12
        return Interval(steps, natural + other.alter - self.alter)

    def __str__(self) -> str:
        return self.name


@lru_cache(maxsize=16384)
def _moved(note: NoteName, steps: int, semitones: int) -> NoteName:
    place = LETTERS.index(note.letter) + steps
    natural = LETTER_SEMITONES[place % 7] + 12 * (place // 7)
    here = LETTER_SEMITONES[LETTERS.index(note.letter)] + note.alter
    return NoteName(LETTERS[place % 7], here + semitones - natural)


class Pitch(NamedTuple):
    """A spelled note in an octave.

    >>> Pitch.parse("C4").midi, Pitch.parse("Bb3").midi, Pitch.parse("Cb4").midi
    (60, 58, 59)
    """

    note: NoteName
    octave: int

    @staticmethod
    def parse(text: str) -> Pitch:
        """Read scientific pitch: `C4`, `Bb3`, `F#5`. Raises ValueError."""
        found = re.fullmatch(r"([A-G](?:#{0,2}|b{0,2}))(-?\d)", text)
        if not found:
            raise ValueError(f"{text!r} is no pitch")
        return Pitch(NoteName.parse(found[1]), int(found[2]))

    @property
    def midi(self) -> int:
        """MIDI note number; middle C is 60."""
        return (
            12 * (self.octave + 1)
            + LETTER_SEMITONES[LETTERS.index(self.note.letter)]
            + self.note.alter
        )

    @property
    def name(self) -> str:
        return f"{self.note.name}{self.octave}"

    def up(self, interval: Interval) -> Pitch:
        place = LETTERS.index(self.note.letter) + interval.steps
        return Pitch(self.note.up(interval), self.octave + place // 7)

    def __str__(self) -> str:
        return self.name


class Degree(NamedTuple):
    """A step of a chord or scale: number from 1 up and alteration against the major scale.

    >>> [Degree.parse(d).semitones for d in ("1", "b3", "#5", "bb7", "9", "#11", "b13")]
    [0, 3, 8, 9, 14, 18, 20]
    """

    number: int
    alter: int = 0

    @staticmethod
    def parse(text: str) -> Degree:
        """Read `1`, `b3`, `#11`, `bb7`. Raises ValueError."""
        return _degree(text)

    @property
    def interval(self) -> Interval:
        """The interval up from the root."""
        octave, step = divmod(self.number - 1, 7)
        return Interval(self.number - 1, LETTER_SEMITONES[step] + 12 * octave + self.alter)

    @property
    def semitones(self) -> int:
        """Semitones above the root, not folded (a ninth is 14)."""
        return self.interval.semitones

    @property
    def name(self) -> str:
        return accidental(self.alter) + str(self.number)

    def of(self, root: NoteName) -> NoteName:
        """The note that this degree is above `root`."""
        return root.up(self.interval)

    def __str__(self) -> str:
        return self.name


@lru_cache(maxsize=256)
def _degree(text: str) -> Degree:
    found = re.fullmatch(r"(b{0,2}|#{0,2})(\d{1,2})", text)
    if not found or not 1 <= int(found[2]) <= 15:
        raise ValueError(f"{text!r} is no degree")
    return Degree(int(found[2]), found[1].count("#") - found[1].count("b"))


def degrees(text: str) -> tuple[Degree, ...]:
    """Read several degrees: `degrees("1 b3 5 b7")`."""
    return tuple(Degree.parse(d) for d in text.split())


class Mode(NamedTuple):
    """A scale that a key may be in: the fifths of its signature against major, whether its third is minor, its degrees."""

    fifths: int
    minor: bool
    degrees: tuple[Degree, ...]


# The seven modes of the major scale, as every theory primer lists them.
MODES = {
    "ionian":     Mode(0, False, degrees("1 2 3 4 5 6 7")),
    "dorian":     Mode(-2, True, degrees("1 2 b3 4 5 6 b7")),
    "phrygian":   Mode(-4, True, degrees("1 b2 b3 4 5 b6 b7")),
    "lydian":     Mode(1, False, degrees("1 2 3 #4 5 6 7")),
    "mixolydian": Mode(-1, False, degrees("1 2 3 4 5 6 b7")),
    "aeolian":    Mode(-3, True, degrees("1 2 b3 4 5 b6 b7")),
    "locrian":    Mode(-5, True, degrees("1 b2 b3 4 b5 b6 b7")),
}  # fmt: skip
MINOR_STEPS = degrees("1 2 b3 4 5 b6 b7 7")  # both sevenths belong to a minor key
_KEY = re.compile(rf"([A-G](?:#|b)?)\s*(major|maj|minor|min|m|{'|'.join(MODES)})?", re.I)


class Key(NamedTuple):
    """A major or minor key, or one in a mode (`mode` "" is plain major or minor).

    `minor` is whether the third is minor, in a mode too.

    >>> Key.parse("Bb").fifths, Key.parse("F# minor").fifths, Key.parse("Em").name
    (-2, 3, 'E minor')
    >>> Key.parse("E dorian").fifths, Key.parse("A mixolydian").name
    (2, 'A mixolydian')
    """

    tonic: NoteName
    minor: bool = False
    mode: str = ""

    @staticmethod
    def parse(text: str) -> Key:
        """Read `G major`, `F# minor`, `Bb`, `Em`, `E dorian`. Raises ValueError, also beyond seven accidentals."""
        found = _KEY.fullmatch(text.strip())
        if not found or not found[1][0].isupper() or found[2] == "M":
            raise ValueError(f"{text!r} is no key")
        word = (found[2] or "").lower()
        key = Key.of(NoteName.parse(found[1]), word)
        if abs(key.fifths) > 7:
            raise ValueError(f"{text!r} has more than seven accidentals")
        return key

    @staticmethod
    def of(tonic: NoteName, word: str) -> Key:
        """The key that a word makes of its tonic: a mode, one of `minor`, `min`, `m`, else major."""
        if word in MODES:
            return Key(tonic, MODES[word].minor, word)
        return Key(tonic, word in ("minor", "min", "m"))

    @property
    def fifths(self) -> int:
        """Sharps (positive) or flats (negative) of the signature."""
        if self.mode:
            return self.tonic.fifths + MODES[self.mode].fifths
        return self.tonic.fifths - (3 if self.minor else 0)

    @property
    def degrees(self) -> tuple[Degree, ...]:
        """The steps of its scale; of a plain minor key with both sevenths."""
        plain = MINOR_STEPS if self.minor else MODES["ionian"].degrees
        return MODES[self.mode].degrees if self.mode else plain

    @property
    def signature(self) -> Key:
        """The major or minor key with the same signature: of E dorian B minor, of A mixolydian D major."""
        if not self.mode:
            return self
        place = self.fifths + (3 if self.minor else 0)
        return Key(NoteName("FCGDAEB"[(place + 1) % 7], (place + 1) // 7), self.minor)

    @property
    def mode_name(self) -> str:
        return self.mode or ("minor" if self.minor else "major")

    @property
    def name(self) -> str:
        return f"{self.tonic.name} {self.mode_name}"

    @property
    def short_name(self) -> str:
        """`Bb`, `Em`: as an ID3 TKEY frame has it."""
        return self.tonic.name + ("m" if self.minor else "")

    def at(self, tonic: NoteName) -> Key:
        """The same mode on another tonic."""
        return Key(tonic, self.minor, self.mode)

    def up(self, interval: Interval) -> Key:
        return self.at(self.tonic.up(interval))

    def __str__(self) -> str:
        return self.name
