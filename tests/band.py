"""Charts in a line, arranged and performed, for tests of what players play."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from backing.band.arrange import arrange
from backing.band.model import Arrangement, Note, Player
from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import Prepared, prepare
from backing.performance.model import Performance, PerformedPlayer
from backing.performance.perform import perform
from backing.timeline.model import Timeline

ROOT = Path(__file__).parent.parent
DEMOS = sorted((ROOT / "demo").glob("*.txt"))


def prepared(text: str, style: str | None = "straight-ahead swing", **wish: Any) -> Prepared:
    """A chart read and unrolled; `style` None leaves the chart's own. `wish` are fields of `Options`."""
    return prepare(parse(text), Options().changed(style=style, **wish))


def timeline(text: str, style: str | None = "straight-ahead swing", **wish: Any) -> Timeline:
    return prepared(text, style, **wish).timeline


def arranged(
    text: str,
    style: str | None = "straight-ahead swing",
    seed: int = 1,
    *,
    wish: Any = None,
    **how: Any,
) -> Arrangement:
    """A chart arranged. `wish` holds fields of `Options` for unrolling, `how` arguments of `arrange`."""
    ready = prepared(text, style, **(wish or {}))
    return arrange(ready.timeline, ready.style, seed, ready.styles, **how)


def performed(
    text: str,
    style: str | None = "straight-ahead swing",
    seed: int = 1,
    *,
    wish: Any = None,
    **how: Any,
) -> Performance:
    return perform(arranged(text, style, seed, wish=wish, **how))


@cache
def demo(name: str, seed: int = 1, head: str = "") -> Arrangement:
    """A demo chart in its own style, with settings before its own, arranged once for all tests."""
    return arranged(head + (ROOT / "demo" / f"{name}.txt").read_text("utf-8"), None, seed)


def player(arrangement: Arrangement, role: str) -> Player:
    """One player of an arrangement. Raises StopIteration where it has none of that role."""
    return next(p for p in arrangement.players if p.role == role)


def performer(performance: Performance, role: str) -> PerformedPlayer:
    return next(p for p in performance.players if p.role == role)


def notes_in(notes: Sequence[Note], start: Fraction | int, end: Fraction | int) -> list[Note]:
    """Notes that begin in a stretch of time."""
    return [n for n in notes if start <= n.start_q < end]


def chart(bars: str, **settings: object) -> str:
    """A chart of one section from its bars; settings by name (`_` for `-`), `Bar Lines` as in a chart.

    >>> print(chart("C | F", tempo=96))
    tempo: 96
    | C | F |
    """
    header = "".join(f"{name.replace('_', '-')}: {value}\n" for name, value in settings.items())
    return f"{header}| {bars} |"
