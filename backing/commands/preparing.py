"""A chart made ready: its styles found, the order of play unrolled, the band arranged and performed.

text ─parse─▶ Chart ─prepare─▶ Timeline, styles ─band─▶ Performance
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.options import Options
from backing.ground.errors import ChartError, RequestError, StyleError
from backing.ground.pitch import UNISON
from backing.ground.roles import in_score_order, role_of

if TYPE_CHECKING:
    from backing.band.model import Arrangement
    from backing.chart.ast import Chart
    from backing.ground.pitch import Interval
    from backing.ground.source import Diagnostic
    from backing.ground.timebase import Tempo
    from backing.performance.model import Performance
    from backing.styles.model import Style
    from backing.timeline.form import Form
    from backing.timeline.model import Timeline

PLAIN = Options()


class Prepared(NamedTuple):
    """A chart with the styles that it needs, unrolled as asked."""

    chart: Chart
    timeline: Timeline
    style: Style
    styles: dict[str, Style]
    warnings: tuple[Diagnostic, ...]


def prepare(chart: Chart, wish: Options = PLAIN) -> Prepared:
    """Find the styles, unroll. Raises `ChartError` (unknown style in the chart), `RequestError`, `StyleError`."""
    from backing.styles.find import find
    from backing.timeline.frame import Close
    from backing.timeline.unroll import style_name, unroll

    chart = held_as_asked(chart, wish)
    name = wish.form.style or style_name(chart)
    style = find(name) if wish.form.style else written_style(chart, name)
    styles = {} if wish.form.style else section_styles(chart)
    timeline = unroll(
        chart,
        asked_form(wish),
        usual_tempo=usual_tempo(style),
        grid_q=style.grid_q,
        section_grids={name: own.grid_q for name, own in styles.items()},
        usual_close=Close(style.ending, style.count_in),
    )
    warnings = (
        *chart.warnings,
        *levels_of_nobody(chart, timeline, (style, *styles.values())),
        *solo_without_tune(chart, timeline),
    )
    return Prepared(chart, timeline, style, styles, warnings)


def levels_of_nobody(
    chart: Chart, timeline: Timeline, styles: Sequence[Style]
) -> Iterator[Diagnostic]:
    """A warning for each level in the chart of a player that none of its styles has."""
    from backing.chart.codes import Faults

    players = available(timeline, styles)
    there = {*players, *(role_of(player).name for player in players)}
    faults = Faults(chart.source)
    own = [(section.settings, section.written) for section in chart.sections]
    for settings, written in [(chart.settings, chart.written), *own]:
        for player, _ in settings.levels or ():
            if player not in there:
                line = next(w for w in written if w.name == "levels")
                at = line.value_span.start + line.value.casefold().find(player)
                faults.add(
                    "W202", at, at + len(player),
                    style=styles[0].name, player=player, players=", ".join(players),
                )  # fmt: skip
    yield from faults.found


def solo_without_tune(chart: Chart, timeline: Timeline) -> Iterator[Diagnostic]:
    """A warning where the chart asks for a solo guitar and has no tune for it."""
    from backing.chart.codes import Faults

    line = next((w for w in chart.written if w.name == "chord-melody"), None)
    if line is not None and timeline.chord_melody and not timeline.melody:
        faults = Faults(chart.source)
        faults.add("W204", line.value_span.start, line.value_span.end)
        yield from faults.found


def held_as_asked(chart: Chart, wish: Options) -> Chart:
    """The chart with the capo, the tuning and the introduction that are asked for in place of its own."""
    from dataclasses import replace

    header, form = chart.header, wish.form
    if form.capo is not None:
        header = header._replace(capo=form.capo)
    if form.tuned is not None:
        header = header._replace(tuned=form.tuned)
    if form.chord_melody is not None:
        header = header._replace(chord_melody=form.chord_melody)
    if form.intro is not None:
        header = header._replace(intro=form.intro)
    return chart if header is chart.header else replace(chart, header=header)


def asked_form(wish: Options) -> Form:
    """What is asked of the form; a loop ends as written, and has no introduction, nor a count-in unless one is asked for."""
    from backing.chart.ast import Ending, EndingKind
    from backing.ground.manners import OFF

    if not wish.sound.loop:
        return wish.form
    return wish.form._replace(
        ending=Ending(EndingKind.AS_WRITTEN), intro=OFF, count_in=wish.form.count_in or 0
    )


def once(wish: Options) -> Options:
    """The same for one chorus: what is written does not grow with how often it is played."""
    return wish.changed(choruses=1, length_s=None)


def usual_tempo(style: Style) -> Tempo:
    """A style's usual tempo; it counts the beat of the style's own meter."""
    from backing.ground.timebase import Tempo

    meter = style.meters[0]
    return Tempo(Fraction(str(style.usual_bpm)), meter.beat_q)


def written_style(chart: Chart, name: str) -> Style:
    """The style of the chart's header; a name that is unknown is a mistake at its place in the chart."""
    from backing.styles.find import find

    place = Path(chart.source.name).parent / name if name.endswith(".toml") else name
    try:
        return find(str(place))
    except (RequestError, StyleError) as wrong:
        raise placed(chart, name, wrong) from None


