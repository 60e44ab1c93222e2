"""The demo charts, as the gallery of the guide shows them.

Conventions: a chart's first line is a remark that says what it shows. The charts lie in `demo/` of a checkout, and come
with the package otherwise.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

_HERE = Path(__file__).resolve().parent.parent


class Shown(NamedTuple):
    """A demo: its file, what it shows, and its text."""

    name: str
    about: str
    text: str


def folder() -> Path:
    """Where the demo charts lie."""
    packed = _HERE / "_demo"
    return packed if packed.is_dir() else _HERE.parent / "demo"


def demos() -> list[Shown]:
    """Every demo chart, by name."""
    found = []
    for path in sorted(folder().glob("*.txt"), key=lambda p: p.name):
        text = path.read_text("utf-8")
        first, _, rest = text.partition("\n")
        found.append(Shown(path.name, first.removeprefix("# "), rest.lstrip("\n")))
    return found


def gallery() -> str:
    """The charts in Markdown."""
    return "\n".join(
        f"## {one.name}\n\n{one.about}\n\n```text\n{one.text.rstrip()}\n```\n" for one in demos()
    )
