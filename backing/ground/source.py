"""Text with places in it: where a thing stands, and how a mistake there is shown.

Conventions: offsets count characters from 0 and spans are half-open; lines and columns, which people see, count
from 1. A diagnostic is one sentence (what was found, what was expected) and a hint that can be typed.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import Any, ClassVar, NamedTuple


class Shown:
    """A record that shows its fields. One method serves all: writing one for each class costs at every start."""

    __slots__ = ()
    __dataclass_fields__: ClassVar[dict[str, Any]]

    def __repr__(self) -> str:
        fields = (
            f"{n}={getattr(self, n)!r}" for n, f in self.__dataclass_fields__.items() if f.repr
        )
        return f"{type(self).__name__}({', '.join(fields)})"


class Span(NamedTuple):
    """Characters `start` to `end` (excluded) of a text."""

    start: int
    end: int

    def to(self, other: Span) -> Span:
        """The span from the start of this one to the end of `other`."""
        return Span(self.start, max(self.end, other.end))


NOWHERE = Span(0, 0)


@dataclass(frozen=True, slots=True, repr=False)
class Source(Shown):
    """A named text; `name` is shown before every place. `foreign` where it is written in another format than charts.

    >>> Source("a.txt", "one\\ntwo").line_column(5)
    (2, 2)
    """

    name: str
    text: str
    foreign: bool = False
    _lines: tuple[int, ...] = field(default=(), init=False, repr=False, compare=False)

    @property
    def _starts(self) -> tuple[int, ...]:
        """Where each line begins; found when it is first asked for, for most texts have no mistakes."""
        if not self._lines:
            starts = [0]
            for line in self.text.split("\n")[:-1]:
                starts.append(starts[-1] + len(line) + 1)
            object.__setattr__(self, "_lines", tuple(starts))
        return self._lines

    def line_column(self, offset: int) -> tuple[int, int]:
        """Line and column, both from 1, of a character offset."""
        line = bisect_right(self._starts, offset)
        return line, offset - self._starts[line - 1] + 1

    def line_text(self, line: int) -> str:
        """The text of line number `line` (from 1) without its line break."""
        start = self._starts[line - 1]
        end = self._starts[line] - 1 if line < len(self._starts) else len(self.text)
        return self.text[start:end].rstrip("\r")


class Severity(Enum):
    """An error keeps the track from being made; a warning never does."""

    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True, slots=True, repr=False)
class Diagnostic(Shown):
    """One thing to tell the writer of a text.

    `code` is stable ("E104"; warnings begin with W), `message` is one sentence, `hint` says what to type ("" if
    there is nothing to add), `span` is where in `source`.
    """

    code: str
    message: str
    hint: str
    span: Span
    source: Source
    severity: Severity = Severity.ERROR

    @property
    def line(self) -> int:
        return self.source.line_column(self.span.start)[0]

    @property
    def column(self) -> int:
        return self.source.line_column(self.span.start)[1]

    @property
    def end_column(self) -> int:
        """Column after the last marked character; never beyond the end of the first marked line."""
        line_end = len(self.source.line_text(self.line)) + 1
        width = max(1, self.span.end - self.span.start)
        return max(self.column + 1, min(self.column + width, line_end))

    def headline(self) -> str:
        """`file:line:column: CODE message`."""
        return f"{self.source.name}:{self.line}:{self.column}: {self.code} {self.message}"

    def render(self) -> str:
        """The headline, the line with a mark under the place, and the hint; long lines are cut around the place."""
        text = "".join(
            c if c.isprintable() else " " if c == "\t" else "·"
            for c in self.source.line_text(self.line)
        )
        column, end = self.column - 1, self.end_column - 1
        if len(text) > 120:
            cut = max(0, min(column - 40, len(text) - 120))
            text, column, end = text[cut : cut + 120], column - cut, min(end - cut, 120)
        number = str(self.line)
        lines = [
            self.headline(),
            f"  {number} | {text}".rstrip(),
            f"  {' ' * len(number)} | {' ' * column}{'^' * max(1, end - column)}",
        ]
        if self.hint:
            lines.append(f"  hint: {self.hint}")
        return "\n".join(lines)

    def as_json(self) -> dict[str, object]:
        """The object that `--json` reports show."""
        return {
            "code": self.code,
            "severity": self.severity.value,
            "line": self.line,
            "column": self.column,
            "end_column": self.end_column,
            "message": self.message,
            "hint": self.hint,
        }


def nearest(word: str, names: Sequence[str]) -> str | None:
    """The name most like `word`, or None when nothing is near.

    >>> nearest("tmepo", ["tempo", "title", "key"])
    'tempo'
    """
    import difflib

    lower = {n.lower(): n for n in names}
    found = difflib.get_close_matches(word.lower(), lower, n=1, cutoff=0.6)
    return lower[found[0]] if found else None
