"""A chart becomes a timeline: order of play, keys, tempo map, chords and marks in exact time.

Conventions: see `timeline`. What sounds is what is written, moved by the key asked for, the capo, the tuning and the
form's own transposition. Directions such as `rubato` or `in 2` hold to the end of their section, so a section is
played alike wherever it stands. Sources: the style that goes with a meter, common practice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from backing.chart.ast import Chart, Direction, Ending, EndingKind, Section
from backing.form.items import choruses_of
from backing.form.order import Visit, order_of_play
from backing.instruments import ROLES
from backing.marks import BarMark, NoteMark, SpanMark, mark_bar
from backing.pitch import UNISON, Key
from backing.tempo import Beat, Bend, Leg, tempo_steps
from backing.timebase import EIGHTH, FOUR_FOUR, QUARTER, SIXTEENTH, Meter, Tempo
from backing.timeline import (
    ChordSpan,
    Hit,
    MelodyNote,
    PlayedBar,
    Rhythm,
    SectionPass,
    TimeFeel,
    Timeline,
)
from backing.tonality import first_key

__all__ = ["Request", "first_key", "style_name", "unroll"]

ZERO = Fraction(0)
ONE = Fraction(1)
USUAL = Tempo(Fraction(120))
STYLE_FOR_METER = {(3, 4): "jazz waltz", (12, 8): "slow blues"}
STYLE_OTHERWISE = "rock eighths"
TIME_FEELS = {f.value: f for f in TimeFeel}


@dataclass(frozen=True, slots=True)
class Request:
    """What may be asked beside the chart. `tempo_bpm` counts as the chart's own tempo does, `tempo_percent` is a share
    of it (3/4); `bars` are the first and last number of the sheet; lengths are seconds."""

    tempo_bpm: Fraction | None = None
    tempo_percent: Fraction | None = None
    key: Key | None = None
    transpose: int | None = None
    style: str | None = None
    choruses: int | None = None
    length_s: float | None = None
    sections: tuple[str, ...] = ()
    bars: tuple[int, int] | None = None
    ending: Ending | None = None
    count_in: int | None = None
    colour: bool | None = None


AS_WRITTEN = Request()


def meter_of(chart: Chart) -> Meter:
    """The meter of the header, else of the first bar."""
    if chart.settings.meter is not None:
        return chart.settings.meter
    return next((bar.meter for s in chart.sections for bar in s.bars), FOUR_FOUR)


def style_name(chart: Chart) -> str:
    """The style that is written, else the usual one for the meter."""
    if chart.settings.style is not None:
        return chart.settings.style
    meter = meter_of(chart)
    return STYLE_FOR_METER.get((meter.count, meter.unit), STYLE_OTHERWISE)


def unroll(
    chart: Chart,
    request: Request = AS_WRITTEN,
    *,
    usual_tempo: Tempo = USUAL,
    grid_q: Fraction | None = None,
    section_grids: Mapping[str, Fraction] | None = None,
) -> Timeline:
    """What is played, in order.

    `usual_tempo` holds where no tempo is written; `grid_q` is the smallest note of the style and decides how early an
    unset push comes, `section_grids` says the same of styles that sections name. Raises `ChartError` for directions
    that lead nowhere and for more than 20,000 bars, `RequestError` for what the chart does not have.
    """
    band = _Band(usual_tempo, grid_q, section_grids or {})
    choruses = request.choruses or choruses_of(chart)
    return _whole(chart, request, band, choruses)


@dataclass(frozen=True, slots=True)
class _Band:
    """What the style brings."""

    usual_tempo: Tempo
    grid_q: Fraction | None
    section_grids: Mapping[str, Fraction]


@dataclass(frozen=True, slots=True)
class _Frame:
    """Settings of a section with those of the chart behind them."""

    marks: tuple[BarMark, ...]
    shares: tuple[Fraction, ...]  # of the tempo, bar by bar: `beat = beat`
    own_tempo: bool
    qpm: Fraction
    to_qpm: Fraction | None
    key: Key
    bar: Mapping[str, object]


@dataclass(slots=True)
class _Score:
    """What has been placed so far."""

    bars: list[PlayedBar] = field(default_factory=list)
    chords: list[ChordSpan] = field(default_factory=list)
    sections: list[SectionPass] = field(default_factory=list)
    melody: list[MelodyNote] = field(default_factory=list)
    hits: list[Hit] = field(default_factory=list)
    rhythms: list[Rhythm] = field(default_factory=list)
    legs: list[Leg] = field(default_factory=list)
    fermatas: list[tuple[Fraction, Fraction]] = field(default_factory=list)
    passes: dict[str, int] = field(default_factory=dict)
    end_q: Fraction = ZERO


def _whole(chart: Chart, request: Request, band: _Band, choruses: int) -> Timeline:
    order = order_of_play(chart, choruses)
    ending = request.ending or chart.header.ending or Ending()
    score = _Score()
    frames: dict[tuple[str, int], _Frame] = {}
    clave_half = 0
    share = ONE
    meter_before = meter_of(chart)
    for visit in order.visits:
        place = (visit.section.name, visit.transpose)
        frame = frames.get(place)
        if frame is None:
            frame = frames[place] = _frame(chart, request, band, visit)
        if visit.section.settings.clave is not None:
            clave_half = 0
        first = visit.section.bars[visit.bars[0]]
        start_share = ONE
        if first.beat_kept and not frame.own_tempo and visit.bars[0] == 0:
            start_share = share * first.meter.beat_q / meter_before.beat_q
        clave_half = _place(score, visit, frame, clave_half, start_share)
        last = visit.bars[-1]
        share = start_share * frame.shares[last]
        meter_before = visit.section.bars[last].meter
    steps = tempo_steps(score.legs, score.fermatas, _factor(chart, request, band))
    return Timeline(
        title=chart.header.title,
        by=chart.header.by,
        key=first_key(chart),
        style=request.style or style_name(chart),
        bars=tuple(score.bars),
        chords=tuple(score.chords),
        sections=tuple(score.sections),
        tempo=tuple(s for s in steps if s.at_q < score.end_q),
        choruses=choruses,
        ending=ending,
        count_in=chart.header.count_in if request.count_in is None else request.count_in,
        pickup=bool(score.bars) and score.bars[0].number == 0,
        fade_bars=ending.bars if ending.kind is EndingKind.FADE else 0,
        melody=tuple(score.melody),
        hits=tuple(score.hits),
        rhythms=tuple(score.rhythms),
        capo=chart.header.capo,
        tuned=chart.header.tuned,
        notes=(),
    )


def _frame(chart: Chart, request: Request, band: _Band, visit: Visit) -> _Frame:
    """The settings of a section and its bars, ready to be placed."""
    section, own, common = visit.section, visit.section.settings, chart.settings
    interval = UNISON
    key = own.key or first_key(chart)
    push_q = own.push_q or common.push_q
    if push_q is None:
        grid_q = band.section_grids.get(own.style or "", band.grid_q)
        push_q = SIXTEENTH if grid_q == SIXTEENTH else EIGHTH
    marks = tuple(mark_bar(bar, chart.source, push_q, interval) for bar in section.bars)
    qpm, to_qpm = _tempo(chart, section, band)
    players = own.players or common.players
    colour = own.colour if own.colour is not None else common.colour
    bar: dict[str, object] = {
        "style": None if request.style else own.style,
        "feel": own.feel or common.feel,
        "players": None
        if players is None
        else frozenset(
            r for r in ROLES if players.keeps(r) or (r == "click" and not players.all_but)
        ),
        "colour": colour if request.colour is None else request.colour,
        "clave": own.clave or common.clave,
    }
    return _Frame(
        marks, _shares(section), own.tempo is not None, qpm, to_qpm, key.up(interval), bar
    )


def _tempo(chart: Chart, section: Section, band: _Band) -> tuple[Fraction, Fraction | None]:
    """Quarters a minute at the start of a section, and at its end where it glides."""
    own = section.settings
    if own.tempo is not None:
        meter = own.meter or meter_of(chart)
        return own.tempo.qpm(meter), own.tempo.to_qpm(meter)
    meter = meter_of(chart)
    written = chart.settings.tempo
    if written is not None:
        return written.qpm(meter), written.to_qpm(meter)
    return _usual_qpm(band.usual_tempo, meter), None


def _usual_qpm(usual: Tempo, meter: Meter) -> Fraction:
    """A style's usual tempo in a meter: dotted quarters and quarters change places one to one."""
    if usual.unit_q in (None, QUARTER, Fraction(3, 2)):
        return usual.bpm * (meter.beat_q if meter.compound else QUARTER)
    return usual.qpm(meter)


