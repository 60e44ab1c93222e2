"""The command that is heard: `backing play` as it is typed."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from backing.commands.command import (
    ChartPath,
    Gap,
    GapPlays,
    Ladder,
    Passes,
    Quiet,
    Through,
    coloured,
    rendered,
    say,
)
from backing.commands.options import Options


def devices(shown: bool) -> None:
    """Print the sound devices and leave."""
    if shown:
        from backing.live.device import devices as found

        typer.echo("\n".join(found()))
        raise typer.Exit()


def play(
    chart: ChartPath,
    watch: Annotated[
        bool,
        typer.Option("--watch", help="Follow the file: what is saved is played from the next bar."),
    ] = False,
    to: Annotated[
        str | None,
        typer.Option(metavar="PORT", help="Play MIDI instruments at this port, with a clock."),
    ] = None,
    device: Annotated[
        str | None, typer.Option(metavar="NAME", help="The sound device; null plays in silence.")
    ] = None,
    list_devices: Annotated[
        bool,
        typer.Option(
            "--list-devices", help="The sound devices there are.", is_eager=True, callback=devices
        ),
    ] = False,
    ladder: Ladder = None,
    passes: Passes = 2,
    through: Through = None,
    gap: Gap = None,
    gap_plays: GapPlays = "nothing",
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """Play the track at once; ? shows the keys.

    Keep headphones low enough to talk over, and rest; stop when something hurts.

    Example: backing play tune.txt --watch
    """
    from backing.commands.play import How
    from backing.commands.play import play as run_play
    from backing.commands.practice import Practice

    asked = ladder or through or gap
    practice = Practice(ladder, passes, through, gap, gap_plays) if asked else None
    run_play(
        chart,
        wish,
        How(watch, to, device, practice),
        warn=lambda d: say(rendered(d, coloured(sys.stderr)), quiet),
    )
