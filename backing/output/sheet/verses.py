"""Words under a system: each syllable under its note, with hyphens and lines; free words under their bar.

Conventions: as in `system`.
Source: hyphens stand half way between the syllables of a word, several in a wide gap; a line follows the last syllable
of a word while it is held (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from backing.output.sheet.lyrics import VERSE, free_words, sung
from backing.output.sheet.marks import REGULAR, SILENT, Line, Mark, placed, run, spoken, wrapped
from backing.output.sheet.notes import HEAD
from backing.output.sheet.system import Look, Set

VERSE_PITCH = 0.76
EVERY = 2.2  # from hyphen to hyphen in a wide gap
LINE = 0.028


class Placed(NamedTuple):
    """A syllable in its system: from, to, and where a held one ends."""

    x0: float
    x1: float
    text: str
    more: bool
    held_x: float | None


def verses_under(
    sets: Sequence[Set], look: Look, y: float, begins: bool
) -> tuple[list[Mark], float]:
    """The words of each verse under a system, and where they end."""
    marks: list[Mark] = []
    verses = max((len(s.cell.bar.words) for s in sets if s.cell.opens), default=0)
    for verse in range(verses):
        base = y + VERSE_PITCH * 0.95
        free, most = free_under(sets, look, verse, base)
        marks += free
        syllabled = placed_syllables(sets, look, verse)
        for one in syllabled:
            said = spoken(run(one.text, VERSE).marks, f"{one.text}-" if one.more else one.text)
            marks += [placed(m, one.x0, base) for m in said]
        marks += joined_syllables(syllabled, base, sets[-1].x1)
        most = max(most, 1 if syllabled else 0)
        if verses > 1 and begins:
            number = run(f"{verse + 1}.", VERSE, soft=True)
            right = sets[0].start - 0.3 if sets[0].start > 1.0 else -0.24
            if syllabled:
                right = min(right, syllabled[0].x0 - 0.16)
            marks += [placed(m, right - number.width, base) for m in number.marks]
        y += VERSE_PITCH * most + 0.05
    return marks, y + (0.1 if verses else 0.0)


def free_under(sets: Sequence[Set], look: Look, verse: int, base: float) -> tuple[list[Mark], int]:
    """Free words of a verse under their bars, and how many rows the longest takes."""
    marks: list[Mark] = []
    most = 0
    for one in sets:
        text = free_words(one.cell, verse, look.staff)
        rows = wrapped(text, VERSE, REGULAR, max(one.x1 - one.start - 0.2, 2.0))
        for i, row in enumerate(rows):
            marks += [placed(m, one.start, base + VERSE_PITCH * i) for m in run(row, VERSE).marks]
        most = max(most, len(rows))
    return marks, most


def placed_syllables(sets: Sequence[Set], look: Look, verse: int) -> list[Placed]:
    """The syllables of a verse along a system."""
    found: list[Placed] = []
    for one in sets:
        for each in sung(one.cell, verse, look.staff) or ():
            x = one.at(each.start_q) - each.aside
            if not each.text:
                found[-1:] = [last._replace(held_x=x + HEAD * look.staff) for last in found[-1:]]
                continue
            end = None if each.held_to is None else one.at(each.held_to) + HEAD * look.staff
            found.append(Placed(x, x + each.wide, each.text, each.more, end))
    return found


def joined_syllables(found: Sequence[Placed], y: float, right: float) -> list[Mark]:
    """Hyphens in words, and lines after words that are held."""
    marks: list[Mark] = []
    dash = run("-", VERSE)
    for i, one in enumerate(found):
        if one.more:
            stop = found[i + 1].x0 if i + 1 < len(found) else min(right, one.x1 + 0.6)
            count = max(1, int((stop - one.x1) / EVERY))
            for k in range(count):
                x = one.x1 + (stop - one.x1) * (k + 0.5) / count - dash.width / 2
                marks += [placed(m, x, y) for m in spoken(dash.marks, SILENT)]
        elif one.held_x is not None and one.held_x > one.x1 + 0.1:
            marks.append(Line(one.x1 + 0.05, y, one.held_x, y, LINE))
    return marks


__all__ = ["verses_under"]
