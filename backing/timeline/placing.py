"""Bars placed in time, one playing of a section after another.

Conventions: directions such as `rubato` or `in 2` hold to the end of their section, so a section is played alike
wherever it stands; a `rit.` in a repeated bar is played the last time through. A chord that lasts into another bar is
one span a bar. A push never swallows the chord before it: it comes at most half of that chord early.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from backing.chart.ast import Dynamics
from backing.chart.words import Held
from backing.ground.timebase import Meter, Tempo
from backing.harmony.symbol import Chord
from backing.timeline.frame import Frame
from backing.timeline.marks import BarMark, Bending, NoteMark, SpanMark
from backing.timeline.model import (
    ChordSpan,
    Hit,
    MelodyNote,
    PlayedBar,
    Rhythm,
    SectionPass,
)
from backing.timeline.order.order import Visit
from backing.timeline.tempo import Beat, Bend, Leg

ZERO = Fraction(0)
ONE = Fraction(1)


@dataclass(slots=True, eq=False, repr=False)
class Score:
    """What has been placed so far."""

    bars: list[PlayedBar] = field(default_factory=list)
    chords: list[ChordSpan] = field(default_factory=list)
    sections: list[SectionPass] = field(default_factory=list)
    melody: list[MelodyNote] = field(default_factory=list)
    hits: list[Hit] = field(default_factory=list)
    rhythms: list[Rhythm] = field(default_factory=list)
    legs: list[Leg] = field(default_factory=list)
    passes: dict[str, int] = field(default_factory=dict)
    end_q: Fraction = ZERO
    clave_half: int = 0
    share: Fraction = ONE  # of the tempo, in the last bar placed
    meter: Meter | None = None  # of the last bar placed


def place(score: Score, visit: Visit, frame: Frame) -> None:
    """Place one playing of a section after what is there."""
    marks = [frame.marks[index] for index in visit.bars]
    if frame.own_clave:
        score.clave_half = 0
    section = _section(score, visit)
    bars = _bars(score, section, marks, frame)
    for bar, mark in zip(bars, marks, strict=True):
        _place_spans(score, mark.spans, bar.start_q, bar.index)
        if mark.melody or mark.hits is not None or mark.kicks is not None:
            _place_lines(score, mark, bar.start_q, bar.end_q)
    score.legs.append(_leg(score, visit, frame, bars))
    score.bars += bars
    score.sections.append(section)
    score.end_q, score.meter = bars[-1].end_q, bars[-1].meter


def _section(score: Score, visit: Visit) -> SectionPass:
    """This playing: it is counted among those of its name, and its bars go on from the last one placed."""
    name = visit.label or visit.section.name
    pass_ = score.passes[name] = score.passes.get(name, 0) + 1
    first = len(score.bars) + 1
    return SectionPass(
        name, pass_, visit.chorus, visit.part, first, first + len(visit.bars) - 1, visit.transpose
    )


def _bars(
    score: Score, section: SectionPass, marks: Sequence[BarMark], frame: Frame
) -> list[PlayedBar]:
    """The bars of one playing, one after the other."""
    bars: list[PlayedBar] = []
    at_q = score.end_q
    held = Held()
    levels = _levels(frame.dynamics, len(marks))
    for index, (mark, (dynamic, dynamic_end)) in enumerate(
        zip(marks, levels, strict=True), section.first
    ):
        for switch, role, fret in mark.switches:
            held = held.after(switch, role, fret)
        bars.append(
            PlayedBar(
                index=index,
                number=mark.number,
                section=section.name,
                section_index=len(score.sections),
                pass_=section.pass_,
                chorus=section.chorus,
                line=mark.line,
                meter=mark.meter,
                start_q=at_q,
                end_q=at_q + mark.length_q,
                key=frame.key,
                style=frame.style,
                feel=frame.feel,
                dynamic=dynamic,
                dynamic_end=dynamic_end,
                players=frame.players,
                levels=frame.levels,
                tacet=held.tacet,
                hand=held.position,
                colour=frame.colour,
                clave=frame.clave,
                clave_half=score.clave_half,
                time_feel=held.time_feel,
                rubato=held.rubato,
                breaks=mark.breaks,
                fills=mark.fills,
            )
        )
        at_q += mark.length_q
        if mark.number:  # a pickup is no half of a clave
            score.clave_half = 1 - score.clave_half
    return bars


def _levels(dynamics: Dynamics | None, count: int) -> Iterator[tuple[float | None, float | None]]:
    """The dynamic at the start and the end of each of so many bars, over which it may grow."""
    if dynamics is None:
        yield from [(None, None)] * count
    elif dynamics.to is None:
        yield from [(dynamics.level, dynamics.level)] * count
    else:
        grows = dynamics.to - dynamics.level
        for i in range(count):
            yield (
                dynamics.level + grows * i / count,
                dynamics.level + grows * (i + 1) / count,
            )


def _leg(score: Score, visit: Visit, frame: Frame, bars: Sequence[PlayedBar]) -> Leg:
    """The tempo of one playing: its beats, and what bends it on the way."""
    start_q, end_q = bars[0].start_q, bars[-1].end_q
    share = score.share = _first_share(score, visit, frame)
    beats = [Beat(start_q, share)] if frame.steady else []
    bends: dict[
        tuple[int, int], Bend
    ] = {}  # by their place on the sheet: the last time through counts
    for index, bar in zip(visit.bars, bars, strict=True):
        mark = frame.marks[index]
        if not frame.steady:
            score.share = share * frame.shares[index]
            beats.extend(Beat(bar.start_q + b, score.share) for b in mark.beats_q)
        for n, bending in enumerate(mark.bends):
            bends[index, n] = _bend(bar.start_q, bending, mark.meter)
    inside = sorted((b for b in bends.values() if b.at_q < end_q), key=lambda b: b.at_q)
    return Leg(start_q, end_q, frame.qpm, frame.to_qpm, beats, inside, not frame.own_tempo)


def _first_share(score: Score, visit: Visit, frame: Frame) -> Fraction:
    """The tempo share at the start: `beat = beat` in a section's first bar looks back to the section before."""
    first = visit.section.bars[visit.bars[0]]
    if not first.beat_kept or visit.bars[0] or frame.own_tempo or score.meter is None:
        return ONE
    return score.share * first.meter.beat_q / score.meter.beat_q


