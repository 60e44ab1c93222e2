"""From a brief to strokes: when a chordal player plays, which chord, and why.

Patterns are chosen bar by bar, laid over the section and given their chords. These rules hold for every style:

    a hit in the last eighth before a change, with nothing on the change, plays the chord to come
    a chord of a beat or less is struck on its beat and none comes ahead; in a row of them one player leads (`quick`)
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
from itertools import accumulate
from typing import NamedTuple

from backing.band.model import Shape, Why
from backing.band.players.common import BarPlan, Brief, Change, Zone, ZoneKind
from backing.band.players.laid import Raw, Score, score_of, struck, timed
from backing.band.players.patterns.comping import chosen
from backing.band.players.turns import Row, Sung, placed
from backing.ground.pitch import Degree
from backing.ground.timebase import QUARTER
from backing.harmony.symbol import Chord
from backing.styles.marks import LINES, voices


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
    shift: int = 0  # half steps from the shape of its chord, which is that of the next stroke
    shape: Shape = Shape.EVEN
    colours: tuple[Degree, ...] = ()  # that the band adds to the chord
    shell: bool = False  # only its guide tones, while another player leads

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
        sung = _sung(raw)
        for line in lines:
            mine = [r for r in raw if r.line == line]
            if line == "chord" or mine:
                thumb = _thumb(raw) if line == "chord" else frozenset()
                events += _harmonised(score, zone, mine, line, owes, sung, thumb)
    events.sort(key=lambda e: e.start_q)
    return tuple(_over_borders(events))


def _over_borders(events: Sequence[Event]) -> list[Event]:
    """A stroke that is held over the border of its zone ends where its line strikes again."""
    following: dict[str, Fraction] = {}
    made = []
    for event in reversed(events):
        after = following.get(event.line)
        if after is not None and after < event.end_q and not rings(event.line, event.mark):
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


def _sung(raw: Sequence[Raw]) -> Sung:
    """Where lines by degree have notes: every start, and up to where they have been held by then."""
    told = sorted((r.start_q, r.end_q) for r in raw if r.line in LINES)
    ends = accumulate((end for _, end in told), max)
    return [(start, end) for (start, _), end in zip(told, ends, strict=True)]


def _thumb(raw: Sequence[Raw]) -> frozenset[Fraction]:
    """Where a guitarist's thumb strikes between strums: one hand plays both, and is on the beat with what it plays there."""
    strums = any(r.line == "chord" and r.mark in "dDuU" for r in raw)
    return frozenset(r.start_q for r in raw if r.line != "chord") if strums else frozenset()


def rings(line: str, mark: str) -> bool:
    """Whether a note is one of a broken chord, which the next one does not end."""
    return (bool(voices(mark)) or mark.isdigit()) and line not in LINES


def _harmonised(
    score: Score,
    zone: Zone,
    raw: list[Raw],
    line: str,
    owes: bool = True,
    sung: Sung = (),
    thumb: frozenset[Fraction] = frozenset(),
) -> list[Event]:
    """Strokes of one line with their chords, ends cut at the next stroke, the zone and silence."""
    raw.sort(key=lambda r: r.start_q)
    timed = zone.kind is ZoneKind.TIME and line == "chord"
    hand = "d" if any(r.mark in "dDuU" for r in raw) else "x"
    row = Row(score, zone, line, hand, timed, owes, sung, thumb)
    return _cut(score, zone, placed(row, raw), line)


def _cut(score: Score, zone: Zone, placed: Sequence[tuple[Raw, Change]], line: str) -> list[Event]:
    """Events whose ends stop at the next stroke of their line and at the zone's."""
    ends, order = score.ends, score.order
    longest = max((r.end_q - r.start_q for r, _ in placed), default=QUARTER)
    made = []
    for i, (stroke, change) in enumerate(_in_parallel(score, zone, placed)):
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
        if i + 1 < len(placed) and not rings(line, stroke.mark):
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
                stroke.shift,
                stroke.shape,
                score.brief.colours.get(change.index, ()),
                stroke.shell,
            )
        )
    return made


def _in_parallel(
    score: Score, zone: Zone, placed: Sequence[tuple[Raw, Change]]
) -> list[tuple[Raw, Change]]:
    """Strokes whose shape is that of the next one with the next one's chord; the last of a section with the coming one."""
    ahead = score.brief.ahead if zone.end_q == score.brief.end_q else None
    after = ahead if ahead is not None and ahead.span.chord is not None else None
    made = []
    for stroke, change in reversed(placed):
        if stroke.shift and after is not None:
            change = after
        after = change
        made.append((stroke, change))
    made.reverse()
    return made


def _goes_on(score: Score, zone: Zone) -> Fraction:
    """How far a stroke ahead of the beat may be held beyond its zone: a quarter where time is kept there."""
    brief = score.brief
    if zone.end_q < brief.end_q:
        after = brief.zone_at(zone.end_q).kind
        return QUARTER if after in (ZoneKind.TIME, ZoneKind.KICKS) else Fraction(0)
    return QUARTER if brief.ahead is not None else Fraction(0)
