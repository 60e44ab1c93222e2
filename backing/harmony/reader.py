"""The reader of chord symbols: root, quality words, number, alterations and additions, bass.

A symbol is read from left to right and never looked up whole:

    root  accidentals  words (m maj dim aug ø Δ + -)  number  (sus, add, no, alt, b9, #11, brackets …)  /bass

Words and number give a stack of thirds; what follows changes it. Nothing is dropped or guessed in silence: what has one
usual reading is taken with a warning, what has two is refused with both.

*Conventions*: `dim`, `°`, `o` without 7 are triads; `ø` and `Δ` alone hold a seventh; `+` and `-` after the root mean
augmented and minor, after a number they raise or lower the degree that follows; `b9 #9 #11 b13` add themselves only;
`sus` is `sus4`; `6/9` is the only slash that is not a bass; an accidental after the letter belongs to the root.

*Sources*: MusicXML 4.0 harmony, Harte et al. 2005, open textbooks, and common practice where these are silent.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

from backing.harmony.chord import Chord
from backing.harmony.letters import Plain, SymbolError, SymbolWarning, note_name, plain
from backing.harmony.qualities import Quality, quality
from backing.pitch import NoteName

MAJOR = re.compile(r"(?i:major|maj)|(?:ma|MA|Ma)(?!(?i:dd|ug|lt))|M(?![Ii])")
MINOR = re.compile(r"(?i:minor|min)|mi|MI|Mi|m|-")
TRIANGLE = re.compile(r"Δ|\^(?=\d)|j(?![a-zA-Z])")
AUGMENTED = re.compile(r"(?i:aug)|\+")
DIMINISHED = re.compile(r"(?i:dim)|°|o(?!mit)")
NUMBER = re.compile(r"6/9|\d+")
ALTERATION = re.compile(r"([b#+-])(1\d|\d)")
SUS = re.compile(r"(?i:sus)(24|42|\d+)?")
ADD = re.compile(r"(?i:add)([b#+-]?)(1\d|\d)?")
ADD_MAJOR = re.compile(r"(?i:add)(?:maj|ma|M|Δ)7")
OMIT = re.compile(r"(?i:omit|no)(1\d|\d)?")
ALT = re.compile(r"(?i:alt)\.?")
MAJOR_SEVENTH = re.compile(r"(?:(?i:maj)|ma|MA|Ma|M|Δ|\^|j)(13|11|9|7)|Δ")
WORD = re.compile(r"[A-Za-z]+\.?")
WORDS = ("maj", "min", "dim", "aug", "sus", "add", "omit", "no", "alt", "dom")
USUAL_ROOTS = frozenset({"Bb", "Eb", "Ab", "Db", "Gb", "F#"})
NO_CHORD = re.compile(r"n\.?c\.?", re.IGNORECASE)
SIGN = {"b": "b", "-": "b", "#": "#", "+": "#", "": ""}


@dataclass(slots=True)
class _Parts:
    """What the reader has seen of one symbol."""

    minor: bool = False
    major: bool = False  # a word for major, before the number
    triangle: bool = False
    augmented: bool = False
    diminished: bool = False
    half: bool = False
    dominant: bool = False
    alt: bool = False
    sign: str = ""  # the word for augmented or minor as typed
    number: int | None = None
    sus: set[str] = field(default_factory=set)
    naturals: list[tuple[str, int]] = field(default_factory=list)  # bare numbers: degree, place
    adds: list[tuple[str, int]] = field(default_factory=list)
    alterations: list[tuple[str, int]] = field(default_factory=list)
    omits: list[tuple[str, int]] = field(default_factory=list)
    sevenths: list[tuple[int, int]] = field(default_factory=list)  # (maj7), (maj9): number, place
    bracketed: bool = False  # the naturals stand in brackets


class _Reader:
    """One pass over the characters between root and bass."""

    def __init__(self, given: Plain, root: str, start: int, end: int, bass: str) -> None:
        self.text = given.text[:end]
        self.columns = given.columns
        self.root, self.bass = root, bass
        self.start = self.at = start
        self.parts = _Parts()
        self.warnings: list[SymbolWarning] = []

    # -- saying what is wrong

    def fail(self, code: str, message: str, *suffixes: str, at: int | None = None) -> SymbolError:
        """An error that hints at the same root with other suffixes."""
        column = self.columns[self.at if at is None else at]
        names = [self.root + s + self.bass for s in suffixes]
        hint = f"type {' or '.join(names)}" if names else ""
        return SymbolError(code, message, hint, column)

    def warn(self, code: str, message: str) -> None:
        self.warnings.append(SymbolWarning(code, message))

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        found = pattern.match(self.text, self.at)
        if found:
            self.at = found.end()
        return found

    @property
    def rest(self) -> str:
        return self.text[self.at :]

    # -- the parts in order

    def read(self) -> Quality:
        self.words()
        self.read_number()
        self.changes()
        return quality(frozenset(self.degrees()))

    def words(self) -> None:
        parts = self.parts
        if self.take(TRIANGLE):
            parts.triangle = True
        elif self.rest == "^":
            raise self.fail("ambiguous-symbol", "^ alone can mean two chords", "maj7", "")
        elif self.take(MAJOR):
            parts.major = True
            if self.text.startswith("m", self.at):
                raise self.fail(
                    "contradiction", "major and minor stand together", "m7", "mMaj7", "7"
                )
        elif found := self.take(MINOR):
            parts.minor, parts.sign = True, found[0]
            self.major_after()
        elif self.text.startswith(("ø", "°", "o", "dim", "Dim", "DIM"), self.at) and (
            not self.text.startswith("omit", self.at)
        ):
            if self.text[self.at] == "ø":
                self.at += 1
                parts.half = True
            else:
                self.take(DIMINISHED)
                parts.diminished = True
                self.major_after()
        elif found := self.take(AUGMENTED):
            parts.augmented, parts.sign = True, found[0]
            self.major_after()
        elif self.take(re.compile(r"(?i:dom)")):
            parts.dominant = True

    def major_after(self) -> None:
        """A word for major after minor, diminished or augmented: the seventh is major."""
        at = self.at
        if self.take(TRIANGLE):
            self.parts.triangle = True
        elif self.take(MAJOR):
            if not re.match(r"7|9|11|13", self.rest):
                raise self.fail(
                    "contradiction",
                    "major stands after another quality without a number",
                    self.text[self.start : at] + "(maj7)",
                    at=at,
                )
            self.parts.major = True

    def read_number(self) -> None:
        parts, at = self.parts, self.at
        found = self.take(NUMBER)
        if not found:
            if parts.dominant:
                raise self.fail("unknown-word", "dom needs a number", "7", "9", "13")
            return
        digits = found[0]
        if digits.startswith("0"):
            suffix = "dim" + digits[1:]
            raise self.fail(
                "zero-for-degree-sign",
                "a zero stands where a degree sign may be meant",
                suffix if digits[1:] in ("", "7", "9", "11") else "dim7",
                at=at,
            )
        number = 69 if digits == "6/9" else int(digits) if len(digits) < 4 else 0
        if number not in (2, 4, 5, 6, 7, 9, 11, 13, 69):
            raise self.fail("unknown-number", f"{digits[:8]} is no chord number", "7", "9", at=at)
        parts.number = number
        if number in (2, 4, 5):
            self.small_number(number, at)
        elif number in (6, 69) and (parts.diminished or parts.half):
            raise self.fail("contradiction", "a sixth does not go with diminished", "dim7", at=at)
        elif parts.dominant and number in (6, 69):
            raise self.fail("contradiction", "dom needs a seventh", "7", "9", "13", at=at)
        elif parts.diminished and number == 13 and not (parts.major or parts.triangle):
            raise self.fail(
                "contradiction", "the 13 is the seventh of dim7 again", "dim7", "dim11", at=at
            )
        if parts.sign == "+" and parts.augmented and number in (11, 13) and not parts.major:
            raise self.fail(
                "ambiguous-plus",
                f"+{number} can mean a raised degree or an augmented chord",
                f"7#{number}" if number == 11 else "13",
                f"{number}#5",
                at=at,
            )
        if parts.sign == "+" and parts.augmented and number == 9 and not parts.major:
            self.warn(
                "ambiguous-plus",
                f"read as {self.root}9#5; for a raised ninth type {self.root}7#9",
            )
        self.after_number(number)

    def small_number(self, number: int, at: int) -> None:
        """2, 4 and 5 after the root or a word."""
        parts = self.parts
        plain_root = at == self.start
        if number == 5:
            if plain_root:
                return
            parts.number = None
            if parts.sign == "-":
                parts.minor = False
                parts.alterations.append(("b5", at))
                self.warn(
                    "ambiguous-minus",
                    f"read as {self.root}(b5); for a minor chord type {self.root}m",
                )
            elif not parts.augmented:
                raise self.fail(
                    "contradiction",
                    "5 alone is root and fifth, without a third",
                    self.text[self.start : at],
                    "5",
                    at=at,
                )
        elif number == 2 and (plain_root or parts.minor):
            name = "madd9" if parts.minor else "add9"
            parts.number = None
            parts.adds.append(("9", at))
            self.warn(
                "ambiguous-number",
                f"read as {self.root}{name}; without the third type {self.root}sus2",
            )
        elif number == 4 and plain_root:
            parts.number = None
            parts.sus.add("4")
            self.warn(
                "ambiguous-number",
                f"read as {self.root}sus4; with the third type {self.root}add11",
            )
        else:
            word = self.text[self.start : at]
            raise self.fail(
                "ambiguous-number",
                f"{number} after {word} is not clear",
                f"{word}add{9 if number == 2 else 11}",
                f"sus{number}",
                at=at,
            )

    def after_number(self, number: int) -> None:
        """What may touch a number: 7M; and what is often typed in the wrong order: 7m, 7-."""
        parts, rest = self.parts, self.rest
        if number not in (7, 9, 11, 13, 6, 69):
            return
        worded = parts.minor or parts.major or parts.triangle or parts.diminished or parts.half
        if rest.startswith("M") and not rest[1:2].isalnum() and not worded and number > 6:
            self.at += 1
            parts.major = True
            return
        digits = "6/9" if number == 69 else str(number)
        if re.match(r"m(?!aj|a\d)|(?i:min)|mi", rest):
            raise self.fail("word-order", "minor stands before the number", f"m{digits}")
        if re.match(r"(?i:maj)|ma", rest) and not worded:
            raise self.fail("word-order", "maj stands before the number", f"maj{digits}")
        if rest.startswith("-") and not re.match(r"-\d", rest):
            raise self.fail("dangling-minus", "a minus stands after the number", f"m{digits}")
        if re.match(r"\+(?!\d)", rest) or re.match(r"(?i:aug)", rest):
            at = self.at
            self.at += 1 if rest[0] == "+" else 3
            if parts.augmented:
                raise self.fail("duplicate", "augmented is written twice", f"{digits}#5", at=at)
            parts.alterations.append(("#5", at))

    def changes(self) -> None:
        """Everything after the number."""
        free = True  # bare numbers are read only after an alteration
        while self.at < len(self.text):
            char = self.text[self.at]
            if char == "(":
                self.bracket()
            elif char == ")":
                raise self.fail("unbalanced-bracket", "a bracket is closed that was not opened")
            elif char == ",":
                raise self.fail("junk-at-end", "a comma stands outside brackets")
            else:
                free = self.change(bare=not free or bool(self.parts.alterations))

    def bracket(self) -> None:
        opened = self.at
        self.at += 1
        if self.text.startswith(")", self.at):
            raise self.fail("empty-bracket", "there is nothing in the brackets", "")
        while True:
            if self.at >= len(self.text):
                raise self.fail(
                    "unbalanced-bracket", "this bracket is never closed",
                    self.text[self.start :] + ")" if self.text[-1] != "(" else "", at=opened,
                )  # fmt: skip
            char = self.text[self.at]
            if char == "(":
                raise self.fail("nested-bracket", "brackets stand inside brackets")
            if char == ")":
                self.at += 1
                return
            if char == ",":
                self.at += 1
                if self.at < len(self.text) and self.text[self.at] in "),":
                    raise self.fail("empty-item", "nothing follows this comma", at=self.at - 1)
                continue
            self.parts.bracketed = True
            self.change(bare=True)

    def change(self, bare: bool) -> bool:
        """One alteration, addition, omission or word."""
        parts, at, rest = self.parts, self.at, self.rest
        if found := self.take(ADD_MAJOR):
            parts.sevenths.append((7, at))
        elif found := self.take(ADD):
            self.add(found[1], found[2], at)
        elif found := self.take(OMIT):
            if not found[1]:
                raise self.fail("omit-without-degree", "no needs a number", "no3", "no5", at=at)
            parts.omits.append((found[1], at))
        elif found := self.take(SUS):
            self.suspend(found[1], at)
        elif self.take(ALT):
            parts.alt = True
        elif found := self.take(ALTERATION):
            parts.alterations.append((self.alteration(SIGN[found[1]], int(found[2]), at), at))
        elif found := self.take(MAJOR_SEVENTH):
            parts.sevenths.append((int(found[1] or 7), at))
        elif bare and (found := self.take(re.compile(r"13|11|9|6"))):
            parts.naturals.append((found[0], at))
        elif rest[0] == "+" and not parts.augmented:
            self.at += 1
            parts.alterations.append(("#5", at))
        else:
            raise self.unknown()
        return True

    def add(self, sign: str, digits: str | None, at: int) -> None:
        if digits is None:
            raise self.fail("add-without-degree", "add needs a number", "add9", "add11", at=at)
        sign, number = SIGN[sign], int(digits)
        if number == 7 and sign == "b":
            self.parts.adds.append(("b7", at))
            return
        if number == 7:
            raise self.fail("ambiguous-add", "add7 can mean two sevenths", "7", "maj7", at=at)
        number = {2: 9, 4: 11}.get(number, number)
        if sign + str(number) not in ("3", "6", "b6", "9", "b9", "#9", "11", "#11", "13", "b13"):
            raise self.fail(
                "unknown-number", f"add{sign}{digits} names no note to add", "add9", "add11", at=at
            )
        degree = sign + str(number)
        if digits in ("2", "4") and not sign and self.parts.sus:
            degree = digits
        self.parts.adds.append((degree, at))

    def suspend(self, digits: str | None, at: int) -> None:
        parts = self.parts
        if digits in (None, "4"):
            new = {"4"}
        elif digits == "2":
            new = {"2"}
        elif digits in ("24", "42"):
            new = {"2", "4"}
        elif digits in ("7", "9", "11", "13") and parts.number is None:
            new = {"4"}
            parts.number = int(digits)
        else:
            raise self.fail("bad-sus", "sus takes 2 or 4", "sus4", "sus2", at=at)
        if parts.sus & new:
            raise self.fail("duplicate", "the same suspension is written twice", "sus4", at=at)
        parts.sus |= new

    def alteration(self, sign: str, number: int, at: int) -> str:
        """The degree that a sign and number name. `#4` is `#11`; on a seventh chord `b6` is `b13`."""
        parts = self.parts
        degree = f"{sign}{number}"
        if degree == "#4":
            return "#11"
        if degree == "b6":
            return "b13" if (parts.number or 0) >= 7 and parts.number != 69 else "b6"
        if degree in ("b5", "#5", "b9", "#9", "#11", "b13", "b7", "#7"):
            return degree
        better = {
            "b2": "7b9", "#2": "7#9", "b3": "m", "b10": "7#9", "#6": "7", "#13": "7",
            "b4": "", "b11": "", "#3": "sus4", "b12": "7b5", "#12": "7#5", "b14": "7", "#1": "",
        }.get(degree, "7b9")  # fmt: skip
        raise self.fail("unknown-number", f"{degree} is no alteration of a chord", better, at=at)

    def unknown(self) -> SymbolError:
        """The error for characters that no rule takes."""
        rest, before = self.rest, self.text[self.start : self.at]
        if rest[0] in "b#":
            return self.fail(
                "dangling-accidental", f"no number follows this {rest[0]}", before, f"{before}{rest[0]}9"
            )  # fmt: skip
        if rest[0] == "-":
            return self.fail("dangling-minus", "no number follows this minus", before)
        if rest[0].isdigit():
            return self.fail("unknown-number", f"{rest[:4]} is not clear here", before)
        word = WORD.match(rest)
        if not word:
            return self.fail("junk-at-end", f"{rest[:8]} has no meaning here", before)
        from backing.source import nearest

        near = nearest(word[0], WORDS)
        better = [before + near + rest[word.end() :]] if near else [before]
        return self.fail("unknown-word", f"{word[0][:16]} is no word of a chord symbol", *better)

    # -- from parts to degrees

    def degrees(self) -> set[str]:
        parts = self.parts
        if parts.alt:
            return self.altered()
        if parts.sus and parts.number is None and any(
            d in ("b9", "#9", "#11", "b13") for d, _ in parts.alterations
        ):  # fmt: skip
            parts.number = 7  # susb9 keeps the seventh
        have = self.stack()
        self.apply_sus(have)
        self.apply_sevenths(have)
        self.apply_alterations(have)
        for degree, at in parts.naturals:
            self.apply_natural(have, degree, at)
        for degree, at in parts.adds:
            self.apply_add(have, degree, at)
        for number, at in parts.omits:
            self.apply_omit(have, number, at)
        return have

    def altered(self) -> set[str]:
        parts = self.parts
        others = (
            parts.minor, parts.major, parts.triangle, parts.augmented, parts.diminished, parts.half,
            parts.number not in (None, 7), parts.sus, parts.naturals, parts.adds,
            parts.alterations, parts.omits, parts.sevenths,
        )  # fmt: skip
        if any(others):
            raise self.fail(
                "contradiction",
                "alt fixes fifth and ninth already, so nothing else goes with it",
                "7alt",
                at=self.start,
            )
        return set("1 3 b5 #5 b7 b9 #9".split())

    def stack(self) -> set[str]:
        """The stack of thirds that words and number name."""
        parts, number = self.parts, self.parts.number
        if number == 5:
            return {"1", "5"}
        third = "b3" if parts.minor or parts.diminished or parts.half else "3"
        fifth = "b5" if parts.diminished or parts.half else "#5" if parts.augmented else "5"
        have = {"1", third, fifth}
        if number in (6, 69):
            return have | ({"6", "9"} if number == 69 else {"6"})
        if number is None and not (parts.triangle or parts.half):
            return have
        if parts.major or parts.triangle:
            have.add("7")
        else:
            have.add("bb7" if parts.diminished else "b7")
        top = number or 7
        return have | {str(n) for n in (9, 11, 13) if n <= top}

    def apply_sus(self, have: set[str]) -> None:
        parts = self.parts
        if not parts.sus:
            return
        if parts.number == 5 or parts.diminished or parts.half:
            raise self.fail(
                "contradiction", "sus needs a third to take the place of", "sus4", at=self.start
            )
        if parts.minor:
            suffix = self.text[self.start : self.at].removeprefix(parts.sign)
            self.warn(
                "contradiction",
                f"sus takes the place of the third, so minor says nothing; read as {self.root}{suffix}",
            )
        have -= {"3", "b3"}
        have |= parts.sus
        if "4" in parts.sus:
            if "11" in have and "13" not in have:
                self.warn("redundant", f"the 11 is the sus4 again; read as {self.root}9sus4")
            have.discard("11")
        if "2" in parts.sus and "9" in have:
            raise self.fail(
                "contradiction", "2 and 9 are one note", "7sus2", "9sus4", at=self.start
            )

    def apply_sevenths(self, have: set[str]) -> None:
        parts = self.parts
        for number, at in parts.sevenths:
            if "7" in have:
                raise self.fail("duplicate", "the major seventh is written twice", at=at)
            if have & {"b7", "bb7"}:
                if not parts.minor:
                    raise self.fail(
                        "contradiction", "two sevenths stand together",
                        "dim(maj7)" if parts.diminished else f"maj{parts.number or 7}", at=at,
                    )  # fmt: skip
                have.discard("b7")
            if "6" in have:
                have.discard("6")
                have.add("13")
            if parts.number == 5:
                raise self.fail("contradiction", "5 has no seventh", "maj7", at=at)
            have.add("7")
            for n in (9, 11, 13):
                if n <= number:
                    have.add(str(n))

    def apply_alterations(self, have: set[str]) -> None:
        parts = self.parts
        seen: set[str] = set()
        for degree, at in parts.alterations:
            if degree in seen:
                raise self.fail("duplicate", f"{degree} is written twice", at=at)
            seen.add(degree)
            if degree in ("b5", "#5"):
                self.alter_fifth(have, degree, seen, at)
            elif degree in ("b7", "#7"):
                self.alter_seventh(have, degree, at)
            elif degree == "b6":
                if "6" in have:
                    raise self.fail("contradiction", "6 and b6 stand together", "6", "m(b6)", at=at)
                have.add("b6")
            else:
                self.alter_upper(have, degree, at)

    def alter_fifth(self, have: set[str], degree: str, seen: set[str], at: int) -> None:
        other = "#5" if degree == "b5" else "b5"
        if self.parts.number == 5:
            raise self.fail("contradiction", f"5 and {degree} stand together", f"({degree})", at=at)
        if degree in have:
            raise self.fail("duplicate", f"{degree} is in the chord already", at=at)
        if other in have and other not in seen:
            raise self.fail("contradiction", f"{other} and {degree} stand together", at=at)
        have.discard("5")
        have.add(degree)

    def alter_seventh(self, have: set[str], degree: str, at: int) -> None:
        parts = self.parts
        if degree == "#7" and parts.minor and not have & {"b7", "7"}:
            self.warn("old-spelling", f"read as {self.root}mMaj7, as it is written today")
            have.add("7")
        elif degree == "b7" and "b7" in have:
            raise self.fail(
                "redundant-alteration", "the seventh of this chord is a b7 already",
                "m7" if parts.minor else "7", at=at,
            )  # fmt: skip
        elif have & {"b7", "7", "bb7"}:
            raise self.fail("contradiction", "two sevenths stand together", "maj7", "7", at=at)
        else:
            m = "m" if parts.minor else ""
            better = f"{m}7" if degree == "b7" else "maj7"
            raise self.fail("ambiguous-extension", f"{degree} is written otherwise", better, at=at)

    def alter_upper(self, have: set[str], degree: str, at: int) -> None:
        """b9, #9, #11 and b13: they add themselves and stand for a natural degree below the top of the stack."""
        parts, number = self.parts, degree.lstrip("b#")
        context = have & {"6", "b7", "7", "bb7"} or parts.adds
        if not context:
            m = "m" if parts.minor else "+" if parts.augmented else ""
            raise self.fail(
                "ambiguous-extension", f"{degree} on a triad can mean two chords",
                f"{m}7({degree})", f"{m}(add{degree})", at=at,
            )  # fmt: skip
        if number in have:
            if str(parts.number) == number or (parts.number == 69 and number == "9"):
                lower = {"9": "7", "11": "9", "13": "7"}[number]
                word = "maj" if parts.major or parts.triangle else "m" if parts.minor else ""
                raise self.fail(
                    "contradiction", f"{number} and {degree} stand together",
                    f"{word}{lower}{degree}", at=at,
                )  # fmt: skip
            have.discard(number)
        have.add(degree)

    def apply_natural(self, have: set[str], degree: str, at: int) -> None:
        """A bare number in brackets: that degree alone."""
        parts = self.parts
        seventh = have & {"b7", "7", "bb7"}
        if degree == "6" and seventh:
            degree = "13"
        if not seventh and "6" not in have and not parts.adds and parts.number != 5:
            m = "m" if parts.minor else ""
            self.warn(
                "ambiguous-extension",
                f"read as {self.root}{m}{'' if degree == '6' else 'add'}{degree}",
            )
        self.include(have, degree, at)

    def apply_add(self, have: set[str], degree: str, at: int) -> None:
        if degree == "b7":
            if have & {"b7", "7", "bb7"}:
                raise self.fail("contradiction", "the chord has a seventh already", "7", at=at)
            if "6" in have:
                raise self.fail("contradiction", "6 and b7 are written 13", "7add13", at=at)
        elif degree == "6" and have & {"b7", "7", "bb7"}:
            degree = "13"
        elif degree == "11" and "4" in have and "3" not in have:
            degree = "4"
        elif degree == "9" and "2" in have:
            degree = "2"
        elif degree == "2" and "9" in have:
            degree = "9"
        self.include(have, degree, at)

    def include(self, have: set[str], degree: str, at: int) -> None:
        if degree in have or (degree == "3" and "b3" in have):
            raise self.fail("duplicate", f"the {degree} is in the chord already", at=at)
        number = degree.lstrip("b#")
        clash = {number, f"b{number}", f"#{number}"} & have
        if clash and number in ("6", "9", "11", "13") and ("b" in degree or "#" in degree) != any(
            c != number for c in clash
        ):  # fmt: skip
            raise self.fail("contradiction", f"{min(clash)} and {degree} stand together", at=at)
        if degree == "3" and "4" not in have:
            raise self.fail("contradiction", "add3 goes with sus4 only", "sus4add3", at=at)
        have.add(degree)

    def apply_omit(self, have: set[str], number: str, at: int) -> None:
        parts = self.parts
        if number == "1":
            raise self.fail("unknown-number", "the root cannot be left out", "", at=at)
        gone = [d for d in have if d.lstrip("b#") == number]
        added = number in (str(parts.number), "7") or any(
            d.lstrip("b#") == number for d, _ in parts.adds + parts.alterations + parts.naturals
        )
        if not gone:
            raise self.fail("contradiction", f"there is no {number} to leave out", at=at)
        if added:
            raise self.fail("contradiction", f"{number} is added and left out", at=at)
        have.difference_update(gone)
        if len(have) < 2:
            raise self.fail("contradiction", "only the root would be left", "5", at=at)


