"""`Chart` to text: tidy, in columns, with its comments, and stable: what is written reads as the same chart.

Conventions: one blank line before every heading; other blank lines stay where the writer of the chart left one. Values
of settings, symbols and the way in which the beats of a bar are written are kept as typed. Bars stand in columns over a
section, or over one line with what is under it where the section would grow wider than `WIDEST` characters.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import takewhile
from typing import NamedTuple, Protocol

from backing.chart.ast import LAST, BarLine, Chart, Comment, MusicLine, Section, Written
from backing.chart.transpose import transpose_chart

__all__ = ["transpose_chart", "write"]

WIDEST = 110


class _Out(NamedTuple):
    """A line of the result, and the place in the chart where it was typed."""

    start: int
    text: str


class _Row(NamedTuple):
    """A line of music or one under it: its cells as (first column, columns filled, text), and marks by column."""

    start: int
    name: str
    cells: list[tuple[int, int, str]]
    marks: dict[int, str]
    end: int  # the column after the last


def write(chart: Chart) -> str:
    """The chart as text, ending in a line break."""
    out: list[_Out] = _settings(chart.written)
    headings: set[int] = set()
    written: set[str] = set()
    sections = {section.name: section for section in chart.sections}
    for name, span in zip(chart.order, chart.headings, strict=True):
        # where another format was read, what stands on which line says nothing of a chart
        if name or chart.source.foreign:
            headings.add(len(out))
        if name:
            out.append(_Out(span.start, f"[{name}]"))
        if name not in written:
            out.extend(_section(sections[name]))
            written.add(name)
    return _joined(out, headings, chart)


def _settings(written: Sequence[Written]) -> list[_Out]:
    width = max((len(w.name) for w in written), default=0) + 2
    return [
        # a lone # is only a word right behind the colon
        _Out(w.span.start, f"{w.name + ':':<{0 if w.value[0] == '#' else width}}{w.value}")
        for w in written
    ]


def _section(section: Section) -> list[_Out]:
    groups = [_rows(line) for line in section.lines]
    rows = [row for group in groups for row in group]
    names = {row.name for row in rows if row.name}
    prefix = max((len(name) + 2 for name in names), default=0)
    out = _settings(section.written)
    together = _aligned(rows, prefix)
    if len(groups) > 1 and max(len(line.text) for line in together) > WIDEST:
        together = [line for group in groups for line in _aligned(group, prefix)]
    return out + together


def _aligned(rows: Sequence[_Row], prefix: int) -> list[_Out]:
    """Rows with their bars in columns."""
    columns = max(row.end for row in rows)
    widths, marks = [0] * (columns + 1), [0] * (columns + 1)
    for row in rows:
        for first, many, text in row.cells:
            if many == 1:
                widths[first] = max(widths[first], len(text))
        for column, mark in row.marks.items():
            if column < row.end:
                marks[column] = max(marks[column], len(mark))
    out = []
    for row in rows:
        line = f"{row.name}:".ljust(prefix) if row.name else " " * prefix
        for first, many, text in row.cells:
            width = sum(widths[first : first + many])
            width += sum(marks[first + 1 : first + many]) + 2 * (many - 1)
            line += _cell(row.marks[first], text, marks[first], width)
        out.append(_Out(row.start, (line + row.marks[row.end]).rstrip()))
    return out


def _cell(mark: str, text: str, mark_width: int, width: int) -> str:
    """A bar with the mark before it; a # that stands alone at its edge touches the bar line, or it would begin a comment."""
    lead = "" if text.split(" ", 1)[0] == "#" else " " * (mark_width - len(mark) + 1)
    cell = mark + lead + text
    return cell if text.endswith(" #") or text == "#" else cell.ljust(mark_width + width + 2)


