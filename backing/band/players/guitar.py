"""Guitar: strummed, plucked or damped, every chord a grip that a hand can hold.

Grips come from a search over the section: the way of the hand, the voices and the top note together cost least.
Strokes come from the patterns: down (from the lowest string) and up (from the highest, mostly the high strings), muted
strokes, single strings for finger-picking, bass strings; lines by degree are those of `runs`.

Conventions: strings count from 1 (highest) to 6, frets above the nut or capo; `spread_ms` lies between neighbouring
strings of a stroke. With a bass player no string sounds below the bass where a grip allows it (common practice).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from backing.band.model import Kind, Note, Why, note_order
from backing.band.players.common import Brief
from backing.band.players.flamenco import GOLPE, RASGUEADO, flamenco
from backing.band.players.fretting import (
    FULL_STRINGS,
    Held,
    drone_of,
    hold,
    rings,
    rocked,
    rocks,
)
from backing.band.players.listening import struck, undoubled, with_chords
from backing.band.players.rhythm import Event, strokes
from backing.band.players.runs import CHUCK_Q, run_notes
from backing.band.players.strings import (
    guiding,
    nearest,
    nearest_string,
    on_string,
    strings_over,
    thumbed,
)
from backing.band.players.touch import broken, moved, sounding_end, unheard, velocity
from backing.ground.pitch import Key
from backing.harmony.grip import Grip
from backing.harmony.grips import rubs
from backing.harmony.symbol import Chord
from backing.styles.marks import LINES, voices

UP_STRINGS = 4  # an upstroke mostly takes the high strings
DAMPED_Q = Fraction(3, 8)  # of a stroke whose strings are damped at once
SPREAD_MS = {"p": 14.0, "mf": 10.0, "f": 8.0}
_SINGLE = frozenset((Kind.PLUCKED, Kind.THUMB))
# What a string sounds rather than a stroke over it at the same place.
_FINGERED = frozenset((Kind.THUMB, Kind.LINE, Kind.HAMMERED, Kind.PULLED, Kind.SLID, Kind.DEAD))
PLUCK_MS = 3.0  # fingers that pluck together never quite do


def _rocking(brief: Brief, events: Sequence[Event]) -> dict[Fraction, str]:
    """What a rocking hand raises the fifth to, by the places of the strokes.

    The sixth on every other beat, where a chord is struck on the beat before as well; in every second bar it goes on up
    to the flat seventh on the beat between two sixths.
    """
    struck = {event.start_q for event in events}
    found = {}
    for event in events:
        bar = brief.bars[event.bar]
        beat_q = bar.meter.beat_q
        number = (event.start_q - bar.start_q) // beat_q
        beat = bar.start_q + number * beat_q
        if event.start_q < event.change.start_q or not {beat, beat - beat_q} <= struck:
            continue
        if number % 2:
            found[event.start_q] = "6"
        elif number and event.plan.phrase_bar % 2:
            found[event.start_q] = "b7"
    return found


def play(brief: Brief) -> list[Note]:
    """The guitar's notes of one section."""
    told = strokes(brief, ("chord", "bass", *LINES))
    events = tuple(event for event in told if event.line not in LINES)
    basses = _basses(brief, events)
    under: dict[int, int] = {}
    for event, low in zip(events, basses, strict=True):
        under[event.change.index] = max(low, under.get(event.change.index, 0))
    chords = struck(brief)
    strummed = [(e.start_q, e.change.index) for e in events if e.line == "chord" and not e.shift]
    held = hold(brief, under, with_chords(strummed, chords))
    singles = broken(events)
    thumbs = _thumbs(events)
    damped = brief.part.flag("muted")
    rocking = _rocking(brief, events) if rocks(brief) else {}
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
        elif voices(event.mark):
            together: tuple[int, ...] = ()
            if index in singles and index not in pinched:
                pinched.add(index)
                thumb = thumbs.get(index, frozenset())
                together = _needed(event.chord, chosen.grip, singles[index], thumb)
            notes += _plucked(event, chosen, together, index not in begun, low)
            begun.add(index)
        elif event.mark in (RASGUEADO, GOLPE):
            notes += flamenco(event, chosen.grip, chosen.words, low, brief.qpm)
        else:
            if event.start_q in rocking:
                chosen = rocked(event.chord, chosen, rocking[event.start_q])
            notes += moved(event, _stroke(event, chosen, damped, own_spread, low), brief.part)
    notes += run_notes(brief, told, held)
    return undoubled(_ringing(notes, events, damped, _drones(brief, events)), chords)


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
    if event.shell:
        strings = guiding(grip, strings)
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


