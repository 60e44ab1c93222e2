"""Guitar: strummed, plucked or damped, every chord a grip that a hand can hold.

Grips come from a search over the section: the way of the hand, the voices and the top note together cost least.
Strokes come from the patterns: down (from the lowest string) and up (from the highest, mostly the high strings), muted
strokes, single strings for finger-picking, bass strings.

Conventions: strings count from 1 (highest) to 6, frets above the nut or capo; `spread_ms` lies between neighbouring
strings of a stroke. With a bass player no string sounds below the bass where a grip allows it (common practice).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from backing.band.model import Kind, Note, Why, note_order
from backing.band.players.chordal import (
    MOVES_ON,
    NEAR_TIE,
    RESTLESS,
    TOP_HELD,
    UNMOVED,
    Step,
    bar_of,
    families,
    steps,
)
from backing.band.players.common import Brief
from backing.band.players.rhythm import Event, strokes
from backing.band.players.strings import nearest_string, on_string, strings_over, thumbed
from backing.band.players.touch import broken, sounding_end, unheard, velocity
from backing.ground.pitch import Degree, Key
from backing.harmony.families import VOICES
from backing.harmony.grip import HIGHEST_FRET, Grip, playable
from backing.harmony.grips import Grips, grips, shifts
from backing.harmony.search import best_path, jitter
from backing.harmony.symbol import Chord

BURIED = 5.0  # against a grip whose third or seventh a strum over a high bass would leave out
OVER_MELODY = 1.0  # against a grip whose top lies over the melody
OUTSIDE = 4.0  # against every note outside the register that a style asks for
UNROCKED = 2.0  # against a grip from which a rocking hand cannot reach the sixth
FULL_STRINGS = 2  # of a stroke that leaves out low strings
UP_STRINGS = 4  # an upstroke mostly takes the high strings
CHUCK_Q = Fraction(1, 12)  # what is heard of a muted stroke
DAMPED_Q = Fraction(3, 8)  # of a stroke whose strings are damped at once
SPREAD_MS = {"p": 14.0, "mf": 10.0, "f": 8.0}
_SINGLE = frozenset((Kind.PLUCKED, Kind.THUMB))
PLUCK_MS = 3.0  # fingers that pluck together never quite do


class Held(NamedTuple):
    """A chosen grip, what the hand does in words, and the colours that the band may add to the chord."""

    grip: Grip
    words: str
    colours: tuple[Degree, ...] = ()


def tuning(brief: Brief) -> tuple[int, ...]:
    """What the open strings sound without the capo."""
    return tuple(t + brief.timeline.tuned for t in brief.part.kind.strings)


def hold(brief: Brief, under: Mapping[int, int] = MappingProxyType({})) -> dict[int, Held]:
    """The grip for every change (by its index) and for the change after the section.

    `under` holds the highest bass note that sounds with strokes of a change.
    """
    found = steps(brief)
    if not found:
        return {}
    family = families(brief.part)
    strings, capo = tuning(brief), brief.timeline.capo
    offers: list[Grips] = []
    nodes: list[list[float]] = []
    for step in found:
        kind = family[step.level]
        lowest = -(-step.bass // 3) * 3 if step.bass > strings[0] + capo else 0
        if kind in ("open", "power"):  # low strings too, down to the note of the bass
            lowest = step.bass_inside if lowest and kind == "power" else 0
        if kind == "power":  # too few strings to leave one out under an early stroke
            lowest = max(lowest, under.get(step.change.index, 0))
        added = () if kind in ("open", "power", "triads") else step.colours
        full = kind == "power" and step.level == "f"  # with the octave
        offer = grips(step.chord, added, kind, VOICES[kind] + full, strings, capo, lowest)
        offers.append(offer)
        own = _own_costs(brief, step, kind, offer)
        nodes.append(own)
    edges = []
    for a, b, last, step in zip(offers, offers[1:], found, found[1:], strict=False):
        strummed = family[step.level] in ("open", "power")
        top = 0.0 if step.fast or strummed else TOP_HELD * MOVES_ON if step.turns else TOP_HELD
        weight = 1.5 if step.fast else 1.0
        edges.append(_edges(a, b, weight, step.restless, strummed, last.chord != step.chord, top))
    path = best_path(nodes, edges)
    made: dict[int, Held] = {}
    before: Grip | None = None
    for step, offer, at in zip(found, offers, path, strict=True):
        grip = offer.grips[at]
        made[step.change.index] = Held(grip, _words(before, grip), step.colours)
        before = grip
    return made


def _own_costs(brief: Brief, step: Step, kind: str, offer: Grips) -> list[float]:
    """What each grip of a chord costs here, by itself."""
    place = (bar_of(brief, step.change), str(step.change.start_q - brief.start_q))
    settled = step.fast or kind in ("open", "power")  # a strumming hand takes the shape it knows
    near_tie = 0.1 if settled else NEAR_TIE
    chance = jitter(brief.place.roll("grip", *place), len(offer.grips), near_tie)
    buried = kind == "open" and step.bass_inside > tuning(brief)[0] + brief.timeline.capo
    rocking, (low, high) = rocks(brief), register(brief)
    costs = []
    for grip, cost, roll in zip(offer.grips, offer.costs, chance, strict=True):
        own = cost + roll
        if rocking and _sixth(step.chord, grip) is None:
            own += UNROCKED
        if buried:
            own += _buried(step.chord, grip, step.bass_inside)
        if step.melody and grip.pitches[-1] > min(step.melody):
            own += OVER_MELODY
        costs.append(own + OUTSIDE * sum(not low <= p <= high for p in grip.pitches))
    return costs


def register(brief: Brief) -> tuple[int, int]:
    """Lowest and highest note: those of the part, where it narrows what its strings can play."""
    part = brief.part
    low = part.low if part.low > part.instrument.low else 0
    return low, part.high if part.high < part.instrument.high else 127


def rocks(brief: Brief) -> bool:
    """Whether the part rocks between fifth and sixth, a colour that plain playing leaves out."""
    return brief.part.flag("rocks") and brief.colour


def _rocking(brief: Brief, events: Sequence[Event]) -> frozenset[Fraction]:
    """Places of the strokes on every other beat, where a chord is struck on the beat before as well."""
    struck = {event.start_q for event in events}
    found = set()
    for event in events:
        bar = brief.bars[event.bar]
        beat_q = bar.meter.beat_q
        number = (event.start_q - bar.start_q) // beat_q
        beat = bar.start_q + number * beat_q
        ahead = event.start_q < event.change.start_q
        if number % 2 and not ahead and {beat, beat - beat_q} <= struck:
            found.add(event.start_q)
    return frozenset(found)


@lru_cache(maxsize=4096)
def _buried(chord: Chord, grip: Grip, bass: int) -> float:
    """Against a grip of which what must sound lies under the bass, where a strum leaves strings out."""
    over = {on_string(grip, string)[1] for string in strings_over(grip, bass, FULL_STRINGS)}
    return BURIED if unheard(chord, over) else 0.0


@lru_cache(maxsize=1024)
def _sixth(chord: Chord, grip: Grip) -> Grip | None:
    """Root and fifth with the fifth raised to the sixth, where the chord has both and the hand can reach it.

    The root lies on the sixth, fifth or fourth string and the fifth on the next one, where the little finger reaches two
    frets up (common practice of the shuffle).
    """
    names = {d.name for d in chord.degrees}
    if chord.family not in ("major", "dominant") or "5" not in names or {"b13", "b6"} & names:
        return None
    root = 6 - grip.strings[0]
    if (
        set(grip.degrees) != {"", "1", "5"}
        or root > 2
        or grip.degrees[root : root + 2] != ("1", "5")
    ):
        return None
    at = root + 1
    frets, degrees = list(grip.frets), list(grip.degrees)
    frets[at], degrees[at] = frets[at] + 2, "6"
    raised = Grip(tuple(frets), grip.tuning, tuple(degrees), "root and sixth", grip.cost, grip.capo)
    return raised if frets[at] <= HIGHEST_FRET and playable(frets, grip.capo) else None


def _rocked(chord: Chord, chosen: Held) -> Held:
    grip = _sixth(chord, chosen.grip)
    return (
        chosen
        if grip is None
        else chosen._replace(grip=grip, words=f"{chosen.words}, rocking to the sixth")
    )


@lru_cache(maxsize=2048)
def _edges(
    a: Grips, b: Grips, weight: float, restless: bool, strummed: bool, changes: bool, held: float
) -> tuple[tuple[float, ...], ...]:
    """`shifts`, weighed, with what `chordal` says against a chord that stays and a top note that never moves."""
    made = [[weight * cost for cost in column] for column in shifts(a, b, strummed)]
    if restless and not strummed and a is b:
        for i, column in enumerate(made):
            column[i] += RESTLESS
    if changes and not strummed:
        for after, column in zip(b.grips, made, strict=True):
            for i, before in enumerate(a.grips):
                if before.pitches[-1] == after.pitches[-1]:
                    column[i] += UNMOVED if before.pitches == after.pitches else held
    return tuple(map(tuple, made))


@lru_cache(maxsize=8192)
def _words(before: Grip | None, grip: Grip) -> str:
    if before is None or before.frets == grip.frets:
        return f"{grip.shape}, {grip.name}"
    way = grip.position - before.position
    if way == 0:
        return f"{grip.shape}, {grip.name}, hand stays"
    frets = "fret" if abs(way) == 1 else "frets"
    return f"{grip.shape}, {grip.name}, hand {'up' if way > 0 else 'down'} {abs(way)} {frets}"


def play(brief: Brief) -> list[Note]:
    """The guitar's notes of one section."""
    events = strokes(brief, ("chord", "bass"))
    basses = _basses(brief, events)
    under: dict[int, int] = {}
    for event, low in zip(events, basses, strict=True):
        under[event.change.index] = max(low, under.get(event.change.index, 0))
    held = hold(brief, under)
    singles = broken(events)
    damped = brief.part.flag("muted")
    rocking = _rocking(brief, events) if rocks(brief) else frozenset()
    own_spread = brief.part.number("spread_ms")
    fretted = {event.start_q: event.change.index for event in events if event.line == "chord"}
    notes: list[Note] = []
    pinched: set[int] = set()
    rooted: Chord | None = None  # the chord that the thumb has begun
    begun: set[int] = set()
    for event, low in zip(events, basses, strict=True):
        index = event.change.index
        chosen = held.get(index)
        if chosen is None:
            continue
        if event.line == "bass":
            if fretted.get(event.start_q, index) != index:
                continue  # the hand has gone on to the chord to come
            key = brief.bars[event.bar].key
            notes.append(_thumb(event, chosen, event.chord != rooted, low, key))
            rooted = event.chord
        elif event.mark.isdigit():
            together: tuple[int, ...] = ()
            if index in singles and index not in pinched:
                pinched.add(index)
                together = _needed(event.chord, chosen.grip, singles[index])
            notes += _plucked(event, chosen, together, index not in begun, low)
            begun.add(index)
        else:
            if event.start_q in rocking:
                chosen = _rocked(event.chord, chosen)
            notes += _stroke(event, chosen, damped, own_spread, low)
    return _ringing(notes, events, damped)


