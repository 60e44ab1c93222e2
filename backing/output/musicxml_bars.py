"""The measures of a chart as MusicXML."""

from __future__ import annotations

import itertools
from fractions import Fraction
from math import lcm
from xml.etree import ElementTree as ET

from backing.chart.ast import LAST, Bar, BarLine, Chart, LineNote, Section
from backing.ground.pitch import UNISON, Interval, Key
from backing.ground.source import NOWHERE
from backing.ground.timebase import FOUR_FOUR, Feel, Meter, Tempo
from backing.output import musicxml_marks as marks
from backing.output.musicxml_marks import UNITS, add
from backing.output.sheet.values import Figure, figures
from backing.output.words_sung import Syllable, syllables

_STYLES = {BarLine.DOUBLE: "light-light", BarLine.FINAL: "light-heavy"}
_HALF = Fraction(1, 2)


class Bars:
    """Writes the measures in order; knows key, meter, tempo and feel that hold."""

    def __init__(self, chart: Chart, way: Interval = UNISON, printed: bool = False) -> None:
        self.chart, self.way, self.printed = chart, way, printed
        self.bars = [bar for section in chart.sections for bar in section.bars]
        self.divisions = _divisions(self.bars)
        self.key: Key | None = None
        self.meter: Meter | None = None
        self.tempo: Tempo | None = None
        self.feel: Feel | None = None
        self.simile = 0
        self.going_on: dict[int, bool] = {}  # a word, by verse
        self.ending: tuple[int, ...] = ()

    def write(self, part: ET.Element) -> None:
        """Write every measure."""
        ahead = {id(a): b for a, b in itertools.pairwise(self.bars)}
        for section in self.chart.sections:
            self.ending = ()
            first = section.bars[0]
            for line in section.lines:
                for bar in line.bars:
                    number = str(bar.number)
                    implicit = {"implicit": "yes"} if bar.number == 0 else {}
                    measure = add(part, "measure", number=number, **implicit)
                    if bar is line.bars[0] and bar is not self.bars[0]:
                        add(measure, "print", new_system="yes")
                    last = bar is section.bars[-1]
                    self._measure(
                        measure,
                        bar,
                        section if bar is first else None,
                        None if last else ahead.get(id(bar)),
                    )

    def _measure(
        self, measure: ET.Element, bar: Bar, opened: Section | None, after: Bar | None
    ) -> None:
        self._left(measure, bar)
        self._attributes(measure, bar, opened)
        if opened:
            self._opened(measure, opened, bar)
        self._music(measure, bar)
        self._right(measure, bar, after)

    # --- bar lines

    def _left(self, measure: ET.Element, bar: Bar) -> None:
        if bar.ending:
            self.ending = bar.ending
        if not bar.ending and not bar.repeat_start:
            return
        line = add(measure, "barline", location="left")
        if bar.ending:
            name = "last." if LAST in bar.ending else f"{', '.join(map(str, bar.ending))}."
            add(line, "ending", name, number=self._numbers(), type="start")
        if bar.repeat_start:
            add(line, "repeat", direction="forward")

    def _numbers(self) -> str:
        return " " if LAST in self.ending else ", ".join(map(str, self.ending))

    def _right(self, measure: ET.Element, bar: Bar, after: Bar | None) -> None:
        ends = bool(self.ending) and (
            bar.times > 0 or bar.line_after is not BarLine.SINGLE or after is None
            or bool(after.ending) or after.repeat_start
        )  # fmt: skip
        style = _STYLES.get(bar.line_after)
        if not (ends or style or bar.times):
            return
        line = add(measure, "barline", location="right")
        if style:
            add(line, "bar-style", style)
        if ends:
            kind = "stop" if bar.times else "discontinue"
            add(line, "ending", number=self._numbers(), type=kind)
            self.ending = ()
        if bar.times:
            times = {"times": str(bar.times)} if bar.times != 2 else {}
            add(line, "repeat", direction="backward", **times)

    # --- what holds from here on

    def _attributes(self, measure: ET.Element, bar: Bar, opened: Section | None) -> None:
        made = ET.Element("attributes")
        first = self.meter is None
        if first:
            add(made, "divisions", self.divisions)
        if opened:
            key = opened.settings.key or self.chart.settings.key
            if key and key != self.key:
                self.key = key
                one = add(made, "key")
                add(one, "fifths", key.fifths)
                add(one, "mode", key.mode_name)
        if bar.meter != self.meter:
            self.meter = bar.meter
            one = add(made, "time")
            grouped = len(bar.meter.groups) > 1 and not bar.meter.compound
            add(one, "beats", "+".join(map(str, bar.meter.groups)) if grouped else bar.meter.count)
            add(one, "beat-type", bar.meter.unit)
        if first:
            clef = add(made, "clef")
            add(clef, "sign", "G")
            add(clef, "line", 2)
            if self.chart.header.capo:
                add(add(made, "staff-details"), "capo", self.chart.header.capo)
            if self.way != UNISON:
                one = add(made, "transpose")
                add(one, "diatonic", -self.way.steps)
                add(one, "chromatic", -self.way.semitones)
        wanted = min(bar.simile, 2)
        if wanted != self.simile:
            one = add(made, "measure-style")
            number = wanted or self.simile
            add(one, "measure-repeat", number, type="start" if wanted else "stop")
            self.simile = wanted
        if len(made):
            measure.append(made)

    def _opened(self, measure: ET.Element, section: Section, bar: Bar) -> None:
        """The name of a section, and its tempo and feel where they change."""
        home, own = self.chart.settings, section.settings
        if section.name:
            marks.rehearsal(measure, section.name)
        tempo = own.tempo or home.tempo
        if tempo and tempo != self.tempo:
            marks.tempo(measure, tempo, own.meter or home.meter or FOUR_FOUR)
        feel = own.feel or home.feel
        if feel and feel != self.feel:
            marks.feel(measure, feel)
        self.tempo, self.feel = tempo, feel

    # --- notes

    def _music(self, measure: ET.Element, bar: Bar) -> None:
        played = _figures(bar)
        slots = [s for s in bar.slots if not s.held]
        starts = {f.start_q for f in played if not f.tied}
        cued = {t.at_q for t in bar.texts if _is_fermata(t.direction) and t.at_q in starts}
        texts = [t for t in bar.texts if not (_is_fermata(t.direction) and t.at_q in cued)]
        sung = _sung(bar)
        before: Figure | None = None
        for i, figure in enumerate(played):
            until = played[i + 1].start_q if i + 1 < len(played) else bar.length_q + 1
            for text in (t for t in texts if figure.start_q <= t.at_q < until):
                marks.words(measure, text, self._units(text.at_q - figure.start_q))
            for slot in (s for s in slots if figure.start_q <= s.start_q < until):
                marks.harmony(
                    measure, slot, self._units(slot.start_q - figure.start_q), self.printed
                )
            after = played[i + 1] if i + 1 < len(played) else None
            note = self._note(measure, figure, after, before, bar)
            if figure.start_q in cued and not figure.tied:
                add(_notations(note), "fermata", type="upright")
            if not figure.tied and (not figure.rest or not any(not f.rest for f in played)):
                for verse, syllable in enumerate(sung.pop(0) if sung else ()):
                    self._lyric(note, verse, syllable)
            before = figure

    def _units(self, length_q: Fraction) -> int:
        return int(length_q * self.divisions)

    def _note(
        self,
        measure: ET.Element,
        figure: Figure,
        after: Figure | None,
        before: Figure | None,
        bar: Bar,
    ) -> ET.Element:
        note = add(measure, "note")
        slash = bar.melody is None
        if figure.rest:
            whole = figure.length_q == bar.length_q
            add(note, "rest", **({"measure": "yes"} if whole else {}))
        else:
            pitch = add(note, "pitch")
            add(pitch, "step", figure.pitch.note.letter if figure.pitch else "B")
            if figure.pitch and figure.pitch.note.alter:
                add(pitch, "alter", figure.pitch.note.alter)
            add(pitch, "octave", figure.pitch.octave if figure.pitch else 4)
        add(note, "duration", self._units(figure.length_q))
        goes_on = not figure.rest and not slash and self._goes_on(figure, after, bar)
        for there, way in ((figure.tied, "stop"), (goes_on, "start")):
            if there and not slash:
                add(note, "tie", type=way)
        add(note, "voice", 1)
        if figure.value in UNITS and not (figure.rest and figure.length_q == bar.length_q):
            add(note, "type", UNITS[figure.value])
            if figure.dotted:
                add(note, "dot")
        if figure.tuplet:
            modification = add(note, "time-modification")
            add(modification, "actual-notes", figure.number)
            add(modification, "normal-notes", _time_of(figure.number))
        if slash and not figure.rest:
            add(note, "notehead", "slash")
        for there, way in ((figure.tied, "stop"), (goes_on, "start")):
            if there and not slash:
                add(_notations(note), "tied", type=way)
        if figure.tuplet and (before is None or before.tuplet != figure.tuplet):
            add(_notations(note), "tuplet", type="start", bracket="yes")
        if figure.tuplet and (after is None or after.tuplet != figure.tuplet):
            add(_notations(note), "tuplet", type="stop")
        return note

    def _goes_on(self, figure: Figure, after: Figure | None, bar: Bar) -> bool:
        """Whether the note is held by the figure after it, over the bar line too."""
        if after is not None:
            return after.tied
        place = self.bars.index(bar)
        following = self.bars[place + 1] if place + 1 < len(self.bars) else None
        return bool(following and following.melody and following.melody[0].held)

    def _lyric(self, note: ET.Element, verse: int, syllable: Syllable) -> None:
        if not syllable.text and not syllable.held:
            return
        lyric = add(note, "lyric", number=str(verse + 1))
        if syllable.held:
            add(lyric, "extend")
            return
        inside = self.going_on.get(verse, False)
        kind = ("middle" if inside else "begin") if syllable.more else "end" if inside else "single"
        self.going_on[verse] = syllable.more
        add(lyric, "syllabic", kind)
        add(lyric, "text", syllable.text)


