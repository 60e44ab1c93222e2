"""Bars cut into rows that a screen has room for.

Conventions: a line is what stands in one line of the chart; where it does not fit at a readable size, it becomes several
rows, as even as may be. Widths are in chord sizes (the em of the root). A bar stands in a row as long as it lasts.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from backing.output.sheet.chord import Symbol
from backing.output.video.screens import Screen
from backing.timeline.model import PlayedBar, Timeline

ADDED = 4  # bars a line of those that no line of the chart has
GAP = 0.3  # between chords, in their size
CLOSE = 0.78  # a chord that is too wide may be set so much smaller than the others


class Chord(NamedTuple):
    """A chord where it stands, from `start_q` to `end_q` of the track."""

    start_q: Fraction
    end_q: Fraction
    symbol: Symbol


class Row(NamedTuple):
    """Bars side by side, or a piece of the one in `bars`; `line` numbers the line that it is of, `opens` where a section begins."""

    start_q: Fraction
    end_q: Fraction
    bars: tuple[PlayedBar, ...]
    chords: tuple[Chord, ...]
    line: int
    opens: bool

    @property
    def length_q(self) -> Fraction:
        return self.end_q - self.start_q

    def share(self, at_q: Fraction) -> float:
        """How far along the row a place is, 0 to 1."""
        return float((at_q - self.start_q) / self.length_q)


def lines(timeline: Timeline) -> list[list[PlayedBar]]:
    """Bars as they are typed: of one section and one line; bars that were added stand in fours."""
    found: list[list[PlayedBar]] = []
    for bar in timeline.bars:
        last = found[-1][-1] if found else None
        goes_on = (
            last is not None
            and last.section_index == bar.section_index
            and last.line == bar.line
            and last.end_q == bar.start_q
            and (bar.number > last.number if bar.line else len(found[-1]) < ADDED)
        )
        if goes_on:
            found[-1].append(bar)
        else:
            found.append([bar])
    return found


def fit(row: Row, room: float) -> float:
    """The largest size at which the chords of a row stand clear of each other in `room`."""
    ends = [c.start_q for c in row.chords[1:]] + [row.end_q]
    sizes = [
        float((end - c.start_q) / row.length_q) * room / (c.symbol.width + GAP)
        for c, end in zip(row.chords, ends, strict=True)
    ]
    return min(sizes, default=float("inf"))


def laid(
    timeline: Timeline, symbol: Callable[[int], Symbol], screen: Screen
) -> tuple[float, list[Row]]:
    """The size of the chords, and all rows in order; `symbol` gives that of a chord by its place in the timeline."""
    chords = [Chord(span.start_q, span.end_q, symbol(i)) for i, span in enumerate(timeline.chords)]
    opens = {s.first for s in timeline.sections}
    whole = [
        _row(bars, chords, number, bars[0].index in opens)
        for number, bars in enumerate(lines(timeline))
    ]
    fits = sorted(fit(row, screen.room) for row in whole)
    size = max(screen.least, min([screen.largest, *fits]))
    if fits and fits[-1] < screen.least:  # no line fits: halves are larger than they need be
        halves = [fit(piece, screen.room) for row in whole for piece in _halves(row, chords)]
        size = max(screen.least, min([screen.largest, *halves]))
    return size, [piece for row in whole for piece in _fitting(row, chords, size, screen.room)]


def _row(bars: Sequence[PlayedBar], chords: Sequence[Chord], line: int, opens: bool) -> Row:
    start, end = bars[0].start_q, bars[-1].end_q
    return _piece(start, end, bars, chords, line, opens)


def _piece(
    start: Fraction,
    end: Fraction,
    bars: Sequence[PlayedBar],
    chords: Sequence[Chord],
    line: int,
    opens: bool,
) -> Row:
    first, last = (bisect_left(chords, q, key=lambda c: c.start_q) for q in (start, end))
    return Row(start, end, tuple(bars), tuple(chords[first:last]), line, opens)


def _fitting(row: Row, chords: Sequence[Chord], size: float, room: float) -> list[Row]:
    """The row whole, or what does not fit in halves, and these again: four bars, two, one, a half before a chord."""
    if fit(row, room) >= CLOSE * size or len(row.chords) < 2:
        return [row]
    pieces = _halves(row, chords)
    if len(row.bars) == 1:  # half a bar is as small as it gets
        return pieces
    return [one for piece in pieces for one in _fitting(piece, chords, size, room)]


def _halves(row: Row, chords: Sequence[Chord]) -> list[Row]:
    """A row in two, cut at the bar line, or of a single bar before the chord, that is nearest to its middle."""
    middle = row.start_q + row.length_q / 2
    edges = [bar.start_q for bar in row.bars[1:]] or [c.start_q for c in row.chords[1:]]
    if not edges:
        return [row]
    at = min(edges, key=lambda q: abs(q - middle))
    return [
        _piece(start, end, _inside(row.bars, start, end), chords, row.line, row.opens and first)
        for start, end, first in ((row.start_q, at, True), (at, row.end_q, False))
    ]


def _inside(bars: Sequence[PlayedBar], start: Fraction, end: Fraction) -> list[PlayedBar]:
    return [bar for bar in bars if bar.start_q < end and start < bar.end_q]


def together(rows: Sequence[Row], most: int) -> list[tuple[Row, ...]]:
    """Rows of one line that sound while they are shown as one group, at most `most` of them."""
    groups: list[tuple[Row, ...]] = []
    i = 0
    while i < len(rows):
        end = i
        while end < len(rows) and rows[end].line == rows[i].line:
            end += 1
        count = -(-(end - i) // most)
        cuts = [i + round(n * (end - i) / count) for n in range(count + 1)]
        groups += [tuple(rows[a:b]) for a, b in pairwise(cuts)]
        i = end
    return groups
