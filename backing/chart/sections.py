"""From the lines of a section to its bars: repeats, endings, meters, and what stands under the music."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from backing.chart import edges, under
from backing.chart.ast import LAST, LETTERS, Bar, BarLine, MusicLine, Slot, Text, Written
from backing.chart.codes import count
from backing.chart.lex import BarMark, Cell, Kind, Line, cells
from backing.chart.music import Content, content, slots, texts, timed
from backing.chart.piece import Piece
from backing.chart.steering import Seen
from backing.chart.time import Space, Times
from backing.chart.values import Wrong
from backing.chart.values import meter as read_meter
from backing.chart.words import ORDER, WORDS, Once
from backing.ground.source import Span
from backing.ground.timebase import Meter

MOST_BARS = 2000
MOST_JOINED = 1024  # items of a bar in which blanks inside symbols are looked for
NO_MUSIC = "write a chord, % to repeat the bar before, or N.C. for no chord"


class TooLong(Exception):
    """More bars than a chart may have; never leaves this package."""


class _Before(NamedTuple):
    """What the bar line before a bar says of it."""

    repeat_start: bool = False
    ending: tuple[int, ...] = ()


class _After(NamedTuple):
    """What the bar line after a bar says of it."""

    times: int = 0
    line: BarLine = BarLine.SINGLE


class Reader:
    """Reads the lines of one section in order; `lines` holds the result."""

    def __init__(self, piece: Piece, meter: Meter) -> None:
        self.piece, self.faults = piece, piece.faults
        self.meter = meter
        self.done: list[list[Bar]] = []
        self.spans: list[Span] = []
        self.under: list[list[Written]] = []
        self.open: BarMark | None = None  # the repeat that has begun
        self.pending: BarMark | None = None  # a mark at the end of the line before
        self.endings: dict[int, int] = {}  # numbers of the endings that stand side by side
        self.in_ending = False
        self.chord = piece.chord  # what a / at the next bar's start holds
        self.before: under.Before = {}
        self.spaces: list[Space] = []  # of the bars of the last line

    @property
    def lines(self) -> tuple[MusicLine, ...]:
        return tuple(
            MusicLine(tuple(bars), span, tuple(below))
            for bars, span, below in zip(self.done, self.spans, self.under, strict=True)
            if bars
        )

    def read(self, line: Line) -> None:
        """Read a line of music or one under it."""
        if line.kind is Kind.MUSIC:
            self._music(line)
        elif not self.done or not self.done[-1]:
            self.faults.add("E401", line.start, line.value, name=line.name)
        else:
            piece = self.piece
            self.done[-1] = under.attach(
                line, self.done[-1], self.spaces, self.before, piece.typed, piece.plain, self.faults, piece.german, piece.latin
            )  # fmt: skip
            span, value = Span(line.start, line.end), Span(line.value, line.end)
            self.spans[-1] = self.spans[-1].to(span)
            self.under[-1].append(Written(line.name, "", span, value))

    def finish(self) -> None:
        """Say what is left open at the end of the section."""
        if self.open:
            self.faults.add("E320", self.open.start, self.open.end)
        self._end_endings()
        self.piece.chord = self.chord
        self._sung()

    def _sung(self) -> None:
        """Look whether the syllables of words have their notes, where a melody stands over them."""
        for bars, below in zip(self.done, self.under, strict=True):
            words = [one.value_span for one in below if one.name == "words"]
            if words and all(b.melody is not None and len(b.words) == len(words) for b in bars):
                from backing.chart import syllables

                for verse, line in enumerate(words):
                    syllables.check(bars, verse, line, self.piece.plain, self.faults)

    # --- a line of music

    def _music(self, line: Line) -> None:
        plain = self.piece.plain
        numbers = self.piece.symbols.notation != LETTERS
        found, began, ended = cells(plain, line.start, line.end, self.faults, numbers)
        text = plain[line.start : line.end]
        if found and not ended:
            found, ended = edges.after(self.piece, found)
        if not began and found:
            found = edges.before(self.piece, line, found)
            if not found:
                return
        if not ended and began and found:
            example = (text[-56:].split(None, 1)[-1] if len(text) > 56 else text) + " |"
            self.faults.add("E102", line.end - 1, line.end, example=example)
        bars: list[Bar] = []
        self.done.append(bars)
        self.spans.append(Span(line.start, line.end))
        self.under.append([])
        self.spaces = []
        if not found:
            self.faults.add("E103", line.start, line.end, hint=NO_MUSIC)
            return
        self._line_start(found[0].left)
        for cell in found:
            self._bar(cell, bars)
        last = found[-1].right
        if last.repeat_start or last.ending:
            self.pending = last

    def _line_start(self, mark: BarMark) -> None:
        """A `:|`, `||` or `|]` that begins a line closes the bar at the end of the line before."""
        if mark.times or mark.double or mark.final:
            previous = next((bars for bars in reversed(self.done[:-1]) if bars), None)
            if previous is None:
                if mark.times:
                    self.faults.add("E323", mark.start, mark.end)
                return
            bar, after = previous[-1], self._right(mark)
            line = bar.line_after if after.line is BarLine.SINGLE else after.line
            previous[-1] = replace(bar, times=after.times or bar.times, line_after=line)

    def _right(self, mark: BarMark) -> _After:
        if mark.times:
            self.open = None
        if mark.times or mark.double or mark.final:
            self.in_ending = False
        line = BarLine.DOUBLE if mark.double else BarLine.SINGLE
        return _After(mark.times, BarLine.FINAL if mark.final else line)

    def _left(self, mark: BarMark) -> _Before:
        opens, ending = mark.repeat_start, mark.ending
        place = mark
        if self.pending:
            place = mark if opens or ending else self.pending
            opens, ending = opens or self.pending.repeat_start, ending or self.pending.ending
            self.pending = None
        if opens:
            if self.open:
                self.faults.add(
                    "E321", place.start, place.end, line=self.faults.line(self.open.start)
                )
            self.open = place
            self.in_ending = False
        if ending:
            self._ending(ending, place)
            self.in_ending = True
        elif not self.in_ending:
            self._end_endings()
        return _Before(opens, ending)

    def _ending(self, numbers: tuple[int, ...], mark: BarMark) -> None:
        for number in numbers:
            if number in self.endings:
                name = "last." if number == LAST else f"{number}."
                self.faults.add("E324", mark.start, mark.end, number=name)
                break
        for number in numbers:
            self.endings.setdefault(number, mark.start)

    def _end_endings(self) -> None:
        """Warn of a gap in the numbers of endings that stood side by side."""
        numbers = [n for n in self.endings if n != LAST]
        if numbers:
            missing = next((n for n in range(1, max(numbers)) if n not in self.endings), None)
            if missing:
                at = self.endings[min(n for n in numbers if n > missing)]
                self.faults.add("W302", at, at + 1, number=missing)
        self.endings = {}

    # --- a bar

    def _bar(self, cell: Cell, bars: list[Bar]) -> None:
        faults, piece = self.faults, self.piece
        if piece.bars >= MOST_BARS:
            faults.add("E902", cell.start, cell.end, most=f"{MOST_BARS:,}")
            raise TooLong
        left, right = self._left(cell.left), self._right(cell.right)
        found = content(cell.tokens, piece.typed, faults)
        if found.meter:
            try:
                self.meter = read_meter(found.meter.text)
            except Wrong as wrong:
                faults.add(wrong.code, found.meter.start, found.meter.end, **wrong.values)
        space = Space(self.meter, piece.pickup if piece.number == 0 else None)
        span = Span(cell.start, max(cell.start, cell.end))
        if found.repeat and not found.leaves:
            self._repeat(found, cell, space, span, left, right, bars)
            return
        made: tuple[Slot, ...] = ()
        times: Times | None = None
        if found.repeat:
            faults.add("E111", found.repeat.start, found.repeat.end, found=found.repeat.text)
        elif not found.leaves and found.whole:
            said = found.text if found.texts else ""
            hint = (
                f"words stand beside the chord of their bar:  | {said[:40]} C |"
                if said
                else NO_MUSIC
            )
            start, end = (cell.start, cell.end) if said else (cell.left.start, cell.right.end)
            faults.add("E103", start, max(end, cell.start + 1), hint=hint)
        else:
            self._joined_words(found)
            times = timed(found, space, faults, cell.start, cell.end)
            if times is None:
                for leaf in found.leaves:
                    if not leaf.hold:
                        piece.symbols.read(leaf.token, leaf.word)
                self.chord = self.chord or (None, "")
            else:
                made = slots(found, times, piece.symbols, self.chord, faults)
                last = made[-1]
                self.chord = (last.chord, last.text)
        words = texts(found, times or (), faults) if found.texts else ()
        self._add(bars, space, made, span, found, words, left, right)

    def _joined_words(self, found: Content) -> None:
        """Say where a blank parts a chord symbol (`C maj7`)."""
        leaves, at = found.leaves, 0
        if len(leaves) > MOST_JOINED:
            return
        while at + 1 < len(leaves):
            first = last = leaves[at]
            word = first.word
            while (
                at + 1 < len(leaves)
                and not first.hold
                and leaves[at + 1].word[0] not in "ABCDEFGN/"
            ):
                joined = self.piece.symbols.split(word, leaves[at + 1].word)
                if not joined:
                    break
                word, last = joined, leaves.pop(at + 1)
            if last is not first:
                self.faults.add("E504", first.token.start, last.token.end, example=word)
                found.whole = False
            at += 1

    def _add(
        self,
        bars: list[Bar],
        space: Space,
        made: tuple[Slot, ...],
        span: Span,
        found: Content,
        words: tuple[Text, ...],
        left: _Before,
        right: _After,
        simile: int = 0,
    ) -> None:
        kept = False
        for text in words:
            if text.direction:
                name = text.direction.name
                keeps = Once.BEAT_KEPT in WORDS[name].effects
                kept = kept or keeps
                if name in ORDER:
                    self.piece.seen.append(Seen(name, text.span.start, text.span.end))
                if keeps and not found.meter:
                    self.faults.add("E126", text.span.start, text.span.end)
        bars.append(
            Bar(
                number=self.piece.number,
                meter=self.meter,
                slots=made,
                span=span,
                items_text=found.text if simile != 3 else "",
                meter_written=bool(found.meter) and simile != 3,
                beat_kept=kept,
                simile=simile,
                texts=words,
                repeat_start=left.repeat_start,
                ending=left.ending,
                times=right.times,
                line_after=right.line,
            )
        )
        self.spaces.append(space)
        self.piece.number += 1
        self.piece.bars += 1

    def _repeat(
        self,
        found: Content,
        cell: Cell,
        space: Space,
        span: Span,
        left: _Before,
        right: _After,
        bars: list[Bar],
    ) -> None:
        """A bar with `%`, or two with `%2`."""
        assert found.repeat is not None
        sign, faults = found.repeat, self.faults
        many = len(sign.text)
        before = [bar for line in self.done[-3:] for bar in line][-many:]
        if many > len(before) and len(self.done) > 3:
            before = [bar for line in self.done for bar in line][-many:]
        if sum(t.kind == "%" for t in cell.tokens) > 1:
            faults.add("E111", sign.start, sign.end, found=sign.text)
        if len(before) < many:
            have = "no bar" if not before else f"only {count(len(before), 'bar')}"
            instead = "the chords, such as  | C | F |"
            faults.add("E112", sign.start, sign.end, found=sign.text, have=have, instead=instead)
        elif wrong := next((b for b in before if b.slots and b.length_q != space.length_q), None):
            name = "a pickup" if wrong.number == 0 else wrong.meter.name
            faults.add(
                "E113", sign.start, sign.end, found=sign.text, before=name, here=space.meter.name
            )
        words = texts(found, (), faults) if found.texts else ()
        place = Span(sign.start, sign.end)
        if len(before) < many:
            before = [Bar(0, self.meter, (), place)] * many
        for i, bar in enumerate(before):
            copied = tuple(
                replace(slot, held=slot.held and self._sounds(slot), span=place)
                for slot in bar.slots
            )
            if copied:
                self.chord = (copied[-1].chord, copied[-1].text)
            simile = 1 if many == 1 else 2 + i
            first, last = i == 0, i == many - 1
            self._add(
                bars, space, copied, span, found, words if first else (),
                left if first else _Before(), right if last else _After(), simile,
            )  # fmt: skip

    def _sounds(self, slot: Slot) -> bool:
        """Whether the chord that a repeated bar holds is the one that sounds before it."""
        return self.chord == (slot.chord, slot.text)
