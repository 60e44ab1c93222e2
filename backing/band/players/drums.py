"""The drummer: time, comping, fills, set-ups, and the strokes that the whole band plays.

Conventions: a note's pitch is a General MIDI drum key; a note ends where a stroke of the same choke group cuts it.
Patterns come from the style by level and place; a fill that the plan asks for is the style's own pattern for the end
of a phrase, or one made here. Velocities follow the level of the bar, the mark of the cell, and a slight rise through
the phrase.
Sources: kick and bass agree, ghost notes around 30, hat on two and four in swing with a sparse snare between (Sabatella,
A Jazz Improvisation Primer; common practice); no fill into a stop, a crash after a fill (common practice).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from backing.band.model import Kind, Note, Why, note_order
from backing.band.players.common import BarPlan, Brief, Stroke, Zone, ZoneKind, with_the_band
from backing.band.players.fills import fresh_fill, set_up
from backing.band.players.hands import two_hands
from backing.band.players.ornaments import BRUSHES, CYMBALS, SWEPT, graces, lasting_notes, softer
from backing.band.players.patterns.choose import DRUMS, choose
from backing.band.players.patterns.comping import holds_ideas
from backing.band.players.patterns.fillings import ordinal
from backing.band.players.patterns.lay import Beat, Chosen, laid, soft_ones, vary_of
from backing.band.players.patterns.traits import timekeeping, unbroken
from backing.band.players.pulses import beats, loudness, shift_q, velocity
from backing.band.players.talk import talk, with_bass
from backing.band.players.variations import GHOST, Strokes, in_quarters, varied
from backing.ground.instruments import CHOKE_GROUPS, DRUM_KEYS
from backing.ground.timebase import TRIPLET
from backing.styles.model import Where
from backing.timeline.model import PlayedBar

_FORCE = {"hat": 0.86, "open hat": 0.9, "pedal hat": 0.76, "ride": 0.9, "bell": 0.92}
_ACCENT, _OFF_BEAT = 1.16, 0.92
_FEET = frozenset(
    ("kick", "pedal hat", "rim")
)  # what a singer's drummer may have; the rim is tapped
_LEFT_TO_RING = frozenset((Kind.RING, Kind.FERMATA, Kind.LAST_CHORD))
TALKS = 0.5  # of a plain stroke: what snare and kick say between the beats of jazz
LOUD = 3.75  # the level from which a drummer plays out
_SIXTEENTH, _EIGHTH = Fraction(1, 4), Fraction(1, 2)


def play(brief: Brief) -> list[Note]:
    """The drums of one playing of a section, in order of start."""
    plans = _plans(brief)
    found = chosen(brief)
    made: Strokes = {}
    for index, (bar, plan) in enumerate(zip(brief.bars, plans, strict=True)):
        strokes = _bar(brief, index, bar, plan, found[index])
        made.update(strokes)
        made.update(graces(brief, bar, found[index], strokes))
    _push(brief, made)
    notes = lasting_notes(brief, _in_time(brief, made), found)
    for zone in brief.zones:
        if zone.kind is ZoneKind.STRUCK:
            notes += [n for s in zone.strokes for n in _struck(brief, s)]
    notes.sort(key=note_order)
    return _choked(notes)


def chosen(brief: Brief) -> list[Chosen | None]:
    """The drummer's patterns, bar by bar."""
    return choose(brief._replace(plans=_plans(brief)), DRUMS)


def _plans(brief: Brief) -> tuple[BarPlan, ...]:
    return tuple(_without_fill(brief, i) for i in range(len(brief.bars)))


def _push(brief: Brief, strokes: Strokes) -> None:
    """The kick goes with a chord that comes early, and so does a crash; neither is struck again on its beat."""
    for change in brief.changes:
        at, beat = change.start_q, change.span.start_q
        early = at < beat and change.span.chord is not None
        if not early and not (brief.begun and at == beat == brief.start_q):
            continue
        kick = strokes.pop((beat, "kick"), None)
        crash = strokes.pop((beat, "crash"), None)
        if crash is not None and (beat, "ride") not in strokes and (beat, "hat") not in strokes:
            strokes[beat, _cymbal(strokes, beat)] = (
                crash[0] * 0.8,
                Why(Kind.PATTERN, "time goes on"),
            )
        if not early:
            continue
        for place, drum in [k for k in strokes if at < k[0] < beat and k[1] not in CYMBALS]:
            del strokes[place, drum]  # nothing is filled in behind the chord
        base = loudness(_plan_at(brief, at).level)
        border = brief.ahead is not None and brief.ahead.index == change.index
        strokes[at, "kick"] = (
            kick[0] if kick else base,
            Why(Kind.PUSHED, "kick with the pushed chord"),
        )
        if crash is not None or (border and _plan_at(brief, at).level >= 2.0):
            for cymbal in CYMBALS:
                strokes.pop((at, cymbal), None)
            strokes[at, "crash"] = (base * 1.08, Why(Kind.PUSHED, "crash with the pushed chord"))


