"""The bass line that a thumb or a left hand plays under its chords, by the marks of a pattern.

Conventions: `g x X 1` mean the lowest note of the chord; any other mark is told as in a bass pattern (`5`, `-5` the
fifth below, `8`, `n1` of the next chord, `a` a step into it from below). Semitones count from the chord's root or
written bass. Source: alternating thumb and boom-chick, root and then the fifth (common practice).
"""

from __future__ import annotations

from backing.band.players.rhythm import Event
from backing.band.players.tones import Tones, tones
from backing.ground.pitch import Key

LOWEST = ("g", "x", "X", "1")


def asked(event: Event, key: Key) -> tuple[int, ...]:
    """Semitones from the lowest note of the chord to what a mark asks for, one a note; 0 for the lowest note itself."""
    mark = event.mark.rstrip("!")
    return tuple(_asked(event, key, one) for one in mark.split("+"))


def _asked(event: Event, key: Key, mark: str) -> int:
    if mark in LOWEST:
        return 0
    t = tones(event.chord, key, None, event.colours)
    if mark != "a" and not mark.startswith("n"):
        return t.above_bass(mark)
    if event.following is None:
        return 0
    coming = tones(event.following, key)
    goal = (coming.bass - t.bass + 5) % 12 - 5  # the nearest way there
    if mark != "a":
        return goal + coming.above_bass(mark[1:])
    near = goal - 1
    return near if t.is_scale_tone(t.bass + near) else goal - 2


def degree_of(event: Event, key: Key, pitch: int) -> str:
    """What a pitch is in the chord of an event."""
    t: Tones = tones(event.chord, key)
    return t.name(pitch)
