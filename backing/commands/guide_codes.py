"""What the guide says of diagnostics: taken from their tables and, by reading a short chart that gets it, from the reader.

Conventions: `…` stands for what is filled in. `backing/guide/codes.toml` has a chart for each code that one chart, or
one tune in ABC, can show.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

from backing.chart.codes import CODES, SYMBOL_CODES, SYMBOL_WARNINGS
from backing.ground.errors import ChartError
from backing.ground.source import Diagnostic
from backing.reading.findings import CODES as FOREIGN

KNOWN = CODES | FOREIGN
CHART, ABC = "tune.txt", "tune.abc"
SHORT = 4  # lines of a chart that are shown in a list
# first signs of a code: what it is about
_ABOUT = {
    "E1": "Bars and time", "E2": "Settings", "E3": "Form, sections, repeats, directions", "E4": "Lines under the music",
    "E5": "Chord symbols", "E6": "The order of play", "E7": "Files of other programs", "E9": "Limits, and the text as such",
    "W1": "Warnings: the text as such", "W2": "Warnings: settings", "W3": "Warnings: form and directions",
    "W4": "Warnings: lines under the music",
    "W5": "Warnings: chord symbols", "W7": "Warnings: files of other programs", "W9": "Warnings: the sheet",
}  # fmt: skip
# codes whose sentence is worded where they are found
_WORDED = {
    "E230": "there is no such style",
    "E701": "a file of another program cannot be read",
    "W701": "something that a file does not say is assumed",
    "W202": "the style has no such player to be louder or softer",
    "W510": "a number or a numeral can mean two chords",
    "W707": "of several at once (notes, tunes, parts) one is read",
    "W709": "something was read in one of several ways, or left out",
} | {
    code: f"a chord symbol: {name.replace('-', ' ')}"
    for table in (SYMBOL_CODES, SYMBOL_WARNINGS)
    for name, code in table.items()
}


@cache
def examples() -> dict[str, str]:
    """Code to a chart that gets it."""
    read = files("backing").joinpath("guide", "codes.toml").read_text("utf-8")
    return {code: str(chart) for code, chart in tomllib.loads(read).items()}


@cache
def shown(code: str) -> Diagnostic | None:
    """What the chart of a code is answered with, None where it has no chart."""
    text = examples().get(code)
    if text is None:
        return None
    return next((d for d in _found(text, ABC if code[1] == "7" else CHART) if d.code == code), None)


def _found(text: str, name: str) -> Iterator[Diagnostic]:
    """Everything that is said of a chart: by its reader, and by those who make it ready and print it."""
    from backing.commands.options import Options
    from backing.commands.preparing import prepare
    from backing.commands.writing import unseen
    from backing.reading.opened import opened

    try:
        chart = opened(text.encode("utf-8"), name)
        yield from chart.warnings
        prepared = prepare(chart)
        yield from prepared.warnings
        yield from unseen(prepared, [Options()])
    except ChartError as wrong:
        yield from wrong.diagnostics


def codes() -> str:
    """Every diagnostic of a chart or a file in one line of Markdown each, with a short chart that gets it."""
    lines: list[str] = []
    group = ""
    for code in sorted(KNOWN):
        if code[:2] != group:
            group = code[:2]
            lines += ["", f"## {_ABOUT[group]}", ""]
        lines.append(f"- **{code}** {_line(code)}")
    return "\n".join(lines).lstrip("\n") + "\n"


def _line(code: str) -> str:
    """A code in one line."""
    typed, answered = examples().get(code, "").split("\n"), shown(code)
    if answered is None or len(typed) > SHORT:
        hint = _open(KNOWN[code][1])
        return _stopped(sentence(code)) + (f" *Hint:* `{hint}`" if _says(hint) else "")
    hint = f" *Hint:* `{answered.hint}`" if answered.hint else ""
    return " ".join(f"`{line}`" for line in typed if line) + f" {_stopped(answered.message)}{hint}"


def _stopped(words: str) -> str:
    """With a full stop, where none is there."""
    return words if words.endswith(("?", "…", ".")) else f"{words}."


def _says(hint: str) -> bool:
    """Whether a hint says anything before it is filled in."""
    return re.search(r"[a-z]", hint) is not None


def sentence(code: str) -> str:
    """What was found and expected, in general."""
    return _WORDED.get(code) or _open(KNOWN[code][0])


def _open(words: str) -> str:
    return re.sub(r"\{\w+\}", "…", words)


def entry(code: str) -> tuple[str, str, str]:
    """Title, one line, and Markdown of a code: its sentence, a chart that gets it, and how that is answered."""
    about = sentence(code)
    title = f"{code}: {_ABOUT[code[:2]]}"
    answered = shown(code)
    lines = [f"# {title}", "", _stopped(about), ""]
    if answered is not None:
        lines += ["```text", examples()[code].strip(), "```", "", "is answered with", ""]
        lines += ["```text", answered.render(), "```", ""]
    elif _says(_open(KNOWN[code][1])):
        lines += [f"*Hint:* `{_open(KNOWN[code][1])}`", ""]
    stops = "A warning never stops a track." if code[0] == "W" else "An error stops the track."
    return title, about, "\n".join([*lines, stops]) + "\n"
