"""Ornaments of a stroke on drums: flam, drag, roll and buzz, as strokes around the written one; sweeps and chokes.

Conventions: a stroke is (place in quarters, share of the written stroke's force). Grace notes come before the stroke
and last as long in any tempo; rolls and buzzes fill the length of the cell, as many strokes as hands play in it.
Source: a flam has one soft grace note and a drag two; open rolls run at about 14 strokes a second, pressed ones faster
and softer (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache

from backing.band.model import Kind, Note, Shape
from backing.band.players.common import Brief
from backing.band.players.patterns.lay import Beat, Chosen, laid
from backing.band.players.pulses import shift_q
from backing.band.players.variations import Strokes
from backing.ground.instruments import DRUM_KEYS
from backing.styles.model import Pattern
from backing.timeline.model import PlayedBar

WORDS = {"f": "flam", "d": "drag", "r": "roll", "z": "buzz"}
SWEPT, CHOKED = "s", "c"
SWIRL = 40  # the key of the brush kit (General MIDI level 2, brush set: brush swirl)
SWEEP, STICKS = (
    0.8,
    0.42,
)  # force of a sweep, and of the soft stroke in its place where there are no brushes
FLAM_S, DRAG_S, GRACE = 0.028, (0.07, 0.038), 0.42
ROLL_S, BUZZ_S = 0.071, 0.045  # from stroke to stroke
ROLLED, BUZZED = 0.72, 0.5
_TICK = 960  # of a quarter: places of grace notes are rounded to it

CYMBALS = ("hat", "open hat", "pedal hat", "ride", "ride 2", "bell", "shaker", "cabasa", "maracas")
BRUSHES = "brush kit"

Extra = tuple[Fraction, float]


@lru_cache(maxsize=4096)
def has_ornaments(pattern: Pattern) -> bool:
    """Whether some stroke of a pattern is ornamented, swept or choked."""
    return any(
        cell.mark in (*WORDS, SWEPT, CHOKED)
        for line in pattern.lines.values()
        for bar in line
        for pulse in bar
        for cell in pulse.cells
    )


def ornament(mark: str, at_q: Fraction, length_q: Fraction, qpm: float) -> list[Extra]:
    """What is struck beside the stroke at `at_q`; nothing for a mark that is no ornament.

    >>> [(float(at), force) for at, force in ornament("f", Fraction(4), Fraction(1), 120)]
    [(3.94375, 0.42)]
    >>> len(ornament("r", Fraction(0), Fraction(1), 120))
    6
    """
    if mark == "f":
        return [(at_q - _quarters(FLAM_S, qpm), GRACE)]
    if mark == "d":
        return [(at_q - _quarters(before_s, qpm), GRACE) for before_s in DRAG_S]
    if mark not in ("r", "z"):
        return []
    step_s, force = (ROLL_S, ROLLED) if mark == "r" else (BUZZ_S, BUZZED)
    count = max(2, round(float(length_q) * 60 / qpm / step_s))
    return [(at_q + length_q * i / count, force) for i in range(1, count)]


def lasting(note: Note, mark: str, length_q: Fraction, brushes: bool) -> Note:
    """The note of a stroke that lasts as long as its cell: a sweep of the brush, a cymbal that is choked; others as they are."""
    if mark == CHOKED:
        end_q, why = note.start_q + length_q, note.why.also(", choked")
        return note._replace(end_q=end_q, why=why, shape=Shape.CHOKED)
    if mark == SWEPT and brushes:
        return note._replace(end_q=note.start_q + length_q, pitch=SWIRL, degree="sweep")
    return note


def softer(mark: str, brushes: bool) -> float:
    """Force of a sweep; 1 of any other stroke."""
    return 1.0 if mark != SWEPT else SWEEP if brushes else STICKS


def _quarters(seconds: float, qpm: float) -> Fraction:
    return Fraction(round(seconds * qpm / 60 * _TICK), _TICK)


def graces(brief: Brief, bar: PlayedBar, chosen: Chosen | None, strokes: Strokes) -> Strokes:
    """The grace notes and rolls of a bar, around the strokes that are played in it."""
    if chosen is None or not has_ornaments(chosen.pattern):
        return {}
    found: Strokes = {}
    for drum, line in laid(chosen, bar, CYMBALS).items():
        for beat in line:
            at = shift_q(bar) + beat.at_q
            if (at, drum) not in strokes:
                continue
            force, why = strokes[at, drum]
            for place, share in ornament(beat.mark, at, beat.length_q, brief.qpm):
                if place >= brief.start_q and (place, drum) not in strokes:
                    found[place, drum] = (force * share, why.also(f", {WORDS[beat.mark]}"))
    return found


def lasting_notes(brief: Brief, notes: list[Note], found: Sequence[Chosen | None]) -> list[Note]:
    """Notes with what is swept or choked as long as it is written."""
    brushes = brief.part.instrument.name == BRUSHES
    written: dict[tuple[Fraction, int], Beat] = {}
    for bar, chosen in zip(brief.bars, found, strict=True):
        if chosen is None or not has_ornaments(chosen.pattern):
            continue
        for drum, line in laid(chosen, bar, CYMBALS).items():
            written.update({(shift_q(bar) + beat.at_q, DRUM_KEYS[drum]): beat for beat in line})
    if not written:
        return notes
    return [
        lasting(note, beat.mark, beat.length_q, brushes)
        if (beat := written.get((note.start_q, note.pitch))) and note.why.kind is Kind.PATTERN
        else note
        for note in notes
    ]
