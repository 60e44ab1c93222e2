"""A row of the chart as marks: chords over a thin rule that bar lines cross and that thickens as the tune goes on.

Conventions: pixels of the full-size screen, y down. The sign for time is the practice page's: a beat has a tick under the
rule, the rule is thick as far as the tune has gone, and a bar stands under the chord that sounds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from backing.output.sheet.marks import (
    BOLD,
    ITALIC,
    MEDIUM,
    REGULAR,
    Line,
    Mark,
    Run,
    placed,
    run,
)
from backing.output.sheet.notes import rhythm
from backing.output.sheet.values import Figure
from backing.output.video.rows import Chord, Row
from backing.timeline.model import PlayedBar

BASE, UNDERLINE, RULE, LOW = 0.95, 1.32, 1.6, 1.9  # from the top of a line, in chord sizes
THICK, BAR, TICK, GROUP = 0.13, 0.26, 0.15, 0.23  # of what is on the rule, in chord sizes
HAIR = 3.0  # px
HITS, HITS_LEAST = 0.62, 44.0  # height of the staff of a rhythm
WORDS, WORDS_LEAST = 0.34, 34.0
TAB, TAB_LEAST = 0.2, 26.0  # between its lines
HEAD = 64.0  # over a line without a margin, for its section
STRINGS = 6

Events = Sequence[tuple[Fraction, Sequence[tuple[int, int]]]]


class Box(NamedTuple):
    """A part of the screen."""

    x0: float
    y0: float
    x1: float
    y1: float


class Notes(NamedTuple):
    """What stands in the bars beside chords, each by the bar's index: rhythms, words, tab."""

    hits: Mapping[int, Sequence[Figure]]
    kicks: Mapping[int, Sequence[Figure]]
    words: Mapping[int, str]
    tab: Mapping[int, Events]
    sections: Mapping[int, str]  # by the bar that begins one


class Shape(NamedTuple):
    """Where things stand in rows of a size, from the top of the row."""

    size: float
    hits: float  # the heads of a rhythm, 0 for none
    top: float
    tab: float  # the highest string, 0 for none
    gap: float
    words: float  # their baseline, 0 for none
    height: float


def shape(size: float, *, head: bool, hits: bool, tab: bool, words: bool) -> Shape:
    """Where things stand in every row that may hold them."""
    u = max(HITS_LEAST, HITS * size)
    top = (HEAD if head else 0.0) + (1.3 * u if hits else 0.0)
    low = top + LOW * size
    gap = max(TAB_LEAST, TAB * size)
    strings = low + 0.9 * gap if tab else 0.0
    if tab:
        low = strings + (STRINGS - 0.4) * gap
    line = low + 1.1 * max(WORDS_LEAST, WORDS * size) if words else 0.0
    if words:
        low = line + 0.35 * WORDS * size
    return Shape(size, top - 0.25 * u if hits else 0.0, top, strings, gap, line, low + 0.2 * size)


class Drawn(NamedTuple):
    """A row on the screen: its rule, the marks over it, the band that the rule fills, and the bar under each chord."""

    rule: Mark
    marks: tuple[Mark, ...]
    band: Box
    bars: tuple[tuple[Chord, Box], ...]


def drawn(
    row: Row, form: Shape, notes: Notes, x0: float, y0: float, wide: float, margin: float
) -> Drawn:
    """A row with the left end of its rule at `x0` and its top at `y0`; `margin` is the room left of it."""
    size, rule = form.size, y0 + form.top + RULE * form.size

    def at(q: Fraction) -> float:
        return x0 + wide * row.share(q)

    marks = ticks(row, at, rule, size)
    under = []
    for i, chord in enumerate(row.chords):
        end = row.chords[i + 1].start_q if i + 1 < len(row.chords) else row.end_q
        left, room = at(chord.start_q), at(end) - at(chord.start_q) - 0.1 * size
        own = min(size, room / chord.symbol.width) if chord.symbol.width else size
        base = y0 + form.top + BASE * size
        marks += [placed(m, left + 0.03 * size, base, own) for m in chord.symbol.marks]
        y = y0 + form.top + UNDERLINE * size
        right = left + chord.symbol.width * own
        under.append((chord, Box(left + 0.03 * size, y, right, y + 0.08 * size)))
    for bar in row.bars:
        marks += _beside(bar, row, form, notes, at, y0)
    if form.tab:
        marks += tab(row, notes.tab, at, y0 + form.tab, form.gap, (x0, x0 + wide))
    marks += _margin(row, form, notes, x0, y0, margin)
    half = THICK * size / 2 + 1
    thin = Line(x0, rule, x0 + wide, rule, HAIR)
    return Drawn(thin, tuple(marks), Box(x0, rule - half, x0 + wide, rule + half), tuple(under))


def beats(row: Row) -> list[Fraction]:
    """Where the counted beats of a row fall; those of a pickup are the last of their bar."""
    found = []
    for bar in row.bars:
        at = bar.start_q
        while at < bar.end_q:
            if row.start_q <= at < row.end_q:
                found.append(at)
            at += bar.meter.beat_q
    return found


