"""What a harmonisation costs: one row a cost, with its weight by manner and the reason.

*Conventions*: costs have no unit; only sums are compared, and a negative cost is a reward. Columns are the manners in
the order of `palette.MANNERS`; 0 where a manner counts otherwise (the first two by `TUNE_OVER`). A chord a beat in the
diatonic manner has tables of its own in `hymn.py`. *Sources*: by ear and common practice; weights of the first two
manners were measured against a collection of folk tunes with their collector's chords.
"""

from __future__ import annotations

from typing import NamedTuple


class Row(NamedTuple):
    """A cost: its name, the weight for each manner, and why it exists."""

    name: str
    weights: tuple[float, float, float, float]
    reason: str


TABLE = (
    #   name               plain  diat.  colour chrom.
    Row("foreign note",   (0.0,   0.0,   6.0,  9.0), "a melody note that is neither in the chord nor an allowed tension"),
    Row("tension",        (0.0,   0.0,   0.5,  0.3), "a melody note that makes the chord richer"),
    Row("fifth",          (0.0,   0.0,   0.25, 0.25), "the tune on the fifth says little about the chord"),
    Row("root on 7th",    (0.0,   0.0,   0.5,  0.3), "the tune on the root of a chord with a major seventh, a half step above it"),
    Row("passing",        (0.25,  0.25,  0.45, 0.8), "share of the above for a short note that is left by step"),
    Row("change on bar",  (0.05,  0.05,  0.0,  0.0), "a new chord on the bar line"),
    Row("change in half", (0.15,  0.15,  0.25, 0.0), "a new chord in the middle of the bar"),
    Row("change on beat", (0.50,  0.50,  0.6,  0.0), "a new chord on a weak beat"),
    Row("change asked",   (1.0,   1.0,   0.0,  0.0), "share of these three where a chord was asked for at the place"),
    Row("held",           (0.90,  0.90,  0.6,  2.2), "the same chord again, where a new one was asked for"),
    Row("held over bar",  (0.50,  0.50,  0.7,  2.2), "the same chord over a bar line"),
    Row("root motion",    (0.0,   0.0,   0.7,  0.5), "share of the table of root motions"),
    Row("degree motion",  (1.0,   1.0,   0.4,  0.0), "share of the table of degrees"),
    Row("bass motion",    (0.0,   0.05,  0.6,  1.0), "share of the table of bass motions"),
    Row("line",           (0.0,   0.02,  0.2,  0.35), "bass by step in one direction, or a skip answered by a step (reward)"),
    Row("two skips",      (0.0,   0.0,   0.2,  0.3), "bass skips on in the same direction"),
    Row("turn back",      (0.0,   0.0,   0.2,  0.3), "the bass steps one way and at once the other"),
    Row("there and back",(0.0,   0.0,   0.45, 0.3), "the bass skips away and at once back, as from tonic to dominant to tonic"),
    Row("contrary",       (0.0,   0.02,  0.12, 0.15), "bass against the tune (reward), or with it (cost)"),
    Row("parallel",       (0.0,   0.1,   0.5,  0.7), "parallel octaves or fifths between tune and bass"),
    Row("resolves",       (0.35,  0.35,  0.35, 0.3), "a dominant falls a fifth or slides down a semitone (reward)"),
    Row("prepares",       (0.0,   0.0,   0.45, 0.25), "a minor seventh chord falls a fifth to a dominant seventh (reward)"),
    Row("unresolved",     (0.15,  0.15,  1.1,  0.35), "a dominant seventh that does neither, nor rises by step to a chord that is none"),
    Row("two dominants",  (0.0,   0.0,   0.25, 0.3), "a dominant seventh after another"),
    Row("same quality",   (0.0,   0.0,   0.3,  0.4), "the same quality again on another root"),
    Row("opening",        (0.50,  0.50,  1.3,  1.1), "a first chord that is not the tonic"),
    Row("close",          (3.0,   3.0,   3.0,  3.0), "a last chord that is not the tonic in root position"),
    Row("cadence",        (0.05,  0.05,  0.8,  0.6), "a phrase that ends on the tonic after a dominant, or on a dominant (reward)"),
    Row("early close",   (0.0,   0.0,   0.3,  0.3), "a dominant that goes home where no phrase ends"),
    Row("as it was",      (1.0,   1.0,   1.5,  1.5), "the chord that stood there, where others were asked for"),
    Row("repeat",         (0.8,   0.8,   0.8,  0.8), "an equal bar with other chords than before"),
)  # fmt: skip

