"""The measures of one part of a MusicXML score.

Conventions: one loop in the order of the document with a running place, in quarters from the start of the measure; the
voice that is heard first is the melody. *Source*: MusicXML 4.0; a transposing instrument is read as it sounds.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from backing.chart.ast import LAST, BarLine
from backing.chart.gripping import written
from backing.ground.pitch import Interval, NoteName, Pitch
from backing.ground.source import Span
from backing.ground.timebase import FOUR_FOUR
from backing.reading.findings import Findings
from backing.reading.lead import Measure, Note, Set, Symbol
from backing.reading.musicxml_fields import Fields
from backing.reading.musicxml_kinds import NONE, symbol_of
from backing.reading.musicxml_values import (
    TONICS,
    ZERO,
    change_of,
    key_of,
    meter_of,
    number,
    printed,
    quarters,
    sounding,
    verses,
)
from backing.reading.musicxml_words import Directions
from backing.reading.xml_tree import Node, span_of

MOST_DIVISIONS = 1_000_000


class Part:
    """Reads measures in order; `settings` are those of the whole score."""

    def __init__(self, findings: Findings, fields: Fields, settings: list[Set]) -> None:
        self.findings, self.fields, self.settings = findings, fields, settings
        self.measures: list[Measure] = []
        self.divisions = 1
        self.meter = FOUR_FOUR
        self.transposed: Interval | None = None  # from what is written to what sounds
        self.voice: str | None = None  # that is the melody
        self.repeating = 0  # bars of a measure repeat that goes on
        self.repeated = 0
        self.ending: tuple[int, ...] = ()
        self.directions = Directions(findings)
        self.now = Measure()
        self.at = self.end = self.start = (
            ZERO  # running place, furthest place, start of the last note
        )
        self.readers: dict[str, Callable[[Node], None]] = {
            "note": self._note, "harmony": self._harmony, "attributes": self._attributes,
            "direction": self._direction, "sound": self._sound, "barline": self._barline,
            "backup": self._backup, "forward": self._forward, "print": self._print,
        }  # fmt: skip

    def measure(self, node: Node) -> None:
        """Read one measure."""
        named = node.get("number")
        self.now = Measure(
            span=Span(node.at, node.at + len("<measure")), meter=self.meter,
            number=int(named) if named.isascii() and named.isdigit() and len(named) < 6 else -1,
        )  # fmt: skip
        self.at = self.end = self.start = ZERO
        self.voices: dict[str, list[Note]] = {}
        self.at_once = False  # whether notes may stand over each other
        for child in node.children:
            read = self.readers.get(child.name)
            if read:
                read(child)
        now = self.now
        now.meter = self.meter
        now.length_q = self.end or self.meter.length_q
        self._choose_voice()
        if self.repeating:
            now.simile = 1 if self.repeating == 1 else 2 + self.repeated % 2
            self.repeated += 1
        self.measures.append(now)

    def finish(self) -> list[Measure]:
        """All measures, once every direction is known."""
        self.directions.settle(self.measures)
        return self.measures

    def _choose_voice(self) -> None:
        if not self.voices:
            return
        names = list(self.voices)
        if self.voice is None:
            self.voice = names[0]
        chosen = self.voice if self.voice in self.voices else names[0]
        if len(names) > 1:
            self.findings.add(
                "W707", self.now.span, count="several", kinds="voices", which="first", hint=""
            )
        if not self.at_once:
            self.now.notes = self.voices[chosen]
            return
        notes: list[Note] = []
        for note in sorted(self.voices[chosen], key=lambda n: (n.start_q, -n.pitch.midi)):
            if not notes or note.start_q >= notes[-1].end_q:
                notes.append(note)
        self.now.notes = notes

    def _length(self, node: Node, name: str = "duration") -> Fraction:
        return self._quarters(node, node.value(name))

    def _quarters(self, node: Node, text: str) -> Fraction:
        length = quarters(text, self.divisions)
        if length is None:
            self.findings.add(
                "W710", span_of(node), found=f"a {node.name} without a length", hint=""
            )
            return ZERO
        return length

    def _place(self, node: Node) -> Fraction:
        """The running place with the offset of an element, inside of the measure."""
        offset = node.child("offset")
        if offset is None:
            return self.at
        return max(ZERO, self.at + self._length(node, "offset"))

    # --- what stands in a measure

    def _attributes(self, node: Node) -> None:
        divisions = node.value("divisions")
        if divisions:
            parts = number(divisions)
            self.divisions = int(parts) if 1 <= parts <= MOST_DIVISIONS else 1
        transpose = node.child("transpose")
        if transpose is not None:
            self._transpose(transpose)
        time, key = node.child("time"), node.child("key")
        if time is not None:
            self._time(time)
        if key is not None:
            self._key(key)
        for style in node.all("measure-style"):
            repeat = style.child("measure-repeat")
            if repeat is not None:
                starts = repeat.get("type") == "start"
                self.repeating = int(number(repeat.text or "1")) if starts else 0
                self.repeated = 0

    def _transpose(self, node: Node) -> None:
        chromatic = int(number(node.value("chromatic", "0")))
        diatonic = node.value("diatonic")
        octaves = int(number(node.value("octave-change", "0")))
        steps = int(number(diatonic)) if diatonic else round(chromatic * 7 / 12)
        moved = Interval(steps + 7 * octaves, chromatic + 12 * octaves)
        self.transposed = moved if moved.semitones or moved.steps else None
        if self.transposed:
            self.findings.add(
                "W709", span_of(node), what="the part is written for a transposing instrument and read as it sounds",
                hint="",
            )  # fmt: skip

    def _time(self, node: Node) -> None:
        meter = meter_of(node)
        if meter is None:
            self.findings.add("W701", span_of(node), what="no meter is counted here", assumed="4/4")
            meter = FOUR_FOUR
        self.meter = meter

    def _key(self, node: Node) -> None:
        fifths = node.value("fifths")
        if not fifths:
            self.findings.add("W710", span_of(node), found="a key of its own making", hint="")
            return
        signs = int(number(fifths))
        mode = node.value("mode").casefold()
        if mode in ("", "none"):
            self.findings.add(
                "W701", span_of(node), what="the key has no mode", assumed="major", hint=""
            )
        key = key_of(signs, mode)
        if key and self.transposed:
            key = key.up(self.transposed)
        if key is None or abs(key.fifths) > 7:
            self.findings.add(
                "W710", span_of(node), found=f"the key of {signs} fifths, {mode}", hint=""
            )
            return
        self._set("key", key.name, span_of(node))

    def _set(self, name: str, value: str, span: Span) -> None:
        """A setting: of the chart at its start, of a section later."""
        settings = self.now.settings if self.measures else self.settings
        if self.measures and self._holds(name) == value:
            return
        settings[:] = [s for s in settings if s.name != name] + [Set(name, value, span)]

    def _holds(self, name: str) -> str:
        """The value of a setting that holds before this measure."""
        for measure in reversed(self.measures):
            for one in measure.settings:
                if one.name == name:
                    return one.value
        return next((s.value for s in self.settings if s.name == name), "")

    def _note(self, node: Node) -> None:
        parts: dict[str, Node] = {}
        for child in node.children:
            parts.setdefault(child.name, child)
        if "grace" in parts:
            self.findings.add("W710", span_of(node), found="a grace note", hint="")
            return
        length = self._quarters(node, parts["duration"].text.strip() if "duration" in parts else "")
        start = self.at
        if "chord" in parts:
            start, self.at_once = self.start, True
        else:
            self.start, self.at = start, start + length
            self.end = max(self.end, self.at) if self.at_once else self.at
        if "cue" in parts:
            return
        if "notations" in parts:
            self.directions.note(node, self.now, start)
        lyrics = tuple(node.all("lyric")) if "lyric" in parts else ()
        pitch = parts.get("pitch")
        slash = "notehead" in parts and parts["notehead"].text.strip() == "slash"
        if pitch is None or slash or length.numerator <= 0:
            if lyrics and self.fields.ours:
                self.now.verses = list(verses(lyrics))
            return
        heard = self._pitch(pitch)
        if heard is None:
            return
        held = "tie" in parts and any(t.get("type") == "stop" for t in node.all("tie"))
        syllables = verses(lyrics) if lyrics and "chord" not in parts else ()
        staff, voice = (parts[n].text.strip() if n in parts else "1" for n in ("staff", "voice"))
        self.voices.setdefault(f"{staff}.{voice}", []).append(
            Note(start, length, heard, span_of(node), held, syllables)
        )

    def _pitch(self, node: Node) -> Pitch | None:
        parts = {child.name: child.text.strip() for child in node.children}
        alter = parts.get("alter", "")
        if alter and number(alter).denominator != 1:
            self.findings.add("W710", span_of(node), found="a quarter tone", hint="")
        pitch = sounding(parts.get("step", ""), parts.get("octave", ""), alter, self.transposed)
        if pitch is None:
            self.findings.add("W710", span_of(node), found="a note that nobody can play", hint="")
        return pitch

    def _backup(self, node: Node) -> None:
        self.at_once = True
        at = self.at - self._length(node)
        if at < 0:
            self.findings.add(
                "W709",
                span_of(node),
                what="a backup leads beyond its bar line and stops there",
                hint="",
            )
        self.at = max(ZERO, at)

    def _forward(self, node: Node) -> None:
        self.at += self._length(node)
        self.end = max(self.end, self.at)

    def _harmony(self, node: Node) -> None:
        parts: dict[str, Node] = {}
        for child in node.children:
            parts.setdefault(child.name, child)
        at, span = self._place(node) if "offset" in parts else self.at, span_of(node)
        kind = parts.get("kind")
        named = kind.text.strip() if kind is not None else ""
        if kind is not None and named == NONE:
            text = "?" if kind.get("text") == "?" else "N.C."
            self._symbol(Symbol(at, text, span))
            return
        root = self._name(parts.get("root"), "root")
        if root is None:
            self.findings.add(
                "W710",
                span,
                found="a chord without a root",
                hint="write its root, or a chord symbol",
            )
            return
        changes = tuple(map(change_of, node.all("degree"))) if "degree" in parts else ()
        known = tuple(change for change in changes if change is not None)
        if len(known) < len(changes):
            self.findings.add("W710", span, found="a degree that no chord has", hint="")
        found = symbol_of(root, named, printed(kind), known, self._name(parts.get("bass"), "bass"))
        if found.assumed:
            what = f"the kind {named!r}" if named else "a chord without a kind"
            self.findings.add(
                "W701", span, what=f"{what} names no notes", assumed=found.assumed, hint=""
            )
        self._symbol(Symbol(at, found.symbol + self._grip(parts.get("frame")), span))

    def _grip(self, frame: Node | None) -> str:
        """A chord diagram as a chart types a grip; those of other programs are left out, for they bind the player."""
        if frame is None:
            return ""
        if not self.fields.ours:
            self.findings.add("W710", span_of(frame), found="a chord diagram", hint="")
            return ""
        strings = int(number(frame.value("frame-strings")))
        frets = [-1] * min(strings, 12)
        for note in frame.all("frame-note"):
            string = int(number(note.value("string")))
            if 1 <= string <= len(frets):
                frets[-string] = int(number(note.value("fret")))
        return written(tuple(frets))

    def _symbol(self, new: Symbol) -> None:
        if any(s.at_q == new.at_q for s in self.now.symbols):
            self.findings.add(
                "W710", new.span, found=f"a second chord at one place, {new.text},", hint=""
            )
            return
        self.now.symbols.append(new)

    def _name(self, node: Node | None, kind: str) -> NoteName | None:
        if node is None:
            return None
        step = node.value(f"{kind}-step").strip()
        alter = number(node.value(f"{kind}-alter", "0"))
        if len(step) != 1 or step not in TONICS or abs(alter) > 2:
            return None
        name = NoteName(step, int(alter))
        return name.up(self.transposed) if self.transposed else name

    def _direction(self, node: Node) -> None:
        self.directions.read(
            node, self.now, min(self._place(node), self.end or self._place(node)), self._set
        )

    def _sound(self, node: Node) -> None:
        self.directions.sound(node, self.now, self.at, self._set)

    def _print(self, node: Node) -> None:
        self.now.new_line = self.now.new_line or "yes" in (
            node.get("new-system"),
            node.get("new-page"),
        )

    def _barline(self, node: Node) -> None:
        now, style = self.now, node.value("bar-style")
        repeat, ending = node.child("repeat"), node.child("ending")
        left = node.get("location") == "left"
        if ending is not None and ending.get("type") == "start":
            now.ending = self._numbers(ending)
        if repeat is not None and repeat.get("direction") == "forward":
            now.repeat_start = True
        elif repeat is not None:
            times = int(number(repeat.get("times") or "2"))
            now.times = min(max(times, 2), 99)
        if left and self.measures:
            now = self.measures[-1]
        if style in ("light-light", "heavy-heavy"):
            now.line_after = BarLine.DOUBLE
        elif style == "light-heavy" and (repeat is None or self.fields.ours):
            now.line_after = BarLine.FINAL
        self.directions.barline(node, self.now, self.at)

    def _numbers(self, node: Node) -> tuple[int, ...]:
        if node.text.strip().startswith("last"):
            return (LAST,)
        found = sorted(
            {
                int(n)
                for n in node.get("number").replace(",", " ").split()
                if n.isdigit() and 0 < int(n) < 99
            }
        )
        if not found:
            self.findings.add(
                "W701", span_of(node), what="the ending has no number", assumed="the first", hint=""
            )
            return (1,)
        run = next((i for i, n in enumerate(found) if n != found[0] + i), len(found))
        if run < len(found):
            read = "-".join(map(str, dict.fromkeys((found[0], found[run - 1]))))
            self.findings.add("W706", span_of(node), found=node.get("number"), read=read)
        return tuple(found[:run])
