"""The pipeline as calls: files in, files and reports out. Nothing here prints.

text ─parse─▶ Chart ─unroll─▶ Timeline ─arrange─▶ Arrangement ─perform─▶ Performance ─▶ files
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from backing.errors import ChartError, OutputError, RequestError, StyleError
from backing.instruments import in_score_order
from backing.options import Options, near

if TYPE_CHECKING:
    from backing.arrangement import Arrangement
    from backing.chart.ast import Chart
    from backing.performance import Performance
    from backing.pitch import Interval
    from backing.source import Diagnostic
    from backing.style.model import Style
    from backing.timebase import Tempo
    from backing.timeline import Timeline

Progress = Callable[[float, str], None]
Warn = Callable[["Diagnostic"], None]

NOTES = (".mid", ".json", ".vtt")
SOUND = (".wav", ".flac", ".ogg", ".mp3", ".m4a")
SHEET = (".pdf", ".svg", ".png")
ENDINGS = (*NOTES, *SOUND, ".txt")
PLAIN = Options()


def silent(share: float, words: str) -> None:
    """No progress is shown."""


def read_text(path: Path) -> tuple[str, str]:
    """The text of a chart and its name for diagnostics; `-` is standard input. Raises `OutputError`."""
    try:
        data = sys.stdin.buffer.read() if str(path) == "-" else path.read_bytes()
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


@dataclass(frozen=True, slots=True)
class Prepared:
    """A chart with the styles that it needs, unrolled as asked."""

    chart: Chart
    timeline: Timeline
    style: Style
    styles: dict[str, Style]
    warnings: tuple[Diagnostic, ...]


def prepare(chart: Chart, wish: Options = PLAIN) -> Prepared:
    """Find the styles, unroll. Raises `ChartError` (unknown style in the chart), `RequestError`, `StyleError`."""
    from backing.style.find import find
    from backing.unroll import Request, style_name, unroll

    name = wish.style or style_name(chart)
    style = find(name) if wish.style else written_style(chart, name)
    styles = {} if wish.style else section_styles(chart)
    request = Request(
        tempo_bpm=wish.tempo_bpm,
        tempo_percent=wish.tempo_percent,
        key=wish.key,
        transpose=wish.transpose,
        style=wish.style,
        choruses=wish.choruses,
        length_s=wish.length_s,
        sections=wish.sections,
        bars=wish.bars,
        ending=wish.ending,
        count_in=wish.count_in,
        colour=False if wish.plain else None,
    )
    timeline = unroll(
        chart,
        request,
        usual_tempo=usual_tempo(style),
        grid_q=style.grid_q,
        section_grids={name: own.grid_q for name, own in styles.items()},
    )
    return Prepared(chart, timeline, style, styles, chart.warnings)


def usual_tempo(style: Style) -> Tempo:
    """A style's usual tempo; it counts the beat of the style's own meter."""
    from backing.timebase import Tempo

    meter = style.meters[0]
    return Tempo(Fraction(str(style.usual_bpm)), meter.beat_q)


def written_style(chart: Chart, name: str) -> Style:
    """The style of the chart's header; a name that is unknown is a mistake at its place in the chart."""
    from backing.style.find import find

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
    from backing.source import Diagnostic

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
    from backing.arrange import arrange
    from backing.style.find import find

    names = {bar.style for bar in timeline.bars if bar.style}
    return arrange(timeline, style, seed, {name: find(name) for name in sorted(names)})


def band(prepared: Prepared, wish: Options) -> Performance:
    """Arrange and perform. Raises `RequestError` when a player is named that the style lacks."""
    from backing.arrange import arrange
    from backing.perform import perform

    players = available(prepared)
    for option, roles in (("--only", wish.only), ("--without", wish.without)):
        for role in roles:
            if role not in players:
                raise RequestError(
                    f"{option} {role}: {prepared.style.name} has no {role}; it has {', '.join(players)}"
                )
    arrangement = arrange(
        prepared.timeline,
        prepared.style,
        wish.seed,
        prepared.styles,
        only=frozenset(wish.only),
        without=frozenset(wish.without),
        click=wish.click,
        guide_tones=wish.guide_tones,
        plain=wish.plain,
    )
    return perform(arrangement)


def available(prepared: Prepared) -> tuple[str, ...]:
    """The players that this chart and its styles have, in score order."""
    roles = {"click"} | {r for s in (prepared.style, *prepared.styles.values()) for r in s.roles}
    if prepared.timeline.melody:
        roles.add("melody")
    return in_score_order(roles)


def targets(chart: Path, out: Sequence[Path]) -> tuple[Path, ...]:
    """What to write; without `-o` the chart's name with `.mp3` in the current folder. Raises `RequestError`."""
    if not out:
        stem = "track" if str(chart) == "-" else chart.stem
        return (Path(stem + ".mp3"),)
    for path in out:
        if path.suffix.lower() not in ENDINGS:
            raise RequestError(
                f"-o {path}: end the name in one of {' '.join(ENDINGS)}{near_ending(path)}"
            )
    return tuple(dict.fromkeys(out))


def near_ending(path: Path) -> str:
    if path.suffix.lower() in (".midi", ".smf"):
        return "; for MIDI write .mid"
    return near(path.suffix.lower(), ENDINGS)


