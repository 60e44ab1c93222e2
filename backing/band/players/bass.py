"""The bass player: walking lines, two-feel, tumbao, root and fifth, octaves, pedal notes and riffs.

Conventions: the written bass of a slash chord is the bass; a chord that comes early takes the bass with it; where the
band strikes together the bass plays exactly those strokes; under N.C. it rests. A note's degree is counted in its own
chord, and a note that comes before its chord names the chord that it belongs to.
Sources: `anchors`, `walking` and `figures` name theirs. `strides` and `riffs` write the notes down.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from backing.band.model import Kind, Note
from backing.band.players.anchors import Contour, settle, stretches
from backing.band.players.bassline import Line
from backing.band.players.common import Brief, Zone, ZoneKind, with_the_band
from backing.band.players.patterns.choose import BASS, choose
from backing.band.players.patterns.lay import Chosen
from backing.band.players.pulses import beats, halves, off_beats, shift_q
from backing.band.players.strides import Shape, stride
from backing.timeline.model import TimeFeel

LOW, HIGH = 28, 55  # E1 to G3, where a line walks (common practice)

Slots = list[tuple[Fraction, bool]]


def play(brief: Brief) -> list[Note]:
    """The bass of one playing of a section, in order of start."""
    low, high = reach(brief)
    brief = over_pedal(brief)
    starts = [c.start_q for c in brief.changes]
    kicks = sorted(s.start_q for z in brief.zones if z.kind is ZoneKind.KICKS for s in z.strokes)
    ways = [_way(brief, i, starts) for i in range(len(brief.bars))]
    slots = [_slots(brief, i, way, kicks) for i, way in enumerate(ways)]
    parts = stretches(brief, ways, slots)
    found = chosen(brief) if any(s.way == "pattern" for s in parts) else []
    line = Line(brief, parts, (), low, high, kicks, frozenset(kicks), found)
    shapes: Sequence[Contour | None] = ()
    if any(not s.walks and s.way != "struck" for s in parts):
        from backing.band.players.riffs import contours  # not every bass plays figures

        shapes = contours(line)
    anchors, after = settle(brief, parts, low, high, shapes)
    return _written(line._replace(anchors=[*anchors, after if after is not None else -1]))


def chosen(brief: Brief) -> list[Chosen | None]:
    """The bass's patterns, bar by bar."""
    return choose(brief, BASS)


def over_pedal(brief: Brief) -> Brief:
    """What the bass sees of a section with a pedal: chords that have its note for their bass."""
    pedal = brief.led.pedal
    if pedal is None:
        return brief
    first, last = brief.bars[pedal.first].index, brief.bars[pedal.last].index
    changes = tuple(
        change._replace(span=change.span._replace(chord=replace(chord, bass=pedal.note)))
        if (chord := change.span.chord) and first <= change.span.bar <= last
        else change
        for change in brief.changes
    )
    return brief._replace(changes=changes)


def _written(line: Line) -> list[Note]:
    notes: list[Note] = []
    recent: list[Shape] = []
    early = False  # whether a figure has played the coming chord already
    for index, stretch in enumerate(line.stretches):
        if stretch.way == "struck":
            made, early = _struck(line, index), False
        elif stretch.walks:
            made, early = stride(line, index, recent), False
        else:
            from backing.band.players.riffs import riff  # not every bass plays figures

            made, early = riff(line, index, early)
        notes += made
    return _one_at_a_time(_within_octaves(notes, line.low, line.high))


