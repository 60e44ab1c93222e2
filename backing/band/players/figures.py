"""Bass figures that are told by degree: root and fifth, tumbao, octaves, held pedal notes, and the riffs of styles.

Conventions: an event is a place and length in quarters from the bar line and a mark of the bass language (`1`, `-5`,
`8`, `n1` the next chord's root, `a` an approach to it, `x` a dead note, `!` behind it an accent), or here `s2` and `s1`,
two steps and one step of the scale from the next chord's bass. The first note under a new chord is its root or written bass, whatever a riff says there.
Sources: root, then the fifth below where there is room (country, polka, bluegrass), the fifth in every second bar of
a waltz, the scale up or down into the next chord now and then (the walk-up of country and bluegrass), low octave on the beat and high on the off-beat (disco): common practice. The tumbao sounds the and of two and
the last beat, which already belongs to the next chord (Wikipedia, "Tumbao"; common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache

from backing.band.players.anchors import Stretch
from backing.band.players.patterns.lay import Beat
from backing.band.players.pulses import beats, halves, off_beats
from backing.ground.timebase import Meter


@lru_cache(maxsize=1024)
def root_fifth(meter: Meter, second_bar: bool) -> tuple[Beat, ...]:
    """Root and fifth by turns on the strong beats; where there is one a bar, a fifth in the second bar."""
    starts = halves(meter)
    marks = ["1", "-5"] if len(starts) > 1 or not second_bar else ["-5", "1"]
    return _row(starts, [marks[i % 2] for i in range(len(starts))], meter)


@lru_cache(maxsize=1024)
def walk_up(meter: Meter) -> tuple[Beat, ...]:
    """The root, and on the last two beats the scale into the next chord; two beats have its steps in the second."""
    starts = [s for s, _ in beats(meter)]
    steps = starts[-2:] if len(starts) > 2 else [starts[-1], off_beats(meter)[-1]]
    places = sorted({Fraction(0), *steps})
    return _row(places, ["1", "s2", "s1"] if len(places) == 3 else ["1", "s1"], meter)


@lru_cache(maxsize=1024)
def octaves(meter: Meter) -> tuple[Beat, ...]:
    """Low on every beat, high on every off-beat."""
    places = sorted([(s, "1") for s, _ in beats(meter)] + [(s, "8") for s in off_beats(meter)])
    return _row([p for p, _ in places], [m for _, m in places], meter)


@lru_cache(maxsize=1024)
def pedal(meter: Meter, rhythm: str) -> tuple[Beat, ...]:
    """The bass of the chord, held or repeated: once a `bar`, on the `strong` beats, every `beat`, or in `eighths`."""
    if rhythm == "bar":
        starts: Sequence[Fraction] = (Fraction(0),)
    elif rhythm == "strong":
        starts = halves(meter)
    elif rhythm == "beat":
        starts = [s for s, _ in beats(meter)]
    else:
        starts = sorted([s for s, _ in beats(meter)] + list(off_beats(meter)))
    return _row(starts, ["1"] * len(starts), meter)


@lru_cache(maxsize=1024)
def tumbao_places(meter: Meter) -> tuple[Fraction, ...]:
    """The off-beat of the beat before the middle, and the last beat."""
    all_beats = [s for s, _ in beats(meter)]
    if len(all_beats) < 2:
        return (off_beats(meter)[0],)
    middle = max(0, len(all_beats) // 2 - 1)
    return (off_beats(meter)[middle], all_beats[-1])


def tumbao(meter: Meter, offset_q: Fraction, bar: Sequence[Stretch]) -> tuple[Beat, ...]:
    """Off-beat and last beat of a bar; a chord that begins within the next beat is played already.

    `bar` holds the stretches of the bar; the last beat always takes what follows the bar.
    """
    places = tumbao_places(meter)
    starts = [s.start_q - offset_q for s in bar]
    marks = []
    for place in places:
        soon = any(place < s <= place + Fraction(1) for s in starts)
        last = place == places[-1] and len(places) > 1
        marks.append("n1" if soon or last else "5")
    row = _row(places, marks, meter)
    if len(row) > 1:  # tied over the bar line, up to the off-beat
        tied = Beat(row[-1].at_q, row[-1].length_q + places[0], row[-1].mark)
        row = (*row[:-1], tied)
    return row


def _row(starts: Sequence[Fraction], marks: Sequence[str], meter: Meter) -> tuple[Beat, ...]:
    ends = [*starts[1:], meter.length_q]
    return tuple(Beat(s, e - s, m) for s, e, m in zip(starts, ends, marks, strict=True))
