"""Lines of a page of words with chords: what each one is, and where its chords stand over the words.

Conventions: a column is a place on the page, a tab goes to the next eighth. *Source*: ChordPro 6 (its directives and
`[C]` before a syllable); the other habits are common practice.
"""

from __future__ import annotations

import re
from enum import Enum
from typing import NamedTuple

from backing.ground.source import Span
from backing.reading.symbols import typed_symbol

TAB = 8
HEADINGS = (
    "intro", "verse", "chorus", "pre-chorus", "prechorus", "pre chorus", "bridge", "outro", "ending", "interlude", "solo",
    "instrumental", "refrain", "coda", "tag", "hook", "middle", "middle eight", "turnaround", "vamp", "break", "part",
    "strophe", "vers", "zwischenspiel", "schluss", "vorspiel", "couplet", "pont", "estribillo", "estrofa", "puente",
)  # fmt: skip
_TIMES = r"[\s(]*(?:[x×]\s?(?P<after>[2-9])|(?P<before>[2-9])\s?[x×])\)?"
_HEADING = re.compile(
    rf"(?:\[(?P<boxed>[^\[\]|]{{1,60}})\]|(?P<plain>(?:{'|'.join(sorted(HEADINGS, key=len, reverse=True))})(?:\s*[0-9A-D]{{1,2}})?)|(?P<named>[^\W\d_][^:|\[\]{{}}]{{0,40}})(?=:))"
    rf"\s*:?(?:{_TIMES})?\s*:?\s*(?P<rest>.*)",
    re.I,
)
_REPEATED = re.compile(rf"{_TIMES}\s*$", re.I)
_INLINE = re.compile(r"\[([^\[\]]{1,40})\]")
_BRACKETED = re.compile(r"\(([A-H][^()\s]{0,12})\)")
_SETTING = re.compile(
    r"(title|key|tempo|bpm|capo|time|meter|artist|by|composer|tonart)\b\s*(?:[:=]|on\b)?\s*(\S.*)",
    re.I,
)
FILLERS = ("/", "-", "–", "—", "%", "*", "...", "…", ".", "->", "→", ",")


class Kind(Enum):
    BLANK = "blank"
    HEADING = "heading"
    CHORDS = "chords"
    BOTH = "words with chords in them"
    WORDS = "words"
    DIRECTIVE = "directive"
    COMMENT = "comment"
    SETTING = "setting"


class Over(NamedTuple):
    """A chord over the words at a column; `bar` counts the bar lines before it in its line."""

    column: int
    symbol: str
    span: Span
    bar: int = 0
    beats: int = 1  # it and the `/` behind it


class Row(NamedTuple):
    """A line: `name` of a heading, directive or setting, `text` its words or value, `times` how often it is played."""

    kind: Kind
    span: Span
    text: str = ""
    name: str = ""
    chords: tuple[Over, ...] = ()
    times: int = 1
    barred: bool = False
    odd: tuple[str, ...] = ()  # words in a line of chords that are none


def rows(text: str) -> list[Row]:
    """Every line of a page."""
    found, start = [], 0
    for line in text.split("\n"):
        found.append(row(line, start))
        start += len(line) + 1
    return found


def row(line: str, start: int) -> Row:
    """What a line is."""
    bare = line.strip()
    first = start + len(line) - len(line.lstrip())
    span = Span(first, first + len(bare))
    if not bare:
        return Row(Kind.BLANK, span)
    if bare[0] == "{" and bare[-1] == "}":
        name, _, value = bare[1:-1].partition(":")
        return Row(Kind.DIRECTIVE, span, value.strip(), name.strip().casefold())
    if bare[0] == "#" and typed_symbol(bare) is None:
        return Row(Kind.COMMENT, span, bare)
    found = _heading(bare, line, start, span) or _chord_line(line, start, span)
    if found:
        return found
    setting = _SETTING.fullmatch(bare)
    if setting and len(bare) < 80:
        return Row(Kind.SETTING, span, setting[2].strip(), setting[1].casefold())
    return _inline(line, start, span) or Row(Kind.WORDS, span, _expanded(line))


def _heading(bare: str, line: str, start: int, span: Span) -> Row | None:
    """`[Chorus]`, `Verse 2:`, `CHORUS x2`, `Intro: C G`."""
    found = _HEADING.fullmatch(bare)
    if not found:
        return None
    name = (found["boxed"] or found["plain"] or found["named"]).strip()
    rest = found["rest"].strip()
    if found["named"] and (rest or len(name.split()) > 4):
        return None
    times = int(found["after"] or found["before"] or 1)
    if not rest:
        return Row(Kind.HEADING, span, name=name, times=times)
    at = line.rindex(rest)
    chords = _chord_line(" " * at + line[at:], start, span)
    if chords and (found["boxed"] is None or typed_symbol(found["boxed"]) is None):
        return chords._replace(kind=Kind.HEADING, name=name, times=max(times, chords.times))
    return None


def columns(line: str) -> list[int]:
    """The column of every character."""
    found, column = [], 0
    for character in line:
        found.append(column)
        column += TAB - column % TAB if character == "\t" else 1
    return [*found, column]


def _expanded(line: str) -> str:
    return line.expandtabs(TAB).rstrip()


def _chord_line(line: str, start: int, span: Span) -> Row | None:
    """A line that holds chords only, with bar lines, beats and a count of how often it is played."""
    counted = _REPEATED.search(line)
    times = (
        int(counted["after"] or counted["before"])
        if counted and line[: counted.start()].strip()
        else 1
    )
    end = counted.start() if counted and times > 1 else len(line)
    places = columns(line)
    found: list[Over] = []
    odd: list[str] = []
    bar, barred = 0, False
    for token in re.finditer(r"\|+:?|:\|+|[^\s|]+", line[:end]):
        word = token[0]
        if "|" in word:
            barred, bar = True, bar + bool(found)
            continue
        if word in FILLERS:
            if word == "/" and found:
                found[-1] = found[-1]._replace(beats=found[-1].beats + 1)
            continue
        pieces = [p for p in re.split(r"(?<=[^/])[-–>,]+(?=[A-H])", word) if p]
        symbols = [typed_symbol(p.strip("*.,")) for p in pieces]
        if any(s is None for s in symbols):
            odd.append(word)
            continue
        at = token.start()
        for piece, symbol in zip(pieces, symbols, strict=True):
            at = line.index(piece, at)
            found.append(
                Over(places[at], symbol or "", Span(start + at, start + at + len(piece)), bar)
            )
            at += len(piece)
    if not found or (odd and (len(odd) > 1 or len(found) < 3)):
        return None
    return Row(Kind.CHORDS, span, chords=tuple(found), times=times, barred=barred, odd=tuple(odd))


def _inline(line: str, start: int, span: Span) -> Row | None:
    """Chords in the words, `[C]word` or `(C)word`."""
    for pattern in (_INLINE, _BRACKETED):
        chords, words, last = [], "", 0
        for found in pattern.finditer(line):
            symbol = typed_symbol(found[1])
            if symbol is None:
                continue
            words += line[last : found.start()]
            chords.append(
                Over(
                    len(words.expandtabs(TAB)),
                    symbol,
                    Span(start + found.start(), start + found.end()),
                )
            )
            last = found.end()
        if chords:
            bars = words + line[last:]
            return Row(Kind.BOTH, span, _expanded(bars), chords=tuple(chords))
    return None
