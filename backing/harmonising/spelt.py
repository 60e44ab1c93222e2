"""A candidate as a spelled chord, so that the tune's note has its own letter in it.

*Source*: a chord is spelled so that the melody note is a note of it by letter as well as by sound (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from backing.ground.pitch import Key, NoteName
from backing.harmonising.candidates import Candidate
from backing.harmony.chord import Chord
from backing.harmony.spelling import note_in_key, spellings
from backing.harmony.symbol import read


def spelt(candidate: Candidate, tune: Sequence[NoteName]) -> Chord:
    """The chord of a candidate over the notes of the tune that sound with it."""
    if candidate.kept is not None:
        return candidate.kept
    colour, key = candidate.colour, candidate.key
    bass = colour.bass_degree.name if colour.bass_degree else ""
    return _spelt(
        candidate.root, colour.degree.of(key.tonic), colour.quality, bass, key, tuple(tune)
    )


@lru_cache(maxsize=4096)
def _spelt(
    pc: int, by_degree: NoteName, quality: str, bass: str, key: Key, tune: tuple[NoteName, ...]
) -> Chord:
    usual = note_in_key(pc, key)
    choices = [_chord(root, quality, bass) for root in spellings(pc)]
    return min(
        choices,
        key=lambda c: (
            max(abs(n.alter) for n in c.notes) > (2 if c.family == "diminished" else 1),
            _far(c, key),
            -sum(note in c.notes for note in tune),
            c.root != by_degree,
            sum(abs(n.alter) for n in c.notes),
            c.root != usual,
        ),
    )


def _far(chord: Chord, key: Key) -> bool:
    """A root that nobody reads: more than six fifths from the key (a leading diminished chord: nine), or outside the
    key and none of the plain names from Gb to A#, such as Fb or B#."""
    away = chord.root.fifths - key.fifths
    leading = chord.family in ("diminished", "half-diminished")
    strange = not -1 <= away <= 5 and not -6 <= chord.root.fifths <= 10
    return strange or not -6 <= away <= (9 if leading else 6)


def _chord(root: NoteName, quality: str, bass: str) -> Chord:
    chord = read(root.name + quality)
    assert chord is not None  # a quality of the palette is never N.C.
    if not bass:
        return chord
    below = next(d for d in chord.degrees if d.name == bass).of(root)
    slashed = read(f"{root.name}{quality}/{below.name}")
    assert slashed is not None
    return slashed
