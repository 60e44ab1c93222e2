"""A `Lead` typed as a chart, and the chart read from it, with its places in the source.

Conventions: what another format says becomes the words that a chart has for it, so that one reader judges all formats and
whatever can be read can be written. A direction that makes no sense where it stands is left out and said. Without any
symbol every bar wants one (`?`); before the first symbol nothing sounds (`N.C.`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction

from backing.chart.ast import Chart
from backing.chart.parse import parse_all
from backing.chart.time import HOLD, Shape, Space
from backing.chart.values import Wrong
from backing.chart.values import meter as read_meter
from backing.chart.write import mark_between
from backing.ground.errors import ChartError
from backing.ground.source import Severity, Span
from backing.ground.timebase import FOUR_FOUR, Meter
from backing.reading.findings import Findings
from backing.reading.fit import fitted
from backing.reading.lead import Lead, Measure, Note, Said, Symbol
from backing.reading.places import Typed, diagnostic, moved
from backing.reading.rhythm import fits, shape_of, snapped, typed_shape
from backing.reading.sections import Part, parts_of

BARS_A_LINE, MOST_A_LINE = 4, 8
ORDER_CODES = re.compile(r"E33[1-8]|E126")  # directions that cannot be obeyed where they stand
Event = tuple[Fraction, str, Span]


def chart_of(lead: Lead, findings: Findings) -> Chart:
    """The chart of a file; its warnings are what was assumed and left out. Raises `ChartError`."""
    fitted(lead, findings)
    if not lead.measures:
        raise findings.refuse("E702", Span(0, 0))
    source = findings.source
    parts = parts_of(lead, findings)
    for _ in range(4):
        typed = _Typist(lead, parts, findings).typed()
        chart, told = parse_all(typed.text, source.name, wanted=True)
        wrong = [d for d in told if d.severity is Severity.ERROR]
        if not wrong or not all(ORDER_CODES.fullmatch(d.code) for d in wrong):
            break
        for one in wrong:
            _leave_out(parts, typed.where(one.span), one.message, findings)
    placed = [diagnostic(d, source, typed.where) for d in told]
    if chart is None:
        raise ChartError([*findings.diagnostics(), *placed])
    return moved(chart, source, typed.where, (*findings.diagnostics(), *placed))


def _leave_out(parts: Sequence[Part], span: Span, why: str, findings: Findings) -> None:
    for measure in (m for part in parts for m in part.measures):
        for said in measure.said:
            if said.span == span:
                findings.add("W710", span, found=f'"{said.text}"', hint=why)
        measure.said = [s for s in measure.said if s.span != span]


class _Typist:
    """Types one chart; knows what sounds, and the meter that holds."""

    def __init__(self, lead: Lead, parts: Sequence[Part], findings: Findings) -> None:
        self.lead, self.parts, self.findings = lead, parts, findings
        self.out = Typed()
        self.harmonised = any(m.symbols for m in lead.measures)
        self.chord = ""  # that sounds
        self.note: Note | None = None  # that sounded last
        self.first = lead.measures[0]
        self.pickup = next((s.value for s in lead.settings if s.name == "pickup"), None)

    def typed(self) -> Typed:
        home = self._home()
        out = self.out
        for one in self.lead.settings:
            self._setting(one.name, one.value, one.span)
        if not self.lead.exact or (
            home != FOUR_FOUR and all(s.name != "meter" for s in self.lead.settings)
        ):
            self._setting("meter", home.full_name, self.first.span)
        for part in self.parts:
            out.put("\n")
            if part.name:
                out.put(f"[{part.name}]\n", part.span)
            for one in part.settings:
                if part.name or all(one.name != s.name for s in self.lead.settings):
                    self._setting(one.name, one.value, one.span)
            meter = home
            if part.name and not self.lead.exact and not _beat_kept(part.measures[0]):
                meter = part.measures[0].meter
                if meter != home:
                    self._setting("meter", meter.full_name, part.span)
            if self.lead.exact:
                meter = next((_meter(s.value) for s in part.settings if s.name == "meter"), home)
            for line in _lines(part.measures, self.lead.exact):
                meter = self._line(line, meter)
            self._again(part)
        return out

    def _home(self) -> Meter:
        """The meter of the chart."""
        if not self.lead.exact:
            return self.first.meter
        written = (s.value for s in self.lead.settings if s.name == "meter")
        return next(map(_meter, written), FOUR_FOUR)

    def _again(self, part: Part) -> None:
        """The headings that play a section again, behind the section that they follow."""
        order, names = self.lead.order, [p.name for p in self.parts]
        if part.name not in order or not set(order) <= set(names):
            return
        behind = order.index(part.name) + 1
        for name in order[behind:]:
            if order.index(name) >= behind:
                return
            self.out.put(f"[{name}]\n")
            behind += 1

    def _setting(self, name: str, value: str, span: Span) -> None:
        value = "".join(c if c.isprintable() else " " for c in value)
        value = re.sub(r"(?<!\S)#(?!\S)", "№", " ".join(value.split()))
        if value:
            self.out.put(f"{name}: {value}\n", span)

    def _line(self, line: Sequence[Measure], meter: Meter) -> Meter:
        """A line of music and those under it; returns the meter that holds after it."""
        out = self.out
        left: Measure | None = None
        for measure in line:
            if measure.simile == 3:
                left = measure
                continue
            out.put(mark_between(left, measure) + " ", measure.span)
            if measure.meter != meter:
                meter = measure.meter
                out.put(f"{meter.full_name} ")
            self._bar(measure)
            left = measure
        out.put(mark_between(left, None) + "\n")
        if any(m.notes for m in line):
            out.put("melody: ")
            for measure in line:
                out.put("| ", measure.span)
                self._put(measure, self._melody(measure), ())
            out.put("|\n")
        elif self.note:
            self.note = None
        for name in ("hits", "kicks"):
            if any(name in m.below for m in line):
                cells = " | ".join(
                    m.below.get(name) or "r" for m in line if m.below.get(name) != ""
                )
                out.put(f"{name}: | {cells} |\n", line[0].span)
        for verse in range(max(_verses(m) for m in line)):
            cells = " | ".join(words_of(m, verse) for m in line)
            out.put(f"words: | {cells} |\n", line[0].span)
        return meter

    def _bar(self, measure: Measure) -> None:
        if measure.simile:
            said = " ".join(f'"{clean(s.text)}"' for s in measure.said)
            self.out.put(f"{said} " if said else "")
            self.out.put("% " if measure.simile == 1 else "%2 ", measure.span)
            if measure.symbols:
                self.chord = measure.symbols[-1].text
            return
        self._put(measure, self._symbols(measure), measure.said, measure.below.get("beats", ""))

    def _symbols(self, measure: Measure) -> list[Event]:
        """The chords of a bar."""
        if not self.harmonised:
            return [(Fraction(0), "?", measure.span)]
        found = {s.at_q: s for s in reversed(measure.symbols)}
        start, silent = Fraction(0), not self.chord
        if start not in found and (silent or (not found and not self.lead.exact)):
            found[start] = Symbol(start, self.chord or "N.C.", measure.span)
            pickup = measure is self.first and measure.length_q < measure.meter.length_q
            if silent and not pickup and not self.lead.exact:
                self._tell_silence(measure)
        events = [(s.at_q, s.text, s.span) for _, s in sorted(found.items())]
        if measure.symbols or (events and (self.lead.exact or not silent)):
            self.chord = events[-1][1].strip("<!=")
        return events

    def _tell_silence(self, measure: Measure) -> None:
        """Say that no chord is known yet; a pickup without one is usual."""
        self.findings.add(
            "W701", measure.span, what="no chord stands here or before", assumed="N.C.",
            hint="in a chart  ?  stands where  backing harmonise  is to find one",
        )  # fmt: skip

    def _melody(self, measure: Measure) -> list[Event]:
        events: list[Event] = []
        last, end = self.note, Fraction(0)  # what sounds, and up to where something is known
        for note in sorted(measure.notes, key=lambda n: n.start_q):
            follows = note.start_q == end
            if not follows and note.start_q < end:
                continue  # only one note sounds at a time
            held = note.held and last is not None and last.pitch == note.pitch and follows
            if not follows:
                events.append((end, "r", measure.span))
            if not held:
                events.append((note.start_q, note.pitch.name, note.span))
            last, end = note, note.end_q
        if end < measure.length_q:
            events.append((end, "r", measure.span))
            last = None
        self.note = last
        return events

    def _put(
        self, measure: Measure, events: Sequence[Event], said: Iterable[Said], beats: str = ""
    ) -> None:
        """Type what begins in a bar, each thing at its place, words before what they stand over."""
        space = self._space(measure)
        places = [at for at, _, _ in events]
        typed = typed_shape(beats) if beats else ()
        shape = typed if typed and fits(space, typed, places) else shape_of(space, places)
        if shape is None:
            moved_to: dict[Fraction, Event] = {}
            for at, text, span in events:
                place = snapped(space, at)
                if place != at:
                    self.findings.add("W704", span, found=text)
                if place < measure.length_q:
                    moved_to.setdefault(place, (place, text, span))
            events = list(moved_to.values())
            shape = shape_of(space, list(moved_to)) or (HOLD,) * measure.meter.beats
        texts = sorted(said, key=lambda s: s.at_q)
        waiting = list(events)
        self._items(shape, waiting, texts, measure.span)
        for one in texts:
            self.out.put(f'"{clean(one.text)}" ', one.span)

    def _items(
        self, shape: Sequence[Shape], events: list[Event], texts: list[Said], span: Span
    ) -> None:
        for i, item in enumerate(shape):
            blank = "" if i == len(shape) - 1 else " "
            if isinstance(item, tuple):
                while texts and events and texts[0].at_q <= events[0][0]:
                    self.out.put(f'"{clean(texts[0].text)}" ', texts.pop(0).span)
                self.out.put("(")
                self._items(item, events, texts, span)
                self.out.put(")" + blank)
            elif item == HOLD:
                self.out.put("/" + blank, span)
            else:
                at, text, place = events.pop(0)
                while texts and texts[0].at_q <= at:
                    self.out.put(f'"{clean(texts[0].text)}" ', texts.pop(0).span)
                self.out.put(text + blank, place)

    def _space(self, measure: Measure) -> Space:
        pickup = Fraction(self.pickup) if self.pickup and measure is self.first else None
        return Space(measure.meter, pickup)


def _meter(value: str) -> Meter:
    try:
        return read_meter(value)
    except Wrong:
        return FOUR_FOUR  # the reader of charts says what is wrong with it


def _beat_kept(measure: Measure) -> bool:
    """Whether the counted beat keeps its length at the meter of a measure, which then stands in the bar."""
    return any(s.text == "beat = beat" for s in measure.said)


def _verses(measure: Measure) -> int:
    return max([len(measure.verses), *(len(n.syllables) for n in measure.notes)])


def words_of(measure: Measure, verse: int) -> str:
    """The words of a bar, syllable by syllable where they stand under notes."""
    if verse < len(measure.verses):
        return measure.verses[verse]
    text = ""
    for note in measure.notes:
        syllable = note.syllables[verse] if verse < len(note.syllables) else ""
        if syllable == "_" and text:
            text += "_"
        elif syllable:
            text += syllable if not text or text.endswith("-") else f" {syllable}"
    return clean(text).replace("|", "/")


def _lines(measures: Sequence[Measure], exact: bool) -> list[list[Measure]]:
    """The lines of music, as in the source where it has lines."""
    laid = any(m.new_line for m in measures[1:])
    lines: list[list[Measure]] = []
    for measure in measures:
        many = len(lines[-1]) if lines else 0
        full = not exact and many >= (MOST_A_LINE if laid else BARS_A_LINE)
        if not lines or measure.new_line or (full and measure.simile != 3 and not measure.below):
            lines.append([])
        lines[-1].append(measure)
    return lines


def clean(text: str) -> str:
    """Words as they can stand between quotes or bar lines."""
    text = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(text.replace('"', "'").split())
