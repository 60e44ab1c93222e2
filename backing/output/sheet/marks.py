"""What can be drawn on a sheet: text, lines, filled shapes, dots and arcs; and text cut into rows.

Conventions: x to the right, y down; text stands with its baseline on y. Units are whatever the caller lays out in
(chord sizes inside a line of music, points on the page); `placed` scales and moves.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import accumulate

from backing.output.sheet.faces import (
    BOLD,
    ITALIC,
    MEDIUM,
    MUSIC,
    REGULAR,
    has_right_to_left,
    width,
)

__all__ = [
    "BOLD", "CAP", "DESCENT", "FITTED", "INK", "ITALIC", "MEDIUM", "MUSIC", "REGULAR", "SILENT", "Arc", "Dot", "Line", "Mark",
    "Run", "Shape", "Text", "Zone", "box", "cut", "headed", "joined", "placed", "run", "spoken", "width", "wrapped",
]  # fmt: skip

CAP = 0.727  # cap height of the text face, in em
DESCENT = 0.2
SILENT = " "

# Signs of the music face beside letters: times the size of the letters, and how far up in sizes of the letters, so
# that a flat stands on the baseline and the others are centred on the capitals.
FITTED: dict[str, tuple[float, float]] = {
    "♭": (1.50, 0.04),
    "♯": (1.02, 0.19),
    "♮": (1.20, 0.24),
    "𝄫": (1.30, 0.06),
    "𝄪": (1.45, 0.17),
    "♩": (1.50, -0.02),
    "♪": (1.50, -0.02),
    "\U0001d15e": (0.85, 0.0),
    "𝄋": (1.40, -0.29),
    "𝄌": (1.55, -0.38),
    "𝄐": (1.60, -1.02),
}

# Ink of the signs of the music face, in em above the baseline: bottom and top (from the font's outlines).
INK: dict[str, tuple[float, float]] = {
    "♭": (-0.025, 0.524), "♯": (-0.233, 0.590), "♮": (-0.213, 0.404), "𝄫": (-0.055, 0.615), "𝄪": (0.0, 0.262),
    "♩": (0.014, 0.563), "♪": (0.014, 0.563), "\U0001d15e": (-0.001, 1.009), "𝄋": (0.163, 0.839),
    "𝄌": (0.246, 0.754), "𝄐": (0.648, 1.0), "𝄎": (0.264, 0.736), "𝄏": (0.264, 0.736), "𝄞": (-0.398, 1.334),
    "𝄢": (0.101, 0.9), "𝅘": (-0.001, 0.269), "𝅗": (-0.001, 0.269), "𝅝": (0.008, 0.26), "𝄻": (0.378, 0.512),
    "𝄼": (0.244, 0.378), "𝄽": (0.123, 0.878), "𝄾": (0.269, 0.73), "𝄿": (0.147, 0.852), "𝅀": (-0.004, 0.955),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Text:
    """`said` is what it reads as where a file is copied from, searched or read aloud: None as it stands, `SILENT`
    nothing, "" where it belongs to what the text before it reads as. `head` is the level of a heading, 0 for none."""

    x: float
    y: float
    size: float
    face: int
    text: str
    soft: bool = False
    stroke: float = 0.0  # an outline that makes a sign of the music face as dark as its letter
    said: str | None = None
    head: int = 0


@dataclass(frozen=True, slots=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    width: float
    butt: bool = True  # square ends; round ones otherwise


@dataclass(frozen=True, slots=True)
class Shape:
    """A polygon, filled where `width` is 0."""

    points: tuple[tuple[float, float], ...]
    width: float = 0.0


@dataclass(frozen=True, slots=True)
class Dot:
    x: float
    y: float
    radius: float
    width: float = 0.0  # filled where 0


@dataclass(frozen=True, slots=True)
class Arc:
    """A tie or a bracket: a curve that swells in its middle; `bend` to the left of the way from start to end."""

    x1: float
    y1: float
    x2: float
    y2: float
    bend: float
    thick: float


@dataclass(frozen=True, slots=True)
class Zone:
    """The place of a bar, where nothing is drawn; `at` is where the bar begins in the text."""

    x1: float
    y1: float
    x2: float
    y2: float
    at: int


Mark = Text | Line | Shape | Dot | Arc | Zone


def placed(mark: Mark, dx: float, dy: float, scale: float = 1.0) -> Mark:
    """The mark scaled about the origin, then moved."""
    s = scale
    if isinstance(mark, Text):
        return Text(
            mark.x * s + dx, mark.y * s + dy, mark.size * s, mark.face, mark.text, mark.soft,
            mark.stroke * s, mark.said, mark.head,
        )  # fmt: skip
    if isinstance(mark, Line):
        return Line(
            mark.x1 * s + dx, mark.y1 * s + dy, mark.x2 * s + dx, mark.y2 * s + dy,
            mark.width * s, mark.butt,
        )  # fmt: skip
    if isinstance(mark, Shape):
        return Shape(tuple((x * s + dx, y * s + dy) for x, y in mark.points), mark.width * s)
    if isinstance(mark, Zone):
        return Zone(mark.x1 * s + dx, mark.y1 * s + dy, mark.x2 * s + dx, mark.y2 * s + dy, mark.at)
    if isinstance(mark, Dot):
        return Dot(mark.x * s + dx, mark.y * s + dy, mark.radius * s, mark.width * s)
    return Arc(
        mark.x1 * s + dx, mark.y1 * s + dy, mark.x2 * s + dx, mark.y2 * s + dy,
        mark.bend * s, mark.thick * s,
    )  # fmt: skip


def spoken(marks: Iterable[Mark], text: str) -> list[Mark]:
    """Marks that read as one text, whatever signs they are made of: letters first, lines behind."""
    letters: list[Mark] = []
    lines: list[Mark] = []
    for mark in marks:
        if isinstance(mark, Text):
            letters.append(replace(mark, said="" if letters else text))
        else:
            lines.append(mark)
    return letters + lines


def headed(marks: Iterable[Mark], level: int) -> list[Mark]:
    """Marks whose text is a heading."""
    return [replace(m, head=level) if isinstance(m, Text) else m for m in marks]


def box(mark: Mark) -> tuple[float, float, float, float]:
    """Left, top, right, bottom; letters from cap height to baseline, signs by their ink."""
    if isinstance(mark, Text):
        bottom, top = INK.get(mark.text, (0.0, CAP)) if mark.face == MUSIC else (0.0, CAP)
        right = mark.x + width(mark.text, mark.face, mark.size)
        return mark.x, mark.y - top * mark.size, right, mark.y - bottom * mark.size
    if isinstance(mark, Line | Arc | Zone):
        return (
            min(mark.x1, mark.x2), min(mark.y1, mark.y2),
            max(mark.x1, mark.x2), max(mark.y1, mark.y2),
        )  # fmt: skip
    if isinstance(mark, Shape):
        xs = [x for x, _ in mark.points]
        ys = [y for _, y in mark.points]
        return min(xs), min(ys), max(xs), max(ys)
    r = mark.radius
    return mark.x - r, mark.y - r, mark.x + r, mark.y + r


@dataclass(frozen=True, slots=True)
class Run:
    """Marks that start at x = 0 on a baseline at y = 0, and how wide they are."""

    marks: tuple[Mark, ...]
    width: float


@lru_cache(maxsize=4096)
def run(text: str, size: float, face: int = REGULAR, *, soft: bool = False) -> Run:
    """Text with its flats, sharps and other signs set in the music face, fitted to the letters."""
    marks: list[Mark] = []
    x = 0.0
    for part, sign in cut(text):
        if not sign:
            marks.append(Text(x, 0.0, size, face, part, soft))
            x += width(part, face, size)
            continue
        scale, lift = FITTED.get(part, (1.0, 0.0))
        dark = size * (0.03 if face == BOLD and part != "𝄫" else 0.015)
        marks.append(Text(x - 0.04 * size, -lift * size, size * scale, MUSIC, part, soft, dark))
        x += width(part, MUSIC, size * scale) - 0.05 * size
    return Run(tuple(marks), x)


def cut(text: str) -> list[tuple[str, bool]]:
    """The text in letters and single signs of the music face; one with letters from right to left stays whole."""
    if has_right_to_left(
        text
    ):  # a sign after a letter A to G belongs to it, and so to its direction
        return [(re.sub(r"(?<=[A-G])[♭♯♮𝄫𝄪]+", "\\g<0>\u200e", text), False)]
    found: list[tuple[str, bool]] = []
    for char in text:
        sign = char in FITTED
        if found and not sign and not found[-1][1]:
            found[-1] = (found[-1][0] + char, False)
        else:
            found.append((char, sign))
    return found


def joined(runs: Iterable[Run], gap: float = 0.0) -> Run:
    """Runs one after another."""
    marks: list[Mark] = []
    x = 0.0
    for i, one in enumerate(runs):
        x += gap if i else 0.0
        marks.extend(placed(m, x, 0.0) for m in one.marks)
        x += one.width
    return Run(tuple(marks), x)


def wrapped(text: str, size: float, face: int, room: float) -> list[str]:
    """The text in rows no wider than `room`, cut at blanks, inside a word only where it alone is too wide."""
    rows: list[str] = []
    row, used = "", 0.0
    blank = width(" ", face, size)
    for word in text.split():
        for part, wide in pieces(word, size, face, room):
            if row and used + blank + wide > room:
                rows.append(row)
                row = ""
            used = used + blank + wide if row else wide
            row = f"{row} {part}" if row else part
    return [*rows, row] if row else rows


def pieces(word: str, size: float, face: int, room: float) -> list[tuple[str, float]]:
    """A word in as few pieces no wider than `room` as hold it, each with its width."""
    ends = [0.0, *accumulate(width(c, face, size) for c in word)]
    found, start = [], 0
    while start < len(word):
        end = max(start + 1, bisect_right(ends, ends[start] + room + 1e-9, start) - 1)
        found.append((word[start:end], ends[end] - ends[start]))
        start = end
    return found