def _within_octaves(notes: list[Note], low: int, high: int) -> list[Note]:
    """No leap of a seventh, or of more than an octave, between a figure's last note and what it leads to.

    That note, with those of its pitch right before it, is played nearer: an octave off, or the figure turns back to the
    note that it came through, or to its root. A root stays where the figure has it.
    """
    for i in range(1, len(notes) - 1):
        note, after = notes[i], notes[i + 1]
        leap = after.pitch - note.pitch
        leads = after.chord != note.chord or after.why.kind in (Kind.STEP, Kind.DOMINANT)
        octaves = note.why.kind is Kind.OCTAVES and note.degree == "1"
        if -10 < leap < 10 or abs(leap) == 12 or not leads or octaves:
            continue
        first = _run(notes, i)
        before = notes[first - 1] if first else note
        if not first or before.chord != note.chord or (note.degree == "1" and abs(leap) < 12):
            continue
        pitch, degree = note.pitch + (12 if leap > 0 else -12), note.degree
        here, there = abs(note.pitch - before.pitch), abs(pitch - before.pitch)
        through = notes[max(0, _run(notes, first - 1) - 1)]
        root = _root_between(notes, first, after) if abs(leap) > 12 and there > 12 else None
        if there > 7 and through.chord == note.chord and abs(after.pitch - through.pitch) < 10:
            pitch, degree = through.pitch, through.degree
        elif root is not None:
            pitch, degree = root.pitch, root.degree
        elif there > 12 or there + abs(after.pitch - pitch) >= here + abs(leap):
            continue
        if low <= pitch <= high:
            notes[first : i + 1] = [
                n._replace(pitch=pitch, degree=degree) for n in notes[first : i + 1]
            ]
    return notes


def _root_between(notes: Sequence[Note], at: int, after: Note) -> Note | None:
    """The root that a figure began on, where it lies within an octave of the note before a place and of what follows."""
    before = notes[at - 1]
    for note in reversed(notes[max(0, at - 8) : at]):
        near = abs(note.pitch - before.pitch) <= 12 and abs(note.pitch - after.pitch) <= 12
        if note.chord == before.chord and note.degree == "1" and near:
            return note
    return None


def _run(notes: Sequence[Note], last: int) -> int:
    """Where the row of equal notes begins that ends at one."""
    first = last
    while first > 0 and notes[first - 1].pitch == notes[last].pitch and not notes[first - 1].strict:
        first -= 1
    return first


def _one_at_a_time(notes: Sequence[Note]) -> list[Note]:
    """Notes in order, each ending at the latest where the next begins."""
    return [
        note if note.end_q <= after.start_q else note._replace(end_q=after.start_q)
        for note, after in pairwise(notes)
    ] + list(notes[-1:])


def join(notes: list[Note], after: Note, low: int, high: int) -> None:
    """Lead a section's last note into the first of the next in the octave that suits it best.

    What would then leap away from the note before it takes that note along.
    """
    before = notes[-1]
    steps = abs(after.pitch - before.pitch)
    approaches = before.why.kind in (Kind.STEP, Kind.SCALE, Kind.PASSING)
    if before.strict or (steps <= 12 and (steps <= 2 or not approaches)):
        return
    octaves = [p for p in range(before.pitch % 12, high + 1, 12) if p >= low]
    shift = min(octaves, key=lambda p: (abs(p - after.pitch), p)) - before.pitch
    if approaches and abs(before.pitch + shift - after.pitch) > 2:
        notes[-1] = _root_beside(notes, after, low, high)
        return
    at = len(notes)
    while shift and at:
        at -= 1
        note = notes[at]
        notes[at] = note._replace(pitch=note.pitch + shift)
        earlier = notes[at - 1] if at else note
        gap = abs(notes[at].pitch - earlier.pitch)
        row = earlier.pitch == note.pitch or (gap > 9 and earlier.degree != "1")
        goes_along = gap > 12 or (row and earlier.chord == note.chord)
        if earlier.strict or not goes_along or not low <= earlier.pitch + shift <= high:
            break


def _root_beside(notes: Sequence[Note], after: Note, low: int, high: int) -> Note:
    """The last note as its chord's root in the octave next to what follows: the instrument ends before the step to it."""
    last = notes[-1]
    for root in reversed(notes[:-1]):
        if root.chord != last.chord:
            break
        if root.degree == "1":
            octaves = [p for p in range(root.pitch % 12, high + 1, 12) if p >= low]
            pitch = min(octaves, key=lambda p: (abs(p - after.pitch), p))
            return last._replace(pitch=pitch, degree="1", why=root.why)
    return last