def make(
    chart_path: Path,
    out: Sequence[Path],
    wish: Options,
    progress: Progress = silent,
    warn: Warn = lambda d: None,
) -> list[Path]:
    """Write every file that is asked for; returns the paths in order."""
    from backing.chart.parse import parse
    from backing.out.files import claim

    paths = targets(chart_path, out)
    text, name = read_text(chart_path)
    chart = parse(text, name)
    for path in paths:
        claim(path, force=wish.force)
    prepared = prepare(chart, wish)
    for diagnostic in prepared.warnings:
        warn(diagnostic)
    performance = band(prepared, wish)
    return write_all(prepared, performance, paths, wish, progress)


def write_all(
    prepared: Prepared,
    performance: Performance,
    paths: Iterable[Path],
    wish: Options,
    progress: Progress,
) -> list[Path]:
    """Write a performance in every form that the endings of `paths` ask for."""
    written: list[Path] = []
    sound: list[Path] = []
    for path in paths:
        kind = path.suffix.lower()
        if kind == ".mid":
            from backing.out.midi import write as write_midi

            write_midi(performance, path, force=wish.force)
        elif kind == ".json":
            from backing.out.timeline_json import write as write_json

            write_json(performance, path, force=wish.force)
        elif kind == ".vtt":
            from backing.out.captions import write as write_captions

            write_captions(performance, path, force=wish.force)
        elif kind == ".txt":
            write_chart(prepared, path, wish)
        else:
            sound.append(path)
        written.append(path)
    if sound:
        from backing.out.audio import write_audio

        stems = write_audio(
            performance,
            sound,
            soundfont=wish.soundfont,
            loudness=wish.loudness,
            a4=wish.a4,
            stems=wish.stems,
            stems_as=wish.stems_as,
            loop=wish.loop,
            bits=wish.bits,
            force=wish.force,
            progress=progress,
        )
        written.extend(p for p in stems if p not in written)
    return written


def write_chart(prepared: Prepared, path: Path, wish: Options) -> None:
    """The chart itself, tidied, in the chosen key."""
    from backing.chart.write import transpose_chart, write
    from backing.out.files import write_text
    from backing.pitch import UNISON

    interval = moved_by(prepared.chart, wish)
    chart = prepared.chart if interval == UNISON else transpose_chart(prepared.chart, interval)
    write_text(path, write(chart), force=wish.force)


def moved_by(chart: Chart, wish: Options) -> Interval:
    """The interval from the written key to the one that is asked for."""
    from backing.harmony.spelling import interval_for_semitones, interval_to_key
    from backing.pitch import UNISON
    from backing.unroll import first_key

    if wish.key is not None:
        return interval_to_key(first_key(chart), wish.key)
    if wish.transpose:
        return interval_for_semitones(first_key(chart), wish.transpose)
    return UNISON


@dataclass(frozen=True, slots=True)
class Checked:
    """What is to be said of one chart."""

    name: str
    diagnostics: tuple[Diagnostic, ...]
    timeline: Timeline | None
    performance: Performance | None

    @property
    def wrong(self) -> bool:
        return any(d.severity.value == "error" for d in self.diagnostics)

    def as_json(self) -> dict[str, object]:
        from backing.out.timeline_json import as_json

        return {
            "file": self.name,
            "diagnostics": [d.as_json() for d in self.diagnostics],
            "form": [s.name for s in self.timeline.sections] if self.timeline else [],
            "timeline": as_json(self.performance) if self.performance else None,
        }


def check(path: Path) -> Checked:
    """Every mistake of a chart, and what it plays when it has none. Raises `OutputError` for an unreadable file."""
    from backing.chart.parse import parse_all

    try:
        text, name = read_text(path)
        chart, diagnostics = parse_all(text, name)
        if chart is None or any(d.severity.value == "error" for d in diagnostics):
            return Checked(name, tuple(diagnostics), None, None)
        prepared = prepare(chart)
        performance = band(prepared, Options())
    except (ChartError, StyleError) as wrong:
        return Checked(str(path), wrong.diagnostics, None, None)
    return Checked(name, tuple(diagnostics), prepared.timeline, performance)


def check_report(checked: Checked) -> str:
    """The form as played, bars, length, and the chord of every bar."""
    from backing.dump import timeline_text

    assert checked.performance is not None
    return timeline_text(checked.name, checked.performance)


def explain(path: Path, wish: Options, as_json: bool) -> object:
    """Every note in words, or as a list of objects."""
    from backing.chart.parse import parse
    from backing.dump import explain as in_words
    from backing.dump import explain_json

    text, name = read_text(path)
    prepared = prepare(parse(text, name), replace(wish, bars=None))
    arrangement = band(prepared, wish).arrangement
    return explain_json(arrangement, wish.bars) if as_json else in_words(arrangement, wish.bars)


def chords(symbols: Sequence[str], german: bool) -> tuple[list[dict[str, object]], str, bool]:
    """Reports on chord symbols: objects, text, and whether any was refused."""
    from backing.harmony.report import report, text

    reports = [report(symbol, german) for symbol in symbols]
    return reports, text(reports), any("error" in r for r in reports)


def style_list(as_json: bool) -> object:
    """All styles by meter and subdivision."""
    from backing.style.show import listing, rows

    return rows() if as_json else listing()


def style_page(name: str, as_json: bool) -> object:
    """One style's players, meters, tempos and patterns."""
    from backing.style.find import find
    from backing.style.show import page, row

    style = find(name)
    return row(style) if as_json else page(style)


def check_styles(files: Sequence[str]) -> list[tuple[str, tuple[Diagnostic, ...]]]:
    """The mistakes of style files. Raises `RequestError` when none is named, `OutputError` when one is unreadable."""
    from backing.style.load import check as check_style

    if not files:
        raise RequestError(
            "name the style files to check, such as: backing styles --check mine.toml"
        )
    return [(name, check_style(Path(name))) for name in files]
