"""Ornaments of a stroke on drums: flam, drag, roll and buzz, as strokes around the written one.

Conventions: a stroke is (place in quarters, share of the written stroke's force). Grace notes come before the stroke
and last as long in any tempo; rolls and buzzes fill the length of the cell, as many strokes as hands play in it.
Source: a flam has one soft grace note and a drag two; open rolls run at about 14 strokes a second, pressed ones faster
and softer (common practice).
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from backing.styles.model import Pattern

WORDS = {"f": "flam", "d": "drag", "r": "roll", "z": "buzz"}
FLAM_S, DRAG_S, GRACE = 0.028, (0.07, 0.038), 0.42
ROLL_S, BUZZ_S = 0.071, 0.045  # from stroke to stroke
ROLLED, BUZZED = 0.72, 0.5
_TICK = 960  # of a quarter: places of grace notes are rounded to it

Extra = tuple[Fraction, float]


@lru_cache(maxsize=4096)
def has_ornaments(pattern: Pattern) -> bool:
    """Whether some stroke of a pattern is ornamented."""
    return any(
        cell.mark in WORDS
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


def _quarters(seconds: float, qpm: float) -> Fraction:
    return Fraction(round(seconds * qpm / 60 * _TICK), _TICK)
