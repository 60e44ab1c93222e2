"""The command `guide`: the manual, page by page, as it lies in `backing/guide/`.

Conventions: a page is Markdown; its first line is its title, its first paragraph says in one line what it is for. Lists
that exist as tables (codes, styles) are set behind their page when it is shown, so that nothing can be missing.
"""

from __future__ import annotations

import re
import sys
from typing import Annotated, NamedTuple

import typer

from backing.commands.command import Json, show
from backing.ground.errors import RequestError

# In the order in which a reader wants them.
TOPICS = ("first-chart", "cheat-sheet", "charts", "recipes", "styles", "options", "sounds", "troubleshooting", "codes")  # fmt: skip
WIDEST = 100  # columns that are read with ease
# first signs of a code: what it is about
_ABOUT = {
    "E1": "Bars and time", "E2": "Settings", "E3": "Form, sections, repeats, directions", "E4": "Lines under the music",
    "E5": "Chord symbols", "E6": "The order of play", "E7": "Files of other programs", "E9": "Limits, and the text as such",
    "W1": "Warnings: the text as such", "W2": "Warnings: settings", "W3": "Warnings: form and directions",
    "W5": "Warnings: chord symbols", "W7": "Warnings: files of other programs", "W9": "Warnings: the sheet",
}  # fmt: skip
# codes whose sentence is worded where they are found
_WORDED = {
    "E230": "there is no such style",
    "W510": "a number or a numeral can mean two chords",
    "W709": "something was read in one of several ways, or left out",
}


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
    written = page(topic)
    listed = {"codes": codes, "styles": styles}.get(topic)
    return written._replace(text=f"{written.text}\n{listed()}") if listed else written


def styles() -> str:
    """Every style that is found, as `backing styles` lists them, in Markdown."""
    from backing.commands.reports import style_list

    return f"## All styles\n\n```text\n{style_list(False)}\n```\n"


def codes() -> str:
    """Every diagnostic of a chart or a file as Markdown: code, sentence, hint; `…` for what is filled in."""
    from backing.chart.codes import CODES, SYMBOL_CODES, SYMBOL_WARNINGS
    from backing.reading.findings import CODES as FOREIGN

    symbols = [*SYMBOL_CODES.items(), *SYMBOL_WARNINGS.items()]
    worded = _WORDED | {code: f"a chord symbol: {name.replace('-', ' ')}" for name, code in symbols}
    lines: list[str] = []
    group = ""
    for code, (sentence, hint) in sorted((CODES | FOREIGN).items()):
        if code[:2] != group:
            group = code[:2]
            lines += ["", f"## {_ABOUT[group]}", ""]
        lines.append(f"- **{code}** {worded.get(code) or _open(sentence)}")
        if re.search(r"\w", _open(hint)):
            lines.append(f"  *hint:* `{_open(hint)}`")
    return "\n".join(lines) + "\n"


def _open(sentence: str) -> str:
    """A sentence with `…` for what is filled in."""
    return re.sub(r"\{\w+\}", "…", sentence)


def found(words: str) -> Page:
    """The page that is asked for, whatever its capitals and blanks. Raises `RequestError` with the nearest name."""
    from backing.commands.values import near

    topic = "-".join(words.casefold().replace("-", " ").split())
    if topic in TOPICS:
        return whole(topic)
    word = re.compile(rf"(?<!\w){re.escape(words.strip())}(?!\w)", re.I)
    told = [name for name in TOPICS if word.search(page(name).text)]
    where = near(topic, TOPICS) or (f" It is told in {', '.join(told)}." if told else "")
    raise RequestError(
        f"the guide has no page {words!r}; choose one of {', '.join(TOPICS)}.{where}"
    )


def contents() -> str:
    """The topics with one line each."""
    pages = [page(topic) for topic in TOPICS]
    widest = max(len(topic) for topic in TOPICS)
    lines = [f"{one.topic:{widest}}  {one.about}" for one in pages]
    return "\n".join([*lines, "", "backing guide TOPIC shows one."])


def guide(
    topic: Annotated[
        list[str] | None, typer.Argument(metavar="[TOPIC]", help="A page; without it, the list.")
    ] = None,
    as_json: Json = False,
) -> None:
    """The manual: the chart language, a cheat sheet, recipes, styles, options, sounds, codes.

    Example: backing guide cheat-sheet
    """
    if topic is None:
        if as_json:
            listed = [page(name) for name in TOPICS]
            show([{"topic": p.topic, "title": p.title, "about": p.about} for p in listed])
        else:
            typer.echo(contents())
        return
    asked = found(" ".join(topic))
    if as_json:
        show(asked._asdict())
    elif sys.stdout is not None and sys.stdout.isatty():
        _set(asked.text)
    else:
        typer.echo(asked.text.rstrip("\n"))


def _set(text: str) -> None:
    """Markdown set for a terminal, no wider than is read with ease."""
    from rich.console import Console
    from rich.markdown import Markdown
    from rich.theme import Theme

    console = Console(theme=Theme({"markdown.code": "bold cyan"}))  # the terminal's own background
    console.width = min(console.width, WIDEST)
    console.print(Markdown(text, code_theme="ansi_dark"))
