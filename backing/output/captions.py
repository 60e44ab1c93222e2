"""Chords and sections as WebVTT, for players that show captions or chapters.

Conventions: times are rounded to milliseconds, and neighbours share one rounded time, so no two cues overlap.
Source: W3C WebVTT (first line `WEBVTT`, blocks parted by blank lines, `hh:mm:ss.ttt --> hh:mm:ss.ttt`; `&`, `<` and
`>` are escaped in a cue).
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

from backing.output import hand
from backing.output.files import MARK, write_text
from backing.performance.model import Performance

COUNT_IN = "count-in"


@dataclass(frozen=True, slots=True)
class Cue:
    """A stretch of time and what is said about it; `name` is the identifier of the cue, "" for none."""

    start_ms: int
    end_ms: int
    text: str
    name: str = ""


def write(performance: Performance, path: str | os.PathLike[str], *, force: bool = False) -> None:
    """Write the chords as captions. Raises `OutputError`."""
    write_text(path, vtt(chord_cues(performance), performance), force=force)


def chord_cues(performance: Performance) -> list[Cue]:
    """A cue a chord: its symbol, and on a second line the section where one begins.

    With a capo the symbols are the shapes, and the first cue says what sounds.
    """
    tempo = performance.tempo
    timeline = performance.arrangement.timeline
    bars = {bar.index: bar for bar in timeline.bars}
    opens = {
        timeline.bars[s.first - 1].start_q: s.name
        for s in timeline.sections
        if 0 < s.first <= len(timeline.bars)
    }
    cues = []
    for span in timeline.chords:
        bar = bars[span.bar]
        beat = 1 + (span.start_q - bar.start_q) / bar.meter.beat_q
        section = opens.get(span.start_q)
        cues.append(
            Cue(
                _ms(tempo.seconds(span.start_q)),
                _ms(tempo.seconds(span.end_q)),
                hand.symbol(timeline, span) + (f"\n[{section}]" if section else ""),
                f"bar {bar.number} beat {beat}",
            )
        )
    told = hand.said(timeline)
    if told and cues:
        cues[0] = replace(cues[0], text=f"{cues[0].text}\n{told}")
    return _tidy(cues)


def chapters(performance: Performance) -> list[Cue]:
    """A cue a marker, each until the next; the first begins with the sound, the last ends with it."""
    end = _ms(performance.duration_s)
    marks = [(_ms(m.at_s), m.text) for m in performance.markers]
    if not marks or marks[0][0] > 0:
        marks.insert(
            0,
            (0, COUNT_IN if performance.count_in_s > 0 else performance.arrangement.timeline.title),
        )
    ends = [start for start, _ in marks[1:]] + [end]
    return _tidy([Cue(start, stop, text) for (start, text), stop in zip(marks, ends, strict=True)])


def vtt(cues: list[Cue], performance: Performance) -> str:
    """The file as text."""
    title = _plain(performance.arrangement.timeline.title)
    blocks = ["WEBVTT" + (f" {title}" if title else ""), f"NOTE {MARK}"]
    for cue in cues:
        text = "\n".join(_escaped(line) for line in cue.text.splitlines() if line.strip())
        head = f"{_plain(cue.name)}\n" if cue.name else ""
        blocks.append(f"{head}{clock(cue.start_ms)} --> {clock(cue.end_ms)}\n{text}")
    return "\n\n".join(blocks) + "\n"


def clock(ms: int) -> str:
    """A time as WebVTT writes it.

    >>> clock(0), clock(3_661_007)
    ('00:00:00.000', '01:01:01.007')
    """
    seconds, ms = divmod(ms, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{seconds:02}.{ms:03}"


def _tidy(cues: list[Cue]) -> list[Cue]:
    """Cues of no length say nothing and are left out."""
    return [c for c in cues if c.end_ms > c.start_ms and c.text.strip()]


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _plain(text: str) -> str:
    """One line without the arrow, as identifiers and the head must be."""
    return " ".join(text.split()).replace("-->", "->")


def _ms(seconds: float) -> int:
    return round(seconds * 1000)
