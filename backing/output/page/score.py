"""What is written on staves and over the bars of the page: the melody in every key, and the rhythm of hits and kicks.

Conventions: places are quarters from the bar line; steps count upwards from the lowest line of the staff. A figure is a
row of plain values, as `web/staff.js` reads it; a bar that occurs twice is one entry of the list.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from backing.chart.ast import Bar, Chart, LineNote
from backing.ground.pitch import Key
from backing.harmony.spelling import interval_for_semitones
from backing.output.hand import hand_key
from backing.output.sheet.staff import accidentals, bass_clef, step
from backing.output.sheet.values import Figure, figures
from backing.timeline.marks import moved_key, moved_pitch
from backing.timeline.model import PlayedBar, Timeline

TREBLE, BASS = 30, 18  # E4 and G2 stand on the lowest lines
NONE = {"melody": -1, "hits": -1, "kicks": -1, "notes": 0}


class Score:
    """Figures and signatures of the bars that are played; `bar` adds those of one bar and tells their numbers."""

    def __init__(self, chart: Chart, timeline: Timeline, shifts: Sequence[int]) -> None:
        self._written = {(s.name, b.number): b for s in chart.sections for b in s.bars}
        self._timeline = timeline
        self._shifts = shifts
        pitches = [n.pitch for s in chart.sections for b in s.bars for n in b.melody or ()]
        found = [p for p in pitches if p is not None]
        self.low = bass_clef(found)
        self.has_melody = bool(found)
        self.figures: list[list[list[Any]]] = []
        self.signatures: list[list[int]] = []
        self._seen: dict[str, int] = {}

    def bar(self, bar: PlayedBar) -> dict[str, int]:
        """What stands in a bar: numbers of its melody, hits and kicks, -1 for none, and how many notes a line has."""
        here = hand_key(self._timeline, bar.key)
        keys = [moved_key(here, interval_for_semitones(here, n))[0] for n in self._shifts]
        signature = self._number(self.signatures, [k.fifths for k in keys])
        written = self._written.get((bar.section, bar.number))
        if written is None:
            return {**NONE, "signature": signature}
        numbers = {
            "hits": self._rhythm(written, written.hits),
            "kicks": self._rhythm(written, written.kicks),
            "melody": self._melody(written, bar, here),
        }
        most = max((len(self.figures[n]) for n in numbers.values() if n >= 0), default=0)
        return {**numbers, "notes": most, "signature": signature}

    def _rhythm(self, written: Bar, line: Sequence[LineNote] | None) -> int:
        if not line:
            return -1
        return self._number(self.figures, [row(f) for f in figures(line, written.meter)])

    def _melody(self, written: Bar, bar: PlayedBar, here: Key) -> int:
        """The melody of a bar in all keys; a section that is played higher moves it before the key is chosen."""
        if not written.melody:
            return -1
        found = figures(written.melody, written.meter)
        transposed = self._timeline.sections[bar.section_index].transpose
        home = moved_key(here, interval_for_semitones(here, -transposed))[0]
        rows = [row(f) for f in found]
        steps: list[list[int]] = []
        signs: list[list[str]] = []
        for shift in self._shifts:
            there = self._moved(found, home, here, transposed, shift)
            key = moved_key(here, interval_for_semitones(here, shift))[0]
            bottom = BASS if self.low else TREBLE
            steps.append([step(f.pitch) - bottom if f.pitch else 4 for f in there])
            signs.append(accidentals(there, key))
        for i, one in enumerate(rows):
            one += [[s[i] for s in steps], [s[i] for s in signs]]
        return self._number(self.figures, rows)

    def _moved(
        self, found: Sequence[Figure], home: Key, here: Key, transposed: int, shift: int
    ) -> list[Figure]:
        from dataclasses import replace

        up = moved_key(home, interval_for_semitones(home, transposed))[1]
        way = moved_key(here, interval_for_semitones(here, shift))[1]
        return [
            f if f.pitch is None else replace(f, pitch=moved_pitch(moved_pitch(f.pitch, up), way))
            for f in found
        ]

    def _number(self, rows: list[Any], one: Any) -> int:
        key = f"{id(rows)} {one}"
        if key not in self._seen:
            self._seen[key] = len(rows)
            rows.append(one)
        return self._seen[key]


def row(f: Figure) -> list[Any]:
    """Start, length, value, dotted, rest, flags, beam, tied, tuplet and its number."""
    return [
        round(float(f.start_q), 6),
        round(float(f.length_q), 6),
        float(f.value),
        int(f.dotted),
        int(f.rest),
        f.flags,
        f.beam,
        int(f.tied),
        f.tuplet,
        f.number,
    ]
