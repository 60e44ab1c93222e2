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

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Kind, Why
from backing.band.players.common import BarPlan, Brief, Change, Zone, ZoneKind
from backing.band.players.laid import Raw, Score, same_chord, score_of, struck, timed
from backing.band.players.patterns.comping import chosen, holds_ideas
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


class _Row(NamedTuple):
    """What holds for all strokes of one line in a zone; `hand` is the mark of a stroke that is added.

    `timed` is true for the chords of who keeps time, `owes` where every one of them has to be heard.
    """

    score: Score
    zone: Zone
    line: str
    hand: str
    timed: bool
    owes: bool


class _Turn(NamedTuple):
    """One chord within a zone: its neighbours, the strokes that the pattern has in it, from the first on.

    `answered` is true where a stroke falls on the very beginning of the chord that follows.
    """

    change: Change
    before: Change | None
    following: Change | None
    start_q: Fraction
    end_q: Fraction
    strokes: list[Raw]
    answered: bool


def _harmonised(
    score: Score, zone: Zone, raw: list[Raw], line: str, owes: bool = True
) -> list[Event]:
    """Strokes of one line with their chords, ends cut at the next stroke, the zone and silence."""
    raw.sort(key=lambda r: r.start_q)
    timed = zone.kind is ZoneKind.TIME and line == "chord"
    hand = "d" if any(r.mark in "dDuU" for r in raw) else "x"
    row = _Row(score, zone, line, hand, timed, owes)
    placed: list[tuple[Raw, Change]] = []
    early: Change | None = None  # a chord that was struck ahead of its change
    ring_q = zone.start_q  # up to where strokes are held
    for turn in _turns(row, raw):
        struck = early is turn.change or _begun(row, turn)
        mine = _placed(row, turn, struck, ring_q)
        placed += mine
        if mine and mine[-1][1] is not turn.change:
            early = mine[-1][1]
        if placed:
            ring_q = max(ring_q, placed[-1][0].end_q)
    return _cut(score, zone, placed, line)


def _placed(row: _Row, turn: _Turn, struck: bool, ring_q: Fraction) -> list[tuple[Raw, Change]]:
    """The strokes of a chord, each with the chord that it plays.

    `struck` is true where the chord has been heard ahead; strokes before it are held up to `ring_q`.
    """
    strokes = _fitted(row, turn, None if struck else ring_q)
    following = _ahead_of(row, turn, strokes)
    mine = strokes if following is None else strokes[:-1]
    rings = turn.change.span.again and ring_q > turn.start_q
    owes = row.timed and row.owes and not row.score.shared(turn.start_q)
    if not mine and owes and not struck and not rings:
        mine = [_added(row, turn)]
    placed = [(stroke, turn.change) for stroke in mine]
    if following is not None:
        ahead = strokes[-1]
        ahead.why = ahead.why.also(AHEAD)
        placed.append((ahead, following))
    return placed


def _turns(row: _Row, raw: Sequence[Raw]) -> Iterator[_Turn]:
    """The chords of a zone in order, each with its strokes; what falls where no chord is heard is left out."""
    zone = row.zone
    changes = row.score.changes(zone.start_q, zone.end_q)
    at = 0
    for i, change in enumerate(changes):
        start, end = max(change.start_q, zone.start_q), min(change.end_q, zone.end_q)
        first = at
        while at < len(raw) and raw[at].start_q < end:
            at += 1
        if change.span.chord is None:
            continue
        following = changes[i + 1] if i + 1 < len(changes) else None
        if following is None and change.end_q == zone.end_q:
            following = _beyond(row.score, change, zone)
        answered = following is not None and at < len(raw) and raw[at].start_q == following.start_q
        before = changes[i - 1] if i else None
        yield _Turn(change, before, following, start, end, list(raw[first:at]), answered)


def _begun(row: _Row, turn: _Turn) -> bool:
    """Whether a pushed chord was struck before the border of the section, so that it is not struck again."""
    brief = row.score.brief
    beat = turn.change.span.start_q
    return brief.begun and turn.before is None and beat == turn.start_q == brief.start_q


