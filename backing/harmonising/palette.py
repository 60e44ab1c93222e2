"""The chords that each manner may use, and how much each costs by itself.

*Conventions*: degrees are of the key that the melody is in at that place; costs are in the unit of `costs.py`; a dash
leaves a chord out. Manners: *plain* (a children's song), *diatonic* (a folk tune or a hymn), *colourful* (a ballad:
sevenths, ninths, secondary dominants, borrowed and passing chords), *chromatic* (a showpiece: any root).

*Sources*: functions of the degrees, secondary dominants, minor subdominants, passing diminished chords and inversions
as textbooks have them (common practice); the costs are by ear, those of the first two manners measured against folk
tunes with their collector's chords.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from backing.ground.pitch import Degree, Key
from backing.harmony.symbol import Chord, read

MANNERS = ("plain", "diatonic", "colourful", "chromatic")

# mode, degree, quality ("." is a triad), costs by manner, basses ("3" a third in the bass and so on)
TABLE = """
# mode  degree quality  plain diatonic colourful chromatic  basses
major   1      .        0.40  0.40     1.0        1.5        3 5
major   1      6        -     -        0.5       0.8        -
major   1      maj7     -     -        0.4       0.7        3
major   1      maj9     -     -        0.7       0.9        -
major   1      6/9      -     -        0.8       1.0        -
major   1      maj7#11  -     -        1.3       1.1        -
major   4      .        0.45  0.45     1.3        1.7        3
major   4      maj7     -     1.20     0.6        0.8        3
major   4      6        -     -        0.8       1.0        -
major   4      maj7#11  -     -        0.8       0.9        -
major   4      m6       -     -        0.8       0.7        -
major   4      m        -     -        1.4       1.6        -
major   4      mMaj7    -     -        1.6       1.5        -
major   5      .        0.50  0.50     1.5        2.0        3
major   5      7        0.55  0.55     0.3        0.5        3 b7
major   5      9        -     -        0.5       0.6        -
major   5      13       -     -        0.6       0.7        -
major   5      7b9      -     -        0.9       0.7        -
major   5      7sus4    -     -        0.7       0.8        -
major   5      9sus4    -     -        0.8       0.8        -
major   5      7#5      -     -        1.2       1.0        -
major   5      m7       -     -        1.0       1.0        -
major   2      m        -     0.60     1.2        1.5        3
major   2      m7       -     0.75     0.4        0.7        3 b7
major   2      m9       -     -        0.6       0.8        -
major   2      m11      -     -        0.9       0.9        -
major   2      m7b5     -     -        1.2       1.0        -
major   2      .        -     1.75     2.0        2.2        3
major   3      .        -     2.10     2.0        2.2        3
major   6      .        -     2.05     2.0        2.2        3
minor   2      .        -     2.05     2.2        2.2        3
major   2      7        -     1.25     0.7        0.7        3
major   2      9        -     -        0.8       0.8        -
major   2      7#11     -     -        1.2       1.0        -
major   3      m        -     0.85     1.4        1.7        -
major   3      m7       -     1.80     0.7        0.9        -
major   3      7        -     1.90     0.8        0.7        3
major   3      7b9      -     -        0.9       0.8        3
major   3      m7b5     -     -        1.2       1.0        -
major   6      m        -     0.60     1.1        1.5        3
major   6      m7       -     1.25     0.5        0.8        b7
major   6      m9       -     -        0.7       0.9        -
major   6      7        -     1.65     0.7        0.7        3
major   6      7b9      -     -        0.8       0.7        3
major   7      dim      -     2.05     2.0        2.0        -
major   7      m7b5     -     -        0.8       0.8        -
major   7      7        -     -        1.1       0.9        -
major   7      7b9      -     -        1.2       0.9        -
major   1      7        -     2.20     0.8        0.8        3
major   1      9        -     -        1.0       0.9        -
major   b7     .        -     1.90     2.0        2.0        -
major   b7     9        -     -        1.0       0.9        -
major   b7     13       -     -        1.2       1.0        -
major   b6     maj7     -     -        1.4       1.2        -
major   b6     7        -     -        1.4       1.0        -
major   b3     maj7     -     -        1.6       1.3        -
major   b2     maj7     -     -        1.6       1.3        -
major   b2     7#11     -     -        1.2       1.0        -
major   b2     9        -     -        1.3       1.0        -
major   #1     dim7     -     -        0.9       0.8        -
major   #2     dim7     -     -        1.0       0.8        -
major   #4     dim7     -     -        1.0       0.8        -
major   #5     dim7     -     -        1.0       0.8        -
major   #4     m7b5     -     -        1.0       0.9        -
minor   1      m        0.15  0.15     0.8        1.4        3 5
minor   1      m6       -     -        0.5       0.6        -
minor   1      m7       -     -        0.7       0.9        b7
minor   1      m9       -     -        0.8       0.9        -
minor   1      mMaj7    -     -        1.1       1.0        -
minor   4      m        0.55  0.55     1.1        1.5        3
minor   4      m7       -     1.40     0.4        0.8        b7
minor   4      m6       -     -        0.5       0.7        -
minor   4      m9       -     -        0.8       0.9        -
minor   4      .        -     1.20     2.0        2.0        -
minor   4      7        -     -        0.9       0.8        3
minor   5      .        0.30  0.30     1.6        2.0        3
minor   5      7        0.70  0.70     0.4        0.6        3 b7
minor   5      7b9      -     -        0.7       0.6        3
minor   5      7#5      -     -        0.8       0.8        -
minor   5      7b13     -     -        0.8       0.8        -
minor   5      7sus4    -     -        0.9       0.9        -
minor   5      m        -     0.45     1.4        1.7        -
minor   5      m7       -     -        1.0       1.1        -
minor   b7     .        0.40  0.25     1.3        1.8        3
minor   b7     7        -     1.40     0.7        0.8        -
minor   b7     9        -     -        0.8       0.8        -
minor   b3     .        -     0.30     1.3        1.8        3
minor   b3     maj7     -     -        0.6       0.8        -
minor   b3     6        -     -        0.9       1.0        -
minor   b6     .        -     0.65     1.3        1.8        3
minor   b6     maj7     -     -        0.5       0.7        3
minor   b6     7        -     -        0.8       0.7        -
minor   b6     maj7#11  -     -        0.8       0.8        -
minor   2      dim      -     2.00     2.4        2.4        3
minor   2      m7b5     -     1.40     0.4        0.6        3
minor   2      7        -     -        1.1       0.9        -
minor   b2     maj7     -     -        1.0       1.0        -
minor   b2     7#11     -     -        1.0       0.9        -
minor   1      7        -     -        0.9       0.8        3
minor   1      7b9      -     -        0.9       0.8        3
minor   7      dim7     -     -        0.7       0.7        -
minor   #4     dim7     -     -        0.9       0.8        -
minor   3      dim7     -     -        0.9       0.8        -
minor   6      m7b5     -     -        0.9       0.9        -
any     *      maj7     -     -        -         1.7        -
any     *      m7       -     -        -         1.6        -
any     *      m6       -     -        -         1.6        -
any     *      7        -     -        -         1.5        3
any     *      9        -     -        -         1.6        -
any     *      7b9      -     -        -         1.6        -
any     *      7#9      -     -        -         1.7        -
any     *      7#11     -     -        -         1.6        -
any     *      7b13     -     -        -         1.7        -
any     *      13       -     -        -         1.6        -
any     *      9sus4    -     -        -         1.8        -
any     *      m9       -     -        -         1.7        -
any     *      m11      -     -        -         1.8        -
any     *      m7b5     -     -        -         1.7        -
any     *      dim7     -     -        -         1.7        -
any     *      maj7#11  -     -        -         1.8        -
any     *      maj9     -     -        -         1.8        -
any     *      6/9      -     -        -         1.8        -
any     *      mMaj7    -     -        -         2.0        -
"""

# Cost of a note other than the root in the bass, by manner and by the bass's number in the chord.
# A sixth chord is common everywhere, a six-four chord only at a cadence or in passing (common practice).
SLASH = {
    "plain": {},
    "diatonic": {3: 0.9, 5: 1.3},
    "colourful": {3: 0.45, 5: 0.8, 7: 0.55},
    "chromatic": {3: 0.45, 5: 0.8, 7: 0.5},
}

# Tensions that a melody note may be over a chord that does not write them, by family; numbers are semitones above
# the root. A natural eleventh over a major third and a minor ninth are none (common practice).
TENSIONS = {
    "major": frozenset({2, 6, 9, 11}),
    "minor": frozenset({2, 5, 9, 10}),
    "dominant": frozenset({2, 6, 9}),
    "half-diminished": frozenset({2, 5, 8}),
    "diminished": frozenset({2, 5, 8, 11}),
    "augmented": frozenset({2, 6}),
    "suspended": frozenset({2, 9}),
}


class Colour(NamedTuple):
    """A chord of a manner by its place in the key.

    `root` and `bass` are semitones above the tonic, `tones` semitones above the root that belong to it, `tensions`
    those that the tune may add; `group` names the broad kind of quality for the measure of variety.
    """

    degree: Degree
    quality: str
    bass_degree: Degree | None
    root: int
    bass: int
    cost: float
    tones: frozenset[int]
    tensions: frozenset[int]
    family: str
    dominant: bool


STEPS = ["1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7"]


@lru_cache(maxsize=8)
def palette(manner: str, minor: bool) -> tuple[Colour, ...]:
    """Every chord of a manner in a major or minor key, cheapest spelling of each once, in the order of the table."""
    column = MANNERS.index(manner)
    found: dict[tuple[int, str, int], Colour] = {}
    for line in TABLE.strip().splitlines():
        if line.startswith("#"):
            continue
        mode, degree, quality, *rest = line.split()
        costs, basses = rest[:4], rest[4:]
        if costs[column] == "-" or mode not in ("any", "minor" if minor else "major"):
            continue
        for step in STEPS if degree == "*" else [degree]:
            for colour in on_basses(
                step, quality.replace(".", ""), float(costs[column]), basses, SLASH[manner]
            ):
                found.setdefault((colour.root, colour.quality, colour.bass), colour)
    return tuple(found.values())


def on_basses(
    step: str, quality: str, cost: float, basses: Sequence[str], slash: Mapping[int, float]
) -> list[Colour]:
    """A chord in root position and over those of its notes that a manner has in the bass; `slash` costs them."""
    degree = Degree.parse(step)
    chord = read("C" + quality)
    assert chord is not None
    plain = _colour(degree, None, cost, chord)
    slashes: list[Colour] = []
    for text in basses:
        bass = None if text == "-" else Degree.parse(text)
        if bass is None or bass.number not in slash:
            continue
        if bass.number == 3:  # the third that the chord has
            bass = next(d for d in chord.degrees if d.number == 3)
        slashes.append(_colour(degree, bass, cost + slash[bass.number], chord))
    return [plain, *slashes]


def colour_of(chord: Chord, key: Key) -> Colour:
    """A chord that was given, by its place in a key; it costs nothing."""
    above = (chord.root.pc - key.tonic.pc) % 12
    bass = None if chord.bass is None else Degree.parse(STEPS[(chord.bass.pc - chord.root.pc) % 12])
    return _colour(Degree.parse(STEPS[above]), bass, 0.0, chord)


def allowed(chord: Chord) -> frozenset[int]:
    """Tones that the tune may add to a chord or have in common with it, in semitones above the root.

    Beside a written flat or sharp ninth the natural one is none, nor a thirteenth beside its flat (common practice).
    """
    tones = {d.semitones % 12 for d in chord.degrees}
    clash = set[int]()
    if chord.family == "dominant":
        clash |= {2} if tones & {1, 3} else set()
        clash |= {9} if 8 in tones else set()
    return TENSIONS.get(chord.family, frozenset()) - clash


def _colour(degree: Degree, bass: Degree | None, cost: float, chord: Chord) -> Colour:
    root = degree.semitones % 12
    tones = frozenset(
        d.semitones % 12 for d in chord.degrees if d not in chord.omit or d.number < 11
    )
    return Colour(
        degree,
        chord.quality,
        bass,
        root,
        (root + (bass.semitones if bass else 0)) % 12,
        cost,
        tones,
        allowed(chord) - tones,
        chord.family,
        chord.family in ("dominant", "suspended") and any(d.name == "b7" for d in chord.degrees),
    )