# -- whole symbols


def read(text: str, german: bool = False) -> Chord | None:
    """Read a symbol; None for `N.C.`. Raises `SymbolError`."""
    return read_with_warnings(text, german)[0]


@lru_cache(maxsize=8192)
def read_with_warnings(
    text: str, german: bool = False
) -> tuple[Chord | None, tuple[SymbolWarning, ...]]:
    """Read a symbol, with what its writer should know. Raises `SymbolError`."""
    given = plain(text)
    _check_blanks(given, german)
    body = given.text
    if NO_CHORD.fullmatch(body):
        return None, ()
    if found := NO_CHORD.match(body):
        if body.startswith("/", found.end()):
            raise SymbolError(
                "no-chord-with-bass",
                "N.C. has no bass",
                "type N.C.",
                given.columns[found.end()],
            )
    if "\\" in body:
        at = body.index("\\")
        raise SymbolError(
            "wrong-slash", "a bass is written with /", f"type {body.replace(chr(92), '/')}",
            given.columns[at],
        )  # fmt: skip
    root, start = note_name(body, 0, given.columns, german)
    bass, end = _bass(given, start, root, german)
    slash = f"/{bass.name}" if bass else ""
    reader = _Reader(given, root.name, start, end, slash)
    found_quality = reader.read()
    warnings = reader.warnings
    if given.full_width:
        warnings.insert(0, SymbolWarning("full-width", f"full-width characters, read as {body}"))
    warnings.extend(_unusual_root(root, body[start:end], body[:start]))
    must = found_quality.must_sound
    if bass:
        must = (found_quality.degrees[0], *must)
    chord = Chord(
        root,
        found_quality.name,
        found_quality.family,
        found_quality.degrees,
        must,
        found_quality.omit,
        found_quality.any_of,
        bass,
        text.strip(),
    )
    return chord, tuple(warnings)


