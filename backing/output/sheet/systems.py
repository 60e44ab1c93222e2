"""Lines of music as systems: one size of chords for the sheet, lines broken where they are too long.

Conventions: points. One size serves the whole sheet where that can be: the largest at which its lines fit. A line that
fits only smaller is set smaller by itself, down to 0.72 of the usual size; one that fits not even then, or has more
than eight bars, goes on in another system, cut between phrases of four bars where these fit.
Source: phrases of four bars on a line, a last system that fills the width or keeps the spacing of the others (common
practice of copyists).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from backing.output.sheet.cells import Cell, Row, cut_cell
from backing.output.sheet.chord import symbol
from backing.output.sheet.line import draw
from backing.output.sheet.marks import Mark, Zone, placed
from backing.output.sheet.staff import bass_clef, cautionary, clef
from backing.output.sheet.system import (
    Look,
    Measured,
    arranged,
    has_melody,
    measure,
    needed,
    signature_width,
)
from backing.output.sheet.under import name_size
from backing.output.symbols import Spelling

MARGIN = 50.0  # left of the music
BASE = 15.0
SMALLEST = 0.72 * BASE
EVEN = 0.8 * BASE  # one line does not make the whole sheet smaller than this
GAP = 1.5 * 0.85  # between systems, in chord sizes: one and a half heights of a chord
SECTION_GAP = 0.35  # more where a section begins
PHRASE, MOST_BARS = 4, 8  # bars of a phrase, and on a line
FILLS = 0.8  # of the usual length: such a line fills the width


@dataclass(frozen=True, slots=True)
class Block:
    """Marks with their top at y = 0, and their height; `gap` before it when it does not begin a page, `begins` where a
    section does."""

    marks: tuple[Mark, ...]
    height: float
    gap: float
    begins: bool = True


class Held(NamedTuple):
    """A row with its bars measured; `usual` is the length that fills the width beside it, None for the sheet's."""

    row: Row
    cells: Sequence[Measured]
    usual: float | None = None


def systems(rows: Sequence[Row], full: float, look: Look, largest: float = BASE) -> list[Block]:
    """Every line of music as one or more blocks, with its margin, `full` points wide without it."""
    low_symbols = any(deep(c, look.spelling) for r in rows for c in r.cells)
    look = replace(look, rule=0.58 if low_symbols else 0.46)
    pitches = [f.pitch for r in rows for c in r.cells for f in c.melody if f.pitch is not None]
    low = bass_clef(pitches)
    held = [piece for row in rows for piece in laid(row, full, look, low)]
    fits = [full / needed(h.cells, signs(h.row, low, look)) for h in held]
    size = sheet_size(fits, largest)
    usual = usual_length([h.row for h in held])
    look = replace(look, names=name_size([row.section for row in rows], MARGIN / size))
    return [
        block(one, full, min(size, fit), look, low, share(one, usual))
        for one, fit in zip(held, fits, strict=True)
    ]


def laid(row: Row, full: float, look: Look, low: bool) -> list[Held]:
    """A typed line as one system, or as several where it is too long for one."""
    cells = [measure(c, look, row.key, has_melody(row)) for c in row.cells]
    fits = full / needed(cells, signs(row, low, look)) >= SMALLEST
    if fits and sum(c.bar.number > 0 for c in row.cells) <= MOST_BARS:
        return [Held(row, cells)]
    pieces = broken(row, cells, full / SMALLEST - signs(row, low, look), look)
    longest = max(r.length for r, _ in pieces)
    return [Held(r, m, longest) for r, m in pieces]


def share(one: Held, usual: float) -> float:
    """How much of the width a system fills: all, or as far as the spacing of the others goes."""
    of = one.row.length / (one.usual or usual)
    return 1.0 if of >= FILLS else of


def block(one: Held, full: float, size: float, look: Look, low: bool, filled: float) -> Block:
    """A system at a size of chords, with its margin; it fills that share of the width."""
    row = one.row
    before, after = indent(row, low, look), caution(row, low, look)
    sets = arranged(one.cells, full / size * filled - after, before)
    system = draw(row, sets, look, MARGIN / size, has_melody(row), low)
    bars = (Zone(s.x0, -system.ascent, s.x1, system.descent, s.cell.bar.span.start) for s in sets)
    marks = tuple(placed(m, MARGIN, system.ascent * size, size) for m in (*system.marks, *bars))
    gap = GAP + (SECTION_GAP if row.begins else 0.0)
    return Block(marks, (system.ascent + system.descent) * size, gap * size, row.begins)


