"""Pages of a sheet: the title block, systems one under another, grips, footers.

Conventions: points (1/72 inch), y down from the top of the page. One size of chords serves the whole sheet where that
can be: the largest at which its lines fit, 15 points at most, or 18 where all stands on one page then. A line that fits only smaller is set smaller by itself,
down to 0.72 of that; a line that fits not even then goes on in another system, cut at bar lines where possible.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from backing.ground.errors import OutputError
from backing.harmony.grip import Grip
from backing.output.sheet.cells import Cell, Row, cut_cell
from backing.output.sheet.chord import symbol
from backing.output.sheet.line import draw
from backing.output.sheet.marks import (
    CAP,
    REGULAR,
    Mark,
    placed,
    run,
    wrapped,
)
from backing.output.sheet.notes import bass_clef, clef
from backing.output.sheet.system import (
    NOTHING,
    Look,
    Measured,
    arranged,
    has_melody,
    measure,
    needed,
)
from backing.output.symbols import Spelling

PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}  # ISO 216, ANSI/ASME Y14.1
SIDE, HEAD, FOOT = 38.0, 44.0, 46.0
MARGIN = 50.0  # left of the music
BASE = 15.0
LARGER = (18.0, 16.5)  # for a sheet that still fits one page then
SMALLEST = 0.72 * BASE
EVEN = 0.8 * BASE  # one line does not make the whole sheet smaller than this
GAP = 1.5 * 0.85  # between systems, in chord sizes: one and a half heights of a chord
SECTION_GAP = 0.35  # more where a section begins
TIGHT = 0.8  # the gap may shrink to this when all then fits on one page


@dataclass(frozen=True, slots=True)
class Block:
    """Marks with their top at y = 0, and their height; `gap` before it when it does not begin a page."""

    marks: tuple[Mark, ...]
    height: float
    gap: float


def pages(
    rows: Sequence[Row],
    title: Sequence[tuple[str, float, int, bool]],
    footer: str,
    paper: str,
    spelling: Spelling,
    grips: Sequence[Block] = (),
    above: Mapping[str, Grip] = NOTHING,
) -> list[list[Mark]]:
    """The marks of each page. `title` holds text, size, face and softness of the lines of the title block; `grips` stand
    under the music, those `above` by their symbols over the bars."""
    wide, high = PAPERS[paper]
    full = wide - 2 * SIDE - MARGIN
    bottom = high - FOOT
    headings, y = title_block(title, wide - 2 * SIDE, bottom)
    room = bottom - y
    blocks = fitted(rows, full, Look(spelling, grips=above), room - height(grips)) + list(grips)
    natural = y + height(blocks) - (blocks[0].gap if blocks else 0.0)
    tight = 1.0
    spare = sum(b.gap for b in blocks[1:])
    if natural > bottom and spare and natural - spare * (1 - TIGHT / GAP) <= bottom:
        tight = 1 - (natural - bottom) / spare
    if any(b.height > bottom - HEAD for b in blocks):
        raise OutputError(
            "the sheet cannot be set: words at one line of music fill more than a page; shorten them"
        )
    found = headings
    first = True
    for block in blocks:
        gap = 0.0 if first else block.gap * tight
        if (
            y + gap + block.height > bottom
            and found[-1]
            and (not first or len(found) > 1 or y > bottom / 2)
        ):
            found.append([])
            y, gap = HEAD, 0.0
        found[-1].extend(placed(m, SIDE, y + gap) for m in block.marks)
        y += gap + block.height
        first = False
    for n, page in enumerate(found, 1):
        page.extend(foot(footer, n, len(found), wide, high))
    return found


def height(blocks: Sequence[Block]) -> float:
    """Of blocks under each other, the gap before the first included."""
    return sum(b.gap + b.height for b in blocks)


def fitted(rows: Sequence[Row], full: float, look: Look, room: float) -> list[Block]:
    """The systems, larger than usual where they leave enough of the page empty."""
    usual = systems(rows, full, look)
    used = height(usual)
    for largest in LARGER:
        if used * largest / BASE <= room:
            larger = systems(rows, full, look, largest)
            if height(larger) <= room:
                return larger
    return usual


def title_block(
    lines: Sequence[tuple[str, float, int, bool]], room: float, bottom: float
) -> tuple[list[list[Mark]], float]:
    """The lines flush left under each other, on as many pages as they need, and where the music begins."""
    pages_: list[list[Mark]] = [[]]
    y = HEAD
    for i, (text, size, face, soft) in enumerate(lines):
        for row in wrapped(text, size, face, room):
            if y + size * 1.32 > bottom:
                pages_.append([])
                y = HEAD
            y += size * (CAP if i == 0 and not pages_[-1] else 1.32)
            pages_[-1] += [placed(m, SIDE, y) for m in run(row, size, face, soft=soft).marks]
        if i == 0:
            y += 4.0
    return pages_, y + 26.0


def foot(text: str, number: int, total: int, wide: float, high: float) -> list[Mark]:
    """Title and page under every page of several."""
    if total == 1:
        return []
    y = high - FOOT / 2
    pages_ = run(f"{number} / {total}", 8.0, soft=True)
    room = wide - 2 * SIDE - pages_.width - 20
    rows = wrapped(text, 8.0, REGULAR, room)
    left = (
        [placed(m, SIDE, y) for m in run(rows[0], 8.0, soft=True).marks]
        if rows and number > 1
        else []
    )
    return left + [placed(m, wide - SIDE - pages_.width, y) for m in pages_.marks]


# ------------------------------------------------------------------------------------------------ systems


def systems(rows: Sequence[Row], full: float, look: Look, largest: float = BASE) -> list[Block]:
    """Every line of music as one or more blocks, with its margin, `full` points wide without it."""
    low_symbols = any(deep(c, look.spelling) for r in rows for c in r.cells)
    look = replace(look, rule=0.58 if low_symbols else 0.46)
    pitches = [f.pitch for r in rows for c in r.cells for f in c.melody if f.pitch is not None]
    low = bass_clef(pitches)
    set_rows: list[tuple[Row, Sequence[Measured], bool]] = []
    for row in rows:
        cells: Sequence[Measured] = [measure(c, look, row.key) for c in row.cells]
        if full / needed(cells, indent(row, low, look)) >= SMALLEST:
            set_rows.append((row, cells, False))
        else:
            room = full / SMALLEST - indent(row, low, look)
            set_rows += [(piece, m, True) for piece, m in broken(row, cells, room, look)]
    fits = [full / needed(m, indent(r, low, look)) for r, m, _ in set_rows]
    size = sheet_size(fits, largest)
    usual = usual_length([r for r, _, cut in set_rows if not cut])
    blocks = []
    for (row, held, cut), fit in zip(set_rows, fits, strict=True):
        s = min(size, fit)
        room = full / s
        if not cut:
            room *= min(1.0, row.length / usual)
        staffed = has_melody(row)
        sets = arranged(held, room, indent(row, low, look))
        system = draw(row, sets, look, MARGIN / s, staffed, low)
        marks = tuple(placed(m, MARGIN, system.ascent * s, s) for m in system.marks)
        gap = GAP + (SECTION_GAP if row.begins else 0.0)
        blocks.append(Block(marks, (system.ascent + system.descent) * s, gap * s))
    return blocks


def deep(cell: Cell, spelling: Spelling) -> bool:
    """Whether a chord of the bar reaches under its baseline."""
    return any(
        p.slot is not None and symbol(p.slot.chord, spelling).descent > 0 for p in cell.parts
    )


def indent(row: Row, low: bool, look: Look) -> float:
    """Room for a clef and signature at the start of a staff."""
    return clef(low, row.key, look.staff)[1] if has_melody(row) else 0.0


def sheet_size(fits: Sequence[float], largest: float = BASE) -> float:
    """The one size of chords for the sheet."""
    fitting = [f for f in fits if f >= SMALLEST]
    return min(largest, max(EVEN, min(fitting, default=BASE)))


def usual_length(rows: Sequence[Row]) -> float:
    """How many quarters fill the width: a third of the lines are at least as long; longer ones are set closer."""
    lengths = sorted((r.length for r in rows), reverse=True)
    return lengths[len(lengths) // 3] if lengths else 1.0


def broken(
    row: Row, cells: Sequence[Measured], room: float, look: Look
) -> list[tuple[Row, Sequence[Measured]]]:
    """A line in as few systems of `room` as hold it, evenly filled."""
    pieces: list[Measured] = []
    for one in cells:
        pieces += [one] if one.total <= room else split(one, room, look, row)
    cuts = even([p.total for p in pieces], fewest(pieces, room))
    done: list[tuple[Row, Sequence[Measured]]] = []
    for a, b in itertools.pairwise(cuts):
        held = tuple(m.cell for m in pieces[a:b])
        name = row.section if a == 0 else ""
        done.append(
            (replace(row, cells=held, section=name, begins=row.begins and a == 0), pieces[a:b])
        )
    return done


def split(one: Measured, room: float, look: Look, row: Row) -> list[Measured]:
    """A bar too wide for any line, cut between its chords."""
    cell = one.cell
    if len(cell.parts) == 1:
        return [one]
    for at in range(len(cell.parts) - 1, 0, -1):
        before, after = cut_cell(cell, at)
        first = measure(before, look, row.key)
        if first.total <= room or at == 1:
            rest = measure(after, look, row.key)
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


__all__ = ["PAPERS", "Block", "pages"]
