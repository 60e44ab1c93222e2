"""Where pages end.

Conventions: points. Sources: a page is not turned inside a section where that can be helped, and never leaves one line
of it alone at the foot of a page or at the head of the next; pages are filled alike (common practice of engravers).
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.output.sheet.systems import Block

ALONE, INSIDE, PAGE, EMPTY = 100.0, 8.0, 60.0, 10.0  # what a page's end costs


def page_starts(blocks: Sequence[Block], first: float, other: float, tight: float) -> list[int]:
    """The first block of each page, on the cheapest way; `first` and `other` are the room of the first page and of the
    others. A first page that has no room for any block has none."""
    count = len(blocks)
    best = [0.0] + [float("inf")] * count
    back = [0] * (count + 1)
    empty = count > 0 and blocks[0].height > first
    for start in range(count):
        used = 0.0
        room = other if start or empty else first
        for end in range(start + 1, count + 1):
            one = blocks[end - 1]
            used += one.height + (one.gap * tight if end - 1 > start else 0.0)
            if used > room + 1e-6 and end - 1 > start:
                break
            cost = best[start] + PAGE + break_cost(blocks, end)
            if end < count:
                cost += EMPTY * (1 - min(used / room, 1.0)) ** 2
            if cost < best[end] - 1e-9:
                best[end], back[end] = cost, start
    found: list[int] = []
    at = count
    while at > 0:
        at = back[at]
        found.append(at)
    return [0, *found[::-1]] if empty else found[::-1]


def break_cost(blocks: Sequence[Block], at: int) -> float:
    """What it costs to end a page before a block: nothing where a section begins."""
    if at >= len(blocks) or blocks[at].begins:
        return 0.0
    alone_below = blocks[at - 1].begins
    alone_above = at + 1 == len(blocks) or blocks[at + 1].begins
    return INSIDE + ALONE * (alone_below + alone_above)


__all__ = ["page_starts"]
