"""What the leader's plan makes of a section before anyone plays: time feel, silence, strokes together, ways of playing.

Conventions: as in `led`; zones and marks as in `zones`. Written marks win over all of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from backing.band.led import Move, Pedal, Plan, SectionPlan
from backing.band.model import Kind, Note, Why
from backing.band.players.common import Brief, Stroke, Zone, ZoneKind
from backing.band.zones import Mark, Rank, final_chord
from backing.ground.roles import role_of
from backing.ground.timebase import EIGHTH
from backing.styles.model import Part
from backing.timeline.model import PlayedBar, SectionPass, TimeFeel, Timeline

SHORTENED = Fraction(3, 5)  # of the length of a note that is played short
STAYS = Fraction(1, 4)  # what is no longer than this is short already


def half_timed(timeline: Timeline, plan: Plan) -> Timeline:
    """The timeline with the bars in half time that the leader asks for."""
    halved: set[int] = set()
    for section, led in zip(timeline.sections, plan.sections, strict=True):
        if led.half is not None:
            first, last = led.half
            halved.update(range(section.first + first, section.first + last + 1))
    if not halved:
        return timeline
    bars = (
        bar._replace(time_feel=TimeFeel.HALF) if bar.index in halved else bar
        for bar in timeline.bars
    )
    return timeline._replace(bars=tuple(bars))


def unwritten(timeline: Timeline, plan: Plan, player: str) -> list[Mark]:
    """The marks that no chart has and the leader asks for."""
    return hits(timeline, plan, player) + breaks(timeline, plan, player)


def hits(timeline: Timeline, plan: Plan, player: str) -> list[Mark]:
    """The strokes that the leader asks the band for, but where a player rests."""
    found = []
    for section, led in zip(timeline.sections, plan.sections, strict=True):
        bar = timeline.bars[section.last - 1]
        if not led.hits or role_of(player).tune or led.rests_at(player, _bar(section, bar)):
            continue
        why = next(d.why.value for d in led.decisions if d.move is Move.HIT)
        strokes = tuple(
            Stroke(bar.end_q - before, bar.end_q - before + length, Kind.KICK, why)
            for before, length in led.hits
        )
        start = bar.end_q - led.hits[0][0]
        found.append(Mark(start, bar.end_q, ZoneKind.KICKS, Rank.KICKS, strokes))
    return found


def breaks(timeline: Timeline, plan: Plan, player: str) -> list[Mark]:
    """The silence of all but the drums in the half bar before the last chord, where the leader asks for it."""
    final = final_chord(timeline)
    role = role_of(player)
    if final is None or not plan.sections[-1].breaks or role.name == "drums" or role.tune:
        return []
    at = timeline.chords[final].start_q
    bar = timeline.bar_at(at - EIGHTH)
    if bar.end_q != at or timeline.chords[final].push_q:
        return []
    start = bar.start_q + bar.length_q / 2
    return [Mark(start, at, ZoneKind.SILENT, Rank.BREAK)]


def _bar(section: SectionPass, bar: PlayedBar) -> int:
    return bar.index - section.first


def left_out(
    led: SectionPlan,
    bars: Sequence[PlayedBar],
    zones: Mapping[str, Sequence[Zone]],
) -> dict[str, tuple[Zone, ...]]:
    """The zones of a section's players, silent where the leader leaves them out and time was to be kept."""
    found = {}
    for player, own in zones.items():
        kept = list(own)
        for rest in led.rests:
            if rest.player == player:
                start, end = bars[rest.first].start_q, bars[rest.last].end_q
                kept = [piece for zone in kept for piece in without(zone, start, end)]
        found[player] = tuple(kept)
    return found


def without(zone: Zone, start_q: Fraction, end_q: Fraction) -> list[Zone]:
    """A zone, silent in a stretch where it keeps time."""
    if zone.kind is not ZoneKind.TIME or zone.end_q <= start_q or end_q <= zone.start_q:
        return [zone]
    inner = Zone(max(zone.start_q, start_q), min(zone.end_q, end_q), ZoneKind.SILENT)
    around = (
        Zone(zone.start_q, inner.start_q, ZoneKind.TIME),
        inner,
        Zone(inner.end_q, zone.end_q, ZoneKind.TIME),
    )
    return [piece for piece in around if piece.start_q < piece.end_q]


def asked(part: Part, led: SectionPlan) -> Part:
    """A player with the way of playing that the leader asks for: long notes of horns."""
    ideas = any(pattern.idea for pattern in part.patterns)
    behind = any(d.move is Move.BACKGROUND and part.role in d.players for d in led.decisions)
    if behind and not ideas:
        return replace(part, plays=dict.fromkeys(part.plays, "guide tones"))
    return part


def touched(brief: Brief, line: list[Note]) -> list[Note]:
    """A player's notes as the leader wants them: short, and the first one after a rest with the reason for coming in."""
    led, player = brief.led, brief.part.role
    if player in led.short:
        line = [_shortened(note) for note in line]
    if led.pedal is not None and player == "bass":
        line = [_told(brief, led.pedal, note) for note in line]
    for decision in led.decisions:
        if decision.move is Move.ENTERS and player in decision.players and line:
            why = line[0].why.also(f"; comes in: {decision.why.value}")
            line = [line[0]._replace(why=why), *line[1:]]
    return line


def _told(brief: Brief, pedal: Pedal, note: Note) -> Note:
    """A note of a pedal, told as such."""
    start, end = brief.bars[pedal.first].start_q, brief.bars[pedal.last].end_q
    if note.strict or note.pitch % 12 != pedal.note.pc or not start <= note.start_q < end:
        return note
    return note._replace(why=Why(Kind.PEDAL, f"pedal on {pedal.note.name}, the chords move above"))


def _shortened(note: Note) -> Note:
    if note.strict or note.why.kind is not Kind.PATTERN or note.length_q <= STAYS:
        return note
    return note._replace(end_q=note.start_q + max(STAYS, note.length_q * SHORTENED))
