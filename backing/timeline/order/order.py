"""The order of play: which written bars sound, one after another.

Conventions: a *visit* is one playing of a section, its repeats included; bars are indices into `Section.bars`. A jump
begins a new visit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import NamedTuple

from backing.chart.ast import LAST, Chart, Section
from backing.chart.codes import CODES
from backing.ground.errors import ChartError
from backing.ground.source import Diagnostic
from backing.timeline.order.directions import STEERING, Steering
from backing.timeline.order.items import Reader, Step, form_of


class Visit(NamedTuple):
    """One playing of a section: `bars` by index, in order. `part` is "intro", "chorus" or "ending".

    `label` is shown instead of the section's name where that is given (a tag).
    """

    section: Section
    part: str
    chorus: int
    transpose: int
    bars: tuple[int, ...]
    label: str = ""


class Order(NamedTuple):
    """The visits in order; `written_ending` is true where the chart itself says how the tune ends."""

    visits: tuple[Visit, ...]
    choruses: int
    written_ending: bool = False


def order_of_play(chart: Chart, choruses: int) -> Order:
    """Every visit in order for so many choruses.

    Raises `ChartError` for directions that lead nowhere, for more than `BARS_PLAYED_MAX` bars and for none at all.
    """
    reader = Reader(chart, form_of(chart))
    if reader.form.written or not reader.carries(STEERING):
        visits = [
            v for chorus, run in _straight(reader, choruses) for v in _visits(reader, run, chorus)
        ]
        written = False
    else:
        steering = Steering(reader)
        visits = [
            v for chorus, run in steering.runs(choruses) for v in _visits(reader, run, chorus)
        ]
        written = steering.left_early
    if not visits:
        raise _nothing(chart)
    written = written or bool(reader.form.ending) or _in_last_ending(reader, visits)
    return Order(tuple(visits), choruses, written)


def _straight(reader: Reader, choruses: int) -> Iterator[tuple[int, Iterable[Step]]]:
    """The form without jumps: intro, choruses, ending."""
    yield 0, reader.steps(0, reader.start, 0, last=False)
    for chorus in range(1, choruses + 1):
        yield chorus, reader.steps(reader.start, reader.stop, chorus, last=chorus == choruses)
    yield 0, reader.steps(reader.stop, len(reader.items), 0, last=True)


def _visits(reader: Reader, run: Iterable[Step], chorus: int) -> Iterator[Visit]:
    """A run of bars without a jump, divided by items of the form."""
    for index, steps in groupby(run, key=lambda step: step.item):
        item = reader.items[index]
        part = reader.part(index)
        yield Visit(
            reader.sections[item.section],
            part,
            chorus if part == "chorus" else 0,
            item.transpose,
            tuple(step.bar for step in steps),
        )


def _in_last_ending(reader: Reader, visits: list[Visit]) -> bool:
    """True when the last bar played stands in an ending for the last chorus."""
    bar = visits[-1].bars[-1]
    groups = reader.endings[visits[-1].section.name].values()
    return any(
        LAST in b.numbers and b.start <= bar < b.end for group in groups for b in group.blocks
    )


def _nothing(chart: Chart) -> ChartError:
    section = chart.sections[0]
    message, hint = CODES["E602"]
    return ChartError([Diagnostic("E602", message, hint, section.span, chart.source)])
