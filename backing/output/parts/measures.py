"""The measures of one part as MusicXML.

Conventions: one `Part` knows its staves and voices; durations are whole parts of a quarter (`divisions`). Accidentals hold
to the bar line in their octave, and are written where they change something; what is tied over needs none.
Source: MusicXML 4.0; accidentals as in any handbook of notation.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple
from xml.etree import ElementTree as ET

from backing.band.model import Arrangement, Note
from backing.ground.pitch import Pitch
from backing.ground.roles import pitched
from backing.output.musicxml_marks import UNITS, add
from backing.output.parts.over import Over
from backing.output.parts.signs import altered, grouped, in_tuplet, notations, slashed, ties
from backing.output.parts.staves import GUITAR, TAB, Clef, Layout, drum_of
from backing.output.parts.written import Struck, Written
from backing.performance.explain import spelled
from backing.timeline.model import PlayedBar

ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
STRUMMED, CHORD = 4, 3  # strings of a strum; and of what is a slash in a part that strums
LINE = 4  # bars
DEAD = "dead-"  # what the identifiers of damped notes of a tab begin with
OFTEN = 0.25  # of its strokes, that a part must strum for that
_TUNED = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]


class Stave(NamedTuple):
    """A staff with its voices, bar by bar; `frets` are string and fret of notes by identity."""

    number: int
    clef: Clef
    voices: tuple[tuple[int, list[list[Written]]], ...]  # number of the voice, its bars
    frets: dict[int, tuple[int, int]]


class Part(NamedTuple):
    """A player ready to be written."""

    name: str
    player: str
    layout: Layout
    staves: tuple[Stave, ...]
    divisions: int


class _Line(NamedTuple):
    """Where notes are written: a measure of the file, a staff, a voice, the bar."""

    measure: ET.Element
    stave: Stave
    voice: int
    bar: PlayedBar


class Measures:
    """Writes the measures of a part in order; `leads` has the chords, `printed` all of a chord in its text."""

    def __init__(self, part: Part, music: Arrangement, leads: bool, printed: bool) -> None:
        self.part, self.printed = part, printed
        self.timeline = music.timeline
        chords = leads and (pitched(part.player) or not printed)  # a drummer reads the form
        self.over = Over(music, part.divisions, leads=leads, chords=chords, printed=printed)
        self.several = len(part.staves) > 1
        self.strummed = printed and part.player != "solo" and strums(part)
        self.damped = 0  # notes of tab so far that are drawn as crosses
        self.signs: dict[tuple[int, Fraction], int] = {}

    def write(self, element: ET.Element) -> None:
        """Write every measure."""
        before: PlayedBar | None = None
        bars = self.timeline.bars
        for i, bar in enumerate(bars):
            number = bar.number or (0 if i == 0 else bars[i - 1].number + 1)
            implicit = {"implicit": "yes"} if bar.number == 0 and i == 0 else {}
            measure = add(element, "measure", number=str(number), **implicit)
            if self.printed and self._begins_line(bar):
                add(measure, "print", new_system="yes")
            self._attributes(measure, bar, before)
            self.over.write(measure, bar, before)
            self._staves(measure, i, bar)
            style = "light-heavy" if i + 1 == len(bars) else ""
            if not style and bar.number and bars[i + 1].section_index != bar.section_index:
                style = "light-light"
            if style:
                add(add(measure, "barline", location="right"), "bar-style", style)
            before = bar

    def _begins_line(self, bar: PlayedBar) -> bool:
        """Whether a line of music may begin here: at a section, and every four bars of it that leave no bar alone."""
        section = self.timeline.sections[bar.section_index]
        at = bar.index - section.first
        left = section.last - bar.index + 1
        return bar.index > 1 and (at == 0 or (at % LINE == 0 and left > 1))

    # --- what holds from here on

    def _attributes(self, measure: ET.Element, bar: PlayedBar, before: PlayedBar | None) -> None:
        made = ET.Element("attributes")
        if before is None:
            add(made, "divisions", self.part.divisions)
        unpitched = self.part.layout.staves[0].sign == "percussion"
        if not unpitched and (before is None or before.key.fifths != bar.key.fifths):
            add(add(made, "key"), "fifths", bar.key.fifths)
        if before is None or before.meter != bar.meter:
            time = add(made, "time")
            grouped = (
                len(bar.meter.groups) > 1 and bar.meter.counted_in_eighths and not self.printed
            )
            add(time, "beats", "+".join(map(str, bar.meter.groups)) if grouped else bar.meter.count)
            add(time, "beat-type", bar.meter.unit)
        if before is None:
            if self.several:
                add(made, "staves", len(self.part.staves))
            for stave in self.part.staves:
                clef = add(made, "clef", **self._numbered(stave))
                add(clef, "sign", stave.clef.sign)
                add(clef, "line", stave.clef.line)
                if stave.clef.octave:
                    add(clef, "clef-octave-change", stave.clef.octave)
            for stave in self.part.staves:
                if stave.clef == TAB:
                    self._strings(made, stave)
        if len(made):
            measure.append(made)

    def _numbered(self, stave: Stave) -> dict[str, str]:
        return {"number": str(stave.number)} if self.several else {}

    def _strings(self, made: ET.Element, stave: Stave) -> None:
        details = add(made, "staff-details", **self._numbered(stave))
        add(details, "staff-lines", len(self.part.layout.strings))
        for line, midi in enumerate(self.part.layout.strings, 1):
            tuning = add(details, "staff-tuning", line=str(line))
            name = _TUNED[midi % 12]
            add(tuning, "tuning-step", name[0])
            if name[1:]:
                add(tuning, "tuning-alter", 1)
            add(tuning, "tuning-octave", midi // 12 - 1)
        if self.timeline.capo and self.part.player != "bass":
            add(details, "capo", self.timeline.capo)

    # --- notes

    def _staves(self, measure: ET.Element, i: int, bar: PlayedBar) -> None:
        first = True
        for stave in self.part.staves:
            if stave.clef.sign in ("G", "F"):
                self._sign(stave, i, bar)
            for voice, rows in stave.voices:
                if not first:
                    add(add(measure, "backup"), "duration", int(bar.length_q * self.part.divisions))
                first = False
                self._voice(_Line(measure, stave, voice, bar), rows[i])

    def _sign(self, stave: Stave, i: int, bar: PlayedBar) -> None:
        """Which notes of a staff have an accidental in a bar: in order of time, over all of its voices."""
        self.signs = {}
        told: dict[tuple[str, int], int] = {}
        usual = altered(bar.key)
        rows = [written for _, rows in stave.voices for written in rows[i]]
        for written in sorted(rows, key=lambda w: w.at_q):
            if written.struck is None or (not written.first and written.at_q == bar.start_q):
                continue  # what is tied over needs no sign, and what comes after it in the bar its own
            graces = written.struck.graces if written.first else ()
            for note in (*graces, *written.struck.notes):
                pitch = self._spelled(note, bar)
                place = pitch.note.letter, pitch.octave
                if pitch.note.alter != told.get(place, usual[pitch.note.letter]):
                    self.signs[id(note), written.at_q] = pitch.note.alter
                    told[place] = pitch.note.alter

    def _spelled(self, note: Note, bar: PlayedBar) -> Pitch:
        return spelled(note, self.timeline, bar.key)

    def _voice(self, line: _Line, row: Sequence[Written]) -> None:
        measure, stave, voice, _ = line
        for i, written in enumerate(row):
            before, after = row[i - 1] if i else None, row[i + 1] if i + 1 < len(row) else None
            if written.struck is not None:
                self._chord(line, written, written.struck, before, after)
            elif self._under(stave) or self._silent(line):
                forward = add(measure, "forward")  # the staff above, or the other voice, is read
                add(forward, "duration", int(written.figure.length_q * self.part.divisions))
            else:
                made = add(measure, "note")
                whole = len(row) == 1
                add(made, "rest", **({"measure": "yes"} if whole else {}))
                self._value(made, voice, written, whole)
                self._on_staff(made, stave)
                grouped(made, written, before, after)

    def _chord(
        self,
        line: _Line,
        written: Written,
        struck: Struck,
        before: Written | None,
        after: Written | None,
    ) -> None:
        """The notes that begin together, or one slash for all of them."""
        for grace in struck.graces if written.first else ():
            self._note(line, written, grace, struck.dead, grace=True)
        slash = self.strummed and line.stave.clef == GUITAR and len(struck.notes) >= CHORD
        for n, note in enumerate(struck.notes[:1] if slash else struck.notes):
            made = self._note(line, written, note, struck.dead, chord=n > 0)
            if slash:
                slashed(made, "x" if struck.dead else "slash")
            if n == 0:
                if struck.short and not self._under(line.stave):
                    add(add(notations(made), "articulations"), "staccato")
                grouped(made, written, before, after, shown=not self._under(line.stave))

    def _under(self, stave: Stave) -> bool:
        """Whether a staff is the tab of notes on the one above it."""
        return stave.clef == TAB and self.several

    def _silent(self, line: _Line) -> bool:
        """Whether a voice is silent for all of a bar in which the other one on its staff is heard."""
        at = line.bar.index - 1
        heard = {v: any(w.struck for w in rows[at]) for v, rows in line.stave.voices}
        return not heard[line.voice] and any(heard.values())

    def _value(self, made: ET.Element, voice: int, written: Written, whole: bool = False) -> None:
        figure = written.figure
        add(made, "duration", int(figure.length_q * self.part.divisions))
        for way in ties(written):
            add(made, "tie", type=way)
        add(made, "voice", voice)
        if figure.value in UNITS and not whole:
            add(made, "type", UNITS[figure.value])
            if figure.dotted:
                add(made, "dot")

    def _on_staff(self, made: ET.Element, stave: Stave) -> None:
        if self.several:
            add(made, "staff", stave.number)

    def _note(
        self,
        line: _Line,
        written: Written,
        note: Note,
        dead: bool,
        *,
        chord: bool = False,
        grace: bool = False,
    ) -> ET.Element:
        made = add(line.measure, "note")
        if grace:
            add(made, "grace", slash="yes")
        if chord:
            add(made, "chord")
        head = self._pitch(made, note, line.bar)
        if dead and head == "normal":
            head = "x"
            if self.printed and line.stave.clef == TAB:
                self.damped += 1
                made.set("id", f"{DEAD}{self.damped}")
        if grace:
            add(made, "voice", line.voice)
            add(made, "type", "eighth")
        else:
            self._value(made, line.voice, written)
        alter = self.signs.get((id(note), written.at_q))
        if alter is not None and line.stave.clef.sign in ("G", "F"):
            add(made, "accidental", ACCIDENTALS[alter])
        if written.figure.tuplet and not grace:
            in_tuplet(add(made, "time-modification"), written.figure)
        if self._under(line.stave):
            add(made, "stem", "none")
        elif len(line.stave.voices) > 1:
            add(made, "stem", "up" if line.voice % 4 == 1 else "down")
        if head != "normal":
            add(made, "notehead", head)
        self._on_staff(made, line.stave)
        for way in [] if grace else ties(written):
            add(notations(made), "tied", type=way)
        if line.stave.clef == TAB and id(note) in line.stave.frets:
            string, fret = line.stave.frets[id(note)]
            technical = add(notations(made), "technical")
            add(technical, "string", string)
            add(technical, "fret", fret)
        return made

    def _pitch(self, made: ET.Element, note: Note, bar: PlayedBar) -> str:
        """Pitch, or the place of a drum; what head it has."""
        if self.part.layout.staves[0].sign == "percussion":
            drum = drum_of(note.pitch)
            place = add(made, "unpitched")
            add(place, "display-step", drum.step)
            add(place, "display-octave", drum.octave)
            return drum.head
        pitch = self._spelled(note, bar)
        one = add(made, "pitch")
        add(one, "step", pitch.note.letter)
        if pitch.note.alter:
            add(one, "alter", pitch.note.alter)
        add(one, "octave", pitch.octave)
        return "normal"


def strums(part: Part) -> bool:
    """Whether a guitar mostly strums."""
    rows = [w for s in part.staves[:1] for _, bars in s.voices for row in bars for w in row]
    counts = [len(w.struck.notes) for w in rows if w.struck is not None and w.first]
    return bool(counts) and sum(c >= STRUMMED for c in counts) >= OFTEN * len(counts)
