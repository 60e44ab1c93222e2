"""The sheet for a screen: one picture as wide as the screen has room, with the place of every bar.

Conventions: points, as on paper; y down from the top of the picture. The picture is SVG without style of its own: what
is ink takes the colour of the text around it, and nothing lies behind.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from backing.chart.ast import Chart
from backing.output.asked import CONCERT, Paper
from backing.output.sheet.marks import Zone, box, placed
from backing.output.sheet.page import HEAD, SIDE
from backing.output.sheet.write import drawn, with_zones

TALLEST = 100_000.0  # points: no page ends before the sheet does
NARROWEST, WIDEST = 340.0, 620.0
EDGE = 4.0  # left around the ink


class Screen(NamedTuple):
    """A picture, its width and height, and the bars on it."""

    svg: str
    wide: float
    high: float
    zones: tuple[Zone, ...]


def on_screen(
    chart: Chart,
    wide: float,
    *,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: Paper = CONCERT,
) -> Screen:
    """The sheet on a picture some `wide` points wide. Options as for `write`. Raises `OutputError`."""
    wide = min(WIDEST, max(NARROWEST, wide))
    (page,) = with_zones(chart, (wide, TALLEST), style=style, tempo=tempo, paper=paper)
    page = [placed(mark, EDGE - SIDE, EDGE - HEAD) for mark in page]
    bottom = max(box(mark)[3] for mark in page) + 2 * EDGE
    wide = wide - 2 * (SIDE - EDGE)
    marks = [mark for mark in page if not isinstance(mark, Zone)]
    (svg,) = drawn([marks], chart, (wide, bottom), "svg")
    zones = tuple(mark for mark in page if isinstance(mark, Zone))
    return Screen(clear(svg).decode("utf-8"), wide, bottom, zones)


def clear(svg: bytes) -> bytes:
    """A picture without its paper, in the colours of the text around it."""
    start = svg.index(b'<path fill="#ffffff"')
    svg = svg[:start] + svg[svg.index(b"/>", start) + 2 :]
    for paint in (b"fill", b"stroke"):
        svg = svg.replace(paint + b'="#1a1a1a"', paint + b'="currentColor"')
        svg = svg.replace(
            paint + b'="#666666"', paint + b'="currentColor" ' + paint + b'-opacity=".7"'
        )
    return svg