def _basses(brief: Brief, events: Sequence[Event]) -> list[int]:
    """The bass note that sounds when each event begins; 0 where none does."""
    bass = brief.heard.get("bass", ())
    starts = [float(note.start_q) for note in bass]  # equal places are equal floats
    made = []
    for event in events:
        at = bisect_right(starts, float(event.start_q)) - 1
        made.append(bass[at].pitch if at >= 0 and bass[at].end_q > event.start_q else 0)
    return made


def _stroke(event: Event, chosen: Held, damped: bool, own_spread: float, bass: int) -> list[Note]:
    """All strings, or the high ones going up, one after another.

    A stroke ahead of its chord meets the bass of the chord before: strings under `bass` rest where two others sound.
    """
    grip = chosen.grip
    strings = strings_over(grip, bass, FULL_STRINGS)
    mark = event.mark
    up = mark in "uU"
    if up and len(strings) > UP_STRINGS:
        strings = strings[-UP_STRINGS:]
    order = strings[::-1] if up else strings
    band = "p" if event.plan.level < 2 else "mf" if event.plan.level < 3.75 else "f"
    between = own_spread or SPREAD_MS[band]
    if mark in "xXg" and not event.strict:
        between = own_spread if own_spread else PLUCK_MS
    word = {
        "u": "upstroke",
        "U": "upstroke",
        "d": "downstroke",
        "D": "downstroke",
        "m": "muted stroke",
    }
    stroke = word.get(mark, "plucked together" if not event.strict else "downstroke")
    why = event.why.also(f", {stroke}; {chosen.words}")
    loud = velocity(event)
    made = []
    for i, string in enumerate(order):
        pitch, degree, fret = on_string(grip, string)
        if mark == "m":
            end = min(event.end_q, event.start_q + CHUCK_Q)
        else:
            end = sounding_end(event, pitch)
            if damped:
                end = min(end, event.start_q + DAMPED_Q)
        made.append(
            Note(
                event.start_q, end, pitch, max(10, loud - 2 * i if not up else loud - i), why, degree,
                event.change.index, i, between if len(order) > 1 else 0.0, event.strict, string, fret,
            )
        )  # fmt: skip
    return made


