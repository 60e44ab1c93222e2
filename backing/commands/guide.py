"""The command `guide`: the manual, page by page, as it lies in `backing/guide/`.

Conventions: a page is Markdown; its first line is its title, its first paragraph says in one line what it is for. Lists
that exist as tables (codes, styles) are set behind their page when it is shown, so that nothing can be missing.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from backing.commands.command import Json, show
from backing.ground.errors import RequestError

# In the order in which a reader wants them.
TOPICS = ("first-chart", "desk", "cheat-sheet", "charts", "gallery", "recipes", "book", "styles", "options", "sounds", "troubleshooting", "codes", "changes")  # fmt: skip
CODE = re.compile(r"[EW][0-9]{3}", re.I)  # of a diagnostic
TOLD = (
    "charts",
    "options",
    "styles",
    "recipes",
    "sounds",
    "troubleshooting",
)  # where a word is looked for
WIDEST = 100  # columns that are read with ease


class Page(NamedTuple):
    """A page of the guide: its name, its title, one line about it, and its Markdown."""

    topic: str
    title: str
    about: str
    text: str


def page(topic: str) -> Page:
    """The page of a topic, a name of `TOPICS`."""
    from importlib.resources import files

    text = files("backing").joinpath("guide", f"{topic}.md").read_text("utf-8")
    title, about, _ = text.split("\n\n", 2)
    return Page(topic, title.removeprefix("# "), " ".join(about.split()), text)


def whole(topic: str) -> Page:
    """The page of a topic with the list behind it, where it has one."""
    from backing.commands.guide_codes import codes
    from backing.commands.guide_gallery import gallery

    written = page(topic)
    listed = {"codes": codes, "styles": styles, "gallery": gallery}.get(topic)
    return written._replace(text=f"{written.text}\n{listed()}") if listed else written


def styles() -> str:
    """Every style that is found, as `backing styles` lists them, in Markdown."""
    from backing.commands.reports import style_list

    return f"## All styles\n\n```text\n{style_list(False)}\n```\n"


def found(words: str) -> Page:
    """The page of a topic, of a code, or of a word that can be typed, whatever its capitals and blanks.

    Raises `RequestError` with the nearest name.
    """
    from backing.commands.guide_codes import KNOWN, entry
    from backing.commands.values import near

    topic = "-".join(words.casefold().replace("-", " ").split())
    begun = [
        name for name in TOPICS if name == topic or (len(topic) > 3 and name.startswith(topic))
    ]
    if begun:
        return whole(begun[0])
    if topic.upper() in KNOWN:
        return Page(topic.upper(), *entry(topic.upper()))
    told = _told(words)
    if told:
        return told
    raise RequestError(
        f"the guide has no page {words!r}; choose one of {', '.join(TOPICS)}.{near(topic, TOPICS)}"
    )


def _told(words: str) -> Page | None:
    """What the pages tell of a word or a sign that can be typed, None where they tell nothing."""
    from backing.chart.settings import OTHER_NAMES
    from backing.commands.guide_words import mentioned, told

    pages = {name: page(name).text for name in TOLD}
    other = OTHER_NAMES.get(words.casefold(), words)
    found = told(words, pages) or told(other, pages) or mentioned(words, pages)
    lines = [f"# {words}", "", "What the guide tells of it, by page."]
    for name, items in found.items():
        lines += ["", f"## {name}", "", *items]
    return Page(words, words, lines[2], "\n".join(lines) + "\n") if found else None


def contents() -> str:
    """The topics with one line each."""
    pages = [page(topic) for topic in TOPICS]
    widest = max(len(topic) for topic in TOPICS)
    lines = [f"{one.topic:{widest}}  {one.about}" for one in pages]
    return "\n".join(
        [
            *lines,
            "",
            "backing guide TOPIC shows one, backing guide capo what is told of a word, backing guide E104 of a diagnostic.",
        ]
    )


def guide(
    topic: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[TOPIC]", help="A page, a code such as E104, or a word such as capo."
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", metavar="FILE", help="The page as a PDF.")
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Replace a file that this program did not make.")
    ] = False,
    as_json: Json = False,
) -> None:
    """The manual: the chart language, a cheat sheet, recipes, styles, options, sounds, codes.

    Example: backing guide cheat-sheet; backing guide cheat-sheet -o x.pdf; backing guide E104; backing guide capo
    """
    if topic is None:
        if out is not None:
            raise RequestError(
                "say which page is to be written, such as  backing guide cheat-sheet -o x.pdf"
            )
        if as_json:
            listed = [page(name) for name in TOPICS]
            show([{"topic": p.topic, "title": p.title, "about": p.about} for p in listed])
        else:
            typer.echo(contents())
        return
    asked = found(" ".join(topic))
    if out is not None:
        typer.echo(str(_printed(asked, out, force)))
    elif as_json:
        show(asked._asdict())
    elif sys.stdout is not None and sys.stdout.isatty():
        _set(asked.text)
    else:
        typer.echo(asked.text.rstrip("\n"))


def _printed(asked: Page, out: Path, force: bool) -> Path:
    """Write a page as a PDF."""
    from backing.commands.guide_gallery import demos
    from backing.commands.writing import recorded
    from backing.output import gallery, leaflet
    from backing.output.files import claim

    def write() -> list[Path]:
        if asked.topic == "gallery":
            gallery.write(demos(), asked.about, out, force=force)
        else:
            leaflet.write(asked.title, asked.text, out, force=force)
        return [out]

    claim(out, force=force)  # before it is noted down as ours
    return recorded([out], write)[0]


def _set(text: str) -> None:
    """Markdown set for a terminal, no wider than is read with ease."""
    from rich.console import Console
    from rich.markdown import Markdown
    from rich.theme import Theme

    console = Console(theme=Theme({"markdown.code": "bold cyan"}))  # the terminal's own background
    console.width = min(console.width, WIDEST)
    console.print(Markdown(text, code_theme="ansi_dark"))
