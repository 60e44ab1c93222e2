"""Where a bass, a fill or a comping drum may strike in any meter, and how loud a level is.

Conventions: places are quarters from the bar line of a full bar; a shorter bar (a pickup) has the end of them.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from backing.ground.timebase import Meter
from backing.timeline.model import PlayedBar

# Velocity of a plain stroke at pp p mp mf f ff (common practice).
_VELOCITIES = (36, 50, 65, 80, 103, 116)


@lru_cache(maxsize=1024)
def beats(meter: Meter) -> tuple[tuple[Fraction, bool], ...]:
    """The beats that a line walks on, with whether each is strong: pulses, long ones divided into quarters."""
    starts: list[Fraction] = []
    at = Fraction(0)
    for length in meter.pulses_q:
        parts = int(length) if length >= 2 and length.denominator == 1 else 1
        starts += [at + i for i in range(parts)]
        at += length
    groups = set(meter.group_starts_q)
    if len(groups) > 1 and not meter.compound and not meter.counted_in_eighths:
        return tuple((s, s in groups) for s in starts)
    even = len(starts) % 2 == 0
    return tuple((s, i == 0 or (even and i % 2 == 0)) for i, s in enumerate(starts))


@lru_cache(maxsize=1024)
def halves(meter: Meter) -> tuple[Fraction, ...]:
    """Where a two-feel plays: the strong beats; in three the first only, in unequal meters first and last group."""
    all_beats = [s for s, _ in beats(meter)]
    if len(all_beats) == 2:
        return tuple(all_beats)
    if len(all_beats) == 3:
        return (all_beats[0], all_beats[2]) if meter.counted_in_eighths else (all_beats[0],)
    return tuple(s for s, strong in beats(meter) if strong)


@lru_cache(maxsize=1024)
def off_beats(meter: Meter) -> tuple[Fraction, ...]:
    """The off-beat of every beat: its half, or the third eighth of a dotted one."""
    starts = [s for s, _ in beats(meter)] + [meter.length_q]
    return tuple(
        left + (Fraction(1) if right - left == Fraction(3, 2) else (right - left) / 2)
        for left, right in pairwise(starts)
    )


def shift_q(bar: PlayedBar) -> Fraction:
    """What to add to a place of a full bar: its bar line in quarters of the piece (before a pickup's first note)."""
    return bar.end_q - bar.meter.length_q


def loudness(level: float) -> float:
    """Velocity of a plain stroke at a level from 0 (pp) to 5 (ff).

    >>> loudness(1.0), loudness(3.0), loudness(2.5)
    (50.0, 80.0, 72.5)
    """
    held = min(max(level, 0.0), 5.0)
    step = min(int(held), 4)
    return _VELOCITIES[step] + (held - step) * (_VELOCITIES[step + 1] - _VELOCITIES[step])


def velocity(value: float) -> int:
    """A MIDI velocity."""
    return max(1, min(127, round(value)))