def _cymbal(strokes: Strokes, at: Fraction) -> str:
    """The cymbal that keeps time around a place."""
    near = [drum for place, drum in strokes if 0 < place - at <= 2 and drum in ("hat", "ride")]
    return max(("hat", "ride"), key=near.count)


def _without_fill(brief: Brief, index: int) -> BarPlan:
    """The plan of a bar; a fill is left out where a stop, a hit or silence is in the bar or right behind it."""
    plan, bar = brief.plans[index], brief.bars[index]
    if not (plan.fill or plan.close):
        return plan
    first = max(0, bisect_right(brief.zones, bar.start_q, key=_zone_start) - 1)
    for zone in brief.zones[first:]:
        if zone.start_q > bar.end_q:
            break
        if zone.kind in (ZoneKind.STRUCK, ZoneKind.SILENT):
            last = any(s.kind is Kind.LAST_CHORD for s in zone.strokes)
            if not (last and zone.start_q == bar.end_q):
                return plan._replace(fill=False, close=False, phrase_end=False)
    return plan


def _zone_start(zone: Zone) -> Fraction:
    return zone.start_q


def _in_order(stroke: tuple[Fraction, str]) -> tuple[float, str]:
    """Order of place, then drum; a place as a float compares much faster."""
    at, drum = stroke
    return at.numerator / at.denominator, drum


def _bar(brief: Brief, index: int, bar: PlayedBar, plan: BarPlan, chosen: Chosen | None) -> Strokes:
    """Everything of one bar that keeps time, fills included."""
    if bar.rubato or chosen is None:
        return {}
    place = brief.place.at(index)
    shift = shift_q(bar)
    base = loudness(plan.level) * (0.98 + 0.04 * min(plan.phrase_bar, 3) / 3)
    on_beat = {p for p, _ in beats(bar.meter)}
    why = Why(Kind.PATTERN, f"pattern '{chosen.pattern.name}'")
    timed = chosen.pattern.where in (Where.TIME, Where.OPENING)
    if plan.crash and not _may_crash(brief, bar, plan, chosen):
        plan = plan._replace(crash=False)
    rim = timed and plan.level < 2.0 and brief.part.word("soft") == "rim"
    strokes: Strokes = {}
    soft, brushes = soft_ones(brief, index, chosen), brief.part.instrument.name == BRUSHES
    for name, line in laid(chosen, bar, CYMBALS).items():
        under = _under(brief, bar, name, line) if timed and not chosen.pattern.idea else 1.0
        for beat in line:
            if beat.mark == "g" and not soft:
                continue
            drum = "rim" if rim and name == "snare" and beat.mark != "g" else name
            at = shift + beat.at_q
            force = _FORCE.get(drum, 1.0)
            if beat.mark == "X":
                force *= _ACCENT
            elif beat.mark == "g":
                force *= GHOST
            elif beat.mark == "x" and under < 1:
                force *= under
            elif beat.mark == SWEPT:
                force *= softer(beat.mark, brushes)
            elif drum in CYMBALS and beat.at_q not in on_beat:
                force *= _OFF_BEAT * (0.88 if not brief.style.feel.straight else 1.0)
            strokes[at, drum] = (base * force, why)
    if timed:
        alone = not chosen.pattern.idea  # what the band plays together is played as it is written
        if alone and plan.fill and brief.part.word("fills") != "none":
            return _crash(_filled(brief, bar, plan, strokes, base), bar, plan, base)
        vary = vary_of(brief, chosen)
        if (
            plan.level < LOUD
            and brief.style.feel.straight
            and brief.place.chance(vary / 2, "quarters")
        ):
            strokes = in_quarters(strokes, bar)  # for a whole section
        if alone:
            strokes = talk(brief, index, bar, plan, strokes, base)
            strokes = with_bass(brief, bar, strokes, base)
        if place.chance(vary, "vary"):
            strokes = _varied(brief, index, strokes)
    return _crash(strokes, bar, plan, base)


