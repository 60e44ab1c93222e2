"""What a chart says, as written, each part with its place in the text.

Conventions: positions inside a bar are quarters from its bar line. Nothing here knows the order of play. Settings that
were not written are None; defaults are applied when the chart is unrolled. Places in the text do not count when charts
are compared.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from backing.ground.levels import Levels
from backing.ground.pitch import Key, NoteName, Pitch
from backing.ground.source import NOWHERE, Diagnostic, Shown, Source, Span
from backing.ground.timebase import Feel, Meter, Tempo
from backing.harmony.symbol import Chord

LETTERS, NUMBERS, NUMERALS = "letters", "numbers", "numerals"  # how chords are written
WANTED = "?"  # stands for a chord that is still to be found
LAST = -1  # the ending marked `last.`


class EndingKind(Enum):
    """How the last chorus stops; the words are those of the `ending` setting."""

    RING = "ring"
    SHORT = "short"
    TAG = "tag"
    RIT = "rit"
    FADE = "fade"
    AS_WRITTEN = "as written"


class Ending(NamedTuple):
    """How the last chorus stops, and over how many bars where it fades."""

    kind: EndingKind = EndingKind.RING
    bars: int = 0  # of a fade

    @property
    def name(self) -> str:
        return f"fade {self.bars}" if self.kind is EndingKind.FADE else self.kind.value


class PlayerSet(NamedTuple):
    """`bass, drums` or `all but drums`."""

    roles: frozenset[str]
    all_but: bool = False

    def keeps(self, role: str) -> bool:
        return (role in self.roles) != self.all_but


class Dynamics(NamedTuple):
    """Levels of `timebase.DYNAMICS`; `to` where it grows or fades over the section."""

    level: float
    to: float | None = None


class Settings(NamedTuple):
    """Settings that both a chart and a section may have; None where not written."""

    key: Key | None = None
    meter: Meter | None = None
    tempo: Tempo | None = None
    style: str | None = None
    feel: Feel | None = None
    push_q: Fraction | None = None
    clave: str | None = None
    dynamics: Dynamics | None = None
    players: PlayerSet | None = None
    colour: bool | None = None
    levels: Levels | None = None
    chords: str | None = None  # how they are written: letters, numbers or numerals


@dataclass(frozen=True, slots=True, repr=False)
class FormItem(Shown):
    """One playing of a section in the form; `transpose` in semitones."""

    section: str
    transpose: int = 0
    in_chorus: bool = True
    span: Span = field(default=NOWHERE, compare=False)


class Header(NamedTuple):
    """Settings of the chart alone, and the text they were written in."""

    title: str = ""
    by: str = ""
    notes: str = ""
    form: tuple[FormItem, ...] | None = None
    form_repeats: int = 1  # of the bracketed group, `(A A B A) x3`
    choruses: int | None = None
    ending: Ending | None = None
    count_in: int | None = None  # bars; 0 is `off`
    intro: str | None = None  # one of `manners.INTROS`
    plan: str | None = None  # one of `manners.PLANS`
    pickup_beats: Fraction = Fraction(0)  # counted beats
    tuned: int = 0
    capo: int = 0
    tuning: tuple[NoteName, ...] = ()  # open strings of guitars, from the lowest; () as usual
    chord_melody: str = ""  # how full a solo guitar plays tune and chords; "" for none
    language: str = ""  # of title and words, such as "de"; "" where nothing is said
    names: str = "english"  # of the notes: english, german or latin

    @property
    def german(self) -> bool:
        """Whether H is B natural."""
        return self.names == "german"

    @property
    def latin(self) -> bool:
        """Whether notes are do, re, mi."""
        return self.names == "latin"


@dataclass(frozen=True, slots=True, repr=False)
class Written(Shown):
    """A setting as typed, kept for writing the chart back."""

    name: str
    value: str
    span: Span = field(compare=False)
    value_span: Span = field(compare=False)


@dataclass(frozen=True, slots=True, repr=False)
class Slot(Shown):
    """A chord (None for N.C.) that sounds from `start_q` for `length_q` quarters.

    `held` is a `/` at the start of a bar: the chord before goes on over the bar line.
    """

    start_q: Fraction
    length_q: Fraction
    chord: Chord | None
    text: str
    span: Span = field(compare=False)
    held: bool = False
    pushed: bool = False
    stop: bool = False
    ring: bool = False
    grip: tuple[
        int, ...
    ] = ()  # frets typed behind the chord, from the lowest string; -1 is not played

    @property
    def wanted(self) -> bool:
        """Whether a chord is still to be found here."""
        return self.text == WANTED


class Direction(NamedTuple):
    """An obeyed direction: `name` in its plain form (`D.S. al Coda`, `rit.`), `value` its figure (`rit. to 96`)."""

    name: str
    value: Fraction | None = None
    role: str | None = None  # of `tacet guitar`


@dataclass(frozen=True, slots=True, repr=False)
class Text(Shown):
    """Words in quotes over a bar; `at_q` is where the next chord begins."""

    text: str
    at_q: Fraction
    span: Span = field(compare=False)
    direction: Direction | None = None


@dataclass(frozen=True, slots=True, repr=False)
class LineNote(Shown):
    """A note, hit or rest (`pitch` and `hit` empty) of a line under the music."""

    start_q: Fraction
    length_q: Fraction
    span: Span = field(compare=False)
    pitch: Pitch | None = None
    hit: bool = False
    held: bool = False  # goes on from the note before, over the bar line


class BarLine(Enum):
    SINGLE = "|"
    DOUBLE = "||"
    FINAL = "|]"


@dataclass(frozen=True, slots=True, repr=False)
class Bar(Shown):
    """One written bar; `number` is 0 for a pickup.

    `simile` is 1 for `%`, 2 for the first and 3 for the second bar of `%2`; `slots` then hold what is repeated.
    `times` is how often a repeat that ends here is played in all, 0 where none ends. `ending` holds the numbers of an
    ending that begins here (`LAST` for `last.`).
    """

    number: int
    meter: Meter
    slots: tuple[Slot, ...]
    span: Span = field(compare=False)
    items_text: str = ""  # what stands between the bar lines, as it is written back
    meter_written: bool = False
    beat_kept: bool = (
        False  # `beat = beat`: the counted beat keeps its length at this change of meter
    )
    repeat_start: bool = False
    times: int = 0
    ending: tuple[int, ...] = ()
    simile: int = 0
    line_after: BarLine = BarLine.SINGLE
    texts: tuple[Text, ...] = ()
    melody: tuple[LineNote, ...] | None = None
    hits: tuple[LineNote, ...] | None = None
    kicks: tuple[LineNote, ...] | None = None
    words: tuple[str, ...] = ()  # one a verse
    melody_text: str = ""  # the lines under the bar as they are written back
    hits_text: str = ""
    kicks_text: str = ""

    @property
    def length_q(self) -> Fraction:
        """Length in quarters; a pickup is shorter than its meter."""
        return (
            sum((s.length_q for s in self.slots), Fraction(0))
            if self.number == 0
            else self.meter.length_q
        )


@dataclass(frozen=True, slots=True, repr=False)
class MusicLine(Shown):
    """A typed line of music with the bars on it."""

    bars: tuple[Bar, ...]
    span: Span = field(compare=False)
    under: tuple[Written, ...] = ()  # the lines below, as typed, in their order


@dataclass(frozen=True, slots=True, repr=False)
class Section(Shown):
    """A section as written once; `name` is "" in a chart without headings."""

    name: str
    settings: Settings
    lines: tuple[MusicLine, ...]
    span: Span = field(compare=False)
    written: tuple[Written, ...] = ()

    @property
    def bars(self) -> tuple[Bar, ...]:
        return tuple(bar for line in self.lines for bar in line.bars)


@dataclass(frozen=True, slots=True, repr=False)
class Comment(Shown):
    """A comment as typed, with its `#`."""

    text: str
    span: Span = field(compare=False)
    own_line: bool


@dataclass(frozen=True, slots=True, repr=False)
class Chart(Shown):
    """A parsed chart. `sections` are distinct; `order` names them as headings follow each other in the text."""

    source: Source = field(compare=False)
    header: Header
    settings: Settings
    sections: tuple[Section, ...]
    order: tuple[str, ...]
    written: tuple[Written, ...] = ()
    comments: tuple[Comment, ...] = ()
    warnings: tuple[Diagnostic, ...] = field(default=(), compare=False)
    headings: tuple[Span, ...] = field(default=(), compare=False)  # one for each name in `order`

    def section(self, name: str) -> Section:
        """The section of that name. Raises KeyError."""
        for section in self.sections:
            if section.name == name:
                return section
        raise KeyError(name)
