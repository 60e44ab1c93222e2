"""A line that is neither a setting, a heading nor music between bar lines: what it was meant to be."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from backing.chart import curly, habits, settings
from backing.chart.codes import Faults, count, near, quoted
from backing.chart.directions import plain_name
from backing.chart.lex import Kind, Line, invisible
from backing.chart.steering import Seen
from backing.chart.words import ORDER

FEWEST_OF_A_PAGE = 3  # lines that are nothing, from which they are answered once
CURLY = "curly brackets"  # by which the desk knows the hint
MOST_GUESSED = 400  # characters from which a meaning is guessed
_CHORDLIKE = (
    r"[A-Ha-h][#b♭♯]?(?:maj|min|dim|aug|sus|add|alt|[mM0-9Δ°øo+\-()/#b,A-G])*[!=]?|[/%]|N\.?C\.?"
)


def together(found: Sequence[Line], plain: str, faults: Faults) -> frozenset[Line] | None:
    """Say once what is wrong with many lines; returns those that are answered, None where the text is no chart at all."""
    others = _page(found, plain)
    if others:
        _of_page(others, faults)
        return None
    directives = [o for o in _others(found) if curly.typed(plain[o.start : o.end]) is not None]
    if directives:
        _of_directives(directives, plain, faults)
    return frozenset(directives)


def _others(found: Sequence[Line]) -> list[Line]:
    return [one for one in found if one.kind is Kind.OTHER]


def _page(found: Sequence[Line], plain: str) -> list[Line]:
    """The lines that are nothing of a text that is no chart at all (prose, words with their chords), else none."""
    others = _others(found)
    sung = [o for o in found if o.kind is Kind.HEADING and _sung(plain[o.start : o.end])]
    if any(invisible(plain[o.start : o.end]) for o in others):
        return []
    barred = "|" in plain
    if len(sung) > barred or (others and not barred and plain[others[0].start] == "{"):
        return sorted([*others, *sung], key=lambda one: one.start)
    chords = [_chords(plain[o.start : o.end].split()) for o in others]
    over = any(above and not below for above, below in pairwise(chords))
    if barred or all(chords) or (len(others) < FEWEST_OF_A_PAGE and not over):
        return []
    return others


def _sung(text: str) -> bool:
    """Whether a line that begins with [ has chords in its words: `[Am]Every morning [F]on the way`."""
    behind = text.partition("]")[2]
    return "|" not in text and ("[" in behind or behind[:1].isalpha())


def _of_page(others: Sequence[Line], faults: Faults) -> None:
    """Say once for all of its lines that a page is no chart."""
    more = f"{_more(others)}: " if len(others) > 1 else ""
    hint = f"type chords between bar lines, such as  | C | G7 | ; {more}words with chords over them are read with  --read-as words"
    faults.add("E123", others[0].start, others[0].end, hint=hint)


def _of_directives(found: Sequence[Line], plain: str, faults: Faults) -> None:
    """Say once for all lines in curly brackets what a chart has for them."""
    first = found[0]
    mended = curly.typed(plain[first.start : first.end])
    hint = f"a chart has no {CURLY}: " + (f"type  {mended}" if mended else "take it away")
    hint += f" ; {_more(found)}" if len(found) > 1 else ""
    faults.add("E123", first.start, first.end, hint=hint)


def _more(found: Sequence[Line]) -> str:
    """
    >>> _more([Line(Kind.OTHER, 0, 1)] * 3), _more([Line(Kind.OTHER, 0, 1)] * 2)
    ('2 more lines are like this one', '1 more line is like this one')
    """
    more = len(found) - 1
    return f"{count(more, 'more line')} {'is' if more == 1 else 'are'} like this one"


def _chords(words: Sequence[str]) -> bool:
    return all(len(w) <= 16 and re.fullmatch(_CHORDLIKE, w) for w in words)


def read(line: Line, plain: str, faults: Faults, above: str) -> tuple[bool, Seen | None]:
    """Say what a line that is nothing was meant to be; `above` is the music over it in its section, "" for none.

    Returns whether it was meant as music, and the direction for the order of play that it is.
    """
    text = plain[line.start : line.end]
    hidden = invisible(text)
    if hidden:
        at = line.start + hidden.start()
        faults.add("E905", at, at + 1, found=f"U+{ord(hidden[0]):04X}")
        return True, None
    long = len(text) > MOST_GUESSED
    words = text[:MOST_GUESSED].split()
    text = " ".join(words)
    if direction := _direction(text, line, faults, above):
        return False, direction
    if re.fullmatch(r"[A-H][0-9']?[.:)]?", text) and re.match(r"\s*\n\s*\|", plain[line.end :]):
        hint = f"if a section begins here, type  [{text.rstrip('.:)')}]"
        faults.add("E123", line.start, line.end, hint=hint)
        return False, None
    section = habits.heading(text)
    if section and "|" not in text and text.strip("ABCD") != "":
        counted = habits.without_count(text.strip(" :")) is not None
        hint = f"if a section begins here, type  [{section}]"
        hint += f" , and  [{section}]  again below its bars to play it again" * counted
        faults.add("E123", line.start, line.end, hint=hint)
        return False, None
    if not long and _chords(words):
        example = "| " + " | ".join(words[:8]) + " |"
        faults.add("E101", line.start, line.end, found=quoted(words[0]), example=example)
        return True, None
    faults.add("E123", line.start, line.end, hint=_hint(text, words, bool(above)))
    return False, None


def _hint(text: str, words: list[str], below_music: bool) -> str:
    """What to type for a line that is neither a heading nor chords."""
    hint = "write a setting as  name: value , a section as  [A] , music as  | C | G7 |"
    name, equals, value = text[:80].partition("=")
    known = near(name.strip(), list(settings.SETTINGS)) if equals else None
    if known:
        hint = f"type  {known}: {value.strip()}"
    elif near(words[0], list(settings.SETTINGS)) == words[0].casefold() and len(words) > 1:
        value = " ".join(words[1:]).lstrip("-–—=: ").removeprefix("of ").split(",")[0]
        hint = f"type  {words[0].casefold()}: {value[:60]}"
    elif re.fullmatch(r"[0-9]{1,2}\s*/\s*[0-9]{1,2}", text):
        hint = f"type  meter: {text}"
    elif habits.remark(text):
        hint = f"a comment begins with # and a blank:  {(habits.remark(text) or '')[:80]}"
    elif len(words) > 3 or text[0] == "(" or (below_music and '"' in text):
        said = text.strip('"')
        hint = f"a remark is typed  # {said[:60]} , and what is sung under its bars  words: | {words[0].strip(chr(34))[:16]} | … |"
    elif len(words) <= 3 and len(text) <= 30 and all(w.isalnum() for w in words):
        hint = f"if a section begins here, type  [{text}]"
    return hint


def _direction(text: str, line: Line, faults: Faults, above: str) -> Seen | None:
    """Say that a direction for the order of play belongs into a bar; None where the line is none."""
    name = plain_name(text.strip('"').strip())
    if name not in ORDER:
        return None
    bar = re.split(r"[|:\]]+", above.rstrip(" |:]"))[-1].strip()
    hint = f'type it in quotes in its bar:  | {bar[:48] or "C"} "{name}" |'
    faults.add("E330" if '"' not in text else "E123", line.start, line.end, hint=hint)
    return Seen(name, line.start, line.end)