def _rows(line: MusicLine) -> list[_Row]:
    """The row of a line of music and those of the lines under it."""
    bars = line.bars
    cells = [
        (i, 2 if bar.simile == 2 else 1, bar.items_text)
        for i, bar in enumerate(bars)
        if bar.simile != 3
    ]
    marks = {i: mark_between(bars[i - 1] if i else None, bars[i]) for i, _, _ in cells}
    marks[len(bars)] = mark_between(bars[-1], None)
    rows = [_Row(line.span.start, "", cells, marks, len(bars))]
    verse = 0
    for under in line.under:
        if under.name == "words":
            texts = [bar.words[verse] for bar in bars]
            verse += 1
        else:
            texts = [getattr(bar, f"{under.name}_text") for bar in bars]
        below = [
            (i, 2 if text == "%2" and under.name != "words" else 1, text)
            for i, text in enumerate(texts)
            if text or under.name == "words"
        ]
        plain = dict.fromkeys(range(len(bars) + 1), "|")
        rows.append(_Row(under.span.start, under.name, below, plain, len(bars)))
    return rows


class Lined(Protocol):
    """What has bar lines: a bar of a chart, or a measure of another format."""

    @property
    def repeat_start(self) -> bool: ...
    @property
    def times(self) -> int: ...
    @property
    def ending(self) -> tuple[int, ...]: ...
    @property
    def line_after(self) -> BarLine: ...


def mark_between(left: Lined | None, right: Lined | None) -> str:
    """The bar line between two bars, one of which may be missing at the end of a line."""
    mark = "|"
    if left and left.times:
        mark = {BarLine.SINGLE: ":|", BarLine.DOUBLE: ":||", BarLine.FINAL: ":|]"}[left.line_after]
        mark += f" x{left.times}" if left.times != 2 else ""
    elif left:
        mark = left.line_after.value
    if right is None or not (right.repeat_start or right.ending):
        return mark
    ending = _ending(right.ending)
    if right.repeat_start:
        opened = {"|": "|:", ":|": ":|:"}.get(mark, f"{mark} |:")
        return f"{opened} |{ending}" if ending else opened
    return f"{mark}{ending}" if mark in ("|", "||", ":|", ":||") else f"{mark} |{ending}"


def _ending(numbers: tuple[int, ...]) -> str:
    if not numbers:
        return ""
    if numbers == (LAST,):
        return "last."
    return f"{numbers[0]}." if len(numbers) == 1 else f"{numbers[0]}-{numbers[-1]}."


def _joined(out: list[_Out], headings: set[int], chart: Chart) -> str:
    """Lines with the comments and blank lines between them."""
    source = chart.source
    lines: list[str] = []
    last = 0  # the line of the chart that was written last
    comments = deque(chart.comments)

    def blank(line: int) -> None:
        if lines and lines[-1] and _gap(chart, last, line):
            lines.append("")

    def put_comments(before: int) -> None:
        nonlocal last
        while comments and comments[0].span.start < before:
            comment = comments.popleft()
            line = source.line_column(comment.span.start)[0]
            blank(line)
            lines.append(comment.text)
            last = line

    for i, (start, text) in enumerate(out):
        line = source.line_column(start)[0]
        if i in headings:
            put_comments(_attached(chart, comments, start, line))
            if lines and lines[-1]:
                lines.append("")
        put_comments(start)
        if i not in headings:
            blank(line)
        behind = _behind(comments, line, chart)
        if behind:
            comments.popleft()
            text = f"{text}  {behind.text}"
        lines.append(text)
        last = line
    put_comments(len(source.text) + 1)
    return "\n".join(lines) + "\n"


def _attached(chart: Chart, comments: deque[Comment], start: int, line: int) -> int:
    """Where the comments begin that stand over a heading without a blank line between."""
    above_it = list(takewhile(lambda c: c.span.start < start, comments))
    for comment in reversed(above_it):
        above = chart.source.line_column(comment.span.start)[0]
        if _gap(chart, above, line):
            break
        start, line = comment.span.start, above
    return start


def _behind(comments: deque[Comment], line: int, chart: Chart) -> Comment | None:
    """The comment at the end of a line."""
    if comments and not comments[0].own_line:
        comment = comments[0]
        if chart.source.line_column(comment.span.start)[0] == line:
            return comment
    return None


def _gap(chart: Chart, first: int, second: int) -> bool:
    """Whether a blank line stands between two lines of the chart."""
    return not chart.source.foreign and any(
        not chart.source.line_text(n).strip() for n in range(first + 1, second)
    )
