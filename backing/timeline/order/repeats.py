"""Repeats and endings inside one section.

Conventions: bars are indices into the section. A repeat plays twice unless counted; a `:|` without its `|:` goes back
to the place after the repeat before it, or to the section's start. Endings with repeat signs follow the times through,
endings without follow the section's playings. Sources: order of play as any notation handbook has it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from backing.chart.ast import LAST, Bar, BarLine


class Block(NamedTuple):
    """An ending: bars `start` to `end` (excluded), for the playings in `numbers`."""

    numbers: tuple[int, ...]
    start: int
    end: int


class Endings(NamedTuple):
    """Endings that stand side by side. `total` is how often their repeat is played, 0 without repeat signs."""

    blocks: tuple[Block, ...]
    end: int
    total: int

    @property
    def highest(self) -> int:
        """The last time through that has an ending of its own, or goes past them all."""
        return max(self.total, *(n for b in self.blocks for n in b.numbers))

    def choose(self, number: int, last: bool) -> Block | None:
        """The ending for the playing `number`; `last` in the last playing of the last chorus."""
        if last:
            for block in self.blocks:
                if LAST in block.numbers:
                    return block
        numbered = [b for b in self.blocks if any(n != LAST for n in b.numbers)]
        for block in numbered:
            if number in block.numbers:
                return block
        if self.total and len(self.blocks) == 1:
            return None  # a first ending alone: later times go past it
        earlier = [b for b in numbered if min(n for n in b.numbers if n != LAST) < number]
        return earlier[-1] if earlier else None


def endings_of(bars: Sequence[Bar]) -> dict[int, Endings]:
    """The endings of a section by the bar at which they begin."""
    found: dict[int, Endings] = {}
    blocks: list[Block] = []
    i = 0
    while i < len(bars):
        if not bars[i].ending:
            i += 1
            continue
        end = i + 1
        while end < len(bars) and not (
            bars[end - 1].times
            or bars[end - 1].line_after is not BarLine.SINGLE
            or bars[end].ending
            or bars[end].repeat_start
        ):
            end += 1
        blocks.append(Block(bars[i].ending, i, end))
        if end == len(bars) or not bars[end].ending:
            found[blocks[0].start] = Endings(tuple(blocks), end, _total(bars, blocks, end))
            blocks = []
        i = end
    return found


def _total(bars: Sequence[Bar], blocks: Sequence[Block], end: int) -> int:
    times = [bars[b.end - 1].times for b in blocks if bars[b.end - 1].times]
    if not times:
        return 0
    most = max((n for b in blocks for n in b.numbers), default=1)
    if len(blocks) == 1:
        most += most == 1 or end < len(bars)
    return max(most, 2, max(times))


class Playing(NamedTuple):
    """How a section is to be played this time: its number, whether it is the last one, and what is left out."""

    number: int = 1
    last: bool = False
    repeats: bool = True
    pickup: bool = False


def route(bars: Sequence[Bar], endings: dict[int, Endings], playing: Playing) -> Iterator[int]:
    """The bars of a section in order, repeats and endings obeyed."""
    first = 1 if bars and bars[0].number == 0 else 0
    if first and playing.pickup:
        yield 0
    i, back, time = first, first, 1
    while i < len(bars):
        group = endings.get(i)
        if group is not None:
            again = playing.repeats and time < group.total
            number = time if group.total else playing.number
            if not playing.repeats:
                number = group.highest
            block = group.choose(number, playing.last and not again)
            if block is not None:
                yield from range(block.start, block.end)
            if again:
                i, time = back, time + 1
            else:
                i, back, time = group.end, group.end, 1
            continue
        if bars[i].repeat_start and i != back:
            back, time = i, 1
        yield i
        if playing.repeats and time < bars[i].times:
            i, time = back, time + 1
            continue
        if bars[i].times:
            back, time = i + 1, 1
        i += 1
