"""From the marks of a chart to what each player does when: keeps time, strikes with the band, is silent.

Conventions: quarters from the first bar played, half-open spans. Of several marks that hold at one place the one that
silences or binds most wins (`Rank`). A stop and a chord left to ring hold until the next chord is heard, so a pushed
chord ends them early; no chord (N.C.) silences the pitched players, and after a stop everyone.

Sources: stop-time, kicks, pushes and fermatas as rhythm sections read them (common practice).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from enum import IntEnum
from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Kind
from backing.band.players.common import Stroke, Zone, ZoneKind
from backing.chart.ast import EndingKind
from backing.ground.roles import named, pitched, role_of
from backing.ground.timebase import EIGHTH
from backing.timeline.model import ChordSpan, PlayedBar, SectionPass, Strike, Timeline


class Rank(IntEnum):
    """What holds where marks meet, strongest last."""

    KICKS = 1
    RUBATO = 2
    FERMATA = 3
    CHORD = 4  # stopped, left to ring, or the last
    HITS = 5
    NO_CHORD = 6  # or out of time, for who keeps it
    BREAK = 7
    RESTS = 8


class Mark(NamedTuple):
    """A stretch of time in which something other than keeping time is asked for."""

    start_q: Fraction
    end_q: Fraction
    kind: ZoneKind
    rank: Rank
    strokes: tuple[Stroke, ...] = ()


def marks(timeline: Timeline, role: str) -> list[Mark]:
    """Every mark that a role obeys, in order of start."""
    found = _rests(timeline.bars, role) + _breaks(timeline.bars)
    if not role_of(role).tune:
        found += _rhythms(timeline)
        found += _chords(timeline, role)
        found += _rubato(timeline, role)
    found.sort(key=lambda m: m.start_q)
    return found


def _runs(
    bars: Sequence[PlayedBar], asked: Callable[[PlayedBar], bool]
) -> Iterable[tuple[Fraction, Fraction]]:
    """Stretches of neighbouring bars for which something is asked."""
    start: Fraction | None = None
    end = Fraction(0)
    for bar in bars:
        if asked(bar):
            start = bar.start_q if start is None else start
            end = bar.end_q
        elif start is not None:
            yield start, end
            start = None
    if start is not None:
        yield start, end


def _rests(bars: Sequence[PlayedBar], role: str) -> list[Mark]:
    """Bars in which a role is told to rest."""

    def rests(bar: PlayedBar) -> bool:
        return named(role, bar.tacet) or (bar.players is not None and not named(role, bar.players))

    return [Mark(start, end, ZoneKind.SILENT, Rank.RESTS) for start, end in _runs(bars, rests)]


def _breaks(bars: Sequence[PlayedBar]) -> list[Mark]:
    silent = _runs(bars, lambda bar: bar.breaks)
    return [Mark(start, end, ZoneKind.SILENT, Rank.BREAK) for start, end in silent]


def _rhythms(timeline: Timeline) -> list[Mark]:
    """Lines of hits and kicks with their strokes; a bar without a kick is played as if it had no line."""
    found = []
    starts = [hit.start_q for hit in timeline.hits]
    for rhythm in timeline.rhythms:
        first, last = bisect_left(starts, rhythm.start_q), bisect_left(starts, rhythm.end_q)
        strokes = tuple(
            Stroke(hit.start_q, hit.end_q, Kind.KICK if rhythm.kick else Kind.HIT)
            for hit in timeline.hits[first:last]
            if hit.kick == rhythm.kick
        )
        if not rhythm.kick:
            found.append(Mark(rhythm.start_q, rhythm.end_q, ZoneKind.STRUCK, Rank.HITS, strokes))
            continue
        bars = timeline.bars
        i = bisect_left(bars, rhythm.start_q, key=lambda bar: bar.start_q)
        while i < len(bars) and bars[i].start_q < rhythm.end_q:
            bar = bars[i]
            here = tuple(s for s in strokes if bar.start_q <= s.start_q < bar.end_q)
            if here:
                found.append(Mark(bar.start_q, bar.end_q, ZoneKind.KICKS, Rank.KICKS, here))
            i += 1
    return _merged(found)


def _merged(found: Sequence[Mark]) -> list[Mark]:
    """Marks of one kind that touch as one, so that a stroke may ring from bar to bar."""
    made: list[Mark] = []
    for mark in found:
        if made and made[-1].kind is mark.kind and made[-1].end_q == mark.start_q:
            both = made[-1].strokes + mark.strokes
            mark = Mark(made[-1].start_q, mark.end_q, mark.kind, mark.rank, both)
            made.pop()
        made.append(mark)
    return made


def heard_until(timeline: Timeline) -> list[Fraction]:
    """Where each chord span gives way to what is heard next."""
    spans = timeline.chords
    return [after.sounds_q for after in spans[1:]] + ([spans[-1].end_q] if spans else [])


def final_chord(timeline: Timeline) -> int | None:
    """Index of the span on which the band lands at the end; None where the end is played as written or fades.

    A last chord that stands for two bars is struck at its first one; one that stands longer keeps time until its
    last bar.
    """
    spans = timeline.chords
    if timeline.ending.kind in (EndingKind.AS_WRITTEN, EndingKind.FADE) or not spans:
        return None
    last = len(spans) - 1
    if spans[last].chord is None or spans[last].strike is not Strike.NORMAL:
        return None
    first = last
    while first > 0 and spans[first].again:
        first -= 1
    bars = spans[last].bar - spans[first].bar + 1
    return first if bars <= 2 and spans[first].strike is Strike.NORMAL else last


def _chords(timeline: Timeline, role: str) -> list[Mark]:
    """Stops, ringing chords, fermatas, places without a chord, and the last chord."""
    found: list[Mark] = []
    until = heard_until(timeline)
    final = final_chord(timeline)
    spans = timeline.chords
    stopped = False
    for i, span in enumerate(spans):
        start, end = max(span.sounds_q, Fraction(0)), until[i]
        if span.chord is None:
            if stopped or pitched(role):
                found.append(Mark(start, end, ZoneKind.SILENT, Rank.NO_CHORD))
            continue
        if span.held and i and spans[i - 1].strike is not Strike.NORMAL:
            # The chord before goes on over the bar line: so does its silence, or its ring.
            before = found.pop()
            found.append(before._replace(end_q=end, strokes=_longer(before.strokes, start, end)))
            continue
        stopped = span.strike is not Strike.NORMAL
        if final is not None and i >= final:
            short = timeline.ending.kind is EndingKind.SHORT
            if i == final:
                last = until[-1]
                found.append(
                    _struck(start, last, _short(start, last) if short else last, Kind.LAST_CHORD)
                )
        elif span.strike is Strike.STOP:
            found.append(_struck(start, end, _short(start, end), Kind.STOP))
        elif span.strike is Strike.RING:
            found.append(_struck(start, end, end, Kind.RING))
        elif span.fermata:
            found.append(
                Mark(start, end, ZoneKind.STRUCK, Rank.FERMATA, (Stroke(start, end, Kind.FERMATA),))
            )
    return found


def _longer(strokes: tuple[Stroke, ...], border: Fraction, end: Fraction) -> tuple[Stroke, ...]:
    """Strokes that rang up to a border, ringing on to `end`."""
    return tuple(s._replace(end_q=end) if s.end_q == border else s for s in strokes)


def _short(start: Fraction, end: Fraction) -> Fraction:
    """Where a stroke that is played short ends."""
    return start + min(EIGHTH, end - start)


def _struck(start: Fraction, end: Fraction, until: Fraction, kind: Kind) -> Mark:
    return Mark(start, end, ZoneKind.STRUCK, Rank.CHORD, (Stroke(start, until, kind),))


def _rubato(timeline: Timeline, role: str) -> list[Mark]:
    """Out of time each chord is struck once and held; whoever keeps time is out."""
    found = []
    spans = timeline.chords
    starts = [span.sounds_q for span in spans]
    until = heard_until(timeline)
    for start, end in _runs(timeline.bars, lambda bar: bar.rubato):
        if not pitched(role):
            found.append(Mark(start, end, ZoneKind.SILENT, Rank.NO_CHORD))
            continue
        first = max(0, bisect_right(starts, start) - 1)
        strokes: list[Stroke] = []
        for i in range(first, bisect_left(starts, end)):
            if spans[i].held and strokes:
                strokes[-1] = strokes[-1]._replace(end_q=until[i])
            elif spans[i].chord is not None:
                strokes.append(Stroke(max(starts[i], start), until[i], Kind.RUBATO))
        found.append(Mark(start, end, ZoneKind.STRUCK, Rank.RUBATO, tuple(strokes)))
    return found


def zones(timeline: Timeline, role: str, more: Sequence[Mark] = ()) -> list[tuple[Zone, ...]]:
    """The zones of a role, section by section, with `more` marks than are written; they cover each section without a gap."""
    found = marks(timeline, role)
    if more:
        found = sorted([*found, *more], key=lambda m: m.start_q)
    return [_painted(section, here) for section, here in _by_section(timeline, found)]


def bounds(timeline: Timeline, section: SectionPass) -> tuple[Fraction, Fraction]:
    """Where a playing of a section begins and ends. Bars are counted from 1."""
    return timeline.bars[section.first - 1].start_q, timeline.bars[section.last - 1].end_q


Borders = tuple[Fraction, Fraction]


def _by_section(timeline: Timeline, found: Sequence[Mark]) -> list[tuple[Borders, list[Mark]]]:
    borders = [bounds(timeline, section) for section in timeline.sections]
    starts = [start for start, _ in borders]
    shared: list[tuple[Borders, list[Mark]]] = [(b, []) for b in borders]
    for mark in found:
        i = max(0, bisect_right(starts, mark.start_q) - 1)
        while i < len(shared) and starts[i] < mark.end_q:
            shared[i][1].append(mark)
            i += 1
    return shared


def _painted(borders: Borders, found: Sequence[Mark]) -> tuple[Zone, ...]:
    """Marks over time-keeping, the strongest on top."""
    start, end = borders
    if not found:
        return (Zone(start, end, ZoneKind.TIME),)
    edges = {start, end}
    for mark in found:
        edges.update(q for q in (mark.start_q, mark.end_q) if start < q < end)
    ordered = sorted(edges)
    painted: list[tuple[Fraction, Mark | None]] = []
    active: list[Mark] = []
    waiting = 0
    for at in ordered[:-1]:
        while waiting < len(found) and found[waiting].start_q <= at:
            active.append(found[waiting])
            waiting += 1
        active = [mark for mark in active if mark.end_q > at]
        top = max(active, key=lambda m: m.rank, default=None)
        if not painted or painted[-1][1] is not top:
            painted.append((at, top))
    ends = [at for at, _ in painted[1:]] + [end]
    return tuple(_zone(at, until, mark) for (at, mark), until in zip(painted, ends, strict=True))


def _zone(start: Fraction, end: Fraction, mark: Mark | None) -> Zone:
    if mark is None:
        return Zone(start, end, ZoneKind.TIME)
    strokes = tuple(s for s in mark.strokes if start <= s.start_q < end)
    return Zone(start, end, mark.kind, strokes)


def sounding(found: Sequence[Zone], bars: Sequence[PlayedBar]) -> list[bool]:
    """For each bar of a section whether a role with these zones is meant to be heard somewhere in it."""
    if len(found) == 1 and found[0].kind is ZoneKind.TIME:
        return [True] * len(bars)
    stretches: list[tuple[Fraction, Fraction]] = []
    for zone in found:
        if zone.kind in (ZoneKind.TIME, ZoneKind.KICKS):
            stretches.append((zone.start_q, zone.end_q))
        stretches += [(s.start_q, s.end_q) for s in zone.strokes]
    return overlapping(stretches, bars)


def overlapping(
    stretches: Sequence[tuple[Fraction, Fraction]], bars: Sequence[PlayedBar]
) -> list[bool]:
    """For each bar whether one of some stretches, in order of start, reaches into it."""
    heard = []
    waiting = 0
    until = bars[0].start_q
    for bar in bars:
        while waiting < len(stretches) and stretches[waiting][0] < bar.end_q:
            until = max(until, stretches[waiting][1])
            waiting += 1
        heard.append(until > bar.start_q)
    return heard


def fermatas(timeline: Timeline) -> list[tuple[ChordSpan, Fraction]]:
    """Every held chord with the place where the music goes on; a last chord needs no cue."""
    until = heard_until(timeline)
    final = final_chord(timeline)
    return [
        (span, until[i])
        for i, span in enumerate(timeline.chords[:-1])
        if span.fermata and (final is None or i < final)
    ]
