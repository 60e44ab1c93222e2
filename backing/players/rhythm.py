"""From a brief to strokes: when a chordal player plays, which chord, and why.

Patterns are chosen bar by bar, laid over the section and given their chords. These rules hold for every style:

    a hit in the last eighth before a change, with nothing on the change, plays the chord to come
    in a quick row of chords, a beat or less each, every chord is struck on its beat and none comes ahead
    a pushed chord is struck where it is pushed to, and not again on its beat
    who comps strikes every chord at least once; where no stroke of the pattern falls in it, one is added on the change
    a chord that a pattern holds over a change moves on with it
    nothing sounds over the border of a silence

Conventions: places and lengths in quarters. Source: common practice; the first rule is what comping methods teach of
the "and" of four.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from backing.harmony.symbol import Chord
from backing.players.common import BarPlan, Brief, Change, Stroke, Zone, ZoneKind, band
from backing.players.repertoire import cells, chosen, held_back, holds_ideas, thinned
from backing.style.model import Pattern
from backing.timebase import EIGHTH, QUARTER, Meter

ADDED = "added on the change, so that the chord is heard"
AHEAD = "ahead of the beat: the chord to come"
MOVED = "held on, and moved with the chord"
PUSHED = "pushed"


class Event(NamedTuple):
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


@dataclass(slots=True, eq=False, repr=False)
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
    off_beats: bool = False  # one of a row of off-beats, which never comes ahead of a chord


class _Score(NamedTuple):
    """A brief with what is looked up in it again and again."""

    brief: Brief
    plans: list[tuple[Pattern, int] | None]
    starts: list[Fraction]  # of the changes
    bars: list[float]  # starts of the bars, for quick searches
    ends: list[tuple[Fraction, Chord | None]]  # of every change's harmony, and what follows
    order: dict[int, int]  # place in `brief.changes` of a change's index

    def bar(self, at_q: Fraction) -> int:
        """Index of the bar that holds a place."""
        return max(0, bisect_right(self.bars, float(at_q)) - 1)

    def changes(self, start_q: Fraction, end_q: Fraction) -> tuple[Change, ...]:
        """The changes that are heard in a stretch of time."""
        first = max(0, bisect_right(self.starts, start_q) - 1)
        last = bisect_left(self.starts, end_q)
        found = self.brief.changes[first:last]
        return found[1:] if found and found[0].end_q <= start_q else found


def _score(brief: Brief, plans: list[tuple[Pattern, int] | None]) -> _Score:
    return _Score(
        brief,
        plans,
        [c.start_q for c in brief.changes],
        [float(b.start_q) for b in brief.bars],
        _harmony_ends(brief),
        {c.index: i for i, c in enumerate(brief.changes)},
    )


def strokes(
    brief: Brief, lines: Sequence[str] = ("chord",), owes: bool = True
) -> tuple[Event, ...]:
    """Every stroke of a section in order of time; `lines` are those of the patterns that the player reads.

    Who `owes` the chords adds a stroke where the pattern leaves one out; a section of horns rests where it rests. Bars whose algorithm is `pad`, bars out of time and bars without a pattern have one long stroke a chord.
    """
    score = _score(brief, chosen(brief))
    events: list[Event] = []
    for zone in brief.zones:
        if zone.kind is ZoneKind.SILENT or zone.start_q >= zone.end_q:
            continue
        if zone.kind is ZoneKind.TIME:
            raw = list(_timed(score, zone, lines))
        else:
            raw = [_struck(score, stroke, zone) for stroke in zone.strokes]
        for line in lines:
            mine = [r for r in raw if r.line == line]
            if line == "chord" or mine:
                events += _harmonised(score, zone, mine, line, owes)
    events.sort(key=lambda e: e.start_q)
    return tuple(_over_borders(events))


def _over_borders(events: Sequence[Event]) -> list[Event]:
    """A stroke that is held over the border of its zone ends where its line strikes again."""
    following: dict[str, Fraction] = {}
    made = []
    for event in reversed(events):
        after = following.get(event.line)
        if after is not None and after < event.end_q and not event.mark.isdigit():
            event = event._replace(end_q=after)
        following[event.line] = event.start_q
        made.append(event)
    made.reverse()
    return made


def held(brief: Brief) -> tuple[Event, ...]:
    """One long stroke a chord, for pads; struck zones as they are."""
    score = _score(brief, [None] * len(brief.bars))
    events: list[Event] = []
    for zone in brief.zones:
        if zone.kind is ZoneKind.SILENT or zone.start_q >= zone.end_q:
            continue
        if zone.kind is ZoneKind.STRUCK:
            raw = [_struck(score, stroke, zone) for stroke in zone.strokes]
        else:
            raw = list(_timed(score, zone, ("chord",)))
        events += _harmonised(score, zone, raw, "chord")
    return tuple(events)


def _struck(score: _Score, stroke: Stroke, zone: Zone) -> _Raw:
    return _Raw(
        stroke.start_q,
        min(stroke.end_q, zone.end_q),
        "X",
        "chord",
        stroke.why,
        score.bar(stroke.start_q),
        zone.kind is ZoneKind.STRUCK,
    )


def _timed(score: _Score, zone: Zone, lines: Sequence[str]) -> Iterator[_Raw]:
    brief = score.brief
    pads = {level for level, name in brief.part.plays.items() if name == "pad"}
    holding = False
    for number in range(score.bar(zone.start_q), len(brief.bars)):
        bar, plan = brief.bars[number], brief.plans[number]
        if bar.start_q >= zone.end_q:
            break
        found = score.plans[number]
        if (
            found is None
            or bar.rubato
            or band(plan.level) in pads
            or held_back(brief, found[0], plan)
        ):
            yield from _long(score, zone, number, holding)
            holding = True
            continue
        holding = False
        whole = zone.start_q <= bar.start_q and bar.end_q <= zone.end_q
        pattern, index = found
        for line in lines:
            if line not in pattern.lines:
                continue
            here = list(cells(bar, pattern, line, index, number))
            skank = line == "chord" and _all_off_beats(brief, bar.meter, here)
            for at_q, length_q, mark in here:
                start = bar.start_q + at_q
                if not whole and not zone.start_q <= start < zone.end_q:
                    continue
                if line == "chord" and thinned(mark, at_q, plan.busy):
                    continue
                raw = _Raw(start, start + length_q, mark, line, pattern.name, number)
                raw.off_beats = skank
                yield raw


def _all_off_beats(
    brief: Brief, meter: Meter, here: Sequence[tuple[Fraction, Fraction, str]]
) -> bool:
    """Whether a bar is a row of off-beats (ska, reggae, polka, disco): its last one belongs to the bar.

    A montuno, which runs with a clave, and jazz comping lead into the coming chord instead.
    """
    if brief.style.clave is not None or not holds_ideas(brief.style):
        return False
    beats = set(meter.pulse_starts_q)
    on = sum(at_q in beats for at_q, _, _ in here)
    return on <= 1 and len(here) - on >= max(2, len(beats) - 1)


def _long(score: _Score, zone: Zone, number: int, holding: bool) -> Iterator[_Raw]:
    """One stroke for every chord that begins in a bar, held as long as its harmony."""
    bar = score.brief.bars[number]
    start, end = max(bar.start_q, zone.start_q), min(bar.end_q, zone.end_q)
    for change in score.changes(start, end):
        begins = max(change.start_q, start)
        if (begins > change.start_q and holding) or (change.span.again and holding):
            continue
        until = score.ends[score.order[change.index]][0]
        yield _Raw(begins, max(until, begins), "x", "chord", "held chord", number)


def same_chord(a: Change, b: Change) -> bool:
    """Whether two changes are one chord to the ear."""
    return a.span.chord == b.span.chord if not b.span.again else True


def _harmonised(
    score: _Score, zone: Zone, raw: list[_Raw], line: str, owes: bool = True
) -> list[Event]:
    """Strokes of one line with their chords, ends cut at the next stroke, the zone and silence."""
    raw.sort(key=lambda r: r.start_q)
    whole = zone.kind is ZoneKind.TIME and line == "chord"
    hand = "d" if any(r.mark in "dDuU" for r in raw) else "x"  # how a stroke is added
    changes = score.changes(zone.start_q, zone.end_q)
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
        if following is None and change.end_q == zone.end_q:
            following = _beyond(score, change, zone)
        beat = change.span.start_q
        if line == "chord" and here and whole:
            here = _together(score, change, start, here)
            if i and ring_q > start + EIGHTH and early is not change:
                here = _moved(score, changes[i - 1], change, start, here, ring_q, hand)
        if start == change.start_q < beat and zone.kind is ZoneKind.TIME:
            moved = next((r for r in here if r.start_q == beat), None)
            here = [r for r in here if r.start_q == start or r.start_q > beat]
            if (whole or moved) and (not here or here[0].start_q != start):
                here.insert(0, _added(score, start, end, hand, line))
            if moved and here[0].start_q == start:
                here[0].mark, here[0].end_q = moved.mark, max(here[0].end_q, moved.end_q)
            if here and here[0].start_q == start:
                here[0].why += f", {PUSHED}"
        if score.brief.begun and i == 0 and beat == start == score.brief.start_q:
            here = [r for r in here if r.start_q > start]  # it was struck before the border
            early = change
        struck = early is change
        changes_soon = (
            following is not None
            and following.span.chord is not None
            and not same_chord(change, following)
            and not (at < len(raw) and raw[at].start_q == following.start_q)
            and following.start_q <= zone.end_q
            and not (whole and following.start_q < following.span.start_q)
            and not (line == "chord" and (_quick(score, change) or _quick(score, following)))
        )
        mine = 0
        for stroke in here:
            if (
                changes_soon
                and following is not None
                and stroke.start_q >= following.start_q - EIGHTH
                and stroke.start_q > start
                and stroke is here[-1]
                and not stroke.off_beats
            ):
                placed.append((stroke, following))
                stroke.why += f", {AHEAD}"
                early = following
            else:
                placed.append((stroke, change))
                mine += 1
        rings = change.span.again and ring_q > start
        if not mine and not struck and whole and owes and not rings:
            last = placed.pop() if placed and early is following and here else None
            placed.append((_added(score, start, end, hand, line), change))
            if last is not None:
                placed.append(last)
        if placed:
            ring_q = max(ring_q, placed[-1][0].end_q)
    return _cut(score, zone, placed, line)


def _beyond(score: _Score, change: Change, zone: Zone) -> Change | None:
    """The chord behind a zone, unless the band strikes it together there, as it does the last one."""
    brief = score.brief
    if zone.end_q == brief.end_q:
        return None if brief.plans[-1].close else brief.ahead
    after = brief.zone_at(zone.end_q)
    if after.kind is ZoneKind.SILENT or any(s.start_q == zone.end_q for s in after.strokes):
        return None
    return brief.changes[score.order[change.index] + 1]


def _quick(score: _Score, change: Change) -> bool:
    """Whether a chord stands in a quick row: it is new and lasts no longer than a beat."""
    if change.span.again:
        return False
    bars = score.brief.bars
    bar = bars[min(score.bar(change.span.start_q), len(bars) - 1)]
    return change.span.length_q <= bar.meter.beat_q


def _together(score: _Score, change: Change, start: Fraction, here: list[_Raw]) -> list[_Raw]:
    """Strokes of a chord in a quick row: it is struck on its beat and not broken; jazz comping strikes it once."""
    if not _quick(score, change):
        return here
    first = here[0]
    first.start_q = min(first.start_q, start)
    if not any(r.mark.isdigit() for r in here):
        return here if holds_ideas(score.brief.style) else here[:1]
    why = f"{first.why}, struck whole in a quick row of chords"
    end = max(r.end_q for r in here)
    return [_Raw(first.start_q, end, "x", first.line, why, first.bar, first.strict)]


def _moved(
    score: _Score,
    before: Change,
    change: Change,
    start: Fraction,
    here: list[_Raw],
    ring_q: Fraction,
    hand: str,
) -> list[_Raw]:
    """Strokes of a chord over whose beginning another is held: the hand goes on with the harmony (common practice).

    Where the pattern strikes within a beat, it waits for that.
    """
    first = here[0]
    beat_q = score.brief.bars[first.bar].meter.beat_q
    if first.mark.isdigit() or first.start_q < start + beat_q or same_chord(before, change):
        return here
    end = min(ring_q, first.start_q)
    return [_Raw(start, end, hand, first.line, f"{first.why}, {MOVED}", first.bar), *here]


def _added(score: _Score, start: Fraction, end: Fraction, mark: str, line: str) -> _Raw:
    return _Raw(start, end, mark, line, ADDED, score.bar(start), added=True)


def _cut(
    score: _Score, zone: Zone, placed: Sequence[tuple[_Raw, Change]], line: str
) -> list[Event]:
    """Events whose ends stop at the next stroke of their line and at the zone's."""
    ends, order = score.ends, score.order
    longest = max((r.end_q - r.start_q for r, _ in placed), default=QUARTER)
    made = []
    for i, (stroke, change) in enumerate(placed):
        end = stroke.end_q
        beat = change.span.start_q
        over = Fraction(0)
        if stroke.start_q < beat and (not stroke.strict or end == zone.end_q):
            over = _goes_on(score, zone)
            if (
                change.span.push_q and beat == score.brief.end_q
            ):  # as long as this player holds chords
                over = max(over, min(over * longest, change.span.length_q, 4 * QUARTER))
            end = max(
                end, beat + max(QUARTER, over)
            )  # held over the beat that it takes the place of
        end = min(end, zone.end_q + over)
        if i + 1 < len(placed) and not stroke.mark.isdigit():
            end = min(end, placed[i + 1][0].start_q)
        if change.index in order:
            harmony_q, following = ends[order[change.index]]
        else:
            harmony_q, following = change.end_q, None
        if over and end > zone.end_q:
            harmony_q = max(harmony_q, end)
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
                score.brief.plans[stroke.bar],
                stroke.bar,
                harmony_q,
                following,
                zone.end_q + over,
                stroke.strict,
            )
        )
    return made


def _goes_on(score: _Score, zone: Zone) -> Fraction:
    """How far a stroke ahead of the beat may be held beyond its zone: a quarter where time is kept there."""
    brief = score.brief
    if zone.end_q < brief.end_q:
        after = brief.zone_at(zone.end_q).kind
        return QUARTER if after in (ZoneKind.TIME, ZoneKind.KICKS) else Fraction(0)
    return QUARTER if brief.ahead is not None else Fraction(0)


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
