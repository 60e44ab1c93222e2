"""Notes and symbols in the names that a chart uses for them.

*Sources*: German note names (H, B) as every theory primer lists them.
"""

from __future__ import annotations

from backing.ground.pitch import NoteName
from backing.harmony.symbol import Chord


def named(note: NoteName, german: bool) -> str:
    """A note as the chart names notes: in German B natural is H and B flat is B."""
    if german and note.letter == "B":
        return {0: "H", -1: "B"}.get(note.alter, note.name.replace("B", "H", 1))
    return note.name


def symbol_in(chord: Chord, german: bool) -> str:
    """A symbol with its notes named as the chart names notes.

    >>> from backing.harmony.symbol import read
    >>> symbol_in(read("Bm7/Bb"), True)  # type: ignore[arg-type]
    'Hm7/B'
    """
    if not german:
        return chord.symbol
    rest = chord.symbol.removeprefix(chord.root.name)
    if chord.bass is not None:
        rest = f"{rest.removesuffix(chord.bass.name)}{named(chord.bass, german)}"
    return named(chord.root, german) + rest
