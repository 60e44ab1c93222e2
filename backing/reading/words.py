"""Words with chords over them, and ChordPro: text to a chart.

Such a page knows no bars. *Conventions*: one bar a chord, or as many bars a line as are asked for, to which the chords go by
their place over the words; where bar lines stand they count. The meter is 4/4 where none is named. A line of words without a
chord holds the last one for a bar. A section that comes again with the same chords is played again with further words.
*Source*: ChordPro 6 for directives; the rest is common practice. All that is assumed is said.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise

from backing.chart import values
from backing.chart.ast import Chart
from backing.chart.curly import COMMENTS, NOTES, SECTIONS, SETTINGS
from backing.ground.source import Source, Span
from backing.ground.timebase import FOUR_FOUR, Meter
from backing.reading.findings import Findings
from backing.reading.lay import chart_of
from backing.reading.lead import Lead, Measure, Said, Set
from backing.reading.sections import clean_name
from backing.reading.words_bars import bars_of
from backing.reading.words_lines import Kind, Over, Row, rows

MOST = 1_000_000
_VALUES: dict[str, Callable[[str], object]] = {
    "key": values.key,
    "tempo": values.tempo,
    "capo": lambda value: values.number("capo", value, 0, 12),
}
_SKIPPED = re.compile(r"(?:start_of|end_of)_(?:tab|grid|abc|ly|svg|textblock)|[se]o[tg]")


def looks_like_words(text: str) -> bool:
    """Whether a text is a page of words with chords: ChordPro, or no bar line and chords over a good part of its words."""
    if re.search(r"^\s*\{(?:title|t|artist|key|start_of_\w+|so[cvb]|comment|c)\b", text, re.M):
        return True
    if "|" in text or len(text) > MOST:
        return False
    found = [r.kind for r in rows(text)]
    over = sum(1 for a, b in pairwise(found) if (a, b) == (Kind.CHORDS, Kind.WORDS))
    chords, sung, both = (found.count(k) for k in (Kind.CHORDS, Kind.WORDS, Kind.BOTH))
    return both > 1 or (over > 0 and 2 * chords >= sung)


def read(text: str, name: str, bars_per_line: int | None = None) -> Chart:
    """The chart of a page. Raises `ChartError`."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    findings = Findings(Source(name, text, foreign=True))
    if len(text) > MOST:
        raise findings.refuse("E704", Span(0, 0), most="1 MB")
    return chart_of(_Page(findings, bars_per_line).lead(rows(text)), findings)


