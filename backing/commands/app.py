"""The pipeline as calls: files in, files and reports out. Nothing here prints.

text ─parse─▶ Chart ─unroll─▶ Timeline ─arrange─▶ Arrangement ─perform─▶ Performance ─▶ files
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.naming import changes
from backing.commands.options import Options
from backing.commands.planned import SHEET, SOUND, WRITTEN, claim_all, stems_of, targets
from backing.commands.values import near
from backing.ground.errors import ChartError, OutputError, RequestError, StyleError
from backing.ground.pitch import UNISON
from backing.ground.roles import in_score_order, role_of
from backing.ground.timebase import QUARTER

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

Progress = Callable[[float, str], None]
Warn = Callable[["Diagnostic"], None]

PLAIN = Options()
MOST_READ = (
    4_000_000  # bytes of a chart: more than any may have, and never the whole of an endless device
)


def silent(share: float, words: str) -> None:
    """No progress is shown."""


def read_text(path: Path) -> tuple[str, str]:
    """The text of a chart and its name for diagnostics; `-` is standard input. Raises `OutputError`."""
    if str(path) == "-" and sys.stdin is None:
        raise OutputError("standard input is closed; name a chart, or send one through a pipe")
    try:
        if str(path) == "-":
            data = sys.stdin.buffer.read(MOST_READ)
        else:
            with path.open("rb") as file:
                data = file.read(MOST_READ)
    except IsADirectoryError:
        raise OutputError(f"{path} is a folder; name a chart in it") from None
    except FileNotFoundError:
        raise OutputError(f"{path}: there is no such file.{near_file(path)}") from None
    except OSError as wrong:
        raise OutputError(f"{path} could not be read: {wrong.strerror}") from None
    from backing.chart.parse import decode

    name = "<standard input>" if str(path) == "-" else str(path)
    return decode(data, name), name


def near_file(path: Path) -> str:
    """A hint at a chart of a similar name in the same folder."""
    try:
        names = sorted(p.name for p in path.parent.iterdir() if p.suffix == ".txt")
    except OSError:
        return ""
    return near(path.name, names)


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
    from backing.timeline.unroll import style_name, unroll

    name = wish.form.style or style_name(chart)
    style = find(name) if wish.form.style else written_style(chart, name)
    styles = {} if wish.form.style else section_styles(chart)
    timeline = unroll(
        chart,
        asked_form(wish),
        usual_tempo=usual_tempo(style),
        grid_q=style.grid_q,
        section_grids={name: own.grid_q for name, own in styles.items()},
    )
    return Prepared(chart, timeline, style, styles, chart.warnings)


def asked_form(wish: Options) -> Form:
    """What is asked of the form; a loop ends as written, and has no count-in unless one is asked for."""
    from backing.chart.ast import Ending, EndingKind

    if not wish.sound.loop:
        return wish.form
    return wish.form._replace(
        ending=Ending(EndingKind.AS_WRITTEN), count_in=wish.form.count_in or 0
    )


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


def timeline_of(chart: Chart) -> Timeline:
    """Unroll a chart in its own style."""
    return prepare(chart).timeline


def arranged(timeline: Timeline, style: Style, seed: int = 1) -> Arrangement:
    """Arrange a timeline, finding the styles that its sections name."""
    from backing.band.arrange import arrange
    from backing.styles.find import find

    names = {bar.style for bar in timeline.bars if bar.style}
    return arrange(timeline, style, seed, {name: find(name) for name in sorted(names)})


def band(prepared: Prepared, wish: Options) -> Performance:
    """Arrange and perform. Raises `RequestError` when a player is named that the style lacks."""
    from backing.band.arrange import arrange
    from backing.performance.perform import perform

    check_players(prepared, wish)
    timeline = prepared.timeline
    if wish.sound.loop:
        from backing.timeline.reshape import repeated

        timeline = repeated(timeline, 3)
    arrangement = arrange(
        timeline,
        prepared.style,
        wish.band.seed,
        prepared.styles,
        only=frozenset(wish.band.only),
        without=frozenset(wish.band.without),
        click=wish.band.click,
        guide_tones=wish.band.guide_tones,
    )
    performance = perform(arrangement)
    if not wish.sound.loop:
        return performance
    from backing.performance.session import looped

    return looped(performance, prepared.timeline)


def check_players(prepared: Prepared, wish: Options) -> None:
    """Raise `RequestError` when a player is named that the style lacks."""
    players = available(prepared)
    for option, roles in (("--only", wish.band.only), ("--without", wish.band.without)):
        for role in roles:
            if role not in players and role not in {role_of(p).name for p in players}:
                raise RequestError(
                    f"{option} {role}: {prepared.style.name} has no {role}; it has {', '.join(players)}"
                )


def available(prepared: Prepared) -> tuple[str, ...]:
    """The players that this chart and its styles have, in score order."""
    roles = {"click"} | {r for s in (prepared.style, *prepared.styles.values()) for r in s.roles}
    if prepared.timeline.melody:
        roles.add("melody")
    return in_score_order(roles)


def make(
    chart_path: Path,
    out: Sequence[Path],
    wish: Options,
    progress: Progress = silent,
    warn: Warn = lambda d: None,
) -> list[Path]:
    """Write every file that is asked for; returns the paths in order."""
    from backing.chart.parse import parse

    paths = targets(chart_path, out, wish)
    text, name = read_text(chart_path)
    return make_chart(parse(text, name), paths, [chart_path], wish, progress, warn)


def make_chart(
    chart: Chart,
    paths: Sequence[Path],
    sources: Sequence[Path],
    wish: Options,
    progress: Progress,
    warn: Warn,
) -> list[Path]:
    """Write every file that is asked for of a chart that was read from `sources`; returns the paths in order."""
    claim_all(paths, sources, wish)
    unheard = all(path.suffix.lower() in WRITTEN for path in paths)
    prepared = prepare(chart, once(wish) if unheard else wish)
    for diagnostic in (*prepared.warnings, *unseen(prepared, wish, paths)):
        warn(diagnostic)
    if unheard:
        check_players(prepared, wish)
        return [page for path in paths for page in write_written(prepared, path, wish)]
    performance = band(prepared, wish)
    claim_all([*paths, *stems_of(performance, paths, wish)], sources, wish)
    return write_all(prepared, performance, paths, wish, progress)


def once(wish: Options) -> Options:
    """The same for one chorus: what is written does not grow with how often it is played."""
    return wish.changed(choruses=1, length_s=None)


def unseen(prepared: Prepared, wish: Options, paths: Iterable[Path]) -> tuple[Diagnostic, ...]:
    """What no font can draw on a sheet, where one is wanted."""
    if not any(p.suffix.lower() in SHEET for p in paths) or prepared.chart.source.text.isascii():
        return ()
    from backing.output.sheet.unseen import unseen as on_sheet

    return on_sheet(prepared.chart, wish.paper)


def write_all(
    prepared: Prepared,
    performance: Performance,
    paths: Iterable[Path],
    wish: Options,
    progress: Progress,
) -> list[Path]:
    """Write a performance in every form that the endings of `paths` ask for."""
    written: list[Path] = []
    heard: list[Path] = []
    for path in paths:
        if path.suffix.lower() in SOUND:
            heard.append(path)
            written.append(path)
        else:
            written += write_one(prepared, performance, path, wish, progress)
    if heard:
        from backing.output.sound.audio import write_audio
        from backing.output.sound.tags import Label

        stems = write_audio(
            performance,
            heard,
            wish.sound,
            stems=wish.files.stems,
            stems_as=wish.files.stems_as or "wav",
            label=Label(changed=", ".join(changes(wish))),
            force=wish.files.force,
            progress=progress,
        )
        written.extend(p for p in stems if p not in written)
    return written


def write_one(
    prepared: Prepared,
    performance: Performance,
    path: Path,
    wish: Options,
    progress: Progress = silent,
) -> list[Path]:
    """Write one file that is read and not heard; returns what was written (a sheet may have several pages)."""
    kind = path.suffix.lower()
    if kind == ".mid":
        from backing.output.midi import write as write_midi

        write_midi(performance, path, sound=wish.sound, force=wish.files.force)
    elif kind == ".json":
        from backing.output.timeline_json import write as write_json

        write_json(performance, path, force=wish.files.force)
    elif kind == ".vtt":
        from backing.output.captions import write as write_captions

        write_captions(performance, path, force=wish.files.force)
    elif kind in WRITTEN:
        return write_written(prepared, path, wish)
    elif kind == ".html":
        from backing.output.page.write import write as write_page

        write_page(
            performance,
            moved_chart(prepared.chart, wish),
            path,
            sound=wish.sound,
            paper=wish.paper,
            force=wish.files.force,
            progress=progress,
        )
    return [path]


def write_written(prepared: Prepared, path: Path, wish: Options) -> list[Path]:
    """Write the chart itself, as text or as a sheet; returns what was written."""
    if path.suffix.lower() in SHEET:
        return write_sheet(prepared, path, wish)
    write_chart(prepared, path, wish)
    return [path]


def write_chart(prepared: Prepared, path: Path, wish: Options) -> None:
    """The chart itself, tidied, in the chosen key."""
    from backing.chart.write import write
    from backing.output.files import write_text

    write_text(path, write(moved_chart(prepared.chart, wish)), force=wish.files.force)


def write_sheet(prepared: Prepared, path: Path, wish: Options) -> list[Path]:
    """The printed sheet in the chosen key, for the chosen instrument."""
    from backing.output.sheet.write import write

    return write(
        moved_chart(prepared.chart, wish),
        path,
        force=wish.files.force,
        style=prepared.style.name,
        tempo=shown_tempo(prepared, wish),
        paper=wish.paper,
    )


def shown_tempo(prepared: Prepared, wish: Options) -> tuple[Fraction, Fraction] | None:
    """The note that is counted and how many a minute, where the chart itself does not say (or says something else)."""
    asked = wish.form.tempo_bpm is not None or wish.form.tempo_percent is not None
    if prepared.chart.settings.tempo is not None and not asked:
        return None
    meter = prepared.timeline.bars[0].meter
    unit = QUARTER if meter.counted_in_eighths else meter.beat_q
    return unit, Fraction(round(60_000_000 / prepared.timeline.tempo[0].us / unit))


def moved_chart(chart: Chart, wish: Options) -> Chart:
    """The chart in the key that is asked for."""
    from backing.chart.transpose import transpose_chart

    interval = moved_by(chart, wish)
    return chart if interval == UNISON else transpose_chart(chart, interval)


def moved_by(chart: Chart, wish: Options) -> Interval:
    """The interval from the written key to the one that is asked for."""
    from backing.harmony.spelling import interval_for_semitones, interval_to_key
    from backing.timeline.unroll import first_key

    if wish.form.key is not None:
        return interval_to_key(first_key(chart), wish.form.key)
    if wish.form.transpose:
        return interval_for_semitones(first_key(chart), wish.form.transpose)
    return UNISON


def part(progress: Progress, index: int, count: int) -> Progress:
    """The progress of piece `index` of `count` equal pieces as progress of the whole."""
    return lambda share, words: progress((index + share) / count, words)
