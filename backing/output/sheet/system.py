"""One system: a typed line of music on its beat rule, laid out in chord sizes.

Conventions: y = 0 is the baseline of the chords, x = 0 the first bar line; what stands left of it is in the margin.
Widths follow time; each chord starts over its beat, and where chords are too wide for their time the rule gives way.
From the chords upwards stand rhythms, words and the brackets of endings; from the rule downwards the staff of a melody
and the words of the verses.
"""

from __future__ import annotations

import itertools
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType

from backing.chart.ast import Slot
from backing.ground.pitch import Key
from backing.ground.timebase import Meter
from backing.harmony.grip import Grip
from backing.harmony.grips import typed
from backing.output.sheet.cells import Cell, Part, Row
from backing.output.sheet.chord import Symbol, slot_symbol
from backing.output.sheet.grids import LABEL, WIDE
from backing.output.sheet.lyrics import VERSE, free_words, note_rooms
from backing.output.sheet.marks import BOLD, CAP, REGULAR, Mark, width
from backing.output.sheet.notes import note_room
from backing.output.sheet.staff import accidentals, meter_figures
from backing.output.sheet.values import Figure
from backing.output.symbols import PLAIN, Spelling

THIN, THICK = 0.045, 0.16
OVER = CAP + 0.1  # bar lines reach over the chords
UNDER = 0.26  # and under the rule
WORDS = 0.56  # over the bars
LEAST_BEAT = 0.28  # from tick to tick
SLASH_BEAT = 0.62  # and where beats are held by slashes
CLEAR = 0.36  # from the end of a chord to the next thing
LEAD = 0.34  # from a bar line to the first chord
REPEAT = 0.42  # dots of a repeat
BOX = 0.62  # name of a section
SIGNATURE = 0.6  # figures of a meter
GRID = 0.055  # of a point of a grip's diagram over a symbol
GRIP_WIDE = (LABEL + WIDE) * GRID
NOTHING: Mapping[str, Grip] = MappingProxyType({})
WIDEST_WORDS = 9.0  # words of a bar that are longer go on in a second row
RHYTHM = 0.8  # height of a staff that would fit the notes of a rhythm


@dataclass(frozen=True, slots=True)
class Look:
    """What all systems of a sheet share. `rule` is how far the beat rule lies below the chords, `grips` stand over the
    symbols that they are named by, `names` is the size of the names of sections."""

    spelling: Spelling = PLAIN
    rule: float = 0.42
    staff: float = 1.0
    grips: Mapping[str, Grip] = field(default_factory=dict)
    names: float = BOX


@dataclass(frozen=True, slots=True)
class Measured:
    """A bar with the room that it needs: before the first chord, for each part cut at every onset, after the last."""

    cell: Cell
    lead: float
    onsets: tuple[
        tuple[tuple[Fraction, float], ...], ...
    ]  # of each part: places and the room until the next
    rooms: tuple[float, ...]  # of each part
    tail: float
    total: float
    signed: float = 0.0  # for the figures of a meter on its staff


@dataclass(frozen=True, slots=True)
class Set:
    """A bar in its place: where its bar lines are, and the way from time to x."""

    cell: Cell
    x0: float
    x1: float
    start: float  # behind repeat dots and figures of the meter
    times: tuple[float, ...]
    xs: tuple[float, ...]

    def at(self, q: Fraction) -> float:
        """The x of a time of this bar."""
        time = float(q)
        i = min(max(bisect_right(self.times, time) - 1, 0), len(self.times) - 2)
        t0, t1 = self.times[i], self.times[i + 1]
        return self.xs[i] + (self.xs[i + 1] - self.xs[i]) * (time - t0) / (t1 - t0)


@dataclass(frozen=True, slots=True)
class System:
    """Marks of a system in chord sizes, how far it reaches over and under the baseline of its chords."""

    marks: tuple[Mark, ...]
    ascent: float
    descent: float


