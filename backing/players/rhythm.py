"""From a brief to strokes: when a chordal player plays, which chord, and why.

Patterns are chosen bar by bar, laid over the section and given their chords. Four rules hold for every style:

    a hit in the last eighth before a change, with nothing on the change, plays the chord to come
    a pushed chord is struck where it is pushed to, and not again on its beat
    every chord is struck at least once; where no stroke of the pattern falls in it, one is added on the change
    nothing sounds over the border of a silence

Conventions: places and lengths in quarters. Source: common practice; the first rule is what comping methods teach of
the "and" of four.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from backing.harmony.symbol import Chord
from backing.players.common import BarPlan, Brief, Change, Stroke, Zone, ZoneKind, band
from backing.style.grid import part_choices, turned
from backing.style.model import Pattern, Where
from backing.timebase import EIGHTH, QUARTER
from backing.timeline import PlayedBar, TimeFeel

ADDED = "no stroke of the pattern falls on this chord: struck on the change"
AHEAD = "ahead of the beat, so it plays the chord to come"
PUSHED = "pushed"


@dataclass(frozen=True, slots=True)
class Event:
    """One stroke of one line of a pattern.

    `mark` is the pattern's, `line` its line ("chord", "bass"). `harmony_q` is where the harmony of `change` ends and
    `following` the chord after it (None for none), so that a held note knows whether it may ring on. `strict` strokes are played by the whole band together.
    """

    start_q: Fraction
    end_q: Fraction
    change: Change
    mark: str
    line: str
    why: str
    plan: BarPlan
    bar: int  # index into `Brief.bars`
    harmony_q: Fraction
    following: Chord | None
    limit_q: Fraction  # nothing may ring beyond
    strict: bool = False

    @property
    def chord(self) -> Chord:
        """The chord that is played."""
        chord = self.change.span.chord
        assert chord is not None
        return chord


@dataclass(slots=True)
class _Raw:
    """A stroke before it has a chord."""

    start_q: Fraction
    end_q: Fraction
    mark: str
    line: str
    why: str
    bar: int
    strict: bool = False
    added: bool = False


def where(plan: BarPlan) -> Where:
    """The place that a bar's patterns are for."""
    if plan.close:
        return Where.CLOSE
    if plan.opening:
        return Where.OPENING
    return Where.PHRASE_END if plan.phrase_end else Where.TIME


def _strokes(pattern: Pattern) -> int:
    return sum(len(p.cells) for line in pattern.lines.values() for bar in line for p in bar)


def chosen(brief: Brief) -> list[tuple[Pattern, int] | None]:
    """For every bar a pattern and which of its bars is played; None where the part has no patterns.

    Chance and weight choose, nearness to the wanted density helps, the same pattern is not taken three times running
    where there is another (a style that `repeats` may), and a pattern of several bars is finished.
    """
    made: list[tuple[Pattern, int] | None] = []
    kept: dict[object, tuple[Pattern, ...]] = {}
    before: list[str] = []
    current: Pattern | None = None
    came: object = None
    for number, (bar, plan) in enumerate(zip(brief.bars, brief.plans, strict=True)):
        key = (bar.meter, band(plan.level), where(plan))
        options = kept.get(key)
        if options is None:
            options = kept[key] = part_choices(brief.part, *key)
        if not options:
            made.append(None)
            continue
        at = number % current.bars if current else 0
        if current is None or at == 0 or key != came or current.bars == 1:
            current = _choice(brief, options, number, plan.busy, before)
            before.append(current.name)
        came = key
        side = bar.clave or brief.style.clave
        pattern = turned(current) if side != brief.style.clave and current.bars == 2 else current
        index = pattern.bars - 1 if key[2] is Where.PHRASE_END else number % pattern.bars
        made.append((pattern, index))
    return made


