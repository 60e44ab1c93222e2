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

from backing.band.course import LIFT, MORE, USUAL, is_opening, level_of
from backing.band.leader import place_of, whole_of
from backing.band.led import Plan
from backing.band.players.common import BarPlan, Phase, Zone, ZoneKind
from backing.band.players.patterns.fillings import PHRASE, fill_due
from backing.band.zones import overlapping, sounding
from backing.ground.dice import Place
from backing.ground.roles import COMPING, role_of
from backing.styles.model import Where
from backing.timeline.model import PlayedBar, TimeFeel, Timeline

SWELL = 0.2  # from the first to the last phrase of a section
LEADS_IN = 2  # bars of a turnaround

UNDER_MELODY = 0.65  # share of it that is left to comping under a written melody
ALONE = 0.1  # less where nobody else comps and there is no room to fill
ENERGY = 0.08  # more for each level above the usual
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


def plans(
    timeline: Timeline,
    plan: Plan,
    drums: Sequence[tuple[Zone, ...]],
    seed: int,
    claves: Sequence[str | None] = (),
) -> list[tuple[BarPlan, ...]]:
    """The plan of every bar, section by section, before it is shared out to players (`shared`).

    `claves` names for every section the side in which its style is written; "" where its grooves of two bars run on
    without a clave, None, or nothing, where they begin anew with each section.
    """
    stopped = _stopped(timeline, drums)
    fills = [fill for i in range(len(timeline.sections)) for fill in _fills(timeline, i, stopped)]
    whole = _Whole(timeline, stopped, fills, plan, seed)
    sides = claves or [None] * len(timeline.sections)
    return [_section_plan(whole, i, side) for i, side in enumerate(sides)]


class _Whole(NamedTuple):
    """What the plan of a section must know of the whole track; `stopped` and `fills` are told for every bar."""

    timeline: Timeline
    stopped: Sequence[bool]
    fills: Sequence[bool]
    plan: Plan
    seed: int


class _Place(NamedTuple):
    """A section's own bars, in the section of the whole track that they are of: the first of them and all of its bars.

    `lead_in` of those are a pickup.
    """

    bars: tuple[PlayedBar, ...]
    first: int
    of: int
    lead_in: int


def _place(timeline: Timeline, number: int) -> _Place:
    section = timeline.sections[number]
    whole, at = whole_of(timeline), place_of(timeline, section)
    bars = timeline.bars[section.first - 1 : section.last]
    pickup = whole.pickup and at.number == 0 and whole.sections[0].first == 1
    return _Place(bars, at.offset, at.offset + at.left, int(pickup))


def _section_plan(whole: _Whole, number: int, clave: str | None) -> tuple[BarPlan, ...]:
    """The plan of one section's bars."""
    timeline, led = whole.timeline, whole.plan.sections[number]
    section = timeline.sections[number]
    bars, first, of, lead_in = _place(timeline, number)
    every = [PhraseBar(0, 0, False)] * lead_in + phrases(of - lead_in)
    where = every[first : first + len(bars)]
    phases = _phases(bars, where, max(0, lead_in - first), clave)
    last_phrase = max(p.phrase for p in every)
    first_of_many = led.first_of_many
    opens = is_opening(timeline, number)
    row = []
    for i, (bar, at, phase) in enumerate(zip(bars, where, phases, strict=True), first):
        level = level_of(bar, led.level + _swell(at.phrase, last_phrase))
        opening = opens and i == lead_in
        place = Place((whole.seed, "leader", section.name, section.pass_, i))
        two = first_of_many and bar.time_feel is TimeFeel.NORMAL and level < USUAL
        row.append(
            BarPlan(
                level=level,
                phrase_bar=at.bar,
                phrase_end=at.end,
                fill=whole.fills[bar.index - 1],
                crash=_crashes(whole, bar, level, opening, place),
                two=two or bar.time_feel is TimeFeel.IN_TWO,
                opening=opening,
                close=bar.index == len(timeline.bars) - 1 and timeline.whole is None,
                phase=phase,
                left=of - i,
                places=_places(whole, number, bar, of - i),
                energy=led.energy,
                side=_side(phase, clave),
            )
        )
    return tuple(row)


def _side(phase: Phase, clave: str | None) -> str:
    """The side of the clave on which a bar stands, "" without one."""
    if not clave:
        return ""
    first, last = clave.split("-")
    return _SIDES[last if phase.bar % 2 else first]


_SIDES = {"2": "two", "3": "three"}


def _places(whole: _Whole, number: int, bar: PlayedBar, left: int) -> tuple[Where, ...]:
    """What a bar of a section is beside a phrase's, so many bars before its end."""
    timeline, here, after = whole.timeline, whole.plan.sections[number], whole.plan.next_to(number)
    section, found = timeline.sections[number], []
    long = _place(timeline, number).of >= PHRASE
    grows = bar.dynamic is not None and (bar.dynamic_end or bar.dynamic) > bar.dynamic
    if after is not None and long and left <= PHRASE:
        grows = grows or after.opens - here.opens >= LIFT
        if after.energy in MORE and after.arrives:
            found.append(Where.BREAK)
    if grows:
        found.append(Where.BUILD)
    if after is not None and long and left <= LEADS_IN:
        found.append(Where.TURNAROUND)
    if section.part == "ending":
        found.append(Where.ENDING)
    return tuple(found)


