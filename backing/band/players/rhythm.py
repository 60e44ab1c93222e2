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

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Kind, Why
from backing.band.players.common import BarPlan, Brief, Change, Zone, ZoneKind
from backing.band.players.laid import Raw, Score, same_chord, score_of, struck, timed
from backing.band.players.repertoire import chosen, holds_ideas
from backing.ground.timebase import EIGHTH, QUARTER
from backing.harmony.symbol import Chord

ADDED = Why(Kind.ADDED, "added on the change, so that the chord is heard")
AHEAD = ", ahead of the beat: the chord to come"
MOVED = ", held on, and moved with the chord"
PUSHED = ", pushed"


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
    why: Why
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


def strokes(
    brief: Brief, lines: Sequence[str] = ("chord",), owes: bool = True
) -> tuple[Event, ...]:
    """Every stroke of a section in order of time; `lines` are those of the patterns that the player reads.

    Who `owes` the chords adds a stroke where the pattern leaves one out; a section of horns rests where it rests. Bars whose algorithm is `pad`, bars out of time and bars without a pattern have one long stroke a chord.
    """
    score = score_of(brief, chosen(brief))
    events: list[Event] = []
    for zone in brief.zones:
        if zone.kind is ZoneKind.SILENT or zone.start_q >= zone.end_q:
            continue
        if zone.kind is ZoneKind.TIME:
            raw = list(timed(score, zone, lines))
        else:
            raw = [struck(score, stroke, zone) for stroke in zone.strokes]
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
    score = score_of(brief, [None] * len(brief.bars))
    events: list[Event] = []
    for zone in brief.zones:
        if zone.kind is ZoneKind.SILENT or zone.start_q >= zone.end_q:
            continue
        if zone.kind is ZoneKind.STRUCK:
            raw = [struck(score, stroke, zone) for stroke in zone.strokes]
        else:
            raw = list(timed(score, zone, ("chord",)))
        events += _harmonised(score, zone, raw, "chord")
    return tuple(events)


def _harmonised(
    score: Score, zone: Zone, raw: list[Raw], line: str, owes: bool = True
) -> list[Event]:
    """Strokes of one line with their chords, ends cut at the next stroke, the zone and silence."""
    raw.sort(key=lambda r: r.start_q)
    whole = zone.kind is ZoneKind.TIME and line == "chord"
    hand = "d" if any(r.mark in "dDuU" for r in raw) else "x"  # how a stroke is added
    changes = score.changes(zone.start_q, zone.end_q)
    placed: list[tuple[Raw, Change]] = []
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
                here[0].why = here[0].why.also(PUSHED)
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
                stroke.why = stroke.why.also(AHEAD)
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


def _beyond(score: Score, change: Change, zone: Zone) -> Change | None:
    """The chord behind a zone, unless the band strikes it together there, as it does the last one."""
    brief = score.brief
    if zone.end_q == brief.end_q:
        return None if brief.plans[-1].close else brief.ahead
    after = brief.zone_at(zone.end_q)
    if after.kind is ZoneKind.SILENT or any(s.start_q == zone.end_q for s in after.strokes):
        return None
    return brief.changes[score.order[change.index] + 1]


def _quick(score: Score, change: Change) -> bool:
    """Whether a chord stands in a quick row: it is new and lasts no longer than a beat."""
    if change.span.again:
        return False
    bars = score.brief.bars
    bar = bars[min(score.bar(change.span.start_q), len(bars) - 1)]
    return change.span.length_q <= bar.meter.beat_q


def _together(score: Score, change: Change, start: Fraction, here: list[Raw]) -> list[Raw]:
    """Strokes of a chord in a quick row: it is struck on its beat and not broken; jazz comping strikes it once."""
    if not _quick(score, change):
        return here
    first = here[0]
    first.start_q = min(first.start_q, start)
    if not any(r.mark.isdigit() for r in here):
        return here if holds_ideas(score.brief.style) else here[:1]
    why = first.why.also(", struck whole in a quick row of chords")
    end = max(r.end_q for r in here)
    return [Raw(first.start_q, end, "x", first.line, why, first.bar, first.strict)]


def _moved(
    score: Score,
    before: Change,
    change: Change,
    start: Fraction,
    here: list[Raw],
    ring_q: Fraction,
    hand: str,
) -> list[Raw]:
    """Strokes of a chord over whose beginning another is held: the hand goes on with the harmony (common practice).

    Where the pattern strikes within a beat, it waits for that.
    """
    first = here[0]
    beat_q = score.brief.bars[first.bar].meter.beat_q
    if first.mark.isdigit() or first.start_q < start + beat_q or same_chord(before, change):
        return here
    end = min(ring_q, first.start_q)
    return [Raw(start, end, hand, first.line, first.why.also(MOVED), first.bar), *here]


def _added(score: Score, start: Fraction, end: Fraction, mark: str, line: str) -> Raw:
    return Raw(start, end, mark, line, ADDED, score.bar(start), added=True)


def _cut(score: Score, zone: Zone, placed: Sequence[tuple[Raw, Change]], line: str) -> list[Event]:
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


def _goes_on(score: Score, zone: Zone) -> Fraction:
    """How far a stroke ahead of the beat may be held beyond its zone: a quarter where time is kept there."""
    brief = score.brief
    if zone.end_q < brief.end_q:
        after = brief.zone_at(zone.end_q).kind
        return QUARTER if after in (ZoneKind.TIME, ZoneKind.KICKS) else Fraction(0)
    return QUARTER if brief.ahead is not None else Fraction(0)
