"""What the page says where no script runs: the chords as text, and how to have it play.

Conventions: HTML text, everything from the chart escaped; bars stand between strokes as on a lead sheet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

HINT = (
    "To hear it, open this file in a browser: on a phone, share or save it and choose the browser to open it with; "
    "on a computer, open it with any browser. Previews in mail and file programs do not play it."
)


def line_of(data: Mapping[str, Any]) -> str:
    """The plain line under the title: style, tempo, key, and what a guitar has to know."""
    sounds = in_full(data["keys"][6])
    words = [data["style"], f"{data['beat']['sign']} = {data['beat']['bpm']:.4g}"]
    if data["hand"]:
        words += [in_full(data["hand"]["keys"][6]), f"{data['hand']['how']} (sounds in {sounds})"]
    else:
        words.append(sounds)
    return ", ".join(words)


def in_full(key: str) -> str:
    """A key with its mode: `E♭ major`."""
    return key if " " in key else f"{key} major"


def chord_text(data: Mapping[str, Any]) -> str:
    """Every section once a playing, its bars as lines of four."""
    by_bar: dict[int, list[str]] = {}
    for chord in data["chords"]:
        number = chord["symbol"]
        shown = symbol_text(data["parts"][data["symbols"][number][6]]) if number >= 0 else "N.C."
        by_bar.setdefault(chord["bar"], []).append(shown)
    found = []
    for section in data["sections"]:
        bars = range(section["first"], section["last"] + 1)
        lines = lines_of([" ".join(by_bar.get(bar, [])) for bar in bars])
        name = f'<h2 dir="auto">{escape(section["name"])}</h2>\n' if section["named"] else ""
        found.append(f"{name}<pre>{escape(lines)}</pre>")
    return "\n".join(found)


def lines_of(bars: Sequence[str], most: int = 4) -> str:
    """Bars between strokes, so many in a line.

    >>> print(lines_of(["C Am", "F", "G7", "C", "C"]))
    | C Am | F | G7 | C |
    | C |
    """
    rows = [bars[i : i + most] for i in range(0, len(bars), most)]
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def symbol_text(part: Mapping[str, Any]) -> str:
    """A symbol in one run of text: `D♭13(♯11)/F`."""
    whole = f"{part['root']}{part['sign']}{part['quality']}{part['high']}"
    if part["alter"]:
        whole += f"({' '.join(part['alter'])})"
    return whole + (f"/{part['bass']}{part['bassSign']}" if part["bass"] else "")
