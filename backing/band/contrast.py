"""How sections differ from one another beside who plays: registers, cymbals, length of notes, drops, horns behind.

Conventions: registers in semitones above the usual one, never lower; a drop takes at most one section and eight bars.
Source: common practice of arranging.
"""

from __future__ import annotations

from functools import lru_cache

from backing.band.bridges import on_other_ground
from backing.band.course import Stand
from backing.band.led import Backing, Move, Reason, SectionPlan
from backing.band.track import Track
from backing.ground.roles import in_score_order, role_of
from backing.ground.timebase import Meter
from backing.styles.model import Energy, Pattern, Style, Where

A_CHORUS = 3  # semitones by which the keys climb a chorus
ANSWER_UP = 3  # and in a section that answers
MOST_UP = 6
BASS_UP = 7  # of a walking bass in the last chorus: above D3 and back
DROP_FROM, DROP_TO = 0.5, 0.8  # of the track, where there may be a drop
DROPS = 0.85  # chance that there is one
HALVES = 0.35  # that it goes on in half time, where the style may
DROP_BARS = 8
LONG = 48  # bars of a track of one or two choruses in which there may be a drop
SHORT_NOTES = 0.6  # chance that the first section is held back

Sections = list[SectionPlan]


def with_contrast(track: Track, plans: Sections) -> Sections:
    """Cymbal, length of notes, two-feel and pedal by what a section is in the form."""
    answered = any(p.stand is Stand.ANSWER for p in plans)
    short = answered and track.place.chance(SHORT_NOTES, "short")
    made: Sections = []
    for number, plan in enumerate(plans):
        style, players = track.styles[number], track.players[number]
        place = track.place.at("contrast", track.sections[number].name)
        drums = tuple(p for p in players if role_of(p).name == "drums")
        top = plan.energy == Energy.PEAK.value
        if drums and _backbeat(style) and (plan.stand is Stand.ANSWER or (top and plan.arrives)):
            plan = plan._replace(time="ride").and_so(Move.RIDE, drums, Reason.CONTRAST)
        if plan.stand is Stand.BRIDGE and track.in_time(number):
            plan = on_other_ground(track, number, plan, place.roll("bridge"))
        comping = tuple(p for p in track.comping(number) if plan.rests_at(p, 0) is None)
        if short and comping and plan.stand is Stand.HOME and _backbeat(style) and not top:
            plan = plan._replace(short=comping).and_so(Move.SHORT, comping, Reason.HELD_BACK)
        made.append(plan)
    return made


def _backbeat(style: Style) -> bool:
    """Whether drums keep even time around a snare on two and four, which no clave and no machine binds."""
    drums = style.part("drums")
    if drums is None or not style.feel.straight or style.clave is not None or style.repeats:
        return False
    return answers(drums.patterns, style.meters[0])


@lru_cache(maxsize=256)
def answers(patterns: tuple[Pattern, ...], meter: Meter) -> bool:
    """Whether most patterns that keep time have snare or rim on every other beat, and on no beat between."""
    time = [p for p in patterns if p.where is Where.TIME and p.meter == meter]
    return meter.count == 4 and 2 * sum(map(_backbeats, time)) > len(time)


def _backbeats(pattern: Pattern) -> bool:
    struck: set[int] = set()
    for drum in ("snare", "rim", "clap"):
        for bar in pattern.lines.get(drum, ()):
            struck |= {
                beat
                for beat, pulse in enumerate(bar)
                for cell in pulse.cells
                if cell.at_q == 0 and cell.mark != "g"
            }
    return struck == {1, 3}


def with_registers(track: Track, plans: Sections) -> Sections:
    """Keys climb from chorus to chorus and lie higher in a section that answers; a walking bass climbs in the last."""
    made: Sections = []
    choruses = track.timeline.choruses
    for number, plan in enumerate(plans):
        chorus = track.sections[number].chorus
        up = A_CHORUS * max(0, chorus - 1) + ANSWER_UP * (plan.stand is Stand.ANSWER)
        plan = plan._replace(keys_up=MOST_UP if plan.light else min(MOST_UP, up))
        keys = tuple(p for p in track.of_role(number, "keys") if not plan.rests_at(p, 0))
        climbs = keys and plan.keys_up and not plan.light
        if climbs and (not made or made[-1].keys_up != plan.keys_up):
            why = Reason.CONTRAST if plan.stand is Stand.ANSWER else Reason.CLIMBS
            plan = plan.and_so(Move.HIGHER, keys, why)
        bass = track.styles[number].part("bass")
        if bass and choruses > 1 and chorus == choruses and "walking" in bass.plays.values():
            plan = plan._replace(bass_up=BASS_UP).and_so(Move.HIGHER, ("bass",), Reason.LAST_CHORUS)
        made.append(plan)
    return made


