"""What a chart says and no face here can draw: a warning for each line of it, with its place."""

from __future__ import annotations

import re
import unicodedata

from backing.chart.ast import Chart
from backing.ground.source import Diagnostic, Severity, Span
from backing.output.asked import Paper
from backing.output.sheet.faces import CJK_EXTRA, cjk_font, missing
from backing.output.sheet.marks import Text
from backing.output.sheet.write import layout

CODE = "W901"


def unseen(chart: Chart, paper: Paper) -> tuple[Diagnostic, ...]:
    """A warning for every line of the chart with characters that are on its sheet and cannot be drawn there."""
    if not missing(chart.source.text):
        return ()
    marks = [m for page in layout(chart, paper=paper) for m in page if isinstance(m, Text)]
    lost = missing("".join(m.text for m in marks))
    if not lost:
        return ()
    runs = re.compile("[" + "".join(map(re.escape, lost)) + "]+")
    found = []
    start = 0
    for line in chart.source.text.split("\n"):
        if (place := runs.search(line)) is not None:
            span = Span(start + place.start(), start + place.end())
            found.append(_told(chart, "".join(runs.findall(line)), span))
        start += len(line) + 1
    return tuple(found)


def _told(chart: Chart, text: str, span: Span) -> Diagnostic:
    shown = text if len(text) <= 24 else text[:24] + "…"
    wide = any(unicodedata.east_asian_width(c) in "WF" for c in text)
    if wide and cjk_font() is None:
        hint = f"for Chinese, Japanese and Korean install their font: {CJK_EXTRA}"
    else:
        hint = "write it in other letters; the track itself is not concerned"
    message = f"no font of the sheet has {shown}, so question marks stand there"
    return Diagnostic(CODE, message, hint, span, chart.source, Severity.WARNING)
