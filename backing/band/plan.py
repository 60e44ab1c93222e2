"""The leader's plan: how loud and how busy each bar is, phrases, fills, crashes, the arc over the choruses.

Conventions: levels are those of `timebase.DYNAMICS` (0 pp to 5 ff); `busy` runs from 0 (leave room) to 1 (lead).
Where a chart gives dynamics they hold as written; where it does not, the band plays mf, and from three choruses on
it begins softly in two, then plays in four, then grows.

Sources: fills in the last bar of each eight (of each section where sections are short), a crash on the next first
beat, no fill into a stop, four-bar phrases, and one comping instrument leading at a time (all common practice).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from backing.band.players.common import BarPlan, Zone, ZoneKind
from backing.band.zones import overlapping, sounding
from backing.ground.dice import Place
from backing.timeline.model import PlayedBar, SectionPass, TimeFeel, Timeline

USUAL = 3.0  # mf
FIRST_OF_MANY = 1.75  # p, in two
SECOND_OF_MANY = 2.75
LAST_OF_MANY = 4.1  # f
SWELL = 0.2  # from the first to the last phrase of a section
PHRASE = 4
FILL_EVERY = 8

# role -> how much it may do when it leads, and when another leads
LEADS = {"keys": (0.7, 0.25), "guitar": (0.65, 0.2)}
# role -> how much it may do otherwise
STEADY = {
    "bass": 0.5,
    "drums": 0.45,
    "percussion": 0.5,
    "strings": 0.3,
    "horns": 0.4,
    "melody": 0.5,
}
UNDER_MELODY = 0.65  # share of it that is left to comping under a written melody
ANSWER = 0.15  # more in the second half of a pair of phrases


class PhraseBar(NamedTuple):
    """Where a bar stands: phrase of its section, bar of that phrase (both from 0), and whether the phrase ends."""

    phrase: int
    bar: int
    end: bool


def phrases(bars: int) -> list[PhraseBar]:
    """Four-bar phrases over a section; one bar that is left over belongs to the last phrase.

    >>> [(p.phrase, p.bar) for p in phrases(5)]
    [(0, 0), (0, 1), (0, 2), (0, 3), (0, 4)]
    >>> [p.phrase for p in phrases(7)]
    [0, 0, 0, 0, 1, 1, 1]
    """
    count = max(1, (bars + 2) // PHRASE)
    found = []
    for i in range(bars):
        phrase = min(i // PHRASE, count - 1)
        bar = i - phrase * PHRASE
        end = i == bars - 1 or (phrase < count - 1 and bar == PHRASE - 1)
        found.append(PhraseBar(phrase, bar, end))
    return found


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


def plans(
    timeline: Timeline, drums: Sequence[tuple[Zone, ...]], seed: int
) -> list[tuple[BarPlan, ...]]:
    """The plan of every bar, section by section, before it is shared out to players (`shared`)."""
    stopped = _stopped(timeline, drums)
    found = []
    filled = False
    for number, section in enumerate(timeline.sections):
        bars = timeline.bars[section.first - 1 : section.last]
        lead_in = 1 if timeline.pickup and section.first == 1 else 0
        where = [PhraseBar(0, 0, False)] * lead_in + phrases(len(bars) - lead_in)
        last_phrase = max(p.phrase for p in where)
        usual = section_level(timeline, section)
        first_of_many = timeline.choruses >= 3 and section.chorus == 1
        opening = _is_opening(timeline, number)
        row = []
        for i, (bar, at) in enumerate(zip(bars, where, strict=True)):
            if bar.dynamic is None:
                level = usual + SWELL * (at.phrase / last_phrase - 0.5 if last_phrase else 0.0)
            else:
                to = bar.dynamic if bar.dynamic_end is None else bar.dynamic_end
                level = (bar.dynamic + to) / 2
            first = i == lead_in
            last = bar.index == len(timeline.bars)
            fill = not last and not stopped[bar.index - 1] and not stopped[bar.index]
            fill = fill and (bar.fills or _fill_due(i - lead_in, len(bars) - lead_in))
            place = Place((seed, "leader", section.name, section.pass_, i))
            crash = bool(
                not stopped[bar.index - 1]
                and level >= 2.0
                and ((first and opening) or (filled and place.chance(0.4 + 0.1 * level, "crash")))
            )
            two = bar.time_feel is TimeFeel.IN_TWO or (
                first_of_many and bar.time_feel is TimeFeel.NORMAL and level < USUAL
            )
            row.append(
                BarPlan(
                    level=level,
                    phrase_bar=at.bar,
                    phrase_end=at.end,
                    fill=fill,
                    crash=crash,
                    two=two,
                    opening=first and opening,
                    close=bar.index == len(timeline.bars) - 1,
                )
            )
            filled = fill
        found.append(tuple(row))
    return found


def _fill_due(bar: int, bars: int) -> bool:
    """The last bar of a section, and of each eight in it where at least four bars follow."""
    if bar < 0:
        return False
    after = bars - 1 - bar
    return after == 0 or (bar % FILL_EVERY == FILL_EVERY - 1 and after >= PHRASE)


def _is_opening(timeline: Timeline, number: int) -> bool:
    """Whether a playing of a section is a new one to the ear: another section, or a new chorus."""
    if number == 0:
        return True
    before, here = timeline.sections[number - 1], timeline.sections[number]
    return before.name != here.name or before.chorus != here.chorus


def _stopped(timeline: Timeline, drums: Sequence[tuple[Zone, ...]]) -> list[bool]:
    """For every bar, and once more for the end: whether the drums do something else than keep time in it."""
    found = []
    for section, zones in zip(timeline.sections, drums, strict=True):
        held = [z for z in zones if z.kind in (ZoneKind.STRUCK, ZoneKind.SILENT)]
        waiting = 0
        for bar in timeline.bars[section.first - 1 : section.last]:
            while waiting < len(held) and held[waiting].end_q <= bar.start_q:
                waiting += 1
            found.append(waiting < len(held) and held[waiting].start_q < bar.end_q)
    return [*found, True]


def shared(
    timeline: Timeline,
    number: int,
    plan: Sequence[BarPlan],
    zones: Mapping[str, Sequence[Zone]],
    seed: int,
    leader: str = "",
    in_turn: bool = True,
) -> dict[str, tuple[BarPlan, ...]]:
    """What each role of a section may do: who leads, who leaves room, and less under a written melody.

    `leader` is who of keys and guitar always leads; "" leaves it to chance, and `in_turn` they change with the phrase.
    """
    section = timeline.sections[number]
    bars = timeline.bars[section.first - 1 : section.last]
    place = Place((seed, "leader", section.name, section.pass_ if in_turn else section.chorus))
    first_lead = leader == "keys" if leader else place.chance(0.5, "lead")
    sung = melody_bars(timeline, bars)
    heard = {role: sounding(zones[role], bars) for role in LEADS if role in zones}
    phrase = 0
    busy: dict[str, list[float]] = {role: [] for role in zones}
    for i, at in enumerate(plan):
        if i and plan[i - 1].phrase_end:
            phrase += 1
        answer = ANSWER if phrase % 2 else 0.0
        rivals = sum(row[i] for row in heard.values()) > 1
        leads_keys = first_lead == (phrase % 2 == 0 or not in_turn)
        energy = (at.level - USUAL) * 0.08
        melody = UNDER_MELODY if sung[i] else 1.0
        for role, amounts in busy.items():
            if role in LEADS:
                leading = not rivals or (role == "keys") == leads_keys
                amount = LEADS[role][0 if leading else 1]
                if leading:
                    amount = (amount - (0.0 if rivals else 0.1) + answer + energy) * melody
            else:
                amount = STEADY.get(role, 0.5) + answer + energy
                if role == "horns":
                    amount *= melody
            amounts.append(min(1.0, max(0.0, amount)))
    return {
        role: tuple(
            BarPlan(
                at.level, amount, at.phrase_bar, at.phrase_end, at.fill, at.crash, at.two, at.opening, at.close,
            )
            for at, amount in zip(plan, amounts, strict=True)
        )
        for role, amounts in busy.items()
    }  # fmt: skip


def melody_bars(timeline: Timeline, bars: Sequence[PlayedBar]) -> list[bool]:
    """For each of some neighbouring bars whether the written melody sounds in it."""
    melody = timeline.melody
    if not melody:
        return [False] * len(bars)
    first = max(0, bisect_left(melody, bars[0].start_q, key=lambda n: n.start_q) - 1)
    last = bisect_left(melody, bars[-1].end_q, key=lambda n: n.start_q)
    return overlapping([(n.start_q, n.end_q) for n in melody[first:last]], bars)
