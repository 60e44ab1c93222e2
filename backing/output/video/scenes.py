"""What is seen when: the title card, the count, and the lines of the tune, each group of rows with the next below it.

Conventions: seconds of the sound, count-in included. A scene is a still picture of which parts are lit in the course of
it: the rule as far as the tune has gone (`Sweep`), the bar under the chord that sounds (`Glow`). The title card stands
until the tune begins and for at least `CARD_S` seconds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from math import inf
from typing import NamedTuple

from backing.chart.ast import LETTERS, Chart
from backing.chart.numbers import in_notation
from backing.ground.timebase import TempoMap
from backing.harmony.chord import Chord
from backing.harmony.spelling import transpose
from backing.output.asked import CONCERT, Paper
from backing.output.hand import hand_chord, hand_key
from backing.output.page.beats import GRID, count_words, counted
from backing.output.page.data import Verses, section_data, tab_of
from backing.output.sheet.chord import Symbol, numbered, symbol
from backing.output.sheet.marks import BOLD, MEDIUM, REGULAR, Mark, placed, run, wrapped
from backing.output.sheet.values import figures
from backing.output.sheet.words import title_words, typeset
from backing.output.sheet.write import TRANSPOSING, title_of
from backing.output.symbols import Spelling
from backing.output.video.drawn import Box, Drawn, Notes, Shape, beats, drawn, shape
from backing.output.video.rows import Row, laid, together
from backing.output.video.screens import Screen
from backing.performance.model import Performance
from backing.timeline.marks import moved_key
from backing.timeline.model import Timeline

CARD_S = 3.0
NEXT = 0.72  # the size of the line below, as a share
BETWEEN = 0.35  # above the line below, in sizes of chords
TOP, FOOT = 96.0, 36.0  # where title and chorus stand, and what stays free below
COUNT = 270.0  # the size of a figure of the count


class Sweep(NamedTuple):
    """A rule that is filled: at each of `times_s` as far as the x beside it."""

    box: Box
    times_s: tuple[float, ...]
    xs: tuple[float, ...]


class Glow(NamedTuple):
    """A part that is lit for a time."""

    box: Box
    start_s: float
    end_s: float


class Still(NamedTuple):
    """A picture: what lies under the parts that may be lit, those parts, the marks over them, and those in their colour."""

    under: tuple[Mark, ...]
    lit: tuple[Box, ...]
    marks: tuple[Mark, ...]
    bright: tuple[Mark, ...] = ()


class Scene(NamedTuple):
    """A picture from `start_s` on, and what is lit in it."""

    start_s: float
    still: Still
    sweeps: tuple[Sweep, ...] = ()
    glows: tuple[Glow, ...] = ()


class _Change(NamedTuple):
    """At this time this group is shown, with the word of a count, lit or not."""

    start_s: float
    group: int
    word: str = ""
    lit: bool = False


class _Stage(NamedTuple):
    """What all scenes share."""

    performance: Performance
    screen: Screen
    here: Shape
    next: Shape
    notes: Notes
    groups: list[tuple[Row, ...]]
    top: float  # of the row that sounds


def scenes(
    performance: Performance,
    chart: Chart,
    screen: Screen,
    *,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: Paper = CONCERT,
) -> list[Scene]:
    """Everything that is seen, in order; `style` and `tempo` are told on the card as on the sheet."""
    stage = _staged(performance, chart, screen, paper)
    card = _card(chart, screen, style, tempo, paper)
    return [
        _scene(stage, change, card if change.start_s < _carded_s(performance) - 1e-9 else None)
        for change in _changes(stage)
    ]


def _carded_s(performance: Performance) -> float:
    """How long the title card stands."""
    return max(CARD_S, performance.count_in_s)


def _scene(stage: _Stage, change: _Change, card: tuple[Mark, ...] | None) -> Scene:
    """What is shown from a change on, under the card or a heading."""
    rows = _rows(stage, change.group)
    bright = _count(stage, change.word)
    over = _heading(stage, change.group, alone=bool(bright)) if card is None else card
    sounding = rows[: len(stage.groups[change.group])]
    still = Still(
        tuple(row.rule for row in rows),
        (*(r.band for r in sounding), *(box for r in sounding for _, box in r.bars)),
        (*over, *(m for row in rows for m in row.marks)),
        bright,
    )
    sweeps, glows = _lit(stage, change.group, sounding) if change.lit else ((), ())
    return Scene(change.start_s, still, sweeps, glows)


def _staged(performance: Performance, chart: Chart, screen: Screen, paper: Paper) -> _Stage:
    timeline = performance.arrangement.timeline
    signs = _symbols(timeline, chart, paper)
    size, rows = laid(timeline, signs.__getitem__, screen)
    notes = _notes(performance, chart, paper)
    has = {
        "hits": bool(notes.hits or notes.kicks),
        "words": bool(notes.words),
        "head": not screen.margin,
    }
    tab = bool(notes.tab)
    room = screen.high - screen.head - FOOT
    here, after = shape(size, tab=tab, **has), shape(size * NEXT, tab=False, **has)
    most = max(1, min(screen.most, int((room - after.height) // here.height)))
    groups = together(rows, most)
    if here.height + after.height > room:  # too much for the screen: smaller, with the same rows
        size *= room / (here.height + after.height)
        here, after = shape(size, tab=tab, **has), shape(size * NEXT, tab=False, **has)
    fullest = max(len(group) for group in groups)
    used = fullest * here.height + BETWEEN * size + min(fullest, screen.most) * after.height
    top = screen.head + max(0.0, (room - used) / 3)
    return _Stage(performance, screen, here, after, notes, groups, top)


def _symbols(timeline: Timeline, chart: Chart, paper: Paper) -> list[Symbol]:
    """What is written for every chord that is played, as the hand sees it or the instrument reads it."""
    spelling = Spelling(paper.signs, chart.header.german, chart.header.latin)
    notation = chart.settings.chords or LETTERS
    found = []
    for span in timeline.chords:
        key = timeline.bars[span.bar - 1].key
        if paper.transposing and span.chord is not None:
            there, way = moved_key(key, TRANSPOSING[paper.transposing])
            chord: Chord | None = transpose(span.chord, way, there)
            key = there
        else:
            chord, key = hand_chord(timeline, span, key), hand_key(timeline, key)
        if chord is not None and notation != LETTERS:
            found.append(numbered(in_notation(chord, key, notation)))
        else:
            found.append(symbol(chord, spelling))
    return found


def _notes(performance: Performance, chart: Chart, paper: Paper) -> Notes:
    timeline = performance.arrangement.timeline
    written = {(s.name, b.number): b for s in chart.sections for b in s.bars}
    hits, kicks = {}, {}
    for bar in timeline.bars:
        own = written.get((bar.section, bar.number))
        if own is not None and own.hits:
            hits[bar.index] = figures(own.hits, own.meter)
        if own is not None and own.kicks:
            kicks[bar.index] = figures(own.kicks, own.meter)
    sung = Verses(chart).words
    words = {bar.index: sung(bar) for bar in timeline.bars}
    played = {} if paper.tab == "off" else tab_of(performance)
    tab = {
        index: [
            (Fraction(at).limit_denominator(960), [(s, f) for s, f in held]) for at, held in row
        ]
        for index, row in played.items()
        if row
    }
    named = {
        row["first"] + 1: row["name"] + (f" {row['time']}" if row["time"] > 1 else "")
        for row in section_data(timeline)
        if row["named"]
    }
    return Notes(hits, kicks, {i: w for i, w in words.items() if w}, tab, named)


def _changes(stage: _Stage) -> list[_Change]:
    """When another picture comes, in order."""
    performance, tempo = stage.performance, stage.performance.tempo
    found = [_Change(0.0, 0)]
    found += [_Change(at_s, 0, word) for at_s, word in _counted(performance)]
    for n, group in enumerate(stage.groups):
        start = group[0].start_q
        before = stage.groups[n - 1][-1].end_q if n else start
        if before < start:  # counted in between two passes
            found.append(_Change(tempo.seconds(before), n))
            found += _recounted(stage, before, start, n)
        found.append(_Change(tempo.seconds(start), n, lit=True))
    found.sort(key=lambda change: change.start_s)
    kept = list({round(change.start_s, 6): change for change in found}.values())
    end_s = _carded_s(performance)
    last = max(i for i, change in enumerate(kept) if change.start_s <= end_s + 1e-6)
    if kept[last].start_s < end_s - 1e-6:  # the card goes while a line sounds
        kept.insert(last + 1, kept[last]._replace(start_s=end_s))
    return kept


def _counted(performance: Performance) -> Iterator[tuple[float, str]]:
    """The strokes before the tune begins, and what is said at each."""
    for at_s, _, word in counted(performance):
        assert isinstance(at_s, float)
        yield at_s, str(word)


def _recounted(stage: _Stage, start: Fraction, end: Fraction, group: int) -> Iterator[_Change]:
    """The strokes of a count between two passes."""
    clicks = [p for p in stage.performance.players if p.role == "click"]
    low, high = float(start) - 1e-6, float(end) - 1e-6
    strokes = [n for p in clicks for n in p.notes if low <= n.start_q < high]
    places = [Fraction(round((n.start_q - float(start)) * GRID), GRID) for n in strokes]
    words = count_words(places, stage.groups[group][0].bars[0].meter)
    for note, word in zip(strokes, words, strict=True):
        yield _Change(note.onset_s, group, word)


def _rows(stage: _Stage, index: int) -> list[Drawn]:
    """The rows of a group, and smaller below them those of the next."""
    screen, y = stage.screen, stage.top
    x, found = screen.side + screen.margin, []
    for row in stage.groups[index]:
        found.append(drawn(row, stage.here, stage.notes, x, y, screen.room, screen.margin))
        y += stage.here.height
    y += BETWEEN * stage.here.size
    for row in stage.groups[index + 1] if index + 1 < len(stage.groups) else ():
        if y + stage.next.height > screen.high - FOOT:
            break
        found.append(drawn(row, stage.next, stage.notes, x, y, screen.room, screen.margin))
        y += stage.next.height
    return found


def _lit(
    stage: _Stage, index: int, rows: Sequence[Drawn]
) -> tuple[tuple[Sweep, ...], tuple[Glow, ...]]:
    """How the rules of a group fill, and which chord sounds when."""
    tempo, last = stage.performance.tempo, stage.performance.arrangement.timeline.length_q
    sweeps = [
        _sweep(row, own.band, tempo) for row, own in zip(stage.groups[index], rows, strict=True)
    ]
    glows = [
        Glow(
            box,
            tempo.seconds(chord.start_q),
            inf if chord.end_q >= last else tempo.seconds(chord.end_q),
        )
        for own in rows
        for chord, box in own.bars
    ]  # the last chord rings
    return tuple(sweeps), tuple(glows)


def _sweep(row: Row, band: Box, tempo: TempoMap) -> Sweep:
    """The rule of a row: at every beat, and between beats where the tempo bends."""
    places = sorted({row.start_q, *beats(row), row.end_q})
    fine = [a + (b - a) * n / 4 for a, b in pairwise(places) for n in range(4)]
    places = [*fine, row.end_q]
    wide = band.x1 - band.x0
    return Sweep(
        band,
        tuple(tempo.seconds(q) for q in places),
        tuple(band.x0 + wide * row.share(q) for q in places),
    )


def _card(
    chart: Chart,
    screen: Screen,
    style: str,
    tempo: tuple[Fraction, Fraction] | None,
    paper: Paper,
) -> tuple[Mark, ...]:
    """The title large, who wrote it, and what a player has to know, over the first line."""
    size = 92.0
    room = screen.wide - 2 * screen.side - 0.8 * COUNT
    title, who = typeset(title_of(chart)), typeset(chart.header.by)
    told = title_words(chart, style, tempo, paper.transposing)
    while size > 40.0 and len(wrapped(title, size, BOLD, room)) > 1:
        size -= 4.0
    rows = [(text, size, BOLD) for text in _lines(title, size, BOLD, room, 2)]
    for text, most in ((who, 1), (told, 2)):
        rows += [(line, 40.0, REGULAR) for line in _lines(text, 40.0, REGULAR, room, most)]
    high = sum(own * 1.3 for _, own, _ in rows)
    y = max(36.0, (screen.head - 20.0 - high) / 2)
    marks: list[Mark] = []
    for i, (text, own, face) in enumerate(rows):
        y += own * (0.8 if i == 0 else 1.3)
        marks += [placed(m, screen.side, y) for m in run(text, own, face).marks]
        y += own * 0.1 if i == 0 else 0.0
    return tuple(marks)


def _lines(text: str, size: float, face: int, room: float, most: int) -> list[str]:
    """The text in at most so many lines; what is left over is shown by dots."""
    found = wrapped(text, size, face, room - size)
    return found if len(found) <= most else [*found[: most - 1], f"{found[most - 1]} …"]


def _heading(stage: _Stage, index: int, *, alone: bool) -> tuple[Mark, ...]:
    """The title small, and (unless it is to stand `alone`) which chorus of how many sounds."""
    timeline, screen = stage.performance.arrangement.timeline, stage.screen
    chorus = stage.groups[index][0].bars[0].chorus
    said = (
        f"{chorus} of {timeline.choruses}" if timeline.choruses > 1 and chorus and not alone else ""
    )
    right = run(said, 36.0, MEDIUM, soft=True)
    room = screen.wide - 2 * screen.side - right.width - 60.0
    (title,) = _lines(typeset(timeline.title or "Untitled"), 36.0, MEDIUM, room, 1)
    left = run(title, 36.0, MEDIUM, soft=True)
    marks = [placed(m, screen.side, TOP) for m in left.marks]
    marks += [placed(m, screen.wide - screen.side - right.width, TOP) for m in right.marks]
    return tuple(marks)


def _count(stage: _Stage, word: str) -> tuple[Mark, ...]:
    """The figure of a count, over the right end of the first line."""
    if not word:
        return ()
    one = run(word, COUNT, BOLD)
    x, y = stage.screen.wide - stage.screen.side - one.width, stage.screen.head - 30.0
    return tuple(placed(m, x, y) for m in one.marks)
