"""The text of a chart, from a file or standard input."""

from __future__ import annotations

import sys
from pathlib import Path

from backing.commands.values import near
from backing.ground.errors import OutputError

MOST_READ = 4_000_000  # bytes: more than any chart has, and never the whole of an endless device


def read_text(path: Path) -> tuple[str, str]:
    """The text of a chart and its name for diagnostics; `-` is standard input. Raises `OutputError`."""
    if str(path) == "-" and sys.stdin is None:
        raise OutputError("standard input is closed; name a chart, or send one through a pipe")
    try:
        if str(path) == "-":
            data = sys.stdin.buffer.read(MOST_READ)
        else:
            with path.open("rb") as file:
                data = file.read(MOST_READ)
    except IsADirectoryError:
        raise OutputError(f"{path} is a folder; name a chart in it") from None
    except FileNotFoundError:
        raise OutputError(f"{path}: there is no such file.{near_file(path)}") from None
    except OSError as wrong:
        raise OutputError(f"{path} could not be read: {wrong.strerror}") from None
    from backing.chart.parse import decode

    name = "<standard input>" if str(path) == "-" else str(path)
    return decode(data, name), name


def near_file(path: Path) -> str:
    """A hint at a chart of a similar name in the same folder."""
    try:
        names = sorted(p.name for p in path.parent.iterdir() if p.suffix == ".txt")
    except OSError:
        return ""
    return near(path.name, names)
