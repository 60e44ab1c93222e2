"""Ideas of the whole band: which one holds in each bar, chosen once for everybody, and who rests in it.

Players with patterns of an idea play those, as they are written; the others go on as usual, unless they rest. At the
end of a section, of eight bars, before the last chord the ideas for that place come before the one that keeps time.
Playing on as usual is a choice too, unless a player of the ideas that keep time has nothing to play without one.

Conventions: bars are counted from 0 in their section. Source: a band changes its way of playing together, and holds it
for some bars (common practice).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from backing.band.players.common import BarPlan, Zone, band
from backing.band.staged import without
from backing.ground.dice import Place
from backing.ground.roles import named
from backing.styles.grid import Asked, part_choices
from backing.styles.model import Idea, Part, Style, Where
from backing.timeline.model import PlayedBar

AS_USUAL = Idea("")
PHRASE, GOES_ON = (
    4,
    0.7,
)  # bars, and the chance that what would end in the middle of a phrase goes on to its end


def with_ideas(
    style: Style, bars: Sequence[PlayedBar], plans: Sequence[BarPlan], seed: int
) -> tuple[BarPlan, ...]:
    """The plan of a section with the band's ideas in it."""
    if not style.ideas:
        return tuple(plans)
    keeps = _keeping(style, bars, plans, seed)
    at_places = _at_places(style, bars, plans, seed)
    return tuple(
        plan._replace(ideas=tuple(idea.name for idea in pair if idea.name))
        for plan, pair in zip(plans, zip(at_places, keeps, strict=True), strict=True)
    )


def _offers(style: Style, bar: PlayedBar, plan: BarPlan, where: Where) -> tuple[Idea, ...]:
    """The ideas that may stand at a place of a bar."""
    return tuple(idea for idea in style.ideas if _stands(style, idea, bar, plan, where))


def _stands(style: Style, idea: Idea, bar: PlayedBar, plan: BarPlan, where: Where) -> bool:
    """Whether somebody has patterns of an idea for a place; one without patterns is a rest, and keeps time."""
    parts = [part for part in style.parts if part.has(idea.name)]
    if not parts:
        return where is Where.TIME
    return any(_plays(part, idea.name, bar, plan, where) for part in parts)


def _plays(part: Part, idea: str, bar: PlayedBar, plan: BarPlan, where: Where) -> bool:
    asked = Asked(plan.energy, (idea,) if idea else (), plan.side, plan.left)
    found = part_choices(part, bar.meter, band(plan.level), where, asked)
    return any(p.where is where and p.idea == idea for p in found)


def _keeping(
    style: Style, bars: Sequence[PlayedBar], plans: Sequence[BarPlan], seed: int
) -> list[Idea]:
    """The idea that keeps time in each bar, the same in all playings of the section in a chorus."""
    place = Place((seed, "band", bars[0].section, "ideas", bars[0].chorus))
    found: list[Idea] = []
    until = 0
    for number, (bar, plan) in enumerate(zip(bars, plans, strict=True)):
        offers = _offers(style, bar, plan, Where.TIME)
        usual = all(_can_do_without(part, bar, plan) for part in style.parts)
        choices = [*offers, *([AS_USUAL] if usual or not offers else [])]
        if number >= until:  # nobody is left out twice running
            choices = [c for c in choices if not (found and c is found[-1] and c.rest)] or choices
        if number >= until or found[-1] not in choices:
            found.append(_one(place, choices, number))
            until = number + found[-1].hold
            halfway = until < len(plans) and plans[until].phrase_bar == PHRASE // 2
            if halfway and place.chance(GOES_ON, "goes on", number):
                until += PHRASE // 2
        else:
            found.append(found[-1])
    return found


def _can_do_without(part: Part, bar: PlayedBar, plan: BarPlan) -> bool:
    """Whether a player has something to play where the band has no idea."""
    if part.plays.get(band(plan.level)) != "pattern":
        return True
    return not part.patterns or _plays(part, "", bar, plan, Where.TIME)


def _at_places(
    style: Style, bars: Sequence[PlayedBar], plans: Sequence[BarPlan], seed: int
) -> list[Idea]:
    """The idea for the place of each bar: of a leading place for as long as it lasts, of any other for its bar."""
    place = Place((seed, "band", bars[0].section, bars[0].pass_))
    found: list[Idea] = []
    stands: Where | None = None  # of what is under way
    for number, (bar, plan) in enumerate(zip(bars, plans, strict=True)):
        open_at = {where: _offers(style, bar, plan, where) for where in _places(plan)}
        if stands in open_at and found[-1] in (*open_at[stands], AS_USUAL):
            found.append(found[-1])
            continue
        stands, chosen = None, AS_USUAL
        for where, offers in open_at.items():
            if offers and not chosen.name:
                chosen = _one(place, [*offers, AS_USUAL], where.value, number)
                lasts = where in plan.places and (chosen.name or where is not Where.BREAK)
                stands = where if lasts else None
        found.append(chosen)
    return found


def _places(plan: BarPlan) -> list[Where]:
    """What a bar is beside one that keeps time, what binds most first."""
    found = [Where.CLOSE] if plan.close else []
    found += plan.places
    if plan.fill and plan.phrase_end:
        found.append(Where.PHRASE_END)
    if plan.opening:
        found.append(Where.OPENING)
    return found


def _one(place: Place, ideas: Sequence[Idea], *decision: object) -> Idea:
    return place.pick(ideas, [idea.weight for idea in ideas], "idea", *decision)


# --- who rests


def rests(style: Style, part: Part, bar: PlayedBar, plan: BarPlan) -> bool:
    """Whether a player rests in a bar: an idea says so, or all that it could play belongs to other ideas."""
    ideas = {idea.name: idea for idea in style.ideas}
    for name in plan.ideas:
        if named(part.role, ideas[name].rest):
            return True
        if part.has(name):
            return False
    return bool(plan.ideas) and not _can_do_without(part, bar, plan)


def resting(
    style: Style,
    part: Part,
    bars: Sequence[PlayedBar],
    plans: Sequence[BarPlan],
    zones: Sequence[Zone],
) -> tuple[Zone, ...]:
    """A player's zones of a section, silent where time was to be kept in bars in which it rests."""
    out = [bar for bar, plan in zip(bars, plans, strict=True) if rests(style, part, bar, plan)]
    found = list(zones)
    for bar in out:
        found = [piece for zone in found for piece in without(zone, bar.start_q, bar.end_q)]
    return tuple(found)


def players_resting(
    style: Style,
    parts: Mapping[str, Part],
    bars: Sequence[PlayedBar],
    plans: Sequence[BarPlan],
    zones: Mapping[str, Sequence[Zone]],
) -> dict[str, tuple[Zone, ...]]:
    """The zones of a section's players, silent where the band's ideas leave them out."""
    if not any(plan.ideas for plan in plans):
        return {player: tuple(found) for player, found in zones.items()}
    return {
        player: resting(style, parts[player], bars, plans, found) for player, found in zones.items()
    }
