"""Everything for one lesson with one command: what it holds, and how it is made.

A lesson is a folder or a ZIP: the mix at several speeds, mixes without each player, stems, a loop of every section,
MIDI, sheets, the practice page, captions, the timeline, the tidied chart, and an index that lists and plays it all.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from backing.commands.app import Prepared, Progress, Warn, band, part, prepare, read_text, stem_of
from backing.commands.options import Files, Options
from backing.commands.values import STEM_KINDS, TRANSPOSING, choice, near
from backing.ground.errors import OutputError, RequestError
from backing.ground.roles import file_part

if TYPE_CHECKING:
    from backing.output.bundle import Item
    from backing.performance.model import Performance

SHEETS = ("concert", *TRANSPOSING)


@dataclass(frozen=True, slots=True)
class Choices:
    """What goes into a lesson. `speeds` are percentages; `sheets` name the instruments that the chart is printed for."""

    speeds: tuple[int, ...] = (100, 85, 70)
    without: bool = True
    stems: bool = True
    stems_as: str = "mp3"
    loops: bool = True
    sheets: tuple[str, ...] = ("concert",)
    page: bool = True
    midi: bool = True
    captions: bool = True
    timeline: bool = True
    chart: bool = True


def read_speeds(text: str) -> tuple[int, ...]:
    """`100,85,70`. Raises `RequestError`."""
    try:
        speeds = tuple(int(p.strip().rstrip("%")) for p in text.split(","))
    except ValueError:
        raise RequestError(f"--speeds {text}: write percentages, such as 100,85,70") from None
    if not all(10 <= s <= 200 for s in speeds):
        raise RequestError(f"--speeds {text}: percentages go from 10 to 200")
    return tuple(dict.fromkeys(speeds))


def read_sheets(text: str) -> tuple[str, ...]:
    """`concert,Bb`. Raises `RequestError`."""
    try:
        return tuple(dict.fromkeys(choice(*SHEETS)(part) for part in text.split(",")))
    except RequestError as wrong:
        raise RequestError(f"--sheets {text}: {wrong}") from None


def read_choices(path: Path, choices: Choices) -> Choices:
    """The `[lesson]` table of a TOML file on top of `choices`. Raises `OutputError`, `RequestError`."""
    try:
        table = tomllib.loads(path.read_text("utf-8")).get("lesson", {})
    except OSError as wrong:
        raise OutputError(f"{path} could not be read: {wrong.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as wrong:
        raise RequestError(f"{path} is no TOML file: {wrong}") from None
    names = [f.name for f in fields(Choices)]
    given: dict[str, object] = {}
    for name, value in table.items():
        if name not in names:
            raise RequestError(
                f"{path}: [lesson] has no {name!r}; it may hold {', '.join(names)}.{near(name, names)}"
            )
        given[name] = _choice(path, name, value, getattr(choices, name))
    return replace(choices, **given)  # type: ignore[arg-type]


def _choice(path: Path, name: str, value: object, usual: object) -> object:
    """A value of the table in the type that the choice has."""
    if name == "speeds" and isinstance(value, list):
        return read_speeds(",".join(map(str, value)))
    if name == "sheets" and isinstance(value, list):
        return read_sheets(",".join(map(str, value)))
    if name == "stems_as" and isinstance(value, str):
        try:
            return choice(*STEM_KINDS)(value)
        except RequestError as wrong:
            raise RequestError(f"{path}: [lesson] stems_as {value}: {wrong}") from None
    if isinstance(usual, bool) and isinstance(value, bool):
        return value
    kind = (
        "true or false"
        if isinstance(usual, bool)
        else "a list"
        if isinstance(usual, tuple)
        else "a word"
    )
    raise RequestError(f"{path}: [lesson] {name} is {kind}, not {value!r}")


@dataclass(frozen=True, slots=True)
class Job:
    """Work that makes one or more files of a lesson at once; `make` gets the folder and a progress."""

    items: tuple[Item, ...]
    make: Callable[[Path, Progress], None] = field(compare=False)


def make_lesson(
    chart_path: Path,
    place: Path,
    wish: Options,
    choices: Choices,
    progress: Progress,
    warn: Warn,
) -> tuple[Path, tuple[Item, ...], int]:
    """Make or renew a lesson; returns its place, its files, and how many of them were made anew.

    Raises `ChartError`, `RequestError`, `OutputError`, `AudioUnavailable`.
    """
    from backing.chart.parse import parse
    from backing.output import bundle
    from backing.output.contents import index_page

    text, name = read_text(chart_path)
    prepared = prepare(parse(text, name), wish)
    old = bundle.previous(place, wish.files.force)
    for diagnostic in prepared.warnings:
        warn(diagnostic)
    jobs = jobs_of(prepared, stem_of(chart_path), wish, choices)
    items = tuple(item for job in jobs for item in job.items)
    made = 0
    with bundle.renewed(place, old) as folder:
        open_jobs = [
            job for job in jobs if not all(old.has(i) and old.copy(i, folder) for i in job.items)
        ]
        for number, job in enumerate(open_jobs):
            for item in job.items:
                (folder / item.path).parent.mkdir(parents=True, exist_ok=True)
                (folder / item.path).unlink(missing_ok=True)
            job.make(folder, part(progress, number, max(1, len(open_jobs))))
            made += len(job.items)
        title = prepared.timeline.title or stem_of(chart_path)
        (folder / bundle.CONTENTS).write_text(bundle.contents(title, items), "utf-8")
        (folder / bundle.INDEX).write_text(index_page(title, prepared.timeline.by, items), "utf-8")
    return place, items, made


def jobs_of(prepared: Prepared, stem: str, wish: Options, choices: Choices) -> list[Job]:
    """The work that a lesson needs, in the order of its index."""
    performance = band(prepared, wish)
    jobs = [sound_job(prepared, performance, stem, wish, choices, 100 in choices.speeds)]
    jobs += [speed_job(prepared, stem, wish, speed) for speed in choices.speeds if speed != 100]
    if choices.loops:
        jobs += loop_jobs(prepared, stem, wish)
    jobs += paper_jobs(prepared, performance, stem, wish, choices)
    return [job for job in jobs if job.items]


def sound_print(performance: Performance, wish: Options) -> str:
    """A fingerprint of everything that shapes the sound of a performance."""
    from backing.output.bundle import fingerprint
    from backing.output.files import MADE_BY
    from backing.output.midi import midi_bytes
    from backing.output.sound.soundfont import find

    font = find(wish.sound.soundfont)
    mix = [(v.level_db, v.pan, v.room) for p in performance.players for v in p.voices]
    return fingerprint(
        MADE_BY, midi_bytes(performance), mix, font.name, font.stat().st_size, wish.sound
    )


def sound_job(
    prepared: Prepared,
    performance: Performance,
    stem: str,
    wish: Options,
    choices: Choices,
    full: bool,
) -> Job:
    """The mix, the mixes without each player, and the stems: one rendering."""
    from backing.output.bundle import Item, fingerprint

    mark = sound_print(performance, wish)
    roles = [p.role for p in performance.players if p.notes and p.role != "click"]
    everyone = frozenset(p.role for p in performance.players)
    wanted: list[tuple[Item, frozenset[str] | None, int]] = []
    if full:
        wanted.append(
            (Item(f"{stem}.mp3", "The band", "The whole band", fingerprint(mark, "mix")), None, 16)
        )
    if choices.without and len(roles) > 1:
        for role in roles:
            item = Item(
                f"without/{stem}-without-{file_part(role)}.mp3",
                "Without one player",
                f"Without {role}",
                fingerprint(mark, "-", role),
            )
            wanted.append((item, everyone - {role}, 16))
    if choices.stems:
        for role in roles:
            ending = choices.stems_as
            item = Item(
                f"stems/{stem}-{file_part(role)}.{ending}",
                "One player alone",
                role.capitalize(),
                fingerprint(mark, "+", role),
            )
            wanted.append((item, frozenset({role}), 24 if ending in ("wav", "flac") else 16))

    def make(folder: Path, progress: Progress) -> None:
        from backing.output.sound.audio import Output, write_outputs
        from backing.output.sound.tags import Label

        outputs = [
            Output(folder / item.path, only, bits, Label(item.title if only else ""))
            for item, only, bits in wanted
        ]
        write_outputs(performance, outputs, wish.sound, progress=progress)

    return Job(tuple(item for item, _, _ in wanted), make)


def speed_job(prepared: Prepared, stem: str, wish: Options, speed: int) -> Job:
    """The whole band at a share of its tempo, played anew."""
    from backing.output.bundle import Item
    from backing.timeline.reshape import at_tempo

    slower = prepared._replace(timeline=at_tempo(prepared.timeline, percent=Fraction(speed)))
    performance = band(slower, wish)
    item = Item(f"{stem}-{speed}.mp3", "The band", f"At {speed} %", sound_print(performance, wish))
    return Job((item,), sound_maker(performance, item, wish))


def loop_jobs(prepared: Prepared, stem: str, wish: Options) -> list[Job]:
    """A loop of every section, its first time through."""
    from backing.output.bundle import Item

    jobs = []
    names = [s.name for s in prepared.timeline.sections if s.part != "ending"]
    for name in dict.fromkeys(names):
        chosen = (name,) if name else ()
        own = wish.changed(
            loop=True,
            sections=chosen,
            bars=None,
            choruses=1,
            length_s=None,
            count_in=None,
            ending=None,
        )
        performance = band(prepare(prepared.chart, own), own)
        words = f"Section {name}, round and round" if name else "The chorus, round and round"
        item = Item(
            f"loops/{stem}-{file_name(name or 'chorus')}.wav",
            "Loops",
            words,
            sound_print(performance, own),
        )
        jobs.append(Job((item,), sound_maker(performance, item, own)))
    return jobs


def file_name(words: str) -> str:
    """A section's name as part of a file name."""
    return "".join(c if c.isalnum() else "-" for c in words).strip("-") or "section"


