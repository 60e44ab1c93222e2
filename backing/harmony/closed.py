"""Closed grips: the stacks of `families` on groups of strings, movable along the neck.

Conventions: `frets` run from the lowest string to the highest, -1 a string that is not played, counted above the capo;
`tuning` holds what the open strings sound (MIDI), capo and retuning included. Costs add up, less is better.
Sources: drop 2 on four neighbours, drop 3 with one string between, span of four frets (timfischermusic.com on drop 2
and drop 3).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import accumulate, combinations
from typing import NamedTuple

from backing.harmony.families import Stack, gaps_of, stacks
from backing.harmony.grip import HIGHEST_FRET, WIDE_FROM, Candidate, playable, reach
from backing.harmony.offer import Tones
from backing.harmony.voicings import LOW_LIMITS, clashes

LOW, HIGH = 43, 76  # where comping lies
MIDDLE = 5  # the fret around which it lies

# Groups of strings, from 0 (lowest): at most one string between is left out.
_GROUPS = {
    n: tuple(
        g for g in combinations(range(6), n) if g[-1] - g[0] <= n and (n > 2 or g[-1] - g[0] == 1)
    )
    for n in (2, 3, 4, 5)
}


class _Shape(NamedTuple):
    """A stack on a group of strings, wherever it is held on the neck."""

    group: tuple[int, ...]
    over: tuple[int, ...]  # frets above that of the lowest note
    rise: tuple[int, ...]  # semitones above the lowest note
    first: int  # semitones of the lowest note above the root
    degrees: tuple[str, ...]
    name: str
    cost: float  # of its notes
    limits: tuple[int, ...]  # lowest notes with which its pairs sound clear
    bare: bool  # a root and a fifth, or less
    span: int  # frets from the nearest to the farthest
    skipped: int  # strings between that are not played


@lru_cache(maxsize=4096)
def _shapes(offer: Tones, family: str, voices: int, tuning: tuple[int, ...]) -> tuple[_Shape, ...]:
    """Every stack of a family on every group of strings on which a hand can hold it."""
    found = [
        _shape(stack, group, offer, tuning)
        for stack in stacks(offer, family, voices)
        for group in _GROUPS.get(len(stack.degrees), ())
    ]
    return tuple([shape for shape in found if shape is not None])


def _shape(
    stack: Stack, group: tuple[int, ...], offer: Tones, tuning: tuple[int, ...]
) -> _Shape | None:
    """A stack on a group of strings; None where no hand can hold it."""
    rise = tuple(accumulate(gaps_of(stack.degrees), initial=0))
    over = tuple([tuning[group[0]] + r - tuning[s] for r, s in zip(rise, group, strict=True)])
    frets = [-1] * 6
    names = [""] * 6
    for string, above, degree in zip(group, over, stack.degrees, strict=True):
        frets[string] = WIDE_FROM + above - min(over)
        names[string] = degree.name
    if not playable(frets):
        return None
    limits = [LOW_LIMITS[b - a] - a for a, b in combinations(rise, 2) if b - a in LOW_LIMITS]
    cost = stack.cost + clashes(rise, stack.degrees, offer.family == "dominant")
    steps = [d.semitones % 12 for d in stack.degrees]
    span, skipped = max(over) - min(over), group[-1] - group[0] - len(group) + 1
    return _Shape(
        group, over, rise, steps[0], tuple(names), stack.shape, cost, tuple(limits),
        len(set(steps)) < 3, span, skipped,
    )  # fmt: skip


def closed(
    root_pc: int, offer: Tones, family: str, voices: int, tuning: tuple[int, ...], capo: int
) -> Iterator[Candidate]:
    """Stacks of a family on groups of strings, without open strings but for a power chord's root."""
    for shape in _shapes(offer, family, voices, tuning):
        string = shape.group[0]
        first = (root_pc + shape.first - tuning[string]) % 12
        for bottom in (first, first + 12):
            nearest = bottom + min(shape.over)
            rings = shape.bare and bottom == nearest == 0 and string < 3  # E5, A5 and D5
            if rings or _on_the_neck(shape, nearest, capo):
                cost = _cost(shape, tuning[string] + bottom, nearest + capo, rings and string < 2)
                if family in ("shells", "rhythm") and string > 1 + (family == "shells"):
                    cost += 0.8  # three thin strings are no rhythm section
                frets = [-1] * 6
                for at, above in zip(shape.group, shape.over, strict=True):
                    frets[at] = bottom + above
                yield cost, tuple(frets), shape.degrees, shape.name


def _on_the_neck(shape: _Shape, nearest: int, capo: int) -> bool:
    return 1 <= nearest <= HIGHEST_FRET - capo - shape.span and shape.span < reach(nearest + capo)


def _cost(shape: _Shape, low: int, fret: int, rings: bool) -> float:
    """What it costs to hold a shape with its lowest note at `low` (MIDI), its lowest fret at `fret` from the nut."""
    cost = shape.cost + 0.5 * sum([limit - low for limit in shape.limits if limit > low])
    cost += 0.16 * abs(fret - MIDDLE) + 0.12 * shape.span
    if rings:
        cost -= 0.8  # an open root
    lowest = shape.group[0]
    too_low = max(0, LOW - low)
    if shape.bare:  # power chords live low, root and fifth side by side
        cost += 0.5 * lowest + 2.0 * shape.skipped
        too_low = 0
    cost += 0.15 * too_low + 0.4 * max(0, low + shape.rise[-1] - HIGH)
    cost += 0.35 * shape.skipped
    if not shape.bare and lowest == 0:
        cost += 0.4  # the lowest string is the bass's
    return cost
