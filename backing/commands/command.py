"""What the commands share: the options of a track, the progress bar, and how things are said."""

from __future__ import annotations

import inspect
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any

import typer

from backing.commands.options import CLICKS, TRANSPOSING, options

CLICK_NAMES = ", ".join(CLICKS)

# The options that every command that makes a track shares, in the order in which help shows them.
TRACK_OPTIONS: dict[str, tuple[Any, Any]] = {
    "tempo": (Annotated[str | None, typer.Option(metavar="96 or 75%", help="Beats a minute, or a percentage of the chart's tempo.")], None),
    "key": (Annotated[str | None, typer.Option(metavar="KEY", help="Play in this key: Eb, F# minor.")], None),
    "transpose": (Annotated[int | None, typer.Option(metavar="SEMITONES", help="Move by semitones, up or down.")], None),
    "style": (Annotated[str | None, typer.Option(metavar="NAME or PATH", help="A style by name, or a file ending in .toml.")], None),
    "choruses": (Annotated[int | None, typer.Option(metavar="N", help="Play the chorus N times.")], None),
    "length": (Annotated[str | None, typer.Option(metavar="10:00", help="As many whole choruses as fill this time.")], None),
    "section": (Annotated[list[str], typer.Option(metavar="NAME", help="Only this section; may be given again.")], ()),
    "bars": (Annotated[str | None, typer.Option(metavar="9-16", help="Only these bars of the sheet, first time through.")], None),
    "ending": (Annotated[str | None, typer.Option(metavar="MANNER", help="ring, short, tag, rit, fade 4 or as written.")], None),
    "count_in": (Annotated[str | None, typer.Option("--count-in", metavar="BARS or off", help="Bars of count-in.")], None),
    "click": (Annotated[str, typer.Option(metavar="KIND", help=f"A click through the track: {CLICK_NAMES}.")], "off"),
    "without": (Annotated[list[str], typer.Option(metavar="PLAYER", help="Leave this player out; may be given again.")], ()),
    "only": (Annotated[list[str], typer.Option(metavar="PLAYER", help="Only this player; may be given again.")], ()),
    "guide_tones": (Annotated[bool, typer.Option("--guide-tones", help="A player sounds the line of thirds and sevenths.")], False),
    "plain": (Annotated[bool, typer.Option("--plain", help="No ninths or thirteenths that the chart does not write.")], False),
    "stems": (Annotated[bool, typer.Option("--stems", help="One more file a player, aligned with the mix.")], False),
    "stems_as": (Annotated[str | None, typer.Option("--stems-as", metavar="FORMAT", help="wav, flac, ogg, mp3 or m4a.")], None),
    "loop": (Annotated[bool, typer.Option("--loop", help="A file whose end runs into its start without a seam.")], False),
    "bits": (Annotated[int, typer.Option(metavar="16 or 24", help="Bits a sample in WAV and FLAC files.")], 16),
    "seed": (Annotated[int, typer.Option(metavar="N", help="Another number, another performance; the same number, the same bytes.")], 1),
    "soundfont": (Annotated[Path | None, typer.Option(metavar="PATH", help="The sounds to play with (.sf2).")], None),
    "loudness": (Annotated[float, typer.Option(metavar="LUFS", help="Integrated loudness of the mix.")], -16.0),
    "a4": (Annotated[float, typer.Option("--a4", metavar="HZ", help="Concert pitch, 415 to 466.")], 440.0),
    "for_": (Annotated[str | None, typer.Option("--for", metavar="|".join(TRANSPOSING), help="The sheet for a transposing instrument.")], None),
    "paper": (Annotated[str, typer.Option(metavar="a4 or letter", help="The size of the sheet.")], "a4"),
    "signs": (Annotated[bool, typer.Option("--signs", help="△, –, ° and ø on the sheet in place of maj, m, dim and m7b5.")], False),
    "grips": (Annotated[bool, typer.Option("--grips", help="Guitar grips on the sheet, for every chord used.")], False),
    "force": (Annotated[bool, typer.Option("--force", help="Replace files that this program did not make.")], False),
}  # fmt: skip

Json = Annotated[bool, typer.Option("--json", help="The report as JSON.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Errors only.")]
ChartPath = Annotated[
    Path, typer.Argument(metavar="CHART", help="A chart, or - for standard input.")
]


def command(run: Callable[..., None]) -> Callable[..., None]:
    """A function as typer reads it; one that takes a `wish` is given the shared options and receives them read.

    Typer reads the signature, so the shared options are written into it.
    """
    parameters = list(inspect.signature(run, eval_str=True).parameters.values())
    own = [p for p in parameters if p.name != "wish"]
    if len(own) == len(parameters):
        return run
    shared = [
        inspect.Parameter(
            name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation
        )
        for name, (annotation, default) in TRACK_OPTIONS.items()
    ]

    def wrapped(**given: Any) -> None:
        wish = options(**{name: given.pop(name) for name in TRACK_OPTIONS})
        run(wish=wish, **given)

    wrapped.__name__, wrapped.__doc__ = run.__name__, run.__doc__
    parameters = [p.replace(kind=inspect.Parameter.KEYWORD_ONLY) for p in own] + shared
    wrapped.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    wrapped.__annotations__ = {p.name: p.annotation for p in parameters}
    return wrapped


def show(result: object) -> None:
    """A report as JSON on standard output."""
    import json

    text = json.dumps(result, ensure_ascii=False, indent=2)
    # the name of a file may hold bytes that are no text
    typer.echo(text.encode("utf-8", "backslashreplace").decode("utf-8"))


def say(text: str, quiet: bool = False) -> None:
    """A line for people on standard error."""
    if not quiet:
        with suppress(OSError):  # standard error is full or gone, and there is nowhere to say so
            typer.echo(text, err=True)


def coloured(stream: Any) -> bool:
    """True on a terminal, unless NO_COLOR is set."""
    return stream is not None and bool(stream.isatty()) and not os.environ.get("NO_COLOR")


def rendered(diagnostic: Any, colour: bool) -> str:
    """A diagnostic as people read it; its first line is red or yellow on a terminal."""
    first, _, rest = diagnostic.render().partition("\n")
    if colour:
        first = typer.style(
            first, fg="red" if diagnostic.severity.value == "error" else "yellow", bold=True
        )
    return f"{first}\n{rest}"


class progress:
    """A progress bar on a terminal, nothing elsewhere; the value is called with a share (0 to 1) and words."""

    def __init__(self, quiet: bool) -> None:
        self.shown = not quiet and sys.stderr is not None and sys.stderr.isatty()
        self.bar: Any = None
        self.task: Any = None

    def __enter__(self) -> Callable[[float, str], None]:
        return self.report

    def report(self, share: float, words: str) -> None:
        if not self.shown:
            return
        if self.bar is None:
            from rich.console import Console
            from rich.progress import (
                BarColumn,
                Progress,
                TaskProgressColumn,
                TextColumn,
                TimeRemainingColumn,
            )

            self.bar = Progress(
                TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn(),
                console=Console(stderr=True), transient=True,
            )  # fmt: skip
            self.bar.start()
            self.task = self.bar.add_task(words, total=1.0)
        self.bar.update(self.task, completed=share, description=words)

    def __exit__(self, *_: object) -> None:
        if self.bar is not None:
            self.bar.stop()
