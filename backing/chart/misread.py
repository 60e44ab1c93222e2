"""Words that are no chord symbols: what was probably meant, for hints, once a word could not be read.

Conventions: a guess gets the word as typed and a function that says whether a word can be read as a symbol; it returns
what to do instead, or None where it has no idea.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from backing.chart.habits import SECTIONS, times

Reads = Callable[[str], bool]

_WORDS = SECTIONS - frozenset("abcd") | frozenset(
    ("all", "band", "bass", "build", "drums", "end", "guitar", "groove", "hits", "hold", "piano", "repeat", "riff",
     "slow", "soft", "stop", "stops", "time", "top")
)  # fmt: skip
_OF_CHORDS = frozenset(
    ("major", "minor", "dominant", "diminished", "augmented", "natural", "sharp", "flat")
)
_NO_CHORD = frozenset(
    ("n/c", "n.c", "n", "nc:", "tacet", "rest", "r", "z", "silence", "nochord", "none", "-", "—", "–")
)  # fmt: skip
_SIGNS_OF_BARS = {
    "𝄍": "%",
    "𝄎": "%",
    "𝄏": "%2",
    "𝄆": "|:",
    "𝄇": ":|",
    "𝄀": "|",
    "𝄁": "||",
    "𝄂": "|]",
}
_DEGREE = re.compile(r"[#b♯♭]?(?:[1-7]|[IV]{1,3}|[iv]{1,3})(?:-|m|maj7|m7|7|°|ø)?")
_LONG = re.compile(r"(?P<chord>.+?)(?:[:*(](?P<beats>[2-8])\)?|(?P<dots>[._~]+))")
_EARLY = re.compile(r"[<>^]*(?P<chord>[A-G].*?)[<>]*")
_PARTED = re.compile(r"->|[,;→>~–—.-]")


def symbol(text: str, reads: Reads) -> str | None:
    """A hint for a word that is no chord symbol; `reads` says whether one can be read."""
    return next((hint for guess in _GUESSES if (hint := guess(text, reads))), None)


def degree(text: str) -> str | None:
    """How a word counts chords in the key, `numbers` or `numerals`; None where it does not.

    >>> degree("4"), degree("vi7"), degree("C7")
    ('numbers', 'numerals', None)
    """
    if not _DEGREE.fullmatch(text):
        return None
    return "numbers" if any(c.isdigit() for c in text.lstrip("#b♯♭")[:1]) else "numerals"


def small_letter(text: str) -> str:
    """A German chord in small letters, which mean minor to some and nothing to others: `d7`."""
    found = re.match(r"([a-h](?:is|es|s)?)(.*)", text)
    root, rest = (found[1].capitalize(), found[2]) if found else (text, "")
    return f"type  {root}m{rest}  for minor or  {root}{rest}  for major"


def _other_sign(text: str, reads: Reads) -> str | None:
    """Signs for no chord, a stroke, a degree, a count, a bar line, a repeated bar."""
    if text.casefold() in _NO_CHORD:
        return "type  N.C.  for no chord, or  %  to repeat the bar before"
    if text in ("x", "X"):
        return (
            "hold the beat with  /  , or write strokes in a line under the bars:  hits: | x / / / |"
        )
    if times(text):
        return f"a count stands after the sign that ends a repeat:  :| x{times(text)}"
    if text in _SIGNS_OF_BARS:
        return f"type  {_SIGNS_OF_BARS[text]}"
    if text.startswith("%"):
        return "type  %2  to repeat two bars, or  %  in each bar that repeats the one before"
    return 'type  "Segno"  beside the chord of its bar' if text in ("$", "§") else None


def _fermata(text: str, reads: Reads) -> str | None:
    """A fermata against its chord."""
    for without in (text.replace("𝄐", ""), text.casefold().replace("(fermata)", "")):
        stem = text[: len(without)]
        if len(without) < len(text) and reads(stem):
            return f'type  "fermata" {stem}'
    return None


def _half_diminished(text: str, reads: Reads) -> str | None:
    half = re.fullmatch(r"([A-Ga-g][#b♯♭]?)(?:half-?dim(?:inished)?|hdim|½dim|(?P<bare>h))7?", text)
    if not half:
        return None
    root = half[1].capitalize()
    return (
        f"type  {root}7 , or  {root}m7b5  for half-diminished"
        if half["bare"]
        else f"type  {root}m7b5"
    )


def _slashes(text: str, reads: Reads) -> str | None:
    """Beats that touch the chord they hold."""
    stem = text.rstrip("/")
    if stem == text or not reads(stem):
        return None
    beats = len(text) - len(stem)
    held = stem + " /" * min(beats, 3)
    if beats > 1:
        return f"one item a beat, with blanks between them:  {held}"
    return f"type a bass against the slash, such as  C/E , or hold the chord for a beat:  {held}"


def _in_brackets(text: str, reads: Reads) -> str | None:
    stem = text.strip("[]{}")
    return f"type  {stem}" if stem != text and reads(stem) else None


def _early(text: str, reads: Reads) -> str | None:
    """Other signs for a chord that comes early."""
    found = _EARLY.fullmatch(text)
    if not found or found["chord"] == text or not reads(found["chord"]):
        return None
    return f"to play it early type  <{found['chord']} , to stop on it  {found['chord']}!"


def _longer(text: str, reads: Reads) -> str | None:
    """Beats counted or dotted behind a chord."""
    found = _LONG.fullmatch(text)
    if not found or not reads(found["chord"]):
        return None
    more = int(found["beats"]) - 1 if found["beats"] else len(found["dots"])
    return f"hold a chord for more beats with '/':  {found['chord']}{' /' * more}"


def _plain_word(text: str, reads: Reads) -> str | None:
    """A word for people."""
    low = text.casefold()
    named = low in _WORDS or (text.isalpha() and len(text) > 3 and text[0] not in "ABCDEFGH")
    if not named or low in _OF_CHORDS or reads(text.capitalize()):
        return None
    return f'words stand in quotes beside a chord:  "{text}"'


def _several(text: str, reads: Reads) -> str | None:
    """Chords with another sign between them than a blank."""
    parts = [p for p in _PARTED.split(text) if p]
    if len(parts) < 2 or not all(p[0] in "ABCDEFG" and reads(p) for p in parts):
        return None
    return f"part chords with blanks:  {' '.join(parts)}"


_GUESSES: tuple[Callable[[str, Reads], str | None], ...] = (
    _other_sign, _fermata, _half_diminished, _slashes, _in_brackets, _early, _longer, _plain_word, _several,
)  # fmt: skip
