"""One bar of music: from its tokens to chords in time.

Conventions: a *leaf* is a chord, a `/` or a sign of a line under the music, with the brackets around it gone; a *piece*
is an item of the bar as it is written back.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from backing.chart import directions, gripping
from backing.chart.ast import Direction, Slot, Text
from backing.chart.codes import Faults, count, quoted
from backing.chart.lex import Token
from backing.chart.symbols import Symbols, no_chord
from backing.chart.time import (
    CHORD,
    HOLD,
    MOST_SHARING,
    Shape,
    Space,
    Times,
    advice,
    beat_words,
    layout,
)
from backing.ground.source import Span
from backing.harmony.symbol import Chord

MOST_DEPTH = 2
ZERO = Fraction(0)


@dataclass(slots=True, eq=False, repr=False)
class Leaf:
    """A word or a `/` with the marks that stand at it."""

    token: Token
    word: str
    pushed: bool = False
    stop: bool = False
    ring: bool = False
    grip: tuple[int, ...] = ()

    @property
    def hold(self) -> bool:
        return self.token.kind == "/"

    @property
    def marks(self) -> tuple[bool, bool, bool, tuple[int, ...]]:
        return self.pushed, self.stop, self.ring, self.grip


@dataclass(slots=True, eq=False, repr=False)
class Quoted:
    """Words in quotes; they stand before leaf number `leaf`."""

    text: str
    token: Token
    leaf: int


@dataclass(slots=True, eq=False, repr=False)
class Content:
    """What stands in a bar, before its time is known."""

    shape: list[Shape] = field(default_factory=list)
    leaves: list[Leaf] = field(default_factory=list)
    pieces: list[str] = field(default_factory=list)  # one an item of the bar, for hints
    words: list[str] = field(default_factory=list)  # all, as they are written back
    texts: list[Quoted] = field(default_factory=list)
    meter: Token | None = None
    repeat: Token | None = None  # % or %2
    whole: bool = True  # no mistake that makes the time of the bar unknowable

    @property
    def text(self) -> str:
        return " ".join(self.words)


def content(tokens: list[Token], typed: str, faults: Faults, sign: bool = False) -> Content:
    """Sort the tokens of a bar; `sign` for lines under the music, where marks and meters have no place."""
    if len(tokens) == 1 and tokens[0].kind == "word" and tokens[0].text[-1] not in "!=":
        token = tokens[0]
        plain = token.text[0] in _CHORDAL and gripping.OPEN not in token.text
        if plain and token.text.casefold() not in directions.FIRST_WORDS:
            return Content([CHORD], [Leaf(token, token.text)], [token.text], [token.text])
    return _Sorter(typed, faults, sign).run(tokens)


_CHORDAL = frozenset("ABCDEFG")


class _Sorter:
    """One pass over the tokens of a bar."""

    def __init__(self, typed: str, faults: Faults, sign: bool) -> None:
        self.typed, self.faults, self.sign = typed, faults, sign
        self.out = Content()
        self.open: list[tuple[list[Shape], Token]] = []  # the brackets that are open
        self.level = self.out.shape
        self.push: Token | None = None
        self.dotted = False  # a wrong sign for a beat was reported
        self.start = self.end = 0  # of the bar

    def run(self, tokens: list[Token]) -> Content:
        skip = -1
        if tokens:
            self.start, self.end = tokens[0].start, tokens[-1].end
        for token in tokens:
            if token.start < skip:
                continue
            if self.push and (token.kind != "word" or token.start != self.push.end):
                self._lost_push("(<F7 C7)" if token.kind == "(" else "<C7")
            kind = token.kind
            if kind == "word":
                skip = self._word(token, tokens[-1].end)
            elif kind == "/":
                self._leaf(Leaf(token, "/"), HOLD)
            elif kind == "(":
                self._open(token)
            elif kind == ")":
                self._close(token)
            elif kind == "<":
                self.push = token
            elif kind == "text":
                self._text(token)
            elif kind == "broken":
                self.out.whole = False
            elif kind == "meter":
                self._meter(token)
            else:
                self._repeat(token)
        if self.push:
            self._lost_push()
        if self.open:
            token = self.open[0][1]
            self.faults.add("E109", token.start, token.end)
            self.out.whole = False
        return self.out

    def _lost_push(self, example: str = "<C7") -> None:
        assert self.push is not None
        self.faults.add("E118", self.push.start, self.push.end, example=example)
        self.push = None

    def _say(self, word: str) -> None:
        words = self.out.words
        if words and (word == ")" or words[-1].endswith("(")):
            words[-1] += word
        else:
            words.append(word)

    def _leaf(self, leaf: Leaf, shape: int) -> None:
        if not self.open:
            self.out.pieces.append(leaf.word)
        self.level.append(shape)
        self.out.leaves.append(leaf)
        self._say(_written(leaf))

    def _word(self, token: Token, end: int) -> int:
        """Take a word; returns where the text goes on, after a direction without quotes."""
        word = token.text
        if not self.sign:
            if word.casefold() in directions.FIRST_WORDS:
                bare = directions.bare(self.typed, token.start, end)
                if bare:
                    name = directions.plain_name(bare[0])
                    alone = token.start == self.start and bare.end() >= end
                    hint = f'type  "{name}"'
                    if alone:
                        hint += f' beside the chord of its bar:  | "{name}" C |'
                    self.faults.add("E330", *bare.span(), hint=hint)
                    place = Token("text", *bare.span(), bare[0])
                    self.out.texts.append(Quoted(name, place, len(self.out.leaves)))
                    self.out.whole = self.out.whole and bool(self.out.leaves)
                    return bare.end()
            if word in ("𝄋", "𝄌", "𝄐"):
                self._text(token, word)
                return -1
        leaf = Leaf(token, word, self.push is not None)
        self.push = None
        if not self.sign:
            self._marks(leaf)
            leaf.word, leaf.grip = gripping.taken(leaf.word, token.start, self.faults)
        bare_word = leaf.word
        if bare_word and not bare_word.strip("/.-–—_~'`,*") and bare_word != "/":
            if not self.dotted:
                self._no_beat(token)
            self.dotted, self.out.whole = True, False
            return -1
        if not self.sign and gripping.apart(bare_word, token.start, self.out.words, self.faults):
            return -1
        if not self.sign and bare_word[:1] == "[" and bare_word[1:2].isdigit():
            number = bare_word[1:].rstrip(".)]:")
            self.faults.add("E124", token.start, token.end, number=number[:4])
            self.out.whole = False
            return -1
        if not bare_word:
            self.faults.add("E119", token.start, token.end, found=quoted(word))
            return -1
        self._leaf(leaf, CHORD)
        return -1

    def _no_beat(self, token: Token) -> None:
        from backing.chart.habits import beats

        bar = beats(self.typed[self.start : self.end])
        hint = (
            f"hold with / and a blank for each beat:  {bar[:80]}"
            if bar
            else "type  %  to repeat the bar before, or / for each beat that holds its chord"
        )
        self.faults.add("E121", token.start, token.end, found=quoted(token.text), hint=hint)

    def _marks(self, leaf: Leaf) -> None:
        word = leaf.word
        marks = word[len(word.rstrip("!=")) :]
        if not marks:
            return
        leaf.word = word[: -len(marks)]
        leaf.stop, leaf.ring = marks == "!", marks == "="
        if len(marks) > 1 and leaf.word:
            end = leaf.token.end
            self.faults.add("E119", end - len(marks), end, found=quoted(marks))

    def _open(self, token: Token) -> None:
        if len(self.open) == MOST_DEPTH:
            self.faults.add("E108", token.start, token.end)
            self.out.whole = False
        if not self.open:
            self.out.pieces.append("(")
        inner: list[Shape] = []
        self.open.append((inner, token))
        self.level = inner
        self._say("(")

    def _close(self, token: Token) -> None:
        if not self.open:
            self.faults.add("E110", token.start, token.end)
            self.out.whole = self.out.whole and bool(self.out.leaves)
            return
        inner, first = self.open.pop()
        self.level = self.open[-1][0] if self.open else self.out.shape
        self._say(")")
        if not self.open:
            self.out.pieces[-1] = self.typed[first.start : token.end]
        if not inner:
            if self.out.whole:
                self.faults.add("E107", first.start, token.end)
            self.out.whole = False
        elif len(inner) == 1:
            inside = self.typed[first.end : token.end - 1].strip()
            # what is no chord there, `Dm7 (b5)`, is answered where symbols are read
            if self.out.whole and (self.sign or inside[:1] in "ABCDEFGHN/%"):
                self.faults.add("E106", first.start, token.end, example=inside[:64])
            self.level.append(inner[0])
        elif len(inner) > MOST_SHARING:
            self.faults.add("E122", first.start, token.end, count=len(inner), most=MOST_SHARING)
            self.out.whole = False
        else:
            self.level.append(tuple(inner))

    def _text(self, token: Token, inner: str | None = None) -> None:
        if self.sign:
            self._misplaced(token)
            return
        if inner is None:
            inner = self.typed[token.start + 1 : token.end - 1]
        inner = " ".join(inner.split())
        self.out.texts.append(Quoted(inner, token, len(self.out.leaves)))
        self._say(f'"{inner}"')

    def _meter(self, token: Token) -> None:
        if self.sign:
            self._misplaced(token)
        elif self.open and not self.level and not self.out.leaves:
            self.faults.add("E129", token.start - 1, token.end + 1, meter=token.text)
            self.out.whole = False
        elif self.out.leaves or self.out.meter or self.open:
            before = self.out.leaves[-1].word if self.out.leaves else "another meter"
            self.faults.add("E115", token.start, token.end, found=quoted(before), meter=token.text)
        else:
            self.out.meter = token
            self._say(token.text)

    def _repeat(self, token: Token) -> None:
        self.out.pieces.append(token.text)
        if self.open:
            self.out.whole = False
            self.faults.add("E111", token.start, token.end, found=token.text)
            return
        self.out.repeat = self.out.repeat or token
        self._say(token.text)

    def _misplaced(self, token: Token) -> None:
        self.faults.add(
            "E409",
            token.start,
            token.end,
            found=quoted(token.text),
            name="notes or signs",
            hint="write it in the line of music above",
        )


def _written(leaf: Leaf) -> str:
    marks = f"{'!' if leaf.stop else ''}{'=' if leaf.ring else ''}"
    return f"{'<' if leaf.pushed else ''}{leaf.word}{gripping.written(leaf.grip)}{marks}"


def timed(
    found: Content, space: Space, faults: Faults, start: int, end: int, noun: str = "chord"
) -> Times | None:
    """The time of every leaf; says what is wrong where the items do not fit the bar."""
    if not found.whole:
        return None
    times = layout(space, found.shape)
    if times is None:
        holds = HOLD in found.shape
        expected, how, example = advice(space, found.pieces, holds)
        items = len(found.shape)
        if holds:
            faults.add(
                "E105", start, end,
                count=f"{items} items" if items > 1 else "1 item", expected=expected, how=how, example=example,
            )  # fmt: skip
        else:
            faults.add(
                "E104",
                start,
                end,
                count=count(items, noun),
                beats=beat_words(space),
                how=how,
                example=example,
            )
    return times


def slots(
    found: Content,
    times: Times,
    symbols: Symbols,
    before: tuple[Chord | None, str] | None,
    faults: Faults,
) -> tuple[Slot, ...]:
    """The chords of a bar; `before` is the chord that a `/` at its start holds, None where there is none."""
    made: list[Slot] = []
    for leaf, (start, length) in zip(found.leaves, times, strict=True):
        token = leaf.token
        span = Span(token.start, token.end)
        if leaf.hold:
            if made:
                last = made[-1]
                made[-1] = Slot(
                    last.start_q, last.length_q + length, last.chord, last.text, last.span,
                    last.held, last.pushed, last.stop, last.ring, last.grip,
                )  # fmt: skip
                continue
            if before is None:
                faults.add("E114", token.start, token.end, what="a chord")
                before = (None, "")
            made.append(Slot(start, length, before[0], before[1], span, held=True))
            continue
        chord = read(leaf, symbols, faults)
        made.append(Slot(start, length, chord, leaf.word, span, False, *leaf.marks))
    return tuple(made)


def read(leaf: Leaf, symbols: Symbols, faults: Faults) -> Chord | None:
    """The chord of a leaf; None for N.C. and for a symbol that cannot be read."""
    chord = symbols.read(leaf.token, leaf.word)
    if chord is None and (leaf.pushed or leaf.stop or leaf.ring) and no_chord(leaf.word):
        found = "<" if leaf.pushed else "!" if leaf.stop else "="
        faults.add("E502", leaf.token.start, leaf.token.end, found=found)
    return chord


def texts(found: Content, times: Times, faults: Faults) -> tuple[Text, ...]:
    """The words over a bar, each where the next item begins, or at the last one."""
    made = []
    for quote in found.texts:
        at = times[min(quote.leaf, len(times) - 1)][0] if times else ZERO
        start, end = quote.token.start, quote.token.end
        direction: Direction | None = directions.recognise(quote.text, start, end, faults)
        made.append(Text(quote.text, at, Span(start, end), direction))
    return tuple(made)
