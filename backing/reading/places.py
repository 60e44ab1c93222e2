"""A chart that was typed for another format, with its places moved to where its parts stand in the source.

Conventions: a place of the typed text belongs to the last mark before it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import lru_cache
from typing import Any

from backing.chart.ast import (
    Bar,
    Chart,
    FormItem,
    LineNote,
    Section,
    Text,
    Written,
)
from backing.ground.source import NOWHERE, Diagnostic, Source, Span

Where = Callable[[Span], Span]


class Typed:
    """A text that is typed piece by piece, and where each piece comes from."""

    __slots__ = ("_at", "_pieces", "_places", "length")

    def __init__(self) -> None:
        self._pieces: list[str] = []
        self._at: list[int] = [0]
        self._places: list[Span] = [NOWHERE]
        self.length = 0

    def put(self, text: str, span: Span | None = None) -> None:
        """Type a piece; without a place it belongs to what stands before it."""
        if span is not None:
            self._at.append(self.length)
            self._places.append(span)
        self._pieces.append(text)
        self.length += len(text)

    @property
    def text(self) -> str:
        return "".join(self._pieces)

    def where(self, span: Span) -> Span:
        """The place in the source of a place in the typed text."""
        return self._places[bisect_right(self._at, span.start) - 1]


def moved(chart: Chart, source: Source, where: Where, warnings: Iterable[Diagnostic]) -> Chart:
    """The chart with every place in `source`."""
    header = chart.header
    if header.form:
        form = tuple(
            FormItem(i.section, i.transpose, i.in_chorus, where(i.span)) for i in header.form
        )
        header = header._replace(form=form)
    return replace(
        chart,
        source=source,
        header=header,
        sections=tuple(_section(s, where) for s in chart.sections),
        written=_written(chart.written, where),
        warnings=tuple(warnings),
        headings=tuple(map(where, chart.headings)),
    )


def diagnostic(told: Diagnostic, source: Source, where: Where) -> Diagnostic:
    """What is said of the typed text, said of the source."""
    return Diagnostic(told.code, told.message, told.hint, where(told.span), source, told.severity)


def _written(written: tuple[Written, ...], where: Where) -> tuple[Written, ...]:
    return tuple(Written(w.name, w.value, where(w.span), where(w.value_span)) for w in written)


@lru_cache
def _slots(kind: Any) -> tuple[tuple[str, Any, Any], ...]:
    """Name, reader and writer of every field of a class with slots."""
    own = [getattr(kind, name) for name in kind.__dataclass_fields__]
    return tuple((slot.__name__, slot.__get__, slot.__set__) for slot in own)


def _again(one: Any, **changes: object) -> Any:
    """A copy with other values; `dataclasses.replace` takes thrice as long, and there are hundreds of them."""
    kind: Any = type(one)
    copy = object.__new__(kind)
    for name, read, write in _slots(kind):
        write(copy, changes[name] if name in changes else read(one))
    return copy


def _section(section: Section, where: Where) -> Section:
    lines = tuple(
        replace(
            line,
            bars=tuple(_bar(b, where) for b in line.bars),
            span=where(line.span),
            under=_written(line.under, where),
        )
        for line in section.lines
    )
    return replace(
        section, lines=lines, span=where(section.span), written=_written(section.written, where)
    )


def _bar(bar: Bar, where: Where) -> Bar:
    found: Bar = _again(
        bar,
        slots=tuple(_again(s, span=where(s.span)) for s in bar.slots),
        span=where(bar.span),
        texts=tuple(Text(t.text, t.at_q, where(t.span), t.direction) for t in bar.texts),
        melody=_notes(bar.melody, where),
        hits=_notes(bar.hits, where),
        kicks=_notes(bar.kicks, where),
    )
    return found


def _notes(notes: tuple[LineNote, ...] | None, where: Where) -> tuple[LineNote, ...] | None:
    if not notes:
        return notes
    return tuple(_again(n, span=where(n.span)) for n in notes)
