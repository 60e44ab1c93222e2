"""What patterns tell beside their strokes: how late they are, and what they lead to in the next section."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence

from backing.band.model import Note
from backing.band.players.common import Brief, Marks
from backing.band.players.patterns.lay import Chosen, leads_to


def with_patterns(
    brief: Brief, line: list[Note], chosen: Callable[[Brief], Sequence[Chosen | None]]
) -> tuple[list[Note], Marks]:
    """The notes of a section with the timing of the pattern of their bar, and what the last bar leads to.

    `chosen` tells a player's patterns bar by bar; it is asked only where some pattern has something to tell.
    """
    patterns = brief.part.patterns
    if not any(p.timing or p.into for p in patterns):
        return line, ()
    found = list(chosen(brief))
    called = leads_to(found[-1], brief.bars[-1]) if found[-1] is not None else ()
    if any(p.timing for p in patterns):
        line = _timed(brief, line, found)
    return line, called


def _timed(brief: Brief, line: Sequence[Note], found: Sequence[Chosen | None]) -> list[Note]:
    timings = [
        tuple(here.pattern.timing.items())
        if here is not None and brief.algorithm(plan) == "pattern"
        else ()
        for here, plan in zip(found, brief.plans, strict=True)
    ]
    starts = [bar.start_q for bar in brief.bars]
    return [
        note._replace(timing=timing)
        if (timing := timings[max(0, bisect_right(starts, note.start_q) - 1)])
        else note
        for note in line
    ]
