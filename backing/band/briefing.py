"""What each player is told: the brief of every playing of a section.

Conventions: sections are counted from 0, in playing order.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple, TypeVar

from backing.band.bookends import last_chord
from backing.band.chairs import GUIDE_PARTS, TIMEKEEPER, called, seated
from backing.band.course import level_of
from backing.band.ideas import players_resting, with_ideas
from backing.band.leader import place_of, plan_of, whole_of
from backing.band.led import Plan, SectionPlan
from backing.band.model import Note
from backing.band.plan import plans, shared
from backing.band.players.common import BarPlan, Brief, Change, Zone, ZoneKind, band
from backing.band.players.patterns.comping import holds_ideas, leader
from backing.band.players.patterns.fillings import due
from backing.band.staged import asked, half_timed, left_out, unwritten
from backing.band.tensions import Agreed, agreed, beside_pedal
from backing.band.track import Track
from backing.band.zones import bounds, heard_until, zones
from backing.ground.dice import Place
from backing.ground.pitch import Degree
from backing.ground.roles import pitched
from backing.styles.model import Part, Style
from backing.timeline.model import Hit, MelodyNote, SectionPass, Timeline


class Form(NamedTuple):
    """A track before anyone plays: who plays what in every section, and what the leader decided.

    `players` are in the order in which they are called; `zones` are theirs, section by section; all else is told
    section by section, but for the `colours` of the chords, which go by their index.
    """

    timeline: Timeline
    seed: int
    plain: bool
    colours: Agreed
    plan: Plan
    players: tuple[str, ...]
    zones: Mapping[str, Sequence[tuple[Zone, ...]]]
    styles: Sequence[Style]
    parts: Sequence[Mapping[str, Part]]
    plans: Sequence[Mapping[str, tuple[BarPlan, ...]]]
    changes: Sequence[tuple[tuple[Change, ...], Change | None]]
    fills: tuple[tuple[int, str], ...]  # bars in which drums may fill, and their levels


def form_of(
    timeline: Timeline,
    style: Style,
    seed: int,
    named: Mapping[str, Style],
    *,
    guide_tones: bool,
    plain: bool,
) -> Form:
    """Who plays in which section, and the leader's plan; `named` holds the styles that sections name."""
    styles = _styles(timeline, style, named)
    plan = _plan(timeline, style, named, seed, guide_tones)
    timeline = half_timed(timeline, plan)
    parts = [
        _seated(own, timeline, led, guide_tones)
        for own, led in zip(styles, plan.sections, strict=True)
    ]
    players = called({player for section in parts for player in section})
    zoned = {
        player: zones(timeline, player, unwritten(timeline, plan, player)) for player in players
    }
    if styles:
        for row in zoned.values():
            row[-1] = last_chord(styles[-1], timeline, row[-1])
    keeper = zoned.get(TIMEKEEPER) or zones(timeline, TIMEKEEPER)
    led = plans(timeline, plan, keeper, seed, [own.side for own in styles])
    told = []
    for i, own in enumerate(styles):
        section = timeline.sections[i]
        bars = timeline.bars[section.first - 1 : section.last]
        led[i] = with_ideas(own, bars, led[i], seed)
        playing = {player: zoned[player][i] for player in players if player in parts[i]}
        playing = left_out(plan.sections[i], bars, playing)
        playing = players_resting(own, parts[i], bars, led[i], playing)
        for player, found in playing.items():
            zoned[player][i] = found
        leads = plan.sections[i].leads or leader(own)
        told.append(shared(timeline, i, led[i], playing, seed, leads, not holds_ideas(own)))
    changes = _changes(timeline)
    colours = {} if plain else _colours(timeline, styles, plan, changes)
    return Form(
        timeline, seed, plain, colours, plan, players, zoned, styles, parts, told, changes,
        _fills(timeline, plan),
    )  # fmt: skip


def _colours(
    timeline: Timeline,
    styles: Sequence[Style],
    plan: Plan,
    changes: Sequence[tuple[tuple[Change, ...], Change | None]],
) -> Agreed:
    """The colours that the band adds to every chord; one that sounds on both sides of a border has those of its own side."""
    found: dict[int, tuple[Degree, ...]] = {}
    rows = zip(timeline.sections, styles, plan.sections, changes, strict=True)
    for section, style, led, (inside, ahead) in rows:
        bars = timeline.bars[section.first - 1 : section.last]
        start, end = bounds(timeline, section)
        melody = _between(timeline.melody, start, end)
        here = agreed(style, bars, inside, ahead, melody)
        if inside and inside[0].span.start_q < start:
            here.pop(inside[0].index, None)
        found.update(beside_pedal(led, section, inside, here))
    return found


def _fills(timeline: Timeline, plan: Plan) -> tuple[tuple[int, str], ...]:
    """The bars of the whole track in which drums may fill, and how loud each is."""
    bars = whole_of(timeline).bars
    found = (bars[index - 1] for index in due(whole_of(timeline)))
    return tuple((b.index, band(level_of(b, plan.track[b.section_index].level))) for b in found)


def _fills_beside(form: Form, section: SectionPass) -> tuple[tuple[int, str], ...]:
    """The fills of a track counted as the bars of a section are: those of an excerpt begin with 1."""
    timeline = form.timeline
    there = place_of(timeline, section)
    earlier = whole_of(timeline).sections[there.number].first + there.offset - section.first
    return tuple((bar - earlier, level) for bar, level in form.fills)


def _styles(timeline: Timeline, style: Style, named: Mapping[str, Style]) -> list[Style]:
    return [named.get(timeline.bars[s.first - 1].style or "", style) for s in timeline.sections]


