"""The timeline as JSON: where every bar and chord lies in the sound file, for editors, pages and scripts.

Conventions: seconds count from the first sample of the sound, count-in included, rounded to a microsecond; `index`
counts bars as played from 1, `number` is the bar of the sheet; `beat` is the counted beat as an exact fraction.
"""

from __future__ import annotations

import json
import os
from fractions import Fraction
from typing import Any

from backing.ground.timebase import TempoMap
from backing.output.files import MADE_BY, write_text
from backing.performance.model import Performance
from backing.timeline.model import ChordSpan, PlayedBar


def write(performance: Performance, path: str | os.PathLike[str], *, force: bool = False) -> None:
    """Write the timeline, one bar or chord a line. Raises `OutputError`."""
    write_text(path, text(performance), force=force)


def as_json(performance: Performance) -> dict[str, Any]:
    """The timeline as plain values, in the order of the file."""
    arrangement = performance.arrangement
    timeline = arrangement.timeline
    tempo = performance.tempo
    bars = {bar.index: bar for bar in timeline.bars}
    return {
        "version": 1,
        "made_by": MADE_BY,
        "title": timeline.title,
        "seed": arrangement.seed,
        "style": arrangement.style.name,
        "duration_s": _rounded(performance.duration_s),
        "count_in": {
            "bars": arrangement.count_in_bars,
            "end_s": _rounded(performance.count_in_s),
        },
        "bars": [_bar(bar, tempo, bar.index in arrangement.silent) for bar in timeline.bars],
        "chords": [_chord(span, bars[span.bar], tempo) for span in timeline.chords],
        "tempo": [{"at_s": _seconds(tempo, at_q), "qpm": _qpm(us)} for at_q, us in tempo.changes()],
    }


def text(performance: Performance) -> str:
    """The file: a line a bar, a chord or a tempo, so that people and `diff` can read it."""
    parts = []
    for name, value in as_json(performance).items():
        if isinstance(value, list):
            rows = ",\n".join("  " + _dumps(row) for row in value)
            parts.append(f" {_dumps(name)}: [\n{rows}\n ]" if value else f" {_dumps(name)}: []")
        else:
            parts.append(f" {_dumps(name)}: {_dumps(value)}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _bar(bar: PlayedBar, tempo: TempoMap, silent: bool) -> dict[str, Any]:
    beats = []
    at = bar.start_q
    while at < bar.end_q:
        beats.append(_seconds(tempo, at))
        at += bar.meter.beat_q
    return {
        "index": bar.index,
        "number": bar.number,
        "section": bar.section,
        "pass": bar.pass_,
        "chorus": bar.chorus,
        "line": bar.line,
        "meter": bar.meter.name,
        "start_s": _seconds(tempo, bar.start_q),
        "end_s": _seconds(tempo, bar.end_q),
        "beats_s": beats,
        "silent": silent,
    }


def _chord(span: ChordSpan, bar: PlayedBar, tempo: TempoMap) -> dict[str, Any]:
    chord = span.chord
    return {
        "bar": span.bar,
        "beat": str(1 + (span.start_q - bar.start_q) / bar.meter.beat_q),
        "start_s": _seconds(tempo, span.start_q),
        "end_s": _seconds(tempo, span.end_q),
        "symbol": span.symbol,
        "written": span.written,
        "root": chord.root.name if chord else None,
        "bass": chord.bass.name if chord and chord.bass else None,
        "degrees": [d.name for d in chord.degrees] if chord else [],
        "pitch_classes": list(chord.pitch_classes) if chord else [],
    }


def _seconds(tempo: TempoMap, at_q: Fraction) -> float:
    return _rounded(tempo.seconds(at_q))


def _rounded(seconds: float) -> float:
    return round(seconds, 6)


def _qpm(us: int) -> float:
    return round(60_000_000 / us, 6)


def _dumps(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
