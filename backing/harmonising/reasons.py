"""Why a chord stands where it stands, as data with words.

*Conventions*: a reason is about the tune's note in the chord, what the chord does in the key, how its bass moves, or
what was given up for it. A tritone substitute is called so only where it resolves down a semitone into a chord of
rest; a dominant that slides into another dominant is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from backing.ground.pitch import Degree, Key, NoteName, Pitch
from backing.harmony.chord import Chord
from backing.harmony.function import (
    BACKDOOR,
    BORROWED,
    CHROMATIC,
    DOMINANT,
    PASSING,
    RELATED_TWO,
    SECONDARY,
    SUBDOMINANT,
    TONIC,
    TRITONE,
    Function,
    analyse,
)


class About(Enum):
    """What a reason is about."""

    TUNE = "tune"
    FUNCTION = "function"
    BASS = "bass"
    TRADE = "trade"


class Reason(NamedTuple):
    """One reason; only `about` is read by code."""

    about: About
    words: str


STEP_NAMES = {
    1: "root", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh",
    9: "ninth", 11: "eleventh", 13: "thirteenth",
}  # fmt: skip
ALTERED = {"b": "flat ", "#": "sharp ", "bb": "diminished "}
ADDED = ("1", "b9", "9", "#9", "3", "11", "#11", "5", "b13", "13", "b7", "7")  # by semitones
SIZES = {
    1: "a half step", 2: "a step", 3: "a third", 4: "a third", 5: "a fourth", 6: "a tritone",
}  # fmt: skip


def degree_of(note: NoteName, chord: Chord) -> Degree:
    """What a note is in a chord: a degree that it has, else a tension.

    >>> from backing.harmony.symbol import read
    >>> degree_of(NoteName("F", 1), read("C7")).name, degree_of(NoteName("A"), read("F6")).name
    ('#11', '3')
    """
    above = (note.pc - chord.root.pc) % 12
    for degree in chord.degrees:
        if degree.semitones % 12 == above:
            return degree
    return Degree.parse(ADDED[above])


def degree_words(degree: Degree) -> str:
    """`#11` is "sharp eleventh", `b3` "minor third", `b7` "seventh" of a chord that has it."""
    name = STEP_NAMES.get(degree.number, degree.name)
    sign = degree.name[: len(degree.name) - len(str(degree.number))]
    if degree.number in (3, 7) and sign == "b":
        return f"minor {name}"
    if degree.number == 7 and not sign:
        return "major seventh"
    return ALTERED.get(sign, "") + name


def reasons(
    chords: Sequence[Chord],
    lengths_q: Sequence[Fraction],
    tune: Sequence[Sequence[Pitch]],
    key: Key,
) -> list[tuple[Reason, ...]]:
    """The reasons for every chord; `tune` holds what sounds with each, in order of time."""
    functions = analyse(chords, lengths_q, key)
    found = []
    for t, chord in enumerate(chords):
        before = chords[t - 1] if t else None
        after = chords[t + 1] if t + 1 < len(chords) else None
        row = [_tune_reason(tune[t], chord)]
        function = functions[t]
        if function is not None:
            row.append(_function_reason(function, chord, before, after))
        row.append(_bass_reason(chord, before, tune[t], tune[t - 1] if t else ()))
        if chord.bass is not None and chord.bass != chord.root:
            row.append(_slash_reason(chord, before, after))
        found.append(tuple(r for r in row if r is not None))
    return found


def _tune_reason(notes: Sequence[Pitch], chord: Chord) -> Reason | None:
    if not notes:
        return Reason(About.TUNE, "the tune rests here")
    first = notes[0].note
    degree = degree_of(first, chord)
    words = f"{first.name} is the {degree_words(degree)}"
    if degree.number > 7 or degree not in chord.degrees:
        words += ", a tension"
    return Reason(About.TUNE, words)


def _function_reason(
    function: Function, chord: Chord, before: Chord | None, after: Chord | None
) -> Reason:
    role, key = function.role, function.key
    target = function.target.name if function.target else ""
    rests = after is not None and after.family in ("major", "minor")
    slides = after is not None and (chord.root.pc - after.root.pc) % 12 == 1
    words = {
        TONIC: f"at home in {key.name}" if function.degree.number == 1 else f"stands for the tonic of {key.name}",
        SUBDOMINANT: f"leads away from home ({function.numeral})",
        DOMINANT: f"the dominant of {key.name}" + (", and it resolves" if function.resolves else ", left hanging"),
        SECONDARY: f"the dominant of {target}" + (", and it goes there" if function.resolves else ", delayed"),
        BACKDOOR: "the minor subdominant's dominant, from below the tonic",
        RELATED_TWO: "the two of the dominant that follows",
        PASSING: f"a diminished chord that leads to {target}" if target else "a passing diminished chord",
        BORROWED: "borrowed from the parallel key",
        CHROMATIC: "a colour from outside the key",
    }  # fmt: skip
    if role == TRITONE:
        if function.resolves and rests and slides:
            return Reason(
                About.FUNCTION,
                f"stands a tritone from the dominant of {target} and resolves a half step down",
            )
        return Reason(About.FUNCTION, "a dominant that slides down a half step" if slides else "a dominant from outside the key")  # fmt: skip
    moved = (chord.root.pc - before.root.pc) % 12 if before is not None else 0
    if role == CHROMATIC and moved in (1, 11) and before and before.quality == chord.quality:
        return Reason(About.FUNCTION, "the shape before it, slid by a half step")
    return Reason(About.FUNCTION, words[role])


def _bass_reason(
    chord: Chord, before: Chord | None, tune: Sequence[Pitch], tune_before: Sequence[Pitch]
) -> Reason | None:
    if before is None:
        return None
    up = (chord.lowest.pc - before.lowest.pc) % 12
    if up == 0:
        return Reason(About.BASS, f"the bass stays on {chord.lowest.name}")
    size = min(up, 12 - up)
    way = "up" if up < 6 else "down" if up > 6 else ""
    words = f"the bass moves {way} {SIZES[size]} to {chord.lowest.name}".replace("  ", " ")
    if tune and tune_before and way:
        move = tune[0].midi - tune_before[0].midi
        if move and (move > 0) != (way == "up"):
            words += ", against the tune"
    return Reason(About.BASS, words)


def _slash_reason(chord: Chord, before: Chord | None, after: Chord | None) -> Reason | None:
    degree = degree_of(chord.lowest, chord)
    steps = [
        min((chord.lowest.pc - other.lowest.pc) % 12, (other.lowest.pc - chord.lowest.pc) % 12)
        in (1, 2)
        for other in (before, after)
        if other is not None
    ]
    why = "so that the bass moves by step" if any(steps) else "for a lighter bass"
    return Reason(About.TRADE, f"the {degree_words(degree)} in the bass, {why}")
