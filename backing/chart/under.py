"""Lines under a line of music: melody, hits, kicks and words, bar by bar.

Conventions: times are quarters from the bar line, by the same rules as chords; a rest is a note without pitch or hit.
Pitch is scientific (C4 is middle C, MIDI 60).
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from backing.chart.ast import Bar, LineNote
from backing.chart.codes import Faults, count, quoted
from backing.chart.latin import note_in_letters
from backing.chart.lex import Cell, Line, cells, invisible
from backing.chart.music import Leaf, content, timed
from backing.chart.time import Space
from backing.ground.pitch import NoteName, Pitch
from backing.ground.source import Span

_NOTE = r"([A-H])((?:##?|bb?|♯|♭|isis|is|eses|es|s)?)((?:-?[0-9]{1,2})?)"
_ALTER = {"": 0, "#": 1, "##": 2, "b": -1, "bb": -2, "♯": 1, "♭": -1, "is": 1, "isis": 2, "es": -1, "eses": -2, "s": -1}  # fmt: skip
_EXAMPLE = {"melody": "| D5 / F5 / |", "hits": "| x / r x |", "kicks": "| x / r x |", "words": "| Night falls |"}  # fmt: skip


MOST_VERSES = 20


class Sounding(NamedTuple):
    """What a `/` at the start of a bar holds: a note, a hit or a rest."""

    pitch: Pitch | None
    hit: bool


Before = dict[str, Sounding | None]


def attach(
    line: Line,
    bars: list[Bar],
    spaces: Sequence[Space],
    before: Before,
    typed: str,
    plain: str,
    faults: Faults,
    german: bool,
    latin: bool = False,
) -> list[Bar]:
    """The bars of a line of music with what `line` says under them."""
    name = line.name
    if name == "words" and len(bars[0].words) == MOST_VERSES:
        faults.add("E411", line.start, line.value, most=MOST_VERSES)
        return bars
    if name != "words" and any(getattr(bar, name) is not None for bar in bars):
        faults.add("E403", line.start, line.value, name=name)
        return bars
    if line.value >= line.end or plain[line.value] not in "|:":
        text = typed[line.value : line.end].strip().rstrip("|").rstrip()
        example = f"| {text[:60]} |" if text else _EXAMPLE[name]
        faults.add("E410", line.start, line.end, name=name, example=example)
        return bars
    if name == "words":
        return _words(line, bars, typed, plain, faults)
    found, _, ended = cells(plain, line.value, line.end, faults)
    if not ended:
        faults.add("E410", line.end - 1, line.end, name=name, example=_EXAMPLE[name])
    return _notes(line, found, bars, spaces, before, typed, faults, german, latin)


def _count(line: Line, have: int, bars: Sequence[Bar], faults: Faults) -> None:
    hint = f"write {count(len(bars), 'bar')} under the bars above"
    if any(bar.simile == 3 for bar in bars):
        hint += "; %2 stands for two bars"
    faults.add(
        "E402", line.start, line.value, name=line.name, count=count(have, "bar"), expected=len(bars), hint=hint
    )  # fmt: skip


def _words(line: Line, bars: list[Bar], typed: str, plain: str, faults: Faults) -> list[Bar]:
    text = plain[line.value : line.end]
    if not text.endswith("|"):
        faults.add("E410", line.end - 1, line.end, name="words", example=_EXAMPLE["words"])
    edges = [i for i, c in enumerate(text) if c == "|"]
    if not text.endswith("|"):
        edges.append(len(text))
    verse = [
        " ".join(typed[line.value + a + 1 : line.value + b].split())
        for a, b in itertools.pairwise(edges)
    ]
    if len(verse) != len(bars):
        _count(line, len(verse), bars, faults)
        return bars
    return [replace(bar, words=(*bar.words, word)) for bar, word in zip(bars, verse, strict=True)]


def _notes(
    line: Line,
    found: list[Cell],
    bars: list[Bar],
    spaces: Sequence[Space],
    before: Before,
    typed: str,
    faults: Faults,
    german: bool,
    latin: bool,
) -> list[Bar]:
    name = line.name
    made: list[tuple[tuple[LineNote, ...], str]] = []
    for cell in found:
        place = len(made)
        space = spaces[min(place, len(spaces) - 1)]
        start, end = cell.start, cell.end
        if not cell.tokens:
            faults.add("E406", cell.left.start, cell.right.end, name=name)
            made.append(((), ""))
            continue
        sorted_ = content(cell.tokens, typed, faults, sign=True)
        if sorted_.repeat:
            made.extend(
                _repeated(sorted_.repeat.text, sorted_.leaves, name, made, spaces, cell, faults)
            )
        elif not sorted_.leaves:
            made.append(((), ""))  # what stands here was reported
        else:
            noun = "note" if name == "melody" else "sign"
            times = timed(sorted_, space, faults, start, end, noun)
            notes: list[LineNote] = []
            for i, leaf in enumerate(sorted_.leaves):
                at, length = times[i] if times else (space.length_q * 0, space.length_q)
                _note(leaf, at, length, notes, name, before, faults, german, latin)
            made.append((tuple(notes), sorted_.text))
        last = made[-1][0][-1:] if made else ()
        if last:
            before[name] = Sounding(last[0].pitch, last[0].hit)
    if len(made) != len(bars):
        _count(line, len(made), bars, faults)
        return bars
    return [_with(bar, name, notes, text) for bar, (notes, text) in zip(bars, made, strict=True)]


def _with(bar: Bar, name: str, notes: tuple[LineNote, ...], text: str) -> Bar:
    if name == "melody":
        return replace(bar, melody=notes, melody_text=text)
    if name == "hits":
        return replace(bar, hits=notes, hits_text=text)
    return replace(bar, kicks=notes, kicks_text=text)


def _repeated(
    sign: str,
    leaves: list[Leaf],
    name: str,
    made: list[tuple[tuple[LineNote, ...], str]],
    spaces: Sequence[Space],
    cell: Cell,
    faults: Faults,
) -> list[tuple[tuple[LineNote, ...], str]]:
    """The bars that `%` or `%2` repeats, from the same line."""
    many = len(sign)
    if leaves:
        faults.add("E111", cell.start, cell.end, found=sign)
    if len(made) < many:
        instead = (
            "r for a bar of rest, or the notes"
            if name == "melody"
            else "r for a bar of rest, or the hits"
        )
        have = _none(len(made))
        faults.add("E112", cell.start, cell.end, found=sign, have=have, instead=instead)
        return [((), "")] * many
    place = len(made)
    for i in range(many):
        old, new = (spaces[min(at + i, len(spaces) - 1)] for at in (place - many, place))
        if old.length_q != new.length_q:
            faults.add(
                "E113", cell.start, cell.end, found=sign, before=old.meter.name, here=new.meter.name
            )
            break
    span = Span(cell.start, cell.end)
    copies: list[tuple[tuple[LineNote, ...], str]] = []
    last = (made[-1][0] or (None,))[-1]
    for i, (notes, _) in enumerate(made[-many:]):
        copied = []
        for n in notes:
            sounds = last is not None and (n.pitch, n.hit) == (last.pitch, last.hit)
            copied.append(replace(n, held=n.held and sounds, span=span))
            last = n
        copies.append((tuple(copied), "" if i else sign))
    return copies


def _none(number: int) -> str:
    return "no bar" if number == 0 else f"only {count(number, 'bar')}"


def _note(
    leaf: Leaf,
    at: Fraction,
    length: Fraction,
    notes: list[LineNote],
    name: str,
    before: Before,
    faults: Faults,
    german: bool,
    latin: bool,
) -> None:
    span = Span(leaf.token.start, leaf.token.end)
    if leaf.hold:
        if notes:
            notes[-1] = replace(notes[-1], length_q=notes[-1].length_q + length)
            return
        sounding = before.get(name)
        if sounding is None:
            what = "a note" if name == "melody" else "a hit"
            faults.add("E114", span.start, span.end, what=f"{what} or r")
            sounding = Sounding(None, False)
        sounds = sounding.pitch is not None or sounding.hit
        notes.append(LineNote(at, length, span, sounding.pitch, sounding.hit, held=sounds))
        return
    pitch, hit = None, False
    if leaf.pushed:
        faults.add(
            "E409",
            span.start - 1,
            span.end,
            found="'<'",
            name=name,
            hint="write the note where it sounds",
        )
    if leaf.word not in ("r", "R"):
        if name == "melody":
            plain = note_in_letters(leaf.word) if latin else leaf.word
            pitch = read_note(leaf.word if plain is None else plain, german, span, faults)
        elif leaf.word in ("x", "X"):
            hit = True
        else:
            faults.add("E405", span.start, span.end, value=quoted(leaf.word))
    notes.append(LineNote(at, length, span, pitch, hit))


def read_note(word: str, german: bool, span: Span, faults: Faults) -> Pitch | None:
    """A melody note; says what is wrong with one that cannot be read."""
    found = re.fullmatch(_NOTE, word)
    usual = "write a letter and an octave, such as D5 or Bb4; r is a rest"
    if not found:
        upper = word[:1].upper() + word[1:]
        hint = f"write  {upper}" if upper != word and re.fullmatch(_NOTE, upper) else usual
        stem = word.rstrip("-–—._~")
        if stem != word and re.fullmatch(_NOTE, stem):
            hint = f"hold it with '/' for each beat that it lasts:  {stem} /"
        if invisible(word):
            hint = "delete the invisible character in it"
        faults.add("E404", span.start, span.end, value=quoted(word), hint=hint)
        return None
    letter, sign, octave = found[1], found[2], found[3]
    spelled_out = sign in ("is", "isis", "es", "eses", "s")
    if not german and (letter == "H" or spelled_out):
        name = ("B" if letter == "H" else letter) + (
            "#" if "is" in sign else "b" if spelled_out else sign
        )
        hint = f"write  {name}{octave or 4}  or set  note-names: german"
        faults.add("E404", span.start, span.end, value=quoted(word), hint=hint)
        return None
    if not octave:
        faults.add("E407", span.start, span.end, value=quoted(word), example=f"{word}4")
        return None
    alter = _ALTER[sign]
    if german and letter == "B" and not sign:
        alter = -1
    pitch = Pitch(NoteName("B" if letter == "H" else letter, alter), int(octave))
    if not 12 <= pitch.midi <= 127:
        example = f"{letter}{sign}{min(max(int(octave), 1), 8)}"
        faults.add("E408", span.start, span.end, value=quoted(word), example=example)
        return None
    return pitch
