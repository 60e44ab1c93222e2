"""Who plays when: a beginning with one chord player, others later, horns last, and rests that leave room.

Conventions: a *door* is a section with which somebody may come in; shares as in `track`. Players of the core never
wait; where the chart says who plays, or that it is loud, nobody does. Source: common practice of arranging.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from backing.band.course import Stand
from backing.band.led import Move, Reason, Rest, SectionPlan
from backing.band.track import Track
from backing.ground.manners import VAMP
from backing.ground.roles import in_score_order, role_of
from backing.styles.model import Energy

LATEST = 0.6  # of the track, where somebody comes in at the latest
# role: from which share of the doors to which, and why it waits; who comps beside the first is "comping"
WAITING = {
    "comping":    (0.0, 0.5, Reason.SIMPLE),
    "percussion": (0.0, 0.7, Reason.LATER),
    "strings":    (0.3, 1.0, Reason.LATER),
    "horns":      (0.4, 1.0, Reason.LAST),
}  # fmt: skip
TURNS = 0.6  # chance that the chord players take turns through a chorus in the middle
VERSE = 0.5  # that the first section, when it returns, has one chord player again
BREATHES = 0.7  # that horns rest in a bridge
HALFWAY = 0.35  # that somebody comes in halfway through a section of eight bars and more
HORNS_REST = 1 / 3  # of the track, at least

Sections = list[SectionPlan]
VAMP_ENTRIES = {
    "bass": 0,
    "drums": 2,
    "percussion": 2,
    "keys": 4,
    "guitar": 4,
}  # bar of a vamp; nobody else plays in it


def with_vamp(track: Track, plans: Sections) -> Sections:
    """A vamp before the tune builds: bass, then drums, then chords."""
    first = plans[0]
    if track.timeline.intro != VAMP or not track.free(0):
        return plans
    bars, players = track.bars(0), in_score_order(track.players[0])
    for player in players:
        until = min(bars, VAMP_ENTRIES.get(role_of(player).name, bars))
        waits = first.rests_at(player, bars - 1) is not None or role_of(player).tune
        if until and not waits:
            first = first._replace(rests=(*first.rests, Rest(player, 0, until - 1, Reason.BUILDS)))
    return [first.and_so(Move.ENTERS, ("band",), Reason.BUILDS), *plans[1:]]


def with_entries(track: Track, plans: Sections) -> Sections:
    """Who waits for which section, and who leads the chords while they do."""
    plans = _with_leaders(track, plans)
    if not track.long:
        return plans
    doors = _doors(track)
    alone = sum(len(_waiting(track, plans, role)) for role in WAITING) == 1
    for role, (low, high, why) in WAITING.items():
        for player in _waiting(track, plans, role):
            offered = doors[int(low * len(doors)) : max(2, ceil(high * len(doors)))] or doors[-1:]
            if role == "horns" and not alone:  # what waits alone may come at any door
                offered = _after_the_first(track, offered, doors)
            elif role == "comping":  # the section that answers opens
                offered = [n for n in doors if plans[n].stand is Stand.ANSWER][:1] or offered
            door = track.place.pick(offered, [1.0] * len(offered), "door", player)
            plans = _come_in(track, plans, player, door, why)
    return plans


def _with_leaders(track: Track, plans: Sections) -> Sections:
    """Who states the chords in each section: who always does in the style, or one after the other by chorus."""
    made: Sections = []
    first = track.place.roll("leads")
    for number, plan in enumerate(plans):
        comping, core = track.comping(number), track.core(number)
        if own := [p for p in comping if p in core]:
            leads = own[0]
        elif track.leaders[number] in comping:
            leads = track.leaders[number]
        elif len(comping) > 1:
            turn = int(first * len(comping)) + max(0, track.sections[number].chorus - 1)
            leads = comping[turn % len(comping)]
        else:
            leads = comping[0] if comping else ""
        made.append(plan._replace(leads=leads))
    return made


def _doors(track: Track) -> list[int]:
    """The sections with which somebody may come in."""
    shares = track.shares()
    later = list(shares)[1:]
    return [n for n in later if shares[n] <= LATEST] or later[:1]


def _after_the_first(track: Track, offered: list[int], doors: Sequence[int]) -> list[int]:
    """Horns come with the second chorus where there is one."""
    second = [n for n in doors if track.sections[n].chorus == 2]
    return second[:1] or offered[-2:]


def _waiting(track: Track, plans: Sections, role: str) -> tuple[str, ...]:
    """The players of a row of `WAITING` in the first section that are not of its core."""
    first = track.inside[0]
    if role == "comping":
        named = tuple(p for p in track.comping(first) if p != plans[first].leads)
    else:
        named = track.of_role(first, role)
    return tuple(p for p in named if p not in track.core(first))


def _come_in(track: Track, plans: Sections, player: str, door: int, why: Reason) -> Sections:
    """The plans with a player silent up to a section, where that is free to decide."""
    made, out = [], False
    for number, plan in enumerate(plans):
        seated = player in track.players[number]
        if seated and number < door and _may_rest(track, plan, number, player):
            move = Move.WAITS
            plan = plan.resting((player,), range(track.bars(number)), move, why)
            out = True
        elif seated and out:
            half = track.bars(number) // 2
            may = plan.stand is not Stand.ANSWER and _may_rest(track, plan, number, player)
            if half >= 4 and may and track.place.chance(HALFWAY, "halfway", player):
                plan = plan._replace(rests=(*plan.rests, Rest(player, 0, half - 1, why)))
            last_first = Reason.HORNS if role_of(player).name == "horns" else Reason.FULLER
            plan = plan.and_so(Move.ENTERS, (player,), last_first)
            out = False
        made.append(plan)
    return made


def _may_rest(track: Track, plan: SectionPlan, number: int, player: str) -> bool:
    return (
        track.free(number)
        and player not in track.core(number)
        and plan.leads != player
        and track.sections[number].part != "ending"
    )


def with_rests(track: Track, plans: Sections) -> Sections:
    """Rests after everybody has come in: chord players in turn, one of them in a verse, horns out of a bridge."""
    if not track.long:
        return plans
    answered = any(p.stand is Stand.ANSWER for p in plans)
    made: Sections = []
    for number, plan in enumerate(plans):
        section = track.sections[number]
        other = _others(track, plan, number)
        place = track.place.at(section.name, section.chorus, section.pass_)
        if plan.stand is Stand.OUTSIDE or plan.energy == Energy.PEAK.value:
            pass
        elif answered and plan.stand is Stand.HOME and place.chance(VERSE, "verse"):
            plan = plan.resting(other, range(track.bars(number)), Move.RESTS, Reason.VERSE)
        elif plan.energy == Energy.FEATURE.value and _in_turn(track, number):
            plan = plan.resting(other, range(track.bars(number)), Move.RESTS, Reason.TURNS)
        if plan.stand is Stand.BRIDGE and place.chance(BREATHES, "horns"):
            horns = _in(track, plan, number, "horns")
            plan = plan.resting(horns, range(track.bars(number)), Move.RESTS, Reason.BREATHES)
        made.append(plan)
    return _horns_rested(track, made)


def _in_turn(track: Track, number: int) -> bool:
    """Whether the chord players take turns through a chorus."""
    return track.place.at(track.sections[number].chorus).chance(TURNS, "turns")


def _others(track: Track, plan: SectionPlan, number: int) -> tuple[str, ...]:
    """Those who comp in a section beside its leader, and might rest."""
    return tuple(
        p
        for p in track.comping(number)
        if _may_rest(track, plan, number, p) and plan.rests_at(p, 0) is None
    )


def _in(track: Track, plan: SectionPlan, number: int, role: str) -> tuple[str, ...]:
    """The players of a role who play in a section and might rest."""
    return tuple(
        p
        for p in track.of_role(number, role)
        if _may_rest(track, plan, number, p) and plan.rests_at(p, 0) is None
    )


def _horns_rested(track: Track, plans: Sections) -> Sections:
    """Horns out of the first halves of sections, from the front on, until they rest for a third of the choruses."""
    total = sum(map(track.bars, track.inside))
    first = next(
        (h for n in track.inside for h in track.of_role(n, "horns") if h not in track.core(n)), ""
    )
    rested = sum(
        min(track.bars(n), r.last - r.first + 1)
        for n in track.inside
        for r in plans[n].rests
        if r.player == first
    )
    made = list(plans)
    for number in track.inside:
        plan, half = made[number], track.bars(number) // 2
        horns = _in(track, plan, number, "horns")
        if (
            not horns
            or half < 2
            or rested >= HORNS_REST * total
            or plan.energy == Energy.PEAK.value
        ):
            continue
        made[number] = plan.resting(horns, range(half), Move.RESTS, Reason.HALVES)
        rested += half
    return made


def with_everybody(track: Track, plans: Sections) -> Sections:
    """What is told of the sections at the top in which those who comp play together."""
    made = []
    for number, plan in enumerate(plans):
        both = tuple(p for p in track.comping(number) if plan.rests_at(p, 0) is None)
        if plan.energy == Energy.PEAK.value and len(both) > 1 and plan.arrives:
            plan = plan.and_so(Move.DOUBLES, in_score_order(both), Reason.TOP)
        made.append(plan)
    return made
