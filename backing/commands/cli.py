"""The commands. Results go to standard output; progress, warnings and errors to standard error.

Exit codes: 0 done; 1 the chart or style is wrong; 2 the command is wrong; 3 no sound engine or soundfont; 4 a file
could not be read or written; 130 interrupted, 143 and 129 ended by a signal. Only typer and the standard library are
loaded here; what a command needs is loaded inside it.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Annotated

import typer

from backing.commands.bound import book
from backing.commands.catalogue import styles
from backing.commands.command import (
    ChartPath,
    Command,
    Gap,
    GapPlays,
    Json,
    Ladder,
    Passes,
    Quiet,
    Through,
    coloured,
    command,
    progress,
    rendered,
    say,
    show,
)
from backing.commands.desk import desk
from backing.commands.guide import CODE, guide
from backing.commands.hearing import play
from backing.commands.melody import harmonise
from backing.commands.new import new
from backing.commands.options import Options
from backing.ground.errors import BackingError, ChartError, StyleError

STOPPED = {130: "interrupted", 129: "ended by a signal", 143: "ended by a signal"}


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
    from backing.commands.app import make as run_make

    with progress(quiet) as report:
        written = run_make(
            chart, out, wish, report, lambda d: say(rendered(d, coloured(sys.stderr)), quiet)
        )
    for path in written:
        typer.echo(str(path))


def rehearse(
    chart: ChartPath,
    out: Annotated[
        list[Path], typer.Option("-o", "--out", metavar="FILE", help="What to write.")
    ] = [],  # noqa: B006 - typer copies it
    ladder: Ladder = None,
    passes: Passes = 2,
    through: Through = None,
    gap: Gap = None,
    gap_plays: GapPlays = "nothing",
    split: Annotated[bool, typer.Option("--split", help="A file a pass.")] = False,
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """A track to practise with: rising tempos, repeated sections, keys in turn, drop-outs.

    Example: backing rehearse tune.txt --bars 9-16 --ladder 60:100:5
    """
    from backing.commands.practice import Practice
    from backing.commands.practice import rehearse as run_rehearse

    practice = Practice(ladder, passes, through, gap, gap_plays, split)
    with progress(quiet) as report:
        written = run_rehearse(
            chart,
            out,
            wish,
            practice,
            report,
            lambda d: say(rendered(d, coloured(sys.stderr)), quiet),
            lambda line: say(line, quiet),
        )
    for path in written:
        typer.echo(str(path))


def lesson(
    chart: ChartPath,
    out: Annotated[
        Path,
        typer.Option(
            "-o", "--out", metavar="DIR or ZIP", help="A folder, or a file ending in .zip."
        ),
    ],
    speeds: Annotated[
        str | None, typer.Option(metavar="100,85,70", help="Percentages of the tempo.")
    ] = None,
    sheets: Annotated[
        str | None,
        typer.Option(
            metavar="concert,Bb", help="Instruments to print the chart for: concert, Bb, Eb, F."
        ),
    ] = None,
    choices: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A TOML file with a [lesson] table of choices."),
    ] = None,
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """Everything for one lesson: mixes, slow versions, stems, loops, MIDI, sheet, page, captions, an index.

    A second run makes only what has changed, and keeps what you have changed.

    Example: backing lesson tune.txt -o lesson.zip --speeds 100,80,60
    """
    from dataclasses import replace

    from backing.commands.choices import Choices, read_choices, read_sheets, read_speeds
    from backing.commands.lesson import make_lesson, told

    chosen = read_choices(choices, Choices()) if choices else Choices()
    if speeds:
        chosen = replace(chosen, speeds=read_speeds(speeds))
    if sheets:
        chosen = replace(chosen, sheets=read_sheets(sheets))
    if wish.files.stems_as:
        chosen = replace(chosen, stems_as=wish.files.stems_as)
    with progress(quiet) as report:
        items, renewal = make_lesson(
            chart,
            out,
            wish,
            chosen,
            report,
            lambda d: say(rendered(d, coloured(sys.stderr)), quiet),
        )
    for line in told(out, items, renewal):
        typer.echo(line)


def check(
    charts: Annotated[
        list[Path], typer.Argument(metavar="CHART...", help="Charts, or - for standard input.")
    ],
    show_plan: Annotated[
        bool,
        typer.Option(
            "--show-plan", help="Who plays in which section, and what the leader decided and why."
        ),
    ] = False,
    best_key: Annotated[
        bool, typer.Option("--best-key", help="In which keys the solo guitar's piece lies best.")
    ] = False,
    as_json: Json = False,
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """Every mistake at once, then the form as played, bars, length, and the chord of every bar.

    With --show-plan the leader's plan in place of the chords; with --best-key the keys in which a solo guitar plays the
    piece most easily, and why.

    Example: backing check tune.txt
    """
    from backing.commands.reports import best_keys, check_report, plan_report
    from backing.commands.reports import check as run_check

    results = [run_check(path, wish) for path in charts]
    if as_json:
        show([r.as_json(show_plan) for r in results])
    else:
        for path, result in zip(charts, results, strict=True):
            for diagnostic in result.diagnostics:
                typer.echo(rendered(diagnostic, coloured(sys.stdout)))
            if result.understood and not quiet:
                typer.echo(result.understood)
            if result.timeline is not None and not quiet:
                told = (
                    best_keys(path, wish)
                    if best_key
                    else (plan_report if show_plan else check_report)(result)
                )
                typer.echo(told)
    if any(r.wrong for r in results):
        raise typer.Exit(1)


def explain(
    chart: ChartPath,
    as_json: Json = False,
    quiet: Quiet = False,
    *,
    wish: Options,
) -> None:
    """Every note of every player in words: the chord degree, and the rule or pattern that chose it.

    Of a code such as E104 what it means, as in the guide.

    Example: backing explain tune.txt --bars 5-8; backing explain E104
    """
    if CODE.fullmatch(chart.name) and not chart.exists():
        guide([chart.name], as_json=as_json)
        return
    from backing.commands.reports import explain as run_explain

    result = run_explain(chart, wish, as_json)
    if as_json:
        show(result)
    else:
        typer.echo(result)


def chord(
    symbols: Annotated[list[str], typer.Argument(metavar="SYMBOL...", help="Chord symbols.")],
    german: Annotated[
        bool, typer.Option("--german", help="German note names: H, B, Fis, Es.")
    ] = False,
    tuning: Annotated[
        str,
        typer.Option(
            metavar="STRINGS", help='The guitar\'s open strings from the lowest, "D A D G B E".'
        ),
    ] = "",
    near: Annotated[
        int | None, typer.Option(metavar="FRET", min=0, max=12, help="Grips about this fret.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Spelled notes, degrees, guide tones, what is left out, guitar grips as diagrams.

    Example: backing chord Cmaj9 F#m7b5 Bb13
    """
    from backing.commands.reports import chords as run_chords

    reports, text, refused = run_chords(symbols, german, tuning, near)
    if as_json:
        show(reports)
    else:
        typer.echo(text)
    if refused:
        raise typer.Exit(1)


