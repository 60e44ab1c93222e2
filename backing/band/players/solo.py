"""The solo guitar: the written tune and its chords on one guitar.

A chord is struck under the tune where the harmony changes, and in the full manner on the strong beats that the tune
marks; what lies between is the tune alone, within reach of the hand. Inner notes ring until the hand has to let go, until
the tune comes down to them, or until the harmony changes. Without a bass player the written bass is the lowest note.

Conventions: strings count from 1 (highest), frets above the capo; pitches are MIDI notes.
Source: chord melody on the guitar (common practice); the search is `harmony.solo_way`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Kind, Note, Why, note_order
from backing.band.players.chordal import steps
from backing.band.players.common import Brief, Change, ZoneKind
from backing.band.players.solo_tune import Sung, sung
from backing.ground.errors import ArrangementError
from backing.ground.pitch import Degree
from backing.ground.tunings import open_strings
from backing.harmony.solo_grips import MANNERS, Stroke
from backing.harmony.solo_way import Hands, Place, explained, reachable, way
from backing.harmony.strummed import degree_over

FRESH_Q = Fraction(2)  # since the last stroke, after which a strong beat of the tune gets one too
FILLED_Q = Fraction(2)  # a stroke that stands so long is broken up
TUNE, BASS, INNER = 0, -22, -34  # velocity beside the tune's, which sings 4 to 8 dB over the rest
SOFTER = -8  # of an inner voice that is plucked again
ROLL_MS = 9.0  # between the strings of a chord that is plucked by thumb and fingers


class Event(NamedTuple):
    """One place with what it is about: the tune's note that sounds there, the chord that is struck or goes on."""

    at_q: Fraction
    place: Place
    note: Sung | None
    change: Change


def play(brief: Brief) -> list[Note]:
    """The solo guitar's notes of one section. Raises `ArrangementError` for a note that no string has."""
    timeline = brief.timeline
    strings = tuple(s + timeline.tuned for s in open_strings(timeline.tuning))
    hands = Hands(strings, timeline.capo, timeline.chord_melody or "full")
    found = events(brief, hands)
    try:
        held = way([event.place for event in found], hands)
    except ValueError as wrong:
        raise ArrangementError(
            f"the solo guitar cannot play section {brief.section.name}: {wrong}"
        ) from None
    return sorted([*_tune(brief, found, held), *_under(brief, found, held, hands)], key=note_order)


def events(brief: Brief, hands: Hands) -> list[Event]:
    """Every place of a section at which the hand plays, in order of time."""
    whole = sung(brief.timeline.melody, hands.tuning, hands.capo, easy=MANNERS[hands.manner].easy)
    first = bisect_right(whole, brief.start_q, key=lambda n: n.end_q)
    tune = [n for n in whole[first:] if brief.start_q <= n.start_q < brief.end_q]
    tune = [n for n in tune if brief.zone_at(n.start_q).kind is not ZoneKind.SILENT]
    struck = _struck(brief, tune, hands.manner)
    starts = {n.start_q: n for n in tune}
    colours = {s.change.index: s.colours for s in steps(brief)}
    times = sorted({*struck, *starts})
    made = []
    for at_q, next_q in zip(times, [*times[1:], brief.end_q], strict=True):
        note = starts.get(at_q) or next((n for n in tune if n.start_q < at_q < n.end_q), None)
        change = brief.change_at(at_q)
        place = Place(
            pitch=None if note is None else note.pitch,
            held=note is not None and note.start_q < at_q,
            length_q=float(next_q - at_q),
        )
        if at_q in struck:
            place = _chorded(brief, place, change, at_q, tune, colours.get(change.index, ()))
        if place.chord is not None or (note is not None and note.start_q == at_q):
            made.append(Event(at_q, place, note, change))
    return made


