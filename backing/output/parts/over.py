"""What stands over and under the measures of a part: names of sections, tempo, feel, chords, dynamics.

Conventions: as in `measures`. Dynamics are those of the chart, and where it gives none those of the leader's plan, written
where a section begins otherwise than the one before; what grows or fades has its hairpin.
"""

from __future__ import annotations

from bisect import bisect_left
from fractions import Fraction
from xml.etree import ElementTree as ET

from backing.band.model import Arrangement
from backing.chart.ast import Slot
from backing.ground.manners import FLAT
from backing.ground.source import NOWHERE
from backing.ground.timebase import DYNAMICS, Feel, Tempo
from backing.output import musicxml_marks as marks
from backing.output.musicxml_marks import add
from backing.timeline.model import PlayedBar


class Over:
    """Writes over the measures of one part in order; `chords` has their names, `leads` has all but dynamics, `printed` words beside
    the tempo."""

    def __init__(
        self, music: Arrangement, divisions: int, *, leads: bool, chords: bool, printed: bool
    ) -> None:
        self.chords = chords
        self.music, self.divisions, self.leads, self.printed = music, divisions, leads, printed
        self.timeline = music.timeline
        self.level = ""  # the dynamic that is written last

    def write(self, measure: ET.Element, bar: PlayedBar, before: PlayedBar | None) -> None:
        """Write what stands over a measure."""
        section = self.timeline.sections[bar.section_index]
        feel = self._feel(bar)
        told = feel if before is None or self._feel(before) != feel else None
        if self.leads:
            if section.first == bar.index and section.name:
                marks.rehearsal(measure, section.name)
            if before is None:
                self._tempo(measure, bar, _word(feel) if self.printed else "")
            if told is not None and not (told.straight and before is None):
                if not (self.printed and before is None):
                    words(measure, _word(told) or "Straight")
                if not told.straight:
                    marks.feel(measure, told)
        self._dynamics(measure, bar, before, section.first == bar.index)
        if self.chords:
            self._harmonies(measure, bar)

    def _feel(self, bar: PlayedBar) -> Feel:
        return bar.feel or self.music.style.feel

    def _tempo(self, measure: ET.Element, bar: PlayedBar, word: str) -> None:
        qpm = Fraction(60_000_000, self.timeline.tempo[0].us)
        beat = bar.meter.beat_q if bar.meter.compound else Fraction(1)
        marks.tempo(measure, Tempo(Fraction(round(qpm / beat)), beat), bar.meter, word)

    def _dynamics(
        self, measure: ET.Element, bar: PlayedBar, before: PlayedBar | None, begins: bool
    ) -> None:
        grows, grew = _grows(bar), 0 if before is None else _grows(before)
        if grew and grew != grows:
            _wedge(measure, "stop")
        level = self._level(bar, begins)
        if level is not None and (grows != grew or not grows):
            name = min(DYNAMICS, key=lambda name: abs(DYNAMICS[name] - level))
            if name != self.level:
                made = add(measure, "direction", placement="below")
                add(add(add(made, "direction-type"), "dynamics"), name)
                self.level = name
        if grows and grew != grows:
            _wedge(measure, "crescendo" if grows > 0 else "diminuendo")
        if grows and bar is self.timeline.bars[-1]:
            _wedge(measure, "stop", int(bar.length_q * self.divisions))

    def _level(self, bar: PlayedBar, begins: bool) -> float | None:
        """How loud a bar begins, None where nothing new is to be said."""
        if bar.dynamic is not None:
            return bar.dynamic
        plan = self.music.plan.sections
        if not begins or self.timeline.plan == FLAT or bar.section_index >= len(plan):
            return None
        return plan[bar.section_index].opens

    def _harmonies(self, measure: ET.Element, bar: PlayedBar) -> None:
        spans = self.timeline.chords
        first = bisect_left(spans, bar.index, key=lambda s: s.bar)
        for span in spans[first : bisect_left(spans, bar.index + 1, key=lambda s: s.bar)]:
            if span.held:
                continue
            slot = Slot(Fraction(0), span.length_q, span.chord, span.symbol, NOWHERE)
            offset = int((span.start_q - bar.start_q) * self.divisions)
            marks.harmony(measure, slot, offset, self.printed)


def words(measure: ET.Element, text: str) -> None:
    """Words over a measure."""
    add(add(add(measure, "direction", placement="above"), "direction-type"), "words", text)


def _word(feel: Feel) -> str:
    if feel.straight:
        return ""
    if not feel.swung_eighths:
        return "Swung sixteenths"
    return "Swing" if feel.ratio is None else "Shuffle"


def _grows(bar: PlayedBar) -> int:
    """1 where a bar grows louder, -1 where it fades."""
    if bar.dynamic is None or bar.dynamic_end is None or bar.dynamic == bar.dynamic_end:
        return 0
    return 1 if bar.dynamic_end > bar.dynamic else -1


def _wedge(measure: ET.Element, kind: str, offset: int = 0) -> None:
    made = add(measure, "direction", placement="below")
    add(add(made, "direction-type"), "wedge", type=kind)
    if offset:
        add(made, "offset", offset)
