"""How the beats of a tune are counted aloud: in the count-in, and bar by bar.

Conventions: a tap is [seconds, strength, word, number of the pulse]: strength 1 on the first of a bar, `PULSE` on what a foot taps, `SOFT`
between. Sources, all common practice: "one, two, one-two-three-four" before an ordinary four; a fast three in one is
counted by bars; a slow bar of dotted beats is counted in threes ("one-two-three, one-two-three"); halves between slow
beats are "and"; the beats of a pickup are the last of their bar.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from backing.band.players.click import CLICK_KEYS, count_in
from backing.ground.timebase import EIGHTH, Meter
from backing.performance.model import Performance
from backing.timeline.model import PlayedBar

STRONG, PULSE, SOFT = 1.0, 0.65, 0.35
AND = "&"
SLOW = 70  # pulses a minute below which threes are counted
GRID = 48  # places of a stroke in a quarter

Tap = tuple[Fraction, float, str, int]


def slow_threes(meter: Meter, qpm: float) -> bool:
    """Whether the eighths of dotted beats are counted."""
    return meter.compound and qpm / float(meter.pulses_q[0]) < SLOW


def taps(bar: PlayedBar, qpm: float) -> list[Tap]:
    """What is tapped and counted in a bar, in quarters from its line."""
    meter = bar.meter
    missing = meter.length_q - bar.length_q if bar.length_q < meter.length_q else Fraction(0)
    found: list[Tap] = []
    threes = slow_threes(meter, qpm)
    for i, at in enumerate(meter.pulse_starts_q):
        strength = STRONG if i == 0 else PULSE
        found.append((at, strength, "1" if threes else str(i + 1), i + 1))
        if threes:
            found += [(at + n * EIGHTH, SOFT, str(n + 1), i + 1) for n in (1, 2)]
    return [(t[0] - missing, *t[1:]) for t in found if missing <= t[0] < bar.length_q + missing]


def counted(performance: Performance) -> list[list[object]]:
    """The beats before the tune begins: seconds, strength from 0 to 1, and the word that is said.

    Where drums lead in, the beats are those that the click would have.
    """
    before = [
        n
        for p in performance.players
        if p.role == "click"
        for n in p.notes
        if n.onset_s < performance.count_in_s - 1e-6
    ]
    strokes = [(n.onset_s, n.velocity / 127) for n in before]
    if any(n.pitch not in CLICK_KEYS for n in before):
        clicks = count_in(performance.arrangement.timeline).notes
        strokes = [(performance.tempo.seconds(n.start_q), n.velocity / 127) for n in clicks]
    first = performance.arrangement.timeline.bars[0]
    qps = 1_000_000 / performance.tempo.us_at(first.start_q)
    places = [Fraction(round(t * qps * GRID), GRID) for t, _ in strokes]
    words = count_words(places, first.meter)
    return [
        [round(t, 6), round(strength, 3), word]
        for (t, strength), word in zip(strokes, words, strict=True)
    ]


def count_words(places: Sequence[Fraction], meter: Meter) -> list[str]:
    """What is said at each stroke of a count, its places in quarters from the start.

    >>> four = Meter.of(4, 4)
    >>> count_words([Fraction(n) for n in (0, 2, 4, 5, 6, 7)], four)
    ['1', '2', '1', '2', '3', '4']
    >>> count_words([Fraction(n) for n in (0, 1, 2, 3, 4, 5)], Meter.of(3, 4))
    ['1', '2', '3', '1', '2', '3']
    >>> count_words([Fraction(n, 2) for n in range(6)], Meter.of(6, 8))
    ['1', '2', '3', '1', '2', '3']
    >>> count_words([Fraction(n) for n in (0, 3, 6, 9)], Meter.of(3, 4))
    ['1', '2', '3', '4']
    """
    bars = [int(at / meter.length_q) for at in places]
    alone = len(set(bars)) == len(bars) > 1  # a stroke a bar
    starts = meter.pulse_starts_q
    words: list[str] = []
    said = 0
    for n, (at, bar) in enumerate(zip(places, bars, strict=True)):
        inside = at - bar * meter.length_q
        of_bar = [p - bar * meter.length_q for p, b in zip(places, bars, strict=True) if b == bar]
        if n == 0 or (bar != bars[n - 1] and not alone):
            said = 0
        if meter.compound and len(of_bar) > len(starts):
            pulse = max(s for s in starts if s <= inside)
            words.append(str(int((inside - pulse) / EIGHTH) + 1))
        elif inside in starts:
            said += 1
            words.append(str(said))
        else:
            words.append(AND)
    return words
