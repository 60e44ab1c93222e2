"""What stands under the chords of a system, and left of it: the staff of a melody, dynamics, section name and bar
number.

Conventions: as in `system`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from backing.output.sheet.barlines import bar_lines
from backing.output.sheet.cells import Row
from backing.output.sheet.marks import (
    BOLD,
    CAP,
    ITALIC,
    Line,
    Mark,
    Run,
    Shape,
    Text,
    box,
    headed,
    placed,
    run,
    width,
    wrapped,
)
from backing.output.sheet.notes import last_head
from backing.output.sheet.staff import cautionary, clef, meter_figures, staff_notes
from backing.output.sheet.system import BOX, OVER, REPEAT, UNDER, Look, Set

STAFF_LINE = 0.035  # bar lines on the staff
METER_GAP = 0.18  # on both sides of the figures of a meter, in heights of a staff
OVER_CLEF = 0.46  # of the number of a bar
DYNAMICS = 0.62
BOX_SIZES = (BOX, 0.54, 0.46)
INSET = 0.2  # from a box to its name
NUMBER = 0.46


def melody(
    row: Row, sets: Sequence[Set], look: Look, low: bool, y: float
) -> tuple[list[Mark], float, float]:
    """The staff of a system under its chords, and where its top line and all of it end."""
    u = look.staff
    caution, wide = cautionary(row.key, row.key_after, row.meter_after, low, u)
    right = sets[-1].x1 + wide
    lines: list[Mark] = [Line(0.0, -k * u / 4, right, -k * u / 4, 0.028) for k in range(5)]
    signs, room = clef(low, row.key, u)
    signs = [placed(m, 0.12, 0.0) for m in signs]
    marks = [*lines, *(placed(m, sets[-1].x1, 0.0) for m in caution)]
    before: float | None = None
    for i, one in enumerate(sets):
        inside = room if i == 0 else 0.0
        if one.cell.shown_meter is not None:
            figures, wide = meter_figures(one.cell.shown_meter, u)
            x = one.x0 + inside + METER_GAP * u
            if one.cell.repeat_starts:
                x += REPEAT if i else 0.0
                inside += wide + 2 * METER_GAP * u if i == 0 else 0.0
            marks += [placed(m, x, 0.0) for m in figures]
        marks += staff_notes(one.cell.melody, one.at, row.key, low, u, before)
        before = last_head(one.cell.melody, one.at, u)
        marks += bar_lines(one, -u, 0.0, i == 0, apart=u / 8, thin=STAFF_LINE, clef=inside)
    top, bottom = min(box(m)[1] for m in marks), max(box(m)[3] for m in [*marks, *signs])
    shift = y + 0.2 - top
    return [placed(m, 0.0, shift) for m in [*marks, *signs]], shift - u, shift + bottom


def dynamics_under(sets: Sequence[Set], y: float) -> tuple[list[Mark], float]:
    """How loud a section is, in bold italics under its first bar; and where that ends."""
    marks: list[Mark] = []
    for one in sets:
        if one.cell.dynamics:
            base = y + 0.16 + CAP * DYNAMICS
            marks += [
                placed(dark(m), one.start, base)
                for m in run(one.cell.dynamics, DYNAMICS, ITALIC).marks
            ]
    return marks, y + 0.3 + CAP * DYNAMICS if marks else y


def dark(mark: Mark) -> Mark:
    """Dynamics are set bold and slanted; the outline makes them so."""
    if isinstance(mark, Text):
        return replace(mark, stroke=0.025)
    return mark


def margin_marks(
    row: Row, first: Set, look: Look, margin: float, staff: float | None
) -> tuple[list[Mark], float, float]:
    """Number of the first bar (over the clef of a staff whose top line is `staff`), and the section's name in its box;
    how far they reach up and down."""
    marks: list[Mark] = []
    right = -0.24
    number = first.cell.bar.number
    base = look.rule + 0.1
    up, down = OVER, look.rule + UNDER
    if row.section and not stands_over(row.section, margin):
        marks, up, low = section_box(row.section, margin, look.names)
        base = max(base, low + 0.1 + CAP * NUMBER)
        down = max(down, base + 0.1 if staff is None else low)
    if number and first.cell.opens:
        one = run(str(number), NUMBER, soft=True)
        at = (right - one.width, base) if staff is None else (0.0, staff - OVER_CLEF * look.staff)
        marks += [placed(m, *at) for m in one.marks]
    return marks, up, down


def stands_over(name: str, margin: float) -> bool:
    """Whether a section's name is too long for the margin: a word would be cut, or there are more than two rows."""
    room = margin - 0.32 - 2 * INSET
    rows = wrapped(name, BOX_SIZES[-1], BOLD, room)
    return len(rows) > 2 or " ".join(rows) != " ".join(name.split())


def box_over(name: str, room: float) -> Run:
    """A long name of a section in one ruled box over its first bar, shortened where it is longer than the line."""
    inset = 0.12
    (text, *rest) = wrapped(name, BOX_SIZES[1], BOLD, room - 4 * inset) or [""]
    one = run(f"{text} …" if rest else text, BOX_SIZES[1], BOLD)
    y0, y1 = -CAP * BOX_SIZES[1] - inset, inset
    x1 = one.width + 2 * inset
    frame = Shape(((0.0, y0), (x1, y0), (x1, y1), (0.0, y1)), 0.05)
    return Run((frame, *(placed(m, inset, 0.0) for m in headed(one.marks, 2))), x1)


def name_size(names: Sequence[str], margin: float) -> float:
    """The one size for the names of all sections, those aside that stand over their bars."""
    beside = [name for name in names if name and not stands_over(name, margin)]
    return min((boxed(name, margin)[0] for name in beside), default=BOX)


def boxed(name: str, margin: float, largest: float = BOX) -> tuple[float, list[str]]:
    """The size of a section's name in the margin, and its rows: one, or two smaller ones."""
    room = margin - 0.32 - 2 * INSET
    size, rows = largest, [name]
    for size in (s for s in BOX_SIZES if s <= largest):
        rows = wrapped(name, size, BOLD, room)
        if len(rows) <= (1 if size == BOX else 2) and " ".join(rows) == " ".join(name.split()):
            break
    return size, rows


def section_box(name: str, margin: float, largest: float) -> tuple[list[Mark], float, float]:
    """A section's name in an open ruled box beside its first bar, long names in smaller rows; its top and bottom."""
    inset = INSET
    size, rows = boxed(name, margin, largest)
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
        marks += [placed(m, x0 + inset, y) for m in headed(run(text, size, BOLD).marks, 2)]
    return marks, -y0 + 0.03, y1
