"""A plain-text chord chart goes in; a band track to play along to comes out.

    import backing

    chart = backing.parse("style: bossa nova\\n| Dm9 | G13 | Cmaj9 | % |", "tune.txt")
    options = backing.options(tempo=120, key="Eb", without="percussion")
    timeline = backing.unroll(chart, options)
    arrangement = backing.arrange(timeline, backing.style(chart), options=options)
    performance = backing.perform(arrangement, options)
    backing.write_midi(performance, "tune.mid")
    backing.write_sound(performance, ["tune.mp3", "tune.wav"], options)

The steps are pure functions of immutable values:

    text ─parse─▶ Chart ─unroll─▶ Timeline ─arrange─▶ Arrangement ─perform─▶ Performance ─▶ write_midi, write_sound, render
    melody ─harmonise─▶ chords for it, ranked

Units: time in quarters (`start_q`, exact fractions, 0 at the first bar line) up to the `Arrangement`; from the
`Performance` on in seconds (`onset_s`, 0 at the first sample, the count-in included). Pitches are MIDI numbers,
tempos beats a minute, levels decibels, loudness LUFS, sound float32 of shape (frames, 2) at 44,100 Hz. The same input,
seed and soundfont give the same notes and the same bytes.

Errors: whatever a user can mend is a `BackingError`; its text says where and what to type instead, and `exit_code` how
the command would end. `ChartError` and `StyleError` hold every mistake in `diagnostics` (`code`, `message`, `hint`,
`line`, `column`). Nothing prints, and nothing exits.

Everything is loaded when it is first used, so importing the package costs next to nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from os import PathLike
from typing import TYPE_CHECKING

from backing.ground.errors import (
    ArrangementError,
    AudioUnavailable,
    BackingError,
    ChartError,
    OutputError,
    RequestError,
    StyleError,
)
from backing.ground.version import VERSION

if TYPE_CHECKING:
    from pathlib import Path

    from backing.band.model import Arrangement
    from backing.chart.ast import Chart
    from backing.commands.options import Options
    from backing.harmonising.harmonise import Harmonisation
    from backing.harmonising.melody import Melody
    from backing.harmonising.wishes import Wishes
    from backing.harmony.symbol import Chord
    from backing.output.sound.synth import Block
    from backing.performance.model import Performance
    from backing.styles.model import Style
    from backing.timeline.model import Timeline

__version__ = VERSION
__all__ = [
    "ArrangementError",
    "AudioUnavailable",
    "BackingError",
    "ChartError",
    "Options",
    "OutputError",
    "RequestError",
    "StyleError",
    "arrange",
    "chord",
    "harmonise",
    "options",
    "parse",
    "perform",
    "render",
    "render_blocks",
    "style",
    "unroll",
    "write_midi",
    "write_sound",
]

if not TYPE_CHECKING:

    def __getattr__(name: str) -> object:
        """`Options`, loaded when it is first used."""
        if name != "Options":
            raise AttributeError(f"module 'backing' has no attribute {name!r}")
        from backing.commands.options import Options

        return Options


def options(**typed: object) -> Options:
    """The options of a track, as `backing make --help` lists them: `options(tempo="75%", key="Eb", only=["bass"])`.

    Dashes in names are `_`, and `--for` is `for_`. Values are text as it is typed, or numbers; flags are true; options
    that may be given again take a list. Raises `RequestError` for an unknown name and a value that cannot be read, and
    for `loop`, which is the command's.
    """
    from backing.commands.options import options as read

    return read("python", **typed)


def parse(text: str, name: str = "<chart>") -> Chart:
    """Read a chart; `name` is what diagnostics call it, such as the name of its file.

    A style at a relative path is looked for beside that file. Raises `ChartError` with every mistake.
    """
    from backing.chart.parse import parse as read

    return read(text, name)


def unroll(chart: Chart, options: Options | None = None) -> Timeline:
    """The order of play: every bar in turn, its chords, keys, meters and tempo, in quarters.

    Of `options` those count that shape the form (tempo, key, choruses, bars, ending, count-in …). Raises `ChartError`
    and `StyleError`, and `RequestError` for a section or bar that the chart does not have.
    """
    from backing.commands.preparing import PLAIN, prepare

    return prepare(chart, options or PLAIN).timeline


def style(named: str | Chart) -> Style:
    """A style by its name, by a path that ends in `.toml`, or the one that a chart is played in.

    Raises `RequestError` for an unknown name with the nearest one, `StyleError` for a file with mistakes, `ChartError`
    for a name that is wrong in the chart.
    """
    if isinstance(named, str):
        from backing.styles.find import find

        return find(named)
    from backing.commands.preparing import own_style

    return own_style(named)


def arrange(
    timeline: Timeline, style: Style, seed: int | None = None, options: Options | None = None
) -> Arrangement:
    """Every player's notes on an exact grid in quarters, each with the reason for it (`note.why.words`).

    The same `seed` (a whole number; 1, or that of `options`) gives the same notes, another one another performance.
    Of `options` those count that shape the band (only, without, click, guide_tones); they never change a note of those
    who play. Raises `RequestError` for a player that the style does not have, `ArrangementError` for a part that cannot
    be played, `StyleError` for a section's style.
    """
    from backing.commands.preparing import PLAIN, arranged

    wish = options or PLAIN
    return arranged(timeline, style, wish if seed is None else wish.changed(seed=seed))


def perform(arrangement: Arrangement, options: Options | None = None) -> Performance:
    """Notes in seconds with velocities from 1 to 127, swung and with human timing; never fails.

    Of `options` those count that shape how it is played: `level`, in dB beside what the style has, and `straight`.
    """
    from backing.performance.levels import with_levels
    from backing.performance.perform import perform as play

    if options is None:
        return with_levels(play(arrangement))
    performance = play(arrangement, straight=options.band.straight)
    return with_levels(performance, options.sound.levels)


def write_midi(performance: Performance, path: str | PathLike[str]) -> None:
    """Write a Standard MIDI File of type 1, 960 ticks a quarter, a track a player.

    Raises `OutputError` for a file that is in the way and was not made by this program, or cannot be written.
    """
    from backing.output.midi import write

    write(performance, path)


def write_sound(
    performance: Performance,
    paths: str | PathLike[str] | Sequence[str | PathLike[str]],
    options: Options | None = None,
) -> list[Path]:
    """Write the mix as `.wav`, `.flac`, `.ogg`, `.mp3` or `.m4a`, by the ending of each path; returns what was written.

    The band is rendered once. Of `options` those count that shape the sound (loudness in LUFS, -16 without; soundfont,
    a4 in Hz, bits) and the files (stems, stems_as, force). Raises `AudioUnavailable` without sound engine, soundfont or
    encoder, `OutputError` for a file that is in the way and was not made by this program, or cannot be written.
    """
    from backing.commands.preparing import PLAIN
    from backing.output.sound.audio import write_audio

    wish = options or PLAIN
    return write_audio(
        performance,
        [paths] if isinstance(paths, str | PathLike) else paths,
        wish.sound,
        stems=wish.files.stems,
        stems_as=wish.files.stems_as or "wav",
        force=wish.files.force,
    )


def render_blocks(
    performance: Performance, soundfont: str | PathLike[str] | None = None
) -> Iterator[Block]:
    """The dry sound in blocks in order: of each player, by name, a float32 array of shape (frames, 2) at 44.1 kHz.

    Without mix, room or limiter; without `soundfont` the usual one plays. Raises `AudioUnavailable`.
    """
    from backing.output.sound.synth import render_blocks as blocks

    return blocks(performance, soundfont)


def render(performance: Performance, soundfont: str | PathLike[str] | None = None) -> Block:
    """The blocks of `render_blocks` joined: the whole dry track in memory, of each player an array of shape (frames, 2).

    One minute takes 21 MB a player. Raises `AudioUnavailable`.
    """
    from backing.output.sound.synth import render as whole

    return whole(performance, soundfont)


def chord(symbol: str) -> Chord | None:
    """Read a chord symbol; None for `N.C.`.

    `notes` are its spelled notes, `degrees` what they are in it, `pitch_classes` 0 to 11. Raises `BackingError` (also a
    `ValueError`) with what to type instead.
    """
    from backing.harmony.symbol import read

    return read(symbol)


def harmonise(melody: Melody | str, wishes: Wishes | None = None) -> list[Harmonisation]:
    """Chords for a melody, the best first; `symbols` of each are its chords, `chords` say where and why.

    `melody` is notes such as "G4 A4 (B4 C5)", the text of a chart with lines `melody:` and chords `?`, or a `Melody`
    (notes and bars in quarters). `wishes`
    (`backing.harmonising.wishes.Wishes`) say manner, key, how often the chord changes, and how many results; without
    them eight in a ballad's manner. Raises `ChartError` for the text, `RequestError` for a melody without notes.
    """
    from backing.harmonising.harmonise import harmonise as found
    from backing.harmonising.wishes import PLAIN

    wishes = wishes or PLAIN
    if not isinstance(melody, str):
        return found(melody, wishes)
    from backing.chart.parse import parse as read
    from backing.commands.harmonise import looks_like_notes
    from backing.harmonising.fill import notes_as_chart, task_of

    text = notes_as_chart(melody) if looks_like_notes(melody) else melody
    task = task_of(read(text, wanted=True), wishes.every)
    return found(task.melody, wishes, task.places)
