"""Guitar grips as diagrams under the music: one for every chord used, in the order in which they come.

Conventions: points; strings from the lowest on the left, the nut or the first fret shown above.
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.chart.ast import Chart
from backing.ground.tunings import open_strings
from backing.harmony.grip import Grip
from backing.harmony.grips import typed
from backing.harmony.positions import along
from backing.harmony.symbol import Chord
from backing.output.sheet.chord import symbol
from backing.output.sheet.grids import LABEL, depth, grid
from backing.output.sheet.marks import Mark, placed, spoken
from backing.output.sheet.systems import Block
from backing.output.symbols import Spelling

COLUMN = 64.0
SIZE = 11.0  # of the symbols
TOP = 18.0  # from the baseline of the symbol to the nut


def chords_used(chart: Chart) -> list[Chord]:
    """Every chord of a chart once, in order."""
    found: dict[str, Chord] = {}
    for section in chart.sections:
        for bar in section.bars:
            for slot in bar.slots:
                if slot.chord is not None:
                    found.setdefault(slot.chord.symbol, slot.chord)
    return list(found.values())


def chosen(chart: Chart, near: int | None = None) -> list[tuple[Chord, Grip]]:
    """The grips that are typed behind a chord, else one for each that lies beside those of its neighbours, as written:
    a capo, or all strings tuned alike, moves them all. `near` is a fret about which the hand should stand."""
    strings, own = open_strings(chart.header.tuning), _typed(chart)
    used = chords_used(chart)
    grips = {
        chord.symbol: [typed(chord, frets, strings).grips[0] for frets in own[chord.symbol]]
        for chord in used
        if chord.symbol in own
    }
    fixed = {symbol: found[0] for symbol, found in grips.items()}
    beside = along(_played(chart), strings, near, fixed)
    return [
        (chord, grip)
        for chord in used
        for grip in grips.get(chord.symbol) or [beside[chord.symbol]] * (chord.symbol in beside)
    ]


def _played(chart: Chart) -> list[Chord]:
    """The chords as they follow each other in the text."""
    slots = (slot for section in chart.sections for bar in section.bars for slot in bar.slots)
    return [slot.chord for slot in slots if slot.chord is not None and not slot.held]


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
        deep = max(depth(grip) for _, grip in row)
        found.append(Block(tuple(marks), SIZE + TOP + deep + 4.0, 26.0 if n == 0 else 14.0))
    return found


def diagram(chord: Chord, grip: Grip, spelling: Spelling) -> list[Mark]:
    """A symbol on y = 0 over its diagram."""
    marks: list[Mark] = [
        placed(m, LABEL - 3.0, 0.0, SIZE)
        for m in spoken(symbol(chord, spelling).marks, chord.symbol)
    ]
    return marks + [placed(m, LABEL, TOP) for m in grid(grip)]


__all__ = ["blocks", "chords_used", "chosen", "diagram"]
