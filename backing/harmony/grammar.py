"""The grammar of everything between root and bass.

    words (m maj dim aug ø Δ + -)  number  (sus, add, no, alt, b9, #11, brackets …)

Words and number give a stack of thirds; what follows changes it.

*Conventions*: `dim`, `°`, `o` without 7 are triads; `ø` and `Δ` alone hold a seventh; `+` and `-` after the root mean
augmented and minor, after a number they raise or lower the degree that follows; `b9 #9 #11 b13` add themselves only;
`sus` is `sus4`, and without a number `susb9` and `sus9` hold the seventh; `add2` is `add9`, `add4` is `add11`.

*Sources*: MusicXML 4.0 harmony, Harte et al. 2005, open textbooks, and common practice where these are silent.
"""

from __future__ import annotations

import re

from backing.harmony.letters import SymbolError
from backing.harmony.stack import Stack

MAJOR = re.compile(r"(?i:major|maj)|(?:ma|MA|Ma)(?!(?i:dd|ug|lt))|M(?![Ii])")
MINOR = re.compile(r"(?i:minor|min)|mi|MI|Mi|m|-")
TRIANGLE = re.compile(r"Δ|\^(?=\d)|j(?![a-zA-Z])")
AUGMENTED = re.compile(r"(?i:aug)|\+")
DIMINISHED = re.compile(r"(?i:dim)|°|o(?!mit)")
HALF = re.compile("ø")
NUMBER = re.compile(r"6/9|\d+")
ALTERATION = re.compile(r"([b#+-])(1\d|\d)")
SUS = re.compile(r"(?i:sus)(24|42|\d+)?")
ADD = re.compile(r"(?i:add)([b#+-]?)(1\d|\d)?")
ADD_MAJOR = re.compile(r"(?i:add)(?:maj|ma|M|Δ)7")
OMIT = re.compile(r"(?i:omit|no)(1\d|\d)?")
ALT = re.compile(r"(?i:alt)\.?")
MAJOR_SEVENTH = re.compile(r"(?:(?i:maj)|ma|MA|Ma|M|Δ|\^|j)(13|11|9|7)|Δ")
BARE = re.compile(r"13|11|9|6")
DOMINANT = re.compile(r"(?i:dom)")
WORD = re.compile(r"[A-Za-z]+\.?")
WORDS = ("maj", "min", "dim", "aug", "sus", "add", "omit", "no", "alt", "dom")
SIGN = {"b": "b", "-": "b", "#": "#", "+": "#", "": ""}


class Grammar(Stack):
    """One pass over the characters between root and bass."""

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        found = pattern.match(self.text, self.at)
        if found:
            self.at = found.end()
        return found

    @property
    def rest(self) -> str:
        return self.text[self.at :]

    # -- the parts in order

    def read(self) -> frozenset[str]:
        self.words()
        self.read_number()
        self.changes()
        return frozenset(self.degrees())

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
        elif self.take(HALF):
            parts.half = True
        elif self.take(DIMINISHED):
            parts.diminished = True
            self.major_after()
        elif found := self.take(AUGMENTED):
            parts.augmented, parts.sign = True, found[0]
            self.major_after()
        elif self.take(DOMINANT):
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
                f"read as {{read}}; for a raised ninth type {self.name('7#9')}",
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
                    f"read as {{read}}; for a minor chord type {self.name('m')}",
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
            parts.number = None
            parts.adds.append(("9", at))
            self.warn(
                "ambiguous-number",
                f"read as {{read}}; without the third type {self.name('sus2')}",
            )
        elif number == 4 and plain_root:
            parts.number = None
            parts.sus.add("4")
            self.warn(
                "ambiguous-number",
                f"read as {{read}}; with the third type {self.name('add11')}",
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
        """Everything after the number. Bare numbers are read after an alteration only: b913 is b9 and 13."""
        while self.at < len(self.text):
            char = self.text[self.at]
            if char == "(":
                self.bracket()
            elif char == ")":
                before = self.text[self.start : self.at]
                raise self.fail(
                    "unbalanced-bracket", "a bracket is closed that was not opened", before
                )
            elif char == ",":
                before, after = self.text[self.start : self.at], self.rest[1:]
                offer = f"{before}({after})" if after else before
                raise self.fail("junk-at-end", "a comma stands outside brackets", offer)
            else:
                self.change(bare=bool(self.parts.alterations))

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
                inner = self.text[self.start : self.at] + self.rest[1:].replace("(", ",").replace(
                    "))", ")"
                )
                raise self.fail("nested-bracket", "brackets stand inside brackets", inner)
            if char == ")":
                self.at += 1
                return
            if char == ",":
                self.at += 1
                if self.at < len(self.text) and self.text[self.at] in "),":
                    before = self.text[self.start : self.at - 1]
                    after = self.rest.lstrip(",")
                    offer = before + ("" if after.startswith(")") else ",") + after
                    raise self.fail(
                        "empty-item", "nothing follows this comma", offer, at=self.at - 1
                    )
                continue
            self.change(bare=True)

    def change(self, bare: bool) -> None:
        """One alteration, addition, omission or word."""
        parts, at, rest = self.parts, self.at, self.rest
        if parts.alt:
            raise self.alone()
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
        elif bare and (found := self.take(BARE)):
            parts.naturals.append((found[0], at))
        elif rest[0] == "+" and not parts.augmented:
            self.at += 1
            parts.alterations.append(("#5", at))
        else:
            raise self.unknown()

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
        signs = re.sub(r"(?i)sharp(?=\d)", "#", re.sub(r"(?i)flat(?=\d)", "b", rest))
        if signs != rest:  # in words: maj7sharp11
            better = [before + signs, f"{before}({signs})"]
            return self.fail(
                "unknown-word", f"{word[0][:16]} is no word of a chord symbol", *better
            )
        from backing.ground.source import nearest

        near = nearest(word[0], WORDS)
        better = [before + near + rest[word.end() :]] if near else [before]
        return self.fail("unknown-word", f"{word[0][:16]} is no word of a chord symbol", *better)
