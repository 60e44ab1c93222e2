"""What MusicXML has no element for: settings, marks and rhythms of a chart, in `miscellaneous-field`s.

Conventions: names begin with `backing-`. `backing-NAME` is a setting of the chart, `backing-section-3-NAME` one of the third
section, `backing-order` the headings in their order, `backing-marks` what stands at chords (`12@2 <`: measure, quarters from
its start, mark), `backing-hits` and `backing-kicks` the rhythms (`12: x / r /`),
`backing-beats` the beats of a bar as they were typed.
"""

from __future__ import annotations

import re
from fractions import Fraction

from backing.chart import values
from backing.ground.source import Span
from backing.reading.findings import Findings
from backing.reading.lead import Lead, Measure, Set
from backing.reading.xml_tree import Node, span_of

PREFIX = "backing-"
MARKS = "backing-marks"
ORDER = "backing-order"
RHYTHMS = ("hits", "kicks", "beats")  # `beats` is how a bar is typed where it could be otherwise
BETWEEN = " | "  # entries of one field


class Fields:
    """The fields of one file. `ours` where this program wrote it."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.ours = False
        self.found: dict[str, tuple[str, Span]] = {}

    def read(self, identification: Node) -> None:
        """Take the fields from the head of a score."""
        for field in identification.within("miscellaneous-field"):
            name = field.get("name")
            if name.startswith(PREFIX):
                self.found[name] = (field.text.strip(), span_of(field))
        self.ours = any(s.text.startswith("backing ") for s in identification.within("software"))

    def apply(self, lead: Lead) -> None:
        """Put what the fields say where it belongs."""
        if not self.ours:
            return
        sections = _sections(lead.measures)
        self._forget(lead, sections)
        for name, (value, span) in self.found.items():
            if name == ORDER:
                lead.order = value.split(BETWEEN)
            elif name == MARKS:
                self._marks(value, lead.measures)
            elif name.removeprefix(PREFIX) in RHYTHMS:
                _rhythm(name.removeprefix(PREFIX), value, lead.measures)
            elif found := re.fullmatch(r"backing-section-([0-9]{1,4})-([a-z-]{1,20})", name):
                number = int(found[1])
                if 1 <= number <= len(sections):
                    _put(sections[number - 1].settings, Set(found[2], value, span))
            else:
                _put(lead.settings, Set(name.removeprefix(PREFIX), value, span))

    def _forget(self, lead: Lead, sections: list[Measure]) -> None:
        """Drop what a section sets only to come back to what holds for the chart."""
        home = {s.name: s for s in lead.settings}
        for number, measure in enumerate(sections, 1):
            measure.settings = [
                s
                for s in measure.settings
                if f"{PREFIX}section-{number}-{s.name}" in self.found
                or s.name not in home
                or not _same(s, home[s.name])
            ]

    def _marks(self, value: str, measures: list[Measure]) -> None:
        by_number = {m.number: m for m in measures}
        for entry in value.split(BETWEEN):
            found = re.fullmatch(
                r"([0-9]{1,5})@([0-9]{1,4}(?:/[1-9][0-9]{0,3})?) ([<!=]{1,2})", entry
            )
            measure = by_number.get(int(found[1])) if found else None
            if not found or measure is None:
                continue
            at = Fraction(found[2])
            push, marks = "<" if "<" in found[3] else "", found[3].replace("<", "")
            measure.symbols = [
                s._replace(text=f"{push}{s.text}{marks}") if s.at_q == at else s
                for s in measure.symbols
            ]


def _sections(measures: list[Measure]) -> list[Measure]:
    """The first measure of every section."""
    return [m for i, m in enumerate(measures) if i == 0 or m.opened is not None]


def _rhythm(name: str, value: str, measures: list[Measure]) -> None:
    by_number = {m.number: m for m in measures}
    for entry in value.split(BETWEEN):
        number, _, text = entry.partition(":")
        if number.isdigit() and int(number) in by_number:
            by_number[int(number)].below[name] = text.strip()


def _put(settings: list[Set], new: Set) -> None:
    """Set what a field says, but where an element of the score says something else, which was changed there."""
    for one in settings:
        if one.name == new.name:
            if _same(one, new):
                settings[settings.index(one)] = new
            return
    settings.append(new)


def _same(old: Set, new: Set) -> bool:
    """Whether an element says what a field says, as far as it can."""
    try:
        if new.name == "tempo":
            glide, plain = values.tempo(new.value), values.tempo(old.value)
            return glide.bpm == plain.bpm
        if new.name == "key":
            return values.key(old.value) == values.key(new.value)
    except values.Wrong:
        return new.name == "key"  # in other note names
    return True
