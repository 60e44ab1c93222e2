"""What is what in a chart's text, by the rules of the reader itself: for colours in the editor.

Conventions: a token is (first character, end, kind); kinds are those of `KINDS`, tokens rise and do not overlap.
"""

from __future__ import annotations

from collections.abc import Iterator

from backing.chart.codes import Faults
from backing.chart.lex import BarMark, Kind, Line, cells, lines, plain
from backing.ground.source import Source

Token = tuple[int, int, str]

KINDS = (
    "comment",
    "heading",
    "name",
    "value",
    "bar",
    "chord",
    "sign",
    "direction",
    "meter",
    "note",
    "words",
    "other",
)
_OF_TOKEN = {"text": "direction", "broken": "direction", "meter": "meter", "word": "chord"}


def tokens(text: str) -> list[Token]:
    """The tokens of a chart, whatever mistakes it has.

    >>> tokens("key: G # home\\n| C / |")
    [(0, 4, 'name'), (5, 6, 'value'), (7, 13, 'comment'), (14, 15, 'bar'), (16, 17, 'chord'), (18, 19, 'sign'), (20, 21, 'bar')]
    """
    read = plain(text)
    found, comments = lines(read)
    made: set[Token] = {(start, end, "comment") for start, end, _ in comments}
    for line in found:
        made.update(_of_line(line, read))
    return sorted(token for token in made if token[0] < token[1])


def _of_line(line: Line, read: str) -> Iterator[Token]:
    if line.kind is Kind.HEADING:
        close = read.find("]", line.start, line.end)
        end = close + 1 if close >= 0 else line.end
        yield line.start, end, "heading"
        if end < line.end:
            yield from _music(end, line.end, "chord", read)
    elif line.kind is Kind.MUSIC:
        yield from _music(line.start, line.end, "chord", read)
    elif line.kind is Kind.OTHER:
        yield line.start, line.end, "other"
    else:
        yield line.start, read.index(":", line.start) + 1, "name"
        if line.kind is Kind.SETTING:
            yield line.value, line.end, "value"
        elif line.name == "words":
            yield from _verse(line, read)
        else:
            yield from _music(line.value, line.end, "note", read)


def _verse(line: Line, read: str) -> Iterator[Token]:
    """Words between bar lines."""
    start = line.value
    for at in range(line.value, line.end + 1):
        if at == line.end or read[at] == "|":
            yield start, at, "words"
            yield at, min(at + 1, line.end), "bar"
            start = at + 1


def _music(start: int, end: int, word: str, read: str) -> Iterator[Token]:
    """Bars of chords or, under them, of notes; the faults that are found on the way are told elsewhere."""
    for cell in cells(read, start, end, Faults(Source("", read)))[0]:
        yield from _bar_line(cell.left)
        for token in cell.tokens:
            kind = _OF_TOKEN.get(token.kind, "sign")
            yield token.start, token.end, word if kind == "chord" else kind
        yield from _bar_line(cell.right)


def _bar_line(mark: BarMark) -> Iterator[Token]:
    yield mark.start, mark.end, "bar"
