"""The command `harmonise` as it is typed; what it does is in `harmonise.py`, loaded when it is asked for."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from backing.commands.command import Json, Quiet, coloured, progress, rendered, say, show
from backing.commands.options import Options

# fmt: off
Tune = Annotated[str, typer.Argument(metavar="MELODY", help="A chart with a melody, or notes in quotes.")]
Out = Annotated[list[Path], typer.Option("-o", "--out", metavar="FILE", help="Write the chosen chart, or its track.")]
Manner = Annotated[str, typer.Option(metavar="MANNER", help="plain, diatonic, colourful or chromatic.")]
Every = Annotated[str, typer.Option(metavar="VALUE", help="A chord a bar, half, beat or note, or auto.")]
KeyName = Annotated[str | None, typer.Option(metavar="KEY", help="The melody's key; nothing is moved.")]
Bass = Annotated[str, typer.Option(metavar="WAY", help="free, falling, rising, still or cycle.")]
Results = Annotated[int, typer.Option(metavar="N", help="How many charts to show.")]
Choose = Annotated[int, typer.Option(metavar="N", help="The chart that -o writes; without it, whose reasons are told.")]
Keep = Annotated[str, typer.Option(metavar='"1.1=Bb 4.3=F7"', help="Chords that stay, by bar and beat.")]
Avoid = Annotated[list[str], typer.Option(metavar="SYMBOL", help="A chord not to use; may be given again.")]
Again = Annotated[bool, typer.Option("--again", help="New chords for a chart that has some.")]
MeterName = Annotated[str | None, typer.Option(metavar="3/4", help="Of notes in quotes.")]
Pickup = Annotated[str, typer.Option(metavar="BEATS", help="Of notes in quotes.")]
Why = Annotated[bool, typer.Option("--why", help="Reasons for every chart.")]
# fmt: on


def harmonise(
    melody: Tune,
    out: Out = [],  # noqa: B006 - typer copies it
    manner: Manner = "colourful",
    every: Every = "auto",
    key: KeyName = None,
    bass: Bass = "free",
    results: Results = 8,
    choose: Choose = 1,
    keep: Keep = "",
    avoid: Avoid = [],  # noqa: B006 - typer copies it
    again: Again = False,
    meter: MeterName = None,
    pickup: Pickup = "",
    why: Why = False,
    as_json: Json = False,
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """Chords for a melody: ranked charts, each chord with its reason; `?` in a chart is a chord to find.

    With -o the options of backing make shape the track; --key names the melody's key and moves nothing.

    Example: backing harmonise "G4 A4 B4 D5 | E5 D5 B4 / | G4" --manner colourful -o tune.txt -o tune.mp3
    """
    from backing.commands import harmonise as run

    asked = run.Asked(
        manner,
        every,
        key,
        bass,
        results,
        choose,
        keep,
        tuple(avoid),
        again,
        meter,
        pickup,
        wish.reading,
    )
    found = run.find(melody, asked)
    for words in found.assumed:
        say(words, quiet or as_json)
    if not out:
        show(run.as_json(found)) if as_json else typer.echo(run.report(found, why, choose))
        return
    with progress(quiet) as shown:
        written = run.write(
            found,
            choose,
            out,
            wish,
            shown,
            lambda d: say(rendered(d, coloured(sys.stderr)), quiet),
        )
    for path in written:
        typer.echo(str(path))