def _bend(bar_q: Fraction, bending: Bending, meter: Meter) -> Bend:
    """A change of tempo; a figure counts the counted beat, as a tempo setting does."""
    at_q = bar_q + bending.at_q
    if bending.to_bpm is not None:
        return Bend(at_q, to_qpm=Tempo(bending.to_bpm).qpm(meter))
    return Bend(at_q, share=bending.bend.share)


def _place_spans(score: Score, marks: Sequence[SpanMark], at_q: Fraction, bar: int) -> None:
    before = score.chords[-1] if score.chords else None
    for mark in marks:
        chord, symbol, written = mark.chord, mark.symbol, mark.written
        strike, push_q, grip = mark.strike, mark.push_q, mark.grip
        again = False
        if before is not None:
            if mark.held:
                chord, symbol, written = before.chord, before.symbol, before.written
                strike, grip = before.strike, before.grip
            again = mark.held or _same(chord, before.chord)
            if push_q and push_q >= before.length_q:
                push_q = before.length_q / 2
        before = ChordSpan(
            at_q + mark.start_q,
            at_q + mark.end_q,
            chord,
            symbol,
            written,
            bar,
            push_q,
            strike,
            mark.fermata,
            again,
            mark.held,
            grip,
        )
        score.chords.append(before)


def _same(chord: Chord | None, before: Chord | None) -> bool:
    """True when neither root, quality nor bass changes; N.C. after N.C. is the same too."""
    if chord is before:
        return True
    if chord is None or before is None:
        return False
    return (chord.root, chord.quality, chord.bass) == (before.root, before.quality, before.bass)


def _place_lines(score: Score, mark: BarMark, at_q: Fraction, end_q: Fraction) -> None:
    for note in mark.melody:
        start, end = at_q + note.start_q, at_q + note.end_q
        if note.pitch is not None and not note.held:
            score.melody.append(MelodyNote(start, end, note.pitch))
        elif score.melody and score.melody[-1].end_q == start:
            score.melody[-1] = score.melody[-1]._replace(end_q=end)
    for line, kick in ((mark.hits, False), (mark.kicks, True)):
        if line is None:
            continue
        last = score.rhythms[-1] if score.rhythms else None
        if last is not None and last.kick == kick and last.end_q == at_q:
            score.rhythms[-1] = Rhythm(last.start_q, end_q, kick)
        else:
            score.rhythms.append(Rhythm(at_q, end_q, kick))
        _place_hits(score, line, at_q, kick)


def _place_hits(score: Score, line: Sequence[NoteMark], at_q: Fraction, kick: bool) -> None:
    for note in line:
        start, end = at_q + note.start_q, at_q + note.end_q
        if not note.held:
            score.hits.append(Hit(start, end, kick))
        elif score.hits and score.hits[-1].end_q == start and score.hits[-1].kick == kick:
            score.hits[-1] = Hit(score.hits[-1].start_q, end, kick)