def section_styles(chart: Chart) -> dict[str, Style]:
    """The styles that sections name for themselves."""
    return {
        section.settings.style: written_style(chart, section.settings.style)
        for section in chart.sections
        if section.settings.style
    }


def placed(
    chart: Chart, name: str, wrong: RequestError | StyleError
) -> ChartError | StyleError | RequestError:
    """An unknown style as a diagnostic at the setting that names it."""
    from backing.ground.source import Diagnostic

    if isinstance(wrong, StyleError):
        return wrong
    for written in (*chart.written, *(w for s in chart.sections for w in s.written)):
        if written.name == "style" and written.value == name:
            message, _, hint = str(wrong).partition("; ")
            return ChartError([Diagnostic("E230", message, hint, written.value_span, chart.source)])
    return wrong


def own_style(chart: Chart) -> Style:
    """The style that a chart names, else the usual one for its meter. Raises `ChartError`, `StyleError`."""
    from backing.timeline.unroll import style_name

    return written_style(chart, style_name(chart))


def band(
    prepared: Prepared,
    wish: Options,
    sections: int | None = None,
    between: Callable[[], object] = lambda: None,
) -> Performance:
    """Arrange and perform, with `sections` only so many of them; see `arrange` for `between`.

    Raises `RequestError` when a player is named that the style lacks."""
    from backing.performance.levels import with_levels
    from backing.performance.perform import perform

    timeline = prepared.timeline
    if wish.sound.loop:
        from backing.timeline.reshape import looped as rounds

        timeline = rounds(timeline, 3)
    arrangement = arranged(timeline, prepared.style, wish, prepared.styles, sections, between)
    performance = perform(arrangement, straight=wish.band.straight)
    performance = with_levels(performance, wish.sound.levels)
    if not wish.sound.loop:
        return performance
    from backing.performance.session import looped

    return looped(performance, prepared.timeline)


def arranged(
    timeline: Timeline,
    style: Style,
    wish: Options,
    styles: Mapping[str, Style] | None = None,
    sections: int | None = None,
    between: Callable[[], object] = lambda: None,
) -> Arrangement:
    """Arrange for those who are asked for; `styles` are the sections' own, found by name where they are not given.

    With `sections` only so many of the timeline's are played; see `arrange` for `between`.

    Raises `RequestError` when a player is named that the style lacks.
    """
    from backing.band.arrange import arrange
    from backing.styles.find import find

    if styles is None:
        styles = {name: find(name) for name in sorted({b.style for b in timeline.bars if b.style})}
    _check(timeline, (style, *styles.values()), wish)
    return arrange(
        timeline,
        style,
        wish.band.seed,
        styles,
        only=frozenset(wish.band.only),
        without=frozenset(wish.band.without),
        click=wish.band.click,
        guide_tones=wish.band.guide_tones,
        sections=sections,
        between=between,
    )


def check_players(prepared: Prepared, wish: Options) -> None:
    """Raise `RequestError` when a player is named that the style lacks."""
    _check(prepared.timeline, (prepared.style, *prepared.styles.values()), wish)


def _check(timeline: Timeline, styles: Sequence[Style], wish: Options) -> None:
    players = available(timeline, styles)
    if wish.form.chord_melody and not timeline.melody:
        raise RequestError(
            f"--chord-melody {wish.form.chord_melody}: this chart has no tune; write it under the chords, such as"
            "  melody: | D5 / F5 / |"
        )
    louder = tuple(role for role, _ in wish.sound.levels)
    for option, roles in (
        ("--only", wish.band.only),
        ("--without", wish.band.without),
        ("--level", louder),
    ):
        for role in roles:
            if role not in players and role not in {role_of(p).name for p in players}:
                raise RequestError(
                    f"{option} {role}: {styles[0].name} has no {role}; it has {', '.join(players)}"
                )


def available(timeline: Timeline, styles: Sequence[Style]) -> tuple[str, ...]:
    """The players that a track and its styles have, in score order."""
    roles = {"click"} | {role for style in styles for role in style.roles}
    roles.discard("solo")
    if timeline.chord_melody and timeline.melody:
        roles = {role for role in roles if not role_of(role).strings and not role_of(role).tune}
        roles.add("solo")
    elif timeline.melody:
        roles.add("melody")
    return in_score_order(roles)


def moved_chart(chart: Chart, wish: Options) -> Chart:
    """The chart in the key and with the chords written as it is asked for."""
    from backing.chart.transpose import transpose_chart

    interval = moved_by(chart, wish)
    moved = chart if interval == UNISON else transpose_chart(chart, interval)
    if wish.paper.write_as is None:
        return moved
    from backing.chart.notation import written_as

    return written_as(moved, wish.paper.write_as)


def moved_by(chart: Chart, wish: Options) -> Interval:
    """The interval from the written key to the one that is asked for."""
    from backing.harmony.spelling import interval_for_semitones, interval_to_key
    from backing.timeline.unroll import first_key

    if wish.form.key is not None:
        return interval_to_key(first_key(chart), wish.form.key)
    if wish.form.transpose:
        return interval_for_semitones(first_key(chart), wish.form.transpose)
    return UNISON
