"""A chart with places that want a chord: its melody out, its chords in.

*Conventions*: the melody is read in the order of the text, repeats once. A `?` alone in its bar and
without a mark is cut by `every`; any other `?` is one place. Chords that are written stay, and the others are found around them.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from backing.chart.ast import Bar, Chart, LineNote, Slot
from backing.chart.latin import in_names
from backing.chart.naming import symbol_in
from backing.chart.words import WORDS, Once
from backing.ground.errors import RequestError
from backing.ground.source import Span
from backing.harmonising.harmonise import Harmonisation
from backing.harmonising.melody import (
    Melody,
    Place,
    TuneBar,
    TuneNote,
    counted_beat,
    phrase_ends,
    starts_in,
    weight_in,
)
from backing.harmony.chord import Chord

LONGEST_SHARE = 4  # a beat is divided by at most this many


class Gap(NamedTuple):
    """A stretch of the text that is replaced: places `first` to `last` (half-open) stand in it.

    `bar` is the bar that they fill, None where a single `?` is replaced.
    """

    span: Span
    first: int
    last: int
    bar: TuneBar | None


class Task(NamedTuple):
    """What a chart asks for: the melody, the places with the chords that stay, and the gaps in the text."""

    chart: Chart
    melody: Melody
    places: tuple[Place, ...]
    gaps: tuple[Gap, ...]


def task_of(chart: Chart, every: str, again: bool = False) -> Task:
    """Read a chart for harmonising; `again` asks for other chords, but for its cadences: the last chord of every phrase
    stays, and at the end the one before it.

    Raises `RequestError` where no chord is wanted, where there is no melody, and for `%2` over wanted chords.
    """
    bars = [bar for section in chart.sections for bar in section.bars]
    tune_bars = tuple(_tune_bars(bars))
    melody = Melody(tuple(_notes(bars, tune_bars)), tune_bars, chart.settings.key)
    melody = melody._replace(closes=frozenset(_closes(bars, melody)))
    if not melody.notes:
        raise RequestError(
            "there is no melody in this chart; write it under the bars, such as  melody: | G4 A4 B4 / |"
        )
    places: list[Place] = []
    gaps: list[Gap] = []
    closing = _cadences(melody, bars) if again else frozenset[Span]()
    for index, (bar, tune_bar) in enumerate(zip(bars, tune_bars, strict=True)):
        wanted = [
            slot
            for slot in bar.slots
            if slot.wanted or (again and slot.chord is not None and slot.span not in closing)
        ]
        _read_bar(melody, index, bar, tune_bar, every, wanted, places, gaps)
    if not gaps:
        raise RequestError(
            "every bar of this chart has its chord; write ? where one is to be found, or ask with --again for others"
        )
    return Task(chart, melody, tuple(places), tuple(gaps))


def _tune_bars(bars: Sequence[Bar]) -> Iterator[TuneBar]:
    at = -bars[0].length_q if bars and bars[0].number == 0 else Fraction(0)
    for bar in bars:
        yield TuneBar(bar.number, at, bar.length_q, bar.meter)
        at += bar.length_q


def _notes(bars: Sequence[Bar], tune_bars: Sequence[TuneBar]) -> Iterator[TuneNote]:
    """The melody's notes; one that is held over a bar line is one note."""
    last: TuneNote | None = None
    for bar, tune_bar in zip(bars, tune_bars, strict=True):
        for note in bar.melody or ():
            if note.held and last is not None:
                last = last._replace(length_q=last.length_q + note.length_q)
                continue
            if last is not None:
                yield last
            last = _tune_note(note, tune_bar)
    if last is not None:
        yield last


def _tune_note(note: LineNote, bar: TuneBar) -> TuneNote | None:
    if note.pitch is None:
        return None
    return TuneNote(bar.start_q + note.start_q, note.length_q, note.pitch)


def _closes(bars: Sequence[Bar], melody: Melody) -> Iterator[Fraction]:
    """Starts of the notes on which a phrase ends: of those over a chord with a fermata the last."""
    for bar, tune_bar in zip(bars, melody.bars, strict=True):
        for text in bar.texts:
            if text.direction is None or Once.FERMATA not in WORDS[text.direction.name].effects:
                continue
            held = [s for s in bar.slots if s.start_q <= min(text.at_q, bar.slots[-1].start_q)]
            start = tune_bar.start_q + held[-1].start_q
            notes = melody.between(start, start + held[-1].length_q)
            yield from [note.start_q for note in notes[-1:]]


def _read_bar(
    melody: Melody,
    index: int,
    bar: Bar,
    tune_bar: TuneBar,
    every: str,
    wanted: Sequence[Slot],
    places: list[Place],
    gaps: list[Gap],
) -> None:
    """Append the places and gaps of one bar."""
    alone = len(wanted) == len(bar.slots) == 1
    marked = any(slot.pushed or slot.stop or slot.ring for slot in wanted)
    whole = (alone and not marked) or (bool(wanted) and bar.simile > 0)
    if whole and bar.simile > 1:
        raise RequestError(
            f"bar {bar.number}: write the two bars of %2 out where chords are to be found"
        )
    if whole:
        first = len(places)
        starts = starts_in(melody, tune_bar, every)
        for start, end in zip(starts, [*starts[1:], tune_bar.length_q], strict=True):
            place = _place(index, tune_bar, start, end - start, None)
            places.append(place._replace(free=every == "auto", was=bar.slots[0].chord))
        gaps.append(Gap(_whole_span(bar), first, len(places), tune_bar))
        return
    for slot in bar.slots:
        if slot in wanted:
            gaps.append(Gap(slot.span, len(places), len(places) + 1, None))
        elif slot.chord is None:
            continue
        kept = None if slot in wanted else slot.chord
        place = _place(index, tune_bar, slot.start_q, slot.length_q, kept)
        places.append(place._replace(was=slot.chord if slot in wanted else None))


