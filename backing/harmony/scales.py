"""A scale for every chord, from its symbol and its surroundings.

*Conventions*: scale degrees are spelled against the major scale of the chord's root and numbered 1 to 7. A scale holds
every note of its chord, but for a fifth that convention leaves out. Among those that do, the one with fewest notes
foreign to the key wins; the key of a dominant that resolves is that of its target. `avoid` names notes of the scale that
are passed through and not held.

*Sources*: chord-scale pairs of common practice; the natural fourth over a major third, and the sixth over the minor
chord of a ii-V, as notes to avoid: common practice.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from backing.ground.pitch import Degree, Key, NoteName, degrees
from backing.harmony.chord import Chord

# Name and degrees, one a line; the order is that of preference where two scales fit equally well.
TABLE = """
ionian              | 1 2 3 4 5 6 7
lydian              | 1 2 3 #4 5 6 7
mixolydian          | 1 2 3 4 5 6 b7
dorian              | 1 2 b3 4 5 6 b7
aeolian             | 1 2 b3 4 5 b6 b7
phrygian            | 1 b2 b3 4 5 b6 b7
locrian             | 1 b2 b3 4 b5 b6 b7
locrian natural 2   | 1 2 b3 4 b5 b6 b7
melodic minor       | 1 2 b3 4 5 6 7
harmonic minor      | 1 2 b3 4 5 b6 7
harmonic major      | 1 2 3 4 5 b6 7
dorian b2           | 1 b2 b3 4 5 6 b7
lydian augmented    | 1 2 3 #4 #5 6 7
lydian dominant     | 1 2 3 #4 5 6 b7
mixolydian b6       | 1 2 3 4 5 b6 b7
phrygian dominant   | 1 b2 3 4 5 b6 b7
mixolydian b2       | 1 b2 3 4 5 6 b7
altered             | 1 b2 #2 3 b5 #5 b7
whole tone          | 1 2 3 #4 #5 b7
half-whole          | 1 b2 #2 3 #4 5 6 b7
whole-half          | 1 2 b3 4 b5 b6 bb7 7
"""

# The scales that are tried for each family of chords, in order of preference.
FAMILIES = {
    "major": "ionian, lydian, harmonic major, lydian augmented",
    "augmented": "lydian augmented, whole tone",
    "minor": "dorian, aeolian, phrygian, melodic minor, harmonic minor, dorian b2",
    "dominant": "mixolydian, lydian dominant, mixolydian b6, mixolydian b2, phrygian dominant, half-whole, "
    "whole tone, altered",
    "half-diminished": "locrian, locrian natural 2",
    "diminished": "locrian, whole-half",
    "suspended": "mixolydian, ionian, dorian, aeolian, phrygian, dorian b2, mixolydian b2, lydian",
    "power": "ionian, mixolydian, dorian, aeolian, phrygian",
}


RARELY = frozenset({"harmonic major", "dorian b2"})  # only where the chord asks for them
RARE = 6
FLAT_SEVENTH = Degree(7, -1)


class Scale(NamedTuple):
    """A scale above a chord's root; `avoid` are degrees of it that are not held."""

    name: str
    degrees: tuple[Degree, ...]
    avoid: tuple[Degree, ...] = ()

    @property
    def pitch_classes(self) -> frozenset[int]:
        """Semitones above the root, folded to 0 to 11."""
        return frozenset(d.semitones % 12 for d in self.degrees)

    def notes(self, root: NoteName) -> tuple[NoteName, ...]:
        """The spelled notes above a root."""
        return tuple(d.of(root) for d in self.degrees)


ROWS = {
    name.strip(): degrees(row)
    for name, row in (line.split("|") for line in TABLE.strip().splitlines())
}
SEMITONES = {name: frozenset(d.semitones % 12 for d in row) for name, row in ROWS.items()}
MAJOR = SEMITONES["ionian"]
MINOR = SEMITONES["aeolian"] | {11}  # both sevenths belong to a minor key


@lru_cache(maxsize=64)
def steps_of(minor: bool, mode: str) -> frozenset[int]:
    """The semitones of a key's scale above its tonic."""
    return SEMITONES[mode] if mode else MINOR if minor else MAJOR


def key_pitch_classes(key: Key) -> frozenset[int]:
    """The pitch classes of a key; of a minor key with both sevenths."""
    return frozenset((key.tonic.pc + n) % 12 for n in steps_of(key.minor, key.mode))


def in_mode(chord: Chord, key: Key) -> bool:
    """Whether a key is in a mode and holds all notes of a chord."""
    return bool(key.mode) and key_pitch_classes(key).issuperset(chord.pitch_classes)


