"""The tune as it lies on one guitar: in which octave, phrase by phrase.

A tune that leaves the neck is moved by octaves, first all of it, then whole phrases, never single notes: a line that
breaks in the middle is another line.

Conventions: pitches are MIDI notes as they sound; time in quarters.
Source: a tune sings best between the open third string and the twelfth fret of the first (common practice).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from backing.ground.instruments import STANDARD_TUNING
from backing.harmony.solo_grips import EASY
from backing.timeline.model import MelodyNote

BREATH_Q = Fraction(2)  # a note so long ends a phrase, as a rest does
SINGS = 12  # frets up to which the first string sings
LAST = 17  # the last one that is used
OCTAVES = (0, -12, 12)  # in order of choice
AWAY = 0.2  # of its time, by which a tune that is moved as a whole must lie better


class Sung(NamedTuple):
    """A note of the tune as the guitar plays it; `octaves` say how far it was moved."""

    start_q: Fraction
    end_q: Fraction
    pitch: int
    octaves: int

    @property
    def words(self) -> str:
        """What was done to it, "" for nothing."""
        if not self.octaves:
            return ""
        count, way = abs(self.octaves), "up" if self.octaves > 0 else "down"
        return (
            f", with its phrase {count} octave{'s' if count > 1 else ''} {way} to lie on the neck"
        )


@lru_cache(maxsize=8)
def sung(
    tune: tuple[MelodyNote, ...],
    tuning: tuple[int, ...] = STANDARD_TUNING,
    capo: int = 0,
    *,
    easy: bool = False,
) -> tuple[Sung, ...]:
    """Every note in the octave in which the guitar plays it; where it shall be easy, the tune lies low on the neck."""
    low, high = tuning[3] + capo, tuning[5]
    whole = _best(tune, 0, low, high + (capo + EASY if easy else max(SINGS, capo)))
    found = []
    for phrase in phrases(tune):
        for part in _fitting(phrase, low, high + LAST):
            by = whole + _best(part, whole, low, high + LAST, hard=True)
            found += [Sung(n.start_q, n.end_q, n.pitch.midi + by, by // 12) for n in part]
    return tuple(found)


def _fitting(
    phrase: tuple[MelodyNote, ...], low: int, high: int
) -> Iterator[tuple[MelodyNote, ...]]:
    """A phrase, or its parts between its widest leaps where in no octave all of it lies on the neck."""
    pitches = [n.pitch.midi for n in phrase]
    up = -(-(low - min(pitches)) // 12) * 12  # the lowest octave in which nothing lies too low
    if max(pitches) + up <= high:
        yield phrase
        return
    leaps = [abs(b - a) for a, b in pairwise(pitches)]
    at = leaps.index(max(leaps)) + 1
    yield from _fitting(phrase[:at], low, high)
    yield from _fitting(phrase[at:], low, high)


def phrases(tune: Sequence[MelodyNote]) -> Iterator[tuple[MelodyNote, ...]]:
    """The tune cut behind rests and long notes."""
    run: list[MelodyNote] = []
    for note in tune:
        if run and (note.start_q > run[-1].end_q or run[-1].end_q - run[-1].start_q >= BREATH_Q):
            yield tuple(run)
            run = []
        run.append(note)
    if run:
        yield tuple(run)


def _best(
    tune: Sequence[MelodyNote], moved: int, low: int, high: int, *, hard: bool = False
) -> int:
    """The octaves, in semitones, in which least of the time lies outside; staying comes first."""
    total = sum(n.end_q - n.start_q for n in tune) or Fraction(1)
    offers = (0, -12, 12, -24, 24, -36, 36) if hard else OCTAVES

    def outside(by: int) -> float:
        there = [n for n in tune if not low <= n.pitch.midi + moved + by <= high]
        return float(sum(n.end_q - n.start_q for n in there) / total)

    stays = outside(0)
    best = min(offers, key=lambda by: (outside(by), abs(by), by))
    return best if outside(best) < stays - (0.0 if hard else AWAY) else 0
