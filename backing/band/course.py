"""The course of a track: how loud each section is, and what it is for.

Conventions: levels are those of `timebase.DYNAMICS` (0 pp to 5 ff). Where a chart gives dynamics they hold as written;
where it does not, the band plays mf, and from three choruses on it begins softly, then grows. What a section is for
(`Energy`) follows from its level, from what came before it and from its chorus, never from its name.

Source: a form that begins softly, brings more where something returns, leaves the choruses in the middle to whoever is
heard alone, and has its top at the end (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.styles.model import Energy
from backing.timeline.model import PlayedBar, SectionPass, Timeline

USUAL = 3.0  # mf
FIRST_OF_MANY = 1.75  # p, in two
SECOND_OF_MANY = 2.75
LAST_OF_MANY = 4.1  # f
LIFT = 0.7  # of the level, that is worth building up to
LOUD = 3.75  # from here on a section is loud (`common.band`)
SOFT = 2.0  # below it is soft
ALIKE = 0.25  # levels nearer than this are one
MORE_BY = 0.35  # of the level, by which a section must grow to be heard to lift
MORE = (Energy.LIFT.value, Energy.PEAK.value, Energy.FEATURE.value)  # what a band leads up to


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


def section_level(timeline: Timeline, section: SectionPass) -> float:
    """The usual level of a section; an ending keeps that of the last chorus."""
    if section.part == "ending":
        return chorus_level(timeline.choruses, timeline.choruses)
    if section.part == "intro" and timeline.choruses < 3:
        return USUAL - 0.4
    return chorus_level(section.chorus, timeline.choruses)


def level_of(bar: PlayedBar, usual: float) -> float:
    """How loud a bar is: as written, otherwise as usual."""
    if bar.dynamic is None:
        return usual
    return (bar.dynamic + (bar.dynamic if bar.dynamic_end is None else bar.dynamic_end)) / 2


def opens_at(timeline: Timeline, number: int) -> float:
    """How loud a section begins."""
    section = timeline.sections[number]
    return level_of(timeline.bars[section.first - 1], section_level(timeline, section))


def is_opening(timeline: Timeline, number: int) -> bool:
    """Whether a playing of a section is a new one to the ear: another section, or a new chorus."""
    if number == 0:
        return True
    before, here = timeline.sections[number - 1], timeline.sections[number]
    return before.name != here.name or before.chorus != here.chorus


def energies(timeline: Timeline) -> list[str]:
    """What every section is for, a value of `Energy`, "" for nothing in particular.

    The top is the last stretch of the track that is as loud as anything in it, where it is loud and something was
    softer. What is soft is calm; the choruses in the middle of three and more feature somebody. What is louder than
    what was before it, or than its own last playing, lifts, and so does what returns after something else.
    """
    levels = [opens_at(timeline, number) for number in range(len(timeline.sections))]
    most, least = max(levels), min(levels)
    top = len(levels)
    while most >= LOUD and most - least >= LIFT and top and levels[top - 1] >= most - ALIKE:
        top -= 1
    found = []
    for number, (section, level) in enumerate(zip(timeline.sections, levels, strict=True)):
        if number >= top:
            found.append(Energy.PEAK.value)
        elif level < SOFT or section.part == "intro":
            found.append(Energy.CALM.value)
        elif 1 < section.chorus < timeline.choruses:
            found.append(Energy.FEATURE.value)
        elif number and (_grows(timeline, levels, number) or _returns(timeline, number)):
            found.append(Energy.LIFT.value)
        else:
            found.append("")
    return found


def _grows(timeline: Timeline, levels: Sequence[float], number: int) -> bool:
    """Whether a section is louder than the one before it, or than its own last playing."""
    name = timeline.sections[number].name
    own = (i for i in reversed(range(number)) if timeline.sections[i].name == name)
    return levels[number] - min(levels[number - 1], levels[next(own, number)]) >= MORE_BY


def _returns(timeline: Timeline, number: int) -> bool:
    """Whether a section was played before in its chorus, with another one in between."""
    here, before = timeline.sections[number], timeline.sections[number - 1]
    earlier = [s.name for s in timeline.sections[:number] if s.chorus == here.chorus]
    return before.name != here.name and here.name in earlier
