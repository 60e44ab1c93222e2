"""What a command will write, and whether it may: asked before any work is done."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from backing.commands.naming import file_stem
from backing.commands.options import Options
from backing.commands.values import near
from backing.ground.errors import OutputError, RequestError

if TYPE_CHECKING:
    from backing.performance.model import Performance

NOTES = (".mid", ".json", ".vtt")
SOUND = (".wav", ".flac", ".ogg", ".mp3", ".m4a")
VIDEO = (".mp4",)
SHEET = (".pdf", ".svg", ".png")
CHARTS = (".txt", ".musicxml", ".mxl", ".abc", ".cho")  # the chart itself, which may want chords
WRITTEN = (*SHEET, *CHARTS)  # the chart as written: nobody need play it
PARTS = (*SHEET, ".musicxml", ".mxl")  # in which a player's part can be written
ENDINGS = (*NOTES, *SOUND, *VIDEO, *SHEET, ".html", *CHARTS)
PAGED = (".svg", ".png")  # a file a page, numbered


def stem_of(chart_path: Path) -> str:
    return "track" if str(chart_path) == "-" else chart_path.stem


def targets(chart: Path, out: Sequence[Path], wish: Options) -> tuple[Path, ...]:
    """What to write; without `-o` the chart's name, what was asked for, and `.mp3`, in the current folder.

    Raises `RequestError`.
    """
    if not out:
        return (Path(file_stem(stem_of(chart), wish) + ".mp3"),)
    for path in out:
        if path.suffix.lower() not in ENDINGS:
            raise RequestError(
                f"-o {path}: end the name in one of {' '.join(ENDINGS)}{near_ending(path)}"
            )
    return tuple(dict.fromkeys(out))


def is_part(path: Path, wish: Options) -> bool:
    """Whether a file is a part of a player, who must play it first."""
    return bool(wish.paper.parts) and path.suffix.lower() in PARTS


def unheard(paths: Iterable[Path], wish: Options) -> bool:
    """Whether nobody need play what is written."""
    return all(path.suffix.lower() in WRITTEN and not is_part(path, wish) for path in paths)


def near_ending(path: Path) -> str:
    if path.suffix.lower() in (".midi", ".smf"):
        return "; for MIDI write .mid"
    return near(path.suffix.lower(), ENDINGS)


def claim_all(paths: Iterable[Path], inputs: Iterable[Path], wish: Options) -> None:
    """Make sure that every file may be written, each once, and none over what it is made from. Raises `OutputError`."""
    from backing.output.files import apart, claim
    from backing.styles.shelf import is_path

    wanted = list(paths)
    style = [Path(wish.form.style)] if wish.form.style and is_path(wish.form.style) else []
    for path in wanted:
        if path.suffix.lower() in PAGED:
            page = re.compile(re.escape(path.stem) + r"-\d+", re.IGNORECASE)
            for other in wanted:
                if other.suffix == path.suffix and page.fullmatch(other.stem):
                    raise OutputError(
                        f"{other} may be a page of {path}; choose another name with -o"
                    )
    apart(wanted, [p for p in (*inputs, *style, wish.sound.soundfont) if p and str(p) != "-"])
    for path in wanted:
        claim(path, force=wish.files.force)


def stems_of(performance: Performance, paths: Iterable[Path], wish: Options) -> list[Path]:
    """The stems that go beside the first sound file."""
    heard = [p for p in paths if p.suffix.lower() in SOUND]
    if not wish.files.stems or not heard:
        return []
    from backing.output.sound.audio import stem_outputs

    ending = f".{wish.files.stems_as or 'wav'}"
    return [o.path for o in stem_outputs(performance, heard[0], ending)]