def _choice(
    brief: Brief, options: tuple[Pattern, ...], number: int, busy: float, before: Sequence[str]
) -> Pattern:
    free = options
    if not brief.style.repeats and len(before) > 1 and before[-1] == before[-2]:
        free = tuple(p for p in options if p.name != before[-1]) or options
    if len(free) == 1:
        return free[0]
    counts = [_strokes(p) / p.bars for p in free]
    most, least = max(counts), min(counts)
    weights = []
    for pattern, count in zip(free, counts, strict=True):
        density = 0.5 if most == least else (count - least) / (most - least)
        weights.append(pattern.weight * max(0.15, 1.25 - 1.2 * abs(density - busy)))
    return brief.place.pick(free, weights, "pattern", number)


def strokes(brief: Brief, lines: Sequence[str] = ("chord",)) -> tuple[Event, ...]:
    """Every stroke of a section in order of time; `lines` are those of the patterns that the player reads."""
    plans = chosen(brief)
    events: list[Event] = []
    for i, zone in enumerate(brief.zones):
        if zone.kind is ZoneKind.SILENT or zone.start_q >= zone.end_q:
            continue
        goes_on = i + 1 < len(brief.zones) and brief.zones[i + 1].kind is ZoneKind.TIME
        if zone.kind is ZoneKind.TIME:
            raw = list(_timed(brief, zone, plans, lines))
        else:
            raw = [_struck(brief, stroke, zone) for stroke in zone.strokes]
        for line in lines:
            mine = [r for r in raw if r.line == line]
            if line == "chord" or mine:
                events += _harmonised(brief, zone, mine, line, goes_on)
    events.sort(key=lambda e: e.start_q)
    return tuple(events)


def held(brief: Brief) -> tuple[Event, ...]:
    """One long stroke a chord, for pads; struck zones as they are."""
    events: list[Event] = []
    for zone in brief.zones:
        if zone.kind is ZoneKind.SILENT or zone.start_q >= zone.end_q:
            continue
        if zone.kind is ZoneKind.STRUCK:
            raw = [_struck(brief, stroke, zone) for stroke in zone.strokes]
        else:
            raw = []
            for change in brief.changes:
                start, end = max(change.start_q, zone.start_q), min(change.end_q, zone.end_q)
                if start < end and not (change.span.again and start > zone.start_q):
                    raw.append(
                        _Raw(start, zone.end_q, "x", "chord", "held chord", _bar(brief, start))
                    )
        events += _harmonised(brief, zone, raw, "chord", False)
    return tuple(events)


def _bar(brief: Brief, at_q: Fraction) -> int:
    """Index of the bar that holds a place."""
    low, high = 0, len(brief.bars) - 1
    while low < high:
        middle = (low + high + 1) // 2
        if brief.bars[middle].start_q <= at_q:
            low = middle
        else:
            high = middle - 1
    return low


def _struck(brief: Brief, stroke: Stroke, zone: Zone) -> _Raw:
    strict = zone.kind is ZoneKind.STRUCK
    return _Raw(
        stroke.start_q,
        min(stroke.end_q, zone.end_q),
        "X",
        "chord",
        stroke.why,
        _bar(brief, stroke.start_q),
        strict,
    )


def _timed(
    brief: Brief,
    zone: Zone,
    plans: Sequence[tuple[Pattern, int] | None],
    lines: Sequence[str],
) -> Iterator[_Raw]:
    for number, (bar, plan) in enumerate(zip(brief.bars, brief.plans, strict=True)):
        if bar.end_q <= zone.start_q:
            continue
        if bar.start_q >= zone.end_q:
            break
        found = plans[number]
        if found is None or bar.rubato:
            continue
        whole = zone.start_q <= bar.start_q and bar.end_q <= zone.end_q
        pattern, index = found
        for line in lines:
            cells = pattern.lines.get(line)
            if cells is None:
                continue
            for at_q, length_q, mark in _cells(bar, pattern, line, index, number):
                start = bar.start_q + at_q
                if not whole and not zone.start_q <= start < zone.end_q:
                    continue
                if line == "chord" and _thinned(mark, at_q, plan.busy):
                    continue
                yield _Raw(start, start + length_q, mark, line, pattern.name, number)


