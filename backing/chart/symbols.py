"""Chord symbols of a chart: read once each, with their mistakes put at their place in the text."""

from __future__ import annotations

import re
from dataclasses import replace

from backing.chart.ast import LETTERS, WANTED
from backing.chart.codes import SYMBOL_CODES, SYMBOL_WARNINGS, Faults, quoted
from backing.chart.latin import in_names, symbol_in_letters
from backing.chart.lex import Token
from backing.chart.naming import symbol_in
from backing.ground.pitch import Key
from backing.harmony.symbol import Chord, SymbolError, read, read_with_warnings

LONGEST = 64
_QUALITY = r"ma?j|mi?n?[0-9b#(]|min|m$|dim|aug|sus|add|alt|[0-9#°øΔ]|b[0-9]"


def no_chord(word: str) -> bool:
    """Whether a word is N.C. in any of its spellings."""
    return word.replace(".", "").casefold() == "nc"


class Symbols:
    """The symbols of one chart by their spelling; with `wanted` a `?` is a chord that is still to be found."""

    __slots__ = (
        "_counted",
        "_faults",
        "_german",
        "_key",
        "_known",
        "_latin",
        "_wanted",
        "_warned",
        "notation",
    )

    def __init__(
        self, faults: Faults, german: bool, wanted: bool = False, latin: bool = False
    ) -> None:
        self._wanted = wanted
        self._counted = False
        self._known: dict[str, Chord | None] = {}
        self._warned: set[str] = set()
        self._faults = faults
        self._german, self._latin = german, latin
        self._key: Key | None = None
        self.notation = LETTERS

    def begin(self, notation: str, key: Key | None) -> None:
        """A section begins, in which chords are written so, in this key."""
        if (notation, key) != (self.notation, self._key):
            self._known = {}
        self.notation, self._key = notation, key

    def read(self, token: Token, text: str) -> Chord | None:
        """The chord of `text`, which stands at the start of `token`; None for N.C. and for a mistake."""
        if text in self._known:
            return self._known[text]
        faults, start = self._faults, token.start
        if text == WANTED:
            if not self._wanted:
                faults.add("E503", start, start + len(text))
            return None
        if self.notation != LETTERS and not no_chord(text):
            return self._in_key(text, start)
        if len(text) > LONGEST:
            faults.add("E501", start, start + len(text), length=len(text), most=LONGEST)
            return None
        try:
            plain = symbol_in_letters(text) if self._latin else text
            if plain is None:
                raise SymbolError(
                    "not-a-note-name",
                    f"{text} begins with no note; notes are do re mi fa sol la si",
                    "type a chord such as  Do  or  Sim7",
                    0,
                )
            chord, warnings = read_with_warnings(plain, self._german)
            if self._latin and chord is not None:
                chord = replace(chord, written=text)
        except SymbolError as wrong:
            at = start + max(0, min(wrong.column, len(text) - 1))
            code = SYMBOL_CODES.get(wrong.code, "E524")
            from backing.chart import misread

            if counted := misread.degree(text):
                self._counting(counted, wrong.message, code, at, start + len(text))
                return None
            guess = None if self._latin else misread.symbol(text, self.is_chord)
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

    def _counting(self, notation: str, message: str, code: str, start: int, end: int) -> None:
        """Say once that chords are counted in the key where they are read as letters."""
        if not self._counted:
            key = "" if self._key else "  and  key: C major"
            hint = f"write  chords: {notation}{key}  above the first heading, or name each chord by its note, such as  F  or  Dm7"
            self._faults.add(code, start, end, message=message, hint=hint)
        self._counted = True

    def _in_key(self, text: str, start: int) -> Chord | None:
        """The chord of a number or a numeral."""
        from backing.chart import numbers

        faults, place = self._faults, (start, start + len(text))
        if self._key is None:
            faults.add("E543", *place, notation=self.notation)
            self._known[text] = None
            return None
        chord, doubt = numbers.read_in_key(text[:LONGEST], self._key, self.notation)
        if chord is None:
            example = numbers.EXAMPLES[self.notation]
            faults.add(
                "E542",
                *place,
                found=quoted(text),
                notation=self.notation,
                hint=f"write one such as  {example}",
            )
            return None
        if doubt:
            faults.add("W510", *place, message=doubt.message, hint=doubt.hint)
        self._known[text] = replace(chord, written=text)
        return self._known[text]

    def _plainly(self, chord: Chord) -> str:
        """How a symbol that was read with a warning is typed without one."""
        plain = in_names(chord.symbol) if self._latin else symbol_in(chord, self._german)
        if self._latin:
            return f"type  {plain}  if that is meant"
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
        if self.notation != LETTERS or self._latin:
            return None
        if not re.match(_QUALITY, second) or len(first + second) > LONGEST:
            return None
        for joined in (first + second, f"{first}({second})"):
            try:
                read(joined, self._german)
            except SymbolError:
                continue
            return joined
        return None