def with_backings(track: Track, plans: Sections) -> Sections:
    """Horns: long notes when they have come in, a riff the time after, and out with the last section."""
    made: Sections = []
    played = [
        n
        for n in track.inside
        if any(
            p.rests_at(h, track.bars(n) - 1) is None for p in [plans[n]] for h in _horns(track, n)
        )
    ]
    first = track.sections[played[0]].chorus if played else 0
    for number, plan in enumerate(plans):
        horns = _horns(track, number)
        if number in played and track.long:
            chorus = track.sections[number].chorus
            if number == played[-1] and len(played) > 1:
                plan = plan._replace(backing=Backing.SHOUT)
                plan = plan.and_so(Move.SHOUT, horns, Reason.SHOUTS)
            elif chorus == first and (track.timeline.choruses > 2 or number == played[0]):
                plan = plan._replace(backing=Backing.BACKGROUND)
                plan = plan.and_so(Move.BACKGROUND, horns, Reason.BEHIND)
            else:
                plan = plan._replace(backing=Backing.RIFF)
                plan = plan.and_so(Move.RIFF, horns, Reason.GOES_ON)
        made.append(plan)
    return made


def _horns(track: Track, number: int) -> tuple[str, ...]:
    """Horns that are not of the core, who have their own music throughout."""
    core = track.core(number)
    return tuple(h for h in track.of_role(number, "horns") if h not in core)


def with_drop(track: Track, plans: Sections) -> Sections:
    """One stretch after the middle with bass and drums alone, or in half time.

    Whoever makes the style what it is goes on; where nobody is left to drop out, they play lightly.
    """
    number = _where(track, plans)
    if number is None or not track.place.chance(DROPS, "drop"):
        return plans
    plan, bars = plans[number], range(_drop_bars(track.bars(number)))
    style, players = track.styles[number], track.players[number]
    rhythm = tuple(p for p in players if p in ("bass", "drums"))
    if _backbeat(style) and track.in_time(number) and track.place.chance(HALVES, "half time"):
        plan = plan._replace(half=(bars[0], bars[-1])).and_so(
            Move.HALF_TIME, ("band",), Reason.HALF
        )
    elif len(rhythm) == 2 or (rhythm and track.of_role(number, "percussion")):
        plan = _dropped(track, number, plan, bars)
    return [*plans[:number], plan, *plans[number + 1 :]]


def _dropped(track: Track, number: int, plan: SectionPlan, bars: range) -> SectionPlan:
    """A section without those whom its style can spare, or light where it can spare nobody."""
    core = track.core(number)
    players = in_score_order(track.players[number])
    heard = [p for p in players if not all(plan.rests_at(p, bar) for bar in bars)]
    out = tuple(p for p in heard if p not in core and role_of(p).name not in ("bass", "drums"))
    stay = tuple(p for p in heard if p in core and role_of(p).leads)
    if out:
        return plan.resting(out, bars, Move.DROPS, Reason.THIN if stay else Reason.DROP)
    if stay:
        plan = plan._replace(short=stay, light=True)
        return plan.and_so(Move.LIGHT, in_score_order(stay), Reason.AIR)
    return plan


def _where(track: Track, plans: Sections) -> int | None:
    """The section for a drop: after the middle, before the last chorus, where something is left to come back."""
    shares, choruses = track.shares(), track.timeline.choruses
    if not track.long or (choruses < 3 and sum(map(track.bars, track.inside)) < LONG):
        return None
    last = max(shares)
    free = [
        n
        for n in shares
        if n != last
        and track.free(n)
        and plans[n].energy != Energy.PEAK.value
        and not track.styles[n].ideas  # a band with ideas has drops of its own
        and (choruses < 3 or 1 < track.sections[n].chorus < choruses)
    ]
    found = [n for n in free if DROP_FROM <= shares[n] <= DROP_TO]
    if not found and choruses >= 3:
        found = free[-1:]
    offered = found[:2]
    return track.place.pick(offered, [1.0] * len(offered), "drop at") if offered else None


def _drop_bars(bars: int) -> int:
    """A whole section up to eight bars, of a longer one the first half in whole phrases, eight bars at most.

    >>> [_drop_bars(n) for n in (4, 7, 8, 12, 16, 32)]
    [4, 7, 8, 4, 8, 8]
    """
    return bars if bars <= DROP_BARS else min(DROP_BARS, max(4, bars // 2 // 4 * 4))