# Root motion in semitones up, 0 to 11 (down a fifth is 5): common practice; from functional harmony's strong motions.
ROOT_MOTION = (0.5, 0.5, 0.3, 0.45, 0.55, 0.0, 0.9, 0.1, 0.55, 0.3, 0.35, 0.4)

# From degree (row) to degree (column), I to VII: usual 0, sometimes 0.4, less often 0.8, rare 1.2. Source: the table of
# usual root progressions in Piston's Harmony (from memory); IV to I as usual as IV to V (common practice of songs).
DEGREE_MOTION = (
    # I    II    III   IV    V     VI    VII
    (0.45, 0.30, 0.65, 0.20, 0.30, 0.45, 0.90),  # I
    (0.55, 0.05, 1.30, 0.60, 0.00, 0.65, 0.90),  # II
    (0.80, 0.70, 0.00, 0.25, 0.75, 0.15, 1.10),  # III
    (0.50, 0.35, 1.05, 0.10, 0.30, 0.95, 0.60),  # IV
    (0.65, 0.80, 0.90, 0.75, 0.60, 0.65, 1.45),  # V
    (0.60, 0.05, 0.35, 0.20, 0.25, 0.10, 0.95),  # VI
    (0.25, 1.40, 0.20, 0.70, 0.50, 0.60, 0.05),  # VII
)

# In a minor key the seventh degree is mostly the major triad under the tonic, a neighbour of it and of III (common
# practice of minor folk tunes).
IN_MINOR = {(0, 6): 0.3, (3, 6): 0.3}

# Bass motion by its size, 0 to 6 semitones: steps, fourths and fifths before thirds, the tritone last.
BASS_MOTION = (0.3, 0.0, 0.0, 0.9, 0.9, 0.12, 1.3)

BASS_WISH = 1.2  # reward of a move of the bass that was asked for

BY_FAMILY = ("plain", "diatonic")  # manners in which a note counts by the family of its chord
# What a note of the tune costs so many semitones above the root, by the chord's family.
TUNE_OVER = {
    "major": (0.35, 2.05, 1.50, 1.95, 0.50, 1.70, 2.00, 0.45, 2.05, 1.10, 1.85, 1.85),
    "minor": (0.55, 2.00, 1.85, 0.40, 2.00, 1.60, 2.00, 0.60, 1.95, 1.85, 1.25, 2.00),
    "dominant": (0.55, 2.00, 1.45, 2.00, 0.50, 1.45, 2.00, 0.45, 1.70, 1.80, 0.60, 2.00),
    "diminished": (0.00, 2.00, 2.00, 0.10, 2.00, 2.00, 0.15, 2.00, 2.00, 2.00, 1.95, 2.00),
    "half-diminished": (0.00, 2.00, 2.00, 0.10, 2.00, 2.00, 0.15, 2.00, 2.00, 2.00, 0.10, 2.00),
}  # fmt: skip

STRESS = (1.0, 1.15, 1.4)  # how much a melody note on a pulse counts by the weight of its place
OFF_PULSE = 0.7  # and one between pulses
LENGTH_POWER = 0.7  # of its length in pulses


def weights(manner_column: int) -> dict[str, float]:
    """The weight of every cost in one manner."""
    return {row.name: row.weights[manner_column] for row in TABLE}
