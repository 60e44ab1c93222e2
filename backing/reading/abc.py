"""ABC tunes: text to a chart.

Conventions: of several tunes in a file one is read, of several voices the first, of a chord of notes the top one. An
accidental holds for its letter in every octave until the bar ends. Grace notes, slurs and ornaments are left out.
*Source*: the abc music standard 2.1; accidentals by its section 11.3 (`propagate-accidentals`, the default).
"""

from __future__ import annotations

import re
from typing import NamedTuple

from backing.chart.ast import Chart
from backing.ground.errors import RequestError
from backing.ground.source import Source, Span
from backing.reading import abc_fields
from backing.reading.abc_music import Tune
from backing.reading.findings import Findings
from backing.reading.lay import chart_of
from backing.reading.lead import Lead, Set

MOST = 1_000_000  # characters
_FIELD = re.compile(r"([A-Za-z+]):(.*)")
# fields that say nothing of the music, by their letters in the standard
_TOLD = {"N": "notes", "R": "rhythm", "S": "source", "O": "origin", "A": "area", "B": "book", "D": "discography",
         "F": "file", "G": "group", "H": "history", "Z": "transcription"}  # fmt: skip
_IGNORED = "EmrUsIX"


class _Line(NamedTuple):
    """A line of the file: its text and where it begins."""

    text: str
    start: int

    @property
    def span(self) -> Span:
        return Span(self.start, self.start + len(self.text))


def looks_like_abc(text: str) -> bool:
    """Whether a text is a tune in ABC: a number, a key, in this order, each on a line of its own."""
    return re.search(r"^X:\s*\d*\s*$(?s:.*?)^K:", text[:20_000], re.M) is not None