def _chorded(
    brief: Brief,
    place: Place,
    change: Change,
    at_q: Fraction,
    tune: Sequence[Sung],
    colours: tuple[Degree, ...],
) -> Place:
    """A place with the chord that is struck there, and what binds it."""
    bass = brief.heard.get("bass", ())
    coming = next((n.pitch for n in tune if n.start_q > at_q), 76)
    easy = brief.timeline.chord_melody != "full"
    return place._replace(
        chord=change.span.chord,
        colours=() if easy else colours,
        alone="bass" not in brief.heard,
        at=brief.timeline.bar_at(at_q).hand,
        floor=next((n.pitch for n in bass if n.start_q <= at_q < n.end_q), 0),
        ceiling=min(76, coming),
        grip=change.span.grip,
    )


def _struck(brief: Brief, tune: Sequence[Sung], manner: str) -> set[Fraction]:
    """Where chords are struck: at changes, at strokes of the band, and on strong beats of a tune that goes on."""
    found: set[Fraction] = set()
    for zone in brief.zones:
        if zone.kind is ZoneKind.STRUCK:
            found |= {stroke.start_q for stroke in zone.strokes}
        elif zone.kind is not ZoneKind.SILENT:
            found |= {
                max(c.start_q, zone.start_q)
                for c in brief.changes
                if (zone.start_q <= c.start_q < zone.end_q and not c.span.held)
                or c.start_q < zone.start_q < c.end_q
            }
    if manner == "full":
        found |= set(_strong(brief, tune, sorted(found)))
    return {q for q in found if brief.change_at(q).span.chord is not None}


def _strong(brief: Brief, tune: Sequence[Sung], struck: Sequence[Fraction]) -> Iterator[Fraction]:
    """Notes of the tune on the bar line or a group of it, where no chord was struck for long."""
    starts = {n.start_q for n in tune}
    last = brief.start_q - FRESH_Q
    for bar in brief.bars:
        for group in bar.meter.group_starts_q:
            at_q = bar.start_q + group
            before = bisect_right(struck, at_q) - 1
            last = max(last, struck[before]) if before >= 0 else last
            after = struck[before + 1] if before + 1 < len(struck) else brief.end_q
            free = brief.zone_at(at_q).kind in (ZoneKind.TIME, ZoneKind.KICKS)
            if at_q in starts and free and at_q - last >= FRESH_Q and after - at_q >= 1:
                last = at_q
                yield at_q


def _loud(brief: Brief, at_q: Fraction) -> int:
    bar = max(0, bisect_right(brief.bars, at_q, key=lambda b: b.start_q) - 1)
    return round(62 + 10 * brief.plans[bar].level)


def _tune(brief: Brief, found: Sequence[Event], held: Sequence[Stroke]) -> Iterator[Note]:
    """The tune's own notes; one that has to change its string under a new chord is struck again there."""
    for i, (event, stroke) in enumerate(zip(found, held, strict=True)):
        note = event.note
        if note is None or not stroke.top:
            continue
        if event.place.held and i and _same_string(held[i - 1], stroke):
            continue
        end = min(note.end_q, brief.end_q)
        for after, other in zip(found[i + 1 :], held[i + 1 :], strict=True):
            if after.at_q >= end:
                break
            if after.note is note and not _same_string(stroke, other):
                end = after.at_q
                break
        chord = event.change.span.chord
        degree = degree_over(chord, note.pitch % 12).name if chord else ""
        why = f"the written tune{note.words}; {explained(event.place, stroke, held[i - 1] if i else None)}"
        string = stroke.top
        yield Note(
            event.at_q, end, note.pitch, min(127, _loud(brief, event.at_q) + TUNE), Why(Kind.MELODY, why.rstrip("; ")),
            degree, event.change.index, string=string, fret=stroke.frets[6 - string],
        )  # fmt: skip


def _same_string(a: Stroke, b: Stroke) -> bool:
    return a.top == b.top and a.frets[6 - a.top] == b.frets[6 - b.top]


