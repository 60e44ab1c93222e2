"""What a file of another format says, before it is typed as a chart: settings, and measures with what stands in them.

Conventions: places in a measure are quarters from its start; a gap between notes is a rest. `Span` counts characters of
the source. A symbol is typed as a chart types it (`Bbmaj7`, `N.C.`, with the marks `<`, `!` and `=`). A syllable is typed
as `words:` has it: `o-` goes on in the next note, `_` behind it or alone holds it for one note more.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from backing.chart.ast import BarLine
from backing.ground.pitch import Pitch
from backing.ground.source import NOWHERE, Span
from backing.ground.timebase import FOUR_FOUR, Meter


class Note(NamedTuple):
    """A note of the melody; `held` goes on from the note before it. `syllables`, one a verse."""

    start_q: Fraction
    length_q: Fraction
    pitch: Pitch
    span: Span
    held: bool = False
    syllables: tuple[str, ...] = ()

    @property
    def end_q(self) -> Fraction:
        return self.start_q + self.length_q


class Symbol(NamedTuple):
    """A chord from `at_q` on."""

    at_q: Fraction
    text: str
    span: Span


class Said(NamedTuple):
    """Words or a sign over the music."""

    at_q: Fraction
    text: str
    span: Span


class Set(NamedTuple):
    """A setting, as a chart types it."""

    name: str
    value: str
    span: Span


@dataclass(slots=True)
class Measure:
    """One measure while a file is read. `opened` names the section that begins here, "" for one without a name."""

    span: Span = NOWHERE
    meter: Meter = FOUR_FOUR
    length_q: Fraction = Fraction(0)
    symbols: list[Symbol] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    opened: str | None = None
    opened_at: Span = NOWHERE
    settings: list[Set] = field(default_factory=list)  # that hold from here on
    repeat_start: bool = False
    times: int = 0
    ending: tuple[int, ...] = ()
    line_after: BarLine = BarLine.SINGLE
    new_line: bool = False
    number: int = -1  # as the file counts, where it matters
    simile: int = 0  # 1 for `%`, 2 and 3 for the bars of `%2`
    below: dict[str, str] = field(default_factory=dict)  # lines of a chart that no other format has
    verses: list[str] = field(
        default_factory=list
    )  # words that stand under the bar and under no note


@dataclass(slots=True)
class Lead:
    """A file as read. `exact` where a bar without a symbol holds the chord before it and is not struck again."""

    settings: list[Set] = field(default_factory=list)
    measures: list[Measure] = field(default_factory=list)
    exact: bool = False
    order: list[str] = field(default_factory=list)  # of the headings, where sections come again