def ticks(row: Row, at: Any, rule: float, size: float) -> list[Mark]:
    """Bar lines over the rule, and ticks of beats under it, longer where a group begins."""
    marks: list[Mark] = []
    edges = {bar.start_q for bar in row.bars if bar.start_q >= row.start_q}
    groups = {bar.start_q + q for bar in row.bars for q in bar.meter.group_starts_q}
    for q in beats(row):
        if q not in edges:
            long = GROUP if q in groups else TICK
            marks.append(Line(at(q), rule, at(q), rule + long * size, HAIR))
    ends = {row.end_q} & {bar.end_q for bar in row.bars}
    half = HAIR / 2
    for q in sorted(edges | ends):
        x = min(max(at(q), at(row.start_q) + half), at(row.end_q) - half)
        marks.append(Line(x, rule - BAR * size, x, rule + BAR * size, HAIR))
    return marks


def _beside(bar: PlayedBar, row: Row, form: Shape, notes: Notes, at: Any, y0: float) -> list[Mark]:
    """Hits and kicks over a bar, and the words under it; they stand with its first piece."""
    marks: list[Mark] = []

    def x(q: Fraction) -> float:
        return float(at(bar.start_q + q))

    if form.hits:
        u = max(HITS_LEAST, HITS * form.size)
        for rhythms, slashes in ((notes.hits, True), (notes.kicks, False)):
            own = [
                f
                for f in rhythms.get(bar.index, ())
                if row.start_q <= bar.start_q + f.start_q < row.end_q
            ]
            marks += [placed(m, 0.0, y0 + form.hits) for m in rhythm(own, x, u, slashes)]
    words = notes.words.get(bar.index, "")
    if words and form.words and bar.start_q >= row.start_q:
        room = at(min(bar.end_q, row.end_q)) - at(bar.start_q) - 12.0
        one = fitted(words, max(WORDS_LEAST, WORDS * form.size), room)
        marks += [placed(m, at(bar.start_q), y0 + form.words) for m in one.marks]
    return marks


def fitted(text: str, size: float, room: float, face: int = REGULAR) -> Run:
    """Text no wider than `room`, set smaller where it must be."""
    one = run(text, size, face)
    return one if one.width <= room else run(text, round(size * room / one.width, 2), face)


def tab(
    row: Row,
    events: Mapping[int, Events],
    at: Any,
    top: float,
    gap: float,
    ends: tuple[float, float],
) -> list[Mark]:
    """Six strings, the highest on top, open where a fret stands on them."""
    marks: list[Mark] = []
    size = 1.2 * gap
    taken: dict[int, list[tuple[float, float]]] = {n: [] for n in range(1, STRINGS + 1)}
    for bar in row.bars:
        for q, held in events.get(bar.index, ()):
            if not row.start_q <= bar.start_q + q < row.end_q:
                continue
            for string, fret in held:
                one = run(str(fret), size, MEDIUM)
                x = at(bar.start_q + q) + 0.3 * gap
                taken[string].append((x - 5.0, x + one.width + 5.0))
                y = top + (string - 1) * gap + 0.36 * size
                marks += [placed(m, x, y) for m in one.marks]
    for string, gaps in taken.items():
        y, x = top + (string - 1) * gap, ends[0]
        for left, right in sorted(gaps):
            if left > x:
                marks.append(Line(x, y, left, y, 2.0))
            x = max(x, right)
        if x < ends[1]:
            marks.append(Line(x, y, ends[1], y, 2.0))
    half = HAIR / 2
    bars = {bar.start_q for bar in row.bars if bar.start_q >= row.start_q} | {row.end_q}
    for q in sorted(bars):
        x = min(max(at(q), ends[0] + half), ends[1] - half)
        marks.append(Line(x, top, x, top + (STRINGS - 1) * gap, HAIR))
    return marks


def _margin(row: Row, form: Shape, notes: Notes, x0: float, y0: float, margin: float) -> list[Mark]:
    """The section in a box where it begins, and the number of the bar."""
    marks: list[Mark] = []
    bar = row.bars[0]
    name = notes.sections.get(bar.index, "") if row.opens else ""
    number = str(bar.number) if bar.number and bar.start_q == row.start_q else ""
    left = x0 - margin
    if name:
        room = (margin or 480.0) - 44.0
        one = fitted(name, 40.0, room, BOLD)
        top = y0 + form.top + BASE * form.size - 46.0 if margin else y0 + 4.0
        right = left + one.width + 24.0
        corners = ((left + 2, top), (right, top), (right, top + 52.0), (left + 2, top + 52.0))
        marks += [
            Line(*a, *b, HAIR, butt=False)
            for a, b in zip(corners, (*corners[1:], corners[0]), strict=True)
        ]
        marks += [placed(m, left + 13.0, top + 40.0) for m in one.marks]
        left = right
    if number:
        one = run(number, 30.0, REGULAR, soft=True)
        if margin:
            x, y = x0 - one.width - 16.0, y0 + form.top + RULE * form.size + 11.0
        else:
            x, y = left + (16.0 if name else 0.0), y0 + 44.0
        marks += [placed(m, x, y) for m in one.marks]
    return marks


__all__ = ["BOLD", "ITALIC", "Box", "Drawn", "Notes", "Shape", "drawn", "shape"]
