"""What holds in a playing of a section: the settings of section and chart, what is asked, and its bars ready to be placed.

Conventions: a section's own setting comes before the chart's; what was asked for comes before both. What sounds is what
is written, moved by the key asked for, then by capo, tuning and the form's own transposition. Sources: the style that
goes with a meter, and that dotted quarters and quarters stand for each other between meters, common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from backing.chart.ast import Chart, Dynamics, Ending, Section
from backing.ground.levels import Levels, over
from backing.ground.pitch import UNISON, Interval, Key
from backing.ground.roles import ROLES
from backing.ground.timebase import (
    EIGHTH,
    FOUR_FOUR,
    QUARTER,
    SIXTEENTH,
    TRIPLET,
    Feel,
    Meter,
    Tempo,
)
from backing.harmony.spelling import interval_for_semitones, interval_to_key
from backing.timeline.form import Form
from backing.timeline.marks import BarMark, mark_bar, moved_key
from backing.timeline.tonality import first_key

ONE = Fraction(1)
STYLE_FOR_METER = {(3, 4): "jazz waltz", (12, 8): "slow blues"}
STYLE_OTHERWISE = "rock eighths"


class Close(NamedTuple):
    """How a style ends and how many bars it counts in, None where it leaves that to the meter and the tempo."""

    ending: Ending | None = None
    count_in: int | None = None


class Ground(NamedTuple):
    """What is the same for all sections: chart, what is asked of the form, what the style brings, and the key and its shift.

    `usual_tempo`, `usual_close` and `grid_q` (the smallest note) are the style's; `section_grids` those of styles that sections name.
    `key` is the written key, `shift` the interval to the one that is asked for.
    """

    chart: Chart
    form: Form
    usual_tempo: Tempo
    grid_q: Fraction | None
    section_grids: Mapping[str, Fraction]
    key: Key
    shift: Interval
    usual_close: Close

    @property
    def higher(self) -> int:
        """Semitones that the guitar sounds above what is written."""
        return self.chart.header.capo + self.chart.header.tuned


def ground_of(
    chart: Chart,
    form: Form,
    usual_tempo: Tempo,
    grid_q: Fraction | None,
    section_grids: Mapping[str, Fraction],
    usual_close: Close,
) -> Ground:
    """The ground for a chart and a form."""
    key, shift = first_key(chart), UNISON
    if form.key is not None:
        shift = interval_to_key(key, form.key)
    elif form.transpose:
        shift = interval_for_semitones(key, form.transpose)
    return Ground(chart, form, usual_tempo, grid_q, section_grids, key, shift, usual_close)


class Frame(NamedTuple):
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
    levels: Levels
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


def sounding(key: Key, shift: Interval, semitones: int) -> tuple[Key, Interval]:
    """Where a written key sounds after a shift and so many semitones more, and the interval to it."""
    there, shift = moved_key(key, shift)
    more = interval_for_semitones(there, semitones)
    return there.up(more), shift + more


def frame_of(ground: Ground, section: Section, transpose: int) -> Frame:
    """The frame of a section in one transposition (semitones, of the form)."""
    chart, form = ground.chart, ground.form
    own, common = section.settings, chart.settings
    sounds, interval = sounding(own.key or ground.key, ground.shift, ground.higher + transpose)
    asked = own.push_q if own.push_q is not None else common.push_q
    grid_q = ground.section_grids.get(own.style or "", ground.grid_q)
    push_q = asked or (SIXTEENTH if grid_q == SIXTEENTH else EIGHTH)
    of_a_quarter = TRIPLET if asked is None and grid_q == TRIPLET else push_q
    players = own.players or common.players
    colour = own.colour if own.colour is not None else common.colour
    qpm, to_qpm = _tempo(ground, section)
    marks = tuple(
        mark_bar(
            bar,
            chart.source,
            push_q if bar.meter.unit == 8 else of_a_quarter,
            interval,
            sounds,
            ground.higher,
        )
        for bar in section.bars
    )
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
        style=None if form.style else own.style,
        feel=own.feel or common.feel,
        dynamics=own.dynamics or common.dynamics,
        players=None
        if players is None
        else frozenset(r for r in ROLES if r == "click" or players.keeps(r)),
        levels=over(common.levels or (), own.levels or ()),
        colour=False if form.plain else colour,
        clave=own.clave or common.clave,
        own_clave=own.clave is not None,
    )


def _tempo(ground: Ground, section: Section) -> tuple[Fraction, Fraction | None]:
    """Quarters a minute at the start of a section, and at its end where its own tempo glides."""
    own, meter = section.settings, meter_of(ground.chart)
    if own.tempo is not None:
        return own.tempo.qpm(own.meter or meter), own.tempo.to_qpm(own.meter or meter)
    return chart_qpm(ground), None


def chart_qpm(ground: Ground) -> Fraction:
    """Quarters a minute as the header has it, else as is usual for the style."""
    meter, written, usual = meter_of(ground.chart), ground.chart.settings.tempo, ground.usual_tempo
    if written is not None:
        return written.qpm(meter)
    if usual.unit_q is not None and usual.unit_q >= 2:
        return usual.qpm(meter)
    return usual.bpm * (meter.beat_q if meter.compound else QUARTER)


def tempo_factor(ground: Ground) -> Fraction:
    """What every tempo is multiplied by."""
    form, written = ground.form, ground.chart.settings.tempo
    if form.tempo_percent is not None:
        return Fraction(form.tempo_percent)
    if form.tempo_bpm is None:
        return ONE
    asked = Tempo(form.tempo_bpm, written.unit_q if written is not None else None)
    return asked.qpm(meter_of(ground.chart)) / chart_qpm(ground)


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