def minor_sounding(chord: Chord) -> bool:
    """Whether a chord stands for a minor or diminished one."""
    return chord.family in ("minor", "half-diminished", "diminished")


def dominant_like(chord: Chord) -> bool:
    """A major third or a suspension with a minor seventh."""
    return chord.family in ("dominant", "suspended") and FLAT_SEVENTH in chord.degrees


@lru_cache(maxsize=16384)
def scale_for(chord: Chord, key: Key, next_chord: Chord | None = None) -> Scale:
    """The scale of a chord in a key, before the chord that follows (None at the end or before N.C.)."""
    down = (chord.root.pc - next_chord.root.pc) % 12 if next_chord else -1
    if dominant_like(chord) and next_chord is not None:
        if down == 7:  # down a fifth: the key is that of the target
            return _choose(chord, Key(next_chord.root, minor_sounding(next_chord)), False)
        if down == 1:  # down a semitone: it stands a tritone from the dominant
            return _choose(chord, key, True)
    backdoor = (chord.root.pc - key.tonic.pc) % 12 == 10 and not key.minor
    leads = (
        next_chord is not None
        and down == 7
        and dominant_like(next_chord)
        and not in_mode(next_chord, key)
    )
    scale = _choose(chord, key, backdoor and dominant_like(chord))
    if leads and chord.family == "minor" and "6" in {d.name for d in scale.degrees}:
        return Scale(scale.name, scale.degrees, (*scale.avoid, Degree(6)))
    return scale


def _choose(chord: Chord, key: Key, lydian: bool) -> Scale:
    above = (chord.root.pc - key.tonic.pc) % 12
    return _best(chord.family, chord.degrees, chord.omit, above, key.minor, key.mode, lydian)


@lru_cache(maxsize=8192)
def _best(
    family: str,
    chord: tuple[Degree, ...],
    omit: tuple[Degree, ...],
    above: int,
    minor: bool,
    mode: str,
    lydian: bool,
) -> Scale:
    """The best scale of the family: all chord notes, a fitting fifth, few notes foreign to the key.

    `above` are the semitones of the root above the tonic of the key. With `lydian` the lydian dominant comes first,
    as over a chord that stands a tritone from the dominant.
    """
    names = {d.name for d in chord}
    held = {d.semitones % 12 for d in chord if d.name != "5" and d not in omit}
    home = {(n - above) % 12 for n in steps_of(minor, mode)}
    best: tuple[tuple[int, int, int, int], str] | None = None
    for place, name in enumerate(FAMILIES[family].split(", ")):
        notes = SEMITONES[name]
        wrong_fifth = ("5" in names and 7 not in notes) or (
            "#5" in names and "5" not in names and 7 in notes
        )
        if minor and name == "altered" and "#9" in names:
            wrong_fifth = False  # 7#9 to a minor chord: its fifth gives way to b13
        rank = (
            len(held - notes),
            int(wrong_fifth),
            int(lydian and name != "lydian dominant"),
            4 * len(notes - home) + place + (RARE if name in RARELY else 0),
        )
        if best is None or rank < best[0]:
            best = (rank, name)
    assert best is not None
    name, row = best[1], ROWS[best[1]]
    if best[0][0]:
        row = _bent(row, chord)
        name = f"{name} with {' '.join(d.name for d in chord if d.alter)}"
    return Scale(name, row, _avoid(family, chord, omit, row))


def _bent(row: tuple[Degree, ...], chord: tuple[Degree, ...]) -> tuple[Degree, ...]:
    """A scale with the chord's own degrees in place of those of the same number."""
    own = [Degree((d.number - 1) % 7 + 1, d.alter) for d in chord]
    numbers = {d.number for d in own}
    mixed = {d for d in row if d.number not in numbers} | set(own)
    return tuple(sorted(mixed, key=lambda d: (d.semitones, d.number)))


def _avoid(
    family: str, chord: tuple[Degree, ...], omit: tuple[Degree, ...], row: tuple[Degree, ...]
) -> tuple[Degree, ...]:
    """Notes a semitone above a chord note; a dominant may hold its b9 and b13, a suspension avoids its third."""
    held = {d.semitones % 12 for d in chord} - {d.semitones % 12 for d in omit}
    open_fifth = family == "dominant"
    out = []
    for degree in row:
        pc = degree.semitones % 12
        if pc in held:
            continue
        rubs = (pc - 1) % 12 in held
        if rubs and open_fifth and pc in (1, 8):
            rubs = False
        if family == "suspended" and pc in (3, 4) and 5 in held:
            rubs = True
        if rubs:
            out.append(degree)
    return tuple(out)
