"""A line of a pattern as text: pulses between blanks, bars between `|`, cells inside a pulse.

    x  x.  x..x  x.x   one quarter; two eighths, the second a rest; sixteenths; triplets

Behind `->` stands one stroke that the line leads to, on the first beat of whatever comes after the pattern.

Conventions: a pulse of n cells divides that pulse into n equal notes. `.` rests, `=` holds what sounds, over borders of
pulses and bars too; `=` at the very start holds the last note of the pattern, which is played round and round.
A *segment* is (start, end, mark) in parts of its pulse, with mark `.` or `=` for rests and holds.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate

from backing.ground.timebase import Meter
from backing.styles.marks import DEGREE, PARALLEL, SWELLS
from backing.styles.model import Cell, Pulse

Segment = tuple[Fraction, Fraction, str]
Beat = tuple[Fraction, tuple[Segment, ...]]  # length in quarters and segments that fill it
Line = tuple[tuple[Pulse, ...], ...]  # bar -> pulse

MOST_CELLS = 12

_BY_DEGREE = "degrees such as 1 b3 5 8, -5 below, 3' above, n1 of the next chord"
_TOGETHER = rf"{DEGREE}(?:\+{DEGREE})*"

# Kind of line: the marks that it knows, as a pattern and in words.
MARKS: dict[str, tuple[re.Pattern[str], str]] = {
    "drum": (re.compile(r"[.=gxXfdrzsc]"), ". = g x X f d r z s c"),
    "chord": (
        re.compile(rf"[.=]|[gxX]{PARALLEL}|[1-6](?:\+[1-6])*"),
        ". = g x X 1-6 1+3, and x^ xv in parallel",
    ),
    "held chord": (
        re.compile(rf"[.=]|(?:[gxX]{PARALLEL}|[1-6](?:\+[1-6])*)[<>]?"),
        ". = g x X 1-6 1+3, x^ xv in parallel, x< x> for a swell",
    ),
    "strings": (
        re.compile(rf"[.=mrk]|[gxXduDU]{PARALLEL}|[1-6](?:\+[1-6])*"),
        ". = x X d u D U m r k 1-6 5+4, and d^ dv in parallel",
    ),
    "bass": (re.compile(rf"[.=]|(?:{DEGREE}|[ax])!?"), f". = a x and {_BY_DEGREE}"),
    "thumb": (re.compile(rf"[.=gxX]|(?:{DEGREE}|a)!?"), f". = g x X a and {_BY_DEGREE}"),
    "left hand": (
        re.compile(rf"[.=gxX]|(?:{_TOGETHER}|a)!?"),
        f". = g x X a and {_BY_DEGREE}, 1+5 together",
    ),
    "line": (re.compile(rf"[.=]|(?:{_TOGETHER}|a)!?"), f". = a and {_BY_DEGREE}, 1+5 together"),
    "held line": (
        re.compile(rf"[.=]|(?:{_TOGETHER}|a)!?[<>]?"),
        f". = a and {_BY_DEGREE}, 1+5 together, 5< 5> for a swell",
    ),
    "run": (
        re.compile(rf"[.=]|(?:[hp/]?{_TOGETHER}|a|x)!?"),
        f". = a x and {_BY_DEGREE}, 1+5 together, h3 p1 /5 slurred",
    ),
}


class CellError(ValueError):
    """A line that cannot be read: `at` is the offset in its text, `hint` what to write."""

    def __init__(self, message: str, hint: str, at: int, length: int = 1) -> None:
        super().__init__(message)
        self.hint = hint
        self.at = at
        self.length = length


def read(text: str, meter: Meter, kind: str) -> Line:
    """A line of text as bars of pulses. Raises CellError.

    >>> [len(p.cells) for p in read("x xx x xx", Meter.of(4, 4), "drum")[0]]
    [1, 2, 1, 2]
    >>> read("1= = 5. .", Meter.of(4, 4), "bass")[0][0].cells[0].length_q
    Fraction(2, 1)
    """
    bars: list[list[Beat]] = []
    at = 0
    for bar_text in text.split("|"):
        pulses = [(m.group(), at + m.start()) for m in re.finditer(r"\S+", bar_text)]
        if len(pulses) != len(meter.pulses_q):
            here = at + len(bar_text) - len(bar_text.lstrip())
            raise CellError(
                f"bar {len(bars) + 1} has {len(pulses)} pulses, {meter.full_name} has {len(meter.pulses_q)}",
                "write one pulse for each beat between blanks, and '|' between bars",
                here if pulses else max(0, at - 1),
                max(1, len(bar_text.strip())),
            )
        bars.append(
            [
                (length, _segments(pulse, where, kind))
                for length, (pulse, where) in zip(meter.pulses_q, pulses, strict=True)
            ]
        )
        at += len(bar_text) + 1
    beats = [beat for bar in bars for beat in bar]
    loose = _loose_hold(beats)
    if loose is not None:
        starts = [m.start() for m in re.finditer(r"[^\s|]+", text)]
        raise CellError(
            "'=' holds a note, but there is a rest before it",
            "write a stroke first, or '.' for a rest",
            starts[loose] + text[starts[loose] :].index("="),
        )
    return join(bars)


def led(text: str, kind: str) -> tuple[str, str]:
    """A line without the stroke that it leads to, and the mark of that stroke, "" where it leads to none.

    >>> led("x x x xx -> X", "drum")
    ('x x x xx ', 'X')
    """
    before, arrow, after = text.partition("->")
    mark = after.strip()
    if arrow and (mark in ("", ".", "=") or _cut(mark, kind) != (mark,)):
        raise CellError(
            "'->' leads to one stroke, on the first beat of what follows",
            f"write it behind the arrow, with one of {MARKS[kind][1]}",
            len(before),
            len(arrow + after.rstrip()),
        )
    return before, mark


@lru_cache(maxsize=4096)
def _cut(pulse: str, kind: str) -> tuple[str, ...] | int:
    """The marks of a pulse, or the offset of the first character that is none."""
    marks, at = [], 0
    pattern = MARKS[kind][0]
    while at < len(pulse):
        found = pattern.match(pulse, at)
        if found is None:
            return at
        marks.append(found.group())
        at = found.end()
    return tuple(marks)


@lru_cache(maxsize=64)
def _borders(count: int) -> tuple[Fraction, ...]:
    return tuple(Fraction(i, count) for i in range(count + 1))


def _segments(pulse: str, where: int, kind: str) -> tuple[Segment, ...]:
    marks = _cut(pulse, kind)
    if isinstance(marks, int):
        sign, hint = pulse[marks], f"use {MARKS[kind][1]}"
        if sign in SWELLS and marks and kind in ("chord", "line"):
            hint = (
                "this instrument's notes die away by themselves, so they cannot swell: leave it out"
            )
        raise CellError(f"'{sign}' is no mark of this line", hint, where + marks)
    if len(marks) > MOST_CELLS:
        raise CellError(
            f"a pulse has {len(marks)} cells; {MOST_CELLS} are the most",
            "put blanks between pulses",
            where,
            len(pulse),
        )
    borders = _borders(len(marks))
    return tuple((borders[i], borders[i + 1], mark) for i, mark in enumerate(marks))


def _loose_hold(beats: Sequence[Beat]) -> int | None:
    """The index of the first beat with a hold that has nothing to hold, None when all is well."""
    last = beats[-1][1][-1][2]
    if last == "=":
        marks = [m for _, segments in beats for _, _, m in segments if m != "="]
        last = marks[-1] if marks else "."
    before = last
    for index, (_, segments) in enumerate(beats):
        for _, _, mark in segments:
            if mark == "=" and before == ".":
                return index
            if mark != "=":
                before = mark
    return None


def join(bars: Sequence[Sequence[Beat]]) -> Line:
    """Bars of beats as pulses whose cells have their full length; a hold with nothing before it is a rest."""
    strokes: list[tuple[int, Fraction, str]] = []  # number of the pulse, at_q, mark
    held: list[Fraction] = []  # length of each stroke in quarters
    lead = Fraction(0)  # holds at the very start
    leading, sounding, number = True, False, 0
    for bar in bars:
        for length, segments in bar:
            quarter = length == 1  # most are, and multiplying fractions is slow
            for start, end, mark in segments:
                if mark == ".":
                    leading, sounding = False, False
                    continue
                span = end - start if quarter else (end - start) * length
                if mark != "=":
                    leading, sounding = False, True
                    strokes.append((number, start if quarter else start * length, mark))
                    held.append(span)
                elif sounding:
                    held[-1] += span
                elif leading:
                    lead += span
            number += 1
    if lead and sounding:
        held[-1] += lead
    cells: list[list[Cell]] = [[] for _ in range(number)]
    for (pulse, at_q, mark), length_q in zip(strokes, held, strict=True):
        cells[pulse].append(Cell(at_q, length_q, mark))
    made = iter(cells)
    return tuple(tuple(Pulse(length, tuple(next(made))) for length, _ in bar) for bar in bars)


def take_apart(line: Line, beats_q: Sequence[Fraction] = ()) -> list[list[Beat]]:
    """The beats of a line, for `join`; each bar is cut at its pulses, or into beats of the lengths given."""
    cuts = [list(beats_q) or [pulse.length_q for pulse in bar] for bar in line]
    lengths = [length for bar in cuts for length in bar]
    starts = list(accumulate(lengths, initial=Fraction(0)))
    total = starts[-1]
    marked: list[list[Segment]] = [[] for _ in lengths]

    def fill(start: Fraction, end: Fraction, mark: str) -> None:
        for i, length in enumerate(lengths):
            a, b = max(start, starts[i]), min(end, starts[i + 1])
            if a < b:
                here = mark if a == start else "="
                marked[i].append(((a - starts[i]) / length, (b - starts[i]) / length, here))

    at = Fraction(0)
    for bar in line:
        for pulse in bar:
            for cell in pulse.cells:
                start = at + cell.at_q
                end = start + cell.length_q
                fill(start, min(end, total), cell.mark)
                if end > total:  # round to the start of the pattern
                    fill(Fraction(0), (end - total) % total, "=")
            at += pulse.length_q
    made = iter(
        (length, _with_rests(sorted(segments)))
        for length, segments in zip(lengths, marked, strict=True)
    )
    return [[next(made) for _ in bar] for bar in cuts]


def _with_rests(segments: list[Segment]) -> tuple[Segment, ...]:
    filled: list[Segment] = []
    at = Fraction(0)
    for start, end, mark in segments:
        if start > at:
            filled.append((at, start, "."))
        filled.append((start, end, mark))
        at = end
    if at < 1:
        filled.append((at, Fraction(1), "."))
    return tuple(filled)


def write(line: Line) -> str:
    """The line as text, the shortest that `read` reads back."""
    return " | ".join(" ".join(_written(beat) for beat in bar) for bar in take_apart(line))


def _written(beat: Beat) -> str:
    _, segments = beat
    for count in range(1, MOST_CELLS + 1):
        if all((start * count).denominator == 1 for start, _, _ in segments):
            break
    text = []
    for start, end, mark in segments:
        width = int((end - start) * count)
        text.append(mark + ("." if mark == "." else "=") * (width - 1))
    return "".join(text)
