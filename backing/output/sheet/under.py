"""What stands under the beat rule of a system, and left of it: the staff of a melody, the words of the verses, section
name and bar number.

Conventions: as in `system`.
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.output.sheet.barlines import bar_lines
from backing.output.sheet.cells import Row
from backing.output.sheet.marks import (
    BOLD,
    CAP,
    MEDIUM,
    REGULAR,
    Line,
    Mark,
    Shape,
    box,
    placed,
    run,
    width,
    wrapped,
)
from backing.output.sheet.notes import clef, last_head, staff_notes
from backing.output.sheet.system import OVER, UNDER, VERSE, WORDS, Look, Set
from backing.output.sheet.words import typeset

VERSE_PITCH = 0.76
STAFF_LINE = 0.035  # bar lines on the staff
BOX = 0.62  # name of a section
NUMBER = 0.46


def melody(
    row: Row, sets: Sequence[Set], look: Look, low: bool, y: float
) -> tuple[list[Mark], float]:
    """The staff of a system under its rule, and where it ends."""
    u = look.staff
    right = sets[-1].x1
    marks: list[Mark] = [Line(0.0, -k * u / 4, right, -k * u / 4, 0.028) for k in range(5)]
    signs, room = clef(low, row.key, u)
    marks += [placed(m, 0.12, 0.0) for m in signs]
    before: float | None = None
    for i, one in enumerate(sets):
        marks += staff_notes(one.cell.melody, one.at, row.key, low, u, before)
        before = last_head(one.cell.melody, one.at, u)
        marks += bar_lines(one, -u, 0.0, i == 0, apart=u / 8, thin=STAFF_LINE, clef=room)
    boxes = [box(m) for m in marks]
    top, bottom = min(b[1] for b in boxes), max(b[3] for b in boxes)
    shift = y + 0.2 - top
    return [placed(m, 0.0, shift) for m in marks], shift + bottom


def under_words(sets: Sequence[Set], y: float, begins: bool) -> tuple[list[Mark], float]:
    """The words of each verse under their bars."""
    marks: list[Mark] = []
    verses = max((len(s.cell.bar.words) for s in sets if s.cell.opens), default=0)
    for verse in range(verses):
        most = 0
        for one in sets:
            if one.cell.opens and verse < len(one.cell.bar.words):
                x = one.start
                rows = wrapped(
                    typeset(one.cell.bar.words[verse]), VERSE, REGULAR, max(one.x1 - x - 0.2, 2.0)
                )
                for i, text in enumerate(rows):
                    marks += [
                        placed(m, x, y + VERSE_PITCH * (i + 0.95)) for m in run(text, VERSE).marks
                    ]
                most = max(most, len(rows))
        if verses > 1 and begins:
            number = run(f"{verse + 1}.", VERSE, soft=True)
            right = sets[0].start - 0.3 if sets[0].start > 1.0 else -0.24
            marks += [placed(m, right - number.width, y + VERSE_PITCH * 0.95) for m in number.marks]
        y += VERSE_PITCH * most + 0.05
    return marks, y + (0.1 if verses else 0.0)


def margin_marks(
    row: Row, first: Set, count: int, look: Look, margin: float
) -> tuple[list[Mark], float, float]:
    """Number of the first bar, times of a repeat, and the section's name in its box; how far they reach up and down."""
    marks: list[Mark] = []
    right = -0.24
    number = first.cell.bar.number
    base = look.rule + 0.1
    up, down = OVER, look.rule + UNDER
    if row.section:
        marks, up, low = section_box(row.section, margin)
        base = max(base, low + 0.1 + CAP * NUMBER)
        down = max(down, base + 0.1)
    if number and first.cell.opens:
        one = run(str(number), NUMBER, soft=True)
        marks += [placed(m, right - one.width, base) for m in one.marks]
        right -= one.width + 0.22
    if count:
        one = run(f"×{count}", WORDS, MEDIUM)
        marks += [placed(m, right - one.width, base) for m in one.marks]
    return marks, up, down


def section_box(name: str, margin: float) -> tuple[list[Mark], float, float]:
    """A section's name in an open ruled box beside its first bar, long names in smaller rows; its top and bottom."""
    inset = 0.2
    room = margin - 0.32 - 2 * inset
    size, rows = BOX, [name]
    for size in (BOX, 0.54, 0.46):
        rows = wrapped(name, size, BOLD, room)
        if len(rows) <= (1 if size == BOX else 2):
            break
    wide = max(width(r, BOLD, size) for r in rows)
    pitch = size * 1.15
    height = (len(rows) - 1) * pitch + CAP * size
    middle = -CAP / 2 - 0.02
    low = middle + height / 2 if len(rows) == 1 else height + inset - OVER
    right = -0.32
    x0 = right - wide - 2 * inset
    y0, y1 = low - height - inset, low + inset
    marks: list[Mark] = [Shape(((x0, y0), (right, y0), (right, y1), (x0, y1)), 0.05)]
    for i, text in enumerate(rows):
        y = low - (len(rows) - 1 - i) * pitch
        marks += [placed(m, x0 + inset, y) for m in run(text, size, BOLD).marks]
    return marks, -y0 + 0.03, y1