def _thinned(mark: str, at_q: Fraction, busy: float) -> bool:
    """Whether a player asked to do less leaves this stroke out."""
    if mark == "g":
        return busy < 0.35
    return busy < 0.2 and mark in "xum" and at_q.denominator > 1


def _cells(
    bar: PlayedBar, pattern: Pattern, line: str, index: int, number: int
) -> Iterator[tuple[Fraction, Fraction, str]]:
    """Strokes of a bar of a pattern, in quarters from the bar line, as the time felt and a pickup's length have it."""
    length = bar.meter.length_q
    if bar.time_feel is TimeFeel.HALF:
        half = number % 2 * length
        for at_q, long_q, mark in _flat(pattern, line, index):
            if half <= at_q * 2 < half + length:
                yield at_q * 2 - half, long_q * 2, mark
        return
    if bar.time_feel is TimeFeel.DOUBLE:
        for second in (0, 1):
            for at_q, long_q, mark in _flat(pattern, line, (index + second) % pattern.bars):
                yield at_q / 2 + second * length / 2, long_q / 2, mark
        return
    if bar.length_q < length:
        cut = length - bar.length_q
        for at_q, long_q, mark in _flat(pattern, line, index):
            if at_q >= cut:
                yield at_q - cut, long_q, mark
        return
    yield from _flat(pattern, line, index)


_FLAT: dict[tuple[int, str, int], tuple[Pattern, tuple[tuple[Fraction, Fraction, str], ...]]] = {}


def _flat(pattern: Pattern, line: str, index: int) -> tuple[tuple[Fraction, Fraction, str], ...]:
    """Cells of a bar from its bar line; kept by identity, since patterns are compared cell by cell."""
    key = (id(pattern), line, index)
    known = _FLAT.get(key)
    if known is not None and known[0] is pattern:
        return known[1]
    found, at = [], Fraction(0)
    for pulse in pattern.lines[line][index]:
        found += [(at + c.at_q, c.length_q, c.mark) for c in pulse.cells]
        at += pulse.length_q
    if len(_FLAT) > 4096:
        _FLAT.clear()
    _FLAT[key] = (pattern, tuple(found))
    return _FLAT[key][1]


def same_chord(a: Change, b: Change) -> bool:
    """Whether two changes are one chord to the ear."""
    return a.span.chord == b.span.chord if not b.span.again else True


def _harmonised(brief: Brief, zone: Zone, raw: list[_Raw], line: str, goes_on: bool) -> list[Event]:
    """Strokes of one line with their chords, ends cut at the next stroke, the zone and silence."""
    raw.sort(key=lambda r: r.start_q)
    whole = zone.kind is ZoneKind.TIME and line == "chord"
    changes = [c for c in brief.changes if c.start_q < zone.end_q and c.end_q > zone.start_q]
    placed: list[tuple[_Raw, Change]] = []
    at = 0
    early: Change | None = None  # a chord that was struck ahead of its change
    ring_q = zone.start_q
    for i, change in enumerate(changes):
        start, end = max(change.start_q, zone.start_q), min(change.end_q, zone.end_q)
        here = []
        while at < len(raw) and raw[at].start_q < end:
            here.append(raw[at])
            at += 1
        if change.span.chord is None:
            continue
        following = changes[i + 1] if i + 1 < len(changes) else None
        if following is None and change.end_q == zone.end_q == brief.end_q:
            following = brief.ahead
        if change.start_q < change.span.start_q and start == change.start_q and whole:
            here = [r for r in here if r.start_q == start or r.start_q > change.span.start_q]
            if not here or here[0].start_q != start:
                here.insert(0, _added(brief, start, end, "x"))
            here[0].why += f", {PUSHED}"
        changes_soon = (
            following is not None
            and following.span.chord is not None
            and not same_chord(change, following)
            and not (at < len(raw) and raw[at].start_q == following.start_q)
            and following.start_q <= zone.end_q
            and not (whole and following.start_q < following.span.start_q)
        )
        mine = 0
        for stroke in here:
            if (
                changes_soon
                and following is not None
                and stroke.start_q >= following.start_q - EIGHTH
                and stroke.start_q > start
            ):
                placed.append((stroke, following))
                stroke.why += f", {AHEAD}"
                early = following
            else:
                placed.append((stroke, change))
                mine += 1
        rings = change.span.again and ring_q > start
        if not mine and early is not change and whole and not rings:
            last = placed.pop() if placed and early is following and here else None
            placed.append((_added(brief, start, end, "x"), change))
            if last is not None:
                placed.append(last)
        if placed:
            ring_q = max(ring_q, placed[-1][0].end_q)
    return _cut(brief, zone, placed, line)