def _fitted(row: _Row, turn: _Turn, ring_q: Fraction | None) -> list[Raw]:
    """The strokes of a chord as the rules above have them.

    Strokes before it are held up to `ring_q`, None where the chord has been struck already.
    """
    strokes = turn.strokes
    if strokes and row.timed:
        strokes = _together(row, turn)
        if turn.before is not None and ring_q is not None and ring_q > turn.start_q + EIGHTH:
            strokes = _moved(row, turn, turn.before, strokes, ring_q)
    if _begun(row, turn):
        return [r for r in strokes if r.start_q > turn.start_q]
    pushed = turn.start_q == turn.change.start_q < turn.change.span.start_q
    return _pushed(row, turn, strokes) if pushed and row.zone.kind is ZoneKind.TIME else strokes


def _pushed(row: _Row, turn: _Turn, strokes: list[Raw]) -> list[Raw]:
    """Strokes of a chord that is pushed: struck where it is pushed to, as it would be on its beat, and not again."""
    beat = turn.change.span.start_q
    moved = next((r for r in strokes if r.start_q == beat), None)
    kept = [r for r in strokes if r.start_q == turn.start_q or r.start_q > beat]
    struck = bool(kept) and kept[0].start_q == turn.start_q
    if not struck and (row.timed or moved):
        kept.insert(0, _added(row, turn))
        struck = True
    if struck:
        first = kept[0]
        first.why = first.why.also(PUSHED)
        if moved:
            first.mark, first.end_q = moved.mark, max(first.end_q, moved.end_q)
    return kept


def _ahead_of(row: _Row, turn: _Turn, strokes: Sequence[Raw]) -> Change | None:
    """The chord to come, where the last stroke of this one plays it already; else None."""
    following = turn.following
    if not strokes or following is None or turn.answered:
        return None
    last = strokes[-1]
    late = last.start_q >= following.start_q - EIGHTH and last.start_q > turn.start_q
    if not late or last.off_beats or following.start_q > row.zone.end_q:
        return None
    if following.span.chord is None or same_chord(turn.change, following):
        return None
    if row.timed and following.start_q < following.span.start_q:
        return None  # it is pushed, and struck there
    if row.line == "chord" and (_quick(row.score, turn.change) or _quick(row.score, following)):
        return None
    return following


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


def _together(row: _Row, turn: _Turn) -> list[Raw]:
    """Strokes of a chord in a quick row: it is struck on its beat and not broken; jazz comping strikes it once."""
    strokes = turn.strokes
    if not _quick(row.score, turn.change):
        return strokes
    first = strokes[0]
    first.start_q = min(first.start_q, turn.start_q)
    if not any(r.mark.isdigit() for r in strokes):
        return strokes if holds_ideas(row.score.brief.style) else strokes[:1]
    why = first.why.also(", struck whole in a quick row of chords")
    end = max(r.end_q for r in strokes)
    return [Raw(first.start_q, end, "x", first.line, why, first.bar, first.strict)]


def _moved(
    row: _Row, turn: _Turn, before: Change, strokes: list[Raw], ring_q: Fraction
) -> list[Raw]:
    """Strokes of a chord over whose beginning another is held: the hand goes on with the harmony (common practice).

    Where the pattern strikes within a beat, it waits for that.
    """
    first = strokes[0]
    beat_q = row.score.brief.bars[first.bar].meter.beat_q
    waits = first.start_q < turn.start_q + beat_q
    if first.mark.isdigit() or waits or same_chord(before, turn.change):
        return strokes
    why = first.why.also(MOVED)
    held = Raw(turn.start_q, min(ring_q, first.start_q), row.hand, first.line, why, first.bar)
    return [held, *strokes]


def _added(row: _Row, turn: _Turn) -> Raw:
    bar = row.score.bar(turn.start_q)
    return Raw(turn.start_q, turn.end_q, row.hand, row.line, ADDED, bar, added=True)


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
