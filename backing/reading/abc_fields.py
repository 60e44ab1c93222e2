"""The fields of an ABC tune: keys, meters, note lengths, tempos, the order of parts.

*Source*: the abc music standard 2.1, sections 3.1 (fields), 3.1.14 (keys) and 4.6 (meters).
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from backing.ground.pitch import MODES, Key, NoteName
from backing.ground.timebase import UNITS, Meter

_KEY = re.compile(r"([A-G])\s*([#b]?)\s*([A-Za-z]*)")
_MODES = {name[:3]: name for name in MODES} | {"": "", "maj": "", "min": "minor", "m": "minor"}
_FIFTHS = "FCGDAEB"
BAGPIPES = {"F": 1, "C": 1}  # K:HP and K:Hp: the highland pipes play F and C sharp
NOTE_WORDS = {
    Fraction(4): "whole", Fraction(3): "dotted half", Fraction(2): "half", Fraction(3, 2): "dotted quarter",
    Fraction(1): "quarter", Fraction(3, 4): "dotted eighth", Fraction(1, 2): "eighth", Fraction(1, 4): "sixteenth",
}  # fmt: skip


class Signature(NamedTuple):
    """A key, None where none is named, and how each letter is altered where no accidental stands."""

    key: Key | None
    alters: dict[str, int]
    left: str = ""  # what was not understood


def signature(text: str) -> Signature:
    """`G`, `Ador`, `F#m`, `D =c`, `none`, `HP`."""
    text = text.strip()
    if not text or text.casefold().startswith("none"):
        return Signature(None, {})
    if text[:2] in ("HP", "Hp"):
        return Signature(None, dict(BAGPIPES))
    found = _KEY.match(text)
    if not found:
        return Signature(None, {}, "" if "=" in text or text.startswith(("clef", "exp")) else text)
    word = found[3].casefold()
    mode = _MODES.get(word if word == "m" else word[:3])
    rest = text[found.end() :]
    left = ""
    if mode is None:
        is_setting = rest.startswith("=") or word in ("exp", "treble", "bass", "alto", "tenor")
        mode, left = "", "" if is_setting else found[3]
    tonic = NoteName(found[1], {"": 0, "#": 1, "b": -1}[found[2]])
    key = Key.of(tonic, mode)
    if abs(key.fifths) > 7:
        return Signature(None, {}, text)
    alters = signature_alters(key.fifths)
    for sign, letter in re.findall(r"(?<![A-Za-z])(\^{1,2}|_{1,2}|=)([A-Ga-g])(?![A-Za-z])", rest):
        alters[letter.upper()] = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}[sign]
    return Signature(key, alters, left)


def signature_alters(fifths: int) -> dict[str, int]:
    """The letters that a signature alters."""
    if fifths >= 0:
        return dict.fromkeys(_FIFTHS[:fifths], 1)
    return dict.fromkeys(_FIFTHS[fifths:], -1)


def key_value(key: Key) -> str:
    """A key as a chart sets it."""
    return key.name


def meter(text: str) -> Meter | None:
    """`6/8`, `C`, `C|`, `2+3/8`, `(2+2+3)/8`; None for a free or unknown one."""
    text = "".join(text.split())
    if text in ("C", "c"):
        return Meter.of(4, 4)
    if text in ("C|", "c|"):
        return Meter.of(2, 2)
    found = re.fullmatch(r"\(?([0-9]{1,2}(?:\+[0-9]{1,2})*)\)?/([0-9]{1,2})", text)
    if not found or int(found[2]) not in UNITS:
        return None
    groups = [int(g) for g in found[1].split("+")]
    if not 1 <= sum(groups) <= 32 or min(groups) < 1:
        return None
    return Meter.of(sum(groups), int(found[2]), groups if len(groups) > 1 else ())


def usual_length(meter: Meter | None) -> Fraction:
    """The length of a note without a figure, in quarters: a 16th where the meter is less than three quarters."""
    return Fraction(1, 4) if meter and meter.length_q < 3 else Fraction(1, 2)


def length(text: str) -> Fraction | None:
    """`1/8` in quarters."""
    found = re.fullmatch(r"\s*1(?:\s*/\s*([0-9]{1,3}))?\s*", text)
    return Fraction(4, int(found[1] or 1)) if found and int(found[1] or 1) else None


def tempo(text: str, unit_q: Fraction) -> tuple[str, str]:
    """A tempo as a chart sets it, "" for none, and the words beside it: `"Lively" 1/4=120`, `3/8=60`, `120`."""
    words = " ".join(re.findall(r'"([^"]*)"', text)).strip()
    rest = re.sub(r'"[^"]*"', "", text).strip()
    found = re.fullmatch(r"(?:C?\s*([0-9 /]*?)\s*=\s*)?([0-9]{1,4}(?:\.[0-9]+)?)", rest)
    if not found:
        return "", words
    counted = unit_q
    if found[1]:
        parts = [p for p in found[1].split() if re.fullmatch(r"[0-9]{1,2}/[1-9][0-9]?", p)]
        counted = sum((Fraction(p) * 4 for p in parts), Fraction(0)) or unit_q
    elif "=" not in rest:
        counted = unit_q
    bpm = Fraction(found[2])
    if counted not in NOTE_WORDS:
        counted, bpm = Fraction(1), bpm * counted
    figure = f"{float(bpm):.3f}".rstrip("0").rstrip(".")
    return (f"{NOTE_WORDS[counted]} = {figure}" if 10 <= bpm <= 600 else ""), words


def part_order(text: str) -> list[str] | None:
    """The order of parts: `ABAC`, `A2B`, `((AB)3C)2`; None where it cannot be read."""
    tokens = re.findall(r"[A-Za-z]|[0-9]{1,2}|[()]", text)
    if "".join(tokens) != re.sub(r"[\s.]", "", text) or len(text) > 200:
        return None
    stack: list[list[str]] = [[]]
    last: list[str] = []
    for token in tokens:
        if token == "(":
            stack.append([])
            last = []
        elif token == ")":
            if len(stack) == 1:
                return None
            last = stack.pop()
            stack[-1] += last
        elif token.isdigit():
            stack[-1] += last * (int(token) - 1)
            if len(stack[-1]) > 500:
                return None
        else:
            last = [token]
            stack[-1] += last
    return stack[0] if len(stack) == 1 and stack[0] else None
