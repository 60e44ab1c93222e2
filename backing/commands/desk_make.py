"""What is taken away from the desk: a chart as it is typed, made into files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from backing.commands.options import options
from backing.ground.errors import RequestError

if TYPE_CHECKING:
    from backing.commands.progress import Progress

LESSON = "lesson"
KINDS = ("mp3", "wav", "pdf", "html", "mid", "musicxml", "txt", LESSON)


def make(
    told: Progress, text: str, name: str, kind: str, place: str, wish: Mapping[str, object]
) -> list[str]:
    """Make one kind of file in the folder `place`; returns the names of what was made.

    `wish` holds options of a track as they are typed. Raises `BackingError`.
    """
    from backing.chart.parse import parse
    from backing.commands.app import make_chart
    from backing.output.names import safe
    from backing.styles.find import unknown

    if kind not in KINDS:
        raise RequestError(f"{kind}: choose one of {', '.join(KINDS)}")
    chart = parse(text, name, wanted=kind == "txt", unknown_style=unknown)
    stem = safe(Path(name).stem)
    asked = options("lesson" if kind == LESSON else "make", **wish)
    if kind == LESSON:
        from backing.commands.choices import Choices
        from backing.commands.lesson import lesson_of

        path = Path(place) / f"{stem}.zip"
        lesson_of(chart, Path(name), path, asked, Choices(), told, lambda _: None)
        return [path.name]
    path = Path(place) / f"{stem}.{kind}"
    written = make_chart(chart, [path], [], asked, told, lambda _: None)
    return [one.name for one in written]
