"""A chart from a file or standard input, in any format that is read."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from backing.commands.values import near
from backing.ground.errors import OutputError
from backing.reading.asked import PLAIN, Reading

if TYPE_CHECKING:
    from backing.chart.ast import Chart
    from backing.chart.parse import UnknownStyle

MOST_READ = 4_000_000  # bytes: more than any chart has, and never the whole of an endless device


def read_chart(
    path: Path,
    asked: Reading = PLAIN,
    *,
    wanted: bool = False,
    unknown_style: UnknownStyle = lambda style: None,
) -> Chart:
    """The chart of a file; `-` is standard input. With `wanted` it may lack chords.

    Raises `OutputError`, `ChartError`, `RequestError`.
    """
    from backing.reading.opened import opened

    return opened(read_bytes(path), called(path), asked, wanted=wanted, unknown_style=unknown_style)


def read_as_text(path: Path, asked: Reading = PLAIN) -> tuple[str, str, tuple[str, ...]]:
    """A chart as text, its name for diagnostics, and what was assumed where it was written in another format."""
    from backing.chart.parse import decode
    from backing.chart.write import write
    from backing.reading.opened import format_of, opened

    data, name = read_bytes(path), called(path)
    if format_of(data, name, asked) is None:
        return decode(data, name), name, ()
    chart = opened(data, name, asked, wanted=True)
    return write(chart), name, tuple(d.headline() for d in chart.warnings)


def called(path: Path) -> str:
    """The name of a file for diagnostics."""
    return "<standard input>" if str(path) == "-" else str(path)


def read_bytes(path: Path) -> bytes:
    """What a file holds. Raises `OutputError`."""
    if str(path) == "-" and sys.stdin is None:
        raise OutputError("standard input is closed; name a chart, or send one through a pipe")
    try:
        if str(path) == "-":
            return sys.stdin.buffer.read(MOST_READ)
        with path.open("rb") as file:
            return file.read(MOST_READ)
    except IsADirectoryError:
        raise OutputError(f"{path} is a folder; name a chart in it") from None
    except FileNotFoundError:
        raise OutputError(f"{path}: there is no such file.{near_file(path)}") from None
    except OSError as wrong:
        raise OutputError(f"{path} could not be read: {wrong.strerror}") from None


def near_file(path: Path) -> str:
    """A hint at a chart of a similar name in the same folder."""
    from backing.reading.opened import READABLE

    try:
        names = sorted(p.name for p in path.parent.iterdir() if p.suffix.lower() in READABLE)
    except OSError:
        return ""
    return near(path.name, names)