def _check_blanks(given: Plain, german: bool) -> None:
    blank = re.search(r"\s", given.text)
    if not blank:
        return
    joined = "".join(given.text.split())
    try:
        chord = read_with_warnings(joined, german)[0]
        hint = f"type {chord.symbol if chord else 'N.C.'}"
    except SymbolError:
        hint = "type one symbol without blanks"
    raise SymbolError(
        "space-inside", "a blank stands inside the symbol", hint, given.columns[blank.start()]
    )


def _bass(given: Plain, start: int, root: NoteName, german: bool) -> tuple[NoteName | None, int]:
    """The bass after the last slash, and where the chord before it ends."""
    text, columns = given.text, given.columns
    at = text.rfind("/", start)
    if at < 0:
        return None, len(text)
    upper, bass = text[:at], text[at + 1 :]
    if upper.endswith("6") and re.match(r"9(?!\d)", bass):
        return None, len(text)
    name, column = root.name + text[start:at], columns[at]
    if not bass:
        raise SymbolError("missing-bass", "no bass follows the slash", f"type {name}", column)
    if re.search(r"/(?!9)", upper[start:]):
        first = upper.index("/", start)
        raise SymbolError(
            "two-basses", "a chord has one bass only",
            f"type {upper} or {upper[:first]}/{bass}", column,
        )  # fmt: skip
    if "A" <= bass[0] <= "H":
        note, end = note_name(text, at + 1, columns, german)
        if end == len(text):
            return note, at
        rest = text[end:]
        if any(c.isdigit() for c in rest):
            raise SymbolError(
                "polychord", f"{bass} is a chord, and the bass is one note",
                f"type {name}/{note.name}, or name the sound from one root, such as C13#11",
                columns[at + 1],
            )  # fmt: skip
        raise SymbolError(
            "bad-bass", "the bass is one note, not a chord", f"type {name}/{note.name}", columns[at + 1]
        )  # fmt: skip
    raise SymbolError("bad-bass", "the bass is one note, A to G", _slash_hint(name, bass), column)


