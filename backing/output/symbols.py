"""A chord symbol taken apart for setting: what is large, what is small, what stands in brackets.

Conventions: the quality is the one spelling that `Chord.quality` has; accidentals are the signs ♭ ♯ 𝄫 𝄪. Two manners
of writing: words (`maj7`, `m7`, `dim7`) and signs (`△7`, `–7`, `°7`, `ø7`), both in common use by engravers.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from backing.chart.latin import NAMES
from backing.ground.pitch import NoteName
from backing.harmony.symbol import Chord

SIGNS = {-3: "♭𝄫", -2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪", 3: "♯𝄪"}
QUALITY = re.compile(r"(mMaj|maj|m|dim|\+)?(6/9|13|11|9|7|6|5)?(.*)", re.S)
TAIL = re.compile(r"sus24|sus[24]|add[b#]?\d+|no\d+|alt|[b#]{1,2}\d+|\(([^)]*)\)")
WORDS = {"maj": "maj", "m": "m", "mMaj": "m(maj", "dim": "dim", "+": "+"}
MARKS = {"maj": "△", "m": "–", "mMaj": "–△", "dim": "°", "+": "+"}


@dataclass(frozen=True, slots=True)
class Spelling:
    """How symbols are written on a sheet: with signs for qualities, with German or Latin names for notes."""

    signs: bool = False
    german: bool = False
    latin: bool = False


PLAIN = Spelling()


@dataclass(frozen=True, slots=True)
class Parts:
    """A symbol in pieces, in the order in which they are read."""

    root: str
    accidental: str
    quality: str
    extension: str
    word: str  # sus4, add9, alt, no3
    alterations: tuple[str, ...]
    bass: str
    bass_accidental: str


def sign(alter: int) -> str:
    """The accidental sign for an alteration, "" for a natural."""
    return SIGNS.get(alter, "")


def pretty(text: str) -> str:
    """Flats and sharps before figures as signs: `b9` is ♭9.

    >>> pretty("#11"), pretty("addb9"), pretty("bb7")
    ('♯11', 'add♭9', '𝄫7')
    """
    text = re.sub(r"bb(?=\d)", "𝄫", text)
    return re.sub(r"b(?=\d)", "♭", text).replace("#", "♯")


def note(name: NoteName, german: bool = False) -> str:
    """A note name with its sign: `B♭`; in German B natural is H and B flat is B.

    >>> [note(NoteName.parse(n), german=True) for n in ("B", "Bb", "Bbb", "F#")]
    ['H', 'B', 'H𝄫', 'F♯']
    """
    letter, alter = named(name, german)
    return letter + sign(alter)


def named(name: NoteName, german: bool, latin: bool = False) -> tuple[str, int]:
    """Letter, or name, and alteration as they are written."""
    if latin:
        return NAMES[name.letter], name.alter
    if german and name.letter == "B":
        return ("B", 0) if name.alter == -1 else ("H", name.alter)
    return name.letter, name.alter


@lru_cache(maxsize=4096)
def split(quality: str, signs: bool) -> tuple[str, str, str, tuple[str, ...]]:
    """Quality, extension, word and alterations of a `Chord.quality`.

    >>> split("m7b5", False), split("7sus4b9", False), split("maj9#11", True)
    (('m', '7', '', ('♭5',)), ('', '7', 'sus4', ('♭9',)), ('△', '9', '', ('♯11',)))
    """
    found = QUALITY.fullmatch(quality)
    assert found is not None  # the expression takes any text
    kind, extension, tail = found[1] or "", found[2] or "", found[3]
    words: list[str] = []
    alterations: list[str] = []
    for piece in TAIL.finditer(tail):
        inner = piece[1]
        if inner is not None:
            alterations.extend(pretty(part) for part in inner.split(","))
        elif piece[0][0] in "b#":
            alterations.append(pretty(piece[0]))
        else:
            words.append(pretty(piece[0]))
    if signs and kind == "m" and extension == "7" and alterations == ["♭5"]:
        return "ø", "7", "".join(words), ()
    shown = (MARKS if signs else WORDS).get(kind, "")
    if kind == "mMaj" and not signs:
        return "m", "", "".join(words), (f"maj{extension}", *alterations)
    return shown, extension, "".join(words), tuple(alterations)


def parts(chord: Chord, signs: bool = False, german: bool = False, latin: bool = False) -> Parts:
    """A chord in pieces for setting."""
    quality, extension, word, alterations = split(chord.quality, signs)
    letter, alter = named(chord.root, german, latin)
    bass, bass_alter = named(chord.bass, german, latin) if chord.bass else ("", 0)
    return Parts(letter, sign(alter), quality, extension, word, alterations, bass, sign(bass_alter))


# an accidental, a figure or numeral, its quality, and what stands behind a slash
FIGURE = re.compile(r"(b{0,2}|#{0,2})([1-7]|[IVN]+|[iv]+|sub[IV]+|Ger|Fr|It)([^/]*)(?:/(.+))?")


def pretty_accidentals(text: str) -> str:
    """`b` and `#` as signs."""
    return text.replace("bb", "𝄫").replace("b", "♭").replace("#", "♯")


def numbered_parts(text: str) -> Parts:
    """A number or numeral in pieces; its accidental stands before the figure.

    >>> numbered_parts("b7^13").root, numbered_parts("2-7/1").quality, numbered_parts("2-7/1").bass
    ('♭7', '-', '1')
    """
    found = FIGURE.fullmatch(text)
    if found is None:
        return Parts(text, "", "", "", "", (), "", "")
    kind, high = re.fullmatch(r"([^0-9b#()]*)(.*)", found[3].replace("^", ""), re.S).groups()  # type: ignore[union-attr]  # fits any text
    root = pretty_accidentals(found[1]) + found[2]
    return Parts(root, "", kind, pretty(high), "", (), pretty(found[4] or ""), "")