def _cadences(melody: Melody, bars: Sequence[Bar]) -> frozenset[Span]:
    """Where the last chord of every phrase is written, and the last but one of the chart."""
    ends = phrase_ends(melody)
    slots = [(i, slot) for i, bar in enumerate(bars) for slot in bar.slots if slot.chord]
    found = {slot.span for _, slot in slots[-2:]}
    for (index, slot), (after, _) in pairwise(slots):
        if index in ends and after != index:
            found.add(slot.span)
    return frozenset(found)


def _whole_span(bar: Bar) -> Span:
    return bar.slots[0].span if not bar.simile else bar.span


def _place(
    index: int, bar: TuneBar, start: Fraction, length: Fraction, kept: Chord | None
) -> Place:
    lead = bar.meter.length_q - bar.length_q
    weight = weight_in(bar.meter, start + lead)
    return Place(index, counted_beat(bar, start), bar.start_q + start, length, weight, kept)


def filled(task: Task, result: Harmonisation) -> str:
    """The chart's text with the chords of a result where they were wanted."""
    german = task.chart.header.german
    named = in_names if task.chart.header.latin else str
    text = task.chart.source.text
    onsets = {note.start_q for note in task.melody.notes}
    for gap in reversed(task.gaps):
        inside = task.places[gap.first : gap.last]
        since, until = inside[0].start_q, inside[-1].end_q
        chords = [
            (placed.place.start_q, named(symbol_in(placed.chord, german)))
            for placed in result.chords
            if since <= placed.place.start_q < until
        ]
        typed = text[gap.span.start : gap.span.end]
        if gap.bar is None:
            sounding = [p.chord for p in result.chords if p.place.start_q <= since]
            symbol = named(symbol_in(sounding[-1], german))
            new = typed.replace("?", symbol, 1) if "?" in typed else symbol
        else:
            new = bar_text(gap.bar, _struck(chords, onsets))
        text = text[: gap.span.start] + new + text[gap.span.end :]
    return text


def _struck(
    chords: Sequence[tuple[Fraction, str]], onsets: Container[Fraction]
) -> list[tuple[Fraction, str]]:
    """The chords of a bar but those that go on under a note that goes on."""
    found: list[tuple[Fraction, str]] = []
    for start, symbol in chords:
        if not found or symbol != found[-1][1] or start in onsets:
            found.append((start, symbol))
    return found


def bar_text(bar: TuneBar, chords: Sequence[tuple[Fraction, str]]) -> str:
    """The chords of a bar as they are typed: alone, sharing it, or beat by beat with `/` and brackets.

    >>> from backing.ground.timebase import Meter
    >>> bar = TuneBar(1, Fraction(0), Fraction(4), Meter.of(4, 4))
    >>> bar_text(bar, [(Fraction(0), "C"), (Fraction(3), "G7"), (Fraction(7, 2), "G#dim7")])
    'C / / (G7 G#dim7)'
    """
    count = len(chords)
    offsets = [start - bar.start_q for start, _ in chords]
    if count == 1 or (
        bar.meter.beats % count == 0
        and bar.length_q == bar.meter.length_q
        and offsets == [i * bar.length_q / count for i in range(count)]
    ):
        return " ".join(symbol for _, symbol in chords)
    beat = bar.meter.beat_q
    by_offset = dict(zip(offsets, (symbol for _, symbol in chords), strict=True))
    return " ".join(_beat_text(by_offset, n * beat, beat) for n in range(int(bar.length_q / beat)))


def _beat_text(chords: dict[Fraction, str], at: Fraction, beat: Fraction) -> str:
    """What stands for one beat; a beat in which several chords begin is shared equally."""
    inside = [offset for offset in chords if at <= offset < at + beat]
    if not inside or inside == [at]:
        return chords.get(at, "/")
    for parts in range(2, LONGEST_SHARE + 1):
        places = [at + n * beat / parts for n in range(parts)]
        if set(inside) <= set(places):
            return "(" + " ".join(chords.get(place, "/") for place in places) + ")"
    raise RequestError(
        "the tune moves in values too small for a chord on each note; ask for --every beat"
    )


def notes_as_chart(notes: str, meter: str = "4/4", pickup: str = "", key: str = "") -> str:
    """The text of a chart for notes as they are typed, bars parted by `|` or one note a beat.

    >>> print(notes_as_chart("G4 A4 B4 | C5", meter="3/4"))
    meter: 3/4
    <BLANKLINE>
    | ? | ? |
    melody: | G4 A4 B4 | C5 |
    <BLANKLINE>
    """
    bars = [" ".join(bar.split()) for bar in notes.strip().strip("|").split("|")]
    if len(bars) == 1:
        beats = int(meter.split("/")[0]) if meter.split("/")[0].isdigit() else 4
        beats = beats // 3 if meter in ("6/8", "9/8", "12/8") else beats
        words = bars[0].split()
        lead = int(pickup) if pickup.isdigit() else 0
        first = [words[:lead]] if lead else []
        bars = [
            " ".join(w)
            for w in first + [words[i : i + beats] for i in range(lead, len(words), beats)]
        ]
        short = len(bars[-1].split())
        if len(bars) > 1 and short < beats:
            bars[-1] += " /" * (beats - short)
    lines = [f"meter: {meter}"]
    lines += [f"pickup: {pickup}"] if pickup else []
    lines += [f"key: {key}"] if key else []
    lines.append("")
    for i in range(0, len(bars), 4):
        row = bars[i : i + 4]
        lines.append("| " + " | ".join("?" for _ in row) + " |")
        lines.append("melody: | " + " | ".join(row) + " |")
    return "\n".join(lines) + "\n"
