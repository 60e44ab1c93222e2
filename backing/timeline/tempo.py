"""The tempo map of a form: settings, glides, ritards, fermatas.

Conventions: tempos are quarters a minute as fractions until a step is written, which is in whole microseconds a
quarter. A glide is one step a counted beat: over a section it goes from its first to its last beat; a `rit.` or
`accel.` moves with its first beat and has arrived with its last. A fermata doubles its chord by halving the tempo, so
the grid stays as written. Sources: Standard MIDI File 1.0 for the unit; the share of the closing ritard is
common practice.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.ground.timebase import TempoStep, microseconds_a_quarter

CLOSING_RIT = Fraction(7, 10)  # of the tempo so far, for the manner of ending `rit`
SLOWEST_US = 16_777_215  # the three bytes of a set-tempo event
TOO_SLOW = "that tempo is below 3.6 quarters a minute, the slowest that a MIDI file can say"
ONE = Fraction(1)


class Beat(NamedTuple):
    """A counted beat at `at_q`; `share` multiplies the tempo (`beat = beat` at a change of meter)."""

    at_q: Fraction
    share: Fraction = ONE


class Bend(NamedTuple):
    """From `at_q` the tempo moves to `to_qpm`, or by `share` where that is None; both None is `a tempo`."""

    at_q: Fraction
    to_qpm: Fraction | None = None
    share: Fraction | None = None


class Leg(NamedTuple):
    """One playing of a section: its tempo, gliding to `to_qpm` where that is given, its beats and bends.

    `follows` is true where the tempo is the chart's, not the section's own.
    """

    start_q: Fraction
    end_q: Fraction
    qpm: Fraction
    to_qpm: Fraction | None = None
    beats: Sequence[Beat] = ()
    bends: Sequence[Bend] = ()
    follows: bool = True


def tempo_steps(legs: Iterable[Leg], factor: Fraction = ONE) -> tuple[TempoStep, ...]:
    """The steps of all legs in order, every tempo multiplied by `factor`; equal neighbours are one step."""
    steps: list[TempoStep] = []
    for leg in legs:
        for at_q, qpm in _changes(leg):
            us = min(microseconds_a_quarter(qpm * factor), SLOWEST_US)
            if not steps or steps[-1].us != us:
                steps.append(TempoStep(at_q, us))
    return tuple(steps)


def glided(legs: Sequence[Leg], to_qpm: Fraction, end_q: Fraction) -> list[Leg]:
    """The chart's own glide: its tempo moves to `to_qpm` over the whole form, which ends at `end_q`."""
    moved = []
    for leg in legs:
        if leg.follows:
            way = to_qpm - leg.qpm
            start, end = leg.start_q / end_q, leg.end_q / end_q
            leg = leg._replace(qpm=leg.qpm + way * start, to_qpm=leg.qpm + way * end)
        moved.append(leg)
    return moved


def _changes(leg: Leg) -> list[tuple[Fraction, Fraction]]:
    """Places and tempos of one leg."""
    even = leg.to_qpm is None and not leg.bends
    if even and all(b.share == leg.beats[0].share for b in leg.beats):
        return [(leg.start_q, leg.qpm * (leg.beats[0].share if leg.beats else ONE))]
    beats = list(leg.beats) or [Beat(leg.start_q)]
    places = [b.at_q for b in beats]
    for bend in leg.bends:  # a bend between beats begins where it stands
        i = bisect_right(places, bend.at_q)
        if i == 0 or places[i - 1] != bend.at_q:
            beats.insert(i, Beat(bend.at_q, beats[max(0, i - 1)].share))
            places.insert(i, bend.at_q)
    last = max(1, len(beats) - 1)
    tempos = [leg.qpm] * len(beats)
    if leg.to_qpm is not None:
        tempos = [leg.qpm + (leg.to_qpm - leg.qpm) * i / last for i in range(len(beats))]
    plain = [t * b.share for t, b in zip(tempos, beats, strict=True)]
    bent = list(plain)
    for n, bend in enumerate(leg.bends):
        first = bisect_right(places, bend.at_q) - 1
        stop = len(beats)
        if n + 1 < len(leg.bends):
            stop = bisect_right(places, leg.bends[n + 1].at_q) - 1
        if bend.to_qpm is None and bend.share is None:
            bent[first:] = plain[first:]
            continue
        start_qpm = bent[first - 1] if first else bent[first]
        goal = bend.to_qpm if bend.to_qpm is not None else start_qpm * (bend.share or ONE)
        for i in range(first, stop):
            bent[i] = start_qpm + (goal - start_qpm) * (i - first + 1) / (stop - first)
        bent[stop:] = [goal] * (len(beats) - stop)
    return list(zip(places, bent, strict=True))


def held(
    steps: Sequence[TempoStep], fermatas: Iterable[tuple[Fraction, Fraction]]
) -> tuple[TempoStep, ...]:
    """The steps with every fermata, from and to, at half its tempo; fermatas come in order and do not overlap."""
    spans = list(fermatas)
    if not spans:
        return tuple(steps)
    places = sorted({s.at_q for s in steps} | {q for span in spans for q in span})
    slowed: list[TempoStep] = []
    step, span = 0, 0
    for at_q in places:
        while step + 1 < len(steps) and steps[step + 1].at_q <= at_q:
            step += 1
        while span < len(spans) and spans[span][1] <= at_q:
            span += 1
        us = steps[step].us
        if span < len(spans) and spans[span][0] <= at_q:
            us = min(2 * us, SLOWEST_US)
        if not slowed or slowed[-1].us != us:
            slowed.append(TempoStep(at_q, us))
    return tuple(slowed)


def us_at(steps: Sequence[TempoStep], at_q: Fraction) -> int:
    """Microseconds a quarter that hold at a place; the first step holds before it too."""
    return steps[max(0, bisect_right(steps, at_q, key=lambda s: s.at_q) - 1)].us


def tempo_between(
    steps: Sequence[TempoStep], first_q: Fraction, last_q: Fraction
) -> tuple[TempoStep, ...]:
    """The steps that hold from `first_q` to `last_q` (excluded); the first one stands at `first_q`."""
    inside = (s for s in steps if first_q < s.at_q < last_q)
    return (TempoStep(first_q, us_at(steps, first_q)), *inside)


def closing_ritard(steps: Sequence[TempoStep], beats: Sequence[Fraction]) -> tuple[TempoStep, ...]:
    """Slow down over `beats` to `CLOSING_RIT` of the tempo before, and stay there."""
    if not beats:
        return tuple(steps)
    qpm = Fraction(60_000_000, us_at(steps, beats[0]))
    kept = [s for s in steps if s.at_q < beats[0]]
    for i, at_q in enumerate(beats):
        slower = qpm * (1 - (1 - CLOSING_RIT) * Fraction(i + 1, len(beats)))
        kept.append(TempoStep(at_q, microseconds_a_quarter(slower)))
    return tuple(kept)
