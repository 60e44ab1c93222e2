"""Bar lines, the same over the beat rule and on a staff. Conventions: as in `system`. Source: any manual of notation."""

from __future__ import annotations

from backing.chart.ast import BarLine
from backing.output.sheet.marks import Dot, Line, Mark
from backing.output.sheet.system import THICK, THIN, Set

BEFORE_THICK, DOTS, DOUBLED = 0.27, 0.42, 0.14  # from the bar line
APART = 0.2  # of the dots from the middle, over the rule


def bar_lines(
    one: Set,
    y0: float,
    y1: float,
    first: bool,
    apart: float = APART,
    thin: float = THIN,
    clef: float = 0.0,
) -> list[Mark]:
    """What opens a bar, and the line after it, from `y0` down to `y1`; dots stand `apart` from the middle, and at
    the start of a staff a repeat opens behind its clef, so far in, and no bar line stands."""
    dots = ((y0 + y1) / 2 - apart, (y0 + y1) / 2 + apart)
    marks: list[Mark] = []
    if one.cell.repeat_starts:
        x = one.x0 + (clef if first else thin / 2)
        marks += _thick(x, 1, y0, y1, thin)
        marks += [Dot(x + DOTS, y, 0.065) for y in dots]
    elif first and one.cell.opens and not clef:
        marks.append(Line(one.x0, y0, one.x0, y1, thin))
    if not one.cell.closes:
        return marks
    x = one.x1
    if one.cell.bar.times:
        marks += _thick(x, -1, y0, y1, thin)
        marks += [Dot(x - DOTS, y, 0.065) for y in dots]
    elif one.cell.bar.line_after is BarLine.FINAL:
        marks += _thick(x, -1, y0, y1, thin)
    elif one.cell.bar.line_after is BarLine.DOUBLE:
        marks += [Line(x - d, y0, x - d, y1, thin) for d in (0.0, DOUBLED)]
    else:
        marks.append(Line(x, y0, x, y1, thin))
    return marks


def _thick(x: float, way: int, y0: float, y1: float, thin: float) -> list[Mark]:
    """A thick line, and a thin one on that side of it on which the music is."""
    inner = x + way * BEFORE_THICK
    outer = x + way * THICK / 2
    return [Line(outer, y0, outer, y1, THICK), Line(inner, y0, inner, y1, thin)]