def _needed(chord: Chord, grip: Grip, marks: frozenset[str]) -> tuple[int, ...]:
    """The strings that hold what must be heard of the chord and no single stroke brings."""
    heard = {on_string(grip, nearest_string(grip, int(mark)))[1] for mark in marks}
    missing = unheard(chord, heard)
    return tuple(s for s in grip.strings if on_string(grip, s)[1] in missing)


def _plucked(
    event: Event, chosen: Held, together: tuple[int, ...], thumb: bool, bass: int
) -> list[Note]:
    """One string, and with it those that a chord too short to be broken needs.

    With `thumb`, at the start of a chord, a low string means the grip's lowest note over `bass`.
    """
    wanted = int(event.mark)
    free = strings_over(chosen.grip, bass, FULL_STRINGS)
    first = free[0] if thumb and wanted > 3 else min(free, key=lambda s: (abs(s - wanted), s))
    together = tuple(s for s in together if s in free)
    strings = sorted({first, *together}, reverse=True)
    how = "finger-picked" if not together else "plucked together, so that the chord is heard"
    why = Why(Kind.PLUCKED, f"{event.why.words}, {how}; {chosen.words}")
    made = []
    for i, string in enumerate(strings):
        pitch, degree, fret = on_string(chosen.grip, string)
        made.append(
            Note(
                event.start_q, sounding_end(event, pitch), pitch, velocity(event), why, degree,
                event.change.index, i, PLUCK_MS if len(strings) > 1 else 0.0, event.strict, string, fret,
            )
        )  # fmt: skip
    return made


