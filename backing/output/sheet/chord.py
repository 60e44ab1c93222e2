"""One chord symbol as it is engraved.

Conventions: sizes are in chord sizes (1.0 is the em of the root), the baseline of the root is y = 0. The root is bold,
its accidental at 0.8 stands on the baseline, the quality follows at 0.7 on the same baseline, extensions at 0.6 at cap
height, alterations in brackets, stacked from three up; the bass stands after an oblique stroke at 0.8, lowered a third.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from backing.chart.ast import Slot
from backing.harmony.symbol import Chord
from backing.output.sheet.marks import (
    BOLD,
    CAP,
    Arc,
    Dot,
    Line,
    Mark,
    Run,
    Shape,
    placed,
    run,
    width,
)
from backing.output.symbols import FIGURE, PLAIN, Spelling, parts, pretty, pretty_accidentals

QUALITY = 0.7
RAISED = 0.6
LIFT = CAP * (1 - RAISED)  # raised figures end at cap height
ALTERED = 0.56
STACKED = 0.46
PITCH = 0.43  # from row to row of a stack
BASS = 0.8
LOWERED = 1 / 3
JOIN = 0.02  # between pieces: PDF readers take wider gaps for blanks when text is copied


@dataclass(frozen=True, slots=True)
class Symbol:
    """A chord symbol with its marks; `ascent` and `descent` from the baseline, both positive."""

    marks: tuple[Mark, ...]
    width: float
    ascent: float
    descent: float


class _Pen:
    """Collects runs from left to right."""

    def __init__(self) -> None:
        self.marks: list[Mark] = []
        self.x = 0.0

    def put(self, one: Run, lift: float = 0.0, gap: float = 0.0) -> None:
        self.x += gap
        self.marks.extend(placed(m, self.x, -lift) for m in one.marks)
        self.x += one.width


@lru_cache(maxsize=4096)
def symbol(chord: Chord | None, spelling: Spelling = PLAIN) -> Symbol:
    """The symbol of a chord, `N.C.` for None."""
    pen = _Pen()
    if chord is None:
        pen.put(run("N.C.", QUALITY))
        return Symbol(tuple(pen.marks), pen.x, CAP * QUALITY, 0.0)
    p = parts(chord, spelling.signs, spelling.german, spelling.latin)
    ascent, descent = CAP, 0.0
    pen.put(run(p.root, 1.0, BOLD))
    if p.accidental:
        pen.put(accidental(p.accidental, 0.8))
    if p.quality:
        pen.put(run(p.quality, QUALITY), gap=JOIN)
    if p.extension:
        pen.put(run(p.extension, RAISED), LIFT, gap=JOIN)
    if p.word and p.extension:
        pen.put(run(p.word, ALTERED), LIFT, gap=JOIN)
    elif p.word:
        for piece in re.findall(r"[a-z]+|[^a-z]+", p.word):
            if piece.isalpha() and piece.isascii():
                pen.put(run(piece, QUALITY), gap=JOIN)
            else:
                pen.put(run(piece, RAISED), LIFT, gap=JOIN)
    if len(p.alterations) > 2:
        up, down = stack(pen, p.alterations)
        ascent, descent = max(ascent, up), max(descent, down)
    elif p.alterations:
        pen.put(run("(", ALTERED), LIFT, gap=JOIN)
        for i, alteration in enumerate(p.alterations):
            pen.put(run(alteration, ALTERED), LIFT, gap=0.12 if i else JOIN)
        pen.put(run(")", ALTERED), LIFT, gap=JOIN)
    if p.bass:
        pen.put(run("/", 1.0), -0.14, gap=0.0)
        pen.put(run(p.bass, BASS, BOLD), -LOWERED, gap=-0.06)
        if p.bass_accidental:
            pen.put(accidental(p.bass_accidental, 0.8 * BASS), -LOWERED)
        descent = max(descent, LOWERED)
    return Symbol(tuple(pen.marks), pen.x, ascent, descent)


@lru_cache(maxsize=64)
def accidental(sign: str, size: float) -> Run:
    """The accidental of a root or bass, drawn as dark as its letter."""
    one = run(sign, size, BOLD)
    return Run(tuple(placed(m, 0.03 * size, 0.0) for m in one.marks), one.width + 0.01 * size)


def stack(pen: _Pen, alterations: Sequence[str]) -> tuple[float, float]:
    """Three or more alterations in rows between tall brackets, in two columns from four up; ascent and descent."""
    columns = [alterations] if len(alterations) == 3 else halves(alterations)
    rows = max(len(c) for c in columns)
    height = (rows - 1) * PITCH + STACKED * CAP
    low = height / 2 - CAP / 2  # the lowest baseline, so that the stack is centred on the capitals
    top, bottom = low - height - 0.11, low + 0.09
    bracket = 0.13
    pen.x += 0.07
    pen.marks.append(Arc(pen.x + bracket, top, pen.x + bracket, bottom, -bracket, 0.045))
    pen.x += bracket + 0.02
    for column in columns:
        runs = [run(a, STACKED) for a in column]
        for i, one in enumerate(runs):
            y = low - (len(runs) - 1 - i) * PITCH
            pen.marks.extend(placed(m, pen.x, y) for m in one.marks)
        pen.x += max(r.width for r in runs) + 0.1
    pen.x -= 0.08
    pen.marks.append(Arc(pen.x, top, pen.x, bottom, bracket, 0.045))
    pen.x += bracket
    return -top, bottom


def halves(alterations: Sequence[str]) -> list[Sequence[str]]:
    """Two columns, read downwards."""
    middle = (len(alterations) + 1) // 2
    return [alterations[:middle], alterations[middle:]]


@lru_cache(maxsize=1024)
def numbered(text: str) -> Symbol:
    """A number or a numeral: its figure large, figures behind it raised, what stands behind a slash lowered."""
    found = FIGURE.fullmatch(text)
    pen = _Pen()
    if found is None:
        pen.put(run(text, 1.0, BOLD))
        return Symbol(tuple(pen.marks), pen.x, CAP, 0.0)
    if found[1]:
        pen.put(accidental(pretty_accidentals(found[1]), 0.8))
    pen.put(run(found[2], 1.0, BOLD))
    for piece in re.findall(r"[0-9b#()]+|[^0-9b#()]+", found[3].replace("^", "")):
        word = piece.isalpha() or piece in "-+"
        pen.put(run(pretty(piece), QUALITY if word else RAISED), 0.0 if word else LIFT, gap=JOIN)
    descent = 0.0
    if found[4]:
        pen.put(run("/", 1.0), -0.14)
        pen.put(run(pretty(found[4]), BASS, BOLD), -LOWERED, gap=-0.06)
        descent = LOWERED
    return Symbol(tuple(pen.marks), pen.x, CAP, descent)


def slot_symbol(slot: Slot, spelling: Spelling = PLAIN) -> Symbol:
    """The symbol of a slot with what is written at it: `<` before a push, a wedge over a stop; a `?` stays one."""
    written = slot.wanted or (slot.chord and FIGURE.match(slot.text))
    figure = slot.text if written else ""
    return marked(slot.chord, slot.pushed, slot.stop, spelling, figure)


@lru_cache(maxsize=4096)
def marked(
    chord: Chord | None, pushed: bool, stop: bool, spelling: Spelling, figure: str = ""
) -> Symbol:
    """A symbol with its push and stop; `figure` is the number or numeral that is written for it."""
    plain = numbered(figure) if figure else symbol(chord, spelling)
    if not (pushed or stop):
        return plain
    marks: list[Mark] = []
    x = 0.0
    if pushed:
        one = run("<", 0.62, BOLD)
        marks.extend(placed(m, 0.0, -0.13) for m in one.marks)
        x = one.width + 0.04
    marks.extend(placed(m, x, 0.0) for m in plain.marks)
    ascent = plain.ascent
    if stop:  # a marcato wedge over a dot: struck short
        named = FIGURE.match(figure)
        letter = named[2] if named else chord.root.letter if chord else ""
        head = width(letter, BOLD) if letter else plain.width
        middle = x + head / 2
        y = -ascent - 0.2
        marks.append(Dot(middle, y, 0.05))
        marks.append(Line(middle - 0.17, y - 0.14, middle, y - 0.5, 0.085, butt=False))
        marks.append(Line(middle, y - 0.5, middle + 0.17, y - 0.14, 0.055, butt=False))
        ascent += 0.74
    return Symbol(tuple(marks), x + plain.width, ascent, plain.descent)


def diamond(x: float, y: float, r: float = 0.22) -> Shape:
    """The open head of a chord that rings."""
    return Shape(((x - r, y), (x, y - r), (x + r, y), (x, y + r)), 0.065)


__all__ = ["Symbol", "accidental", "diamond", "marked", "slot_symbol", "symbol"]
