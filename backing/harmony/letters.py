"""Characters and note names of chord symbols, and the errors that speak of them.

*Conventions*: columns count characters of the symbol as typed, from 0. What word processors and other keyboards put in
place of plain letters is folded to them (music signs, superscripts, dashes); letters that only look Latin are named.

*Sources*: Unicode names and code points; German note names of common practice (H is B natural, B is B flat).
"""

from __future__ import annotations

import re
from typing import NamedTuple

from backing.ground.errors import BackingError
from backing.ground.pitch import NoteName

LONGEST = 64  # characters of one symbol

FOLDED = {
    "♭": "b", "♯": "#", "𝄫": "bb", "𝄪": "##",
    "Δ": "Δ", "△": "Δ", "∆": "Δ", "°": "°", "º": "°", "˚": "°", "ø": "ø", "Ø": "ø", "⌀": "ø",
    "⁰": "0", "¹": "1", "²": "2", "³": "3", "⁴": "4", "⁵": "5", "⁶": "6", "⁷": "7", "⁸": "8", "⁹": "9",
    "⁺": "+", "⁻": "-", "⁽": "(", "⁾": ")",
    "\ufe0e": "", "\ufe0f": "",  # how a music sign is drawn
    "‐": "-", "‑": "-", "‒": "-", "–": "-", "—": "-", "−": "-",
}  # fmt: skip
LOOK_ALIKE = dict(
    zip("АВСЕНМОасеоміѕΑΒΕΗΜΟο", "ABCEHMOaceomisABEHMOo", strict=True)
)  # Cyrillic, then Greek
INVISIBLE = frozenset("\u00ad\u200b\u200c\u200d\u200e\u200f\u2060\ufeff")

GERMAN = re.compile(r"([A-H])(isis|eses|is|es|##|#|bb|b|(?<=[AE])(?:ses|sas|s)(?!us))?", re.ASCII)
GERMAN_IN_ENGLISH = re.compile(r"([A-GH])(isis|is|eses|es|(?<=[AE])s(?!us))")
GERMAN_ALTER = {
    None: 0, "is": 1, "#": 1, "isis": 2, "##": 2, "es": -1, "s": -1, "b": -1,
    "eses": -2, "ses": -2, "sas": -2, "bb": -2,
}  # fmt: skip
SOLFEGE = re.compile(r"(?i:do|re|mi|fa|sol|la|si|ti)")
SOLFEGE_NOTES = {
    "do": "C",
    "re": "D",
    "mi": "E",
    "fa": "F",
    "sol": "G",
    "la": "A",
    "si": "B",
    "ti": "B",
}


class SymbolWarning(NamedTuple):
    """A symbol that was read, and what its writer should know; `code` is stable."""

    code: str
    message: str


class SymbolError(BackingError, ValueError):
    """A symbol that cannot be read: a stable `code`, one sentence, what to do instead, and the column from 0.

    `offers` are symbols that may have been meant; the hint shows those that can be read.
    """

    def __init__(
        self, code: str, message: str, hint: str = "", column: int = 0, offers: tuple[str, ...] = ()
    ) -> None:
        message = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in message)
        self.code, self.message, self.column = code, message, column
        self.advice, self.offers = hint, offers
        typed = f"type {' or '.join(offers)}" if offers else ""
        self.hint = ", ".join(part for part in (typed, hint) if part)
        super().__init__(f"{message}; {self.hint}" if self.hint else message)


class Plain(NamedTuple):
    """A symbol in plain characters; `columns` says where each stood, with one more for the end."""

    text: str
    columns: tuple[int, ...]
    full_width: bool = False


def plain(typed: str) -> Plain:
    """Fold a symbol to plain characters; outer blanks are trimmed. Raises `SymbolError`."""
    text = typed.strip()
    start = len(typed) - len(typed.lstrip())
    if not text:
        raise _empty()
    if len(text) > LONGEST:
        raise SymbolError(
            "too-long",
            f"the symbol {text[:12]}… has {len(text)} characters, more than {LONGEST}",
            "type one chord such as C7(b9)",
            start + LONGEST,
        )
    if text.isascii():
        return Plain(text, tuple(range(start, start + len(text) + 1)))
    out: list[str] = []
    columns: list[int] = []
    wide = False
    for column, char in enumerate(text, start):
        if char.isascii() or char.isspace():
            put = char
        elif char in FOLDED:
            put = FOLDED[char]
        elif "！" <= char <= "～":
            put, wide = chr(ord(char) - 0xFEE0), True
        else:
            raise _foreign(char, column)
        out.append(put)
        columns.extend([column] * len(put))
    columns.append(start + len(text))
    if not "".join(out):
        raise _empty()
    return Plain("".join(out), tuple(columns), wide)


