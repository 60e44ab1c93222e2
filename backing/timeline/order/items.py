"""The form of a chart, and the bars of its items one after another.

Conventions: the chorus is what `form` brackets, otherwise everything between a leading Intro and a trailing Ending,
Outro, Coda or Tag. An item is one entry of the form, or one heading where no form is written. The pickup is played
once (common practice).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from backing.chart.ast import Bar, Chart, FormItem, Section
from backing.chart.codes import CODES
from backing.ground.errors import ChartError
from backing.ground.source import Diagnostic
from backing.timeline.order.repeats import Endings, Playing, endings_of, route

BARS_PLAYED_MAX = 20_000
BEFORE = frozenset({"intro"})
AFTER = frozenset({"ending", "outro", "coda", "tag"})


class Form(NamedTuple):
    """The items that come before the choruses, in each of them, and after them."""

    intro: tuple[FormItem, ...]
    chorus: tuple[FormItem, ...]
    ending: tuple[FormItem, ...]
    written: bool


def form_of(chart: Chart) -> Form:
    """Divide what `form` says, or the headings as they follow each other, into intro, chorus and ending."""
    items = chart.header.form
    if items is not None:
        inside = [i for i, item in enumerate(items) if item.in_chorus]
        first, last = (inside[0], inside[-1] + 1) if inside else (0, len(items))
        return Form(items[:first], items[first:last], items[last:], True)
    items = tuple(FormItem(name) for name in chart.order)
    first = int(items[0].section.casefold() in BEFORE)
    last = len(items) - int(items[-1].section.casefold() in AFTER)
    if first >= last:
        first, last = 0, len(items)
    return Form(items[:first], items[first:last], items[last:], False)


def choruses_of(chart: Chart) -> int:
    """How many choruses the chart asks for."""
    return chart.header.choruses or chart.header.form_repeats


class Step(NamedTuple):
    """One bar in the order of play: bar `bar` of item `item` of the whole form."""

    item: int
    bar: int


@dataclass(slots=True, eq=False, repr=False)
class Reader:
    """Reads a form bar by bar; holds what is worked out once a section, and how many bars were played."""

    chart: Chart
    form: Form
    items: tuple[FormItem, ...] = ()
    sections: dict[str, Section] = field(default_factory=dict)
    bars: dict[str, tuple[Bar, ...]] = field(default_factory=dict)
    endings: dict[str, dict[int, Endings]] = field(default_factory=dict)
    marks: dict[str, dict[int, frozenset[str]]] = field(default_factory=dict)
    played: int = 0

    def __post_init__(self) -> None:
        self.items = self.form.intro + self.form.chorus + self.form.ending
        for section in self.chart.sections:
            name, bars = section.name, section.bars
            self.sections[name], self.bars[name] = section, bars
            self.endings[name] = endings_of(bars)
            self.marks[name] = {i: _names(bar) for i, bar in enumerate(bars) if bar.texts}

    @property
    def start(self) -> int:
        """The first item of the chorus."""
        return len(self.form.intro)

    @property
    def stop(self) -> int:
        """The first item after the chorus."""
        return self.start + len(self.form.chorus)

    def part(self, index: int) -> str:
        """Where an item stands: "intro", "chorus" or "ending"."""
        if index < self.start:
            return "intro"
        return "chorus" if index < self.stop else "ending"

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
        """Bars of items `first` to `end` (excluded), the first item from bar `from_bar` on.

        `last` plays the endings for the last chorus. Raises `ChartError` when too many bars were played in all.
        """
        for index in range(first, end):
            name = self.items[index].section
            playing = self._playing(index, chorus, last, repeats)
            waiting = index == first and from_bar > 0
            for bar in route(self.bars[name], self.endings[name], playing):
                waiting = waiting and bar != from_bar
                if waiting:
                    continue
                self.played += 1
                if self.played > BARS_PLAYED_MAX:
                    raise self._too_long(index)
                yield Step(index, bar)

    def _playing(self, index: int, chorus: int, last: bool, repeats: bool) -> Playing:
        """Which playing of its section an item is: by its place among its like, or by chorus where it is alone."""
        part, name = self.part(index), self.items[index].section
        alike = [
            i for i, item in enumerate(self.items) if item.section == name and self.part(i) == part
        ]
        number = alike.index(index) + 1
        if len(alike) == 1 and part == "chorus":
            number = chorus
        return Playing(number, last and index == alike[-1], repeats, self.played == 0)

    def names(self, step: Step) -> frozenset[str]:
        """The directions over a bar."""
        return self.marks[self.items[step.item].section].get(step.bar, frozenset())

    def carries(self, names: frozenset[str]) -> bool:
        """True when one of these directions is written anywhere."""
        return any(
            not names.isdisjoint(found) for bars in self.marks.values() for found in bars.values()
        )

    def find(self, name: str) -> Step | None:
        """The first bar in written order that carries a direction."""
        for index, item in enumerate(self.items):
            for bar, names in self.marks[item.section].items():
                if name in names:
                    return Step(index, bar)
        return None

    def _too_long(self, index: int) -> ChartError:
        item = self.items[index]
        span = item.span if item.span.end else self.sections[item.section].span
        sentence, hint = CODES["E601"]
        message = sentence.format(most=f"{BARS_PLAYED_MAX:,}")
        return ChartError([Diagnostic("E601", message, hint, span, self.chart.source)])


def _names(bar: Bar) -> frozenset[str]:
    return frozenset(t.direction.name for t in bar.texts if t.direction is not None)