def _under(
    brief: Brief, found: Sequence[Event], held: Sequence[Stroke], hands: Hands
) -> Iterator[Note]:
    """What sounds under the tune: bass and inner voices of every stroke, and again where it stands long."""
    filled = hands.manner == "full" and brief.place.chance(0.75, "filled")
    for i, (event, stroke) in enumerate(zip(found, held, strict=True)):
        if event.place.chord is None or (len(stroke.pitches) < 2 and stroke.top):
            continue
        voices = [s for s in range(6, 0, -1) if stroke.frets[6 - s] >= 0 and s != stroke.top]
        again = _again(brief, found, i) if filled and len(voices) > 1 else []
        for order, string in enumerate(voices):
            until = _until(brief, found, held, i, string, hands)
            low = order == 0 and event.place.alone
            loud = max(12, _loud(brief, event.at_q) + (BASS if low else INNER))
            kind = Kind.THUMB if low else Kind.PLUCKED
            told = "the written bass" if low else "under the tune"
            note = Note(
                event.at_q, until, hands.tuning[6 - string] + hands.capo + stroke.frets[6 - string],
                loud, Why(kind, told), stroke.degrees[6 - string], event.change.index,
                order, ROLL_MS if len(voices) > 2 else 0.0, string=string, fret=stroke.frets[6 - string],
            )  # fmt: skip
            yield from [note] if low or not again else _plucked_again(note, again)


def _plucked_again(note: Note, again: Sequence[Fraction]) -> Iterator[Note]:
    """A note struck once more at each of some places before its end."""
    inside = [q for q in again if q < note.end_q]
    for start, end in zip([note.start_q, *inside], [*inside, note.end_q], strict=True):
        if start == note.start_q:
            yield note._replace(end_q=end)
        else:
            yield note._replace(
                start_q=start,
                end_q=end,
                velocity=max(12, note.velocity + SOFTER),
                why=note.why.also(", plucked again under the long note"),
            )


def _again(brief: Brief, found: Sequence[Event], i: int) -> list[Fraction]:
    """The beats on which the inner voices of a stroke that stands long are plucked again."""
    start = found[i].at_q
    end = found[i + 1].at_q if i + 1 < len(found) else brief.end_q
    if end - start < FILLED_Q or brief.zone_at(start).kind is ZoneKind.STRUCK:
        return []
    bar = brief.timeline.bar_at(start)
    return [bar.start_q + q for q in bar.meter.pulse_starts_q if start < bar.start_q + q < end]


def _until(
    brief: Brief,
    found: Sequence[Event],
    held: Sequence[Stroke],
    i: int,
    string: int,
    hands: Hands,
) -> Fraction:
    """How long a note under the tune rings: to the next stroke, or until the hand or the tune needs the place."""
    stroke = held[i]
    fret = stroke.frets[6 - string]
    pitch = hands.tuning[6 - string] + hands.capo + fret
    zone = brief.zone_at(found[i].at_q)
    end = _harmony_end(brief, found[i].change)
    if zone.kind is ZoneKind.STRUCK:
        end = min([end, *(s.end_q for s in zone.strokes if s.start_q <= found[i].at_q < s.end_q)])
    for event, other in zip(found[i + 1 :], held[i + 1 :], strict=True):
        if event.at_q >= end:
            break
        taken = other.frets[6 - string] >= 0 or (
            fret > 0 and not reachable(stroke, other, hands.capo)
        )
        sung_ = other.pitches[-1] if event.note is not None else 127
        if event.place.chord is not None or taken or sung_ <= pitch:
            return event.at_q
    return end


def _harmony_end(brief: Brief, change: Change) -> Fraction:
    """Where a chord stops being heard: at silence, at N.C., at the section's end."""
    end = brief.end_q
    for other in brief.changes:
        if other.start_q > change.start_q and other.span.chord is None:
            end = min(end, other.start_q)
    for zone in brief.zones:
        if zone.kind is ZoneKind.SILENT and zone.start_q > change.start_q:
            end = min(end, zone.start_q)
    return end


__all__ = ["events", "play"]
