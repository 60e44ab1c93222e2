"""What hands and breath do to notes that sound: swells, and cymbals that are choked.

Conventions: expression is the value of a controller from 0 to 127, 127 as loud as the note is struck; places are
performed quarters. A note that swells begins at the share `SOFTEST` of its loudness and reaches all of it at its end;
one that fades goes the other way. A General MIDI device plays 40 log10(value / 127) dB (General MIDI level 1).

Source: a swell over some 12 dB (common practice).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence

from backing.band.model import Note, Shape
from backing.performance.feel import Clock
from backing.performance.model import Gesture

FULL, SOFTEST = 127, 64  # of the controller: 12 dB apart
STEP_Q = 0.125  # from value to value
_CURVES = {Shape.SWELLS: (SOFTEST, FULL), Shape.FADES: (FULL, SOFTEST)}


def gestures(
    notes: Sequence[Note], spans: Sequence[tuple[float, float]], clock: Clock
) -> tuple[Gesture, ...]:
    """The gestures of a player whose notes are performed from and to places in quarters.

    A player has one expression: notes that begin together share it, and it is full again where the next note begins.
    """
    if all(note.shape is Shape.EVEN for note in notes):
        return ()
    found = [
        (max(end, start), note.pitch, 0)
        for note, (start, end) in zip(notes, spans, strict=True)
        if note.shape is Shape.CHOKED
    ]
    found += _expression(notes, spans)
    found.sort()
    return tuple(
        Gesture(round(clock.seconds(q), 6), round(q, 6), key, value) for q, key, value in found
    )


def _expression(
    notes: Sequence[Note], spans: Sequence[tuple[float, float]]
) -> Iterator[tuple[float, int, int]]:
    """Place, -1 and value, wherever the value changes."""
    value = FULL
    shaped_until = -1.0
    rows = sorted(zip(spans, notes, strict=True), key=lambda row: row[0])
    starts = [start for (start, _), _ in rows]
    for (start, end), note in rows:
        curve = _CURVES.get(note.shape)
        if curve is None:
            if value != FULL and start >= shaped_until:
                value = FULL
                yield max(0.0, start), -1, FULL
            continue
        if start < shaped_until:
            continue  # with the one before it
        after = bisect_right(starts, start + STEP_Q)
        if after < len(starts):
            end = min(end, starts[after])
        steps = max(1, round((end - start) / STEP_Q))
        for step in range(steps + 1):
            wanted = round(curve[0] + (curve[1] - curve[0]) * step / steps)
            if wanted != value:
                value = wanted
                yield max(0.0, start + (end - start) * step / steps), -1, value
        shaped_until = end