def _phases(
    bars: Sequence[PlayedBar], where: Sequence[PhraseBar], lead_in: int, clave: str | None
) -> list[Phase]:
    """Where each bar of a section stands in the patterns; a pickup has the end of what comes before the first bar."""
    found: list[Phase] = []
    began = lead_in  # where the time feel of a bar began
    for i, (bar, at) in enumerate(zip(bars, where, strict=True)):
        if i > lead_in and bar.time_feel is not bars[i - 1].time_feel:
            began = i
        since = i - began
        if bar.time_feel is TimeFeel.HALF:
            passed, half = divmod(since, 2)
        else:
            passed, half = 2 * since, 0
        if bar.time_feel not in (TimeFeel.HALF, TimeFeel.DOUBLE):
            found.append(Phase(at.bar if clave is None else _clave_bar(bar, clave)))
        elif clave is not None:
            found.append(Phase((_clave_bar(bars[began], clave) + passed) % 2, half))
        else:
            found.append(Phase(passed, half))
    return found


def _clave_bar(bar: PlayedBar, clave: str) -> int:
    """Which bar of a two-bar clave this is: 0 where the style's own side begins. It runs on through all sections."""
    if not clave:
        return bar.clave_half
    return (bar.clave_half + ((bar.clave or clave) != clave)) % 2


def _swell(phrase: int, last: int) -> float:
    """What a section grows by, from half of it below the usual level to half above."""
    return SWELL * (phrase / last - 0.5) if last else 0.0


def _crashes(whole: _Whole, bar: PlayedBar, level: float, opening: bool, place: Place) -> bool:
    """Whether a bar begins with a crash: with a new section, and often after a fill."""
    if whole.stopped[bar.index - 1] or level < 2.0:
        return False
    filled = bar.index > 1 and whole.fills[bar.index - 2]
    return opening or (filled and place.chance(0.4 + 0.1 * level, "crash"))


def _fills(timeline: Timeline, number: int, stopped: Sequence[bool]) -> list[bool]:
    """For each bar of a section whether drums fill in it: never into a stop, nor in the last bar of all."""
    bars, first, of, lead_in = _place(timeline, number)
    due = [bar.fills or fill_due(i - lead_in, of - lead_in) for i, bar in enumerate(bars, first)]
    return [
        asked
        and bar.index < len(timeline.bars)
        and not stopped[bar.index - 1]
        and not stopped[bar.index]
        for bar, asked in zip(bars, due, strict=True)
    ]


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
    """What each player of a section may do: who leads, who leaves room, and less under a written melody.

    `leader` is who of those who comp always leads; "" leaves it to chance, and `in_turn` they change with the phrase.
    """
    section = timeline.sections[number]
    bars = timeline.bars[section.first - 1 : section.last]
    place = Place((seed, "leader", section.name, section.pass_ if in_turn else section.chorus))
    turns = [p for role in COMPING for p in role_of(role).players if p in zones]
    if leader in turns:
        first = turns.index(leader)
    else:
        first = int(place.roll("lead") * len(turns))
    heard = {player: sounding(zones[player], bars) for player in turns}
    sung = melody_bars(timeline, bars)
    told: dict[str, list[BarPlan]] = {player: [] for player in zones}
    phrase = 0
    for i, at in enumerate(plan):
        if i and plan[i - 1].phrase_end:
            phrase += 1
        turn = first + (phrase if in_turn else 0)
        by_turns = [turns[(turn + n) % len(turns)] for n in range(len(turns))]
        comping = [player for player in by_turns if heard[player][i]]
        room = _Room(
            comping[0] if len(comping) > 1 else "",
            (ANSWER if phrase % 2 else 0.0) + (at.level - USUAL) * ENERGY,
            UNDER_MELODY if sung[i] else 1.0,
        )
        for player, row in told.items():
            busy = min(1.0, max(0.0, _busy(player, room)))
            row.append(at._replace(busy=busy, comping=tuple(comping)))
    return {player: tuple(row) for player, row in told.items()}


class _Room(NamedTuple):
    """The room in a bar: who leads ("" where nobody else comps), what phrase and level add, what a melody leaves."""

    leader: str
    more: float
    melody: float


def _busy(player: str, room: _Room) -> float:
    """How much a player may do in a bar."""
    role = role_of(player)
    if role.leads is None:
        return (role.steady + room.more) * (room.melody if role.yields else 1.0)
    if room.leader not in ("", player):
        return role.leads[1]
    alone = ALONE if room.leader == "" else 0.0
    return (role.leads[0] - alone + room.more) * room.melody


def melody_bars(timeline: Timeline, bars: Sequence[PlayedBar]) -> list[bool]:
    """For each of some neighbouring bars whether the written melody sounds in it."""
    melody = timeline.melody
    if not melody:
        return [False] * len(bars)
    first = max(0, bisect_left(melody, bars[0].start_q, key=lambda n: n.start_q) - 1)
    last = bisect_left(melody, bars[-1].end_q, key=lambda n: n.start_q)
    return overlapping([(n.start_q, n.end_q) for n in melody[first:last]], bars)