def _factor(chart: Chart, request: Request, band: _Band) -> Fraction:
    """What every tempo is multiplied by."""
    if request.tempo_percent is not None:
        return request.tempo_percent
    if request.tempo_bpm is None:
        return ONE
    meter = meter_of(chart)
    written = chart.settings.tempo
    if written is not None:
        return request.tempo_bpm / written.bpm
    return Tempo(request.tempo_bpm).qpm(meter) / _usual_qpm(band.usual_tempo, meter)


def _shares(section: Section) -> tuple[Fraction, ...]:
    shares: list[Fraction] = []
    share, before = ONE, None
    for bar in section.bars:
        if bar.beat_kept and before is not None:
            share *= bar.meter.beat_q / before.beat_q
        shares.append(share)
        before = bar.meter
    return tuple(shares)


def _place(
    score: _Score, visit: Visit, frame: _Frame, clave_half: int, start_share: Fraction
) -> int:
    """Place one playing of a section after what is there; returns the running half of the clave."""
    section = visit.section
    pass_ = score.passes[section.name] = score.passes.get(section.name, 0) + 1
    start_q = at_q = score.end_q
    first = len(score.bars) + 1
    count = len(visit.bars)
    time_feel, rubato, tacet = TimeFeel.NORMAL, False, frozenset[str]()
    beats: list[Beat] = []
    bends: dict[tuple[int, int], Bend] = {}
    common = dict(frame.bar)
    for i, index in enumerate(visit.bars):
        mark = frame.marks[index]
        end_q = at_q + mark.length_q
        for direction in mark.switches:
            time_feel, rubato, tacet = _switched(direction, time_feel, rubato, tacet)
        share = start_share * frame.shares[index]
        beats.extend(Beat(at_q + b, share) for b in mark.beats_q)
        for n, (place_q, direction) in enumerate(mark.bends):
            bends[index, n] = _bend(at_q + place_q, direction, mark.meter)
        score.bars.append(
            PlayedBar(
                index=first + i,
                number=mark.number,
                section=section.name,
                section_index=len(score.sections),
                pass_=pass_,
                chorus=visit.chorus,
                line=mark.line,
                meter=mark.meter,
                start_q=at_q,
                end_q=end_q,
                key=frame.key,
                clave_half=clave_half,
                tacet=tacet,
                time_feel=time_feel,
                rubato=rubato,
                breaks=mark.breaks,
                fills=mark.fills,
                **common,  # type: ignore[arg-type]
            )
        )
        _place_spans(score, mark.spans, at_q, first + i)
        _place_lines(score, mark, at_q, end_q)
        if mark.number:
            clave_half = 1 - clave_half
        at_q = end_q
    placed = sorted((b for b in bends.values() if b.at_q < at_q), key=lambda b: b.at_q)
    score.legs.append(Leg(start_q, at_q, frame.qpm, frame.to_qpm, beats, placed))
    score.sections.append(
        SectionPass(
            section.name,
            pass_,
            visit.chorus,
            visit.part,
            first,
            first + count - 1,
            visit.transpose,
        )
    )
    score.end_q = at_q
    return clave_half


