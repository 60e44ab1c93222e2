"""What stands in each bar of the sheet, before it has a size: chords with their time, marks, words, brackets.

Conventions: times are quarters from the bar line, as floats where they only place things.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from backing.chart.ast import Bar, BarLine, Chart, Section, Slot
from backing.ground.pitch import Key, NoteName
from backing.ground.timebase import Meter
from backing.output.sheet.values import Figure, figures
from backing.output.sheet.words import ending_words, section_words
from backing.timeline.order.repeats import endings_of


@dataclass(frozen=True, slots=True)
class Bracket:
    """The part of an ending's bracket over one bar; `label` where it begins, `closes` where it ends with a hook."""

    label: str
    ends: bool
    closes: bool


@dataclass(frozen=True, slots=True)
class Part:
    """A chord with its time, or a time without a symbol of its own (`slot` None)."""

    start_q: Fraction
    length_q: Fraction
    slot: Slot | None


@dataclass(frozen=True, slots=True)
class Cell:
    """A bar, or a piece of one where a line had to be cut inside it (`opens` and `closes` tell which)."""

    bar: Bar
    parts: tuple[Part, ...]
    meter_before: Meter
    shown_meter: Meter | None = None
    repeat_starts: bool = False
    coda: bool = False  # here the coda begins, in a section of that name
    bracket: Bracket | None = None
    dynamics: str = ""
    changes: str = ""
    opens: bool = True
    closes: bool = True
    melody: tuple[Figure, ...] = ()
    hits: tuple[Figure, ...] = ()
    kicks: tuple[Figure, ...] = ()
    slashes: tuple[Fraction, ...] = field(default=())

    @property
    def start_q(self) -> Fraction:
        return self.parts[0].start_q

    @property
    def end_q(self) -> Fraction:
        return self.parts[-1].start_q + self.parts[-1].length_q

    @property
    def length(self) -> float:
        """Quarters."""
        return float(self.end_q - self.start_q)

    @property
    def rows(self) -> tuple[tuple[str, tuple[Figure, ...]], ...]:
        return tuple((n, f) for n, f in (("hits", self.hits), ("kicks", self.kicks)) if f)


@dataclass(frozen=True, slots=True)
class Row:
    """A typed line of music. `section` is its name where one begins, `key` what its staff is signed with.

    `key_after` and `meter_after` are what the next line changes, which is told at the end of this one.
    """

    cells: tuple[Cell, ...]
    section: str
    key: Key
    begins: bool = False  # a section, named or not
    key_after: Key | None = None
    meter_after: Meter | None = None

    @property
    def length(self) -> float:
        return sum(c.length for c in self.cells)


def rows(chart: Chart) -> list[Row]:
    """The lines of a chart in the order in which they are written."""
    found: list[Row] = []
    meter: Meter | None = None
    chart_key = chart.settings.key or Key(NoteName("C", 0))
    for written in chart.sections:
        section = closed(written, chart)
        brackets = bracketed(section)
        coda = named_coda(section, chart)
        key = section.settings.key or chart_key
        i = 0
        for n, line in enumerate(section.lines):
            cells: list[Cell] = []
            for bar in line.bars:
                before, meter = meter or bar.meter, bar.meter
                shown = bar.meter if (not found and not cells) or before != meter else None
                start = (
                    section_words(section.settings, bar.meter, chart.header.german)
                    if i == 0
                    else ("", "")
                )
                cells.append(cell(bar, before, shown, brackets.get(i), coda and i == 0, start))
                i += 1
            name = section.name if n == 0 else ""
            found.append(Row(tuple(cells), name, key, begins=n == 0))
    return warned(found)


def warned(found: Sequence[Row]) -> list[Row]:
    """The lines, each with what the next one changes of key and meter. Source: any manual of notation."""
    done = [
        replace(
            row,
            key_after=after.key if after.key.fifths != row.key.fifths else None,
            meter_after=after.cells[0].shown_meter,
        )
        for row, after in itertools.pairwise(found)
    ]
    return [*done, *found[-1:]]


def named_coda(section: Section, chart: Chart) -> bool:
    """Whether the coda begins with this section: it has that name, and some bar sends there."""
    names = {
        text.direction.name
        for each in chart.sections
        for bar in each.bars
        for text in bar.texts
        if text.direction is not None
    }
    return section.name.casefold() == "coda" and bool(
        names & {"Coda", "To Coda", "D.C. al Coda", "D.S. al Coda"}
    )


