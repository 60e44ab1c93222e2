"""Styles for people: the list, one style as grids that a player can read, and rows for programs."""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate
from math import lcm

from backing.style.cells import Beat, take_apart
from backing.style.find import styles
from backing.style.model import Part, Pattern, Style, Where
from backing.timebase import Meter

_GRIDS = {Fraction(1, 2): "eighths", Fraction(1, 4): "sixteenths"}


def rows() -> list[dict[str, object]]:
    """Every style as a row for `styles --json`, in the order of the list."""
    return [row(style) for style in styles()]


def row(style: Style) -> dict[str, object]:
    """What a program may want to know about a style; `players` maps each role to its instrument."""
    return {
        "name": style.name,
        "about": style.about,
        "meters": [meter.full_name for meter in style.meters],
        "tempo": {"low": style.low_bpm, "usual": style.usual_bpm, "high": style.high_bpm},
        "feel": style.feel.name,
        "players": {part.role: part.instrument.name for part in style.parts},
    }


def listing() -> str:
    """All styles, a line each, under headings of meter and subdivision."""
    known = styles()
    width = max((len(s.name) for s in known), default=0)
    lines: list[str] = []
    heading = ""
    for style in known:
        here = f"{style.meters[0].full_name}, {_subdivision(style)}"
        if here != heading:
            lines += [*([""] if lines else []), here]
            heading = here
        lines.append(f"  {style.name:{width}}  {_tempo(style):12}  {style.about}".rstrip())
    return "\n".join(lines)


def _subdivision(style: Style) -> str:
    if style.meters[0].compound:
        return "dotted beats"
    grid = _GRIDS.get(style.grid_q, "triplets")
    if style.feel.straight:
        return grid
    return f"{'swung' if style.feel.ratio is None else 'shuffled'} {grid}"


def _tempo(style: Style) -> str:
    return f"{style.low_bpm:g}-{style.high_bpm:g}"


def page(style: Style) -> str:
    """One style: what it is, its meters and tempos, and every player's patterns as grids."""
    beat = {Fraction(1): "quarter", Fraction(3, 2): "dotted quarter", Fraction(2): "half"}
    meter = style.meters[0]
    counted = Fraction(1) if meter.counted_in_eighths else meter.beat_q
    lines = [
        style.name,
        f"  {style.about}",
        f"  meters  {', '.join(m.full_name for m in style.meters)}; any other is fitted to these",
        f"  tempo   {beat.get(counted, 'beat')} = {style.low_bpm:g} to {style.high_bpm:g}, usually {style.usual_bpm:g}",
        f"  feel    {style.feel.name}, thinking in {_subdivision(style).split()[-1]}",
    ]
    if style.clave:
        lines.append(f"  clave   {style.clave} unless the chart says otherwise")
    lines.append(f"  source  {style.source}")
    for part in style.parts:
        lines += ["", *_part(part)]
    return "\n".join(lines)


def _part(part: Part) -> list[str]:
    ways = list(dict.fromkeys(part.plays[level] for level in ("p", "mf", "f")))
    if len(ways) == 1:
        plays = ways[0]
    else:
        plays = ", ".join(f"{level} {part.plays[level]}" for level in ("p", "mf", "f"))
    pan = "centre" if not part.pan else f"{abs(part.pan):.0%} {'right' if part.pan > 0 else 'left'}"
    head = f"{part.role}: {part.instrument.name}, {plays}; {part.level_db:+g} dB, {pan}"
    lines = [head]
    for pattern in part.patterns:
        lines += grid(pattern)
    return lines


def grid(pattern: Pattern) -> list[str]:
    """A pattern as a grid: a title, the count, then a row for each line."""
    place = "" if pattern.where is Where.TIME else f", {pattern.where.value}"
    title = f"  {pattern.name}  ({pattern.meter.full_name}, {pattern.level}{place}, weight {pattern.weight:g})"
    cut = {name: take_apart(line) for name, line in pattern.lines.items()}
    label = max(map(len, cut))
    lines = [title, f"    {'':{label}}  {_rule(cut, pattern.meter)}".rstrip()]
    for name, bars in cut.items():
        text = " | ".join(
            " ".join(_cells(beat, *_shape(cut, b, i)) for i, beat in enumerate(bar))
            for b, bar in enumerate(bars)
        )
        lines.append(f"    {name:{label}}  {text}")
    return lines


def _shape(cut: dict[str, list[list[Beat]]], bar: int, beat: int) -> tuple[int, int]:
    """Cells in a beat of a bar, over all lines, and the width of a cell."""
    segments = [s for bars in cut.values() for s in bars[bar][beat][1]]
    marks = [
        len(mark) for bars in cut.values() for line in bars for _, row in line for _, _, mark in row
    ]
    return lcm(1, *(start.denominator for start, _, _ in segments)), max(marks)


def _cells(beat: Beat, count: int, width: int) -> str:
    cells = ["." for _ in range(count)]
    for start, end, mark in beat[1]:
        first, last = int(start * count), int(end * count)
        held = "." if mark == "." else "-"
        cells[first:last] = ["-" if mark == "=" else mark] + [held] * (last - first - 1)
    return " ".join(f"{cell:{width}}" for cell in cells)


def _rule(cut: dict[str, list[list[Beat]]], meter: Meter) -> str:
    """The count over a grid: beats by number, what lies between as players say it."""
    between = {2: ["&"], 4: ["e", "&", "a"]}
    first = next(iter(cut.values()))
    starts = list(accumulate(meter.pulses_q, initial=Fraction(0)))
    text = []
    for b, bar in enumerate(first):
        row = []
        for i in range(len(bar)):
            count, width = _shape(cut, b, i)
            number = (
                i + 1
                if not meter.compound and not meter.counted_in_eighths
                else (int(starts[i] / meter.unit_q) + 1)
            )
            inner = (
                between.get(count, [""] * (count - 1)) if number == i + 1 else [""] * (count - 1)
            )
            row += [f"{word:{width}}" for word in (str(number), *inner)]
        text.append(" ".join(row))
    return " | ".join(text)