def _empty() -> SymbolError:
    return SymbolError("empty", "there is no chord symbol here", "type a chord such as C7")


def _foreign(char: str, column: int) -> SymbolError:
    import unicodedata

    name = unicodedata.name(char, "without a name")
    place = f"U+{ord(char):04X} {name}"
    if char in LOOK_ALIKE:
        latin = LOOK_ALIKE[char]
        return SymbolError(
            "look-alike-letter",
            f"this {latin} is not the Latin letter but {place}",
            f"type a plain {latin} instead",
            column,
        )
    if char in INVISIBLE:
        return SymbolError(
            "bad-character",
            f"an invisible character stands here: {place}",
            "delete it and type the symbol anew",
            column,
        )
    return SymbolError(
        "bad-character",
        f"{char!r} ({place}) has no meaning in a chord symbol",
        "delete it, or write the chord in plain letters such as Cm7b5",
        column,
    )


def note_name(text: str, at: int, columns: tuple[int, ...], german: bool) -> tuple[NoteName, int]:
    """Read a note name from `at`; returns it and the place after it. Raises `SymbolError`."""
    if german:
        found = GERMAN.match(text, at)
        if found:
            return _german(found, columns)
    letter = text[at]
    rest = text[at + 1 :]
    if not "A" <= letter <= "G":
        raise _no_note(text, at, columns)
    foreign = GERMAN_IN_ENGLISH.match(text, at)
    if foreign and not german:
        name = foreign[1] + {"i": "#", "e": "b", "s": "b"}[foreign[2][0]] * (
            2 if len(foreign[2]) == 4 else 1
        )
        raise SymbolError(
            "german-note-name",
            f"{foreign[0]} is a German note name",
            "or set note-names: german",
            columns[at],
            (text[:at] + name + text[foreign.end() :],),
        )
    end = at + 1
    alter = 0
    while end < len(text) and text[end] in "#b":
        sign = 1 if text[end] == "#" else -1
        if alter * sign < 0:
            if re.match(r"[#b](5|9|11|13)", text[end:]):
                break  # an alteration of the chord follows: Ab#5
            raise SymbolError(
                "mixed-accidentals",
                f"{text[at : end + 1]} is sharp and flat together",
                "",
                columns[end],
                tuple(text[: at + 1] + sign + rest.lstrip("#b") for sign in "#b"),
            )
        if abs(alter) == 2:
            raise SymbolError(
                "too-many-accidentals",
                f"{text[at : end + 1]} has more than two accidentals",
                "",
                columns[end],
                (text[:end] + text[end:].lstrip("#b"),),
            )
        alter += sign
        end += 1
    return NoteName(letter, alter), end


def _german(found: re.Match[str], columns: tuple[int, ...]) -> tuple[NoteName, int]:
    letter, sign = found[1], found[2]
    if letter == "H":
        return NoteName("B", GERMAN_ALTER[sign]), found.end()
    if letter == "B":
        if sign not in (None, "b"):
            raise SymbolError(
                "german-note-name",
                f"in German note names B is B flat, so {found[0]} is no note",
                "",
                columns[found.start()],
                (found.string[: found.start()] + "H" + found.string[found.end() :],),
            )
        return NoteName("B", -1), found.end()
    return NoteName(letter, GERMAN_ALTER[sign]), found.end()


def _no_note(text: str, at: int, columns: tuple[int, ...]) -> SymbolError:
    letter, rest = text[at], text[at + 1 :]
    column = columns[at]
    if letter == "H":
        return SymbolError(
            "not-a-note-name",
            "H is the German name for B natural",
            "or set note-names: german, where B means B flat",
            column,
            (f"{text[:at]}B{rest}",),
        )
    if "a" <= letter <= "g":
        offers = [text[:at] + letter.upper() + rest]
        if letter == "b" and rest[:1] != "b":
            offers.append(f"{text[:at]}Bb{rest}")
        return SymbolError(
            "lower-case-root", "a note name is a capital letter", "", column, tuple(offers)
        )
    solfege = SOLFEGE.match(text, at)
    if solfege:
        name = SOLFEGE_NOTES[solfege[0].lower()]
        return SymbolError(
            "looks-like-solfege",
            f"{solfege[0]} is a syllable, not a letter",
            "",
            column,
            (text[:at] + name + text[solfege.end() :],),
        )
    if letter in "%/|:[]=~*_.":
        return SymbolError(
            "chart-token",
            f"{letter} is a sign of the chart, not a chord",
            "type a chord such as C7",
            column,
        )
    return SymbolError(
        "not-a-note-name",
        f"{letter} is not a note; notes are A to G",
        "type a chord such as C7",
        column,
    )
