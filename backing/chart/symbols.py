"""Chord symbols of a chart: read once each, with their mistakes put at their place in the text."""

from __future__ import annotations

import re

from backing.chart.ast import WANTED
from backing.chart.codes import SYMBOL_CODES, SYMBOL_WARNINGS, Faults
from backing.chart.lex import Token
from backing.chart.naming import symbol_in
from backing.harmony.symbol import Chord, SymbolError, read, read_with_warnings

LONGEST = 64
_QUALITY = r"ma?j|mi?n?[0-9b#(]|min|m$|dim|aug|sus|add|alt|[0-9#°øΔ]|b[0-9]"


class Symbols:
    """The symbols of one chart by their spelling; with `wanted` a `?` is a chord that is still to be found."""

    __slots__ = ("_faults", "_german", "_known", "_wanted", "_warned")

    def __init__(self, faults: Faults, german: bool, wanted: bool = False) -> None:
        self._wanted = wanted
        self._known: dict[str, Chord | None] = {}
        self._warned: set[str] = set()
        self._faults = faults
        self._german = german

    def read(self, token: Token, text: str) -> Chord | None:
        """The chord of `text`, which stands at the start of `token`; None for N.C. and for a mistake."""
        if text in self._known:
            return self._known[text]
        faults, start = self._faults, token.start
        if text == WANTED:
            if not self._wanted:
                faults.add("E503", start, start + len(text))
            return None
        if len(text) > LONGEST:
            faults.add("E501", start, start + len(text), length=len(text), most=LONGEST)
            return None
        try:
            chord, warnings = read_with_warnings(text, self._german)
        except SymbolError as wrong:
            at = start + max(0, min(wrong.column, len(text) - 1))
            code = SYMBOL_CODES.get(wrong.code, "E524")
            from backing.chart import misread

            guess = misread.symbol(text, self.is_chord)
            if (
                wrong.code == "lower-case-root"
                and self._german
                and self.is_chord(text.capitalize())
            ):
                guess = misread.small_letter(text)
            faults.add(code, at, start + len(text), message=wrong.message, hint=guess or wrong.hint)
            return None
        hint = self._plainly(chord) if warnings and chord else ""
        for warning in warnings:
            code = SYMBOL_WARNINGS.get(warning.code, "W504")
            faults.add(code, start, start + len(text), message=warning.message, hint=hint)
        self._known[text] = chord
        return chord

    def _plainly(self, chord: Chord) -> str:
        """How a symbol that was read with a warning is typed without one."""
        plain = symbol_in(chord, self._german)
        clear = self.is_chord(plain) and not read_with_warnings(plain, self._german)[1]
        return f"type  {plain}  if that is meant" if clear else ""

    def is_chord(self, text: str) -> bool:
        """Whether a word can be read as a chord symbol."""
        if not 0 < len(text) <= LONGEST:
            return False
        try:
            read(text, self._german)
        except SymbolError:
            return False
        return True

    def split(self, first: str, second: str) -> str | None:
        """The symbol that two words make without the blank between them, None where they make none."""
        if not re.match(_QUALITY, second) or len(first + second) > LONGEST:
            return None
        for joined in (first + second, f"{first}({second})"):
            try:
                read(joined, self._german)
            except SymbolError:
                continue
            return joined
        return None
