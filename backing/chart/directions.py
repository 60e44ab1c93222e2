"""From words in quotes to the directions of the table `words`.

*Conventions*: a direction is recognised whatever its capitals, dots and blanks (`DS al Coda`, `rit.`); anything else in
quotes is free text.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache

from backing.chart.ast import Direction
from backing.chart.codes import Faults, near, quoted
from backing.chart.values import FASTEST, SLOWEST
from backing.chart.words import HIGHEST, WORDS, Takes
from backing.ground.roles import ROLES

LONGEST = 40  # characters that a direction may have
ALIKE = 0.8  # of two spellings, from which one is taken for a slip in the other


def _key(name: str) -> str:
    """A spelling without what does not matter."""
    folded = " ".join(name.replace(".", " ").casefold().split())
    return folded.replace("d c", "dc").replace("d s", "ds")


_ALONE = [word for word in WORDS.values() if word.takes not in (Takes.PLAYER, Takes.FRET)]
_BY_KEY = {_key(spelling): word.name for word in _ALONE for spelling in (word.name, *word.also)}
_SIGNS = {word.sign: word.name for word in WORDS.values() if word.sign}
_MOVES = {
    spelling.rstrip("."): word.name
    for word in WORDS.values()
    if word.takes is Takes.FIGURE
    for spelling in (word.name, *word.also)
}
_TO = rf"({'|'.join(_MOVES)})\.?\s+to\s+(\S.{{0,20}})"


def recognise(text: str, start: int, end: int, faults: Faults) -> Direction | None:
    """The direction that a text in quotes is, or None for free text; says so when it nearly is one."""
    if len(text) > LONGEST:
        return None
    for sign, word in _SIGNS.items():
        if sign in text:
            text = text.replace(sign, f" {word} ")
    key = _key(text)
    name = _BY_KEY.get(key)
    if name:
        return Direction(name)
    moved = re.fullmatch(_TO, text.strip(), re.I)
    if moved:
        return _with_figure(text, _MOVES[moved[1].casefold()], moved[2].strip(), start, end, faults)
    hand = re.fullmatch(r"at (?:fret )?(\d{1,2})", key)
    if hand:
        return _with_fret(text, int(hand[1]), start, end, faults)
    first, _, rest = key.partition(" ")
    if first in WORDS and WORDS[first].takes is Takes.PLAYER:
        return _with_player(text, first, rest, start, end, faults)
    hint = _not_obeyed(key)
    if hint:
        faults.add("W306", start, end, found=quoted(text), hint=hint)
        return None
    meant = _slip(key) or _longer(key)
    if meant:
        faults.add("W303", start, end, found=quoted(text), name=meant)
    return None


def _with_figure(
    text: str, name: str, figure: str, start: int, end: int, faults: Faults
) -> Direction:
    """`rit. to 96`; a figure that no tempo has is reported."""
    plain = re.fullmatch(r"[0-9]{1,4}(?:\.[0-9]{1,3})?", figure)
    if not plain or not SLOWEST <= Fraction(figure) <= FASTEST:
        example = f"{name} to {96 if name == 'rit.' else 140}"
        faults.add("E337", start, end, found=quoted(text), example=example)
    return Direction(name, Fraction(figure) if plain else None)


def _with_fret(text: str, fret: int, start: int, end: int, faults: Faults) -> Direction:
    """`at 5`; a fret that the hand cannot lie at is reported."""
    if not 1 <= fret <= HIGHEST:
        faults.add("E339", start, end, found=quoted(text), most=HIGHEST)
    return Direction("at", Fraction(fret))


def _with_player(
    text: str, name: str, role: str, start: int, end: int, faults: Faults
) -> Direction:
    """`tacet guitar`; a player whom nobody knows is reported."""
    if role in ROLES:
        return Direction(name, role=role)
    example = near(role, ROLES) or "guitar"
    faults.add("E336", start, end, found=quoted(text), example=example)
    return Direction(name)


def _not_obeyed(key: str) -> str | None:
    """What to type for words that steer a band elsewhere, and are only printed here."""
    if key in ("nc", "n c", "no chord"):
        return "for no chord type  N.C.  without quotes"
    ending = re.fullmatch(r"([1-9])(?:st|nd|rd|th)?(?: ending| time)?", key)
    if ending:
        return f"an ending stands behind its bar line:  |{ending[1]}."
    if not any(c.isdigit() for c in key):
        return None
    from backing.chart.habits import times

    many = times(key)
    return f"a repeat is counted behind its sign:  :| x{many}" if many else None


def _slip(key: str) -> str:
    """The direction that words are one slip away from, "" for none."""
    from difflib import SequenceMatcher

    if len(key) < 4:
        return ""
    alike = {
        other: SequenceMatcher(None, key, other).ratio()
        for other in _BY_KEY
        if abs(len(other) - len(key)) <= 2 and other[:1] == key[:1]
    }
    best = max(alike, key=lambda other: alike[other], default="")
    return _BY_KEY[best] if best and alike[best] >= ALIKE else ""


def _longer(key: str) -> str:
    """The direction that stands inside of more words, "" for none."""
    longer = [n for k, n in _BY_KEY.items() if WORDS[n].longer and key.startswith(f"{k} ")]
    if longer:
        return max(longer, key=len)
    rest = re.sub(r"^(?:poco|molto|poco a poco|a little|slight|big) ", "", key)
    if rest != key:
        moved = re.fullmatch(_TO, rest, re.I)
        name = f"{_MOVES[moved[1]]} to {moved[2]}" if moved else _BY_KEY.get(rest, "")
        if name:
            return name
    return "To Coda" if re.search(r"\bal coda\b", key) else ""


def _first_words() -> frozenset[str]:
    """How a direction without quotes may begin: its first word, with and without its dots."""
    found: set[str] = set()
    for word in WORDS.values():
        if word.bare:
            first = word.name.split()[0].casefold()
            found |= {first, first.replace(".", ""), first.rstrip("."), first.replace(".", "", 1)}
    return frozenset(found)


FIRST_WORDS = _first_words()


@cache
def _named() -> re.Pattern[str]:
    """A direction by name, the longest that fits."""
    names = sorted((word.name for word in WORDS.values() if word.bare), key=len, reverse=True)
    loose = [re.escape(n).replace(r"\.", r"\.?").replace(r"\ ", r"\s+") for n in names]
    return re.compile(rf"(?:{'|'.join(loose)})(?![^\s|])", re.I)


def bare(text: str, start: int, end: int) -> re.Match[str] | None:
    """A direction typed without its quotes at `start`."""
    return _named().match(text, start, end)


def plain_name(text: str) -> str:
    """The plain form of a direction that stands alone; other words as they are."""
    return _BY_KEY.get(_key(text), text)