def _thumbs(events: Sequence[Event]) -> dict[int, frozenset[str]]:
    """For every change the marks of the thumb."""
    found: dict[int, set[str]] = {}
    for event in events:
        if event.line == "bass":
            found.setdefault(event.change.index, set()).add(event.mark.strip("-!"))
    return {index: frozenset(marks) for index, marks in found.items()}


def _needed(
    chord: Chord, grip: Grip, marks: frozenset[str], thumb: frozenset[str]
) -> tuple[int, ...]:
    """The strings that hold what must be heard of the chord and neither a single stroke nor the thumb brings."""
    heard = {on_string(grip, nearest_string(grip, int(mark)))[1] for mark in marks}
    heard |= {degree.name for degree in chord.degrees if str(degree.number) in thumb}
    missing = unheard(chord, heard)
    return tuple(s for s in grip.strings if on_string(grip, s)[1] in missing)


def _plucked(
    event: Event, chosen: Held, together: tuple[int, ...], thumb: bool, bass: int
) -> list[Note]:
    """The strings that are named, and with them those that a chord too short to be broken needs.

    With `thumb`, at the start of a chord, a low string means the grip's lowest note over `bass`.
    """
    free = strings_over(chosen.grip, bass, FULL_STRINGS)
    named: list[int] = []
    for wanted in sorted(voices(event.mark), reverse=True):
        left = [s for s in free if s not in named] or free
        low = thumb and wanted > 3 and not named
        named.append(free[0] if low else nearest(left, wanted))
    together = tuple(s for s in together if s in free)
    strings = sorted({*named, *together}, reverse=True)
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


Drones = dict[tuple[Fraction, int], tuple[frozenset[int], Event]]


def _drones(brief: Brief, events: Sequence[Event]) -> Drones:
    """By the place and chord of a stroke: what drones there. A muted stroke damps it."""
    if not brief.part.word("drone"):
        return {}
    return {
        (event.start_q, event.change.index): (drone_of(brief, event.bar), event)
        for event in events
        if event.mark != "m" and not event.strict
    }


def _droned_to(note: Note, drones: Drones) -> Fraction:
    """Up to where a string rings on: through changes of chord, unless what comes next rubs against it."""
    drone, event = drones.get((note.start_q, note.chord), (frozenset[int](), None))
    if event is None or not rings(drone, note.pitch, note.fret):
        return note.end_q
    coming = event.following
    damped = coming is not None and rubs(note.pitch % 12, coming)
    return max(note.end_q, min(event.harmony_q, event.limit_q) if damped else event.limit_q)


def _ringing(
    notes: list[Note], events: tuple[Event, ...], damped: bool, drones: Drones
) -> list[Note]:
    """Plucked strings ring until they are plucked again, the harmony changes or silence falls; none sounds twice.

    Those that drone ring on over changes.
    """
    limits = {}
    for event in events:
        if voices(event.mark) or event.line == "bass":
            limits[(event.start_q, event.change.index)] = min(event.harmony_q, event.limit_q)
    notes.sort(key=lambda n: (n.start_q, n.why.kind in _FINGERED, n.pitch))
    following: dict[int, Fraction] = {}
    made = []
    for note in reversed(notes):
        if following.get(note.string) == note.start_q:
            continue  # a finger or the thumb has it
        end = _droned_to(note, drones) if drones else note.end_q
        if note.why.kind in _SINGLE and not damped:
            end = max(end, limits.get((note.start_q, note.chord), end))
        after = following.get(note.string)
        if after is not None and after > note.start_q:
            end = min(end, after)
        following[note.string] = note.start_q
        made.append(note if end == note.end_q else _ending(note, end))
    made.sort(key=note_order)
    return made


def _ending(note: Note, end: Fraction) -> Note:
    return Note(
        note.start_q, end, note.pitch, note.velocity, note.why, note.degree, note.chord, note.order,
        note.spread_ms, note.strict, note.string, note.fret,
    )  # fmt: skip