def part_symbol(part: Part, look: Look) -> Symbol | None:
    """The chord symbol of a part."""
    slot: Slot | None = part.slot
    return slot_symbol(slot, look.spelling) if slot is not None else None


def part_grip(part: Part, look: Look) -> Grip | None:
    """The grip that stands over a part: the one that is typed there, else the one that is chosen for its chord."""
    slot = part.slot
    if slot is None or slot.chord is None or slot.held:
        return None
    known = look.grips.get(slot.chord.symbol)
    if known is None or not slot.grip:
        return known
    return typed(slot.chord, slot.grip, known.tuning).grips[0]


def signature_width(meter: Meter | None, staff: float = 0.0) -> float:
    """The figures of a new meter with the gap behind them, on a staff of that height or over the rule."""
    if meter is None:
        return 0.0
    if staff:
        return meter_figures(meter, staff)[1] + 0.3 * staff
    return max(width(str(n), BOLD, SIGNATURE) for n in (meter.count, meter.unit)) + 0.3


def measure(cell: Cell, look: Look, key: Key, staffed: bool = False) -> Measured:
    """The room that a bar needs, in chord sizes; one of a line that has a staff shows its meter there."""
    signed = signature_width(cell.shown_meter, look.staff if staffed else 0.0)
    lead = (LEAD if cell.opens else 0.1) + signed
    lead += REPEAT if cell.repeat_starts else 0.0
    signs = accidentals(cell.melody, key)
    if signs and signs[0]:
        lead += 0.2 * look.staff
    onsets = []
    rooms = []
    words_room = note_rooms(cell, look.staff)
    notes = [(f, s, look.staff) for f, s in zip(cell.melody, signs, strict=True)]
    notes += [(f, "", RHYTHM) for _, figures in cell.rows for f in figures]
    for part in cell.parts:
        inside = within(notes, part, words_room)
        symbol = part_symbol(part, look)
        least = symbol.width + CLEAR if symbol else 0.45
        if part_grip(part, look) is not None:
            least = max(least, GRIP_WIDE + CLEAR)
        beats = float(part.length_q / cell.bar.meter.beat_q)
        held = any(part.start_q < t < part.start_q + part.length_q for t in cell.slashes)
        least = max(least, (SLASH_BEAT if held else LEAST_BEAT) * beats)
        if part.slot is not None and part.slot.ring:
            least = max(least, 1.0)
        onsets.append(tuple(inside))
        rooms.append(max(least, sum(room for _, room in inside)))
    tail = REPEAT if cell.bar.times and cell.closes else 0.0
    verses = [free_words(cell, verse, look.staff) for verse in range(len(cell.bar.words))]
    words = max((width(w, REGULAR, VERSE) for w in verses), default=0.0)
    words = min(lead + words + 0.3, WIDEST_WORDS) if words and cell.opens else 0.0
    total = max(lead + sum(rooms) + tail, words)
    if cell.bar.simile:
        total = max(total, lead + tail + 1.4)
    return Measured(
        cell, lead, tuple(onsets), tuple(rooms), tail, total, signed if staffed else 0.0
    )


def within(
    notes: Sequence[tuple[Figure, str, float]],
    part: Part,
    words: Sequence[tuple[Fraction, Fraction, float]],
) -> list[tuple[Fraction, float]]:
    """The places in a part where something begins, with the room that it and what is sung there take until the next."""
    end = part.start_q + part.length_q
    rooms: dict[Fraction, float] = {part.start_q: 0.0}
    before: dict[Fraction, float] = {}
    for figure, sign, u in notes:
        if part.start_q <= figure.start_q < end:
            at = figure.start_q
            rooms[at] = max(rooms.get(at, 0.0), note_room(figure, "", u))
            if sign:
                before[at] = 0.3 * u * len(sign)
    places = sorted(rooms)
    for earlier, later in itertools.pairwise(places):
        rooms[earlier] += before.get(later, 0.0)
    for start, stop, need in words:
        inside = [at for at in places if start <= at < stop]
        share = float((min(stop, end) - max(start, part.start_q)) / (stop - start))
        short = need * share - sum(rooms[at] for at in inside)
        for at in inside if short > 0 else ():
            rooms[at] += short / len(inside)
    return [(at, rooms[at]) for at in places]