def _thumb(event: Event, chosen: Held, first: bool, bass: int, key: Key) -> Note:
    """A note of the thumb; `first` under a new chord."""
    string, fret, pitch, degree = thumbed(event, chosen.grip, first, bass, key, chosen.colours)
    return Note(
        event.start_q, sounding_end(event, pitch), pitch, velocity(event) + 4,
        Why(Kind.THUMB, f"{event.why.words}, bass string; {chosen.words}"), degree, event.change.index, 0, 0.0,
        event.strict, string, fret,
    )  # fmt: skip


def _ringing(notes: list[Note], events: tuple[Event, ...], damped: bool) -> list[Note]:
    """Plucked strings ring until they are plucked again, the harmony changes or silence falls; none sounds twice."""
    limits = {}
    for event in events:
        if event.mark.isdigit() or event.line == "bass":
            limits[(event.start_q, event.change.index)] = min(event.harmony_q, event.limit_q)
    notes.sort(key=note_order)
    following: dict[int, Fraction] = {}
    made = []
    for note in reversed(notes):
        if following.get(note.string) == note.start_q:
            continue  # the thumb has it
        end = note.end_q
        if note.why.kind in _SINGLE and not damped:
            end = max(end, limits.get((note.start_q, note.chord), end))
        after = following.get(note.string)
        if after is not None and after > note.start_q:
            end = min(end, after)
        following[note.string] = note.start_q
        made.append(note if end == note.end_q else _ending(note, end))
    made.reverse()
    return made


def _ending(note: Note, end: Fraction) -> Note:
    return Note(
        note.start_q, end, note.pitch, note.velocity, note.why, note.degree, note.chord, note.order,
        note.spread_ms, note.strict, note.string, note.fret,
    )  # fmt: skip
