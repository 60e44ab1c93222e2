"""The course of a track: what each section is in the form, how loud it is, and what it is for.

Conventions: levels are those of `timebase.DYNAMICS` (0 pp to 5 ff). Where a chart gives dynamics they hold as written;
where it does not, the band plays mf, and from three choruses on it begins softly, then grows; a section that returns
after another one is louder than when it was left. What a section is (`Stand`) and what it is for (`Energy`) follows from
its level, from what came before it and from its chorus, never from its name.

Source: a form that begins softly, brings more where something returns, leaves the choruses in the middle to whoever is
heard alone, and has its top at the end (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from itertools import groupby

from backing.ground.manners import OFF
from backing.styles.model import Energy
from backing.timeline.model import PlayedBar, SectionPass, Timeline

USUAL = 3.0  # mf
FIRST_OF_MANY = 1.75  # p, in two
SECOND_OF_MANY = 2.75
LAST_OF_MANY = 4.1  # f
RETURNED = 0.5  # more where a section returns after another one
INTRO = 0.2  # less before an introduction that the band adds, twice that in a written one
ANOTHER = 0.25  # more in the section that answers the first one, and once more at its last time
MOST = 4.75
LIFT = 0.7  # of the level, that is worth building up to
LOUD = 3.75  # from here on a section is loud (`common.band`)
SOFT = 2.0  # below it is soft
ALIKE = 0.55  # levels nearer than this are one: what has returned and what has not
MORE_BY = 0.35  # of the level, by which a section must grow to be heard to lift
MORE = (Energy.LIFT.value, Energy.PEAK.value, Energy.FEATURE.value)  # what a band leads up to


class Stand(Enum):
    """What a section is in the form."""

    HOME = "the one that is heard first"
    ANSWER = "another one, which the first leads to"
    BETWEEN = "one that leads from the first to the one that answers"
    BRIDGE = "another one, heard once a chorus, between what was heard before and its return"
    OUTSIDE = "an introduction or an ending"


def stands(timeline: Timeline) -> list[Stand]:
    """What every section is in the form."""
    inside = [s for s in timeline.sections if s.part == "chorus"]
    home = inside[0].name if inside else ""
    bridges = {
        (chorus, name)
        for chorus, own in groupby(inside, key=lambda s: s.chorus)
        for name in _bridges([s.name for s in own])
    }
    others = _others(
        ["" if s.name == home or (s.chorus, s.name) in bridges else s.name for s in inside]
    )
    found = []
    for section in timeline.sections:
        if section.part != "chorus":
            found.append(Stand.OUTSIDE)
        elif section.name == home:
            found.append(Stand.HOME)
        elif (section.chorus, section.name) in bridges:
            found.append(Stand.BRIDGE)
        else:
            found.append(others[section.name])
    return found


def _others(names: Sequence[str]) -> dict[str, Stand]:
    """What sections are that are neither the first nor a bridge (""): of several in a row the last one answers.

    >>> [stand.name for stand in _others(["", "Pre", "Chorus", "", "Pre", "Chorus"]).values()]
    ['ANSWER', 'BETWEEN']
    """
    found: dict[str, Stand] = {}
    for inside, run in groupby(names, key=bool):
        row = list(dict.fromkeys(run)) if inside else []
        for place, name in enumerate(reversed(row)):
            found.setdefault(name, Stand.BETWEEN if place % 2 else Stand.ANSWER)
    return found


def _bridges(names: Sequence[str]) -> list[str]:
    """Of the sections of a chorus those heard once, with two before and a return after them."""
    return [
        name
        for at, name in enumerate(names)
        if at >= 2 and names.count(name) == 1 and not set(names[:at]).isdisjoint(names[at + 1 :])
    ]


def chorus_level(chorus: int, choruses: int) -> float:
    """The usual level of a chorus (from 1; 0 stands for an intro or ending) in a form of so many.

    >>> [round(chorus_level(c, 3), 2) for c in (1, 2, 3)], chorus_level(1, 1)
    ([1.75, 2.75, 4.1], 3.0)
    """
    if choruses < 3:
        return USUAL + (0.4 if choruses == 2 and chorus == 2 else 0.0)
    if chorus <= 1:
        return FIRST_OF_MANY
    return SECOND_OF_MANY + (LAST_OF_MANY - SECOND_OF_MANY) * (chorus - 2) / max(1, choruses - 2)


def levels(timeline: Timeline) -> list[float]:
    """The usual level of every section; an ending keeps that of the last chorus."""
    found: list[float] = []
    standing, returning = stands(timeline), returns(timeline)
    last = max((i for i, s in enumerate(timeline.sections) if s.part == "chorus"), default=-1)
    for number, (section, stand) in enumerate(zip(timeline.sections, standing, strict=True)):
        if section.part == "ending":
            found.append(found[last] if 0 <= last < number else USUAL)
            continue
        level = _of_chorus(timeline, section)
        if stand is Stand.ANSWER and timeline.choruses < 3:
            level += ANOTHER * (2 if number == last else 1)
        if returning[number]:
            level += RETURNED
        found.append(min(MOST, level))
    return found


def _of_chorus(timeline: Timeline, section: SectionPass) -> float:
    if section.part == "intro" and timeline.intro != OFF:  # it takes nothing from the first section
        return chorus_level(1, timeline.choruses) - INTRO
    if section.part == "intro" and timeline.choruses < 3:
        return USUAL - 2 * INTRO
    return chorus_level(section.chorus, timeline.choruses)


def level_of(bar: PlayedBar, usual: float) -> float:
    """How loud a bar is: as written, otherwise as usual."""
    if bar.dynamic is None:
        return usual
    return (bar.dynamic + (bar.dynamic if bar.dynamic_end is None else bar.dynamic_end)) / 2


def opens(timeline: Timeline, usual: Sequence[float]) -> list[float]:
    """How loud every section begins, as written or else as usual."""
    return [
        level_of(timeline.bars[section.first - 1], level)
        for section, level in zip(timeline.sections, usual, strict=True)
    ]


def is_opening(timeline: Timeline, number: int) -> bool:
    """Whether a playing of a section is a new one to the ear: another section, or a new chorus."""
    if number == 0:
        return True
    before, here = timeline.sections[number - 1], timeline.sections[number]
    return before.name != here.name or before.chorus != here.chorus


def energies(timeline: Timeline, levels: Sequence[float]) -> list[str]:
    """What every section is for, a value of `Energy`, "" for nothing in particular; `levels` are those they begin at.

    The top is the last stretch of the track that is as loud as anything in it, where it is loud and something was
    softer. What is soft is calm; the choruses in the middle of three and more feature somebody. What is louder than
    what was before it, or than its own last playing, lifts, and so does what returns after something else.
    """
    most, least = max(levels), min(levels)
    top = len(levels)
    while most >= LOUD and most - least >= LIFT and top and levels[top - 1] >= most - ALIKE:
        top -= 1
    found, returning = [], returns(timeline)
    for number, (section, level) in enumerate(zip(timeline.sections, levels, strict=True)):
        if number >= top:
            found.append(Energy.PEAK.value)
        elif level < SOFT or section.part == "intro":
            found.append(Energy.CALM.value)
        elif 1 < section.chorus < timeline.choruses:
            found.append(Energy.FEATURE.value)
        elif number and (_grows(timeline, levels, number) or returning[number]):
            found.append(Energy.LIFT.value)
        else:
            found.append("")
    return found


def _grows(timeline: Timeline, levels: Sequence[float], number: int) -> bool:
    """Whether a section is louder than the one before it, or than its own last playing."""
    name = timeline.sections[number].name
    own = (i for i in reversed(range(number)) if timeline.sections[i].name == name)
    return levels[number] - min(levels[number - 1], levels[next(own, number)]) >= MORE_BY


def returns(timeline: Timeline) -> list[bool]:
    """For every section whether it was played before in its chorus, with another one in between."""
    found, chorus, before = [], -1, ""
    earlier: set[str] = set()
    for section in timeline.sections:
        if section.chorus != chorus:
            chorus, before = section.chorus, ""
            earlier.clear()
        found.append(section.name != before and section.name in earlier)
        earlier.add(section.name)
        before = section.name
    return found
