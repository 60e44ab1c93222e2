"""Which chord every stroke of a line plays: the rules of `rhythm` that hold within one chord.

Conventions: places and lengths in quarters. Source: common practice.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from fractions import Fraction
from operator import itemgetter
from typing import NamedTuple

from backing.band.model import Kind, Why
from backing.band.players.common import Change, Zone, ZoneKind
from backing.band.players.laid import Raw, Score, same_chord
from backing.band.players.patterns.comping import holds_ideas
from backing.band.players.quick import WORDS, Quick, sounds
from backing.ground.timebase import EIGHTH
from backing.styles.marks import LINES, SLURS, voices

Sung = Sequence[tuple[Fraction, Fraction]]

ADDED = Why(Kind.ADDED, "added on the change, so that the chord is heard")
AHEAD = ", ahead of the beat: the chord to come"
MOVED = ", held on, and moved with the chord"
PUSHED = ", pushed"


class Row(NamedTuple):
    """What holds for all strokes of one line in a zone; `hand` is the mark of a stroke that is added.

    `timed` is true for the chords of who keeps time, `owes` where every one of them has to be heard; `sung` are the
    places of notes that the pattern tells by degree, each with up to where such notes are held by then.
    """

    score: Score
    zone: Zone
    line: str
    hand: str
    timed: bool
    owes: bool
    sung: Sung
    thumb: frozenset[Fraction] = frozenset()  # where the thumb strikes under a hand that strums


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


def placed(row: Row, raw: Sequence[Raw]) -> list[tuple[Raw, Change]]:
    """The strokes of one line in a zone, in order of time, each with the chord that it plays; some are added."""
    made: list[tuple[Raw, Change]] = []
    early: Change | None = None  # a chord that was struck ahead of its change
    ring_q = row.zone.start_q  # up to where strokes are held
    for turn in _turns(row, raw):
        struck = early is turn.change or _begun(row, turn)
        mine = _placed(row, turn, struck, ring_q)
        if row.line in LINES and made and not struck:
            mine = [(held, turn.change) for held in _led_on(turn, made[-1][0])] + mine
        made += mine
        if mine and mine[-1][1] is not turn.change:
            early = mine[-1][1]
        if made:
            ring_q = max(ring_q, made[-1][0].end_q)
    return made


def _placed(row: Row, turn: _Turn, struck: bool, ring_q: Fraction) -> list[tuple[Raw, Change]]:
    """The strokes of a chord, each with the chord that it plays.

    `struck` is true where the chord has been heard ahead; strokes before it are held up to `ring_q`.
    """
    quick = row.score.rows.get(turn.change.index) if row.zone.kind is ZoneKind.TIME else None
    if quick is not None and not row.score.shared(turn.start_q):
        silent = struck or not sounds(row.score.rows, turn.change.index)
        if row.line in LINES:
            return []  # a hand that states every chord has no time for a run
        if row.timed or silent:
            return [] if silent else _in_quick_row(row, turn, quick)
    strokes = _fitted(row, turn, None if struck else ring_q)
    following = _ahead_of(row, turn, strokes)
    mine = strokes if following is None else strokes[:-1]
    owes = row.timed and row.owes and not row.score.shared(turn.start_q)
    if not mine and owes and not struck and not _heard(row, turn, ring_q):
        mine = [_added(row, turn)]
    placed = [(stroke, turn.change) for stroke in mine]
    if following is not None:
        ahead = strokes[-1]
        ahead.why = ahead.why.also(AHEAD)
        placed.append((ahead, following))
    return placed


def _in_quick_row(row: Row, turn: _Turn, quick: Quick) -> list[tuple[Raw, Change]]:
    """What a player does with one chord of a row: the last one of a bar may be struck with the one before it."""
    start, end, change = turn.start_q, turn.end_q, turn.change
    why = Why(Kind.PATTERN, f"{WORDS[quick.way]}")
    bar = row.score.bar(start)
    first = Raw(start, end, row.hand, row.line, why, bar, shell=not quick.leads)
    half = (end - start) / 2
    made = [(first, change)]
    if quick.way == "gap":
        first.start_q += half
    elif quick.way == "broken":
        first.mark = "1+2"
        made.append((Raw(start + half, end, "3+4", row.line, why, bar), change))
    elif quick.way == "pairs" and quick.beat % 2:
        first.end_q -= half
        made.append((Raw(start + half, end, row.hand, row.line, why, bar), change))
    elif quick.way == "short":
        first.mark = "D" if quick.beat % 2 else "d"
        first.end_q -= half
    elif quick.way == "early" and quick.before_last and turn.following is not None:
        first.end_q -= half
        told = why.also(AHEAD)
        until = turn.following.end_q
        made.append((Raw(start + half, until, row.hand, row.line, told, bar), turn.following))
    return made


def _heard(row: Row, turn: _Turn, ring_q: Fraction) -> bool:
    """Whether a chord without a stroke is heard: it rings on, or a line by degree is played over it."""
    if turn.change.span.again and ring_q > turn.start_q:
        return True
    at = bisect_left(row.sung, turn.end_q, key=itemgetter(0))
    return at > 0 and row.sung[at - 1][1] > turn.start_q


def _led_on(turn: _Turn, last: Raw) -> list[Raw]:
    """A note of a line by degree that is held over a change is the same degree of the new chord from there on."""
    if turn.before is None or same_chord(turn.before, turn.change) or last.end_q <= turn.start_q:
        return []
    until = min(last.end_q, turn.strokes[0].start_q) if turn.strokes else last.end_q
    mark = last.mark.lstrip("".join(SLURS)).rstrip("!").replace("n", "")
    if until <= turn.start_q or mark in ("a", "x"):
        return []
    return [Raw(turn.start_q, until, mark, last.line, last.why.also(MOVED), last.bar)]


def _turns(row: Row, raw: Sequence[Raw]) -> Iterator[_Turn]:
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
        answered = following is not None and (
            (at < len(raw) and raw[at].start_q == following.start_q)
            or following.start_q in row.thumb
        )
        before = changes[i - 1] if i else None
        yield _Turn(change, before, following, start, end, list(raw[first:at]), answered)


def _begun(row: Row, turn: _Turn) -> bool:
    """Whether a pushed chord was struck before the border of the section, so that it is not struck again."""
    brief = row.score.brief
    beat = turn.change.span.start_q
    return brief.begun and turn.before is None and beat == turn.start_q == brief.start_q


def _fitted(row: Row, turn: _Turn, ring_q: Fraction | None) -> list[Raw]:
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


def _pushed(row: Row, turn: _Turn, strokes: list[Raw]) -> list[Raw]:
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


def _ahead_of(row: Row, turn: _Turn, strokes: Sequence[Raw]) -> Change | None:
    """The chord to come, where the last stroke of this one plays it already; else None."""
    following = turn.following
    if not strokes or following is None:
        return None
    last = strokes[-1]
    agreed = row.score.struck.get(last.start_q)  # who strikes together plays one chord
    if agreed not in (None, following.index) or (turn.answered and agreed is None):
        return None
    late = last.start_q >= following.start_q - EIGHTH and last.start_q > turn.start_q
    if not late or (last.off_beats and agreed is None) or following.start_q > row.zone.end_q:
        return None
    if following.span.chord is None or same_chord(turn.change, following):
        return None
    if row.line in LINES:
        return None  # a degree is one of the chord that sounds, unless it says that it is the next one's
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


def _together(row: Row, turn: _Turn) -> list[Raw]:
    """Strokes of a chord in a quick row: it is struck on its beat and not broken; jazz comping strikes it once."""
    strokes = turn.strokes
    if not _quick(row.score, turn.change):
        return strokes
    first = strokes[0]
    first.start_q = min(first.start_q, turn.start_q)
    if not any(voices(r.mark) for r in strokes):
        return strokes if holds_ideas(row.score.brief.style) else strokes[:1]
    why = first.why.also(", struck whole in a quick row of chords")
    end = max(r.end_q for r in strokes)
    return [Raw(first.start_q, end, "x", first.line, why, first.bar, first.strict)]


def _moved(
    row: Row, turn: _Turn, before: Change, strokes: list[Raw], ring_q: Fraction
) -> list[Raw]:
    """Strokes of a chord over whose beginning another is held: the hand goes on with the harmony (common practice).

    Where the pattern strikes within a beat, it waits for that.
    """
    first = strokes[0]
    beat_q = row.score.brief.bars[first.bar].meter.beat_q
    waits = first.start_q < turn.start_q + beat_q
    if voices(first.mark) or waits or same_chord(before, turn.change):
        return strokes
    why = first.why.also(MOVED)
    held = Raw(turn.start_q, min(ring_q, first.start_q), row.hand, first.line, why, first.bar)
    return [held, *strokes]


def _added(row: Row, turn: _Turn) -> Raw:
    bar = row.score.bar(turn.start_q)
    return Raw(turn.start_q, turn.end_q, row.hand, row.line, ADDED, bar, added=True)
