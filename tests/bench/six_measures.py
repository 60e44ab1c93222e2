"""Six measures of chords under a melody: alarms for drift beside a reference's own values, no measure of good taste.

*Conventions*: a span is a label, the pitch classes of its triad and its half-open time in quarters. *Sources*: Yeh and
others 2021, Journal of New Music Research 50(1), as told in its abstract; the formulas from memory, and whether the
consonance sums or averages over the chord's notes is not checked against the paper's table (here it sums over the
triad). Tonal centroids: Harte, Sandler and Gasser 2006 (from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import cos, dist, log, pi, sin
from typing import NamedTuple

from backing.harmonising.melody import Melody, TuneNote

CIRCLES = ((1.0, 7 * pi / 6), (1.0, 3 * pi / 2), (0.5, 2 * pi / 3))  # radius, angle a semitone
CONSONANT = {
    0: 1,
    3: 1,
    4: 1,
    7: 1,
    8: 1,
    9: 1,
    5: 0,
}  # by semitones above the chord's note; else -1
PROPER = 2  # a note outside the chord is proper where the very next lies within so many semitones


class Span(NamedTuple):
    """A chord where it sounds."""

    label: str
    triad: frozenset[int]
    start_q: Fraction
    end_q: Fraction


class Six(NamedTuple):
    """The measures of one tune, or their means."""

    entropy: float  # CHE: of the labels, in nats
    coverage: float  # CC: labels used
    distance: float  # CTD: between neighbouring chords
    tones: float  # CTnCTR: chord tones and proper others, of all
    consonance: float  # PCS: a quarter
    tune_distance: float  # MCTD: between tune and chord


def centroid(pitch_classes: frozenset[int]) -> tuple[float, ...]:
    """The tonal centroid of some pitch classes, six numbers."""
    return tuple(
        radius * sum(wave(pc * angle) for pc in pitch_classes) / len(pitch_classes)
        for radius, angle in CIRCLES
        for wave in (sin, cos)
    )


def six(melody: Melody, spans: Sequence[Span]) -> Six:
    """The six measures of one tune, whose spans follow each other."""
    counts = Counter(span.label for span in spans)
    shares = [n / len(spans) for n in counts.values()]
    middles = [centroid(span.triad) for span in spans]
    moves = [dist(a, b) for a, b in pairwise(middles)]
    under = [
        (note, span, float(min(note.end_q, span.end_q) - max(note.start_q, span.start_q)))
        for span in spans
        for note in melody.between(span.start_q, span.end_q)
    ]
    length = sum(row[2] for row in under) or 1.0
    return Six(
        -sum(p * log(p) for p in shares),
        len(counts),
        sum(moves) / max(1, len(moves)),
        _tones(melody, [(note, span) for note, span, _ in under]),
        sum(q * _consonance(note, span) for note, span, q in under) / length,
        sum(q * dist(centroid(frozenset({n.pitch.midi % 12})), centroid(s.triad)) for n, s, q in under)
        / length,
    )  # fmt: skip


def _tones(melody: Melody, under: Sequence[tuple[TuneNote, Span]]) -> float:
    after = dict(pairwise(melody.notes))
    inside = outside = proper = 0
    for note, span in under:
        if note.pitch.midi % 12 in span.triad:
            inside += 1
            continue
        outside += 1
        follower = after.get(note)
        if follower is not None and abs(follower.pitch.midi - note.pitch.midi) <= PROPER:
            proper += 1
    return (inside + proper) / max(1, inside + outside)


def _consonance(note: TuneNote, span: Span) -> int:
    return sum(CONSONANT.get((note.pitch.midi - pc) % 12, -1) for pc in span.triad)


def mean(rows: Sequence[Six]) -> Six:
    """The mean of each measure over some tunes."""
    return Six(*(sum(column) / len(rows) for column in zip(*rows, strict=True)))
