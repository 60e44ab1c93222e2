"""Bars placed in time, one playing of a section after another.

Conventions: directions such as `rubato` or `in 2` hold to the end of their section, so a section is played alike
wherever it stands; a `rit.` in a repeated bar is played the last time through. A chord that lasts into another bar is
one span a bar. A push never swallows the chord before it: it comes at most half of that chord early.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from backing.chart.ast import Direction
from backing.ground.timebase import Meter, Tempo
from backing.harmony.symbol import Chord
from backing.timeline.frame import Frame
from backing.timeline.marks import BarMark, NoteMark, SpanMark
from backing.timeline.model import (
    ChordSpan,
    Hit,
    MelodyNote,
    PlayedBar,
    Rhythm,
    SectionPass,
    TimeFeel,
)
from backing.timeline.order.order import Visit
from backing.timeline.tempo import ACCEL, RIT, Beat, Bend, Leg

ZERO = Fraction(0)
ONE = Fraction(1)
TIME_FEELS = {f.value: f for f in TimeFeel}


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
    name = visit.label or visit.section.name
    pass_ = score.passes[name] = score.passes.get(name, 0) + 1
    if frame.own_clave:
        score.clave_half = 0
    share = score.share = _first_share(score, visit, frame)
    start_q = at_q = score.end_q
    first, count = len(score.bars) + 1, len(visit.bars)
    time_feel, rubato, tacet = TimeFeel.NORMAL, False, frozenset[str]()
    beats = [Beat(start_q, share)] if frame.steady else []
    bends: dict[tuple[int, int], Bend] = {}
    dynamics = frame.dynamics
    level = level_end = None if dynamics is None else dynamics.level
    for i, index in enumerate(visit.bars):
        mark = frame.marks[index]
        end_q = at_q + mark.length_q
        for direction in mark.switches:
            time_feel, rubato, tacet = _switched(direction, time_feel, rubato, tacet)
        if not frame.steady:
            score.share = share * frame.shares[index]
            beats.extend(Beat(at_q + b, score.share) for b in mark.beats_q)
        for n, (place_q, direction) in enumerate(mark.bends):
            bends[index, n] = _bend(at_q + place_q, direction, mark.meter)
        if dynamics is not None and dynamics.to is not None:
            level = dynamics.level + (dynamics.to - dynamics.level) * i / count
            level_end = dynamics.level + (dynamics.to - dynamics.level) * (i + 1) / count
        score.bars.append(
            PlayedBar(
                index=first + i,
                number=mark.number,
                section=name,
                section_index=len(score.sections),
                pass_=pass_,
                chorus=visit.chorus,
                line=mark.line,
                meter=mark.meter,
                start_q=at_q,
                end_q=end_q,
                key=frame.key,
                style=frame.style,
                feel=frame.feel,
                dynamic=level,
                dynamic_end=level_end,
                players=frame.players,
                tacet=tacet,
                colour=frame.colour,
                clave=frame.clave,
                clave_half=score.clave_half,
                time_feel=time_feel,
                rubato=rubato,
                breaks=mark.breaks,
                fills=mark.fills,
            )
        )
        _place_spans(score, mark.spans, at_q, first + i)
        if mark.melody or mark.hits is not None or mark.kicks is not None:
            _place_lines(score, mark, at_q, end_q)
        if mark.number:
            score.clave_half = 1 - score.clave_half
        score.meter = mark.meter
        at_q = end_q
    inside = sorted((b for b in bends.values() if b.at_q < at_q), key=lambda b: b.at_q)
    score.legs.append(
        Leg(start_q, at_q, frame.qpm, frame.to_qpm, beats, inside, not frame.own_tempo)
    )
    score.sections.append(
        SectionPass(
            name, pass_, visit.chorus, visit.part, first, first + count - 1, visit.transpose
        )
    )
    score.end_q = at_q


def _first_share(score: Score, visit: Visit, frame: Frame) -> Fraction:
    """The tempo share at the start: `beat = beat` in a section's first bar looks back to the section before."""
    first = visit.section.bars[visit.bars[0]]
    if not first.beat_kept or visit.bars[0] or frame.own_tempo or score.meter is None:
        return ONE
    return score.share * first.meter.beat_q / score.meter.beat_q


def _switched(
    direction: Direction, time_feel: TimeFeel, rubato: bool, tacet: frozenset[str]
) -> tuple[TimeFeel, bool, frozenset[str]]:
    """What holds from a direction on."""
    if direction.name == "rubato":
        return time_feel, True, tacet
    if direction.name == "a tempo":
        return time_feel, False, tacet
    if direction.name == "tacet":
        return time_feel, rubato, tacet | {direction.role} if direction.role else tacet
    return TIME_FEELS[direction.name], rubato, tacet


def _bend(at_q: Fraction, direction: Direction, meter: Meter) -> Bend:
    """A change of tempo; a figure counts the counted beat, as a tempo setting does."""
    if direction.name == "a tempo":
        return Bend(at_q)
    if direction.value is not None:
        return Bend(at_q, to_qpm=Tempo(direction.value).qpm(meter))
    return Bend(at_q, share=RIT if direction.name == "rit." else ACCEL)


def _place_spans(score: Score, marks: Sequence[SpanMark], at_q: Fraction, bar: int) -> None:
    before = score.chords[-1] if score.chords else None
    for mark in marks:
        chord, symbol, written = mark.chord, mark.symbol, mark.written
        strike, push_q = mark.strike, mark.push_q
        again = False
        if before is not None:
            if mark.held:
                chord, symbol, written = before.chord, before.symbol, before.written
                strike = before.strike
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
