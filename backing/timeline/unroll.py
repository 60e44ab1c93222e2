"""A chart becomes a timeline: form, keys, tempo map, chords and marks in exact time.

Conventions: see `timeline`. The floors below hold the parts: `form` the order of play, `frame` what holds in a section,
`placing` the bars in time, `tempo` the tempo map, `closing` the end, `reshape` what is cut out of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from backing.chart.ast import Chart, Ending, EndingKind
from backing.ground.errors import ChartError, RequestError
from backing.ground.manners import FULL, OFF
from backing.ground.timebase import Tempo, TempoMap
from backing.timeline.closes import with_step, with_turns
from backing.timeline.closing import closing_chord, with_closing_bar, with_ritard, with_tag
from backing.timeline.form import Form
from backing.timeline.frame import (
    Close,
    Frame,
    Ground,
    chart_qpm,
    frame_of,
    ground_of,
    sounding,
    style_name,
    tempo_factor,
)
from backing.timeline.model import PlayedBar, Timeline
from backing.timeline.opening import with_intro
from backing.timeline.order.items import BARS_PLAYED_MAX, choruses_of
from backing.timeline.order.order import Order, order_of_play
from backing.timeline.placing import Score, place
from backing.timeline.tempo import SLOWEST_US, TOO_SLOW, glided, held, tempo_steps
from backing.timeline.tonality import first_key

__all__ = ["first_key", "style_name", "unroll"]

USUAL = Tempo(Fraction(120))
AS_WRITTEN = Form()
OPEN = Close()


def unroll(
    chart: Chart,
    form: Form = AS_WRITTEN,
    *,
    usual_tempo: Tempo = USUAL,
    grid_q: Fraction | None = None,
    section_grids: Mapping[str, Fraction] | None = None,
    usual_close: Close = OPEN,
) -> Timeline:
    """What is played, in order.

    `usual_tempo` holds where no tempo is written, `usual_close` where no ending or no count-in is; `grid_q` is the smallest note of the style and decides how early an
    unset push comes, `section_grids` says the same of styles that sections name. Raises `ChartError` for directions
    that lead nowhere and for more than 20,000 bars, `RequestError` for what the chart does not have.
    """
    ground = ground_of(chart, form, usual_tempo, grid_q, section_grids or {}, usual_close)
    if form.sections or form.bars:
        return _excerpt(ground)
    if form.choruses is None and form.length_s is None:
        return _whole(ground, choruses_of(chart))
    choruses = form.choruses or _choruses_for(ground, form.length_s or 0.0)
    try:
        return _whole(ground, choruses)
    except ChartError as wrong:
        if wrong.diagnostics[0].code == "E601":
            raise _too_many(choruses) from None
        raise


def _too_many(choruses: int) -> RequestError:
    return RequestError(
        f"--choruses {choruses}: more than {BARS_PLAYED_MAX:,} bars would be played; ask for fewer"
    )


def _excerpt(ground: Ground) -> Timeline:
    """The sections or bars that are asked for, as often as choruses are asked for."""
    form = ground.form
    from backing.timeline.reshape import only_bars, only_sections, repeated, uncut

    plain = form._replace(ending=Ending(EndingKind.AS_WRITTEN), intro=OFF)
    timeline = _whole(ground._replace(form=plain), choruses_of(ground.chart))
    if form.bars is not None:
        timeline = only_bars(timeline, *form.bars)
    else:
        timeline = only_sections(timeline, form.sections)
    times = form.choruses or 1
    if form.length_s is not None:
        times = max(1, round(form.length_s / duration_s(timeline)))
    if times * len(timeline.bars) > BARS_PLAYED_MAX:
        raise _too_many(times)
    if times > 1:  # a track of its own, with a plan of its own
        timeline = repeated(uncut(timeline), times)
    if form.ending is not None:
        timeline = timeline._replace(
            ending=form.ending,
            ending_asked=True,
            fade_bars=_fade_bars(form.ending, timeline.bars),
        )
        if form.ending.kind is EndingKind.RIT:
            timeline = with_ritard(timeline)
    return timeline


def duration_s(timeline: Timeline) -> float:
    """Seconds from the first bar to the end of the last, without count-in and ring."""
    return TempoMap(timeline.tempo).seconds(timeline.length_q)


def _choruses_for(ground: Ground, length_s: float) -> int:
    """As many choruses as come nearest to a length, at least one."""
    one, two = (_whole(ground, n) for n in (1, 2))
    chorus_s = duration_s(two) - duration_s(one)
    most = 1 + (BARS_PLAYED_MAX - len(one.bars)) // max(1, len(two.bars) - len(one.bars))
    return min(most, max(1, 1 + round((length_s - duration_s(one)) / chorus_s)))


def _whole(ground: Ground, choruses: int) -> Timeline:
    """The whole form with its end."""
    chart, form, header = ground.chart, ground.form, ground.chart.header
    order = order_of_play(chart, choruses)
    asked = form.ending or header.ending
    ending = asked or ground.usual_close.ending or Ending()
    if ending.kind is EndingKind.TAG:
        order = order._replace(visits=with_tag(order.visits))
    score = _placed(ground, order)
    glide = chart.settings.tempo
    legs = score.legs
    if glide is not None and glide.to_bpm is not None:
        legs = glided(legs, chart_qpm(ground) * glide.to_bpm / glide.bpm, score.end_q)
    steps = tempo_steps(legs, tempo_factor(ground))
    if tempo_factor(ground) != 1 and any(s.us == SLOWEST_US for s in steps):
        raise RequestError(TOO_SLOW)
    fermatas = [(c.start_q, c.end_q) for c in score.chords if c.fermata]
    counts = (form.count_in, header.count_in, ground.usual_close.count_in)
    timeline = Timeline(
        title=header.title,
        by=header.by,
        key=sounding(ground.key, ground.shift, ground.higher)[0],
        style=form.style or style_name(chart),
        bars=tuple(score.bars),
        chords=tuple(score.chords),
        sections=tuple(score.sections),
        tempo=tuple(s for s in held(steps, fermatas) if s.at_q < score.end_q),
        choruses=choruses,
        ending=ending,
        ending_asked=asked is not None,
        count_in=next((bars for bars in counts if bars is not None), None),
        pickup=bool(score.bars) and score.bars[0].number == 0,
        fade_bars=_fade_bars(ending, score.bars),
        melody=tuple(score.melody),
        hits=tuple(score.hits),
        rhythms=tuple(score.rhythms),
        capo=header.capo,
        tuned=header.tuned,
        tuning=header.tuning,
        chord_melody=header.chord_melody,
        german=header.german,
        notes=tuple(_decided(ground)),
        plan=form.plan or header.plan or FULL,
    )
    if ending.kind is EndingKind.TAG:
        timeline = with_turns(timeline)
    chord = closing_chord(timeline, order)
    if chord is not None:
        timeline = with_closing_bar(timeline, chord)
    if ending.kind is EndingKind.RIT and not (score.legs and score.legs[-1].bends):
        timeline = with_ritard(timeline)
    if not order.written_ending:
        timeline = with_step(timeline)
    return with_intro(timeline, form.intro or header.intro or OFF)


def _placed(ground: Ground, order: Order) -> Score:
    """Every bar of the order of play in time."""
    score = Score()
    frames: dict[tuple[str, int], Frame] = {}
    for visit in order.visits:
        which = (visit.section.name, visit.transpose)
        if which not in frames:
            frames[which] = frame_of(ground, visit.section, visit.transpose)
        place(score, visit, frames[which])
    return score


def _fade_bars(ending: Ending, bars: Sequence[PlayedBar]) -> int:
    """Over how many bars the track fades: never more than are played."""
    return min(ending.bars, len(bars)) if ending.kind is EndingKind.FADE else 0


def _decided(ground: Ground) -> list[str]:
    """What was chosen where the chart does not say."""
    chart, form = ground.chart, ground.form
    notes = []
    if chart.settings.style is None and form.style is None:
        notes.append(f"no style is written: {style_name(chart)} is played")
    if chart.settings.key is None and chart.sections[0].settings.key is None:
        notes.append(f"no key is written: the chords are read in {ground.key}")
    if ground.higher and form.key is None and not form.transpose:
        there = sounding(ground.key, ground.shift, ground.higher)[0]
        header = chart.header
        why = [f"capo {header.capo}"] * bool(header.capo) + [f"tuned {header.tuned:+d}"] * bool(
            header.tuned
        )
        notes.append(
            f"{', '.join(why)}: the sheet stays in {ground.key}, the band sounds in {there}"
        )
    if chart.header.tuning:
        names = " ".join(note.name for note in chart.header.tuning)
        notes.append(f"tuning {names}: guitars are played on these strings, the bass on its own")
    if form.key is not None and form.key.minor and not ground.key.minor:
        there = sounding(ground.key, ground.shift, 0)[0]
        notes.append(f"{form.key} was asked for, and the chart is in major: it is moved to {there}")
    if chart.settings.tempo is None and form.tempo_bpm is None:
        qpm = float(chart_qpm(ground))
        notes.append(f"no tempo is written: {qpm:g} quarters a minute, as is usual for the style")
    return notes
