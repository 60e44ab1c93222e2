"""Unwritten ninths, elevenths and thirteenths that a style may add to a chord.

*Conventions*: degrees are named above the root (9, #11, b13). A colour must stand in the table for this kind of chord
and its function, lie in the chord's scale and not be one of its notes to avoid; it never stands beside a written
alteration of the same note, a semitone from a melody note, or on a chord whose writer said exactly what to add. A
triad over another of its notes takes no sixth, which would make it the seventh chord a third below.

*Sources*: colours by quality and function are common practice of jazz comping; see the textbooks' tables of available
tensions.
"""

from __future__ import annotations

from functools import lru_cache

from backing.ground.pitch import Degree, Key, degrees
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
)

# Kind of chord, function and colours in order of preference, one a line; * is any other function.
TABLE = f"""
major triad      | {TONIC}        | 9 13
major triad      | {SUBDOMINANT}  | 9 13
major triad      | {BORROWED}     | 9
major triad      | *              |
major seventh    | {TONIC}        | 9 13
major seventh    | {SUBDOMINANT}  | 9 13 #11
major seventh    | {BORROWED}     | 9 #11 13
major seventh    | {CHROMATIC}    | 9 #11
major seventh    | *              | 9 13
minor triad      | {TONIC}        | 9
minor triad      | *              | 9
minor seventh    | {TONIC}        | 9 11
minor seventh    | {SUBDOMINANT}  | 9 11
minor seventh    | {RELATED_TWO}  | 9 11
minor seventh    | *              | 9 11
minor major      | *              | 9 13
dominant         | {DOMINANT}     | 13 9 b9 b13
dominant         | {SECONDARY}    | 9 13 b9 b13
dominant         | {TRITONE}      | 9 #11 13
dominant         | {BACKDOOR}     | 9 13 #11
dominant         | *              | 9 13
half-diminished  | *              | 11 9 b13
diminished       | {PASSING}      |
diminished       | *              |
augmented        | *              | 9
suspended        | *              | 9 13
"""

ROWS: dict[tuple[str, str], tuple[Degree, ...]] = {
    (kind.strip(), role.strip()): degrees(row)
    for kind, role, row in (line.split("|") for line in TABLE.strip().splitlines())
}
# Colours that fight with written degrees: with the first in the chord, none of the others is added.
FIGHTS = {
    "b9": "9 #9", "#9": "9 b9", "9": "b9 #9",
    "#11": "11", "11": "#11 3", "b5": "#11", "#5": "13 b13", "b13": "13", "13": "b13",
    "6": "13 b13", "b6": "13", "2": "9 b9", "4": "11 #11",
}  # fmt: skip


@lru_cache(maxsize=16384)
def colours(
    chord: Chord, function: Function, key: Key, melody_pcs: tuple[int, ...] = ()
) -> tuple[Degree, ...]:
    """Degrees that may be added to a chord, best first; none for power chords, `add` chords and bare triads in doubt.

    `function` is this chord's from `analyse`, `key` the written key, `melody_pcs` the pitch classes that a melody has
    over it. Only degrees that go together are returned: all of them may sound at once.
    """
    kind = kind_of(chord)
    if chord.bass is not None and chord.bass.pc not in chord.pitch_classes:
        return ()  # the upper chord stays as it is over a foreign bass
    if kind is None or any(word in chord.quality for word in ("add", "no", "alt")):
        return ()
    row = ROWS.get((kind, function.role), ROWS[kind, "*"])
    if chord.bass is not None and kind.endswith("triad") and chord.bass.pc != chord.root.pc:
        row = tuple(d for d in row if d.number != 13)  # D/F# with a sixth would be Bm7/F#
    scale = function.scale
    allowed = scale.pitch_classes - {d.semitones % 12 for d in scale.avoid}
    held = {d.semitones % 12 for d in chord.degrees}
    chosen: list[Degree] = []
    for degree in row:
        pc = degree.semitones % 12
        names = [d.name for d in chord.degrees] + [d.name for d in chosen]
        if pc in held or pc not in allowed:
            continue
        if any(degree.name in FIGHTS.get(name, "").split() for name in names):
            continue
        sounds = (chord.root.pc + pc) % 12
        if any((sounds - m) % 12 in (1, 11) for m in melody_pcs):
            continue
        chosen.append(degree)
    return tuple(chosen)


def kind_of(chord: Chord) -> str | None:
    """The kind of chord that the table speaks of; None where nothing is ever added."""
    names = {d.name for d in chord.degrees}
    seventh = names & {"b7", "7", "bb7", "6"}
    if chord.family == "power":
        return None
    if chord.family == "suspended":
        return "suspended" if "b7" in names else None
    if chord.family == "major":
        return "major seventh" if seventh else "major triad"
    if chord.family == "minor":
        if "7" in names:
            return "minor major"
        return "minor seventh" if seventh else "minor triad"
    return chord.family
