"""Guitar grips as diagrams under the music: one for every chord used, in the order in which they come.

Conventions: points; strings from the lowest on the left, the nut or the first fret shown above.
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.chart.ast import Chart
from backing.ground.tunings import open_strings
from backing.harmony.grip import Grip
from backing.harmony.grips import typed
from backing.harmony.symbol import Chord
from backing.harmony.taught import grips_for
from backing.output.sheet.chord import symbol
from backing.output.sheet.marks import Dot, Line, Mark, placed, run
from backing.output.sheet.page import Block
from backing.output.symbols import Spelling

COLUMN = 64.0
SIZE = 11.0  # of the symbols
STRING, FRET = 7.0, 8.5
FRETS = 4
TOP = 18.0  # from the baseline of the symbol to the nut
INK = 0.55


def chords_used(chart: Chart) -> list[Chord]:
    """Every chord of a chart once, in order."""
    found: dict[str, Chord] = {}
    for section in chart.sections:
        for bar in section.bars:
            for slot in bar.slots:
                if slot.chord is not None:
                    found.setdefault(slot.chord.symbol, slot.chord)
    return list(found.values())


def chosen(chart: Chart) -> list[tuple[Chord, Grip]]:
    """The grips that are typed behind a chord, else the easiest that it has, as written: a capo, or all strings tuned alike, moves them all."""
    found = []
    strings, own = open_strings(chart.header.tuning), _typed(chart)
    for chord in chords_used(chart):
        grips = [typed(chord, frets, strings).grips[0] for frets in own.get(chord.symbol, ())]
        found += [(chord, grip) for grip in grips or grips_for(chord, 1, strings)]
    return found


def _typed(chart: Chart) -> dict[str, list[tuple[int, ...]]]:
    """By symbol the grips that are typed behind it, each once."""
    found: dict[str, list[tuple[int, ...]]] = {}
    for section in chart.sections:
        for slot in [slot for bar in section.bars for slot in bar.slots if slot.grip]:
            grips = found.setdefault(slot.chord.symbol if slot.chord else "", [])
            if slot.grip not in grips:
                grips.append(slot.grip)
    return found


def blocks(grips: Sequence[tuple[Chord, Grip]], room: float, spelling: Spelling) -> list[Block]:
    """Rows of diagrams, `room` points wide."""
    rows: list[list[tuple[Chord, Grip]]] = []
    x = 0.0
    for item in grips:
        wide = max(COLUMN, symbol(item[0], spelling).width * SIZE + 12.0)
        if not rows or x + wide > room:
            rows.append([])
            x = 0.0
        rows[-1].append(item)
        x += wide
    found = []
    for n, row in enumerate(rows):
        marks: list[Mark] = []
        x = 0.0
        for chord, grip in row:
            marks += [placed(m, x, SIZE) for m in diagram(chord, grip, spelling)]
            x += max(COLUMN, symbol(chord, spelling).width * SIZE + 12.0)
        high = max(frets_shown(grip)[1] for _, grip in row)
        found.append(Block(tuple(marks), SIZE + TOP + high * FRET + 4.0, 26.0 if n == 0 else 14.0))
    return found


def frets_shown(grip: Grip) -> tuple[int, int]:
    """The first fret of a diagram, and how many it has: four, or more for a wide grip."""
    held = [f for f in grip.frets if f > 0]
    first = 1 if not held or max(held) <= FRETS else min(held)
    return first, max(FRETS, max(held, default=1) - first + 1)


def diagram(chord: Chord, grip: Grip, spelling: Spelling) -> list[Mark]:
    """A symbol on y = 0 over its diagram."""
    left = 8.0
    marks: list[Mark] = [placed(m, left - 3.0, 0.0, SIZE) for m in symbol(chord, spelling).marks]
    first, rows = frets_shown(grip)
    bottom = TOP + rows * FRET
    right = left + 5 * STRING
    for s in range(6):
        marks.append(Line(left + s * STRING, TOP, left + s * STRING, bottom, INK))
    for f in range(rows + 1):
        nut = f == 0 and first == 1
        y = TOP + f * FRET - (0.6 if nut else 0.0)
        marks.append(Line(left - INK / 2, y, right + INK / 2, y, 1.8 if nut else INK))
    if first > 1:
        one = run(str(first), 7.0)
        marks += [placed(m, left - 3.5 - one.width, TOP + FRET / 2 + 2.5) for m in one.marks]
    for s, fret in enumerate(grip.frets):
        x = left + s * STRING
        if fret < 0:
            y = TOP - 5.2
            marks.append(Line(x - 1.7, y - 1.7, x + 1.7, y + 1.7, INK))
            marks.append(Line(x - 1.7, y + 1.7, x + 1.7, y - 1.7, INK))
        elif fret == 0:
            marks.append(Dot(x, TOP - 5.2, 1.9, INK))
        else:
            marks.append(Dot(x, TOP + (fret - first + 0.5) * FRET, 2.6))
    return marks


__all__ = ["blocks", "chords_used", "chosen", "diagram"]
