"""Chord symbols as other formats and other people write them, typed as a chart has them."""

from __future__ import annotations

import re
from functools import lru_cache

from backing.chart.codes import Faults
from backing.chart.directions import recognise
from backing.ground.source import Source
from backing.harmony.symbol import SymbolError, read

NO_CHORD = "N.C."
_NO_CHORD = re.compile(r"\(?(?:N\.?\s?C\.?|no chord|tacet|-+)\)?", re.I)


@lru_cache(maxsize=4096)
def typed_symbol(text: str, german: bool = False) -> str | None:
    """The symbol that a text is, as a chart types it; None where it is none.

    >>> [typed_symbol(t) for t in ("C#m7", "(Am)", "B♭ 7", "n.c.", "swing")]
    ['C#m7', 'Am', 'Bb7', 'N.C.', None]
    """
    text = text.strip().replace("♯", "#").replace("♭", "b").replace("\u00a0", " ")
    if _NO_CHORD.fullmatch(text):
        return NO_CHORD
    plain = "".join(text.split())
    if not plain or len(plain) > 40:
        return None
    for tried in (plain, plain.removeprefix("(").removesuffix(")") if plain[0] == "(" else plain):
        try:
            chord = read(tried, german)
        except SymbolError:
            continue
        if chord is not None and not set(tried) & set('|"<!=? '):
            return tried
    return None


@lru_cache(maxsize=1024)
def is_direction(text: str) -> bool:
    """Whether words are a direction that the band obeys."""
    return recognise(text, 0, 0, Faults(Source("", ""))) is not None
