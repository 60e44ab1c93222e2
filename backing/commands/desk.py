"""The command that opens the music desk."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backing.commands.command import Quiet, say
from backing.ground.errors import OutputError, RequestError

if TYPE_CHECKING:
    from collections.abc import Callable

    from backing.desk.app import Asked
    from backing.desk.workers import Worker

MOST_PORT = 65_535


def desk(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="The folder of charts; usually this one.")
    ] = Path(),
    port: Annotated[
        int | None,
        typer.Option(
            metavar="N", help="The port to serve at, 0 for a free one; usually the folder's own."
        ),
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the address, and open no browser.")
    ] = False,
    quiet: Quiet = False,
) -> None:
    """The music desk in the browser: type a chart, see it, hear it, take it away.

    It serves this machine alone, to whoever has the address that it prints, and ends with Ctrl-C or with "Close the
    desk" on its page. Keep headphones low enough to talk over, and rest.

    Example: backing desk charts
    """
    from backing.desk.server import own_port, serve

    if not folder.is_dir():
        raise OutputError(f"{folder}: there is no such folder; make it first, or name another one")
    if port is not None and not 0 <= port <= MOST_PORT:
        raise RequestError(f"--port {port}: choose a number from 0 to {MOST_PORT}")

    def opened(address: str) -> None:
        typer.echo(address)
        if sys.stdout is not None:
            sys.stdout.flush()
        say(
            "the music desk is open in your browser; Ctrl-C ends it"
            if not no_browser
            else "open this address in a browser; Ctrl-C ends the desk",
            quiet,
        )
        if not no_browser:
            _browse(address)

    try:
        ports = [own_port(folder), 0] if port is None else [port]
        serve(ports, lambda end: asked(folder, end), opened)
    except KeyboardInterrupt:
        pass  # the usual way to end it
    say("the desk is closed", quiet)


def _browse(address: str) -> None:
    """Open a browser without waiting for it."""
    import webbrowser
    from threading import Thread

    Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def asked(folder: Path, end: Callable[[], None]) -> Asked:
    """What the desk of a folder needs of the commands."""
    from backing.commands.desk_band import DeskBand
    from backing.commands.starter import starter
    from backing.desk.app import Asked
    from backing.desk.folder import Folder

    found = Folder(folder)
    return Asked(found, lambda: worker(found.path), starter, guide_page, end, DeskBand)


def worker(folder: Path) -> Worker:
    """A program that works for the desk of a folder; it is started when it is first asked."""
    import os

    from backing.desk.workers import Worker

    here = str(Path(__file__).parents[2])
    paths = os.pathsep.join(filter(None, [here, os.environ.get("PYTHONPATH", "")]))
    command = [sys.executable, "-m", "backing.commands.desk_work", str(folder)]
    return Worker(command, {**os.environ, "PYTHONPATH": paths})


def guide_page(topic: str) -> str | None:
    """A page of the guide as HTML, None where there is none; a code or a word is looked up."""
    from backing.commands.guide import TOPICS, found, page
    from backing.desk.guide import set_page

    try:
        asked = found(topic)
    except RequestError:
        return None
    topics = [(name, page(name).title) for name in TOPICS]
    return set_page(asked.title, asked.text, topics, asked.topic)
