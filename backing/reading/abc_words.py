"""Words under the notes of an ABC tune.

*Source*: the abc music standard 2.1, section 5: blanks part words, `-` syllables; `_` holds, `*` skips a note, `~` is a
blank inside a syllable, `|` goes on to the next bar.
"""

from __future__ import annotations

import re

_TOKEN = re.compile(
    r"(?P<bar>\|)|(?P<hold>_)|(?P<skip>\*)|(?P<dash>-)|(?P<text>(?:\\-|[^\s|_*\-])+)|\s+"
)


class Sung:
    """The notes of the last line of music, each with the list that takes its syllables, and where bars end."""

    def __init__(self) -> None:
        self.notes: list[list[str]] = []
        self.places: list[int] = []  # the bar of each note
        self.bars = 0
        self.verses = 0

    def begin(self) -> None:
        """A new line of music: notes that have words are done with."""
        if self.verses or self.notes:
            self.notes, self.places, self.bars, self.verses = [], [], 0, 0

    def note(self, syllables: list[str]) -> None:
        self.notes.append(syllables)
        self.places.append(self.bars)

    def bar_line(self) -> None:
        self.bars += 1

    def verse(self, syllables: list[str], more: bool) -> None:
        """A line of words: a new verse, or the same one gone on with."""
        if more and self.verses:
            sung = max(
                (i + 1 for i, n in enumerate(self.notes) if len(n) == self.verses), default=0
            )
            pairs = zip(self.notes[sung:], syllables, strict=False)
            number = self.verses
        else:
            self.verses += 1
            pairs, number = zip(self.notes, syllables, strict=False), self.verses
        for note, syllable in pairs:
            note.extend([""] * (number - 1 - len(note)))
            note.append(syllable)


def align(text: str, places: list[int]) -> list[str]:
    """One syllable a note, as `words:` of a chart types them; `places` are the bars of the notes.

    >>> align("o-ver the_ sea", [0, 0, 0, 1, 1])
    ['o-', 'ver', 'the', '_', 'sea']
    """
    found: list[str] = []
    bar = places[0] if places else 0
    for token in _TOKEN.finditer(text):
        kind = token.lastgroup
        if kind == "text":
            found.append(re.sub(r"\\-", "‑", token[0]).replace("~", "\u00a0"))
        elif kind == "hold":
            found.append("_")
        elif kind == "skip":
            found.append("")
        elif kind == "dash" and found:
            if found[-1].endswith("-") or found[-1] in ("_", ""):
                found.append("_")
            else:
                found[-1] += "-"
        elif kind == "bar":
            bar += 1
            target = next((i for i, b in enumerate(places) if b >= bar), len(places))
            found += [""] * (target - len(found))
    return found
