"""What is to be said of a file of another format: one table of codes, sentences and hints, and the list that gathers them.

Conventions: as in `chart.codes`; E7 are files that cannot be read, W7 what was assumed, changed or left out. A kind of
finding is told once, at its first place, with how often it was met.
"""

from __future__ import annotations

from typing import NamedTuple

from backing.ground.errors import ChartError
from backing.ground.source import Diagnostic, Severity, Source, Span

# code: (sentence, hint)
CODES: dict[str, tuple[str, str]] = {
    "E701": ("{what} cannot be read here: {why}", "{hint}"),
    "E702": ("there is no music in this file", "{hint}"),
    "E703": ("this file holds a melody and no chords", "let  backing harmonise  find them, or write a chart to fill in with  backing make FILE -o tune.txt"),
    "E704": ("this file is larger than {most}", "save one tune alone"),
    # --- assumed
    "W701": ("{what}, so {assumed} is assumed", "{hint}"),
    "W702": ("{found} is no chord symbol and is kept as words", "{hint}"),
    "W703": ("this measure lasts {found} where the meter has {expected}; {done}", "{hint}"),
    "W704": ("{found} is moved to the nearest place that a chart can name", ""),
    "W705": ("a repeat opens here and never closes; it is left out", ""),
    "W706": ("the endings {found} are taken as {read}", ""),
    "W707": ("of {count} {kinds} the {which} is read", "{hint}"),
    "W708": ("{found} cannot begin inside a repeat and is left out", ""),
    "W709": ("{what}", "{hint}"),
    # --- left out
    "W710": ("{found} is left out", "{hint}"),
}  # fmt: skip


class Finding(NamedTuple):
    """A finding with the values of its sentence."""

    code: str
    span: Span
    values: dict[str, object]


class Findings:
    """The findings of one file, gathered while it is read."""

    __slots__ = ("_told", "found", "source")

    def __init__(self, source: Source) -> None:
        self.source = source
        self.found: list[Finding] = []
        self._told: dict[tuple[str, str], int] = {}  # what was said, and how often it was met

    def add(self, code: str, span: Span, **values: object) -> None:
        """Note a finding; the same words are said once and counted."""
        said = (code, str(sorted(values.items())))
        self._told[said] = self._told.get(said, 0) + 1
        if self._told[said] == 1:
            self.found.append(Finding(code, span, values))

    def refuse(self, code: str, span: Span, **values: object) -> ChartError:
        """The error that ends the reading."""
        return ChartError([self._diagnostic(Finding(code, span, values))])

    def diagnostics(self) -> tuple[Diagnostic, ...]:
        """All of them in the order of the file."""
        return tuple(map(self._diagnostic, sorted(self.found, key=lambda f: (f.span, f.code))))

    def _diagnostic(self, finding: Finding) -> Diagnostic:
        sentence, hint = CODES[finding.code]
        times = self._told.get((finding.code, str(sorted(finding.values.items()))), 1)
        message = sentence.format(**finding.values) + (f" ({times} times)" if times > 1 else "")
        severity = Severity.WARNING if finding.code[0] == "W" else Severity.ERROR
        most = len(self.source.text)
        span = Span(min(finding.span.start, most), min(finding.span.end, most))
        hint = hint.format(**{"hint": "", **finding.values})
        return Diagnostic(finding.code, message, hint, span, self.source, severity)