def _switched(
    direction: Direction, time_feel: TimeFeel, rubato: bool, tacet: frozenset[str]
) -> tuple[TimeFeel, bool, frozenset[str]]:
    if direction.name == "rubato":
        return time_feel, True, tacet
    if direction.name == "a tempo":
        return time_feel, False, tacet
    if direction.name == "tacet":
        return time_feel, rubato, tacet | {direction.role or ""}
    return TIME_FEELS[direction.name], rubato, tacet


def _bend(at_q: Fraction, direction: Direction, meter: Meter) -> Bend:
    if direction.name == "a tempo":
        return Bend(at_q)
    if direction.value is not None:
        return Bend(at_q, to_qpm=Tempo(direction.value).qpm(meter))
    from backing.tempo import ACCEL, RIT

    return Bend(at_q, share=RIT if direction.name == "rit." else ACCEL)


def _place_spans(score: _Score, marks: Sequence[SpanMark], at_q: Fraction, bar: int) -> None:
    before = score.chords[-1] if score.chords else None
    for mark in marks:
        chord, symbol, written, strike = mark.chord, mark.symbol, mark.written, mark.strike
        if mark.held and before is not None:
            chord, symbol, written, strike = (
                before.chord,
                before.symbol,
                before.written,
                before.strike,
            )
        again = before is not None and (
            chord is before.chord
            or (
                chord is not None
                and before.chord is not None
                and chord.root == before.chord.root
                and chord.quality == before.chord.quality
                and chord.bass == before.chord.bass
            )
        )
        push_q = mark.push_q
        if push_q and before is not None and push_q >= before.length_q:
            push_q = before.length_q / 2
        start_q, end_q = at_q + mark.start_q, at_q + mark.end_q
        before = ChordSpan(
            start_q,
            end_q,
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
        if mark.fermata:
            score.fermatas.append((start_q, end_q))


def _place_lines(score: _Score, mark: BarMark, at_q: Fraction, end_q: Fraction) -> None:
    for note in mark.melody:
        start, end = at_q + note.start_q, at_q + note.end_q
        if note.pitch is not None and not note.held:
            score.melody.append(MelodyNote(start, end, note.pitch))
        elif score.melody and score.melody[-1].end_q == start:
            score.melody[-1] = replace(score.melody[-1], end_q=end)
    for line, kick in ((mark.hits, False), (mark.kicks, True)):
        if line is None:
            continue
        last = score.rhythms[-1] if score.rhythms else None
        if last is not None and last.kick == kick and last.end_q == at_q:
            score.rhythms[-1] = Rhythm(last.start_q, end_q, kick)
        else:
            score.rhythms.append(Rhythm(at_q, end_q, kick))
        _place_hits(score, line, at_q, kick)


def _place_hits(score: _Score, line: Sequence[NoteMark], at_q: Fraction, kick: bool) -> None:
    for note in line:
        start, end = at_q + note.start_q, at_q + note.end_q
        if not note.held:
            score.hits.append(Hit(start, end, kick))
        elif score.hits and score.hits[-1].end_q == start and score.hits[-1].kick == kick:
            score.hits[-1] = Hit(score.hits[-1].start_q, end, kick)
