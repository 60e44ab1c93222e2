"""What a hint says to type, as a change of the text that one press makes.

A hint is written for people; what it says to type stands in it between double blanks, or at its end. Each way to type
that is tried on the text: in place of what is marked, of the value, of the line, or above the first heading. A way is
offered only where the mistake is gone then and no new one has come.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple

from backing.chart.alone import CURLY
from backing.chart.curly import without
from backing.chart.steering import BARE
from backing.ground.source import Diagnostic, Severity

MOST_TRIED, MOST_OFFERED = 14, 3
_EDGES, _CLOSING = ' \t|"', (")", '"')
_SETTING = re.compile(r"[a-z][a-z -]*:")
_BETWEEN = re.compile(r"(?:^|\s)\s(\S(?:.*?\S)?)(?=\s\s|$|\s[,;]\s)")
_ASKED = re.compile(
    r"(?:did you mean|type a plain|type|write|such as|for example|put it against the chord, such as)\s+(\S.*?)(?:\?|$|;|, where|\s\()"
)
_DELETE = re.compile(
    r"^(?:delete it|take it away)|\bleave it out$|take it away$|leave one of them out$"
)
_BARS = re.compile(r"^[^\n]*?(?P<end>\s*(?P<last>:?\|[|\]]?))[ \t]*$", re.M)  # a line of music
# what comes to light only when a mistake is mended: a direction without its quotes leads nowhere yet
_UNVEILED = {code: {"E331", "W304"} for code in BARE}
Said = Callable[[str], Sequence[Diagnostic]]  # what is wrong with a text


class Fix(NamedTuple):
    """A change: characters `start` to `end` become `text`; `label` says what is typed."""

    label: str
    start: int
    end: int
    text: str

    def applied(self, whole: str) -> str:
        return whole[: self.start] + self.text + whole[self.end :]


def fixes(diagnostic: Diagnostic, said: Said, before: Sequence[Diagnostic]) -> tuple[Fix, ...]:
    """The changes that mend one mistake of a text in which `before` was said."""
    whole = diagnostic.source.text
    found: list[Fix] = []
    tried: set[str] = set()
    for fix in _ways(diagnostic):
        changed = fix.applied(whole)
        if changed in tried or changed == whole:
            continue
        if len(tried) == MOST_TRIED or len(found) == MOST_OFFERED:
            break
        tried.add(changed)
        if _mends(diagnostic, before, said(changed)):
            found.append(fix)
    return tuple(found)


def _mends(one: Diagnostic, before: Sequence[Diagnostic], after: Sequence[Diagnostic]) -> bool:
    """Whether there is one less of this code, no more errors, and nothing new but what it hid."""
    codes, left = [d.code for d in before], [d.code for d in after]
    wrong = sum(d.severity is Severity.ERROR for d in after)
    was = sum(d.severity is Severity.ERROR for d in before)
    known = {*codes, *_UNVEILED.get(one.code, ())}
    return left.count(one.code) < codes.count(one.code) and wrong <= was and set(left) <= known


def _ways(one: Diagnostic) -> Iterator[Fix]:
    """What could be meant, the most likely first."""
    place = _Place.of(one)
    if "in its bar:" in one.hint:
        yield from _into_its_bar(place, one)
        return
    if CURLY in one.hint:
        yield Fix(f"take the {CURLY} away", 0, len(one.source.text), without(one.source.text))
    for typed in _typed(one.hint):
        yield from _typing(place, typed)
    if _DELETE.search(one.hint):
        yield Fix("take it away", place.start, place.end, "")
        yield Fix("take it away", place.start, place.end + 1, "")
    if "move the line" in one.hint:
        yield _moved(place, one.source.text)
    if one.hint.startswith("keep one of"):
        yield Fix("take this line away", place.line_start, place.line_end + 1, "")
    if "# and a blank" in one.hint:
        yield Fix("type # before it", place.line_start, place.line_start, "# ")


class _Place(NamedTuple):
    """Characters of what is marked, of the word that it lies in, and of its line without its blanks at the left."""

    start: int
    end: int
    word_start: int
    word_end: int
    line_start: int
    line_end: int
    line: str

    @classmethod
    def of(cls, one: Diagnostic) -> _Place:
        text, (start, end) = one.source.text, one.span
        line_start = text.rfind("\n", 0, start) + 1
        line_end = text.find("\n", start)
        line_end = len(text) if line_end < 0 else line_end
        end = min(max(end, start), line_end)
        word_start, word_end = start, end
        while word_start > line_start and text[word_start - 1] not in _EDGES:
            word_start -= 1
        while word_end < line_end and text[word_end] not in _EDGES:
            word_end += 1
        line = text[line_start:line_end]
        return cls(
            start,
            end,
            word_start,
            word_end,
            line_start + len(line) - len(line.lstrip()),
            line_end,
            line.strip(),
        )


def _typing(place: _Place, typed: str) -> Iterator[Fix]:
    """Where something that is to be typed could go."""
    label, (start, end, word_start, word_end, line_start, line_end, line) = f"type  {typed}", place
    setting = _SETTING.match(typed)
    if setting and setting.end() == len(typed):
        yield Fix(label, start, end, typed)
        yield Fix(label, start, end + 1, typed)  # its colon stands there
    elif setting:
        if line.casefold().startswith(setting[0]):
            yield Fix(label, line_start, line_end, typed)
        yield Fix(label, line_start, line_end, typed)
        yield Fix(f"{label}  at the top", 0, 0, f"{typed}\n")
    elif typed.startswith(("[", "#", "| ", "|:", ":|")) and typed != "|":
        yield Fix(label, line_start, line_end, typed)
        yield Fix(label, start, end, typed)
        yield Fix(label, start, end, typed.strip("|").strip())
    else:
        yield Fix(label, start, end, typed)
        yield Fix(label, word_start, word_end, typed)
        yield Fix(label, end, end, typed if typed in _CLOSING else f" {typed}")
        yield Fix(label, start, start, f"{typed} ")


def _moved(place: _Place, text: str) -> Fix:
    """The line taken to the top of the chart."""
    above = text[: place.line_start].rpartition("\n")[0]
    rest = text[place.line_end :].removeprefix("\n")
    return Fix(
        "move the line to the top",
        0,
        len(text),
        f"{place.line}\n{above}\n{rest}" if above else f"{place.line}\n{rest}",
    )


def _into_its_bar(place: _Place, one: Diagnostic) -> Iterator[Fix]:
    """A direction on a line of its own, or behind the last bar line, taken into the last bar of the music before it."""
    before = one.source.text[: place.start]
    name = one.hint.split('"')[-2]
    for line in reversed(list(_BARS.finditer(before))):
        if _SETTING.match(line[0].lstrip()) is None:  # not a line under the music
            left = before[line.end() :].rstrip(" \t").removesuffix("\n")
            typed = f' "{name}" {line["last"]}{left}'
            yield Fix(f'type  "{name}"  in the bar before', line.start("end"), place.end, typed)
            return


def _typed(hint: str) -> Iterable[str]:
    """What a hint says to type, in its order, each once."""
    found = [part.strip() for part in _BETWEEN.findall(f" {hint}")]
    found = [part for part in found if not part.endswith((" type", " write"))]  # prose before it
    for asked in _ASKED.findall(hint):
        found += [asked.strip("' ")]
        found += [part.strip("' ").partition(" for ")[0] for part in re.split(r", | or ", asked)]
    return dict.fromkeys(part for part in found if part)