def closed(section: Section, chart: Chart) -> Section:
    """The section with a double bar line at its end, the final one where the music ends, even where one line is typed.

    A piece that goes back from its last bar, or ends with a section that stands higher up, has no final line there.
    Source: any manual of notation (common practice).
    """
    *lines, line = section.lines
    *bars, last = line.bars
    if last.times or last.line_after is not BarLine.SINGLE:
        return section
    played = [item.section for item in chart.header.form or ()] or chart.order
    ends = section is chart.sections[-1] and [*played[-1:]] in ([], [section.name])
    jumps = any(t.direction is not None and t.direction.name.startswith("D.") for t in last.texts)
    drawn = BarLine.FINAL if ends and not jumps else BarLine.DOUBLE
    bars.append(replace(last, line_after=drawn))
    return replace(section, lines=(*lines, replace(line, bars=tuple(bars))))


def cell(
    bar: Bar,
    before: Meter,
    shown: Meter | None,
    bracket: Bracket | None,
    coda: bool,
    start: tuple[str, str],
) -> Cell:
    parts = tuple(
        Part(s.start_q, s.length_q, None if s.held else s) for s in bar.slots if s.length_q
    )
    if bar.simile:
        parts = (Part(Fraction(0), bar.length_q, None),)
    return Cell(
        bar=bar,
        parts=parts or (Part(Fraction(0), bar.length_q, None),),
        meter_before=before,
        shown_meter=shown,
        repeat_starts=bar.repeat_start,
        coda=coda,
        bracket=bracket,
        dynamics=start[0],
        changes=start[1],
        melody=figures(bar.melody, bar.meter) if bar.melody else (),
        hits=figures(bar.hits, bar.meter) if bar.hits else (),
        kicks=figures(bar.kicks, bar.meter) if bar.kicks else (),
        slashes=slashes(bar),
    )


def slashes(bar: Bar) -> tuple[Fraction, ...]:
    """The beats at which a chord is held by a written `/`."""
    if bar.simile or "/" not in bar.items_text.split():
        return ()
    starts = {s.start_q for s in bar.slots if not s.held}
    return tuple(t for t in ticks(bar) if t not in starts)


def ticks(bar: Bar) -> list[Fraction]:
    """Where the counted beats of a bar lie."""
    beat = bar.meter.beat_q
    count = -(-bar.length_q // beat)
    return [beat * i for i in range(int(count))]


def bracketed(section: Section) -> dict[int, Bracket]:
    """The endings of a section, bar by bar."""
    bars = section.bars
    found: dict[int, Bracket] = {}
    for endings in endings_of(bars).values():
        for block in endings.blocks:
            for i in range(block.start, block.end):
                last = i == block.end - 1
                shut = bool(bars[i].times) or bars[i].line_after is not BarLine.SINGLE
                label = ending_words(block.numbers) if i == block.start else ""
                found[i] = Bracket(label, last, last and shut)
    return found


def cut_cell(one: Cell, at: int) -> tuple[Cell, Cell]:
    """A bar in two pieces, cut before its part number `at`."""
    cut = one.parts[at].start_q
    before, after = one.parts[:at], one.parts[at:]

    def early(found: Sequence[Figure]) -> tuple[Figure, ...]:
        return tuple(f for f in found if f.start_q < cut)

    def late(found: Sequence[Figure]) -> tuple[Figure, ...]:
        return tuple(f for f in found if f.start_q >= cut)

    bracket = one.bracket
    return (
        replace(
            one, parts=before, closes=False, melody=early(one.melody), hits=early(one.hits),
            kicks=early(one.kicks), bracket=bracket and replace(bracket, ends=False, closes=False),
        ),
        replace(
            one, parts=after, opens=False, shown_meter=None, repeat_starts=False, coda=False,
            dynamics="", changes="", melody=late(one.melody), hits=late(one.hits),
            kicks=late(one.kicks), bracket=bracket and replace(bracket, label=""),
        ),
    )  # fmt: skip


__all__ = ["Bracket", "Cell", "Part", "Row", "cell", "cut_cell", "rows", "ticks"]
