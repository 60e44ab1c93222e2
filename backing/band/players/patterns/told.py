"""What patterns tell beside their strokes: the band's idea, how late they are, what they lead to in the next section."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence

from backing.band.model import Kind, Note, Why
from backing.band.players.common import Brief, Marks
from backing.band.players.patterns.lay import Chosen, leads_to
from backing.ground.instruments import DRUM_NAMES


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
        here if here is not None and brief.algorithm(plan) == "pattern" else None
        for here, plan in zip(found, brief.plans, strict=True)
    ]
    starts = [bar.start_q for bar in brief.bars]
    made = []
    for note in line:
        number = max(0, bisect_right(starts, note.start_q) - 1)
        made.append(_told(note, playing[number], note.start_q == starts[number]))
    return made, called


def _told(note: Note, here: Chosen | None, first: bool) -> Note:
    """A note with the timing of its pattern; the band's idea, or the bar that leads to it, among its reasons.

    `first` is true on the first beat of a bar.
    """
    if here is None or note.strict:
        return note
    if first and DRUM_NAMES.get(note.pitch) in dict(here.into) and not note.degree:
        return note._replace(why=Why(Kind.PATTERN, "led to by the bar before"))
    if here.pattern.idea:
        note = note._replace(why=note.why.also(f", idea '{here.pattern.idea}'"))
    timing = here.pattern.timing
    return note._replace(timing=tuple(timing.items())) if timing else note
