"""What the whole band plays at the end of a section that leads into one that brings more: a few strokes together.

Conventions: places in quarters before the end of the bar. Nobody strikes where the chart has marks of its own, under a
melody, or where the next chord comes early. Source: strokes into a new section (common practice).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from fractions import Fraction

from backing.band.course import MORE
from backing.band.led import Move, Reason, SectionPlan
from backing.band.track import Track
from backing.chart.ast import EndingKind
from backing.ground.timebase import EIGHTH, SIXTEENTH, TRIPLET, Meter
from backing.timeline.model import ChordSpan, PlayedBar, Strike, TimeFeel, Timeline

HITS = 0.45  # chance that a section which leads on ends with strokes of the whole band
APART = 24  # bars from one such place to the next, at least
# by the quarters of a simple meter: beats before the bar's end, and whether it is the off-beat behind that beat's middle
RHYTHMS: dict[int, tuple[tuple[tuple[int, bool], ...], ...]] = {
    4: (
        ((1, False), (0, True)),
        ((1, True), (0, True)),
        ((2, False), (0, True)),
    ),  # 4 and-4 · and-3 and-4 · 3 and-4
    3: (((1, False), (0, True)), ((2, False), (1, False))),  # 3 and-3 · 2 3
}
COMPOUND = (
    (Fraction(3, 2), EIGHTH),
    (EIGHTH * 2, EIGHTH),
)  # last beat and its third eighth · its last two

Sections = list[SectionPlan]


def with_hits(track: Track, plans: Sections) -> Sections:
    """Strokes of the whole band before some of the sections that bring more."""
    made: Sections = []
    free = 1  # the first bar that may end so
    for number, plan in enumerate(plans):
        after = plans[number + 1] if number + 1 < len(plans) else None
        bar = track.timeline.bars[track.sections[number].last - 1]
        section = track.sections[number]
        place = track.place.at("hits", section.name, section.chorus, section.pass_)
        wanted = (
            after is not None and after.arrives and after.energy in MORE
            and section.last >= free and track.bars(number) >= 4
            and not track.styles[number].repeats and track.styles[number].clave is None
            and not track.styles[number].ideas  # a band with ideas has its own way of leading on
        )  # fmt: skip
        if wanted and place.chance(HITS, "hits") and _open(track.timeline, bar):
            offers = _rhythms(bar.meter, track.styles[number].grid_q)
            if offers:
                hits = place.pick(offers, [1.0] * len(offers), "rhythm")
                plan = plan._replace(hits=tuple((at, min(at, EIGHTH)) for at in hits))
                plan = plan.and_so(Move.HIT, ("band",), Reason.SEAM)
                free = section.last + APART
        made.append(plan)
    return made


def with_close(track: Track, plans: Sections) -> Sections:
    """A break before the last chord where the style itself ends short, over a groove in sixteenths or on a clave."""
    timeline, style = track.timeline, track.styles[-1]
    short = timeline.ending.kind is EndingKind.SHORT and not timeline.ending_asked
    tight = style.clave is not None or (style.grid_q == SIXTEENTH and not style.repeats)
    if not (short and tight and track.long):
        return plans
    last = plans[-1]._replace(breaks=True).and_so(Move.BREAK, ("band",), Reason.CLOSE)
    return [*plans[:-1], last]


def _rhythms(meter: Meter, grid_q: Fraction) -> tuple[tuple[Fraction, ...], ...]:
    """The rhythms that end a bar, in quarters before its end; a beat that goes in triplets has its last third for an off-beat."""
    if meter.compound:
        return COMPOUND
    off = TRIPLET if grid_q == TRIPLET else EIGHTH
    rows = RHYTHMS.get(meter.count, ()) if meter.unit == 4 else ()
    return tuple(tuple(beats + off * late for beats, late in row) for row in rows)


def _open(timeline: Timeline, bar: PlayedBar) -> bool:
    """Whether nothing is written in a bar, or at the start of the next, that strokes of the band would meet."""
    if bar.breaks or bar.fills or bar.rubato or bar.time_feel is not TimeFeel.NORMAL:
        return False
    if bar.length_q != bar.meter.length_q:
        return False
    spans = timeline.chords
    first = max(0, bisect_right(spans, bar.start_q, key=lambda s: s.start_q) - 1)
    last = bisect_left(spans, bar.end_q, key=lambda s: s.start_q)
    inside, after = spans[first:last], spans[last : last + 1]
    if any(s.chord is None or s.strike is not Strike.NORMAL or s.fermata for s in inside):
        return False
    if any(span.push_q or span.chord is None for span in after) or _quick(inside, bar):
        return False
    marked = any(r.start_q < bar.end_q and r.end_q > bar.start_q for r in timeline.rhythms)
    sung = any(n.start_q < bar.end_q and n.end_q > bar.start_q for n in timeline.melody)
    return not marked and not sung


def _quick(inside: tuple[ChordSpan, ...], bar: PlayedBar) -> bool:
    """Whether a chord of the bar changes beat by beat, so that strokes would leave chords out."""
    return any(s.length_q < bar.length_q / 2 for s in inside)
