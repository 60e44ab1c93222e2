"""From characters to lines, and from a line of music to bars of tokens.

Conventions: offsets count characters of the whole text. `plain` is the text with quotes and full-width signs made
ordinary, character for character, so one offset serves for both; titles, directions and words are cut from the text
as typed.
"""

from __future__ import annotations

import re
from enum import Enum
from typing import NamedTuple

from backing.chart.ast import LAST
from backing.chart.codes import Faults, quoted

# typed by word processors and keyboards of other scripts -> what a chart means by it
QUOTES = {ord(c): '"' for c in "“”„‟«»＂"}
FULL_WIDTH = str.maketrans("｜：（）／＜！＝％［］＃，¦│∣┃║‖", "|:()/<!=%[]#,||||||")
_INVISIBLE = "[\u00ad\u200b-\u200f\u202a-\u202e\u2060\u2066-\u2069\ufeff]"
CONTROL = "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufffe\uffff]"
_WIDE = "[｜：（）／＜！＝％［］＃，¦│∣┃║‖]"
_COMMENT = re.compile(r'"[^"\n]*"|((?:^|(?<=\s))#(?=\s|$))')


class Kind(Enum):
    """What a line of the text is."""

    HEADING = "heading"
    SETTING = "setting"
    MUSIC = "music"
    UNDER = "under"
    OTHER = "other"


class Line(NamedTuple):
    """One line without its comment: characters `start` to `end`; `name` and `value` of a setting or a line under music."""

    kind: Kind
    start: int
    end: int
    name: str = ""
    value: int = 0  # where the value begins


UNDER = ("melody", "hits", "kicks", "words")
_NAME = re.compile(r"[^\W\d_][^|:\[\]\"()]{0,63}")


def plain(text: str) -> str:
    """The text with quotes and full-width signs made ordinary, character for character."""
    return text if text.isascii() else text.translate(QUOTES).translate(FULL_WIDTH)


def invisible(text: str, start: int = 0, end: int | None = None) -> re.Match[str] | None:
    """The first character between two places that nobody sees."""
    if text.isascii():  # as most are; the characters take long to be made a pattern
        return None
    return re.compile(_INVISIBLE).search(text, start, len(text) if end is None else end)


def wide(text: str, found: list[Line], faults: Faults) -> None:
    """Warn of full-width signs where they mean something, once a line."""
    if text.isascii():
        return
    signs = re.compile(_WIDE)
    for line in found:
        free = line.name in ("title", "by", "notes", "style", "words")
        sign = signs.search(text, line.start, line.value if free else line.end)
        if sign:
            read = sign[0].translate(FULL_WIDTH)
            faults.add("W101", *sign.span(), found=quoted(sign[0]), read=quoted(read))


def lines(text: str) -> tuple[list[Line], list[tuple[int, int, bool]]]:
    """The lines of a plain text that hold something, and the comments as (start, end, alone on its line)."""
    found: list[Line] = []
    comments: list[tuple[int, int, bool]] = []
    start = 0
    for raw in text.split("\n"):
        first = start + len(raw) - len(raw.lstrip())
        end = start + len(raw.rstrip())
        start += len(raw) + 1
        if first >= end:
            continue
        if text[first] == "#":
            comments.append((first, end, True))
            continue
        if "#" in raw:
            for match in _COMMENT.finditer(text[first:end]):
                if match[1]:
                    comments.append((first + match.start(), end, False))
                    end = first + len(text[first : first + match.start()].rstrip())
                    break
        found.append(_line(text, first, end))
    return found, comments


def _line(text: str, start: int, end: int) -> Line:
    first = text[start]
    if first == "[":
        return Line(Kind.HEADING, start, end)
    if first == "|" or text.startswith(":|", start):
        return Line(Kind.MUSIC, start, end)
    colon = text.find(":", start, min(start + 64, end))
    if colon > start and text[colon + 1 : colon + 2] != "|" and _NAME.fullmatch(text, start, colon):
        name = " ".join(text[start:colon].split()).casefold()
        value = colon + 1
        while value < end and text[value].isspace():
            value += 1
        return Line(Kind.UNDER if name in UNDER else Kind.SETTING, start, end, name, value)
    return Line(Kind.MUSIC if "|" in text[start:end] else Kind.OTHER, start, end)


