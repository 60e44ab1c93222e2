"""One grip for every chord of a tune, so that the hand stays where it is.

*Conventions*: the place of a hand is the lowest fret that it holds; costs are in frets. *Source*: a player takes the
shapes that lie together (common practice).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from backing.ground.instruments import STANDARD_TUNING
from backing.harmony.chord import Chord
from backing.harmony.grip import Grip
from backing.harmony.taught import grips_for

OFFERED = 8  # grips of a chord to choose from
LATER = 1.0  # a grip for each one that is taught before it
ROUNDS = 8  # of choosing again; a tune has settled long before
NEAR = 0.8  # for each fret away from the place that is asked for, where one is


def along(
    chords: Sequence[Chord],
    tuning: tuple[int, ...] = STANDARD_TUNING,
    near: int | None = None,
    fixed: Mapping[str, Grip] | None = None,
) -> dict[str, Grip]:
    """A grip for each symbol of the chords in the order in which they are played; none for what no hand holds.

    `near` is a fret about which the hand should stand; `fixed` holds grips that are given.

    >>> from backing.harmony.symbol import read
    >>> chords = [read(s) for s in ("Gm7", "C7", "F")]
    >>> [grip.name for grip in along(chords).values()]
    ['353333', 'x32310', '133211']
    """
    choices = {
        c.symbol: (fixed[c.symbol],) if fixed and c.symbol in fixed else _choices(c, tuning, near)
        for c in chords
    }
    beside: dict[str, list[str]] = {symbol: [] for symbol in choices}
    for one, two in pairwise(c.symbol for c in chords if choices[c.symbol]):
        if one != two:
            beside[one].append(two)
            beside[two].append(one)
    found = {symbol: grips[0] for symbol, grips in choices.items() if grips}
    for _ in range(ROUNDS):
        before = dict(found)
        for symbol in found:
            near_by = [found[other] for other in beside[symbol]]
            found[symbol] = min(
                choices[symbol],
                key=lambda grip: _cost(grip, choices[symbol].index(grip), near_by, near),
            )
        if found == before:
            break
    return found


def _choices(chord: Chord, tuning: tuple[int, ...], near: int | None) -> tuple[Grip, ...]:
    found = grips_for(chord, OFFERED if near is None else 2 * OFFERED, tuning)
    rooted = tuple(grip for grip in found if "1" in grip.degrees)
    return rooted or found


def _cost(grip: Grip, place: int, beside: Sequence[Grip], near: int | None) -> float:
    """What a grip costs: its place in the order in which they are taught, or the way to where the hand should stand,
    and the mean way to the grips beside it."""
    way = sum(abs(grip.position - other.position) for other in beside) / max(1, len(beside))
    if near is None:
        return LATER * place + way
    return NEAR * abs(grip.position - near) + LATER * place / 4 + way / 2
