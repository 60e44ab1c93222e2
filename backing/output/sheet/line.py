"""The marks of one system, drawn around its beat rule.

Conventions: as in `system`. *Sources*: bar lines, repeats, endings, signs of repetition and holds as any manual
of notation has them (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from backing.ground.timebase import Meter
from backing.harmony.grip import Grip
from backing.output.sheet.barlines import bar_lines
from backing.output.sheet.cells import Row, ticks
from backing.output.sheet.chord import diamond
from backing.output.sheet.grids import LABEL, depth, grid
from backing.output.sheet.grids import OVER as OVER_GRID
from backing.output.sheet.marks import (
    BOLD,
    CAP,
    ITALIC,
    MEDIUM,
    MUSIC,
    Arc,
    Line,
    Mark,
    Run,
    Text,
    box,
    joined,
    placed,
    run,
    spoken,
    width,
    wrapped,
)
from backing.output.sheet.notes import label, last_head, rhythm
from backing.output.sheet.system import (
    GRID,
    LEAD,
    OVER,
    REPEAT,
    RHYTHM,
    SIGNATURE,
    THIN,
    UNDER,
    WORDS,
    Look,
    Set,
    System,
    part_grip,
    part_symbol,
    signature_width,
)
from backing.output.sheet.under import (
    box_over,
    dark,
    dynamics_under,
    margin_marks,
    melody,
    stands_over,
)
from backing.output.sheet.verses import verses_under
from backing.output.sheet.words import direction_words, groups_words

TICK = 0.15
AFTER = 0.14  # from a bar line to the meter of the next line
CODA, CODA_SIZE = "𝄌", 0.85
WORDS_PITCH = 0.82


@dataclass(slots=True)
class _Shelf:
    """Rows over the chords: what is put there takes the lowest row that is free."""

    taken: list[list[tuple[float, float]]] = field(default_factory=list)

    def put(self, x0: float, x1: float, lowest: int = 0) -> int:
        row = lowest
        while row < len(self.taken) and any(a < x1 and x0 < b for a, b in self.taken[row]):
            row += 1
        while len(self.taken) <= row:
            self.taken.append([])
        self.taken[row].append((x0, x1))
        return row


def draw(
    row: Row, sets: Sequence[Set], look: Look, margin: float, staffed: bool, low: bool
) -> System:
    """A system with its margin; `margin` is the room left of the first bar line."""
    marks, top = chords_of(sets, look)
    diagrams, top = grips_over(sets, look, top)
    marks += diagrams
    bottom = look.rule + UNDER
    staff_top = None
    if staffed:
        for one in sets:
            marks += ringing(one, look)
        rings = any(p.slot and p.slot.ring for one in sets for p in one.cell.parts)
        staff, staff_top, bottom = melody(row, sets, look, low, bottom if rings else look.rule)
        marks += staff
    else:
        for i, one in enumerate(sets):
            marks += rule(one, look, first=i == 0)
            marks += ringing(one, look)
            marks += bar_lines(one, -OVER, look.rule + UNDER, first=i == 0)
            marks += signature(one, look)
        marks += meter_after(row, sets[-1].x1, look)
    for i, one in enumerate(sets):
        marks += simile(one, sets[i + 1] if i + 1 < len(sets) else None)
    if any(one.cell.bar.simile == 2 for one in sets):
        top = max(top, OVER + 0.1 + 0.5 * CAP)
    over, top = rhythms(sets, top)
    marks += over
    sung = any(one.cell.bar.words for one in sets)
    name = row.section if stands_over(row.section, margin) else ""
    words, top = over_words(sets, top, sets[-1].x1, sung, name)
    marks += words
    side, up, down = margin_marks(row, sets[0], look, margin, staff_top)
    if not sung:
        louder, bottom = dynamics_under(sets, bottom)
        marks += louder
    numbered = row.begins and any(len(one.cell.bar.words) > 1 for one in sets)
    verses, bottom = verses_under(sets, look, max(bottom, down) if numbered else bottom, row.begins)
    marks += verses
    return System((*side, *marks), max(top, up), max(bottom, down))


def chords_of(sets: Sequence[Set], look: Look) -> tuple[list[Mark], float]:
    """The symbols of a system, each over its beat, and how far they reach up."""
    marks: list[Mark] = []
    top = OVER
    for one in sets:
        for part in one.cell.parts:
            symbol = part_symbol(part, look)
            if symbol is not None:
                said = spoken(symbol.marks, part.slot.text if part.slot else "")
                marks += [placed(m, one.at(part.start_q), 0.0) for m in said]
                top = max(top, symbol.ascent + 0.06)
    return marks, top


def grips_over(sets: Sequence[Set], look: Look, top: float) -> tuple[list[Mark], float]:
    """Diagrams over the chords of a system, their feet on one line; a chord that comes again at once has none."""
    found: list[tuple[float, Grip]] = []
    for one in sets:
        for part in one.cell.parts:
            grip = part_grip(part, look)
            if grip is not None and (not found or grip != found[-1][1]):
                found.append((one.at(part.start_q), grip))
    if not found:
        return [], top
    foot = top + 0.12
    marks = [
        placed(m, x + LABEL * GRID, -(foot + depth(grip) * GRID), GRID)
        for x, grip in found
        for m in grid(grip)
    ]
    return marks, foot + max(depth(grip) + OVER_GRID for _, grip in found) * GRID


def rule(one: Set, look: Look, first: bool) -> list[Mark]:
    """The beat rule of a bar, a tick for each counted beat, slashes where beats are held."""
    y = look.rule
    marks: list[Mark] = [Line(one.x0, y, one.x1, y, THIN)]
    cell = one.cell
    groups = set(cell.bar.meter.group_starts_q) if len(cell.bar.meter.groups) > 1 else {Fraction(0)}
    beats = [t for t in ticks(cell.bar) if cell.start_q <= t < cell.end_q]
    for t in beats:
        if any(p.slot and p.slot.ring and p.start_q == t for p in cell.parts):
            continue
        if t in cell.slashes:
            x = one.at(t) + 0.08
            marks.append(Line(x - 0.12, y + 0.2, x + 0.12, y - 0.2, 0.1))
        else:
            longer = 1.0 if t in groups and not cell.bar.meter.compound else 0.75
            marks.append(Line(one.at(t), y, one.at(t), y + TICK * longer * 1.2, THIN))
    for part in cell.parts:
        if part.slot is not None and part.start_q not in beats:
            x = one.at(part.start_q)
            marks.append(Line(x, y, x, y + TICK * 0.7, THIN))
    return marks


def ringing(one: Set, look: Look) -> list[Mark]:
    """The open heads of chords that are struck once and ring, with their ties into the air."""
    marks: list[Mark] = []
    y = look.rule
    for part in one.cell.parts:
        if part.slot is not None and part.slot.ring:
            x = one.at(part.start_q) + 0.2
            marks.append(diamond(x, y))
            marks.append(Arc(x + 0.3, y + 0.1, x + 1.05, y + 0.1, -0.14, -0.05))
    return marks


def signature(one: Set, look: Look) -> list[Mark]:
    """The figures of a new meter, between the heads of the chords and the rule."""
    meter = one.cell.shown_meter
    if meter is None:
        return []
    x = one.x0 + (LEAD if one.cell.opens else 0.1) * 0.75
    if one.cell.repeat_starts:
        x += REPEAT
    return stacked(meter, max(x, one.start - signature_width(meter) - 0.04), look)


def meter_after(row: Row, x: float, look: Look) -> list[Mark]:
    """The meter of the next line, behind the last bar line of this one."""
    return stacked(row.meter_after, x + AFTER, look) if row.meter_after is not None else []


def stacked(meter: Meter, x: float, look: Look) -> list[Mark]:
    """The figures of a meter, one over the other."""
    over, under = str(meter.count), str(meter.unit)
    widths = [width(n, BOLD, SIGNATURE) for n in (over, under)]
    space = max(widths)
    middle = (look.rule - OVER) / 2 - 0.04
    half = CAP * SIGNATURE
    marks = [
        Text(x + (space - widths[0]) / 2, middle - 0.05, SIGNATURE, BOLD, over),
        Text(x + (space - widths[1]) / 2, middle + 0.05 + half, SIGNATURE, BOLD, under),
    ]
    return spoken(marks, meter.name)


def simile(one: Set, after: Set | None) -> list[Mark]:
    """The sign for the bar before, or for two bars over the bar line between them."""
    kind = one.cell.bar.simile
    if kind not in (1, 2):
        return []
    paired = kind == 2 and after is not None and after.cell.bar.simile == 3
    glyph, size = ("𝄏", 1.35) if kind == 2 else ("𝄎", 1.35)
    wide = width(glyph, MUSIC, size)
    tail = REPEAT if one.cell.bar.times and one.cell.closes else LEAD
    middle = one.x1 if paired else (one.start + one.x1 - tail) / 2
    marks: list[Mark] = [Text(middle - wide / 2, size / 2 - CAP / 2, size, MUSIC, glyph, said="%")]
    if kind == 2:
        number = run("2", 0.5, MEDIUM)
        y = -OVER - 0.1
        marks += [placed(m, middle - number.width / 2, y) for m in number.marks]
    return marks


def rhythms(sets: Sequence[Set], top: float) -> tuple[list[Mark], float]:
    """Hits and kicks over the chords, each on a row of its own."""
    marks: list[Mark] = []
    for name in ("hits", "kicks"):
        if not any(n == name for s in sets for n, _ in s.cell.rows):
            continue
        y = -top - 0.38
        highest = y
        before: float | None = None
        for one in sets:
            figures = dict(one.cell.rows).get(name, ())
            if figures:
                found = rhythm(figures, one.at, RHYTHM, name == "hits", before)
                found = [placed(m, 0.0, y) for m in found]
                highest = min(highest, *(box(m)[1] for m in found))
                marks += found
            before = last_head(figures, one.at, RHYTHM)
        words, _ = label(name, 1.0)
        marks += [placed(m, -0.25, y + 0.12) for m in words]
        top = -highest + 0.1
    return marks, top


def over_words(
    sets: Sequence[Set], top: float, right: float, sung: bool, name: str = ""
) -> tuple[list[Mark], float]:
    """Directions, free words, what a section changes, and over them the brackets of endings; how loud it is too where
    words are sung under the notes, and a `name` of a section that is too long for the margin."""
    shelf = _Shelf()
    marks: list[Mark] = []
    base = -top - 0.24

    def put(one: Run, x: float) -> None:
        x = max(min(x, right - one.width), 0.0)
        row = shelf.put(x - 0.12, x + one.width + 0.3)
        marks.extend(placed(m, x, base - row * WORDS_PITCH) for m in one.marks)

    if name:
        put(box_over(name, right), 0.0)
    words = [(one, *found) for one in sets for found in bar_words(one, sung)]
    for one, rows, x, at_end in sorted(words, key=lambda w: not is_fermata(w[1])):
        for part in rows:
            put(part, one.x1 - part.width if at_end else x)
    spans = brackets(sets)
    if spans:
        row = max(shelf.put(x0, x1) for x0, x1, *_ in spans)
        y = base - row * WORDS_PITCH - 0.55
        foot = base - max(0, row) * WORDS_PITCH + 0.06
        for x0, x1, text, closes in spans:
            marks.append(Line(x0, y, x1, y, THIN))
            if text:
                marks.append(Line(x0, y, x0, foot, THIN))
                marks += [placed(m, x0 + 0.16, y + 0.52) for m in run(text, 0.5, MEDIUM).marks]
            if closes:
                marks.append(Line(x1, y, x1, foot, THIN))
        top = max(top, -y + 0.05)
    if any(shelf.taken):
        top = max(top, -(base - (len(shelf.taken) - 1) * WORDS_PITCH) + WORDS * CAP + 0.1)
    return marks, top


def bar_words(one: Set, sung: bool) -> list[tuple[list[Run], float, bool]]:
    """The words over a bar: rows of text, where they begin, and whether they end with the bar."""
    found: list[tuple[list[Run], float, bool]] = []
    cell = one.cell
    if cell.coda:
        found.append(([run(CODA, CODA_SIZE)], one.x0, False))
    louder = cell.dynamics if sung else ""
    if louder or cell.changes:
        runs = [run(louder, WORDS + 0.04, ITALIC)] if louder else []
        runs = [Run(tuple(dark(m) for m in r.marks), r.width) for r in runs]
        runs += [run(cell.changes, WORDS, MEDIUM)] if cell.changes else []
        found.append(([joined(runs, 0.4)], one.x0, False))
    if cell.shown_meter is not None and groups_words(cell.shown_meter):
        found.append(([run(groups_words(cell.shown_meter), 0.46)], one.x0 + LEAD * 0.75, False))
    if cell.bar.times > 2 and cell.closes:
        found.append(([run(f"×{cell.bar.times}", WORDS, MEDIUM)], one.x1, True))
    for text in cell.bar.texts:
        inside = cell.start_q <= text.at_q < cell.end_q or (cell.closes and text.at_q >= cell.end_q)
        if not inside or (cell.coda and text.direction and text.direction.name == "Coda"):
            continue
        words, manner, at_end = direction_words(text, cell.meter_before, cell.bar.meter)
        x = one.at(text.at_q) if text.at_q < cell.end_q else one.x1
        if text.at_q == 0 and manner != "fermata":
            x = one.x0 + (LEAD if manner == "words" else 0.0)
        if manner == "sign":
            found.append(([run(words, 0.85)], x, at_end))
        elif manner == "fermata":
            sign = run(words, 0.7)
            chord = next((p for p in cell.parts if p.slot and p.start_q == text.at_q), None)
            shift = (
                width(chord.slot.chord.root.letter, BOLD) / 2
                if chord and chord.slot and chord.slot.chord
                else 0.3
            )
            found.append(([sign], x + shift - sign.width / 2, False))
        elif manner == "jump":
            found.append(([run(words, WORDS, MEDIUM)], x, at_end))
        else:
            rows = wrapped(words, WORDS, ITALIC, 26.0)
            found.append(
                ([run(r, WORDS, ITALIC) for r in reversed(rows)], x, text.at_q >= cell.bar.length_q)
            )
    return found


def is_fermata(rows: Sequence[Run]) -> bool:
    """Fermatas stand nearest to their chords."""
    mark = rows[0].marks[0] if rows and rows[0].marks else None
    return isinstance(mark, Text) and mark.text == "𝄐"


def brackets(sets: Sequence[Set]) -> list[tuple[float, float, str, bool]]:
    """Endings in this system: from, to, label, whether it closes with a hook."""
    found: list[tuple[float, float, str, bool]] = []
    going = False
    for one in sets:
        bracket = one.cell.bracket
        if bracket is None:
            going = False
            continue
        if going and not bracket.label:
            x0, _, text, _ = found.pop()
        else:
            x0, text = one.x0 + 0.06, bracket.label
        found.append((x0, one.x1 - (0.16 if bracket.ends else 0.0), text, bracket.closes))
        going = not bracket.ends
    return found


__all__ = ["draw"]
