"""The command `styles` as it is typed; what it shows is made in `reports` and `taste`, loaded when it is asked for."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from backing.commands.command import Json, Quiet, coloured, progress, rendered, say, show
from backing.commands.options import Options


def styles(
    names: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[NAME or WORD]", help="A style, or a word to look for; with --check, files."
        ),
    ] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Look for mistakes in style files.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", metavar="FILE", help="Eight bars of each, to hear."),
    ] = None,
    play: Annotated[bool, typer.Option("--play", help="Hear eight bars of each at once.")] = False,
    chart: Annotated[
        Path | None, typer.Option(metavar="FILE", help="With --play, the first bars of this chart.")
    ] = None,
    device: Annotated[
        str | None, typer.Option(metavar="NAME", help="With --play, the sound device.")
    ] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """The styles by meter and subdivision, or those that a word fits; or one style's players, meters, tempos and patterns.

    Example: backing styles blues; backing styles "bossa nova"; backing styles samba tango --play
    """
    if play:
        from backing.commands.taste import play_tastes

        play_tastes(names or [], chart, device, lambda name: say(name, quiet))
        return
    if out is not None:
        from backing.commands.taste import taste

        with progress(quiet) as report:
            typer.echo(str(taste(names or [], out, Options(), report)))
        return
    from backing.commands.reports import check_styles, style_list, style_pages

    if check:
        found = check_styles(names or [])
        if as_json:
            show([{"file": name, "diagnostics": [d.as_json() for d in ds]} for name, ds in found])
        else:
            for name, diagnostics in found:
                for diagnostic in diagnostics:
                    typer.echo(rendered(diagnostic, coloured(sys.stdout)))
                if not diagnostics:
                    typer.echo(f"{name}: no mistakes")
        if any(d.severity.value == "error" for _, ds in found for d in ds):
            raise typer.Exit(1)
        return
    if names:
        for result in style_pages(names, as_json):
            show(result) if as_json else typer.echo(result)
        return
    listed = style_list(as_json)
    show(listed) if as_json else typer.echo(listed)
