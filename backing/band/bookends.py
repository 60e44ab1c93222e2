"""How a style's own band begins and ends: what is played in the count-in, and the rhythm of the last chord.

Conventions: the count-in lies before 0. What is struck in it takes the place of the click in the bars that it fills, and
is swung with the band. Source: a drummer's pick-up into the first bar, a short last chord behind a rest (common practice).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from backing.band.model import Kind, Note, Why
from backing.band.players.click import CountIn
from backing.band.players.common import Stroke, Zone
from backing.band.players.patterns.lay import Beat, strokes
from backing.band.players.pulses import loudness, velocity
from backing.ground.dice import Place
from backing.ground.instruments import DRUM_KEYS
from backing.ground.timebase import Meter
from backing.styles.grid import fit, part_choices
from backing.styles.model import Part, Pattern, Style, Where
from backing.timeline.model import Timeline

_FORCE = {"X": 1.16, "g": 0.42}
_USUAL = 3.0  # the level of a count-in: mf


def counted_in(count: CountIn, timeline: Timeline, parts: Sequence[Part], seed: int) -> CountIn:
    """The count-in with what some players of the style play in its last bars, in place of the click."""
    if not count.bars:
        return count
    meter = timeline.bars[0].meter
    notes = list(count.notes)
    for part in parts:
        pattern = _pattern(part, meter, seed)
        if pattern is None:
            continue
        bars = min(pattern.bars, count.bars)
        begins = (count.bars - bars) * meter.length_q - count.length_q
        notes = [note for note in notes if note.start_q < begins or note.why.kind is Kind.PATTERN]
        for number in range(bars):
            bar = pattern.bars - bars + number
            notes += _struck(pattern, bar, begins + number * meter.length_q)
    return count._replace(notes=tuple(sorted(notes, key=lambda n: (n.start_q, n.pitch))))


def _pattern(part: Part, meter: Meter, seed: int) -> Pattern | None:
    if not any(p.where is Where.COUNT_IN for p in part.patterns):
        return None
    offers = part_choices(part, meter, "mf", Where.COUNT_IN)
    place = Place((seed, part.role, "count-in"))
    return place.pick(offers, [p.weight for p in offers], "pattern")


def _struck(pattern: Pattern, bar: int, begins: Fraction) -> Iterator[Note]:
    """The strokes of one bar before 0."""
    why = Why(Kind.PATTERN, f"count-in '{pattern.name}'")
    for drum, line in strokes(pattern, bar).items():
        for beat in line:
            at = begins + beat.at_q
            if at < 0:
                force = velocity(loudness(_USUAL) * _FORCE.get(beat.mark, 1.0))
                yield Note(at, at + Fraction(1, 8), DRUM_KEYS[drum], force, why)


def last_chord(style: Style, timeline: Timeline, zones: Sequence[Zone]) -> tuple[Zone, ...]:
    """The zones of the last section, with the last chord in the style's rhythm where nobody asked for another ending.

    A last chord that does not begin with its bar is struck once.
    """
    if style.last_chord is None or timeline.ending_asked:
        return tuple(zones)
    return tuple(
        zone._replace(strokes=_in_rhythm(style.last_chord, timeline, zone))
        if any(stroke.kind is Kind.LAST_CHORD for stroke in zone.strokes)
        else zone
        for zone in zones
    )


def _in_rhythm(pattern: Pattern, timeline: Timeline, zone: Zone) -> tuple[Stroke, ...]:
    bar = timeline.bar_at(zone.start_q)
    if bar.start_q != zone.start_q or bar.length_q != bar.meter.length_q:
        return zone.strokes
    here = strokes(fit(pattern, bar.meter), 0)["chord"]
    if not here:  # a shorter meter has none of its strokes
        return zone.strokes
    last_end = _rings_until(here, bar.meter.length_q, zone)
    found = [
        Stroke(zone.start_q + at, zone.start_q + at + length, Kind.LAST_CHORD)
        for at, length, _ in here
    ]
    return (*found[:-1], found[-1]._replace(end_q=last_end))


def _rings_until(here: Sequence[Beat], length_q: Fraction, zone: Zone) -> Fraction:
    """Where the last stroke ends: what is held to the end of the bar rings as long as the chord stands."""
    last = here[-1]
    return (
        zone.end_q
        if last.at_q + last.length_q >= length_q
        else zone.start_q + last.at_q + last.length_q
    )
