"""Patterns laid over a section, before their strokes have chords.

A bar plays the pattern chosen for it, thinned where the player leaves room; bars whose algorithm is `pad`, bars out of
time and bars without a pattern have one long stroke a chord; where the band strikes together, those strokes.

Conventions: places and lengths in quarters. Source: common practice.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Kind, Shape, Why
from backing.band.players.common import Brief, Change, Stroke, Zone, ZoneKind
from backing.band.players.listening import chords_struck, dense, taken
from backing.band.players.patterns.comping import holds_ideas, thinned
from backing.band.players.patterns.lay import Beat, Chosen, laid
from backing.band.players.patterns.pools import FOLLOWS
from backing.band.players.pulses import shift_q
from backing.band.players.quick import Quick, quick_chords
from backing.ground.timebase import Meter
from backing.harmony.symbol import Chord
from backing.styles.marks import bare

SWELLING = {"<": (Shape.SWELLS, ", swelling"), ">": (Shape.FADES, ", dying away")}
_HELD = Why(Kind.HELD, "held chord")


@dataclass(slots=True, eq=False, repr=False)
class Raw:
    """A stroke before it has a chord."""

    start_q: Fraction
    end_q: Fraction
    mark: str
    line: str
    why: Why
    bar: int
    strict: bool = False
    added: bool = False
    shift: int = 0  # half steps from the shape of the chord that is struck next
    shape: Shape = Shape.EVEN
    off_beats: bool = False  # one of a row of off-beats, which never comes ahead of a chord
    shell: bool = False  # only its guide tones


class Score(NamedTuple):
    """A brief with what is looked up in it again and again."""

    brief: Brief
    plans: Sequence[Chosen | None]
    starts: list[Fraction]  # of the changes
    bars: list[float]  # starts of the bars, for quick searches
    ends: list[tuple[Fraction, Chord | None]]  # of every change's harmony, and what follows
    order: dict[int, int]  # place in `brief.changes` of a change's index
    rows: Mapping[int, Quick]  # what is done with the chords of quick rows
    taken: frozenset[Fraction]  # where others who comp strike
    struck: Mapping[Fraction, int]  # and which chord

    def bar(self, at_q: Fraction) -> int:
        """Index of the bar that holds a place."""
        return max(0, bisect_right(self.bars, float(at_q)) - 1)

    def shared(self, at_q: Fraction) -> bool:
        """Whether a place belongs to an idea of the whole band, which is played as it is written."""
        found = self.plans[self.bar(at_q)]
        return found is not None and bool(found.pattern.idea)

    def changes(self, start_q: Fraction, end_q: Fraction) -> tuple[Change, ...]:
        """The changes that are heard in a stretch of time."""
        first = max(0, bisect_right(self.starts, start_q) - 1)
        last = bisect_left(self.starts, end_q)
        found = self.brief.changes[first:last]
        return found[1:] if found and found[0].end_q <= start_q else found


def score_of(brief: Brief, plans: Sequence[Chosen | None]) -> Score:
    return Score(
        brief,
        plans,
        [c.start_q for c in brief.changes],
        [float(b.start_q) for b in brief.bars],
        _harmony_ends(brief),
        {c.index: i for i, c in enumerate(brief.changes)},
        quick_chords(brief),
        taken(brief) if brief.part.kind.leads else frozenset(),
        chords_struck(brief),
    )


def struck(score: Score, stroke: Stroke, zone: Zone) -> Raw:
    return Raw(
        stroke.start_q,
        min(stroke.end_q, zone.end_q),
        "X",
        "chord",
        Why(stroke.kind, stroke.kind.value + (f", {stroke.why}" if stroke.why else "")),
        score.bar(stroke.start_q),
        zone.kind is ZoneKind.STRUCK,
    )


def timed(score: Score, zone: Zone, lines: Sequence[str]) -> Iterator[Raw]:
    brief = score.brief
    holding = False
    told_q = zone.start_q - 1  # where a chord was last struck
    for number in range(score.bar(zone.start_q), len(brief.bars)):
        bar, plan = brief.bars[number], brief.plans[number]
        if bar.start_q >= zone.end_q:
            break
        found = score.plans[number]
        if found is None or bar.rubato or brief.algorithm(plan) == "pad":
            yield from _long(score, zone, number, holding)
            holding = True
            continue
        holding = False
        whole = zone.start_q <= bar.start_q and bar.end_q <= zone.end_q
        shift, strokes = shift_q(bar), laid(found, bar)
        why = Why(Kind.PATTERN, found.pattern.name)
        for line in lines:
            here = strokes.get(line, ())
            skank = line == "chord" and _all_off_beats(brief, bar.meter, here)
            for at_q, length_q, told in here:
                mark, parallel, swell = bare(told)
                start = shift + at_q
                if not whole and not zone.start_q <= start < zone.end_q:
                    continue
                shared = bool(
                    found.pattern.idea
                )  # what the band plays together is played as it is written
                if line == "chord" and not shared and thinned(mark, at_q, plan.busy):
                    continue
                if line == "chord" and not shared and _doubles(score, number, start, told_q):
                    continue
                if line == "chord":
                    told_q = start
                raw = Raw(start, start + length_q, mark, line, why, number)
                raw.shift = parallel
                if swell:
                    raw.shape, words = SWELLING[swell]
                    raw.why = why.also(words)
                raw.off_beats = skank
                yield raw


def _doubles(score: Score, number: int, start_q: Fraction, told_q: Fraction) -> bool:
    """Whether one who follows leaves a stroke out: off the beat, with another's, its chord struck before.

    Where the other leaves no gaps, there is none to be taken.
    """
    brief = score.brief
    follows = brief.plans[number].busy < FOLLOWS and not dense(brief, number)
    if start_q not in score.taken or not follows:
        return False
    bar = brief.bars[number]
    off_beat = (start_q - bar.start_q) % bar.meter.beat_q != 0
    return off_beat and told_q >= max(brief.change_at(start_q).start_q, bar.start_q)


def _all_off_beats(brief: Brief, meter: Meter, here: Sequence[Beat]) -> bool:
    """Whether a bar is a row of off-beats (ska, reggae, polka, disco): its last one belongs to the bar.

    A montuno, which runs with a clave, and jazz comping lead into the coming chord instead.
    """
    if brief.style.clave is not None or not holds_ideas(brief.style):
        return False
    beats = set(meter.pulse_starts_q)
    heard = [at_q for at_q, _, told in here if bare(told).mark != "m"]  # a damped stroke is none
    on = sum(at_q in beats for at_q in heard)
    return on <= 1 and len(heard) - on >= max(2, len(beats) - 1)


def _long(score: Score, zone: Zone, number: int, holding: bool) -> Iterator[Raw]:
    """One stroke for every chord that begins in a bar, held as long as its harmony."""
    bar = score.brief.bars[number]
    start, end = max(bar.start_q, zone.start_q), min(bar.end_q, zone.end_q)
    for change in score.changes(start, end):
        begins = max(change.start_q, start)
        if (begins > change.start_q and holding) or (change.span.again and holding):
            continue
        until = score.ends[score.order[change.index]][0]
        yield Raw(begins, max(until, begins), "x", "chord", _HELD, number)


def same_chord(a: Change, b: Change) -> bool:
    """Whether two changes are one chord to the ear."""
    return a.span.chord == b.span.chord if not b.span.again else True


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
