"""From what a symbol says to its degrees: the stack of thirds, then every change to it, with its contradictions.

*Conventions*: degrees by name ("b7"). Contradictions are errors, never "the last one wins": a degree twice, two
sevenths, a natural degree beside its alteration. b9 with #9, and b5 with #5, are legal pairs.

*Sources*: the stacks are those of MusicXML 4.0 harmony and Harte et al. 2005 (11 and 13 hold every third below them).
"""

from __future__ import annotations

from backing.harmony.letters import SymbolError, SymbolWarning
from backing.harmony.qualities import ALTERED


class Parts:
    """What the reader has seen of one symbol.

    `major` is a word for major before the number, `sign` the word for augmented or minor as typed. `naturals`, `adds`,
    `alterations` and `omits` hold a degree and its place, `sevenths` the number of a (maj7) or (maj9) and its place.
    """

    __slots__ = (
        "adds", "alt", "alterations", "augmented", "diminished", "dominant", "half", "major", "minor", "naturals",
        "number", "omits", "sevenths", "sign", "sus", "triangle",
    )  # fmt: skip

    def __init__(self) -> None:
        self.minor = self.major = self.triangle = self.augmented = False
        self.diminished = self.half = self.dominant = self.alt = False
        self.sign = ""
        self.number: int | None = None
        self.sus: set[str] = set()
        self.naturals: list[tuple[str, int]] = []
        self.adds: list[tuple[str, int]] = []
        self.alterations: list[tuple[str, int]] = []
        self.omits: list[tuple[str, int]] = []
        self.sevenths: list[tuple[int, int]] = []

    @property
    def word(self) -> str:
        """The triad, as it is written in front of additions."""
        if self.minor:
            return "m"
        return "dim" if self.diminished else "+" if self.augmented else ""


class Reading:
    """A symbol under the reader: its characters, its parts so far, and how to say what is wrong with it."""

    def __init__(
        self, text: str, columns: tuple[int, ...], start: int, root: str, slash: str
    ) -> None:
        self.text, self.columns = text, columns
        self.start = self.at = start
        self.root, self.slash = root, slash
        self.parts = Parts()
        self.warnings: list[SymbolWarning] = []

    def fail(self, code: str, message: str, *suffixes: str, at: int | None = None) -> SymbolError:
        """An error that hints at the same root with other suffixes."""
        column = self.columns[self.at if at is None else at]
        offers = tuple([self.name(s) for s in suffixes])
        return SymbolError(code, message, "", column, offers)

    def name(self, suffix: str) -> str:
        """This symbol with another suffix."""
        return self.root + suffix + self.slash

    def warn(self, code: str, message: str) -> None:
        """Keep a warning; `{read}` in it will be the symbol as it was read."""
        self.warnings.append(SymbolWarning(code, message))


class Stack(Reading):
    """Turns parts into degrees."""

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
        self.rename(have)
        return have

    def rename(self, have: set[str]) -> None:
        """A sixth above a seventh is a 13; a 2 or 4 is not also a 9 or 11."""
        if have & {"b7", "7", "bb7"}:
            for low, high in (("6", "13"), ("b6", "b13")):
                if low in have:
                    have.discard(low)
                    have.add(high)
        if {"13", "b13"} <= have:
            raise self.fail("contradiction", "13 and b13 stand together", at=self.start)
        if {"2", "9"} <= have or {"4", "11"} <= have:
            raise self.fail(
                "contradiction", "the suspended note is added again", "sus4", at=self.start
            )

    def altered(self) -> set[str]:
        parts = self.parts
        others = (
            parts.minor, parts.major, parts.triangle, parts.augmented, parts.diminished, parts.half,
            parts.number not in (None, 7), parts.sus, parts.naturals, parts.adds,
            parts.alterations, parts.omits, parts.sevenths,
        )  # fmt: skip
        if any(others):
            raise self.alone()
        return set(ALTERED)

    def alone(self) -> SymbolError:
        """The error for anything beside alt."""
        return self.fail(
            "contradiction",
            "alt fixes fifth and ninth already, so nothing else goes with it",
            "7alt",
            at=self.start,
        )

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
            self.warn(
                "contradiction",
                "sus takes the place of the third, so minor says nothing; read as {read}",
            )
        have -= {"3", "b3"}
        have |= parts.sus
        if "4" in parts.sus:
            if "11" in have and "13" not in have:
                self.warn("redundant", "the 11 is the sus4 again; read as {read}")
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
                        "dim(maj7)" if parts.diminished or parts.half else f"maj{parts.number or 7}", at=at,
                    )  # fmt: skip
                have.discard("b7")
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
            self.warn("old-spelling", "read as {read}, as it is written today")
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
            raise self.fail(
                "ambiguous-extension", f"{degree} on a triad can mean two chords",
                f"{parts.word}7({degree})", f"{parts.word}(add{degree})", at=at,
            )  # fmt: skip
        if number in have:
            if str(parts.number) == number or (parts.number == 69 and number == "9"):
                lower = {"9": "7", "11": "9", "13": "7"}[number]
                word = "maj" if parts.major or parts.triangle else "m" if parts.minor else ""
                if parts.number == 69:
                    word, lower = "m" if parts.minor else "", "6"
                raise self.fail(
                    "contradiction",
                    f"{number} and {degree} stand together",
                    f"{word}{lower}{degree}" if lower != "6" else f"{word}6({degree})", at=at,
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
            self.warn("ambiguous-extension", "read as {read}")
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
        same = {"3": "b3", "6": "13", "13": "6"}.get(degree, degree)  # the same step or sound
        if degree in have or same in have:
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
