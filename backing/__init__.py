"""A plain-text chord chart goes in; a band track to play along to comes out.

    import backing

    timeline = backing.unroll(backing.parse(text))
    performance = backing.perform(backing.arrange(timeline, backing.style("bossa nova")))
    backing.write_midi(performance, "tune.mid")

Everything is loaded when it is first used, so importing the package costs next to nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from os import PathLike
from typing import TYPE_CHECKING

from backing.ground.version import VERSION

if TYPE_CHECKING:
    from backing.band.model import Arrangement
    from backing.chart.ast import Chart
    from backing.harmony.symbol import Chord
    from backing.output.sound.synth import Block
    from backing.performance.model import Performance
    from backing.styles.model import Style
    from backing.timeline.model import Timeline

__version__ = VERSION
__all__ = [
    "arrange",
    "chord",
    "parse",
    "perform",
    "render",
    "render_blocks",
    "style",
    "unroll",
    "write_midi",
]


def parse(text: str) -> Chart:
    """Read a chart. Raises `ChartError` with every diagnostic."""
    from backing.chart.parse import parse as read

    return read(text)


def unroll(chart: Chart) -> Timeline:
    """The order of play of a chart in its own style. Raises `ChartError`, `StyleError`."""
    from backing.commands.app import timeline_of

    return timeline_of(chart)


def arrange(timeline: Timeline, style: Style, seed: int = 1) -> Arrangement:
    """Every player's notes on an exact grid. The same seed gives the same notes."""
    from backing.commands.app import arranged

    return arranged(timeline, style, seed)


def perform(arrangement: Arrangement) -> Performance:
    """Notes in seconds, swung and humanised."""
    from backing.performance.perform import perform as play

    return play(arrangement)


def write_midi(performance: Performance, path: str | PathLike[str]) -> None:
    """Write a Standard MIDI File, type 1, 960 ticks a quarter. Raises `OutputError`."""
    from backing.output.midi import write

    write(performance, path)


def render_blocks(
    performance: Performance, soundfont: str | PathLike[str] | None = None
) -> Iterator[Block]:
    """Blocks of sound, each a float32 array of shape (n, 2) a player at 44.1 kHz. Raises `AudioUnavailable`."""
    from backing.output.sound.synth import render_blocks as blocks

    return blocks(performance, soundfont)


def render(performance: Performance, soundfont: str | PathLike[str] | None = None) -> Block:
    """The whole track in memory: an array a player. Raises `AudioUnavailable`."""
    from backing.output.sound.synth import render as whole

    return whole(performance, soundfont)


def chord(symbol: str) -> Chord | None:
    """Read a chord symbol; None for `N.C.`. Raises `ValueError` with what to type instead."""
    from backing.harmony.symbol import read

    return read(symbol)


def style(name: str) -> Style:
    """A style by name, or by path where it ends in `.toml`. Raises `StyleError`, `RequestError`."""
    from backing.styles.find import find

    return find(name)
