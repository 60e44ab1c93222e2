"""What may be asked of a harmonisation."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from backing.ground.pitch import Key
from backing.harmonising.palette import MANNERS
from backing.harmony.chord import Chord

EVERY = ("auto", "bar", "half", "beat", "note")
BASSES = ("free", "falling", "rising", "still", "cycle")

__all__ = ["BASSES", "EVERY", "MANNERS", "PLAIN", "Kept", "Wishes"]


class Kept(NamedTuple):
    """A chord that must stay: the number of its bar, its counted beat, the chord."""

    bar: int
    beat: Fraction
    chord: Chord


class Wishes(NamedTuple):
    """How a melody is to be harmonised; the defaults ask for a ballad's chords as often as the tune wants them.

    `manner` is one of `MANNERS`, `every` of `EVERY`, `bass` of `BASSES`. `key` is the melody's key where it is known,
    `avoid` holds symbols that must not occur, `keep` chords that must.
    """

    manner: str = "colourful"
    every: str = "auto"
    key: Key | None = None
    bass: str = "free"
    results: int = 8
    keep: tuple[Kept, ...] = ()
    avoid: frozenset[str] = frozenset()


PLAIN = Wishes()
