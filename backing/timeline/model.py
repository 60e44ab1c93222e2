"""What is played, in order: bars, chords, keys, meters, tempo.

Conventions: quarters from the first bar played (a pickup included), half-open spans; bar `index` counts bars as played
from 1, `number` is the bar of the sheet. Chords are what sounds; `written` is what the chart says. Repeat signs,
directions, capo and tuning are gone: they have been obeyed. A push, a stop, a hit is a mark here and is played by the
arrangement.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from enum import Enum
from fractions import Fraction
from typing import NamedTuple, TypeVar

from backing.chart.ast import Ending
from backing.chart.words import TimeFeel as TimeFeel
from backing.ground.levels import Levels
from backing.ground.manners import FULL, OFF
from backing.ground.pitch import Key, NoteName, Pitch
from backing.ground.timebase import Feel, Meter, TempoStep
from backing.harmony.symbol import Chord


class Strike(Enum):
    """How the band takes a chord."""

    NORMAL = "normal"
    STOP = "stop"  # struck short by all, then silence until the next chord
    RING = "ring"  # struck once by all and left to sound until the next chord; nobody keeps time


class ChordSpan(NamedTuple):
    """One chord (None for N.C.) from `start_q` to `end_q` as written; it sounds `push_q` earlier.

    `bar` is the index of the bar in which it begins. A chord that is repeated bar after bar is one span a bar, with
    `again` true where neither root, quality nor bass changes from the span before.
    """

    start_q: Fraction
    end_q: Fraction
    chord: Chord | None
    symbol: str
    written: str
    bar: int
    push_q: Fraction = Fraction(0)
    strike: Strike = Strike.NORMAL
    fermata: bool = False
    again: bool = False
    held: bool = False  # a `/` at the bar line: the chord goes on, it is not struck again
    grip: tuple[
        int, ...
    ] = ()  # frets that are typed behind it, from the lowest string, -1 for none

    @property
    def sounds_q(self) -> Fraction:
        """Where it is heard first."""
        return self.start_q - self.push_q if self.push_q else self.start_q

    @property
    def length_q(self) -> Fraction:
        return self.end_q - self.start_q


class PlayedBar(NamedTuple):
    """One bar as played. `dynamic` runs from `dynamic` to `dynamic_end` (0 pp to 5 ff), None where the band decides.

    `players` None means everyone; `tacet` roles rest; `levels` are louder or softer than in the style. `breaks` silences the band, `fills` asks the drums for a fill.
    `line` is the line of the chart (from 1), 0 for a bar that was added (an ending; a tag keeps its own), whose
    `number` is 0 too. `clave_half` runs on unbroken through sections of odd length.
    """

    index: int  # type: ignore[assignment]  # tuple.index is not used
    number: int
    section: str
    section_index: int  # into Timeline.sections
    pass_: int
    chorus: int
    line: int
    meter: Meter
    start_q: Fraction
    end_q: Fraction
    key: Key
    style: str | None = None
    feel: Feel | None = None
    dynamic: float | None = None
    dynamic_end: float | None = None
    players: frozenset[str] | None = None
    tacet: frozenset[str] = frozenset()
    levels: Levels = ()
    hand: int = 0  # fret near which the solo guitar's hand is asked to stay, 0 for none
    colour: bool | None = None
    clave: str | None = None
    clave_half: int = 0  # 0 in the first bar of the two that a clave fills, 1 in the second
    time_feel: TimeFeel = TimeFeel.NORMAL
    rubato: bool = False
    breaks: bool = False
    fills: bool = False

    @property
    def length_q(self) -> Fraction:
        return self.end_q - self.start_q


class SectionPass(NamedTuple):
    """One playing of a section: bars `first` to `last` by index.

    `pass_` counts playings of this section from 1. `part` says where in the form it stands: "intro", "chorus" or
    "ending"; `chorus` is 0 outside the choruses. `origin` is the bar of the whole track (by index) that the first one
    was cut out of, 0 where nothing was cut.
    """

    name: str
    pass_: int
    chorus: int
    part: str
    first: int
    last: int
    transpose: int = 0
    origin: int = 0


class MelodyNote(NamedTuple):
    """A note of the melody as it sounds."""

    start_q: Fraction
    end_q: Fraction
    pitch: Pitch


class Hit(NamedTuple):
    """A stroke of the whole band: alone (`kick` false) or inside the time-keeping (`kick` true)."""

    start_q: Fraction
    end_q: Fraction
    kick: bool


class Rhythm(NamedTuple):
    """The bars for which a `hits` or `kicks` line says what is played: silence or time outside its strokes."""

    start_q: Fraction
    end_q: Fraction
    kick: bool


_Span = TypeVar("_Span", PlayedBar, ChordSpan, MelodyNote, Hit, Rhythm)


def _moved(spans: Iterable[_Span], by_q: Fraction) -> Iterator[_Span]:
    return (s._replace(start_q=s.start_q + by_q, end_q=s.end_q + by_q) for s in spans)


class Timeline(NamedTuple):
    """A form ready to be arranged. `tempo` steps are in quarters from the first bar played.

    `whole` is the track that an excerpt was cut out of, for the leader who plans all of it. `loops` where the end runs
    into the start. `plan` is one of `manners.PLANS`.
    """

    title: str
    by: str
    key: Key
    style: str
    bars: tuple[PlayedBar, ...]
    chords: tuple[ChordSpan, ...]
    sections: tuple[SectionPass, ...]
    tempo: tuple[TempoStep, ...]
    choruses: int = 1
    ending: Ending = Ending()
    ending_asked: bool = False  # by the chart or whoever plays, rather than as usual in the style
    count_in: int | None = None  # bars, 0 off, None by meter and tempo
    pickup: bool = False  # the first bar is a pickup
    fade_bars: int = 0
    melody: tuple[MelodyNote, ...] = ()
    hits: tuple[Hit, ...] = ()
    rhythms: tuple[Rhythm, ...] = ()
    capo: int = 0
    tuned: int = 0
    tuning: tuple[NoteName, ...] = ()  # open strings of guitars, from the lowest; () as usual
    chord_melody: str = ""  # how full a solo guitar plays tune and chords; "" for none
    german: bool = (
        False  # the chart names notes in German; symbols and keys here are English all the same
    )
    notes: tuple[str, ...] = ()  # what was decided for the writer, for `check` to say
    intro: str = OFF  # how it was made where the band added one
    plan: str = FULL
    whole: Timeline | None = None
    loops: bool = False

    @property
    def length_q(self) -> Fraction:
        return self.bars[-1].end_q if self.bars else Fraction(0)

    def bar_at(self, at_q: Fraction) -> PlayedBar:
        """The bar that holds a place; the first or last one outside the form."""
        return self.bars[max(0, bisect_right(self.bars, at_q, key=lambda b: b.start_q) - 1)]

    def moved(self, by_q: Fraction, bars: int = 0, sections: int = 0) -> Timeline:
        """Everything `by_q` quarters later (earlier where negative), counted on by so many bars and sections."""
        return self._replace(
            bars=tuple(
                b._replace(index=b.index + bars, section_index=b.section_index + sections)
                for b in _moved(self.bars, by_q)
            ),
            chords=tuple(c._replace(bar=c.bar + bars) for c in _moved(self.chords, by_q)),
            sections=tuple(
                s._replace(first=s.first + bars, last=s.last + bars) for s in self.sections
            ),
            tempo=tuple(TempoStep(s.at_q + by_q, s.us) for s in self.tempo),
            melody=tuple(_moved(self.melody, by_q)),
            hits=tuple(_moved(self.hits, by_q)),
            rhythms=tuple(_moved(self.rhythms, by_q)),
        )


def concatenated(parts: Sequence[Timeline], places_q: Sequence[Fraction]) -> Timeline:
    """Timelines as one, each moved to its place, bars and sections counted on; what is told once is the first one's."""
    placed: list[Timeline] = []
    bars = sections = 0
    for part, at_q in zip(parts, places_q, strict=True):
        placed.append(part.moved(at_q, bars, sections))
        bars, sections = bars + len(part.bars), sections + len(part.sections)
    return parts[0]._replace(
        bars=tuple(b for t in placed for b in t.bars),
        chords=tuple(c for t in placed for c in t.chords),
        sections=tuple(s for t in placed for s in t.sections),
        tempo=tuple(s for t in placed for s in t.tempo),
        melody=tuple(n for t in placed for n in t.melody),
        hits=tuple(h for t in placed for h in t.hits),
        rhythms=tuple(r for t in placed for r in t.rhythms),
    )