def _slash_hint(name: str, bass: str) -> str:
    """What may be meant by a slash before something that is no note."""
    if re.fullmatch(r"[b#]\d+\)?", bass):
        return f"type {name}({bass})" if "(" not in name else f"type {name},{bass}"
    if bass in ("4", "sus4", "sus"):
        return f"type {name}sus4"
    if re.fullmatch(r"9|11|13", bass):
        return f"type {name}({bass})" if name[-1].isdigit() else f"type {name}add{bass}"
    if re.fullmatch(r"(?i:maj|ma|m)7|Δ7?", bass):
        return f"type {name}(maj7)"
    if "a" <= bass[0] <= "g":
        return f"type {name}/{bass[0].upper()}{bass[1:]}"
    return f"type {name}"


def _unusual_root(root: NoteName, suffix: str, typed: str) -> list[SymbolWarning]:
    """Cb9, C#11 …: the accidental belongs to the root, and perhaps was meant for the number."""
    number = re.match(r"5|9|11|13", suffix)
    if not number or not root.alter or root.name in USUAL_ROOTS:
        return []
    sign = "flat" if root.alter < 0 else "sharp"
    mark = "b" if root.alter < 0 else "#"
    degree = f"{mark}{number[0]}"
    letter = root.letter
    meant = (
        f"{letter}({degree})" if number[0] == "5" else f"{letter}7{degree} or {letter}(add{degree})"
    )
    return [
        SymbolWarning(
            f"ambiguous-{sign}",
            f"read with the root {root.name}; if {degree} on {letter} was meant, type {meant}",
        )
    ]