def _added(brief: Brief, start: Fraction, end: Fraction, mark: str) -> _Raw:
    return _Raw(start, end, mark, "chord", ADDED, _bar(brief, start), added=True)


def _cut(brief: Brief, zone: Zone, placed: Sequence[tuple[_Raw, Change]], line: str) -> list[Event]:
    """Events whose ends stop at the next stroke of their line and at the zone's."""
    ends = _harmony_ends(brief)
    order = {c.index: i for i, c in enumerate(brief.changes)}
    made = []
    for i, (stroke, change) in enumerate(placed):
        end = stroke.end_q
        if stroke.start_q < change.start_q and line == "chord" and not stroke.strict:
            end = max(
                end, change.start_q + QUARTER
            )  # held over the beat that it takes the place of
        end = min(end, zone.end_q)
        if i + 1 < len(placed) and not stroke.mark.isdigit():
            end = min(end, placed[i + 1][0].start_q)
        if change.index in order:
            harmony_q, following = ends[order[change.index]]
        else:
            harmony_q, following = change.end_q, None
        if end <= stroke.start_q:
            continue
        made.append(
            Event(
                stroke.start_q,
                end,
                change,
                stroke.mark,
                line,
                stroke.why,
                brief.plans[stroke.bar],
                stroke.bar,
                harmony_q,
                following,
                zone.end_q,
                stroke.strict,
            )
        )
    return made


def _harmony_ends(brief: Brief) -> list[tuple[Fraction, Chord | None]]:
    """For every change: where its harmony ends, taking repeated chords as one, and what follows."""
    ends: list[tuple[Fraction, Chord | None]] = []
    after: Change | None = brief.ahead
    end, follows = brief.end_q, after.span.chord if after else None
    for change in reversed(brief.changes):
        if after is None or not same_chord(change, after):
            end, follows = change.end_q, after.span.chord if after else None
        ends.append((end, follows))
        after = change
    ends.reverse()
    return ends


_TOUCH = {"X": 13, "D": 13, "U": 11, "g": -20, "u": -5, "m": -14}


def velocity(event: Event, base: int = 36, step: float = 11.5) -> int:
    """Velocity 1 to 127 from the bar's level and the mark."""
    loud = base + step * event.plan.level + _TOUCH.get(event.mark, 0)
    return max(12, min(120, round(loud)))


def sounding_end(event: Event, pitch: int) -> Fraction:
    """Where a note of the event ends: with its harmony, unless the next chord holds it too."""
    if event.end_q <= event.harmony_q:
        return event.end_q
    if event.following is not None and pitch % 12 in event.following.pitch_classes:
        return event.end_q
    return event.harmony_q


def uncovered(
    events: Sequence[Event], voices: Mapping[int, Mapping[str, str] | Collection[str]]
) -> frozenset[int]:
    """Changes whose broken chord is over before enough voices have been heard: fewer single strokes than four.

    Chords that are struck whole anywhere in the change are never among them.
    """
    singles: dict[int, set[str]] = {}
    struck: set[int] = set()
    for event in events:
        if event.line != "chord":
            continue
        if event.mark.isdigit():
            singles.setdefault(event.change.index, set()).add(event.mark)
        elif event.mark != "m":
            struck.add(event.change.index)
    return frozenset(
        i
        for i, marks in singles.items()
        if i not in struck and len(marks) < min(4, len(voices.get(i, ())))
    )
