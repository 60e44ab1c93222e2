"""What a sheet says and no face here can draw: a warning for each line of the chart with it, and its place."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from backing.chart.ast import Chart
from backing.chart.codes import Faults
from backing.ground.source import Diagnostic
from backing.output.asked import Paper
from backing.output.sheet.faces import CJK_EXTRA, cjk_font, missing
from backing.output.sheet.marks import Text
from backing.output.sheet.write import layout

CODE = "W901"
_SHOWN = 24  # characters of a run


def unseen(
    chart: Chart,
    paper: Paper,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
) -> tuple[Diagnostic, ...]:
    """A warning for every line of the chart with characters that are on its sheet and cannot be drawn there.

    The sheet is the one that `write` makes of the same arguments. What stands in no line (it is in the name of a style
    file) is told at the chart's beginning.
    """
    if not missing(chart.source.text + style):
        return ()
    marks = [
        m
        for page in layout(chart, style=style, tempo=tempo, paper=paper)
        for m in page
        if isinstance(m, Text)
    ]
    lost = missing("".join(m.text for m in marks))
    if not lost:
        return ()
    faults = Faults(chart.source)
    runs = re.compile("[" + "".join(map(re.escape, lost)) + "]+")
    start = 0
    for line in chart.source.text.split("\n"):
        if (place := runs.search(line)) is not None:
            _tell(faults, start + place.start(), start + place.end(), runs.findall(line))
        start += len(line) + 1
    if elsewhere := [c for c in lost if c not in chart.source.text]:
        _tell(faults, 0, 0, elsewhere)
    return tuple(faults.found)


def _tell(faults: Faults, start: int, end: int, runs: list[str]) -> None:
    text = "".join(runs)
    wide = any(unicodedata.east_asian_width(c) in "WF" for c in text)
    if wide and cjk_font() is None:
        hint = f"for Chinese, Japanese and Korean install their font: {CJK_EXTRA}"
    else:
        hint = "write it in other letters; the track itself is not concerned"
    shown = text if len(text) <= _SHOWN else text[:_SHOWN] + "…"
    faults.add(CODE, start, end, found=shown, hint=hint)
