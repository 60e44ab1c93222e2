"""The words under a bar, syllable by syllable, as programs for notation want them.

Conventions: the words of a chart are free text; with a melody `-` ends a syllable that goes on, and `_` holds one for a
note more. A syllable without a note stands at the note before it, after a blank.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from backing.chart.syllables import PIECE


class Syllable(NamedTuple):
    """What one note is sung on. `held` where the syllable before goes on; `more` where the word goes on after it."""

    text: str = ""
    held: bool = False
    more: bool = False


def unsung(words: str) -> str:
    """The words as they are read where no notes stand over them, not cut into syllables.

    >>> unsung("No-bo-dy_ waits"), unsung("land-ing to-")
    ('Nobody waits', 'landing to-')
    """
    return re.sub(r"(?<=\w)-(?=\w)", "", words.replace("_", ""))


def syllables(words: str, notes: int) -> list[Syllable]:
    """One a note.

    >>> [s.text for s in syllables("o-ver the_ sea", 5)], [s.held for s in syllables("the_ sea", 3)]
    (['o', 'ver', 'the', '', 'sea'], [False, True, False])
    """
    found: list[Syllable] = []
    for piece in PIECE.findall(words):
        if piece == "_":
            found.append(Syllable(held=True))
        elif piece != "-":
            found.append(Syllable(piece.removesuffix("-"), more=piece.endswith("-")))
        elif found:
            found[-1] = found[-1]._replace(more=True)
    if notes and len(found) > notes:
        last = found[notes - 1 :]
        text = " ".join(s.text for s in last if s.text)
        found[notes - 1 :] = [Syllable(text, more=last[-1].more)]
    return found + [Syllable()] * (notes - len(found))
