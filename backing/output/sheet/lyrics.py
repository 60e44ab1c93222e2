"""Which words of a bar are sung, syllable by syllable, and the room that they need.

Conventions: sizes in chord sizes; `u` is the height of the staff. A verse of a bar is set syllable by syllable where it
has hyphens or `_`, or just as many words as notes that begin; one with more of them than there are notes, and any other,
is free text from the first beat on.
Source: a syllable stands centred under its note, one that is held over several begins at the first of them (common
practice).
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from backing.output.sheet.cells import Cell
from backing.output.sheet.marks import REGULAR, width
from backing.output.sheet.notes import HEAD
from backing.output.sheet.words import typeset
from backing.output.words_sung import Syllable, syllables

VERSE = 0.58  # size of words under the bars
LEFTMOST = 0.3  # how far a syllable may begin before its note
APART = 0.2  # from word to word
HYPHEN = 0.34  # room for one


class Sung(NamedTuple):
    """A syllable under the note that begins at `start_q`, `aside` left of it, and the last note that it is held to; the
    text is empty where one of the bar before is held on."""

    start_q: Fraction
    text: str
    more: bool
    held_to: Fraction | None
    aside: float
    wide: float


def sung(cell: Cell, verse: int, u: float) -> tuple[Sung, ...] | None:
    """The syllables of a verse, None where its words are free text. `u` is the height of the staff."""
    words = cell.bar.words[verse] if verse < len(cell.bar.words) else ""
    begun = [f for f in cell.melody if f.pitch is not None and not f.tied]
    if not words or not begun or not cell.opens or not cell.closes:
        return None
    count = sum(bool(one.text) or one.held for one in syllables(words, 0))
    if count > len(begun) or (count < len(begun) and not re.search(r"\w-|_", words)):
        return None
    found: list[Sung] = []
    given = syllables(words, len(begun))
    for i, (note, one) in enumerate(zip(begun, given, strict=False)):
        if one.held and found:
            found[-1] = found[-1]._replace(held_to=note.start_q)
        elif one.held:
            found.append(Sung(note.start_q, "", False, note.start_q, 0.0, 0.0))
        elif one.text:
            held = i + 1 < len(given) and given[i + 1].held
            found.append(_sung(note.start_q, one, held, u))
    return tuple(found)


def _sung(start: Fraction, one: Syllable, held: bool, u: float) -> Sung:
    text = typeset(one.text)
    wide = width(text, REGULAR, VERSE)
    aside = 0.0 if held else max(0.0, min(LEFTMOST, (wide - HEAD * u) / 2))
    return Sung(start, text, one.more, None, aside, wide)


def note_rooms(cell: Cell, u: float) -> list[tuple[Fraction, Fraction, float]]:
    """From where to where syllables reach, and the room that they need there."""
    rooms = []
    for verse in range(len(cell.bar.words)):
        found = sung(cell, verse, u) or ()
        for i, one in enumerate(found):
            last = i + 1 == len(found)
            after = 0.0 if last else found[i + 1].aside
            need = one.wide - one.aside + after + (HYPHEN if one.more else APART)
            rooms.append((one.start_q, cell.end_q if last else found[i + 1].start_q, need))
    return rooms


def free_words(cell: Cell, verse: int, u: float) -> str:
    """The words of a verse of a bar that are not set syllable by syllable, without the signs for what is held."""
    words = cell.bar.words[verse] if verse < len(cell.bar.words) and cell.opens else ""
    return typeset(words.replace("_", "")) if words and sung(cell, verse, u) is None else ""


__all__ = ["VERSE", "Sung", "free_words", "note_rooms", "sung"]