def spread(needs: Sequence[float], spans: Sequence[float], room: float) -> list[float]:
    """Widths that follow `spans`, none under its need, together `room` (which is at least the sum of needs)."""
    fixed = [False] * len(needs)
    while True:
        left = room - sum(n for n, f in zip(needs, fixed, strict=True) if f)
        time = sum(s for s, f in zip(spans, fixed, strict=True) if not f)
        if time <= 0:
            return list(needs)
        short = [
            i for i, n in enumerate(needs) if not fixed[i] and n > spans[i] * left / time + 1e-9
        ]
        if not short:
            return [
                n if f else s * left / time for n, s, f in zip(needs, spans, fixed, strict=True)
            ]
        for i in short:
            fixed[i] = True


def arranged(row: Sequence[Measured], room: float, indent: float) -> list[Set]:
    """The bars of a system side by side in `room`; the first begins `indent` late, behind a clef."""
    signed = [m.signed for m in row]
    needs = [m.total - m.signed for m in row]
    free = max(room - indent - sum(signed), sum(needs))
    widths = [w + more for w, more in zip(bar_widths(row, needs, free), signed, strict=True)]
    sets = []
    x = 0.0
    for i, (m, w) in enumerate(zip(row, widths, strict=True)):
        w += indent if i == 0 else 0.0
        start = x + m.lead + (indent if i == 0 else 0.0)
        inner = x + w - m.tail - start
        parts = spread(m.rooms, [float(p.length_q) for p in m.cell.parts], max(inner, sum(m.rooms)))
        times: list[float] = []
        xs: list[float] = []
        at = start
        for part, inside, part_width in zip(m.cell.parts, m.onsets, parts, strict=True):
            places = [float(q) for q, _ in inside]
            stops = [*places[1:], float(part.start_q + part.length_q)]
            spans = [b - a for a, b in zip(places, stops, strict=True)]
            inner_x = at
            for place, step in zip(
                places, spread([r for _, r in inside], spans, part_width), strict=True
            ):
                times.append(place)
                xs.append(inner_x)
                inner_x += step
            at += part_width
        times.append(float(m.cell.end_q))
        xs.append(at)
        sets.append(Set(m.cell, x, x + w, start, tuple(times), tuple(xs)))
        x += w
    return sets


def bar_widths(row: Sequence[Measured], needs: Sequence[float], room: float) -> list[float]:
    """Bars as wide as they are long; those with more in them as wide as if chords alone shared the line by time."""
    times = [m.cell.length for m in row]
    widths = spread(needs, times, room)
    dense = [n >= w - 1e-6 for n, w in zip(needs, widths, strict=True)]
    if not any(dense) or room - sum(needs) < 1e-6:
        return widths
    spare = [n - sum(m.rooms) for n, m in zip(needs, row, strict=True)]
    parts = spread(
        [r for m in row for r in m.rooms],
        [float(p.length_q) for m in row for p in m.cell.parts],
        room - sum(spare),
    )
    i, wanted = 0, []
    for m, need, extra, full in zip(row, needs, spare, dense, strict=True):
        held = sum(parts[i : i + len(m.rooms)]) + extra
        i += len(m.rooms)
        wanted.append(max(need, held) if full else need)
    return spread(wanted, times, room)


def needed(row: Sequence[Measured], indent: float) -> float:
    """The least width of a system."""
    return sum(m.total for m in row) + indent


def has_melody(row: Row | Sequence[Cell]) -> bool:
    """Whether a staff stands under a line."""
    cells = row.cells if isinstance(row, Row) else row
    return any(c.melody for c in cells)