def sound_maker(
    performance: Performance, item: Item, wish: Options
) -> Callable[[Path, Progress], None]:
    def make(folder: Path, progress: Progress) -> None:
        from backing.output.sound.audio import write_audio

        write_audio(performance, [folder / item.path], wish.sound, progress=progress)

    return make


def paper_jobs(
    prepared: Prepared, performance: Performance, stem: str, wish: Options, choices: Choices
) -> list[Job]:
    """What is read and not heard: sheets, page, MIDI, captions, timeline, the chart itself."""
    from backing.commands.app import write_one
    from backing.output.bundle import Item, fingerprint
    from backing.output.files import MADE_BY
    from backing.output.midi import midi_bytes

    text = prepared.chart.source.text
    shape = wish._replace(files=Files())  # --force shapes no file
    notes = fingerprint(MADE_BY, midi_bytes(performance, wish.sound), text, shape)
    wanted: list[tuple[Item, Options]] = []
    for sheet in choices.sheets:
        own = wish.changed(transposing=None if sheet == "concert" else sheet)
        words = "The sheet" if sheet == "concert" else f"The sheet for {sheet} instruments"
        tail = "" if sheet == "concert" else f"-{sheet}"
        wanted.append(
            (
                Item(
                    f"{stem}{tail}.pdf",
                    "To read",
                    words,
                    fingerprint(MADE_BY, text, own._replace(files=Files())),
                ),
                own,
            )
        )
    for asked, ending, words in (
        (choices.page, ".html", "The practice page"),
        (choices.midi, ".mid", "MIDI for an editor"),
        (choices.captions, ".vtt", "Captions for a video"),
        (choices.timeline, ".json", "The timeline in seconds"),
        (choices.chart, ".txt", "The chart itself"),
    ):
        if asked:
            group = (
                "To practise with"
                if ending == ".html"
                else "To read"
                if ending == ".txt"
                else "For other programs"
            )
            wanted.append((Item(f"{stem}{ending}", group, words, fingerprint(notes, ending)), wish))

    def maker(item: Item, own: Options) -> Callable[[Path, Progress], None]:
        def make(folder: Path, progress: Progress) -> None:
            write_one(prepared, performance, folder / item.path, own, progress)

        return make

    return [Job((item,), maker(item, own)) for item, own in wanted]
