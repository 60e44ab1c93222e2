"""Chords as in a chorale: the diatonic manner where every beat wants a chord of its own.

*Conventions*: costs as in `costs.py`; a table by family is indexed by the semitones of a note of the tune above the
chord's root, `NEXT` and `BEFORE` for the tune's note a beat later and the one before. A note *closes* where a phrase is
known to end on it (a fermata), else the last note of each phrase. Chords are triads, some with their seventh; the key is
the home key, visits are secondary dominants.

*Source*: the tables hold the weights, rounded, of a conditional random field over these features that was fitted to
every other one of the four-voice chorales in music21's corpus (a chord a quarter by rule, as in the bench); costs of
inversions and of sevenths are by ear.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from backing.harmonising.melody import Melody, Place, phrase_ends
from backing.harmonising.palette import Colour, on_basses
from backing.harmonising.search import Flags, Floats, Ints

CHORDS = """
# mode  degree triad  cost  ending before  basses
major   1      .       0.60  -1.15  -0.20   3 5
major   5      .       0.65  -1.60  -0.55   3
major   4      .       0.30  -0.15   0.20   3
major   6      m       0.00  -0.45   0.05   3
major   2      m       0.65   0.05   0.00   3
major   3      m       0.05  -0.05   0.45   3
major   2      .       1.65   0.60  -0.95   3
major   3      .       0.85  -1.95  -0.50   3
major   6      .       1.95  -1.30  -0.50   3
major   7      dim     0.65   0.75   0.85   3
major   5      m       2.20  -0.95   1.40   3
major   b7     .       2.30  -0.35   0.10   3
major   3      dim     1.60   0.55  -0.55   3
major   #4     dim     1.80   1.10  -1.30   3
minor   1      m       0.05  -0.25   0.25   3 5
minor   5      .       0.70  -1.60  -0.55   3
minor   b3     .       0.10  -1.30   0.60   3
minor   b7     .       0.60  -0.35   0.10   3
minor   4      m       0.00   1.15   0.15   3
minor   1      .       1.60  -1.15  -0.20   3 5
minor   b6     .       0.40   0.30   0.20   3
minor   5      m       0.75  -0.95   1.40   3
minor   2      dim     0.50   2.15   0.35   3
minor   4      .       1.00  -0.15   0.20   3
minor   2      .       1.65   0.60  -0.95   3
minor   6      dim     1.05   0.90   0.15   3
minor   7      dim     0.55   0.75   0.85   3
minor   2      m       1.90   0.05   0.00   3
"""
TUNE = {
    "major": (0.65, 5.25, 6.30, 5.45, 0.00, 6.70, 5.50, 0.85, 5.95, 6.65, 2.85, 4.10),
    "minor": (1.70, 5.25, 6.40, 0.75, 5.20, 6.50, 5.10, 1.75, 5.90, 6.05, 3.90, 5.45),
    "diminished": (2.25, 6.45, 5.30, 3.10, 5.45, 6.20, 3.00, 5.70, 6.65, 3.70, 4.30, 5.90),
}  # fmt: skip
NEXT = {
    "major": (0.30, 0.05, -0.10, 0.95, 0.60, -0.30, 0.45, 0.65, -1.10, -0.80, 0.60, 0.20),
    "minor": (-0.55, -0.55, -0.90, -0.15, 0.20, -0.55, 0.35, -0.40, -0.75, -0.35, -0.45, -0.85),
    "diminished": (-0.10, 0.05, 0.40, 0.75, -0.20, 0.45, 0.30, -0.05, 0.75, 0.15, 0.55, 0.40),
}  # fmt: skip
BEFORE = {
    "major": (-0.45, 0.55, -0.60, 0.05, 0.20, -0.40, 0.30, -0.70, -0.25, 0.00, -0.50, -0.90),
    "minor": (-0.05, 0.45, -0.40, 0.55, 0.80, 0.10, 0.90, -0.35, 0.20, 0.50, -0.50, -1.00),
    "diminished": (0.35, -0.70, 0.60, 0.55, 0.65, 0.25, 0.05, 0.05, 0.15, 0.10, -0.80, 0.35),
}  # fmt: skip

# By the weight of the place (0 to 2); by the root above the tonic, -1 for any other.
STRONG = {
    0: (-0.25, -0.40, -0.30),
    2: (-0.10, -0.05, -0.15),
    5: (0.25, -0.05, -0.10),
    7: (-0.35, -0.10, -0.05),
    9: (0.25, 0.35, 0.20),
    -1: (0.20, 0.30, 0.35),
}
FIRST = (
    0.00,
    1.90,
    2.35,
    1.95,
    2.35,
    2.40,
    2.00,
    1.25,
    2.40,
    1.80,
    2.30,
    2.10,
)  # by the root above the tonic
ELSEWHERE = 1.80  # a last chord that is not on the tonic
DEGREES = (  # from I to VII (rows) to I to VII
    (1.75, 0.00, 0.30, 0.70, 0.65, 0.15, 0.45),
    (1.10, 0.45, 0.80, 0.35, 0.80, 0.70, 0.95),
    (1.25, 0.90, 1.25, 0.70, 0.90, 0.80, 0.75),
    (1.30, 0.40, 1.15, 0.80, 0.60, 0.30, 0.60),
    (1.10, 0.75, 0.90, 0.90, 1.15, 0.30, 0.75),
    (0.75, 0.60, 0.75, 0.65, 0.75, 0.25, 0.65),
    (1.00, 0.20, 0.35, 0.60, 1.00, 0.40, 0.85),
)
ROOTS = (  # by the root's way up; from a diminished triad below
    (0.00, 2.70, 3.20, 3.40, 3.75, 1.90, 2.40, 2.40, 2.90, 2.80, 3.10, 3.30),
    (0.00, 0.25, 0.55, 1.60, 0.65, 0.00, 0.90, 0.60, 1.15, 1.70, 1.05, 1.15),
)
SAME = 2.30  # the same chord again

# Weights of `costs.py` about the bass, as a choir's bass moves (by ear).
OUTER = {
    "bass motion": 0.3, "line": 0.2, "two skips": 0.1, "turn back": 0.0, "contrary": 0.1, "parallel": 0.4,
    "opening": 0.0, "close": ELSEWHERE,
}  # fmt: skip
SEVENTHS = {"": "7", "m": "m7", "dim": "m7b5"}  # of a triad
SEVENTH = 1.5  # for a seventh in the chord
OWN = 1.6  # reward where the tune has it
WITH_SEVENTH = (("", "1 2 3 5 6 b7"), ("m", "2"), ("dim", "2"))  # triads, degrees
INVERTED = {3: 0.1, 5: 1.2}  # by the bass's number in the chord
DIMINISHED = {3: -0.8}  # a diminished triad stands on its third (common practice)
OPENING = 2.5  # a hymn does not begin on an inversion, after a pickup neither
CADENCE = 2.0  # the dominant that leads to a close stands on its root
BEAT = Fraction(1)
FAMILIES = ("major", "minor", "diminished")


class Verse(NamedTuple):
    """What a place says: the tune as pitch classes (None where it rests), the weight, and where its phrase is."""

    now: int | None
    after: int | None
    before: int | None
    weight: int
    closes: bool
    leads: bool  # the next beat closes
    first: bool
    begins: bool  # the first chord, and the first on a bar line


class Chords(NamedTuple):
    """The chords of one mode as arrays of one length; `strong` is by weight and chord."""

    colours: tuple[Colour, ...]
    root: Ints  # above the tonic
    family: Ints  # index in FAMILIES
    cost: Floats
    closing: Floats
    leading: Floats
    strong: Floats
    seventh: Ints  # semitones above the root, -1 where there is none
    inverted: Flags


def applies(manner: str, melody: Melody, places: Sequence[Place]) -> bool:
    """Whether chords stand as in a hymn: the diatonic manner, and three of four places ask for a chord on one beat."""
    quick = sum(not p.free and p.length_q <= max(melody.bars[p.bar].meter.pulses_q) for p in places)
    return manner == "diatonic" and 4 * quick >= 3 * len(places)


@lru_cache(maxsize=2)
def chords(minor: bool) -> Chords:
    """The chords of a major or minor key, each with its inversions and some with their seventh."""
    rows: dict[tuple[int, str, int], tuple[Colour, int, float, float]] = {}
    for line in CHORDS.strip().splitlines()[1:]:
        mode, step, triad, cost, closing, leading, *basses = line.split()
        if mode != ("minor" if minor else "major"):
            continue
        triad = triad.replace(".", "")
        family = FAMILIES.index({"": "major", "m": "minor", "dim": "diminished"}[triad])
        kinds = [(triad, float(cost))]
        if any(triad == kind and step in steps.split() for kind, steps in WITH_SEVENTH):
            kinds.append((SEVENTHS[triad], float(cost) + SEVENTH))
        for quality, price in kinds:
            inverted = DIMINISHED if triad == "dim" else INVERTED
            for colour in on_basses(step, quality, price, basses, inverted):
                key = (colour.root, colour.quality, colour.bass)
                rows.setdefault(key, (colour, family, float(closing), float(leading)))
    colours = tuple(row[0] for row in rows.values())
    return Chords(
        colours,
        np.array([c.root for c in colours]),
        np.array([row[1] for row in rows.values()]),
        np.array([c.cost for c in colours]),
        np.array([row[2] for row in rows.values()]),
        np.array([row[3] for row in rows.values()]),
        np.array([[STRONG.get(c.root, STRONG[-1])[w] for c in colours] for w in range(3)]),
        np.array([10 if c.quality in SEVENTHS.values() else -1 for c in colours]),
        np.array([c.bass_degree is not None for c in colours]),
    )


def verses(melody: Melody, places: Sequence[Place]) -> list[Verse]:
    """The verse of every place."""
    closes = melody.closes or _last_notes(melody)
    opening = next((t for t, p in enumerate(places) if melody.bars[p.bar].number), 0)
    found = []
    for t, place in enumerate(places):
        here = melody.between(place.start_q, place.end_q)
        after = melody.between(place.end_q, place.end_q + BEAT)
        before = melody.between(place.start_q - BEAT, place.start_q)
        found.append(
            Verse(
                here[0].pitch.midi % 12 if here else None,
                after[0].pitch.midi % 12 if after else None,
                before[-1].pitch.midi % 12 if before else None,
                place.weight,
                any(n.start_q in closes for n in here),
                any(n.start_q in closes for n in after),
                t == 0,
                t in (0, opening),
            )
        )
    return found


def _last_notes(melody: Melody) -> frozenset[Fraction]:
    """Starts of the last note of every phrase."""
    found = set()
    for index in phrase_ends(melody):
        bar = melody.bars[index]
        starts = [n.start_q for n in melody.between(bar.start_q, bar.start_q + bar.length_q)]
        found.update(starts[-1:])
    return frozenset(found)


def nodes(verse: Verse, tonic: int, row: Chords) -> Floats:
    """What each chord costs by itself at a place."""
    cost: Floats = row.cost + row.strong[verse.weight]
    for table, pc in ((TUNE, verse.now), (NEXT, verse.after), (BEFORE, verse.before)):
        if pc is not None:
            above = (pc - tonic - row.root) % 12
            cost = cost + np.array([table[f] for f in FAMILIES])[row.family, above]
    if verse.now is not None:
        cost = cost - OWN * ((verse.now - tonic - row.root) % 12 == row.seventh)
    if verse.closes:
        cost = cost + row.closing
    if verse.leads:
        cost = cost + row.leading + CADENCE * (row.inverted & (row.root == 7))
    if verse.first:
        cost = cost + np.array(FIRST)[row.root]
    if verse.begins:
        cost = cost + OPENING * row.inverted
    return cost


def moves(a: Ints, b: Ints, diminished: Flags, root_up: Ints) -> Floats:
    """What each move costs but for its bass; `a` and `b` are numbers of degrees from 0."""
    roots = np.where(diminished[:, None], np.array(ROOTS[1])[root_up], np.array(ROOTS[0])[root_up])
    degrees = np.array(DEGREES)[a[:, None], b[None, :]]
    cost: Floats = np.where(root_up == 0, SAME, roots + degrees)
    return cost
