"""Notes as an editor of scores wants to find them: on the grid, and none shorter than it must be.

A stroke of the click, a muted string or a drum is over at once, and an editor would write it as a sixty-fourth and
rests. As written it lasts until the next place of the smallest note that its style thinks in, or until the player's
next stroke. What hands add to a stroke (flams, drags, rolls, the fingers of a rasgueado) stands at a place of seconds, not of the beat: a
grace note before a stroke of its pitch is left out, as an ornament, and the rest goes to the nearest sixteenth.

Conventions: places and lengths are quarters, exact; a row is start, end, pitch, velocity.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from fractions import Fraction

from backing.band.model import Note

Row = tuple[Fraction, Fraction, int, int]

_PARTS = 24  # of a quarter: all that a pattern can write is one of its divisions
_SIXTEENTH = Fraction(1, 4)


def written(notes: Sequence[Note], grid_q: Callable[[Fraction], Fraction]) -> list[Row]:
    """The notes of one player in order; `grid_q` tells the smallest note at a place. What begins before 0 stays there."""
    exact = {(n.start_q, n.pitch) for n in notes if _on_a_part(n.start_q)}
    found: dict[tuple[Fraction, int], tuple[Fraction, int]] = {}
    for note in notes:
        start = _place(note, exact)
        if start is None:
            continue
        end = note.end_q + start - note.start_q
        before = found.get((start, note.pitch), (end, 0))
        found[start, note.pitch] = max(end, before[0]), max(note.velocity, before[1])
    places = sorted({start for start, _ in found})
    rows = []
    for (start, pitch), (end, velocity) in sorted(found.items()):
        after = bisect_right(places, start)
        least = start - start % (grid := grid_q(start)) + grid
        if after < len(places):
            least = min(least, places[after])
        rows.append((start, max(end, least), pitch, velocity))
    return rows


def _on_a_part(place: Fraction) -> bool:
    return _PARTS % place.denominator == 0


def _place(note: Note, exact: set[tuple[Fraction, int]]) -> Fraction | None:
    """Where a note is written, None for a grace note."""
    if _on_a_part(note.start_q):
        return note.start_q
    below = note.start_q // _SIXTEENTH * _SIXTEENTH
    near = (below + _SIXTEENTH, below)
    if any((place, note.pitch) in exact for place in near[:1]):
        return None
    return min(near, key=lambda place: abs(place - note.start_q))