class _Page:
    """Reads the lines of a page in order."""

    def __init__(self, findings: Findings, bars_per_line: int | None) -> None:
        self.findings, self.bars_per_line = findings, bars_per_line
        self.settings: list[Set] = []
        self.meter: Meter | None = None
        self.sections: list[_Section] = []
        self.closed = True  # whether the next music begins a section
        self.names: list[str] = []
        self.order: list[str] = []
        self.last = ""  # chord
        self.opened: tuple[str, Span, int] | None = None  # a heading without music so far
        self.said: list[Said] = []  # that stand over the next bar
        self.skipping = False
        self.unbarred = False  # whether a line has no bar lines

    def lead(self, found: list[Row]) -> Lead:
        for row in found:  # what the head says holds for all
            if row.kind in (Kind.DIRECTIVE, Kind.SETTING) and SETTINGS.get(row.name):
                self._set(SETTINGS[row.name], row)
        at = 0
        while at < len(found):
            at += self._row(found[at], found[at + 1] if at + 1 < len(found) else None)
        self._close()
        self._tell()
        lead = Lead(self.settings, [m for section in self.sections for m in section])
        if len(self.order) > len(self.names):
            lead.order = self.order
        return lead

    def _row(self, row: Row, after: Row | None) -> int:
        """Read a line, with the words below it; returns how many lines that were."""
        if row.kind is Kind.DIRECTIVE:
            self._directive(row)
        elif self.skipping or row.kind in (Kind.BLANK, Kind.COMMENT, Kind.SETTING):
            pass
        elif row.kind is Kind.HEADING:
            self._heading(row.name, row.span, row.times)
            if row.chords:
                self._music(row._replace(times=1), "")
        elif row.kind is Kind.CHORDS:
            sung = after is not None and after.kind is Kind.WORDS
            self._music(row, after.text if sung and after else "")
            return 1 + sung
        elif row.kind is Kind.BOTH:
            self._music(row, row.text)
        else:
            self._words_alone(row)
        return 1

    def _set(self, name: str, row: Row) -> None:
        value = row.text
        if name == "meter":
            try:
                self.meter = values.meter(value)
            except values.Wrong:
                self.findings.add(
                    "W710", row.span, found=f"the meter {value!r}", hint="write it as 3/4"
                )
            return
        if name == "capo":
            value = "".join(re.findall(r"[0-9]{1,2}", value)[:1])
        elif name == "tempo":
            value = "".join(re.findall(r"[0-9]{2,3}(?:\.[0-9]+)?", value)[:1])
        if name in _VALUES:
            try:
                _VALUES[name](value)
            except values.Wrong:
                self.findings.add("W710", row.span, found=f"the {name} {row.text!r}", hint="")
                return
        if all(s.name != name for s in self.settings):
            self.settings.append(Set(name, value, row.span))

    def _directive(self, row: Row) -> None:
        name = row.name
        if _SKIPPED.fullmatch(name):
            self.skipping = name.startswith(("start", "so"))
            self.findings.add("W710", row.span, found="a tab or grid", hint="")
        elif SETTINGS.get(name):
            pass
        elif name in NOTES:
            if all(s.name != "notes" for s in self.settings):
                self.settings.append(Set("notes", row.text, row.span))
        elif name in COMMENTS:
            self._comment(row)
        elif name == "chorus":
            self._heading(row.text or "Chorus", row.span, 1)
            self._close()
        elif name.startswith("start_of_"):
            self._heading(
                row.text or name.removeprefix("start_of_").replace("_", " ").capitalize(),
                row.span,
                1,
            )
        elif re.fullmatch("so[cvb]", name):
            self._heading(row.text or SECTIONS[name[2]], row.span, 1)
        elif name.startswith("end_of_") or re.fullmatch("eo[cvb]", name):
            self._close()
        else:
            self.findings.add("W710", row.span, found=f"the directive {name}", hint="")

    def _comment(self, row: Row) -> None:
        """A comment of ChordPro: the name of a section, or words over the next bar."""
        inner = rows(row.text)[0]
        if inner.kind is Kind.HEADING and not inner.chords:
            self._heading(inner.name, row.span, inner.times)
        elif row.text:
            self.said.append(Said(Fraction(0), row.text, row.span))

    # --- sections

    def _heading(self, name: str, span: Span, times: int) -> None:
        self._close()
        self.opened = clean_name(name), span, times

    def _close(self) -> None:
        """The section ends; one that holds nothing plays an earlier one again."""
        if self.opened:
            name, span, times = self.opened
            self.opened = None
            if name in self.names:
                self.order += [name] * times
            else:
                self.findings.add(
                    "W710", span, found=f"the section {name}, which holds no chords,", hint=""
                )
            return
        if not self.closed:
            self.closed = True
            self._merge()

    def _merge(self) -> None:
        """A section that came before with the same chords becomes further words of that one."""
        section, name = self.sections[-1], self.names[-1]
        base = re.sub(r" 2$", "", name)
        if base == name or base not in self.names:
            return
        first = self.sections[self.names.index(base)]
        if [[(s.at_q, s.text) for s in m.symbols] for m in first] != [
            [(s.at_q, s.text) for s in m.symbols] for m in section
        ]:
            return
        verses = max((len(m.verses) for m in first), default=0)
        if any(m.verses for m in section) and [m.verses for m in section] != [
            m.verses for m in first
        ]:
            for old, new in zip(first, section, strict=True):
                old.verses += [""] * (verses - len(old.verses)) + (new.verses or [""])
        self.sections.pop()
        self.names.pop()
        self.order = [base if n == name else n for n in self.order]

    def _open(self, span: Span) -> _Section:
        """The measures of the section that is being read."""
        if self.opened:
            name, at, times = self.opened
            self.opened = None
        elif self.closed:
            name, at, times = "Verse" if self.sections else "", span, 1
        else:
            return self.sections[-1]
        if name in self.names:
            name = f"{name} 2"
            while name in self.names:
                name = f"{name[: name.rindex(' ')]} {int(name.split()[-1]) + 1}"
        self.closed = False
        self.sections.append(_Section(name, at))
        self.names.append(name)
        self.order += [name] * times
        return self.sections[-1]

    # --- music

    def _music(self, row: Row, words: str) -> None:
        section = self._open(row.span)
        meter = self.meter or FOUR_FOUR
        self.unbarred = self.unbarred or not row.barred
        bars = bars_of(row, words, meter, self.bars_per_line)
        for i, (symbols, text) in enumerate(bars):
            measure = Measure(span=row.span, meter=meter, length_q=meter.length_q, symbols=symbols)
            measure.verses = [text] if words.strip() else []
            measure.new_line = i == 0
            if i == 0 and self.said:
                measure.said, self.said = self.said, []
            if not section and section.name:
                measure.opened, measure.opened_at = section.name, section.at
            section.append(measure)
            self.last = symbols[-1].text if symbols else self.last
        if row.times > 1:
            section[-len(bars)].repeat_start, section[-1].times = True, row.times
        for word in row.odd:
            self.findings.add("W702", row.span, found=repr(word), hint="")
            section[-len(bars)].said.append(Said(Fraction(0), word, row.span))

    def _words_alone(self, row: Row) -> None:
        """A line without chords: the title at the top, else words over the chord that sounds."""
        if not self.last:
            names = [s.name for s in self.settings]
            for name in ("title", "by"):
                if name not in names and not self.sections:
                    self.settings.append(Set(name, row.text, row.span))
                    self.findings.add(
                        "W701",
                        row.span,
                        what=f"{row.text.strip()[:40]!r} stands above the music",
                        assumed=f"{name}: {row.text.strip()[:40]}",
                    )
                    return
            self.findings.add(
                "W710", row.span, found="a line of words before the first chord", hint=""
            )
            return
        self.findings.add(
            "W701",
            row.span,
            what="a line of words has no chord",
            assumed="one bar of the chord before",
            hint="",
        )
        self._music(row._replace(chords=(Over(0, self.last, row.span),)), row.text)

    def _tell(self) -> None:
        """Say what such a page leaves open."""
        span = next((m.span for s in self.sections for m in s), Span(0, 0))
        if self.meter is None:
            self.findings.add(
                "W701",
                span,
                what="the page names no meter",
                assumed="4/4",
                hint="write  {time: 3/4}  or  Time: 3/4  at its top",
            )
        if not self.unbarred:
            return
        if self.bars_per_line:
            what, assumed = (
                f"{self.bars_per_line} bars a line are asked for",
                "each chord begins in the bar over its word",
            )
        else:
            what, assumed = "the page has no bars", "one bar a chord"
        self.findings.add(
            "W701",
            span,
            what=what,
            assumed=assumed,
            hint="ask for --bars-per-line 4 where a line has four bars" * (not self.bars_per_line),
        )


class _Section(list[Measure]):
    """The measures of a section with its name."""

    def __init__(self, name: str, at: Span) -> None:
        super().__init__()
        self.name, self.at = name, at