class Token(NamedTuple):
    """A piece of a bar: "text", "meter", "(", ")", "<", "/", "%" or "word", with its characters."""

    kind: str
    start: int
    end: int
    text: str


class BarMark(NamedTuple):
    """What stands between two bars: `|`, `:|: x3`, `|2.` …"""

    start: int
    end: int
    text: str = "|"
    times: int = 0  # of a repeat that ends here, 0 where none does
    counted: bool = False  # whether `x3` is written
    repeat_start: bool = False
    double: bool = False
    final: bool = False
    ending: tuple[int, ...] = ()


class Cell(NamedTuple):
    """One bar between two marks."""

    left: BarMark
    tokens: list[Token]
    right: BarMark
    start: int
    end: int


_TOKEN = re.compile(
    r"""\s*(?:
      (?P<bar>:\|\|:|:\|:|:\|\]|:\|\||:\||\|\|:|\|:|\|\]|\|\||\|)
    | (?P<text>"[^"\n]*")
    | (?P<quote>")
    | (?P<open>\()
    | (?P<close>\))
    | (?P<push><)
    | (?P<meter>[0-9]{1,3}\s*/\s*[0-9]{1,3}(?![0-9])(?:\s*\([0-9+\s]{1,40}\))?)
    | (?P<word>(?:[^\s|"():]|:(?!\|))+)
    | (?P<colon>:)
    )""",
    re.X,
)
_TIMES = re.compile(r"\s*[xX×]\s?([0-9]{1,9})(?![^\s|:#])")
_ENDING = re.compile(r"\s*(?:([0-9]{1,4})(?:\s*([-–,])\s*([0-9]{1,4}))?|(last))\.", re.I)
_DOTLESS = re.compile(r"\s?\[?([0-9]{1,2})(?:[.)\]:]+|(?=\s))(?!\s*[/|]\s*[0-9]?|\s+[0-9])")
_COUNTED = re.compile(r"\s*[0-9]{1,2}\s?(?:[xX×]|times)", re.I)  # `:| 2x`, which is no ending
_GRIP = re.compile(r'[^\]|":()]*\][!=]*')  # the rest of a grip with blanks
MOST_TIMES = 99


# of a bar of numbers: a meter before chords, and a word, in which a slash leads to the bass
_METER_FIRST = re.compile(r"(?:[2-9]|1[0-9])/(?:2|4|8|16)(?:\s*\([0-9+]{1,40}\))?(?=\s+[^\s|])")
_FIGURE = re.compile(r"(?:[^\s|\"():]|:(?!\|))+")


def bar_mark(
    text: str, found: re.Match[str], end: int, faults: Faults, numbers: bool = False
) -> BarMark:
    """The bar line that was found, with the count of a repeat and the number of an ending that belong to it."""
    sign = found["bar"]
    start, stop = found.span("bar")
    closes, opens = sign[0] == ":", sign[-1] == ":"
    times, counted = 2 if closes else 0, False
    ending: tuple[int, ...] = ()
    after = text[stop : stop + 1]
    if closes and (after in "xX×" or after.isspace()):
        count = _TIMES.match(text, stop, end)
        if count:
            times, counted, stop = int(count[1]), True, count.end()
            if not 2 <= times <= MOST_TIMES:
                faults.add("E322", *count.span(), found=quoted(count[0].strip()), most=MOST_TIMES)
                times = 2
    numbered = _ENDING.match(text, stop, end) if not opens and after not in "]" else None
    if numbered:
        ending = _ending_numbers(numbered, faults)
        stop = numbered.end()
    elif not numbers and (after.isdigit() or after.isspace() or after == "["):
        dotless = _DOTLESS.match(text, stop, end)
        if dotless and not opens and not (closes and _COUNTED.match(text, stop, end)):
            faults.add("E124", dotless.start(1), dotless.end(1), number=dotless[1])
            stop, ending = dotless.end(), (max(1, int(dotless[1])),)
    return BarMark(
        start, stop, sign, times, counted, opens, "||" in sign and not opens, "]" in sign, ending
    )


