"""The command that begins a chart."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from backing.commands.command import Quiet, say


def new(
    chart: Annotated[Path, typer.Argument(metavar="TUNE.txt", help="The chart to begin.")],
    meter: Annotated[str | None, typer.Option(metavar="3/4", help="The meter.")] = None,
    style: Annotated[str | None, typer.Option(metavar="NAME", help="A style by name.")] = None,
    bars: Annotated[int | None, typer.Option(metavar="N", help="Bars of one chorus.")] = None,
    form: Annotated[
        str | None, typer.Option(metavar="AABA", help="The sections in the order of play.")
    ] = None,
    key: Annotated[str | None, typer.Option(metavar="KEY", help="Bb major, F# minor.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file.")] = False,
    quiet: Quiet = False,
) -> None:
    """A starter chart with chords to type over and a word on every line.

    Example: backing new tune.txt --meter 3/4 --style "jazz waltz" --bars 32 --form AABA --key Bb
    """
    from backing.commands.starter import write_starter

    write_starter(chart, meter=meter, style=style, bars=bars, form=form, key=key, force=force)
    typer.echo(str(chart))
    say(f"type your chords into it; then: backing check {chart}, backing play {chart}", quiet)
