"""The leader's plan of a track: made once, from form, dynamics, styles and seed, for all who play.

For every playing of a section it says how loud it is and what it is for, and whatever the leader decides beside that,
each with its reason (`Decision`). What the chart writes (`dynamics:`, `players:`, directions) wins over it. An excerpt
is cut out of the plan of its whole track; in a loop nobody rests, and with `plan: flat` nothing is decided at all.

Conventions: sections and bars of a section count from 0; levels as in `course`.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from enum import Enum
from typing import NamedTuple

from backing.band.course import USUAL, Stand, energies, is_opening, levels, opens, returns, stands
from backing.ground.manners import FLAT
from backing.styles.model import Style
from backing.timeline.model import SectionPass, Timeline


class Move(Enum):
    """What a leader may decide; the value is how it is told of players."""

    GROWS = "louder"


class Decision(NamedTuple):
    """One move of the leader: whom it concerns, and why, in words."""

    move: Move
    players: tuple[str, ...]
    why: str

    @property
    def told(self) -> str:
        """The decision and its reason in words."""
        return f"{', '.join(self.players)} {self.move.value}: {self.why}"


class Rest(NamedTuple):
    """A player who leaves bars `first` to `last` of a section to the others, and why."""

    player: str
    first: int
    last: int
    why: str


class SectionPlan(NamedTuple):
    """What the leader decided for one playing of a section.

    `level` is how loud it is where nothing is written, `opens` how loud it begins; `energy` is a value of `Energy`, "" for
    nothing in particular. `arrives` where it is a new section to the ear and no ending, `first_of_many` in the first of
    three choruses and more. `leads` is who of those who comp states the chords, "" where they take turns.
    """

    level: float = USUAL
    opens: float = USUAL
    energy: str = ""
    stand: Stand = Stand.HOME
    arrives: bool = False
    first_of_many: bool = False
    leads: str = ""
    rests: tuple[Rest, ...] = ()
    decisions: tuple[Decision, ...] = ()

    def cut(self, first: int, bars: int) -> SectionPlan:
        """What holds of it in so many bars, from one of the section's on."""
        last = first + bars - 1
        return self._replace(
            rests=tuple(
                r._replace(first=max(r.first, first) - first, last=min(r.last, last) - first)
                for r in self.rests
                if r.first <= last and r.last >= first
            )
        )


class Plan(NamedTuple):
    """The plan of a track, section by section; `after` is that of what comes behind an excerpt (None at the end).

    `track` is that of the whole track, section by section of it.
    """

    sections: tuple[SectionPlan, ...] = ()
    after: SectionPlan | None = None
    track: tuple[SectionPlan, ...] = ()

    def next_to(self, number: int) -> SectionPlan | None:
        """The plan of what follows a section."""
        return self.sections[number + 1] if number + 1 < len(self.sections) else self.after


def plan_of(
    timeline: Timeline, styles: Sequence[Style], players: Sequence[Collection[str]], seed: int
) -> Plan:
    """The plan of a timeline, cut out of its whole track's where it is an excerpt.

    `styles` and `players` are told for every section of the whole track (`whole_of`).
    """
    whole = whole_of(timeline)
    planned = _planned(whole, styles, players, seed)
    if whole is timeline:
        return Plan(planned, None, planned)
    places = [place_of(timeline, section) for section in timeline.sections]
    sections = [
        planned[place.number].cut(place.offset, section.last - section.first + 1)
        for section, place in zip(timeline.sections, places, strict=True)
    ]
    if timeline.loops:
        sections = [section._replace(rests=()) for section in sections]
        return Plan(tuple(sections), sections[0], planned)
    behind = places[-1]
    cut_off = behind.left > timeline.sections[-1].last - timeline.sections[-1].first + 1
    after = behind.number + (not cut_off)
    return Plan(tuple(sections), planned[after] if after < len(planned) else None, planned)


def whole_of(timeline: Timeline) -> Timeline:
    """The track that is planned: that of which a timeline is an excerpt, or the timeline itself."""
    return timeline.whole or timeline


class Origin(NamedTuple):
    """Where an excerpt's section stands in its whole track: section, bar of it from 0, and bars up to its end."""

    number: int
    offset: int
    left: int


def place_of(timeline: Timeline, section: SectionPass) -> Origin:
    """Where a section of a timeline stands in the whole track."""
    whole = whole_of(timeline)
    first = section.origin if timeline.whole else section.first
    number = whole.bars[first - 1].section_index
    there = whole.sections[number]
    return Origin(number, first - there.first, there.last - first + 1)


def _planned(
    timeline: Timeline, styles: Sequence[Style], players: Sequence[Collection[str]], seed: int
) -> tuple[SectionPlan, ...]:
    """The plan of every section of a whole track."""
    flat = timeline.plan == FLAT
    usual = [USUAL] * len(timeline.sections) if flat else levels(timeline)
    begin = opens(timeline, usual)
    energy = [""] * len(begin) if flat else energies(timeline, begin)
    rows = zip(
        timeline.sections, usual, begin, energy, stands(timeline), returns(timeline), strict=True
    )
    return tuple(
        SectionPlan(
            level,
            begins,
            meant,
            stand,
            arrives=is_opening(timeline, number) and section.part != "ending",
            first_of_many=not flat and section.chorus == 1 and timeline.choruses >= 3,
            decisions=() if flat else _grown(timeline, section, stand, again),
        )
        for number, (section, level, begins, meant, stand, again) in enumerate(rows)
    )


BAND = ("band",)


def _grown(
    timeline: Timeline, section: SectionPass, stand: Stand, again: bool
) -> tuple[Decision, ...]:
    """Why a section is louder than the one that it leads on from; nothing where the chart says how loud it is."""
    if timeline.bars[section.first - 1].dynamic is not None or stand is Stand.OUTSIDE:
        return ()
    if again:
        return (Decision(Move.GROWS, BAND, "it returns after another section"),)
    if stand is Stand.ANSWER and timeline.choruses < 3:
        return (Decision(Move.GROWS, BAND, "it answers the first section"),)
    return ()
