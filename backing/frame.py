"""What holds in a playing of a section: the settings of section, chart and request, and its bars ready to be placed.

Conventions: a section's own setting comes before the chart's; what was asked for comes before both. What sounds is what
is written, moved by the key asked for, then by capo, tuning and the form's own transposition. Sources: the style that
goes with a meter, and that dotted quarters and quarters stand for each other between meters, common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from backing.chart.ast import Chart, Dynamics, Ending, Section
from backing.harmony.spelling import interval_for_semitones, interval_to_key
from backing.instruments import ROLES
from backing.marks import BarMark, mark_bar
from backing.pitch import UNISON, Interval, Key
from backing.timebase import EIGHTH, FOUR_FOUR, QUARTER, SIXTEENTH, Feel, Meter, Tempo
from backing.tonality import first_key

ONE = Fraction(1)
STYLE_FOR_METER = {(3, 4): "jazz waltz", (12, 8): "slow blues"}
STYLE_OTHERWISE = "rock eighths"


@dataclass(frozen=True, slots=True)
class Request:
    """What may be asked beside the chart.

    `tempo_bpm` counts as the chart's own tempo does, `tempo_percent` is a share of it (3/4); `bars` are the first and
    the last number of the sheet; `length_s` is in seconds. `colour` False leaves out what is not written.
    """

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


@dataclass(frozen=True, slots=True)
class Band:
    """What the style brings: its usual tempo and smallest note, and the smallest notes of sections' own styles."""

    usual_tempo: Tempo
    grid_q: Fraction | None
    section_grids: Mapping[str, Fraction]


@dataclass(frozen=True, slots=True)
class Frame:
    """One section in one transposition. `shares` multiply the tempo bar by bar (`beat = beat`).

    `steady` is true where the tempo cannot change inside the section, so that nobody need count its beats.
    """

    marks: tuple[BarMark, ...]
    shares: tuple[Fraction, ...]
    qpm: Fraction
    to_qpm: Fraction | None
    own_tempo: bool
    steady: bool
    key: Key
    style: str | None
    feel: Feel | None
    dynamics: Dynamics | None
    players: frozenset[str] | None
    colour: bool | None
    clave: str | None
    own_clave: bool


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


def shift_of(chart: Chart, request: Request) -> Interval:
    """The interval from the key that is written to the one that is asked for."""
    if request.key is not None:
        return interval_to_key(first_key(chart), request.key)
    if request.transpose:
        return interval_for_semitones(first_key(chart), request.transpose)
    return UNISON


def sounding(key: Key, shift: Interval, semitones: int) -> tuple[Key, Interval]:
    """Where a written key sounds after a shift and so many semitones more, and the interval to it."""
    if abs(key.up(shift).fifths) > 7:
        shift = interval_for_semitones(key, shift.semitones)
    more = interval_for_semitones(key.up(shift), semitones)
    return key.up(shift).up(more), shift + more


def frame_of(
    chart: Chart, request: Request, band: Band, section: Section, key: Key, transpose: int
) -> Frame:
    """The frame of a section whose written key is `key` unless it has its own."""
    own, common, header = section.settings, chart.settings, chart.header
    sounds, interval = sounding(
        own.key or key, shift_of(chart, request), header.capo + header.tuned + transpose
    )
    push_q = own.push_q if own.push_q is not None else common.push_q
    if push_q is None:
        grid_q = band.section_grids.get(own.style or "", band.grid_q)
        push_q = SIXTEENTH if grid_q == SIXTEENTH else EIGHTH
    players = own.players or common.players
    colour = own.colour if own.colour is not None else common.colour
    qpm, to_qpm = _tempo(chart, section, band)
    marks = tuple(mark_bar(bar, chart.source, push_q, interval, sounds) for bar in section.bars)
    shares = _shares(section)
    glides = to_qpm is not None or (common.tempo is not None and common.tempo.to_bpm is not None)
    return Frame(
        marks=marks,
        shares=shares,
        qpm=qpm,
        to_qpm=to_qpm,
        own_tempo=own.tempo is not None,
        steady=not glides and set(shares) == {ONE} and not any(m.bends for m in marks),
        key=sounds,
        style=None if request.style else own.style,
        feel=own.feel or common.feel,
        dynamics=own.dynamics or common.dynamics,
        players=None
        if players is None
        else frozenset(r for r in ROLES if r == "click" or players.keeps(r)),
        colour=colour if request.colour is None else request.colour,
        clave=own.clave or common.clave,
        own_clave=own.clave is not None,
    )


def _tempo(chart: Chart, section: Section, band: Band) -> tuple[Fraction, Fraction | None]:
    """Quarters a minute at the start of a section, and at its end where its own tempo glides."""
    own, meter = section.settings, meter_of(chart)
    if own.tempo is not None:
        return own.tempo.qpm(own.meter or meter), own.tempo.to_qpm(own.meter or meter)
    return chart_qpm(chart, band), None


def chart_qpm(chart: Chart, band: Band) -> Fraction:
    """Quarters a minute as the header has it, else as is usual for the style."""
    meter = meter_of(chart)
    if chart.settings.tempo is not None:
        return chart.settings.tempo.qpm(meter)
    usual = band.usual_tempo
    if usual.unit_q in (None, QUARTER, Fraction(3, 2)):
        return usual.bpm * (meter.beat_q if meter.compound else QUARTER)
    return usual.qpm(meter)


def tempo_factor(chart: Chart, request: Request, band: Band) -> Fraction:
    """What every tempo is multiplied by."""
    if request.tempo_percent is not None:
        return Fraction(request.tempo_percent)
    if request.tempo_bpm is None:
        return ONE
    written = chart.settings.tempo
    asked = Tempo(request.tempo_bpm, written.unit_q if written is not None else None)
    return asked.qpm(meter_of(chart)) / chart_qpm(chart, band)


def _shares(section: Section) -> tuple[Fraction, ...]:
    """The tempo of every bar against the section's first, in written order."""
    shares: list[Fraction] = []
    share, before = ONE, None
    for bar in section.bars:
        if bar.beat_kept and before is not None:
            share *= bar.meter.beat_q / before.beat_q
        shares.append(share)
        before = bar.meter
    return tuple(shares)
