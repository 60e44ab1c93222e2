"""The open strings of a guitar: what they sound by their note names, and the names that players have for tunings.

Conventions: strings from the lowest; a string is tuned to the pitch nearest to its usual one, up to four half steps up
(more would break it) and seven down. Source: names of tunings are common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from backing.ground.instruments import STANDARD_TUNING
from backing.ground.pitch import NoteName

STRINGS = len(STANDARD_TUNING)
HIGHEST = 4  # half steps that a string is tuned up

# name, open strings
NAMED: dict[str, str] = {
    "standard": "E A D G B E",
    "drop d":   "D A D G B E",
    "double drop d": "D A D G B D",
    "drop c":   "C G C F A D",
    "open d":   "D A D F# A D",
    "open d minor": "D A D F A D",
    "open e":   "E B E G# B E",
    "open g":   "D G D G B D",
    "open a":   "E A E A C# E",
    "open c":   "C G C G C E",
}  # fmt: skip


@lru_cache(maxsize=64)
def open_strings(names: Sequence[NoteName]) -> tuple[int, ...]:
    """What six strings sound open, as MIDI notes; the usual tuning where none is named.

    >>> open_strings(tuple(map(NoteName.parse, "D A D F# A D".split())))
    (38, 45, 50, 54, 57, 62)
    >>> open_strings(())
    (40, 45, 50, 55, 59, 64)
    """
    if not names:
        return STANDARD_TUNING
    return tuple(_nearest(n.pc, usual) for n, usual in zip(names, STANDARD_TUNING, strict=True))


def _nearest(pc: int, usual: int) -> int:
    up = (pc - usual) % 12
    return usual + (up if up <= HIGHEST else up - 12)


@lru_cache(maxsize=64)
def retuned(tuning: tuple[int, ...]) -> frozenset[int]:
    """The strings, from 0 for the lowest, that lie otherwise beside the others than usual: no printed shape holds there.

    >>> sorted(retuned((38, 45, 50, 55, 59, 64))), sorted(retuned((42, 47, 52, 57, 61, 66)))
    ([0], [])
    """
    ways = [own - usual for own, usual in zip(tuning, STANDARD_TUNING, strict=True)]
    most = max(ways, key=lambda way: (ways.count(way), -abs(way)))
    return frozenset(i for i, way in enumerate(ways) if way != most)