def read(text: str, name: str, number: int | None = None) -> Chart:
    """The chart of a tune; `number` is its `X:`, None the first. Raises `ChartError`, `RequestError`."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    findings = Findings(Source(name, text, foreign=True))
    return chart_of(lead_of(number, findings), findings)


def lead_of(number: int | None, findings: Findings) -> Lead:
    """What the tune in `findings.source` says, measure by measure."""
    text = findings.source.text
    if len(text) > MOST:
        raise findings.refuse("E704", Span(0, 0), most="1 MB")
    lines: list[_Line] = []
    start = 0
    for typed in text.split("\n"):
        lines.append(_Line(typed.rstrip(), start))
        start += len(typed) + 1
    return _Reader(_tune(lines, number, findings), findings).lead()


def _tune(lines: list[_Line], number: int | None, findings: Findings) -> list[_Line]:
    """The lines of one tune."""
    starts = [i for i, line in enumerate(lines) if re.match(r"X:", line.text)]
    if not starts:
        if not any(line.text.startswith("K:") for line in lines):
            raise findings.refuse(
                "E701", Span(0, 0), what="this file", why="no tune in ABC begins in it",
                hint="a tune begins with X: and its head ends with K:, each on a line of its own",
            )  # fmt: skip
        starts = [0]
    numbers = [re.sub(r"\D.*", "", lines[i].text[2:].strip()) for i in starts]
    chosen = 0
    if number is not None:
        if str(number) not in numbers:
            shown = ", ".join(n or "?" for n in numbers[:12]) + (" …" if len(numbers) > 12 else "")
            raise RequestError(
                f"--tune-number {number}: {findings.source.name} has the tunes {shown}"
            )
        chosen = numbers.index(str(number))
    elif len(starts) > 1:
        findings.add(
            "W707", lines[starts[0]].span, count=len(starts), kinds="tunes", which="first",
            hint="choose another by its X: with --tune-number",
        )  # fmt: skip
    first = starts[chosen]
    last = starts[chosen + 1] if chosen + 1 < len(starts) else len(lines)
    head = lines[: starts[0]] if chosen else []  # of the file: it holds for every tune
    shared = [x for x in head if re.match(r"[MLQ]:", x.text)]
    body = lines[first:last]
    in_music = False
    for i, one in enumerate(body):
        in_music = in_music or one.text.startswith("K:")
        if in_music and not one.text.strip():
            body = body[:i]  # a blank line ends a tune
            break
    return shared + body


class _Reader:
    """Reads the lines of one tune in order."""

    def __init__(self, lines: list[_Line], findings: Findings) -> None:
        self.lines, self.findings = lines, findings
        self.settings: list[Set] = []
        self.titles: list[_Line] = []
        self.by: list[_Line] = []
        self.tune = Tune(findings)
        self.in_music = False
        self.field = ""  # the field that a `+:` goes on with
        self.voices: list[str] = []
        self.order: tuple[list[str], Span] | None = None
        self.tempo: _Line | None = None
        self.told: list[_Line] = []  # fields about the tune that a chart has no place for

    def lead(self) -> Lead:
        for line in self.lines:
            text = line.text
            found = _FIELD.match(text)
            if text.startswith("%"):
                if text.startswith("%%") and not text.startswith("%%text"):
                    self.findings.add("W710", line.span, found="formatting (%%)", hint="")
            elif found and not text.startswith("|:"):
                self._field(found[1], found[2].split(" %")[0].strip(), line)
            elif self.in_music:
                self.tune.line(text, line.start)
            elif text.strip():
                self.findings.add(
                    "W710", line.span, found="a line that is no field of the head", hint=""
                )
        if not self.in_music:
            self.findings.add(
                "W701", self.lines[0].span, what="there is no K: field", assumed="C major"
            )
        if self.told:
            letters = dict.fromkeys(line.text[0] for line in self.told if line.text[0] in _TOLD)
            named = ", ".join(f"{_TOLD[c]} ({c}:)" for c in letters)
            self.findings.add("W710", self.told[0].span, found=named)
        lead = Lead([*self._head(), *self.settings], self.tune.finish())
        if self.order:
            self._form(lead)
        return lead

    def _head(self) -> list[Set]:
        found = []
        if self.titles:
            found.append(Set("title", self.titles[0].text[2:].strip(), self.titles[0].span))
        if self.by:
            found.append(Set("by", self.by[0].text[2:].strip(), self.by[0].span))
        if self.titles[1:]:
            also = "; ".join(line.text[2:].strip() for line in self.titles[1:])
            found.append(Set("notes", also, self.titles[1].span))
        return found

    def _field(self, letter: str, value: str, line: _Line) -> None:
        tune, findings = self.tune, self.findings
        if letter == "+":
            letter = self.field
        else:
            self.field = letter
        if letter == "T" and not self.in_music:
            self.titles.append(line)
        elif letter == "C":
            self.by.append(line)
        elif letter == "M":
            tune.set_meter(value, line.span)
        elif letter == "L":
            tune.set_length(value)
        elif letter == "Q":
            self._tempo(value, line)
        elif letter == "K":
            self._key(value, line)
        elif letter == "P":
            self._part(value, line)
        elif letter == "V":
            self._voice(value)
        elif letter == "w":
            tune.words(value, line.span, more=line.text[0] == "+")
        elif letter == "W":
            findings.add(
                "W710",
                line.span,
                found="text below the tune (W:)",
                hint="write it as w: under its notes",
            )
        elif letter == "T":
            tune.section(value, line.span)
        elif letter in _TOLD:
            self.told.append(line)
        elif letter not in _IGNORED:
            findings.add("W710", line.span, found=f"the field {letter}:", hint="")

    def _tempo(self, value: str, line: _Line) -> None:
        if self.in_music:
            self.tune.set_tempo(value, line.span)
        else:
            self.tempo = line

    def _key(self, value: str, line: _Line) -> None:
        if self.in_music:
            self.tune.set_key(value, line.span)
            return
        self.in_music = True
        signature = self.tune.start(value, line.span)
        if signature.key:
            self.settings.append(Set("key", abc_fields.key_value(signature.key), line.span))
        if self.tempo:
            tempo, words = abc_fields.tempo(self.tempo.text[2:].split("%")[0], self.tune.unit_q)
            if tempo:
                self.settings.append(Set("tempo", tempo, self.tempo.span))
            elif words:
                self.findings.add(
                    "W710",
                    self.tempo.span,
                    found=f"the tempo '{words}'",
                    hint="write a figure, such as Q:1/4=120",
                )

    def _part(self, value: str, line: _Line) -> None:
        if self.in_music:
            self.tune.section(value, line.span)
            return
        order = abc_fields.part_order(value)
        if order is None:
            self.findings.add(
                "W710",
                line.span,
                found=f"the order of parts '{value[:40]}'",
                hint="write it as letters and figures, such as P:A2B",
            )
        else:
            self.order = order, line.span

    def _voice(self, value: str) -> None:
        self.tune.voice(value.split()[0] if value.split() else "")

    def _form(self, lead: Lead) -> None:
        """The order of parts as a form, where every part is there."""
        assert self.order is not None
        order, span = self.order
        names = {m.opened for m in lead.measures if m.opened}
        missing = [p for p in dict.fromkeys(order) if p not in names]
        if missing:
            self.findings.add(
                "W710",
                span,
                found="the order of parts (P:)",
                hint=f"part {missing[0]} is not in the tune",
            )
        elif len(order) > 1:
            lead.settings.append(Set("form", " ".join(order), span))
