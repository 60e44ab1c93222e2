"""The commands. Results go to standard output; progress, warnings and errors to standard error.

Exit codes: 0 done; 1 the chart or style is wrong; 2 the command is wrong; 3 no sound engine or soundfont; 4 a file
could not be read or written; 130 interrupted. Only typer and the standard library are loaded here; what a command
needs is loaded inside it.
"""

from __future__ import annotations

import inspect
import json
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from backing.errors import BackingError, ChartError, StyleError
from backing.options import CLICKS, TRANSPOSING, Options, options

app = typer.Typer(
    name="backing",
    help="A plain-text chord chart goes in; a band track to play along to comes out.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

CLICK_NAMES = ", ".join(CLICKS)

# The options that every command that makes a track shares, in the order in which help shows them.
TRACK_OPTIONS: dict[str, tuple[Any, Any]] = {
    "tempo": (Annotated[str | None, typer.Option(metavar="96 or 75%", help="Beats a minute, or a percentage of the chart's tempo.")], None),
    "key": (Annotated[str | None, typer.Option(metavar="KEY", help="Play in this key: Eb, F# minor.")], None),
    "transpose": (Annotated[int | None, typer.Option(metavar="SEMITONES", help="Move by semitones, up or down.")], None),
    "style": (Annotated[str | None, typer.Option(metavar="NAME or PATH", help="A style by name, or a file ending in .toml.")], None),
    "choruses": (Annotated[int | None, typer.Option(metavar="N", help="Play the chorus N times.")], None),
    "length": (Annotated[str | None, typer.Option(metavar="10:00", help="As many whole choruses as fill this time.")], None),
    "section": (Annotated[list[str], typer.Option(metavar="NAME", help="Only this section; may be given again.")], ()),
    "bars": (Annotated[str | None, typer.Option(metavar="9-16", help="Only these bars of the sheet, first time through.")], None),
    "ending": (Annotated[str | None, typer.Option(metavar="MANNER", help="ring, short, tag, rit, fade 4 or as written.")], None),
    "count_in": (Annotated[str | None, typer.Option("--count-in", metavar="BARS or off", help="Bars of count-in.")], None),
    "click": (Annotated[str, typer.Option(metavar="KIND", help=f"A click through the track: {CLICK_NAMES}.")], "off"),
    "without": (Annotated[list[str], typer.Option(metavar="PLAYER", help="Leave this player out; may be given again.")], ()),
    "only": (Annotated[list[str], typer.Option(metavar="PLAYER", help="Only this player; may be given again.")], ()),
    "guide_tones": (Annotated[bool, typer.Option("--guide-tones", help="A player sounds the line of thirds and sevenths.")], False),
    "plain": (Annotated[bool, typer.Option("--plain", help="No ninths or thirteenths that the chart does not write.")], False),
    "stems": (Annotated[bool, typer.Option("--stems", help="One more file a player, aligned with the mix.")], False),
    "stems_as": (Annotated[str, typer.Option("--stems-as", metavar="FORMAT", help="wav, flac, ogg, mp3 or m4a.")], "wav"),
    "loop": (Annotated[bool, typer.Option("--loop", help="A file whose end runs into its start without a seam.")], False),
    "bits": (Annotated[int, typer.Option(metavar="16 or 24", help="Bits a sample in WAV and FLAC files.")], 16),
    "seed": (Annotated[int, typer.Option(metavar="N", help="Another number, another performance; the same number, the same bytes.")], 1),
    "soundfont": (Annotated[Path | None, typer.Option(metavar="PATH", help="The sounds to play with (.sf2).")], None),
    "loudness": (Annotated[float, typer.Option(metavar="LUFS", help="Integrated loudness of the mix.")], -16.0),
    "a4": (Annotated[float, typer.Option("--a4", metavar="HZ", help="Concert pitch, 415 to 466.")], 440.0),
    "for_": (Annotated[str | None, typer.Option("--for", metavar="|".join(TRANSPOSING), help="The sheet for a transposing instrument.")], None),
    "force": (Annotated[bool, typer.Option("--force", help="Replace files that this program did not make.")], False),
}  # fmt: skip

Json = Annotated[bool, typer.Option("--json", help="The report as JSON.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Errors only.")]
ChartPath = Annotated[
    Path, typer.Argument(metavar="CHART", help="A chart, or - for standard input.")
]


def track_command(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the shared options; it receives them read, as its `wish`.

    Typer reads the signature, so the shared options are written into it.
    """
    own = [
        p for p in inspect.signature(command, eval_str=True).parameters.values() if p.name != "wish"
    ]
    shared = [
        inspect.Parameter(
            name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation
        )
        for name, (annotation, default) in TRACK_OPTIONS.items()
    ]

    def wrapped(**given: Any) -> None:
        wish = options(**{name: given.pop(name) for name in TRACK_OPTIONS})
        command(wish=wish, **given)

    wrapped.__name__, wrapped.__doc__ = command.__name__, command.__doc__
    parameters = [p.replace(kind=inspect.Parameter.KEYWORD_ONLY) for p in own] + shared
    wrapped.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    wrapped.__annotations__ = {p.name: p.annotation for p in parameters}
    return wrapped


def show(result: object) -> None:
    """A report as JSON on standard output."""
    typer.echo(json.dumps(result, ensure_ascii=False, indent=2))


def say(text: str, quiet: bool = False) -> None:
    """A line for people on standard error."""
    if not quiet:
        typer.echo(text, err=True)


def coloured(stream: Any) -> bool:
    """True on a terminal, unless NO_COLOR is set."""
    return bool(stream.isatty()) and not os.environ.get("NO_COLOR")


def rendered(diagnostic: Any, colour: bool) -> str:
    """A diagnostic as people read it; its first line is red or yellow on a terminal."""
    first, _, rest = diagnostic.render().partition("\n")
    if colour:
        first = typer.style(
            first, fg="red" if diagnostic.severity.value == "error" else "yellow", bold=True
        )
    return f"{first}\n{rest}"


@app.command()
@track_command
def make(
    chart: ChartPath,
    out: Annotated[
        list[Path],
        typer.Option(
            "-o", "--out", metavar="FILE", help="What to write; the ending chooses the kind."
        ),
    ] = [],  # noqa: B006 - typer copies it
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """Make the track.

    Example: backing make tune.txt -o tune.mp3 -o tune.mid --key Eb --tempo 75%
    """
    from backing.app import make as run_make

    with progress(quiet) as report:
        written = run_make(
            chart, out, wish, report, lambda d: say(rendered(d, coloured(sys.stderr)), quiet)
        )
    for path in written:
        typer.echo(str(path))


@app.command()
@track_command
def rehearse(
    chart: ChartPath,
    out: Annotated[
        list[Path], typer.Option("-o", "--out", metavar="FILE", help="What to write.")
    ] = [],  # noqa: B006 - typer copies it
    ladder: Annotated[
        str | None, typer.Option(metavar="60:100:5", help="Percent from, to, step; or alternate.")
    ] = None,
    passes: Annotated[int, typer.Option(metavar="N", help="Passes at each tempo.")] = 2,
    through: Annotated[
        str | None,
        typer.Option(metavar="KEYS", help='Keys in turn: fourths, semitones or "C F Bb".'),
    ] = None,
    gap: Annotated[
        str | None, typer.Option(metavar="4:4", help="Bars with the band, then bars without.")
    ] = None,
    gap_plays: Annotated[
        str, typer.Option("--gap-plays", metavar="WHAT", help="nothing, click or drums.")
    ] = "nothing",
    split: Annotated[bool, typer.Option("--split", help="A file a pass.")] = False,
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """A track to practise with: rising tempos, repeated sections, keys in turn, drop-outs.

    Example: backing rehearse tune.txt --bars 9-16 --ladder 60:100:5
    """
    from backing.app import Practice
    from backing.app import rehearse as run_rehearse

    practice = Practice(ladder, passes, through, gap, gap_plays, split)
    with progress(quiet) as report:
        written = run_rehearse(
            chart,
            out,
            wish,
            practice,
            report,
            lambda d: say(rendered(d, coloured(sys.stderr)), quiet),
        )
    for path in written:
        typer.echo(str(path))


@app.command()
def check(
    charts: Annotated[
        list[Path], typer.Argument(metavar="CHART...", help="Charts, or - for standard input.")
    ],
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Every mistake at once, then the form as played, bars, length, and the chord of every bar.

    Example: backing check tune.txt
    """
    from backing.reports import check as run_check
    from backing.reports import check_report

    results = [run_check(path) for path in charts]
    if as_json:
        show([r.as_json() for r in results])
    else:
        for result in results:
            for diagnostic in result.diagnostics:
                typer.echo(rendered(diagnostic, coloured(sys.stdout)))
            if result.timeline is not None and not quiet:
                typer.echo(check_report(result))
    if any(r.wrong for r in results):
        raise typer.Exit(1)


@app.command()
@track_command
def explain(
    chart: ChartPath,
    as_json: Json = False,
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """Every note of every player in words: the chord degree, and the rule or pattern that chose it.

    Example: backing explain tune.txt --bars 5-8
    """
    from backing.reports import explain as run_explain

    result = run_explain(chart, wish, as_json)
    if as_json:
        show(result)
    else:
        typer.echo(result)


@app.command()
def chord(
    symbols: Annotated[list[str], typer.Argument(metavar="SYMBOL...", help="Chord symbols.")],
    german: Annotated[
        bool, typer.Option("--german", help="German note names: H, B, Fis, Es.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Spelled notes, degrees, guide tones, what is left out, guitar grips as diagrams.

    Example: backing chord Cmaj9 F#m7b5 Bb13
    """
    from backing.reports import chords as run_chords

    reports, text, refused = run_chords(symbols, german)
    if as_json:
        show(reports)
    else:
        typer.echo(text)
    if refused:
        raise typer.Exit(1)


@app.command()
def styles(
    names: Annotated[
        list[str] | None, typer.Argument(metavar="[NAME]", help="A style; with --check, files.")
    ] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Look for mistakes in style files.")
    ] = False,
    as_json: Json = False,
) -> None:
    """The styles by meter and subdivision; or one style's players, meters, tempos and patterns.

    Example: backing styles "bossa nova"
    """
    from backing.reports import check_styles, style_list, style_page

    if check:
        found = check_styles(names or [])
        if as_json:
            show([{"file": name, "diagnostics": [d.as_json() for d in ds]} for name, ds in found])
        else:
            for name, diagnostics in found:
                for diagnostic in diagnostics:
                    typer.echo(rendered(diagnostic, coloured(sys.stdout)))
                if not diagnostics:
                    typer.echo(f"{name}: no mistakes")
        if any(d.severity.value == "error" for _, ds in found for d in ds):
            raise typer.Exit(1)
        return
    if names:
        for name in names:
            result = style_page(name, as_json)
            show(result) if as_json else typer.echo(result)
        return
    listed = style_list(as_json)
    show(listed) if as_json else typer.echo(listed)


@app.command()
def doctor(as_json: Json = False) -> None:
    """Engine, soundfont, encoder: what is found, where, and what to install.

    Example: backing doctor
    """
    from backing.doctor import examine, healthy, text

    found = examine()
    show(found) if as_json else typer.echo(text(found))
    if not healthy(found):
        raise typer.Exit(3)


def version(shown: bool) -> None:
    """Print the version and leave."""
    if shown:
        from backing import __version__

        typer.echo(f"backing {__version__}")
        raise typer.Exit()


@app.callback()
def common(
    show_version: Annotated[
        bool, typer.Option("--version", callback=version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """A plain-text chord chart goes in; a band track to play along to comes out."""


class progress:
    """A progress bar on a terminal, nothing elsewhere; the value is called with a share (0 to 1) and words."""

    def __init__(self, quiet: bool) -> None:
        self.shown = not quiet and sys.stderr.isatty()
        self.bar: Any = None
        self.task: Any = None

    def __enter__(self) -> Callable[[float, str], None]:
        return self.report

    def report(self, share: float, words: str) -> None:
        if not self.shown:
            return
        if self.bar is None:
            from rich.console import Console
            from rich.progress import (
                BarColumn,
                Progress,
                TaskProgressColumn,
                TextColumn,
                TimeRemainingColumn,
            )

            self.bar = Progress(
                TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn(),
                console=Console(stderr=True), transient=True,
            )  # fmt: skip
            self.bar.start()
            self.task = self.bar.add_task(words, total=1.0)
        self.bar.update(self.task, completed=share, description=words)

    def __exit__(self, *_: object) -> None:
        if self.bar is not None:
            self.bar.stop()


def run(arguments: Sequence[str]) -> int:
    """Run a command line; returns the exit code."""
    try:
        app(args=list(arguments), prog_name="backing")
    except SystemExit as stop:
        if stop.code == 130:
            typer.echo("backing: interrupted; nothing was changed", err=True)
        return stop.code if isinstance(stop.code, int) else 0
    except (ChartError, StyleError) as wrong:
        for diagnostic in wrong.diagnostics:
            typer.echo(rendered(diagnostic, coloured(sys.stderr)), err=True)
        return wrong.exit_code
    except BackingError as wrong:
        typer.echo(f"backing: {wrong}", err=True)
        return wrong.exit_code
    return 0
