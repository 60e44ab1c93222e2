"""Voicings: which notes of a chord, in which order, how high.

The stacks of a family are set into the register and what remains is judged. `palette` holds the candidates of one chord, `moves` what it costs to go from one chord's
candidates to the next one's; the best path through a section is found by `search.best_path`.

Conventions: pitches are MIDI notes, rising; costs are added up, less is better, about 1 is what a player would notice.
Sources: voice-leading distance as the sum of semitone moves (Tymoczko 2006, The Geometry of Musical
Chords); low-interval limits (handbook table at sweetwater.com with its octaves read from middle C = C4). The sizes of
the costs are our own, set by listening and reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from operator import sub
from typing import NamedTuple

from backing.ground.pitch import Degree
from backing.harmony.families import gaps_of, stacks
from backing.harmony.offer import Tones, tones
from backing.harmony.symbol import Chord

# interval in semitones -> lowest note of the pair that still sounds clear (MIDI)
LOW_LIMITS = {
    1: 52, 2: 51, 3: 48, 4: 47, 5: 45, 6: 46, 7: 36, 8: 43, 9: 41, 10: 41, 11: 41,
    13: 40, 14: 39, 15: 36, 16: 34,
}  # fmt: skip

MOST_CANDIDATES = 16


class Voicing(NamedTuple):
    """Rising MIDI `pitches` with their `degrees` by name; `shape` says how it is built; `cost` is its own."""

    pitches: tuple[int, ...]
    degrees: tuple[str, ...]
    shape: str
    cost: float = 0.0

    @property
    def top(self) -> int:
        return self.pitches[-1]

    @property
    def bottom(self) -> int:
        return self.pitches[0]


class Palette:
    """The candidates of one chord, best first; compared by identity, so that what lies between two can be kept."""

    __slots__ = ("voicings",)

    def __init__(self, voicings: tuple[Voicing, ...]) -> None:
        self.voicings = voicings

    @property
    def costs(self) -> list[float]:
        return [v.cost for v in self.voicings]


def limit_excess(low: int, high: int) -> int:
    """By how many semitones a pair of notes lies below its low-interval limit, 0 when it is clear.

    >>> limit_excess(48, 51), limit_excess(45, 48), limit_excess(40, 52)
    (0, 3, 0)
    """
    limit = LOW_LIMITS.get(high - low)
    return 0 if limit is None or low >= limit else limit - low


WIDE = 9  # semitones above which two voices, the lowest aside, fall apart
TENSION_FLOOR = 55  # G3, below which a ninth or thirteenth at the bottom sounds like another root


def clashes(pitches: Sequence[int], stack: Sequence[Degree], dominant: bool) -> float:
    """What rubs in a voicing: minor ninths, but for the flat ninth over the root of a dominant; seconds at the edges;
    the root over a major seventh."""
    cost = 0.0
    last = len(pitches) - 1
    for i, low in enumerate(pitches):
        for j in range(i + 1, last + 1):
            if pitches[j] - low in (13, 25) and not (
                dominant and stack[j].name == "b9" and stack[i].number == 1
            ):
                cost += 3.0
    if last > 0:
        edge = pitches[-1] - pitches[-2]
        if edge == 1:
            cost += 1.2
        elif edge > WIDE and last > 1:
            cost += 0.5
    if any(b - a > WIDE for a, b in pairwise(pitches[1:-1])):
        cost += 1.5
    if last > 1 and pitches[1] - pitches[0] == 1:
        cost += 0.5
    if stack[-1].number == 1 and any(d.name == "7" for d in stack):
        cost += 1.2
    if stack[0].number > 8 and last > 1 and pitches[0] < TENSION_FLOOR:
        cost += 2.5
    return cost


def _own_cost(
    pitches: tuple[int, ...], stack: tuple[Degree, ...], offer: Tones, centre: float
) -> float:
    cost = 0.26 * abs(sum(pitches) / len(pitches) - centre)
    for i, low in enumerate(pitches):
        for high in pitches[i + 1 :]:
            short = limit_excess(low, high)
            if short:
                cost += 4.0 + 1.5 * short
    if len(pitches) > 4:
        cost += 0.3
    return cost + clashes(pitches, stack, offer.family == "dominant")


@lru_cache(maxsize=4096)
def palette(
    chord: Chord,
    colours: tuple[Degree, ...],
    family: str,
    voices: int,
    low: int,
    high: int,
) -> Palette:
    """The best candidates of a chord between two pitches, cheapest first; never empty.

    A register too narrow for the chord is widened upwards.
    """
    offer = tones(chord, colours)
    centre = (low + high) / 2 + 1
    found: list[Voicing] = []
    for stack, shape, extra in stacks(offer, family, voices):
        gaps = gaps_of(stack)
        first = low + (chord.root.pc + stack[0].semitones - low) % 12
        span = sum(gaps)
        for bottom in range(first, max(first + 1, high - span + 1), 12):
            pitches = [bottom]
            for gap in gaps:
                pitches.append(pitches[-1] + gap)
            line = tuple(pitches)
            cost = _own_cost(line, stack, offer, centre) + extra + 1.0 * max(0, line[-1] - high)
            found.append(Voicing(line, tuple(d.name for d in stack), shape, cost))
    found.sort(key=lambda v: (v.cost, v.pitches))
    inside = [v for v in found if v.top <= high]
    if not inside and family != "close":
        return palette(chord, colours, "close", voices, low, high)
    clear = [v for v in inside or found if not _muddy(v.pitches)] or inside or found
    kept: list[Voicing] = []
    tops: dict[int, int] = {}
    for voicing in clear:
        if tops.get(voicing.top, 0) < 2 and all(v.pitches != voicing.pitches for v in kept):
            tops[voicing.top] = tops.get(voicing.top, 0) + 1
            kept.append(voicing)
            if len(kept) == MOST_CANDIDATES:
                break
    return Palette(tuple(kept))


def _muddy(pitches: tuple[int, ...]) -> bool:
    return any(limit_excess(a, b) for i, a in enumerate(pitches) for b in pitches[i + 1 :])


def distance(a: Sequence[int], b: Sequence[int]) -> int:
    """Sum of semitone moves between two voicings, voices kept in order; a voice too many joins its neighbour.

    >>> distance((53, 57, 60, 64), (53, 57, 59, 64)), distance((60, 64, 67), (59, 62, 67, 67))
    (1, 3)
    """
    if len(a) == len(b):
        return sum(map(abs, map(sub, a, b)))
    short, long = (a, b) if len(a) < len(b) else (b, a)
    if len(short) == 1:
        return sum(abs(short[0] - y) for y in long)
    return _joined(tuple(short), tuple(long))


@lru_cache(maxsize=65536)
def _joined(short: tuple[int, ...], long: tuple[int, ...]) -> int:
    """Every voice of `long` comes from one of `short`, in order, and none of `short` is left out."""
    far = 10**6
    row = [far] * len(short)
    for i, y in enumerate(long):
        new = []
        for j, x in enumerate(short):
            before = 0 if i == j == 0 else min(row[j], row[j - 1] if j else far)
            new.append(before + abs(x - y))
        row = new
    return row[-1]


def motion(a: Voicing, b: Voicing) -> float:
    """What going from one voicing to the next costs: all voices, and the top one as a line of its own."""
    cost = 0.42 * distance(a.pitches, b.pitches)
    top = abs(b.top - a.top)
    if top > 2:
        cost += 0.7 + 0.3 * (top - 2)
    return cost


@lru_cache(maxsize=2048)
def moves(a: Palette, b: Palette) -> tuple[tuple[float, ...], ...]:
    """`moves(a, b)[j][i]`: from candidate i of `a` to candidate j of `b`."""
    return tuple(tuple([motion(x, y) for x in a.voicings]) for y in b.voicings)
