"""A chart and its performance in the forms that the endings of file names ask for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from backing.commands.naming import changes
from backing.commands.options import Options
from backing.commands.planned import SHEET, SOUND, VIDEO, WRITTEN, is_part
from backing.commands.preparing import Prepared, moved_chart
from backing.commands.progress import Progress, part, silent
from backing.ground.timebase import QUARTER

if TYPE_CHECKING:
    from backing.ground.source import Diagnostic
    from backing.output.sound.audio import Output as SoundFile
    from backing.output.sound.tags import Label
    from backing.performance.model import Performance

PAGE = ".html"


def recorded(planned: Sequence[Path], write: Callable[[], list[Path]]) -> list[Path]:
    """What `write` has written, noted down so that what somebody changes in it later is known."""
    from backing.output import made

    made.begin(planned)
    written = write()
    made.end(written)
    return written


def write_all(
    prepared: Prepared,
    performance: Performance,
    paths: Iterable[Path],
    wish: Options,
    progress: Progress,
    label: Label | None = None,
) -> list[Path]:
    """Write a performance in every form that the endings of `paths` ask for.

    `label` says what it is called; without one its title says what was asked for.
    """
    found = list(paths)
    heard = [path for path in found if path.suffix.lower() in SOUND]
    pages = [path for path in found if path.suffix.lower() == PAGE]
    videos = [path for path in found if path.suffix.lower() in VIDEO]
    if videos:
        from backing.output.sound.encoder import encoder_path

        encoder_path()  # what is missing is said before the work begins
    read = [path for path in found if path not in (*heard, *pages, *videos)]
    made = {path: write_one(prepared, performance, path, wish, progress) for path in read}
    with ExitStack() as stack:
        also: list[SoundFile] = []
        stems: dict[str, SoundFile] = {}
        if (heard or videos) and (pages or videos):  # one rendering for all
            folder = Path(stack.enter_context(TemporaryDirectory(prefix="backing-")))
            stems = page_stems(performance, folder / "page") if pages else {}
            also = [*stems.values(), *([video_sound(folder)] if videos else [])]
        shares = 1 + len(videos)
        sounding = part(progress, 0, shares)
        more = _write_sound(performance, heard, also, wish, sounding, label)
        for n, path in enumerate(videos, 1):
            drawing = part(progress, n, shares)
            write_video(prepared, performance, path, also[-1].path, wish, drawing, label)
        sounds = {role: stem.path for role, stem in stems.items()} if stems else None
        for path in pages:
            made[path] = write_one(prepared, performance, path, wish, progress, sounds)
    written = [one for path in found for one in made.get(path, [path])]
    return [*written, *(path for path in more if path not in written)]


def _write_sound(
    performance: Performance,
    heard: Sequence[Path],
    also: Sequence[SoundFile],
    wish: Options,
    progress: Progress,
    label: Label | None,
) -> list[Path]:
    """Write the sound files, and what else is made of the same rendering; returns those that were asked for."""
    if not heard and not also:
        return []
    from backing.output.sound.audio import write_audio

    return write_audio(
        performance,
        heard,
        wish.sound,
        stems=wish.files.stems,
        stems_as=wish.files.stems_as or "wav",
        also=also,
        label=label or label_of(wish),
        force=wish.files.force,
        progress=progress,
    )


def label_of(wish: Options) -> Label:
    """What a track is called that is made with these options."""
    from backing.output.sound.tags import Label

    return Label(changed=", ".join(changes(wish)))


def video_sound(folder: Path) -> SoundFile:
    """The sound of a video, as a file that is rendered with the others."""
    from backing.output.sound.audio import Output

    return Output(folder / "video.wav")


def write_video(
    prepared: Prepared,
    performance: Performance,
    path: Path,
    sound: Path,
    wish: Options,
    progress: Progress = silent,
    label: Label | None = None,
) -> None:
    """The chart moving in time with a sound file of the performance."""
    from backing.output.sound.soundfont import find
    from backing.output.video.write import write

    write(
        performance,
        moved_chart(prepared.chart, wish),
        path,
        sound=sound,
        style=prepared.style.name,
        tempo=shown_tempo(prepared, wish),
        picture=wish.picture,
        paper=wish.paper,
        label=label or label_of(wish),
        soundfont=find(wish.sound.soundfont).stem,
        force=wish.files.force,
        progress=progress,
    )


def page_stems(performance: Performance, folder: Path) -> dict[str, SoundFile]:
    """The players as the practice page needs them, as sound files by role."""
    from backing.output.page.write import sounding
    from backing.output.sound.audio import Output

    folder.mkdir(parents=True, exist_ok=True)
    return {
        role: Output(folder / f"{role}.wav", frozenset({role})) for role in sounding(performance)
    }


def write_one(
    prepared: Prepared,
    performance: Performance,
    path: Path,
    wish: Options,
    progress: Progress = silent,
    sounds: Mapping[str, Path] | None = None,
) -> list[Path]:
    """Write one file that is read and not heard; returns what was written (a sheet may have several pages).

    `sounds` are the players of a practice page, by role, where they have been rendered already.
    """
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
    elif is_part(path, wish):
        return write_part(prepared, performance, path, wish)
    elif kind in WRITTEN:
        return write_written(prepared, path, wish)
    elif kind == PAGE:
        from backing.output.page.write import write as write_page

        write_page(
            performance,
            moved_chart(prepared.chart, wish),
            path,
            stems=sounds,
            sound=wish.sound,
            paper=wish.paper,
            force=wish.files.force,
            progress=progress,
        )
    return [path]


def write_part(
    prepared: Prepared, performance: Performance, path: Path, wish: Options
) -> list[Path]:
    """What players play, as a score or a part of it; returns what was written."""
    music = performance.arrangement
    if path.suffix.lower() in SHEET:
        from backing.output.parts.engraved import write

        language = prepared.chart.header.language
        return write(music, path, paper=wish.paper, language=language, force=wish.files.force)
    from backing.output.files import write_bytes
    from backing.output.musicxml import packed_file
    from backing.output.parts.engraved import players_of
    from backing.output.parts.score import text

    data = text(music, players_of(music, wish.paper), tab=wish.paper.tab).encode("utf-8")
    packed = path.suffix.lower() == ".mxl"
    write_bytes(path, packed_file(data) if packed else data, force=wish.files.force)
    return [path]


def write_written(prepared: Prepared, path: Path, wish: Options) -> list[Path]:
    """Write the chart itself, as text or as a sheet; returns what was written."""
    kind = path.suffix.lower()
    if kind in SHEET:
        return write_sheet(prepared, path, wish)
    if kind == ".abc":
        from backing.output.abc import write as write_abc

        write_abc(moved_chart(prepared.chart, wish), path, force=wish.files.force)
    elif kind == ".cho":
        from backing.output.words import write as write_words

        write_words(moved_chart(prepared.chart, wish), path, force=wish.files.force)
    elif kind in (".musicxml", ".mxl"):
        from backing.output.musicxml import write as write_musicxml

        chart = moved_chart(prepared.chart, wish)
        write_musicxml(chart, path, transposing=wish.paper.transposing, force=wish.files.force)
    else:
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


def unseen(prepared: Prepared, sheets: Iterable[Options]) -> tuple[Diagnostic, ...]:
    """What no font can draw on the sheets that are written with these options, each line told once."""
    style = prepared.style.name
    if (prepared.chart.source.text + style).isascii():
        return ()
    from backing.output.sheet.unseen import unseen as on_sheet

    found = [
        diagnostic
        for wish in sheets
        for diagnostic in on_sheet(
            moved_chart(prepared.chart, wish), wish.paper, style, shown_tempo(prepared, wish)
        )
    ]
    return tuple({(d.span, d.message): d for d in found}.values())
