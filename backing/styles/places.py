"""Where in the text of a TOML file a key stands.

`tomllib` gives values without places. This walks the text once more, and only when there is a mistake to show.
Conventions: a path is a tuple of keys, with the number of the entry (from 0) after the name of an array of tables;
offsets count characters. The text has been read by `tomllib`, so it is known to be well formed.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from backing.ground.source import Span

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'', re.DOTALL
)
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^\s,\]}#]+(?: [0-9:.+-]+)?")


class Places:
    """Spans of the keys and of the values of a TOML text, by path."""

    def __init__(self, text: str) -> None:
        self.keys: dict[Path, Span] = {}
        self.values: dict[Path, Span] = {}
        self._text = text
        self._counts: dict[Path, int] = {}
        self._walk()

    def key(self, path: Path) -> Span:
        """The key at `path`, or the first thing inside it, or the nearest above it."""
        return self._nearest(self.keys, path)

    def value(self, path: Path) -> Span:
        """The value at `path`; the key where the value is a table of its own."""
        return self.values.get(path) or self._nearest(self.keys, path)

    def inside(self, path: Path, at: int, length: int) -> Span:
        """`length` characters from offset `at` of the one-line string at `path`."""
        span = self.value(path)
        start = span.start + (3 if self._text.startswith(('"""', "'''"), span.start) else 1) + at
        return Span(start, start + length)

    def _nearest(self, table: dict[Path, Span], path: Path) -> Span:
        for end in range(len(path), 0, -1):
            stem = path[:end]
            found = table.get(stem) or next((s for p, s in table.items() if p[:end] == stem), None)
            if found:
                return found
        return Span(0, 0)

    def _walk(self) -> None:
        text, at = self._text, 0
        table: Path = ()
        while (at := self._skip(at)) < len(text):
            if text[at] == "[":
                start, double = at, text.startswith("[[", at)
                names, at = self._dotted(at + 1 + double)
                at = self._skip(at) + 1 + double
                table = self._resolve(names, double)
                self.keys[table] = Span(start, at)
            else:
                at = self._pair(at, table)

    def _resolve(self, names: list[tuple[str, Span]], double: bool) -> Path:
        """The path of a table header: each array of tables stands for its last entry."""
        path: Path = ()
        for i, (name, _) in enumerate(names):
            path = (*path, name)
            if double and i == len(names) - 1:
                self._counts[path] = self._counts.get(path, -1) + 1
            if path in self._counts:
                path = (*path, self._counts[path])
        return path

    def _skip(self, at: int) -> int:
        found = _BLANK.match(self._text, at)
        return found.end() if found else at

    def _dotted(self, at: int) -> tuple[list[tuple[str, Span]], int]:
        names: list[tuple[str, Span]] = []
        while True:
            at = self._skip(at)
            found = _STRING.match(self._text, at) or _BARE.match(self._text, at)
            if found is None:
                return names, at
            names.append((found.group().strip("\"'"), Span(at, found.end())))
            at = self._skip(found.end())
            if not self._text.startswith(".", at):
                return names, at
            at += 1

    def _pair(self, at: int, table: Path) -> int:
        names, at = self._dotted(at)
        path = table
        for name, span in names:
            path = (*path, name)
            self.keys.setdefault(path, span)
        start = self._skip(at + 1)
        end = self._value(start, path)
        self.values[path] = Span(start, end)
        return end

    def _value(self, at: int, path: Path) -> int:
        text = self._text
        if text[at] == "{":
            return self._each(at, "}", lambda here, _: self._pair(here, path))
        if text[at] == "[":
            return self._each(at, "]", lambda here, i: self._entry(here, (*path, i)))
        found = _STRING.match(text, at) or _SCALAR.match(text, at)
        return found.end() if found else at + 1

    def _entry(self, at: int, path: Path) -> int:
        end = self._value(at, path)
        self.values[path] = Span(at, end)
        self.keys.setdefault(path, Span(at, end))
        return end

    def _each(self, at: int, closing: str, read: Callable[[int, int], int]) -> int:
        at, number = self._skip(at + 1), 0
        while self._text[at] != closing:
            at = self._skip(read(at, number))
            number += 1
            if self._text[at] == ",":
                at = self._skip(at + 1)
        return at + 1