def deep(cell: Cell, spelling: Spelling) -> bool:
    """Whether a chord of the bar reaches under its baseline."""
    return any(
        p.slot is not None and symbol(p.slot.chord, spelling).descent > 0 for p in cell.parts
    )


def indent(row: Row, low: bool, look: Look) -> float:
    """Room for a clef and signature at the start of a staff."""
    return clef(low, row.key, look.staff)[1] if has_melody(row) else 0.0


def caution(row: Row, low: bool, look: Look) -> float:
    """Room for what the next line changes, behind the last bar line."""
    if has_melody(row):
        return cautionary(row.key, row.key_after, row.meter_after, low, look.staff)[1]
    return signature_width(row.meter_after)


def signs(row: Row, low: bool, look: Look) -> float:
    """Room for both."""
    return indent(row, low, look) + caution(row, low, look)


def sheet_size(fits: Sequence[float], largest: float = BASE) -> float:
    """The one size of chords for the sheet."""
    fitting = [f for f in fits if f >= SMALLEST]
    return min(largest, max(EVEN, min(fitting, default=BASE)))


def usual_length(rows: Sequence[Row]) -> float:
    """How many quarters fill the width: as many as are in half of the lines; longer ones are set closer."""
    lengths = sorted((r.length for r in rows), reverse=True)
    return lengths[len(lengths) // 2] if lengths else 1.0


def broken(
    row: Row, cells: Sequence[Measured], room: float, look: Look
) -> list[tuple[Row, Sequence[Measured]]]:
    """A line in systems of `room`, one a phrase of four bars; one that is too wide goes on evenly in the fewest."""
    done: list[tuple[Row, Sequence[Measured]]] = []
    for start, end in phrases(row.cells):
        pieces: list[Measured] = []
        for one in cells[start:end]:
            pieces += [one] if one.total <= room else split(one, room, look, row)
        cuts = even([p.total for p in pieces], fewest(pieces, room))
        for a, b in itertools.pairwise(cuts):
            piece = replace(row, cells=tuple(m.cell for m in pieces[a:b]))
            if done:
                piece = replace(piece, section="", begins=False)
            if end < len(cells) or b < len(pieces):
                piece = replace(piece, key_after=None, meter_after=None)
            done.append((piece, pieces[a:b]))
    return done


def phrases(cells: Sequence[Cell]) -> list[tuple[int, int]]:
    """Where the phrases of four bars of a line begin and end; a pickup belongs to the first."""
    pickup = sum(c.bar.number == 0 for c in cells)
    starts = [0, *range(pickup + PHRASE, len(cells), PHRASE)]
    return list(zip(starts, [*starts[1:], len(cells)], strict=True))


def split(one: Measured, room: float, look: Look, row: Row) -> list[Measured]:
    """A bar too wide for any line, cut between its chords."""
    cell = one.cell
    if len(cell.parts) == 1:
        return [one]
    for at in range(len(cell.parts) - 1, 0, -1):
        before, after = cut_cell(cell, at)
        first = measure(before, look, row.key, has_melody(row))
        if first.total <= room or at == 1:
            rest = measure(after, look, row.key, has_melody(row))
            return [first, *(split(rest, room, look, row) if rest.total > room else [rest])]
    return [one]


def fewest(pieces: Sequence[Measured], room: float) -> int:
    """How many systems are needed."""
    count, used = 1, 0.0
    for piece in pieces:
        if used and used + piece.total > room:
            count, used = count + 1, 0.0
        used += piece.total
    return count


def even(widths: Sequence[float], count: int) -> list[int]:
    """Where to cut a row of widths in `count` runs whose widest is as narrow as can be."""
    n = len(widths)
    sums = [0.0]
    for w in widths:
        sums.append(sums[-1] + w)
    best = [[math.inf] * (count + 1) for _ in range(n + 1)]
    back = [[0] * (count + 1) for _ in range(n + 1)]
    best[0][0] = 0.0
    for k in range(1, count + 1):
        for j in range(k, n + 1):
            for i in range(k - 1, j):
                worst = max(best[i][k - 1], sums[j] - sums[i])
                if worst < best[j][k] - 1e-9:
                    best[j][k], back[j][k] = worst, i
    cuts = [n]
    for k in range(count, 0, -1):
        cuts.append(back[cuts[-1]][k])
    return cuts[::-1]


__all__ = ["BASE", "EVEN", "GAP", "MARGIN", "SMALLEST", "Block", "even", "systems"]