def sounds(
    words: Annotated[
        list[str] | None,
        typer.Argument(metavar="[use|measure NAME]", help="A name, a path, default or auto."),
    ] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """The soundfonts found here, what each is good for, and which one plays; choose one, or measure one.

    Example: backing sounds; backing sounds use FluidR3_GM.sf2; backing sounds measure my.sf2
    """
    from backing.commands import sounds as fonts

    if words:
        with progress(quiet) as report:
            typer.echo(fonts.run(words, report))
        return
    found = fonts.listed()
    show([font._asdict() for font in found]) if as_json else typer.echo(fonts.text(found))


def doctor(as_json: Json = False) -> None:
    """Engine, soundfont, encoder: what is found, where, and what to install.

    Example: backing doctor
    """
    from backing.commands.doctor import examine, healthy, text

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


def common(
    show_version: Annotated[
        bool, typer.Option("--version", callback=version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """A plain-text chord chart goes in; a band track to play along to comes out."""


COMMANDS: dict[str, Callable[..., None]] = {
    "make": make,
    "play": play,
    "desk": desk,
    "rehearse": rehearse,
    "lesson": lesson,
    "book": book,
    "harmonise": harmonise,
    "new": new,
    "check": check,
    "explain": explain,
    "chord": chord,
    "styles": styles,
    "sounds": sounds,
    "guide": guide,
    "doctor": doctor,
}


def program(names: Iterable[str] = COMMANDS) -> typer.Typer:
    """The program with the commands of these names; typer takes a while over each."""
    app = typer.Typer(
        name="backing",
        help="A plain-text chord chart goes in; a band track to play along to comes out.",
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(common)
    for name in names:
        app.command(name, cls=Command)(command(name, COMMANDS[name]))
    return app


def run(arguments: Sequence[str]) -> int:
    """Run a command line; returns the exit code. Where it begins with a command, that one only is built."""
    app = program(arguments[:1] if arguments and arguments[0] in COMMANDS else COMMANDS)
    try:
        app(args=list(arguments), prog_name="backing")
    except SystemExit as stop:
        if stop.code in STOPPED:
            say(f"backing: {STOPPED[stop.code]}; every file is whole, old or new")
        return stop.code if isinstance(stop.code, int) else 0
    except (ChartError, StyleError) as wrong:
        for diagnostic in wrong.diagnostics:
            say(rendered(diagnostic, coloured(sys.stderr)))
        return wrong.exit_code
    except BackingError as wrong:
        say(f"backing: {wrong}")
        return wrong.exit_code
    return 0
