"""Every player's notes on an exact grid, with the reason for each.

Conventions: quarters from the first bar played, the count-in before 0; pitches are MIDI notes derived from spelled
degrees, or General MIDI drum keys; velocity 1 to 127 as meant, before any human variation.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from backing.styles.model import Part, Style
from backing.timeline.model import Timeline


class Note(NamedTuple):
    """One note. `degree` is its name in the chord ("b7", "" for drums), `why` the rule or pattern that chose it.

    `chord` is the index of its chord in `Timeline.chords` (-1 for none; a pushed or anticipating note names the chord
    that it belongs to). `order` is the place of this note in a strum or roll, from 0, with
    `spread_ms` between neighbours. `strict` notes are never swung or humanised (count-in, click, stops, hits).
    `string` counts guitar strings from 1 (highest) to 6, `fret` above the nut or capo; 0 and -1 where not a guitar.
    """

    start_q: Fraction
    end_q: Fraction
    pitch: int
    velocity: int
    why: str
    degree: str = ""
    chord: int = -1
    order: int = 0
    spread_ms: float = 0.0
    strict: bool = False
    string: int = 0
    fret: int = -1

    @property
    def length_q(self) -> Fraction:
        return self.end_q - self.start_q


def note_order(note: Note) -> tuple[float, int]:
    """Order of start, then pitch; a place as a float compares much faster, and no two places are that near."""
    return note.start_q.numerator / note.start_q.denominator, note.pitch


class PartStart(NamedTuple):
    """From `at_q` on the player plays `part` (a section may change the style, and with it instrument and mix)."""

    at_q: Fraction
    part: Part
    style: Style


class Player(NamedTuple):
    """One role with its notes in order of start, then pitch."""

    role: str
    parts: tuple[PartStart, ...]
    notes: tuple[Note, ...]


class Arrangement(NamedTuple):
    """Timeline and notes. `count_in_q` is the length of the count-in, which ends at 0; players in score order.

    `silent` holds the indices of bars in which nobody is meant to sound.
    """

    timeline: Timeline
    style: Style
    seed: int
    players: tuple[Player, ...]
    count_in_q: Fraction = Fraction(0)
    count_in_bars: int = 0
    silent: frozenset[int] = frozenset()
