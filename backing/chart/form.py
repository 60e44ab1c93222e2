"""The setting `form`: the order in which sections are played.

Conventions: a name is found by longest match of whole words, whatever its capitals; a word that is no name is read as
one-letter names (`AABA`). `+2` and `-3` behind a name move that playing by semitones.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from backing.chart.ast import FormItem
from backing.chart.codes import Faults, near, quoted
from backing.ground.source import Span

MOST_PLAYINGS = 1000
MOST_TIMES = 99
_PIECE = r"[()]|[^\s()]+"
_MOVED = r"(.+?)([+-][0-9]{1,3})"
_TIMES = r"[xX×]([0-9]{1,6})"
_LETTERS = r"([^\W\d_])([+-][0-9]{1,2})?"
BEFORE = ("intro",)
AFTER = ("ending", "outro", "coda", "tag")


class Form(NamedTuple):
    """What is played, and how often the group in brackets is."""

    items: tuple[FormItem, ...]
    repeats: int
    whole: bool = True  # nothing in it was wrong


class _Names:
    """Names of sections by their words."""

    def __init__(self, names: tuple[str, ...]) -> None:
        self.names = names
        self.by_words = {tuple(n.casefold().split()): n for n in reversed(names)}
        self.longest = max((len(w) for w in self.by_words), default=1)

    def at(self, words: list[str], i: int) -> tuple[str, int, int] | None:
        """Name, semitones and number of words of the longest name that begins at `i`."""
        for many in range(min(self.longest, len(words) - i), 0, -1):
            taken = [w.casefold() for w in words[i : i + many]]
            name = self.by_words.get(tuple(taken))
            if name:
                return name, 0, many
            moved = re.fullmatch(_MOVED, taken[-1])
            if moved:
                name = self.by_words.get((*taken[:-1], moved[1]))
                if name:
                    return name, int(moved[2]), many
        return None


def read(
    value: str, start: int, names: tuple[str, ...], faults: Faults, *, guess: bool = True
) -> Form:
    """Read a form that stands at `start` in the text; `names` are those of the sections."""
    if guess and _in_other_signs(value, start, names, faults):
        return Form((), 1, False)
    return _Reading(value, start, names, faults).form()


class _Reading:
    """The reading of one form, word by word."""

    def __init__(self, value: str, start: int, names: tuple[str, ...], faults: Faults) -> None:
        self.known, self.faults = _Names(names), faults
        self.whole = Span(start, start + len(value))
        pieces = list(re.finditer(_PIECE, value))
        self.words = [p[0] for p in pieces]
        self.spans = [Span(start + p.start(), start + p.end()) for p in pieces]
        self.items: list[FormItem] = []
        self.group: tuple[int, int] | None = None  # items inside the brackets
        self.opened, self.extra, self.repeats = -1, 0, 1

    def form(self) -> Form:
        """The form, with what is wrong in it added to the faults."""
        start, end = self.whole
        before = len(self.faults.found)
        i = 0
        while i < len(self.words):
            many = self._word(i)
            if len(self.items) > MOST_PLAYINGS:
                self.faults.add("E907", *self.spans[i], most=f"{MOST_PLAYINGS:,}")
                break
            i += many
        if self.opened >= 0:
            self.faults.add("E312", end - 1, end)
            self.group = (self.opened, len(self.items))
        if not self.items and len(self.faults.found) == before:
            self.faults.add("E314", start, end, example=_example(self.known.names))
        return Form(_placed(self.items, self.group), self.repeats, len(self.faults.found) == before)

    def _word(self, i: int) -> int:
        """Read what begins at a word; how many words it takes."""
        word, span = self.words[i], self.spans[i]
        if word == "(":
            self._open(span)
        elif word == ")":
            self._close(span)
        elif found := self.known.at(self.words, i):
            name, semitones, many = found
            span = Span(span.start, self.spans[i + many - 1].end)
            if abs(semitones) > 12:
                self.faults.add("E317", *span, name=name, count=semitones)
            self.items.append(FormItem(name, semitones, True, span))
            return many
        elif times := re.fullmatch(_TIMES, word):
            self._times(int(times[1]), i)
        else:
            self.items.extend(_letters(word, span.start, self.known, self.faults))
        return 1

    def _open(self, span: Span) -> None:
        if self.opened >= 0 or self.group:
            self.faults.add("E311", *span)
            self.extra += 1
        else:
            self.opened = len(self.items)

    def _close(self, span: Span) -> None:
        if self.extra:
            self.extra -= 1
        elif self.opened < 0:
            self.faults.add("E313", *span)
        else:
            self.group, self.opened = (self.opened, len(self.items)), -1
            if self.group[0] == self.group[1] and self.items:
                self.faults.add("E314", *span, example=_example(self.known.names))

    def _times(self, number: int, i: int) -> None:
        """`x3` behind the brackets, or behind a section."""
        if not 1 <= number <= MOST_TIMES:
            self.faults.add("E316", *self.spans[i], count=number, most=MOST_TIMES)
        elif i and self.words[i - 1] == ")":
            self.repeats = number
        elif self.items and self.opened != len(self.items):
            self.items.extend([self.items[-1]] * (number - 1))
        else:
            hint = "write it after a section or after ), such as (A A B A) x3"
            self.faults.add("E315", *self.spans[i], found=quoted(self.words[i]), hint=hint)


def _in_other_signs(value: str, start: int, names: tuple[str, ...], faults: Faults) -> bool:
    """Say in one go how to write a form whose names are parted by commas, dashes or arrows."""
    if not re.search(r"[,;|/>→–—-]|\([xX×\s]*[0-9]+[xX×\s]*\)|(?<!\S)[0-9]+\s?[xX×]", value):
        return False
    from backing.chart.habits import tidy_form

    tidy = tidy_form(value)
    if tidy == " ".join(value.split()):
        return False
    aside = Faults(faults.source)
    if read(value, start, names, aside, guess=False).whole:
        return False
    if not read(tidy, start, names, Faults(faults.source), guess=False).whole:
        return False
    first = aside.in_order()[0]
    found = faults.source.text[first.span.start : first.span.end]
    hint = f"type  form: {tidy[:100]}"
    faults.add("E315", first.span.start, first.span.end, found=quoted(found), hint=hint)
    return True


def _example(names: tuple[str, ...]) -> str:
    return " ".join([n for n in names if n][:3]) or "A A B A"


def _letters(word: str, at: int, known: _Names, faults: Faults) -> list[FormItem]:
    """`AABA` as four names of one letter, or what is wrong with the word."""
    found = list(re.finditer(_LETTERS, word))
    if "".join(f[0] for f in found) == word and all(
        (f[1].casefold(),) in known.by_words for f in found
    ):
        return [
            FormItem(known.by_words[(f[1].casefold(),)], int(f[2] or 0), True, Span(at + f.start(), at + f.end()))
            for f in found
        ]  # fmt: skip
    end = at + len(word)
    if word.strip(",;") != word or not any(c.isalnum() for c in word):
        shown = word.strip(",;|-–>→")
        hint = (
            f"write the names with blanks between them:  {shown}"
            if shown
            else "write the names with blanks between them"
        )
        faults.add("E315", at, end, found=quoted(word), hint=hint[:120])
        return []
    from backing.chart.habits import joined_names, short_for

    guess = near(word, [n for n in known.names if n]) or short_for(word, known.names)
    joined = joined_names(word, known.names)
    hint = f"did you mean {guess}?" if guess else _listed(known.names)
    if joined:
        hint = f"type the names with blanks between them:  {joined}"
    faults.add("E310", at, end, name=quoted(word), hint=hint)
    return []


def _listed(names: tuple[str, ...]) -> str:
    shown = [f"[{n}]" for n in names if n][:12]
    if not shown:
        return "give the sections names in brackets, such as [A]"
    return f"the sections are {', '.join(shown)}"


def _placed(items: list[FormItem], group: tuple[int, int] | None) -> tuple[FormItem, ...]:
    """Mark what stands outside the chorus: the brackets say so, else a leading Intro and a trailing Ending."""
    first, last = group or (0, len(items))
    if group is None and len(items) > 1:
        first += items[0].section.casefold() in BEFORE
        last -= items[-1].section.casefold() in AFTER
        if first >= last:
            first, last = 0, len(items)
    return tuple(
        item if first <= i < last else FormItem(item.section, item.transpose, False, item.span)
        for i, item in enumerate(items)
    )
