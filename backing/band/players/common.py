"""What every player is told, and the shape of time that marks give to a section.

A player is a pure function `play(brief) -> list[Note]`. It is called once for every playing of a section, so a search
never runs past a section's border; it sees the first chord after the border to lead into it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from enum import Enum
from fractions import Fraction
from types import MappingProxyType
from typing import NamedTuple

from backing.band.led import SectionPlan
from backing.band.model import Kind, Note, Why
from backing.ground.dice import Place
from backing.ground.pitch import Degree
from backing.styles.model import Part, Style, Where
from backing.timeline.model import ChordSpan, Hit, MelodyNote, PlayedBar, SectionPass, Timeline


class Change(NamedTuple):
    """A chord as the band hears it: span number `index` of the timeline from `start_q` (push applied) to `end_q`."""

    index: int  # type: ignore[assignment]  # tuple.index is not used
    start_q: Fraction
    end_q: Fraction
    span: ChordSpan


class ZoneKind(Enum):
    """What a player does in a stretch of time."""

    TIME = "time"  # plays patterns
    KICKS = "kicks"  # plays `strokes` inside the time-keeping: chords play them, bass and drums go on and mark them
    STRUCK = "struck"  # plays `strokes` and nothing else
    SILENT = "silent"


class Stroke(NamedTuple):
    """A stroke that the whole band plays together, what sort it is, and why where no mark of the chart asks for it."""

    start_q: Fraction
    end_q: Fraction
    kind: Kind
    why: str = ""


def with_the_band(stroke: Stroke) -> Why:
    """Why a note sounds with a stroke of the whole band."""
    asked = f", {stroke.why}" if stroke.why else ""
    return Why(stroke.kind, f"with the band: {stroke.kind.value}{asked}")


class Zone(NamedTuple):
    """A stretch of a section in which one rule holds."""

    start_q: Fraction
    end_q: Fraction
    kind: ZoneKind
    strokes: tuple[Stroke, ...] = ()


HELD_BARS = 24  # for which a groove is kept to where choruses are short


def _start(stretch: Change | Zone) -> Fraction:
    return stretch.start_q


Marks = tuple[tuple[str, str], ...]  # marks of strokes by line


class Phase(NamedTuple):
    """Where a bar stands in whatever runs over several bars, counted once for all players.

    `bar` counts the bars of patterns from the start of the phrase, with a clave from the side that the style is written
    in; in half time one passes every two bars and `half` says which half of it is played, in double time two pass a bar.
    Both are then counted from the bar where that feel begins.
    """

    bar: int = 0
    half: int = 0


class BarPlan(NamedTuple):
    """What the leader decided for one bar.

    `level` is the loudness (0 pp to 5 ff) that chooses patterns and scales velocities; `busy` (0 to 1) how much this
    player may do in it; `phrase_end` marks the last bar of a phrase, `fill` a bar in which drums fill, `crash` a bar
    that begins with a crash; `two` asks for a two-feel. `phrase_bar` counts bars of the phrase from 0, `left` those up to
    the section's end, this one included. `places` are what a bar is beside a phrase's, in the order in which patterns
    for them are wanted. `energy` is what the section is for (a value of `Energy`, "" for nothing in particular), `ideas`
    are the band's in this bar, one for its place before the one that keeps time, `side` the side of the clave ("" without one).
    """

    level: float
    busy: float = 0.5
    phrase_bar: int = 0
    phrase_end: bool = False
    fill: bool = False
    crash: bool = False
    two: bool = False
    opening: bool = False  # first bar after a change of section
    close: bool = False  # last bar before the final chord
    phase: Phase = Phase()
    left: int = 1
    places: tuple[Where, ...] = ()
    energy: str = ""
    ideas: tuple[str, ...] = ()
    side: str = ""
    comping: tuple[str, ...] = ()  # who comps in the bar, the leader first


class Brief(NamedTuple):
    """Everything that a player knows about one playing of a section.

    `bars` and `plans` run in parallel. `changes` cover the section without a gap, clipped to its borders, and `ahead`
    is what is heard from its end on (None at the very end). A chord that is pushed or held over the border stands on
    both sides with the same `index`: as the last of `changes` and as `ahead`, then again as the first of the next
    section's `changes`, where its span's `sounds_q` lies before its `start_q` (it has been struck already).
    `zones` cover the section without a gap, for this role; a stroke belongs to the zone in which it starts. `heard` holds what players called earlier (bass, then guitar, keys, drums …) play in this section.
    `colours` are the unwritten degrees that the band adds to each chord, by its index: the same for all players.
    `led` is the leader's plan of the section. `place` is the stem of every chance here: (seed, role, section, pass).
    """

    timeline: Timeline
    section: SectionPass
    style: Style
    part: Part
    bars: tuple[PlayedBar, ...]
    plans: tuple[BarPlan, ...]
    changes: tuple[Change, ...]
    ahead: Change | None
    zones: tuple[Zone, ...]
    place: Place
    melody: tuple[MelodyNote, ...] = ()
    kicks: tuple[Hit, ...] = ()
    heard: Mapping[str, tuple[Note, ...]] = MappingProxyType({})
    colour: bool = True
    colours: Mapping[int, tuple[Degree, ...]] = MappingProxyType({})
    qpm: float = 120.0  # tempo at the start of the section
    called: Marks = ()  # what this player's pattern before the section leads to, on its first beat
    led: SectionPlan = SectionPlan()
    begun: bool = False  # a pushed first chord was struck by this player before the section's start
    fills: tuple[
        tuple[int, str], ...
    ] = ()  # bars of the whole track in which drums may fill, and their levels

    @property
    def groove(self) -> Place:
        """The stem for what a player keeps to through the playings of a section: one chorus long, or some 24 bars."""
        seed, role, name, _ = self.place.key
        choruses = max(1, HELD_BARS // len(self.bars))
        return Place((seed, role, name, "groove", (self.section.chorus - 1) // choruses))

    @property
    def track(self) -> Place:
        """The stem for what a player shares out over a whole track."""
        return Place(self.place.key[:2])

    @property
    def playing(self) -> int:
        """Which playing of a section of the whole track this is, from 0."""
        whole = self.timeline.whole or self.timeline
        first = self.section.origin if self.timeline.whole else self.section.first
        return whole.bars[first - 1].section_index if first <= len(whole.bars) else 0

    @property
    def grooves(self) -> int:
        """How many grooves of the whole track come before this one, each kept through the playings of its section."""
        whole = self.timeline.whole or self.timeline
        names = list(dict.fromkeys(section.name for section in whole.sections))
        held = self.groove.key[-1]
        assert isinstance(held, int)
        return held * len(names) + (
            names.index(self.section.name) if self.section.name in names else 0
        )

    @property
    def start_q(self) -> Fraction:
        return self.bars[0].start_q

    @property
    def end_q(self) -> Fraction:
        return self.bars[-1].end_q

    def change_at(self, at_q: Fraction) -> Change:
        """The chord that is heard at a place of the section (the last one at its end)."""
        return self.changes[max(0, bisect_right(self.changes, at_q, key=_start) - 1)]

    def zone_at(self, at_q: Fraction) -> Zone:
        """The zone that holds a place of the section."""
        return self.zones[max(0, bisect_right(self.zones, at_q, key=_start) - 1)]

    def algorithm(self, plan: BarPlan) -> str:
        """The algorithm that this part uses at a bar's level; an idea of the band that it has patterns of comes first."""
        if any(map(self.part.has, plan.ideas)):
            return "pattern"
        return self.part.plays[band(plan.level)]


def band(level: float) -> str:
    """The pattern level for a loudness: up to mp `p`, up to mf `mf`, above `f`.

    >>> band(1.0), band(3.0), band(4.5)
    ('p', 'mf', 'f')
    """
    if level < 2.0:
        return "p"
    return "mf" if level < 3.75 else "f"
