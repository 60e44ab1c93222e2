"""Where a capo lets a row of chords lie in open shapes.

Conventions: frets from the nut, 0 for no capo; chords count by how long they sound.
Source: accompanists put the capo where the chords become those of C, G, D, A or E (common practice).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from backing.ground.instruments import STANDARD_TUNING
from backing.harmony.families import VOICES
from backing.harmony.grips import grips
from backing.harmony.symbol import Chord

HIGHEST = 7  # above it a guitar sounds like another instrument
A_FRET = 0.06  # share of the time in closed grips that a fret further up must save
EASIER = 0.001  # beside that, points of the grips


def best_capo(lengths: Mapping[Chord, float], tuning: tuple[int, ...] = STANDARD_TUNING) -> int:
    """The fret over which chords lie in open shapes for most of the time; `lengths` says how long each sounds.

    `tuning` holds the open strings without the capo.
    """
    return _best(tuple(sorted(lengths.items(), key=lambda item: item[0].symbol)), tuning)


@lru_cache(maxsize=64)
def _best(lengths: tuple[tuple[Chord, float], ...], tuning: tuple[int, ...]) -> int:
    total = sum(length for _, length in lengths) or 1.0

    def cost(capo: int) -> float:
        hard = sum(length * _hard(chord, tuning, capo) for chord, length in lengths)
        return hard / total + A_FRET * capo

    return min(range(HIGHEST + 1), key=lambda capo: (cost(capo), capo))


def _hard(chord: Chord, tuning: tuple[int, ...], capo: int) -> float:
    """0 for an open shape, 1 for a closed one; a little more for what is harder to hold."""
    grip = grips(chord, (), "open", VOICES["open"], tuning, capo).grips[0]
    return (0 not in grip.frets) + EASIER * grip.cost
