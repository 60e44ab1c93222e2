"""The pipeline as calls: files in, files and reports out. Nothing here prints.

text ─parse─▶ Chart ─unroll─▶ Timeline ─arrange─▶ Arrangement ─perform─▶ Performance ─▶ files
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from backing.errors import ChartError, OutputError, RequestError, StyleError
from backing.instruments import ROLES, in_score_order
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
    from backing.chart.ast import Ending, EndingKind
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
        ending=Ending(EndingKind.AS_WRITTEN) if wish.loop else wish.ending,
        count_in=0 if wish.loop and wish.count_in is None else wish.count_in,
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
    from backing.reshape import repeated
    from backing.session import looped

    players = available(prepared)
    for option, roles in (("--only", wish.only), ("--without", wish.without)):
        for role in roles:
            if role not in players:
                raise RequestError(
                    f"{option} {role}: {prepared.style.name} has no {role}; it has {', '.join(players)}"
                )
    single = prepared.timeline
    arrangement = arrange(
        repeated(single, 3) if wish.loop else single,
        prepared.style,
        wish.seed,
        prepared.styles,
        only=frozenset(wish.only),
        without=frozenset(wish.without),
        click=wish.click,
        guide_tones=wish.guide_tones,
        plain=wish.plain,
    )
    performance = perform(arrangement)
    return looped(performance, single) if wish.loop else performance


def available(prepared: Prepared) -> tuple[str, ...]:
    """The players that this chart and its styles have, in score order."""
    roles = {"click"} | {r for s in (prepared.style, *prepared.styles.values()) for r in s.roles}
    if prepared.timeline.melody:
        roles.add("melody")
    return in_score_order(roles)


def targets(chart: Path, out: Sequence[Path]) -> tuple[Path, ...]:
    """What to write; without `-o` the chart's name with `.mp3` in the current folder. Raises `RequestError`."""
    if not out:
        return (Path(stem_of(chart) + ".mp3"),)
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
class Practice:
    """How a chart is to be practised, as typed on the command line."""

    ladder: str | None = None
    passes: int = 2
    through: str | None = None
    gap: str | None = None
    gap_plays: str = "nothing"
    split: bool = False


def rehearse(
    chart_path: Path,
    out: Sequence[Path],
    wish: Options,
    practice: Practice,
    progress: Progress = silent,
    warn: Warn = lambda d: None,
) -> list[Path]:
    """Write a track to practise with: every pass arranged and performed anew at its tempo, in its key."""
    from backing.chart.parse import parse
    from backing.out.files import claim
    from backing.session import joined

    paths = targets(chart_path, out) if out else (Path(f"{stem_of(chart_path)}-practice.mp3"),)
    text, name = read_text(chart_path)
    prepared = prepare(parse(text, name), wish)
    performances, labels = practised(prepared, wish, practice)
    if practice.split:
        tracks = [
            (performance, [path.with_stem(f"{path.stem}-{file_label(label)}") for path in paths])
            for performance, label in zip(performances, labels, strict=True)
        ]
    else:
        tracks = [(joined(performances, labels), list(paths))]
    for _, files in tracks:
        for path in files:
            claim(path, force=wish.force)
    for diagnostic in prepared.warnings:
        warn(diagnostic)
    written: list[Path] = []
    for i, (performance, files) in enumerate(tracks):
        written += write_all(prepared, performance, files, wish, part(progress, i, len(tracks)))
    return written


def part(progress: Progress, index: int, count: int) -> Progress:
    """The progress of piece `index` of `count` equal pieces as progress of the whole."""
    return lambda share, words: progress((index + share) / count, words)


def practised(
    prepared: Prepared, wish: Options, practice: Practice
) -> tuple[list[Performance], list[str]]:
    """Every pass performed, and its label. A pass has a seed of its own, so that no two are played alike."""
    from backing.rehearse import passes, read_plan

    plan = read_plan(
        prepared.timeline.key,
        ladder=practice.ladder,
        times=practice.passes,
        through=practice.through,
        gap=practice.gap,
        gap_plays=practice.gap_plays,
    )
    found = passes(prepared.timeline, plan)
    in_gaps = practice.gap is not None and practice.gap_plays == "click" and wish.click == "off"
    performances = []
    for one in found:
        timeline = clicked_gaps(one.timeline) if in_gaps else one.timeline
        own = replace(
            wish, seed=wish.seed + one.number - 1, click="beats" if in_gaps else wish.click
        )
        performances.append(band(replace(prepared, timeline=timeline), own))
    return performances, [one.label for one in found]


def clicked_gaps(timeline: Timeline) -> Timeline:
    """The click only where the band rests."""
    band_roles = frozenset(ROLES) - {"click"}
    return replace(
        timeline,
        bars=tuple(
            replace(b, players=band_roles) if b.players is None else b for b in timeline.bars
        ),
    )


def stem_of(chart_path: Path) -> str:
    return "track" if str(chart_path) == "-" else chart_path.stem


def file_label(label: str) -> str:
    """A pass label as part of a file name: `3: 70 %` is `03-70`."""
    words = re.findall(r"[A-Za-z#]+|\d+(?:\.\d+)?", label)
    return "-".join([words[0].zfill(2), *words[1:]])
