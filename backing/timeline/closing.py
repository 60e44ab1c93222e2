"""How a tune stops: the tag, the bar of the tonic that is added, the closing ritard.

Conventions: a tag plays the last four bars twice more. A bar of the tonic is added where the chart does not write how
it ends and its last chord is not at rest; for a vamp (a chorus of at most four bars) it is a bar of the first chord. The
closing ritard takes the two bars before the last chord. Sources: all common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from backing.chart.ast import EndingKind
from backing.harmony.symbol import Chord
from backing.timeline.model import ChordSpan, PlayedBar, SectionPass, Strike, TimeFeel, Timeline
from backing.timeline.order.order import Order, Visit
from backing.timeline.tempo import closing_ritard, held
from backing.timeline.tonality import at_rest, is_blues, tonic_chord

TAG_BARS = 4
TAG_TIMES = 2
VAMP_BARS = 4
RITARD_BARS = 2
ADDED = "Ending"
TAG = "Tag"
OPEN_ENDINGS = frozenset({EndingKind.AS_WRITTEN, EndingKind.FADE})


def with_tag(visits: Sequence[Visit]) -> tuple[Visit, ...]:
    """The visits with their last bars played twice more; an introduction lends none."""
    wanted = TAG_BARS
    tail: list[Visit] = []
    for visit in reversed(visits):
        if not wanted or visit.part == "intro":
            break
        bars = visit.bars[-wanted:]
        wanted -= len(bars)
        tail.append(visit._replace(bars=bars, part="ending", chorus=0, label=TAG))
    return (*visits, *(tail[::-1] * TAG_TIMES))


def is_vamp(order: Order) -> bool:
    """True when the chorus is a few bars that go round."""
    chorus = {(v.section.name, bar) for v in order.visits if v.part == "chorus" for bar in v.bars}
    return len(chorus) <= VAMP_BARS


def closing_chord(timeline: Timeline, order: Order) -> Chord | None:
    """The chord of the bar that is to be added, None where the tune ends by itself."""
    if order.written_ending or timeline.ending.kind in OPEN_ENDINGS:
        return None
    chords = [span.chord for span in timeline.chords if span.chord is not None]
    last = timeline.chords[-1]
    if last.chord is None or last.fermata or last.strike is Strike.RING:
        return None
    blues, key = is_blues(chords[0], timeline.bars[0].key), timeline.bars[-1].key
    if at_rest(last.chord, key, blues):
        return None
    if is_vamp(order):
        opening = next(s.name for s in timeline.sections if s.part == "chorus")
        start = max(s.first for s in timeline.sections if s.name == opening)
        first = next(s.chord for s in timeline.chords if s.bar >= start and s.chord is not None)
        alike = (last.chord.root.pc, last.chord.quality) == (first.root.pc, first.quality)
        return None if alike else first
    return tonic_chord(key, [chords[0], *reversed(chords)], blues)


def with_closing_bar(timeline: Timeline, chord: Chord) -> Timeline:
    """The timeline with one bar of a chord after it."""
    before = timeline.bars[-1]
    bar = PlayedBar(
        index=before.index + 1,
        number=0,
        section=ADDED,
        section_index=len(timeline.sections),
        pass_=1 + sum(s.name == ADDED for s in timeline.sections),
        chorus=0,
        line=0,
        meter=before.meter,
        start_q=before.end_q,
        end_q=before.end_q + before.meter.length_q,
        key=before.key,
        style=before.style,
        feel=before.feel,
        dynamic=before.dynamic_end,
        dynamic_end=before.dynamic_end,
        players=before.players,
        levels=before.levels,
        tacet=before.tacet,
        colour=before.colour,
        clave=before.clave,
        clave_half=1 - before.clave_half,
        time_feel=TimeFeel.NORMAL,
        rubato=before.rubato,
    )
    span = ChordSpan(bar.start_q, bar.end_q, chord, chord.symbol, chord.symbol, bar.index)
    section = SectionPass(ADDED, bar.pass_, 0, "ending", bar.index, bar.index)
    last = timeline.chords[-1].chord
    assert last is not None
    here, there = chord.symbol, last.symbol
    if timeline.german:
        from backing.chart.naming import symbol_in

        here, there = symbol_in(chord, True), symbol_in(last, True)
    note = f"one bar of {here} is added at the end, for {there} leads back to the top"
    return timeline._replace(
        bars=(*timeline.bars, bar),
        chords=(*timeline.chords, span),
        sections=(*timeline.sections, section),
        notes=(*timeline.notes, note),
    )


def with_ritard(timeline: Timeline) -> Timeline:
    """The timeline slowing down into its last chord; fermatas in that stretch are held as before."""
    last_q = last_chord_q(timeline)
    beats: list[Fraction] = []
    bars = 0
    for bar in reversed(timeline.bars):
        if bar.start_q >= last_q:
            continue
        if bars == RITARD_BARS:
            break
        bars += 1
        count = bar.length_q / bar.meter.beat_q
        places = [
            bar.start_q + i * bar.meter.beat_q
            for i in range(-(-count.numerator // count.denominator))
        ]
        beats = [q for q in places if q < last_q] + beats
    if not beats:
        return timeline
    steps = closing_ritard(timeline.tempo, beats)
    fermatas = [
        (c.start_q, c.end_q) for c in timeline.chords if c.fermata and c.start_q >= beats[0]
    ]
    return timeline._replace(tempo=held(steps, fermatas))


def last_chord_q(timeline: Timeline) -> Fraction:
    """Where the last chord is struck: it may be held or repeated, but not for more than the last two bars."""
    earliest = timeline.bars[-min(2, len(timeline.bars))].start_q
    start_q = timeline.chords[-1].start_q
    for span, before in zip(timeline.chords[:0:-1], timeline.chords[-2::-1], strict=True):
        if not span.again or before.start_q < earliest:
            break
        start_q = before.start_q
    return start_q