def _ending_numbers(found: re.Match[str], faults: Faults) -> tuple[int, ...]:
    if found[4]:
        return (LAST,)
    first, last = int(found[1]), int(found[3] or found[1])
    if not 1 <= first <= last <= MOST_TIMES or found[2] == ",":
        if found[2] == "," and last == first + 1:
            return (first, last)
        faults.add("E125", *found.span(), found=quoted(found[0].strip()))
        first, last = sorted((min(max(first, 1), MOST_TIMES), min(max(last, 1), MOST_TIMES)))
    return tuple(range(first, last + 1))


def _word_end(text: str, at: int, end: int) -> int:
    """Where a chord symbol ends that goes on with a bracket at `at`; inner brackets belong to it."""
    depth = 0
    while at < end:
        c = text[at]
        if c == "(":
            depth += 1
        elif c == ")":
            if depth == 0:
                break
            depth -= 1
        elif c.isspace() or c in '|"':
            break
        at += 1
    return at


def cells(
    text: str, start: int, end: int, faults: Faults, numbers: bool = False
) -> tuple[list[Cell], bool, bool]:
    """The bars of characters `start` to `end`, and whether the first and the last bar line are there.

    With `numbers` chords are figures: `1/3` is one of them, and a meter stands before others.
    """
    result: list[Cell] = []
    tokens: list[Token] = []
    left: BarMark | None = None
    began = True
    at = start
    match = _TOKEN.match
    while at < end:
        found = match(text, at, end)
        if found is None:  # only blanks are left
            break
        kind = found.lastgroup or ""
        at = found.end()
        if kind == "bar":
            mark = bar_mark(text, found, end, faults, numbers)
            at = mark.end
            if left is None:
                if tokens:
                    began = False
                    left = BarMark(start, start)
                else:
                    left = mark
                    continue
            if not tokens and _joins(left, mark):
                left = _joined(left, mark)
                if result:
                    result[-1] = result[-1]._replace(right=left)
                continue
            first, last = (tokens[0].start, tokens[-1].end) if tokens else (left.end, mark.start)
            result.append(Cell(left, tokens, mark, first, last))
            left, tokens = mark, []
            continue
        token = _token(text, found, end, faults, numbers, first=not tokens)
        at = token.end
        tokens.append(token)
    ended = not tokens and left is not None
    if tokens:
        left = left or BarMark(start, start)
        result.append(Cell(left, tokens, BarMark(end, end), tokens[0].start, tokens[-1].end))
    return result, began and left is not None, ended


def _token(
    text: str, found: re.Match[str], end: int, faults: Faults, numbers: bool, *, first: bool
) -> Token:
    """What stands between bar lines, from what was found of it; `first` in its bar."""
    kind = found.lastgroup or ""
    start, at = found.start(kind), found.end()
    if numbers and kind == "meter":
        meter = _METER_FIRST.match(text, start, end) if first else None
        figure = meter or _FIGURE.match(text, start, end)
        kind, at = "meter" if meter else "word", figure.end() if figure else at
    if kind == "quote":
        at = _bar_end(text, start, end)
        faults.add("E120", start, start + 1)
        return Token("broken", start, at, text[start:at].rstrip())
    if kind != "word":
        word = text[start:at]
        known = kind in ("meter", "text", "broken")
        return Token(kind if known else "word" if kind == "colon" else word, start, at, word)
    if text[at : at + 1] == "(":
        at = _word_end(text, at, end)
    if "[" in text[start + 1 : at]:
        grip = _GRIP.match(text, at, end)
        at = grip.end() if grip and "]" not in text[start:at] else at
    word = text[start:at]
    return Token(word[0] if word in ("/", "%", "%2") else "word", start, at, word)


def _bar_end(text: str, at: int, end: int) -> int:
    found = re.compile(r":?\|").search(text, at, end)
    return found.start() if found else end


def _joins(left: BarMark, right: BarMark) -> bool:
    """`:| |:`, `| |1.` and `:| x3 |` are one bar line typed in two pieces, not an empty bar."""
    if right.times or right.double or right.final:
        return False
    return right.repeat_start or bool(right.ending) or left.counted


def _joined(left: BarMark, right: BarMark) -> BarMark:
    return BarMark(
        left.start, right.end, left.text, left.times, left.counted,
        left.repeat_start or right.repeat_start, left.double, left.final, right.ending or left.ending,
    )  # fmt: skip
