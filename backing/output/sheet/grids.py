"""The diagram of a guitar grip: six strings, frets, dots, what is open and what is not played.

Conventions: points; the highest line is y = 0, the lowest string x = 0.
"""

from __future__ import annotations

from backing.harmony.grip import Grip
from backing.output.sheet.marks import Dot, Line, Mark, placed, run

STRING, FRET = 7.0, 8.5
FRETS = 4
OVER = 8.0  # signs over the nut
LABEL = 8.0  # room for the number of a fret, left of the diagram
WIDE = 5 * STRING
INK = 0.55


def frets_shown(grip: Grip) -> tuple[int, int]:
    """The first fret of a diagram, and how many it has: four, or more for a wide grip."""
    held = [f for f in grip.frets if f > 0]
    first = 1 if not held or max(held) <= FRETS else min(held)
    return first, max(FRETS, max(held, default=1) - first + 1)


def depth(grip: Grip) -> float:
    """How far the diagram reaches down."""
    return frets_shown(grip)[1] * FRET


def grid(grip: Grip) -> list[Mark]:
    """The marks of a diagram."""
    first, rows = frets_shown(grip)
    marks: list[Mark] = [
        Line(s * STRING, 0.0, s * STRING, rows * FRET, INK) for s in range(len(grip.frets))
    ]
    for f in range(rows + 1):
        nut = f == 0 and first == 1
        y = f * FRET - (0.6 if nut else 0.0)
        marks.append(Line(-INK / 2, y, WIDE + INK / 2, y, 1.8 if nut else INK))
    if first > 1:
        one = run(str(first), 7.0)
        marks += [placed(m, -3.5 - one.width, FRET / 2 + 2.5) for m in one.marks]
    for s, fret in enumerate(grip.frets):
        x = s * STRING
        if fret < 0:
            marks.append(Line(x - 1.7, -6.9, x + 1.7, -3.5, INK))
            marks.append(Line(x - 1.7, -3.5, x + 1.7, -6.9, INK))
        elif fret == 0:
            marks.append(Dot(x, -5.2, 1.9, INK))
        else:
            marks.append(Dot(x, (fret - first + 0.5) * FRET, 2.6))
    return marks