def _struck(line: Line, index: int) -> list[Note]:
    """The strokes of the whole band under one chord."""
    stretch, zones = line.stretches[index], line.brief.zones
    zone = zones[max(0, bisect_right(zones, stretch.start_q, key=_zone_start) - 1)]
    pitch = line.anchors[index]
    return [
        Note(
            s.start_q, s.end_q, pitch, line.velocity(stretch, s.start_q, 1.12),
            with_the_band(s), stretch.tones.name(pitch), stretch.change.index, strict=True,
        )
        for s in zone.strokes
        if stretch.start_q <= s.start_q < stretch.end_q
    ]  # fmt: skip


def _zone_start(zone: Zone) -> Fraction:
    return zone.start_q


def reach(brief: Brief) -> tuple[int, int]:
    """Lowest and highest note: the part's range within the instrument's, and where the style says none, E1 to G3."""
    part = brief.part
    low = max(part.low, part.instrument.low)
    high = min(part.high, part.instrument.high)
    return max(low, LOW) if part.low == 0 else low, min(high, HIGH)


def _way(brief: Brief, index: int, starts: Sequence[Fraction]) -> str:
    """The algorithm of a bar, as the plan and the time feel turn it."""
    bar, plan = brief.bars[index], brief.plans[index]
    pedal = brief.led.pedal
    if pedal is not None and pedal.first <= index <= pedal.last:
        return "pedal"
    way = brief.algorithm(plan)
    feel = bar.time_feel
    if way == "walking" and (plan.two or feel in (TimeFeel.IN_TWO, TimeFeel.HALF)):
        return "two-feel"
    if way == "two-feel" and feel in (TimeFeel.IN_FOUR, TimeFeel.DOUBLE):
        return "walking"
    if way == "pattern" and feel is TimeFeel.IN_TWO:
        return "root-fifth"
    if way == "root-fifth" and _walks_up(brief, index, starts):
        always = brief.part.number("walk_ups") == 1
        if always or not (index and _walks_up(brief, index - 1, starts)):  # not in two bars running
            return "walk-up"
    return way


def _walks_up(brief: Brief, index: int, starts: Sequence[Fraction]) -> bool:
    """Whether root and fifth give way to a walk in the scale into the next chord."""
    bar, plan = brief.bars[index], brief.plans[index]
    here = brief.changes[max(0, bisect_right(starts, bar.start_q) - 1)].span
    there = brief.ahead.span if index + 1 == len(brief.bars) and brief.ahead else None
    if index + 1 < len(brief.bars):
        there = brief.changes[max(0, bisect_right(starts, bar.end_q) - 1)].span
    if there is None or there.chord is None or here.chord is None:
        return False
    if here.end_q < bar.end_q or there.chord.lowest == here.chord.lowest:
        return False
    walk_ups = brief.part.number("walk_ups")
    return brief.place.chance(walk_ups * (1.6 if plan.phrase_end else 1.0), index, "walk up")


def _slots(brief: Brief, index: int, way: str, kicks: Sequence[Fraction]) -> Slots:
    """Places of a line in a bar, in quarters of the piece, and whether they are strong."""
    if way not in ("walking", "two-feel"):
        return []
    bar, plan = brief.bars[index], brief.plans[index]
    shift = shift_q(bar)
    if way == "walking":
        places = dict(beats(bar.meter))
        if bar.time_feel is TimeFeel.DOUBLE:
            places.update((p, False) for p in off_beats(bar.meter))
    else:
        places = dict.fromkeys(halves(bar.meter), True)
        pickups = brief.part.number("pickups")
        pickups = min(1.0, pickups + (0.35 if plan.phrase_end else 0.0))
        if brief.place.chance(pickups, index, "pickup"):
            places[beats(bar.meter)[-1][0]] = False
    found = {shift + p: strong for p, strong in places.items() if shift + p >= bar.start_q}
    # kicks inside the time-keeping are marked by the line
    for kick in kicks[bisect_left(kicks, bar.start_q) : bisect_left(kicks, bar.end_q)]:
        found.setdefault(kick, True)
    return sorted(found.items())
