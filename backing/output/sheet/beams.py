"""Stems of notes that hang together, and the beams at their ends.

Conventions: as in `notes`: `u` is the height of a staff, y down; a stem that points up ends over its head.
Sources: stems are three and a half spaces long, longer for a third beam, and those of notes on ledger lines reach the
middle line; a beam follows its outer notes by half of their way, a space at most, and lies level where an inner note
comes nearer to it than they do (common practice, from memory of the handbooks of engraving).
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.output.sheet.marks import Mark, Shape
from backing.output.sheet.values import Figure

STEM = 0.85
THICK, PITCH = 0.12, 0.19  # of a beam, and from one to the next
STEEPEST, RISE = 0.25, 0.25  # slope, and the most that a beam rises in all

End = tuple[float, float, bool]  # x and y of the end of a stem, and whether it points up


def stem_ends(
    xs: Sequence[float], ys: Sequence[float], flags: int, u: float, up: bool, middle: float | None
) -> list[float]:
    """Where the stems at `xs` end, whose heads are centred on `ys`; `middle` is the middle line of a staff."""
    turn = -1.0 if up else 1.0
    slope = beam_slope(xs, ys, u, up)
    long = (STEM + PITCH * max(0, flags - 2)) * u
    reach = [y + turn * long for y in ys]
    if middle is not None:
        reach = [min(y, middle) if up else max(y, middle) for y in reach]
    level = [y - slope * (x - xs[0]) for x, y in zip(xs, reach, strict=True)]
    first = min(level) if up else max(level)
    return [first + slope * (x - xs[0]) for x in xs]


def beam_slope(xs: Sequence[float], ys: Sequence[float], u: float, up: bool) -> float:
    """How far a beam falls for each step to the right."""
    if len(xs) < 2 or xs[-1] <= xs[0]:
        return 0.0
    near = min if up else max
    if len(ys) > 2 and near(ys[1:-1]) == near(ys) and near(ys[1:-1]) != near(ys[0], ys[-1]):
        return 0.0
    way = (ys[-1] - ys[0]) / 2
    rise = max(-RISE * u, min(RISE * u, way)) / (xs[-1] - xs[0])
    return max(-STEEPEST, min(STEEPEST, rise))


def beams(ends: Sequence[End], group: Sequence[Figure], u: float) -> list[Mark]:
    """One beam over all, the next over neighbours that share it, stubs where one stands alone."""
    marks: list[Mark] = []
    (first, top, up), (last, bottom, _) = ends[0], ends[-1]
    slope = (bottom - top) / (last - first) if last > first else 0.0
    turn = 1.0 if up else -1.0
    for level in range(1, max(f.flags for f in group) + 1):
        i = 0
        while i < len(group):
            if group[i].flags < level:
                i += 1
                continue
            j = i
            while j + 1 < len(group) and group[j + 1].flags >= level:
                j += 1
            x0, x1 = ends[i][0], ends[j][0]
            if i == j:
                x0, x1 = (x0, x0 + 0.25 * u) if i == 0 else (x0 - 0.25 * u, x0)
            down = (level - 1) * PITCH * u * turn
            y0, y1 = (top + slope * (x - first) + down for x in (x0, x1))
            deep = THICK * u * turn
            marks.append(Shape(((x0, y0), (x1, y1), (x1, y1 + deep), (x0, y0 + deep))))
            i = j + 1
    return marks


__all__ = ["STEM", "beams", "stem_ends"]