def _under(brief: Brief, bar: PlayedBar, drum: str, line: Sequence[Beat]) -> float:
    """How loud the plain strokes of a drum are beside its accents.

    In a row without a gap that has no ghosts of its own they are those; snare and kick of a jazz drummer talk under the
    ride, and an accent stands out (common practice; Sabatella).
    """
    marks = {beat.mark for beat in line}
    if drum == "snare" and marks == {"x", "X"} and unbroken([b.at_q for b in line], bar.length_q):
        return GHOST
    feel = bar.feel or brief.style.feel
    if drum in ("snare", "kick") and feel.swung_eighths and not holds_ideas(brief.style):
        return TALKS
    return 1.0


def _may_crash(brief: Brief, bar: PlayedBar, plan: BarPlan, chosen: Chosen) -> bool:
    """Whether a crash may take the place of time.

    Where it is not loud, a soft drummer (with brushes, across the rim, with the feet alone) has none, and the ride of
    swing goes on (common practice). What the band plays together has a crash where one is written.
    """
    if not brief.part.flag("crash") or chosen.pattern.idea:
        return False
    if plan.level >= LOUD:
        return True
    if brief.part.instrument.name == BRUSHES or not chosen.pattern.lines.keys() - _FEET:
        return False
    kept, feel = timekeeping(chosen.pattern), bar.feel or brief.style.feel
    return kept.answer != "rim" and not (kept.voice == "ride" and feel.swung_eighths)


def _crash(strokes: Strokes, bar: PlayedBar, plan: BarPlan, base: float) -> Strokes:
    """A crash with the kick in place of the cymbal on the first beat."""
    if not plan.crash:
        return strokes
    at = bar.start_q
    kept = {k: v for k, v in strokes.items() if not (k[0] == at and k[1] in CYMBALS)}
    words = "crash into the section" if plan.opening else "crash after the fill"
    kept[at, "crash"] = (base * 1.1, Why(Kind.CRASH, words))
    kept.setdefault((at, "kick"), (base, Why(Kind.CRASH, "kick under the crash")))
    return kept


def _filled(brief: Brief, bar: PlayedBar, plan: BarPlan, strokes: Strokes, base: float) -> Strokes:
    """The bar with a fill at its end; the foot goes on under it."""
    kit = brief.part.word("fills")
    feel = bar.feel or brief.style.feel
    triplets = brief.style.grid_q == TRIPLET and not bar.meter.compound
    in_thirds = triplets or feel.swung_eighths
    shift = shift_q(bar)
    if kit == "toms" and unbroken([q for q, drum in strokes if drum == "snare"], bar.length_q):
        kit = "toms alone"  # a hand that goes on on the snare is not heard to fill there
    number = ordinal(brief, bar.index)
    made_up = fresh_fill(bar.meter, plan.level, in_thirds, kit, brief.place.key[:2], number)
    hits = [h for h in made_up if shift + h.at_q >= bar.start_q]
    begins = shift + hits[0].at_q if hits else bar.end_q
    begins = min([s for s, _ in beats(bar.meter) if shift + s <= begins], key=lambda s: begins - shift - s) + shift  # fmt: skip
    feet = ("kick", "pedal hat")
    kept = {k: v for k, v in strokes.items() if k[0] < begins or k[1] in feet}
    for hit in hits:
        kept[shift + hit.at_q, hit.drum] = (base * hit.force, hit.why)
    return kept


def _varied(brief: Brief, index: int, strokes: Strokes) -> Strokes:
    """The bar with a small change."""
    bar, style = brief.bars[index], brief.style
    feel = bar.feel or style.feel
    return varied(
        strokes,
        bar,
        loudness(brief.plans[index].level),
        feel.swung_eighths,
        style.grid_q <= _SIXTEENTH,
        style.clave is not None,
        brief.place.at(index, "vary"),
    )