def _notations(note: ET.Element) -> ET.Element:
    found = note.find("notations")
    return add(note, "notations") if found is None else found


def _is_fermata(direction: object) -> bool:
    return getattr(direction, "name", "") == "fermata"


def _time_of(number: int) -> int:
    """The notes in whose time those of a tuplet are played: 3 in 2, 5 in 4."""
    return 1 << ((number - 1).bit_length() - 1)


def _figures(bar: Bar) -> list[Figure]:
    """The notes and rests of a bar; slashes, one a pulse, where there is no melody."""
    if bar.melody:
        notes = bar.melody
        filled = (
            notes
            if notes[0].start_q == 0
            else (LineNote(Fraction(0), notes[0].start_q, NOWHERE), *notes)
        )
        return list(figures(filled, bar.meter))
    pulses = list(bar.meter.pulses_q) if bar.number else [bar.length_q]
    found, at = [], Fraction(0)
    for length in pulses:
        value = next(
            (v for v in map(Fraction, UNITS) if v in (length, length * Fraction(2, 3))), Fraction(0)
        )
        found.append(Figure(at, length, value, dotted=value != length))
        at += length
    return found


def _sung(bar: Bar) -> list[list[Syllable]]:
    """The syllables of every note that begins in a bar, one a verse."""
    begun = sum(1 for n in bar.melody or () if n.pitch and not n.held)
    if begun == 0:
        return [[Syllable(words) for words in bar.words]]
    verses = [syllables(words, begun) for words in bar.words]
    return [[verse[i] for verse in verses] for i in range(begun)]


def _divisions(bars: list[Bar]) -> int:
    """Parts of a quarter in which everything has a whole number."""
    places: set[Fraction] = {_HALF}
    for bar in bars:
        places |= {bar.length_q, *(s.start_q for s in bar.slots), *(t.at_q for t in bar.texts)}
        places |= {p for f in _figures(bar) for p in (f.start_q, f.length_q)}
    return lcm(*(p.denominator for p in places))
