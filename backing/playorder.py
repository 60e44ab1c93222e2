"""The order of play: which written bars sound, one after another.

Conventions: a *visit* is one playing of a section, its repeats included; bars are indices into `Section.bars`. The
chorus is what `form` brackets, otherwise everything between a leading Intro and a trailing Ending, Outro, Coda or Tag.
Segno and Coda stand at the start of the bar that carries them; To Coda, Fine, D.C. and D.S. act at its end, after the
repeats that end there. Sources: order of play as any notation handbook has it (a repeat plays twice unless counted, a
first ending is skipped later; after D.C. or D.S. no repeats are taken and last endings are played); the pickup is
played once (common practice).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from backing.chart.ast import LAST, Bar, BarLine, Chart, FormItem, Section
from backing.errors import ChartError
from backing.source import Diagnostic, Span

BARS_PLAYED_MAX = 20_000
BEFORE = frozenset({"intro"})
AFTER = frozenset({"ending", "outro", "coda", "tag"})
JUMPS = frozenset({"D.C.", "D.C. al Fine", "D.C. al Coda", "D.S.", "D.S. al Fine", "D.S. al Coda"})


@dataclass(frozen=True, slots=True)
class Visit:
    """One playing of a section: `bars` by index, in order. `part` is "intro", "chorus" or "ending"."""

    section: Section
    part: str
    chorus: int
    transpose: int
    bars: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Order:
    """The visits in order; `written_ending` is true where the chart itself says how the tune ends."""

    visits: tuple[Visit, ...]
    choruses: int
    written_ending: bool = False


@dataclass(frozen=True, slots=True)
class Form:
    """The items that come before the choruses, in each of them, and after them."""

    intro: tuple[FormItem, ...]
    chorus: tuple[FormItem, ...]
    ending: tuple[FormItem, ...]
    written: bool


def form_of(chart: Chart) -> Form:
    """Divide what is written, or what `form` says, into intro, chorus and ending."""
    written = chart.header.form is not None
    items = chart.header.form or tuple(FormItem(name) for name in chart.order)
    inside = [i for i, item in enumerate(items) if item.in_chorus]
    if len(inside) < len(items) and inside:
        first, last = inside[0], inside[-1] + 1
    else:
        first, last = 0, len(items)
        if not _bracketed(chart):
            while first < last and items[first].section.casefold() in BEFORE:
                first += 1
            while last > first and items[last - 1].section.casefold() in AFTER:
                last -= 1
        if first == last:
            first, last = 0, len(items)
    return Form(items[:first], items[first:last], items[last:], written)


def _bracketed(chart: Chart) -> bool:
    return chart.header.form_repeats > 1 or any(
        w.name == "form" and "(" in w.value for w in chart.written
    )


def choruses_of(chart: Chart) -> int:
    """How many choruses the chart asks for."""
    return chart.header.choruses or chart.header.form_repeats


@dataclass(frozen=True, slots=True)
class Block:
    """An ending: bars `start` to `end` (excluded), for the playings in `numbers`."""

    numbers: tuple[int, ...]
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Endings:
    """Endings that stand side by side. `total` is how often their repeat is played, 0 without repeat signs."""

    blocks: tuple[Block, ...]
    end: int
    total: int

    def choose(self, number: int, last: bool) -> Block | None:
        """The ending for the playing `number`; `last` in the last playing of the last chorus."""
        if last:
            for block in self.blocks:
                if LAST in block.numbers:
                    return block
        numbered = [b for b in self.blocks if any(n != LAST for n in b.numbers)]
        for block in numbered:
            if number in block.numbers:
                return block
        if self.total and len(self.blocks) == 1:
            return None  # a first ending alone: later times go past it
        earlier = [b for b in numbered if min(n for n in b.numbers if n != LAST) < number]
        return earlier[-1] if earlier else None


def endings_of(bars: Sequence[Bar]) -> dict[int, Endings]:
    """The endings of a section by the bar at which they begin."""
    found: dict[int, Endings] = {}
    blocks: list[Block] = []
    i = 0
    while i < len(bars):
        if not bars[i].ending:
            i += 1
            continue
        end = i + 1
        while end < len(bars) and not (
            bars[end - 1].times
            or bars[end - 1].line_after is not BarLine.SINGLE
            or bars[end].ending
            or bars[end].repeat_start
        ):
            end += 1
        blocks.append(Block(bars[i].ending, i, end))
        if end == len(bars) or not bars[end].ending:
            found[blocks[0].start] = Endings(tuple(blocks), end, _total(bars, blocks, end))
            blocks = []
        i = end
    return found


def _total(bars: Sequence[Bar], blocks: Sequence[Block], end: int) -> int:
    times = [bars[b.end - 1].times for b in blocks if bars[b.end - 1].times]
    if not times:
        return 0
    most = max((n for b in blocks for n in b.numbers), default=1)
    if len(blocks) == 1:
        most += most == 1 or end < len(bars)
    return max(most, 2, max(times))


@dataclass(frozen=True, slots=True)
class Playing:
    """How a section is to be played this time: its number, whether it is the last one, and what is left out."""

    number: int = 1
    last: bool = False
    repeats: bool = True
    pickup: bool = False


def route(bars: Sequence[Bar], endings: dict[int, Endings], playing: Playing) -> Iterator[int]:
    """The bars of a section in order, repeats and endings obeyed."""
    first = 1 if bars and bars[0].number == 0 else 0
    if first and playing.pickup:
        yield 0
    i, back, time = first, first, 1
    while i < len(bars):
        group = endings.get(i)
        if group is not None:
            again = playing.repeats and time < group.total
            number = playing.number
            if group.total:
                number = time if playing.repeats else group.total
            block = group.choose(number, playing.last and not again)
            if block is not None:
                yield from range(block.start, block.end)
            if again:
                i, time = back, time + 1
            else:
                i, back, time = group.end, group.end, 1
            continue
        if bars[i].repeat_start and i != back:
            back, time = i, 1
        yield i
        if playing.repeats and time < bars[i].times:
            i, time = back, time + 1
            continue
        if bars[i].times:
            back, time = i + 1, 1
        i += 1


@dataclass(frozen=True, slots=True)
class Step:
    """One bar in the order of play: bar `bar` of item `item` of the whole order."""

    item: int
    bar: int


@dataclass(slots=True)
class _Reader:
    """Reads a form once; holds what is worked out once a section, and how many bars were played."""

    chart: Chart
    form: Form
    sections: dict[str, Section] = field(default_factory=dict)
    bars: dict[str, tuple[Bar, ...]] = field(default_factory=dict)
    endings: dict[str, dict[int, Endings]] = field(default_factory=dict)
    marks: dict[str, dict[int, tuple[str, ...]]] = field(default_factory=dict)
    played: int = 0
    begun: bool = False

    def __post_init__(self) -> None:
        for section in self.chart.sections:
            bars = section.bars
            self.sections[section.name] = section
            self.bars[section.name] = bars
            self.endings[section.name] = endings_of(bars)
            self.marks[section.name] = {
                i: names for i, bar in enumerate(bars) if (names := _names(bar))
            }

    def items(self) -> tuple[FormItem, ...]:
        return self.form.intro + self.form.chorus + self.form.ending

    def section(self, item: FormItem) -> Section:
        """The section that an item names."""
        return self.sections[item.section]

    def playing(self, index: int, chorus: int, last: bool, repeats: bool) -> Playing:
        """Which playing item `index` of the whole order is, in chorus number `chorus`."""
        items = self.items()
        low, high = self.part(index)
        name = items[index].section
        numbers = [i for i in range(low, high) if items[i].section == name]
        number = numbers.index(index) + 1
        if len(numbers) == 1 and low == len(self.form.intro):
            number = max(1, chorus)
        return Playing(number, last and index == numbers[-1], repeats, not self.begun)

    def part(self, index: int) -> tuple[int, int]:
        """First and last (excluded) item of the part of the form that holds item `index`."""
        start = len(self.form.intro)
        stop = start + len(self.form.chorus)
        if index < start:
            return 0, start
        return (start, stop) if index < stop else (stop, len(self.items()))

    def steps(
        self,
        first: int,
        end: int,
        chorus: int,
        *,
        last: bool,
        repeats: bool = True,
        from_bar: int = 0,
    ) -> Iterator[Step]:
        """Bars of items `first` to `end` (excluded), the first from bar `from_bar` on."""
        items = self.items()
        for index in range(first, end):
            name = items[index].section
            playing = self.playing(index, chorus, last, repeats)
            waiting = index == first and from_bar > 0
            for bar in route(self.bars[name], self.endings[name], playing):
                waiting = waiting and bar != from_bar
                if not waiting:
                    self.begun = True
                    self.played += 1
                    if self.played > BARS_PLAYED_MAX:
                        raise too_long(self.chart, items[index], self.sections[name])
                    yield Step(index, bar)

    def names(self, step: Step) -> tuple[str, ...]:
        """The directions of a bar that steer the order of play."""
        return self.marks[self.items()[step.item].section].get(step.bar, ())

    def find(self, name: str, first: int = 0) -> Step | None:
        """The first bar in written order, from item `first` on, that carries a mark."""
        items = self.items()
        for index in range(first, len(items)):
            for bar, names in sorted(self.marks[items[index].section].items()):
                if name in names:
                    return Step(index, bar)
        return None


def _names(bar: Bar) -> tuple[str, ...]:
    return tuple(t.direction.name for t in bar.texts if t.direction is not None)


def too_long(chart: Chart, item: FormItem, section: Section) -> ChartError:
    """The error for a form without end."""
    span = item.span if item.span.end else section.span
    message = f"more than {BARS_PLAYED_MAX} bars would be played"
    hint = "ask for fewer choruses or repeats"
    return ChartError([Diagnostic("E601", message, hint, span, chart.source)])


def order_of_play(chart: Chart, choruses: int) -> Order:
    """Every visit in order for so many choruses. Raises `ChartError` for directions that lead nowhere or too long."""
    reader = _Reader(chart, form_of(chart))
    form = reader.form
    start, stop = len(form.intro), len(form.intro) + len(form.chorus)
    steps: list[tuple[Step, int, bool]] = []  # step, chorus, whether a visit begins

    def add(run: Iterator[Step], chorus: int) -> None:
        before: Step | None = None
        for step in run:
            steps.append((step, chorus, before is None or before.item != step.item))
            before = step

    steered = not form.written and any(
        name in JUMPS or name in ("To Coda", "Fine", "Coda")
        for marks in reader.marks.values()
        for names in marks.values()
        for name in names
    )
    written_ending = bool(form.ending)
    add(reader.steps(0, start, 0, last=False), 0)
    if not steered:
        for chorus in range(1, choruses + 1):
            add(reader.steps(start, stop, chorus, last=chorus == choruses), chorus)
        add(reader.steps(stop, len(reader.items()), 0, last=True), 0)
    else:
        from_here = _Steering(reader)
        for chorus in range(1, choruses):
            add(from_here.early(start, stop, chorus), chorus)
        for run in from_here.last(start, choruses):
            add(iter(run), choruses)
        written_ending = written_ending or from_here.left_early
    written_ending = written_ending or _last_ending(reader, steps)
    return Order(_visits(reader, steps), choruses, written_ending)


def _last_ending(reader: _Reader, steps: Sequence[tuple[Step, int, bool]]) -> bool:
    """True when the last bar played stands in an ending for the last chorus."""
    if not steps:
        return False
    step = steps[-1][0]
    groups = reader.endings[reader.items()[step.item].section].values()
    return any(
        LAST in b.numbers and b.start <= step.bar < b.end for group in groups for b in group.blocks
    )


def _visits(reader: _Reader, steps: Sequence[tuple[Step, int, bool]]) -> tuple[Visit, ...]:
    items = reader.items()
    start, stop = len(reader.form.intro), len(reader.form.intro) + len(reader.form.chorus)
    visits: list[Visit] = []
    bars: list[int] = []
    for i, (step, chorus, _) in enumerate(steps):
        bars.append(step.bar)
        if i + 1 == len(steps) or steps[i + 1][2]:
            item = items[step.item]
            part = "intro" if step.item < start else "chorus" if step.item < stop else "ending"
            number = chorus if part == "chorus" else 0
            section = reader.section(item)
            visits.append(Visit(section, part, number, item.transpose, tuple(bars)))
            bars = []
    return tuple(visits)


@dataclass(slots=True)
class _Steering:
    """Obeys the directions that steer the order of play, in the last chorus."""

    reader: _Reader
    left_early: bool = False

    def early(self, start: int, stop: int, chorus: int) -> Iterator[Step]:
        """A chorus before the last: up to the D.C. or D.S. and never into the coda."""
        steps = list(self.reader.steps(start, stop, chorus, last=False))
        for i, step in enumerate(steps):
            names = self.reader.names(step)
            if "Coda" in names:
                return
            yield step
            if not JUMPS.isdisjoint(names) and self.leaves(steps, i):
                return

    def leaves(self, steps: Sequence[Step], i: int) -> bool:
        """True when step `i` is not played again before its section is left: repeats come first."""
        step = steps[i]
        for later in steps[i + 1 :]:
            if later.item != step.item:
                return True
            if later.bar == step.bar:
                return False
        return True

    def last(self, start: int, chorus: int) -> Iterator[list[Step]]:
        """The last chorus and what follows it, as runs of bars between jumps."""
        reader = self.reader
        end = len(reader.items())
        run = list(reader.steps(start, end, chorus, last=not self.jumps()))
        taken: set[Step] = set()
        leap = ""  # what the last jump said: al Fine, al Coda
        coda_taken = False
        while True:
            cut, target, leap = self.next(run, taken, leap, coda_taken)
            yield run[:cut]
            if target is None:
                return
            to_coda = leap == "coda"
            coda_taken = coda_taken or to_coda
            run = list(
                reader.steps(
                    target.item, end, chorus, last=True, repeats=to_coda, from_bar=target.bar
                )
            )

    def jumps(self) -> bool:
        """True where a D.C. or D.S. is written."""
        return any(
            name in JUMPS
            for marks in self.reader.marks.values()
            for names in marks.values()
            for name in names
        )

    def next(
        self, run: Sequence[Step], taken: set[Step], leap: str, coda_taken: bool
    ) -> tuple[int, Step | None, str]:
        """Where a run stops (bars played of it), where play goes on, and what kind of jump that is."""
        waits = not self.jumps()
        for i, step in enumerate(run):
            names = self.reader.names(step)
            if not names:
                continue
            if "Coda" in names and leap != "coda" and not coda_taken and self.marked("To Coda"):
                return i, None, leap  # the coda is reached by its jump alone
            if "Fine" in names and (
                leap in ("al Fine", "D") or (waits and self.last_pass(run, i, "Fine"))
            ):
                self.left_early = True
                return i + 1, None, leap
            if (
                "To Coda" in names
                and not coda_taken
                and (leap == "al Coda" or (waits and self.last_pass(run, i, "To Coda")))
            ):
                coda = self.coda(step)
                if coda is not None:
                    self.left_early = True
                    return i + 1, coda, "coda"
            jump = next((n for n in names if n in JUMPS), None)
            if jump is not None and step not in taken and self.leaves(run, i):
                taken.add(step)
                target = self.target(jump, step)
                return i + 1, target, jump[5:] if len(jump) > 4 else "D"
        return len(run), None, leap

    def marked(self, name: str) -> bool:
        return self.reader.find(name) is not None

    def last_pass(self, run: Sequence[Step], i: int, name: str) -> bool:
        return not any(name in self.reader.names(s) for s in run[i + 1 :])

    def coda(self, step: Step) -> Step | None:
        """The bar marked Coda, or the start of a section of that name."""
        found = self.reader.find("Coda")
        if found is not None:
            return found
        for index, item in enumerate(self.reader.items()):
            if item.section.casefold() == "coda":
                return Step(index, 0)
        raise self.missing("E603", "To Coda", "Coda", step)

    def target(self, jump: str, step: Step) -> Step:
        """Where a D.C. or D.S. leads; checks that its Fine or To Coda is there."""
        for word, mark, code in (("Fine", "Fine", "E604"), ("Coda", "To Coda", "E605")):
            if jump.endswith(word) and not self.marked(mark):
                raise self.missing(code, jump, mark, step)
        if jump.startswith("D.C."):
            return Step(0, 0)
        found = self.reader.find("Segno")
        if found is None:
            raise self.missing("E602", jump, "Segno", step)
        return found

    def missing(self, code: str, jump: str, mark: str, step: Step) -> ChartError:
        bar = self.reader.bars[self.reader.items()[step.item].section][step.bar]
        span = next(
            (t.span for t in bar.texts if t.direction is not None and t.direction.name == jump),
            Span(bar.span.start, bar.span.end),
        )
        message = f'"{jump}" is written, but no "{mark}" is'
        hint = f'write "{mark}" over the bar that is meant'
        return ChartError([Diagnostic(code, message, hint, span, self.reader.chart.source)])
