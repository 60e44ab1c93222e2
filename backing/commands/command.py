"""What the commands share: the options of a track, the progress bar, and how things are said."""

from __future__ import annotations

import inspect
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from itertools import takewhile
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from backing.commands.options import TABLE, Option, options, refusal
from backing.commands.values import GRIPS
from backing.ground.errors import RequestError
from backing.ground.manners import CHORD_MELODIES

Json = Annotated[bool, typer.Option("--json", help="The report as JSON.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Errors only.")]
ChartPath = Annotated[
    Path, typer.Argument(metavar="CHART", help="A chart, or - for standard input.")
]


BARE = {
    "--grips": GRIPS[0],
    "--chord-melody": CHORD_MELODIES[0],
}  # what an option that may stand alone means then


class Command(TyperCommand):
    """A command that answers the beginning of an option with the options that begin so, and no other."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        args = with_bare(args)
        known = {flag: p for p in self.params for flag in p.opts if flag.startswith("--")}
        for typed in takewhile(lambda arg: arg != "--", args):
            flag = typed.partition("=")[0]
            if len(flag) > 3 and flag.startswith("--") and flag not in known:
                begun = [
                    f
                    for f, p in known.items()
                    if f.startswith(flag) and not getattr(p, "hidden", False)
                ]
                if begun:
                    raise RequestError(
                        f"there is no option {flag}; did you mean {' or '.join(begun)}?"
                    )
        return super().parse_args(ctx, args)


def with_bare(args: Sequence[str]) -> list[str]:
    """The arguments with the value that an option has where it stands alone, before another option or a file.

    >>> with_bare(["tune.txt", "--grips", "-o", "x.pdf"])
    ['tune.txt', '--grips', 'foot', '-o', 'x.pdf']
    """
    found: list[str] = []
    for i, arg in enumerate(args):
        found.append(arg)
        if arg in BARE and "--" not in found and not "".join(args[i + 1 : i + 2]).isalpha():
            found.append(BARE[arg])
    return found


# How a track is practised, for those commands that play one.
Ladder = Annotated[
    str | None,
    typer.Option(metavar="60:100:5", help="Percent from, to, step; 80:120:5bpm; or alternate."),
]
Passes = Annotated[int, typer.Option(metavar="N", help="Passes at each tempo.")]
Through = Annotated[
    str | None, typer.Option(metavar="KEYS", help='Keys in turn: fourths, semitones or "C F Bb".')
]
Gap = Annotated[
    str | None, typer.Option(metavar="4:4", help="Bars with the band, then bars without.")
]
GapPlays = Annotated[
    str, typer.Option("--gap-plays", metavar="WHAT", help="nothing, click or drums.")
]


def command(name: str, run: Callable[..., None]) -> Callable[..., None]:
    """A function as typer reads it; one that takes a `wish` is given the options of a track and receives them read.

    Of an option that the function has itself, with a meaning of its own, the function's is meant.

    Typer reads the signature, so the options are written into it. Those that the command refuses are there too, so
    that they can be answered with a reason; its help does not show them.
    """
    parameters = list(inspect.signature(run, eval_str=True).parameters.values())
    own = [p for p in parameters if p.name != "wish"]
    if len(own) == len(parameters):
        return run

    table = [option for option in TABLE if all(option.name != p.name for p in own)]

    def wrapped(**given: Any) -> None:
        wish = options(name, **{option.name: given.pop(option.name) for option in table})
        run(wish=wish, **given)

    wrapped.__name__, wrapped.__doc__ = run.__name__, run.__doc__
    parameters = [p.replace(kind=inspect.Parameter.KEYWORD_ONLY) for p in own]
    parameters += [parameter(option, refusal(option, name) is not None) for option in table]
    wrapped.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    wrapped.__annotations__ = {p.name: p.annotation for p in parameters}
    return wrapped


def parameter(option: Option, hidden: bool) -> inspect.Parameter:
    """A row of the table of options as typer reads it."""
    kind: Any = str | None
    if isinstance(option.usual, bool):
        kind = bool
    elif isinstance(option.usual, tuple):
        kind = list[str]
    told = typer.Option(
        option.flag, metavar=option.metavar or None, help=option.help, hidden=hidden
    )
    return inspect.Parameter(
        option.name,
        inspect.Parameter.KEYWORD_ONLY,
        default=option.usual,
        annotation=Annotated[kind, told],
    )


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
