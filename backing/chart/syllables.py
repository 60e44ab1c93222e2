"""Syllables in a line of words: what is one, and whether the melody has a note for each.

Conventions: words are free text; with a melody `-` ends a syllable that goes on, and `_` holds one for a note more. A line
that has neither sign is free text, of which nothing is said.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from backing.chart.ast import Bar
from backing.chart.codes import Faults, count
from backing.ground.source import Span

PIECE = re.compile(r"_|[^\s_-]+-?|-")
SIGNS = re.compile(r"\w-|_")  # that make a line of words one of syllables


def asked(words: str) -> int:
    """How many notes the words of a bar ask for.

    >>> asked("Slow-ly the"), asked("tide__ came"), asked("to -"), asked("")
    (3, 4, 1, 0)
    """
    return sum(piece != "-" for piece in PIECE.findall(words))


def check(bars: Sequence[Bar], verse: int, line: Span, plain: str, faults: Faults) -> None:
    """Warn once of a verse with more syllables in a bar than notes begin there; `line` holds its words with bar lines."""
    if not any(SIGNS.search(bar.words[verse]) for bar in bars):
        return
    edges = [found.start() for found in re.finditer(r"\|", plain[line.start : line.end])]
    over = [i for i, bar in enumerate(bars) if asked(bar.words[verse]) > _begun(bar) > 0]
    if not over or len(edges) <= over[0] + 1:
        return
    bar, (left, right) = bars[over[0]], edges[over[0] : over[0] + 2]
    more = f" ; the same in {count(len(over) - 1, 'more bar')}" if len(over) > 1 else ""
    faults.add(
        "W401",
        line.start + left + 1,
        line.start + right,
        count=count(asked(bar.words[verse]), "syllable"),
        notes=count(_begun(bar), "note"),
        more=more,
    )


def _begun(bar: Bar) -> int:
    """How many notes of the melody begin in a bar."""
    return sum(1 for note in bar.melody or () if note.pitch is not None and not note.held)
