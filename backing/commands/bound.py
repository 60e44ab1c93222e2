"""The command `book`, as it is typed."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from backing.commands.command import Quiet, coloured, progress, rendered, say
from backing.commands.options import Options


def book(
    tunes: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER or LIST",
            help="A folder of charts, or a text file with one in each line.",
        ),
    ],
    out: Annotated[
        Path, typer.Option("-o", "--out", metavar="DIR", help="The folder of the book.")
    ],
    make: Annotated[
        str | None,
        typer.Option(
            metavar="book,mp3,html",
            help="What is made: book, album, lesson, or endings such as mid and pdf.",
        ),
    ] = None,
    sheets: Annotated[
        str | None,
        typer.Option(
            metavar="concert,Bb", help="A printed book for each of these: concert, Bb, Eb, F."
        ),
    ] = None,
    keys: Annotated[
        str | None, typer.Option(metavar="all", help='Every tune in these keys: all, or "C F Bb".')
    ] = None,
    tempos: Annotated[
        str | None,
        typer.Option(metavar="60:100:10", help="Every tune at these percentages: from, to, step."),
    ] = None,
    gap: Annotated[
        str | None,
        typer.Option(metavar="SECONDS", help="Silence between the tunes of --make album."),
    ] = None,
    choices: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A TOML file with a [book] table of choices."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            metavar="N", min=1, max=256, help="Processes that work side by side; usually the cores."
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="A Dask cluster that does the work: tcp://HOST:8786."),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be made and why, and write nothing.")
    ] = False,
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """Many tunes at once: the printed book, the album, practice pages with a contents page, and more.

    A second run makes only what has changed, and keeps what you have changed.

    Example: backing book charts -o songbook --make book,mp3,html --sheets concert,Bb
    """
    from backing.commands.book.choices import chosen
    from backing.commands.book.hired import hired
    from backing.commands.book.make import foreseen, make_book, told, told_failures

    picked = chosen(choices, make=make, sheets=sheets, keys=keys, tempos=tempos, gap=gap)
    colour = coloured(sys.stderr)
    with (
        progress(quiet) as report,
        hired(workers or cores(), scheduler, wish.sound.soundfont) as crew,
    ):
        done = make_book(
            tunes, out, wish, picked, crew, report,
            lambda d: say(rendered(d, colour), quiet), dry=dry_run,
        )  # fmt: skip
    for line in foreseen(out, done) if dry_run else told(out, done):
        typer.echo(line)
    failures = told_failures(done)
    for chart, wrong in failures:
        _tell(chart, wrong, colour)
    if failures:
        raise typer.Exit(1)


def _tell(chart: str, wrong: BaseException, colour: bool) -> None:
    """What is wrong with a tune: its diagnostics, or else a line."""
    found = getattr(wrong, "diagnostics", None)
    if found is None:
        say(f"backing: {chart}: {str(wrong) or type(wrong).__name__}")
    for diagnostic in found or ():
        say(rendered(diagnostic, colour))


def cores() -> int:
    """The cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
