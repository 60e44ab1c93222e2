"""What stands before the first bar line of a line of music, or behind its last one, and is no music.

Conventions: each function notes the mistake and returns the bars without what is none.
"""

from __future__ import annotations

import re

from backing.chart import habits
from backing.chart.alone import MOST_GUESSED
from backing.chart.codes import quoted
from backing.chart.directions import FIRST_WORDS, plain_name
from backing.chart.lex import UNDER, Cell, Line
from backing.chart.piece import Piece
from backing.chart.settings import SETTINGS
from backing.chart.steering import Seen
from backing.chart.words import ORDER, WORDS


def after(piece: Piece, found: list[Cell]) -> tuple[list[Cell], bool]:
    """Say what stands after the last bar line where it is no music; the cells without it, and whether there was some."""
    tokens = found[-1].tokens
    first = tokens[0]
    if len(found) > 1 and _directed(piece, found):
        return found[:-1], True
    if len(found) == 1 or first.kind in ("text", "meter", "(", "<", "%", "/", "broken"):
        number = habits.times(piece.plain[first.start : tokens[-1].end][:MOST_GUESSED])
        if number is None:
            return found, False
    elif first.text[0] in "ABCDEFGH" or first.text.casefold() in FIRST_WORDS:
        return found, False
    start, end = first.start, tokens[-1].end
    text = " ".join(piece.typed[start : min(end, start + MOST_GUESSED)].split())
    number = habits.times(text)
    left = found[-1].left
    if number and left.times and not left.counted:
        piece.faults.add("E325", start, end, found=quoted(text), times=number)
    elif number:
        hint = f"put the bars that are repeated between  |:  and  :| x{number}"
        piece.faults.add("E128", start, end, found=quoted(text), hint=hint)
    elif piece.symbols.is_chord(first.text.capitalize()):
        return found, False
    else:
        said = habits.remark(text) or f"# {text}"
        piece.faults.add("E128", start, end, found=quoted(text), hint=f"type  {said[:80]}")
    return found[:-1], True


def _directed(piece: Piece, found: list[Cell]) -> bool:
    """Say that a direction alone behind the last bar line belongs into the last bar; False where there is none."""
    tokens = found[-1].tokens
    start, end = tokens[0].start, tokens[-1].end
    text = piece.typed[start:end]
    words = piece.plain[start:end].strip('"')
    name = plain_name(words)
    if name not in WORDS or any(t.kind not in ("text", "word") for t in tokens):
        return False
    last = piece.typed[found[-2].start : found[-2].end]
    hint = f'type it in its bar:  | {last[:48]} "{name}" |'
    piece.faults.add("E128", start, end, found=quoted(text), hint=hint)
    if name in ORDER:
        piece.seen.append(Seen(name, start, end))
    return True


def before(piece: Piece, line: Line, found: list[Cell]) -> list[Cell]:
    """Say that the first bar line is missing; the cells without what is no music before it."""
    plain, typed = piece.plain, piece.typed
    text = plain[line.start : line.end]
    first = text.split(None, 1)[0]
    tokens = found[0].tokens
    start = tokens[0].start if tokens else line.start
    if re.match(r"[A-Ga-g][#b]?\|[-0-9][-0-9hpbxs/\\~|\s]*$", text):
        hint = "tablature is no part of a chart: put # and a blank before each of its lines"
        piece.faults.add("E123", line.start, line.end, hint=hint)
        return []
    name = first.casefold()
    if name in UNDER or name in SETTINGS:
        value = text[len(first) :].strip() if name in UNDER else text[len(first) :].strip(" |")
        hint = f"type  {name}: {value[:60]}"
        piece.faults.add("E123", line.start, line.start + len(first), hint=hint)
        return []
    example, shown = text.strip("| "), found
    if tokens and len(found) > 1:
        rest = typed[found[1].start : line.end].strip("| ")
        words = "".join(t.text for t in tokens)
        if all(t.kind == "text" for t in tokens):
            said = typed[tokens[0].start : tokens[-1].end]
            example, shown = f"{said} {rest}", found[1:]
        elif words in "$§":
            example, shown = f'"Segno" {rest}', found[1:]
        elif words.rstrip(".:)").isdigit():
            example, shown = rest, found[1:]
    end = start + len(first) if shown is found else tokens[-1].end
    piece.faults.add(
        "E101", start, end, found=quoted(typed[start:end]), example=f"| {example[:60]} |"
    )
    return shown
