"""The leader's plan of a track: made once, from form, dynamics, styles and seed, for all who play.

For every playing of a section it says how loud it is and what it is for, and whatever the leader decides beside that,
each with its reason (`Decision`). What the chart writes (`dynamics:`, `players:`, directions) wins over it. An excerpt
is cut out of the plan of its whole track; in a loop nobody rests, and with `plan: flat` nothing is decided at all.

Conventions: sections and bars of a section count from 0; levels as in `course`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from backing.band.contrast import with_backings, with_contrast, with_drop, with_registers
from backing.band.course import USUAL, Stand, energies, is_opening, levels, opens, returns, stands
from backing.band.entries import with_entries, with_everybody, with_rests, with_vamp
from backing.band.led import Decision, Move, Plan, Reason, SectionPlan
from backing.band.seams import with_close, with_hits
from backing.band.track import Track
from backing.ground.manners import FLAT
from backing.timeline.model import SectionPass, Timeline

BAND = ("band",)
Decide = Callable[[Track, list[SectionPlan]], list[SectionPlan]]
# in the order in which a leader thinks: who plays, what drops out, how they play, what leads on
STEPS: tuple[Decide, ...] = (
    with_entries,
    with_vamp,
    with_rests,
    with_drop,
    with_contrast,
    with_registers,
    with_backings,
    with_everybody,
    with_hits,
    with_close,
)


def plan_of(timeline: Timeline, track: Track) -> Plan:
    """The plan of a timeline, cut out of that of its whole track (`whole_of`), which is told section by section."""
    planned = planned_of(track)
    if timeline.whole is None:
        return Plan(planned, None, planned)
    places = [place_of(timeline, section) for section in timeline.sections]
    sections = [
        planned[at.number].cut(at.offset, section.last - section.first + 1, at.offset + at.left)
        for section, at in zip(timeline.sections, places, strict=True)
    ]
    if timeline.loops:
        sections = [section._replace(rests=()) for section in sections]
        return Plan(tuple(sections), sections[0], planned)
    after = places[-1].number + 1
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


def planned_of(track: Track) -> tuple[SectionPlan, ...]:
    """The plan of every section of a whole track."""
    flat = track.timeline.plan == FLAT
    plans = _levels(track.timeline, flat)
    for step in () if flat else STEPS:
        plans = step(track, plans)
    return tuple(plans)


def _levels(timeline: Timeline, flat: bool) -> list[SectionPlan]:
    """How loud every section is and what it is for."""
    usual = [USUAL] * len(timeline.sections) if flat else levels(timeline)
    begin = opens(timeline, usual)
    energy = [""] * len(begin) if flat else energies(timeline, begin)
    rows = zip(
        timeline.sections, usual, begin, energy, stands(timeline), returns(timeline), strict=True
    )
    return [
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
    ]


def _grown(
    timeline: Timeline, section: SectionPass, stand: Stand, again: bool
) -> tuple[Decision, ...]:
    """Why a section is louder than the one that it leads on from; nothing where the chart says how loud it is."""
    if timeline.bars[section.first - 1].dynamic is not None or stand is Stand.OUTSIDE:
        return ()
    if again:
        return (Decision(Move.GROWS, BAND, Reason.RETURNS),)
    if stand is Stand.ANSWER and timeline.choruses < 3:
        return (Decision(Move.GROWS, BAND, Reason.ANSWERS),)
    return ()