def _plan(
    timeline: Timeline, style: Style, named: Mapping[str, Style], seed: int, guide_tones: bool
) -> Plan:
    """The leader's plan, which reads the whole track where only an excerpt is played."""
    whole = whole_of(timeline)
    styles = _styles(whole, style, named)
    by_name = {own.name: own for own in styles}
    seats = {name: _planned_for(own, whole, guide_tones) for name, own in by_name.items()}
    leaders = {name: leader(own) for name, own in by_name.items()}
    track = Track(
        whole, styles, [seats[s.name] for s in styles], [leaders[s.name] for s in styles], seed
    )
    return plan_of(timeline, track)


def _planned_for(own: Style, timeline: Timeline, guide_tones: bool) -> tuple[str, ...]:
    """The players whom the leader decides about: not a soloist, nor whoever was asked for a line of guide tones."""
    found = seated(own, timeline, guide_tones)
    return tuple(
        player for player, part in found.items() if part not in GUIDE_PARTS and player != "solo"
    )


def _seated(own: Style, timeline: Timeline, led: SectionPlan, guide_tones: bool) -> dict[str, Part]:
    """The parts of a section, each with the instrument for how loud it begins."""
    level = band(led.opens)
    found = seated(own, timeline, guide_tones)
    return {role: asked(part, led).at(level) for role, part in found.items()}


def brief_of(
    form: Form,
    number: int,
    player: str,
    before: Sequence[Note],
    heard: Mapping[str, tuple[Note, ...]],
) -> Brief:
    """What a player is told of a section, who played the notes `before` it and hears what is played in it already."""
    timeline, own, zoned = form.timeline, form.styles[number], form.zones[player]
    section = timeline.sections[number]
    changes, ahead = form.changes[number]
    bars = timeline.bars[section.first - 1 : section.last]
    start, end = bounds(timeline, section)
    return Brief(
        timeline=timeline,
        section=section,
        style=own,
        part=form.parts[number][player],
        bars=bars,
        plans=form.plans[number][player],
        led=form.plan.sections[number],
        changes=changes,
        ahead=ahead,
        zones=zoned[number],
        place=Place((form.seed, player, section.name, section.pass_)),
        melody=tuple(_between(timeline.melody, start, end)),
        kicks=tuple(h for h in _between(timeline.hits, start, end) if h.kick),
        heard=dict(heard) if pitched(player) else _struck(heard),
        colour=not form.plain and own.colour and bars[0].colour is not False,
        colours=form.colours,
        qpm=_qpm(timeline, start),
        fills=_fills_beside(form, section),
        begun=_begun(changes, start, before, zoned[number - 1] if number else ()),
    )


def _struck(heard: Mapping[str, tuple[Note, ...]]) -> dict[str, tuple[Note, ...]]:
    """What drums and percussion hear: rhythm, one note a stroke, and no pitch, so that they play alike in every key."""
    made = {}
    for player, notes in heard.items():
        strokes = {note.start_q: note for note in reversed(notes)}
        made[player] = tuple(
            note._replace(pitch=0, degree="", string=0, fret=-1)
            for note in reversed(strokes.values())
        )
    return made


def _begun(
    changes: Sequence[Change], start: Fraction, before: Sequence[Note], zones: Sequence[Zone]
) -> bool:
    """Whether a player struck the pushed first chord of a section before its start; drums mark it where they keep time."""
    first = changes[0].span if changes else None
    if (
        first is None
        or not first.push_q
        or not first.sounds_q < start == first.start_q
        or not zones
    ):
        return False
    late = [note for note in before[-16:] if note.start_q >= first.sounds_q]
    if all(note.chord < 0 for note in late):
        return zones[-1].kind in (ZoneKind.TIME, ZoneKind.KICKS) and bool(late)
    return any(note.chord == changes[0].index for note in late)


def _changes(timeline: Timeline) -> list[tuple[tuple[Change, ...], Change | None]]:
    """For every section the chords as heard, clipped to its borders, and what is heard at its end."""
    spans = timeline.chords
    until = heard_until(timeline)
    whole = [
        Change(i, max(span.sounds_q, Fraction(0)), until[i], span) for i, span in enumerate(spans)
    ]
    whole = [change for change in whole if change.end_q > change.start_q]
    if whole and whole[0].span.push_q:  # nothing can be early at the very start
        whole[0] = whole[0]._replace(span=whole[0].span._replace(push_q=Fraction(0)))
    starts = [change.start_q for change in whole]
    found = []
    for section in timeline.sections:
        start, end = bounds(timeline, section)
        first = max(0, bisect_right(starts, start) - 1)
        last = bisect_right(starts, end) - 1  # the chord that is heard at the end
        inside = [
            c._replace(start_q=max(c.start_q, start), end_q=min(c.end_q, end))
            if c.start_q < start or c.end_q > end
            else c
            for c in whole[first : last + 1]
            if c.start_q < end
        ]
        ahead = None
        if end < timeline.length_q:
            ahead = whole[last]._replace(start_q=max(whole[last].start_q, end))
        found.append((tuple(inside), ahead))
    return found


Timed = TypeVar("Timed", MelodyNote, Hit)


def _between(found: Sequence[Timed], start: Fraction, end: Fraction) -> Sequence[Timed]:
    """Those of a row that begin in a stretch of time."""
    first, last = (bisect_left(found, q, key=lambda x: x.start_q) for q in (start, end))
    return found[first:last]


def _qpm(timeline: Timeline, at_q: Fraction) -> float:
    steps = timeline.tempo
    return steps[max(0, bisect_right(steps, at_q, key=lambda s: s.at_q) - 1)].qpm