def _in_time(brief: Brief, made: Strokes) -> list[Note]:
    """Strokes that fall where time is kept, with the kicks of the band marked among them."""
    timed = [z for z in brief.zones if z.kind in (ZoneKind.TIME, ZoneKind.KICKS)]
    strokes = dict(made)
    for zone in timed:
        if zone.kind is ZoneKind.KICKS:
            free = zone.start_q
            for stroke in zone.strokes:
                _mark(brief, free, stroke, strokes)
                free = stroke.start_q
    for before, zone in pairwise(brief.zones):
        first = zone.strokes[0] if zone.kind is ZoneKind.STRUCK and zone.strokes else None
        if first is not None and first.kind is Kind.HIT and before in timed:
            _prepare(brief, before.start_q, first.start_q, strokes)
    notes = []
    ordered = two_hands(sorted(strokes, key=_in_order))
    places = [at for at, _ in ordered]
    for zone in timed:
        for key in ordered[bisect_left(places, zone.start_q) : bisect_left(places, zone.end_q)]:
            force, why = strokes[key]
            notes.append(_note(key[0], key[0] + _EIGHTH, key[1], force, why))
    return notes


def _mark(brief: Brief, free_q: Fraction, stroke: Stroke, strokes: Strokes) -> None:
    """A kick inside the time-keeping: marked with bass drum and snare, or crash where it is long.

    Nothing else is marked from `free_q` on.
    """
    plan = _plan_at(brief, stroke.start_q)
    base = loudness(plan.level)
    at = stroke.start_q
    _prepare(brief, free_q, at, strokes)
    long = stroke.end_q - at >= 1 and plan.level >= 2.0
    if long:
        for cymbal in CYMBALS:
            strokes.pop((at, cymbal), None)
    top = "crash" if long else "snare"
    strokes[at, top] = (base * 1.08, with_the_band(stroke))
    strokes[at, "kick"] = (base * 1.05, with_the_band(stroke))


def _prepare(brief: Brief, free_q: Fraction, at: Fraction, strokes: Strokes) -> None:
    """Set up a hit in the time free before it."""
    plan = _plan_at(brief, at)
    bar = brief.bars[_bar_index(brief, at)]
    shift = shift_q(bar)
    starts = [shift + p for p, _ in beats(bar.meter)]
    room = min(at - free_q, at - brief.start_q)
    for hit in set_up(at, room, plan.level, starts):
        if hit.at_q >= brief.start_q:
            strokes[hit.at_q, hit.drum] = (loudness(plan.level) * hit.force, hit.why)


def _struck(brief: Brief, stroke: Stroke) -> list[Note]:
    """A stroke of the whole band: short with the snare, long with a crash, left to ring with one cymbal."""
    plan = _plan_at(brief, stroke.start_q)
    base = loudness(plan.level)
    why = with_the_band(stroke)
    length = stroke.end_q - stroke.start_q
    soft = plan.level < 2.0
    drums: Sequence[tuple[str, float]]
    if stroke.kind in _LEFT_TO_RING and length > 1:
        drums = (("ride" if soft else "crash", 0.95), ("kick", 0.9))
    elif length >= 1 and not soft:
        drums = (("crash", 1.1), ("kick", 1.08))
    else:
        drums = (("snare", 1.05), ("kick", 1.05))
    return [
        _note(stroke.start_q, stroke.end_q, drum, base * force, why)._replace(strict=True)
        for drum, force in drums
    ]


def _bar_index(brief: Brief, at: Fraction) -> int:
    return max(0, bisect_right(brief.bars, at, key=_start) - 1)


def _start(bar: PlayedBar) -> Fraction:
    return bar.start_q


def _plan_at(brief: Brief, at: Fraction) -> BarPlan:
    return brief.plans[_bar_index(brief, at)]


def _note(at: Fraction, end: Fraction, drum: str, force: float, why: Why) -> Note:
    return Note(at, end, DRUM_KEYS[drum], velocity(force), why)


def _choked(notes: Sequence[Note]) -> list[Note]:
    """Notes cut where another member of their group is struck; one drum sounds once at a time."""
    groups = {DRUM_KEYS[name]: n for n, group in enumerate(CHOKE_GROUPS) for name in group}
    following: dict[int, Fraction] = {}  # group, or minus the key
    made: list[Note] = []
    for note in reversed(notes):
        group = groups.get(note.pitch, -note.pitch)
        after = following.get(group)
        if after is not None and note.start_q < after < note.end_q:
            note = note._replace(end_q=after)
        following[group] = note.start_q
        made.append(note)
    made.reverse()
    return made
