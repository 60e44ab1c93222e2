"""Pages of a sheet: the title block, systems one under another, grips, footers.

Conventions: points (1/72 inch), y down from the top of the page. Chords are 15 points high, or up to 20 where all
stands on one page then.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from backing.ground.errors import OutputError
from backing.harmony.grip import Grip
from backing.output.sheet.breaks import page_starts
from backing.output.sheet.cells import Row
from backing.output.sheet.marks import CAP, REGULAR, Mark, headed, placed, run, wrapped
from backing.output.sheet.system import NOTHING, Look
from backing.output.sheet.systems import BASE, GAP, MARGIN, Block, systems
from backing.output.symbols import Spelling

PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}  # ISO 216, ANSI/ASME Y14.1
SIDE, HEAD, FOOT = 38.0, 44.0, 46.0
LARGER = (20.0, 18.0, 16.5)  # for a sheet that still fits one page then
TIGHT = 0.8  # the gap may shrink to this when all then fits on one page


def pages(
    rows: Sequence[Row],
    title: Sequence[tuple[str, float, int, bool]],
    footer: str,
    paper: tuple[float, float],
    spelling: Spelling,
    grips: Sequence[Block] = (),
    above: Mapping[str, Grip] = NOTHING,
) -> list[list[Mark]]:
    """The marks of each page of `paper`, its width and height.

    `title` holds text, size, face and softness of the lines of the title block; `grips` stand
    under the music, those `above` by their symbols over the bars."""
    wide, high = paper
    full = wide - 2 * SIDE - MARGIN
    bottom = high - FOOT
    headings, y = title_block(title, wide - 2 * SIDE, bottom)
    room = bottom - y
    blocks = fitted(rows, full, Look(spelling, grips=above), room - height(grips)) + list(grips)
    if any(b.height > bottom - HEAD for b in blocks):
        raise OutputError(
            "the sheet cannot be set: words at one line of music fill more than a page; shorten them"
        )
    tight = tightened(blocks, room)
    starts = page_starts(blocks, room, bottom - HEAD, tight)
    found = headings
    for n, (start, end) in enumerate(zip(starts, [*starts[1:], len(blocks)], strict=True)):
        if n:
            found.append([])
            y = HEAD
        for k, one in enumerate(blocks[start:end]):
            y += one.gap * tight if k else 0.0
            found[-1].extend(placed(m, SIDE, y) for m in one.marks)
            y += one.height
    for n, page in enumerate(found, 1):
        page.extend(foot(footer, n, len(found), wide, high))
    return found


def tightened(blocks: Sequence[Block], room: float) -> float:
    """What the gaps are multiplied by, so that all stands on one page where that takes but little."""
    if not blocks:
        return 1.0
    spare = sum(b.gap for b in blocks[1:])
    over = height(blocks) - blocks[0].gap - room
    return 1 - over / spare if 0 < over <= spare * (1 - TIGHT / GAP) else 1.0


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
            marks = [placed(m, SIDE, y) for m in run(row, size, face, soft=soft).marks]
            pages_[-1] += marks if i else headed(marks, 1)
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


__all__ = ["PAPERS", "SIDE", "pages"]
