"""What `backing play` shows: a few lines of text for the place where the music is. Pure text from pure values.

Waltz for Nobody · jazz waltz · G major · 85 % ♩ = 119
A (2) · bar 12 · 1 2 3
| Am7 | D7 | Gmaj7 | Em7 |
      ━━━━╸
| Cmaj7 | F7 | Bm7 | E7 |
loop bars 9–12 · click
space plays and stops · ? keys · q ends
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from backing.output import hand

if TYPE_CHECKING:
    from backing.commands.playing import Wanted
    from backing.live.asked import Place
    from backing.live.take import Take
    from backing.timeline.model import ChordSpan, PlayedBar, Timeline

MOST_BARS = 8  # on a line of text, where the chart's own lines are longer
HINT = "space plays and stops · ? all keys · q ends"

# key as it is pressed, what it does; those of the practice page where it has them
KEYS = (
    ("space k",  "play and stop"),
    ("← →",      "a bar back, a bar on"),
    ("n p",      "the next section, the section before"),
    ("↑ ↓",      "5 % faster, 5 % slower"),
    ("+ -",      "a semitone up, a semitone down"),
    ("[ ]",      "the first and the last bar to repeat"),
    ("0",        "the whole tune again"),
    ("l",        "5 % faster after every round, on and off"),
    ("1 to 9",   "a player plays or is silent, in the order of the list"),
    ("< >",      "all softer, all louder"),
    ("c",        "click on and off"),
    ("m",        "melody on and off"),
    ("t",        "guide tones on and off"),
    ("s",        "another take: the next seed"),
    ("home",     "back to the first bar"),
    ("?",        "this list"),
    ("q",        "end"),
)  # fmt: skip
CAUTION = "Keep headphones low enough to talk over, and rest. Stop when something hurts."


class Shown(NamedTuple):
    """What the screen tells beside the place: who plays, what is silent, and a line of news."""

    players: tuple[str, ...] = ()
    volume_db: float = 0.0
    news: str = ""
    help: bool = False


def lines(place: Place, wanted: Wanted, shown: Shown, width: int = 80) -> list[str]:
    """The screen, a text a line; the music fits into the width, what is said around it may be longer."""
    if shown.help:
        return [*(f"{keys:9} {does}" for keys, does in KEYS), "", CAUTION]
    timeline = place.take.timeline
    bar = timeline.bars[place.bar]
    rows = rows_of(timeline, bar.section_index, width)
    at = next(i for i, row in enumerate(rows) if bar.index <= row[-1].index)
    now, spans = row_text(timeline, rows[at])
    following = row_text(timeline, rows[at + 1])[0] if at + 1 < len(rows) else ""
    start, width = spans[bar.index]
    done = 0 if place.counting else _done(place.take, place.bar, place.frame)
    rule = " " * start + "━" * round(width * done) + "╸"
    said = [head(timeline, bar, wanted), where(place, bar), now, rule, following]
    return [*said, status(timeline, wanted, shown), shown.news or HINT]


def head(timeline: Timeline, bar: PlayedBar, wanted: Wanted) -> str:
    """Title, style, key and tempo as they are now."""
    from backing.ground.timebase import QUARTER

    us = next(
        (s.us for s in reversed(timeline.tempo) if s.at_q <= bar.start_q), timeline.tempo[0].us
    )
    beat_q = QUARTER if bar.meter.counted_in_eighths else bar.meter.beat_q
    bpm = round(60_000_000 / us / beat_q)
    sign = {Fraction(1, 2): "♪", Fraction(1): "♩", Fraction(3, 2): "♩.", Fraction(2): "half note"}[
        beat_q
    ]
    percent = f"{float(wanted.at_percent):g} % " if wanted.at_percent != 100 else ""
    key = hand.hand_key(timeline, bar.key).name
    told = hand.said(timeline)
    pieces = [
        timeline.title or "Untitled",
        bar.style or timeline.style,
        key,
        f"{percent}{sign} = {bpm}",
    ]
    return " · ".join([*pieces, told] if told else pieces)


def where(place: Place, bar: PlayedBar) -> str:
    """Section, bar and the beat that is counted."""
    beats = place.take.beats(place.bar)
    if place.counting or place.frame < place.take.bars[0]:
        counted = "count"
    else:
        beat = sum(place.take.frame(q) <= place.frame for q in beats)
        counted = " ".join(str(i + 1) if i < beat else "·" for i in range(len(beats)))
    section = bar.section + (f" ({bar.pass_})" if bar.pass_ > 1 else "")
    number = f"bar {bar.number}" if bar.number else "ending"
    state = "" if place.playing else "stopped"
    return " · ".join(p for p in (section, number, counted, state) if p)


def rows_of(timeline: Timeline, section: int, width: int) -> list[list[PlayedBar]]:
    """A section and the next as played, in the chart's lines, shorter ones where they are wider than the screen."""
    near = timeline.sections[section : section + 2]
    bars = timeline.bars[near[0].first - 1 : near[-1].last]
    rows: list[list[PlayedBar]] = []
    for _, line in groupby(bars, key=lambda b: (b.section_index, b.line)):
        row: list[PlayedBar] = []
        for bar in line:
            wider = row and len(row_text(timeline, [*row, bar])[0]) >= width
            if wider or len(row) == MOST_BARS:
                rows.append(row)
                row = []
            row.append(bar)
        rows.append(row)
    return rows


def row_text(timeline: Timeline, row: list[PlayedBar]) -> tuple[str, dict[int, tuple[int, int]]]:
    """A line of bars as text, and where each bar stands in it: its first column and its width."""
    text, spans = "|", {}
    for bar in row:
        symbols = [hand.symbol(timeline, span) for span in chords_of(timeline, bar)]
        body = " ".join(symbols) or "N.C."
        spans[bar.index] = (len(text) + 1, len(body))
        text += f" {body} |"
    return text, spans


def chords_of(timeline: Timeline, bar: PlayedBar) -> Sequence[ChordSpan]:
    """The chords that begin in a bar."""
    first = bisect_left(timeline.chords, bar.index, key=lambda span: span.bar)
    last = bisect_right(timeline.chords, bar.index, key=lambda span: span.bar)
    return timeline.chords[first:last]


def _done(take: Take, bar: int, frame: int) -> float:
    start, end = take.bars[bar], take.bars[bar + 1]
    return min(1.0, max(0.0, (frame - start) / max(1, end - start)))


def status(timeline: Timeline, wanted: Wanted, shown: Shown) -> str:
    """What is repeated, silent, clicked, climbed."""
    said = []
    if wanted.loop:
        first, last = (timeline.bars[min(b, len(timeline.bars) - 1)].number for b in wanted.loop)
        said.append(f"repeats bar {first}" if first == last else f"repeats bars {first}–{last}")
    if wanted.climbing:
        said.append(f"{wanted.climbing} % faster each round")
    if wanted.wish.band.click != "off":
        said.append(f"click on {wanted.wish.band.click}")
    if wanted.silent:
        said.append("silent: " + ", ".join(p for p in shown.players if p in wanted.silent))
    if wanted.wish.band.seed > 1:
        said.append(f"take {wanted.wish.band.seed}")
    if shown.volume_db:
        said.append(f"{shown.volume_db:+g} dB")
    players = " ".join(f"{i}{p}" for i, p in enumerate(shown.players[:9], 1))
    return " · ".join([*said, players])
