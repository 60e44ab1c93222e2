"""What patterns tell beside their strokes: the band's idea, how late they are, what they lead to in the next section."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence

from backing.band.model import Note
from backing.band.players.common import Brief, Marks
from backing.band.players.patterns.lay import Chosen, leads_to
from backing.styles.model import Pattern


def with_patterns(
    brief: Brief, line: list[Note], chosen: Callable[[Brief], Sequence[Chosen | None]]
) -> tuple[list[Note], Marks]:
    """The notes of a section with what the pattern of their bar tells, and what the last bar leads to.

    `chosen` tells a player's patterns bar by bar; it is asked only where some pattern has something to tell.
    """
    if not any(p.timing or p.into or p.idea for p in brief.part.patterns):
        return line, ()
    found = list(chosen(brief))
    called = leads_to(found[-1], brief.bars[-1]) if found[-1] is not None else ()
    playing = [
        here.pattern if here is not None and brief.algorithm(plan) == "pattern" else None
        for here, plan in zip(found, brief.plans, strict=True)
    ]
    starts = [bar.start_q for bar in brief.bars]
    return [
        _told(note, playing[max(0, bisect_right(starts, note.start_q) - 1)]) for note in line
    ], called


def _told(note: Note, pattern: Pattern | None) -> Note:
    """A note with the timing of its pattern, and the idea of the band among its reasons."""
    if pattern is None or note.strict:
        return note
    if pattern.idea:
        note = note._replace(why=note.why.also(f", idea '{pattern.idea}'"))
    return note._replace(timing=tuple(pattern.timing.items())) if pattern.timing else note
