"""Everything for one lesson with one command: what it holds, and the jobs that make it.

A lesson is a folder or a ZIP: the mix at several speeds, mixes without each player, stems, a loop of every section,
MIDI, sheets, the practice page, captions, the timeline, the tidied chart, and an index that lists and plays it all.
Each tempo is rendered once and mixed as often as it is wanted; the practice page takes its sounds from there too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.choices import Choices
from backing.commands.mixes import DUO, SLOW_TO_FAST, about, rising
from backing.commands.naming import changes
from backing.commands.options import Files, Options
from backing.commands.planned import stem_of
from backing.commands.preparing import Prepared, band, prepare
from backing.commands.progress import Progress, Warn
from backing.commands.reading import read_text
from backing.commands.writing import unseen
from backing.ground.roles import file_part

if TYPE_CHECKING:
    from backing.output.bundle import Item, Renewal
    from backing.output.jobs import Job
    from backing.output.sound.audio import Output as SoundFile
    from backing.performance.model import Performance

Makes = Mapping[str, str]


class Piece(NamedTuple):
    """A file of a lesson: where, under which heading, what it is in words, and what shapes it."""

    path: str
    group: str
    title: str
    makes: Makes
    about: str = ""


class Mix(NamedTuple):
    """A sound file of a rendering: of all players (`roles` None) or some; `player` and `changed` go into its title."""

    piece: Piece
    roles: frozenset[str] | None = None
    bits: int = 16
    player: str = ""
    changed: str = ""


class Rendering(NamedTuple):
    """A performance, the mixes that are made of it, and the practice page where it is made of it too."""

    performance: Performance
    wish: Options
    mixes: tuple[Mix, ...]
    page: Piece | None = None

    @property
    def pieces(self) -> tuple[Piece, ...]:
        return (*(mix.piece for mix in self.mixes), *filter(None, [self.page]))


class Print(NamedTuple):
    """A file that is read and not heard, and the options that it is made with."""

    piece: Piece
    wish: Options


def make_lesson(
    chart_path: Path,
    place: Path,
    wish: Options,
    choices: Choices,
    progress: Progress,
    warn: Warn,
) -> tuple[tuple[Item, ...], Renewal]:
    """Make or renew a lesson; returns its files, and what was done to which.

    Raises `ChartError`, `RequestError`, `OutputError`, `AudioUnavailable`.
    """
    from backing.chart.parse import parse
    from backing.output import bundle
    from backing.output.names import safe

    text, name = read_text(chart_path)
    prepared = prepare(parse(text, name), wish)
    with bundle.opened(place, wish.files.force) as store:
        for diagnostic in (*prepared.warnings, *unseen(prepared, wish, [Path("sheet.pdf")])):
            warn(diagnostic)
        stem = safe(stem_of(chart_path))
        performance = band(prepared, wish)
        renderings = heard(prepared, performance, stem, wish, choices)
        prints = papers(prepared, performance, stem, wish, choices)
        pieces = [p for r in renderings for p in r.pieces] + [p.piece for p in prints]
        named = names(pieces, taken(chart_path, place))
        items = tuple(
            bundle.Item(n, p.group, p.title, p.about) for n, p in zip(named, pieces, strict=True)
        )
        title = prepared.timeline.title or stem
        jobs = jobs_of(prepared, performance, renderings, prints, named, title)
        jobs += index_jobs(title, prepared.timeline.by, items)
        renewal = bundle.renew(store, jobs, progress, force=wish.files.force)
    return items, renewal


def told(place: Path, items: Sequence[Item], renewal: Renewal) -> list[str]:
    """What was done, in lines: the counts, what was kept because it is somebody's, what is left of an earlier run."""
    ours = {item.path for item in items}
    made = len(ours.intersection(renewal.made))
    kept = len(ours.intersection(renewal.kept))
    lines = [f"{place}: {len(items)} files, {made} made, {len(items) - made - kept} unchanged"]
    if kept:
        lines[0] += f", {kept} kept"
    lines += [
        f"kept {path}: somebody has changed it or put it there; take it away, or --force"
        for path in renewal.kept
    ]
    lines += [f"left {path}: an earlier run made it, this one does not" for path in renewal.left]
    return lines


def names(pieces: Sequence[Piece], taken: Iterable[str]) -> list[str]:
    """The path of each piece, every one another file on any disk."""
    from backing.output.bundle import RESERVED
    from backing.output.names import unique

    return unique([p.path for p in pieces], [*RESERVED, *taken])


def taken(chart_path: Path, place: Path) -> list[str]:
    """The chart's own name where it lies in the lesson: what a lesson is made from is never written over."""
    try:
        return [chart_path.resolve().relative_to(place.resolve()).as_posix()]
    except ValueError:
        return []


# what is heard


def heard(
    prepared: Prepared, performance: Performance, stem: str, wish: Options, choices: Choices
) -> list[Rendering]:
    """Every rendering that a lesson needs, in the order of its index."""
    renderings = [full(prepared, performance, stem, wish, choices)]
    renderings += [slower(prepared, stem, wish, s) for s in choices.speeds if s != 100]
    if choices.click:
        own = wish.changed(click="beats")
        played = band(prepared, own)
        renderings.append(whole(played, own, f"{stem}-click.mp3", "With a click", changes(own)))
    if choices.ladder:
        said = ["ladder", *changes(wish)]
        renderings.append(
            whole(rising(prepared, wish), wish, f"{stem}-ladder.mp3", SLOW_TO_FAST, said)
        )
    if choices.loops:
        renderings += loops(prepared, stem, wish)
    return [r for r in renderings if r.pieces]


def full(
    prepared: Prepared, performance: Performance, stem: str, wish: Options, choices: Choices
) -> Rendering:
    """The band at its tempo: the mix, the mixes without each player, the stems, and the practice page."""
    roles = [p.role for p in performance.players if p.notes and p.role != "click"]
    everyone = frozenset(p.role for p in performance.players)
    said = ", ".join(changes(wish))
    makes = sounding(performance, wish)
    mixes: list[Mix] = []
    if 100 in choices.speeds:
        piece = Piece(f"{stem}.mp3", "The band", "The whole band", makes, about(performance))
        mixes.append(Mix(piece, changed=said))
    if choices.bass_and_drums and set(roles) > DUO:
        path, words = f"{stem}-bass-and-drums.mp3", "Bass and drums"
        piece = Piece(path, "The band", words, {**makes, "only": words}, about(performance))
        mixes.append(Mix(piece, DUO, 16, "bass and drums", said))
    if choices.without and len(roles) > 1:
        for role in roles:
            path = f"without/{stem}-without-{file_part(role)}.mp3"
            piece = Piece(
                path,
                "Without one player",
                f"Without {role}",
                {**makes, "without": role},
                about(performance),
            )
            mixes.append(Mix(piece, everyone - {role}, 16, f"without {role}", said))
    if choices.stems:
        bits = 24 if choices.stems_as in ("wav", "flac") else 16
        for role in roles:
            path = f"stems/{stem}-{file_part(role)}.{choices.stems_as}"
            piece = Piece(
                path,
                "One player alone",
                role.capitalize(),
                {**makes, "only": role},
                about(performance),
            )
            mixes.append(Mix(piece, frozenset({role}), bits, role, said))
    page = None
    if choices.page:
        shapes = {**makes, **written(prepared, wish)}
        page = Piece(
            f"{stem}.html", "To practise with", "The practice page", shapes, about(performance)
        )
    return Rendering(performance, wish, tuple(mixes), page)


def slower(prepared: Prepared, stem: str, wish: Options, speed: int) -> Rendering:
    """The whole band at a share of its tempo, played anew."""
    from backing.timeline.reshape import at_tempo

    at_speed = prepared._replace(timeline=at_tempo(prepared.timeline, percent=Fraction(speed)))
    said = [f"{speed} %", *changes(wish)]
    return whole(band(at_speed, wish), wish, f"{stem}-{speed}.mp3", f"At {speed} %", said)


def whole(
    performance: Performance, wish: Options, path: str, words: str, said: Sequence[str]
) -> Rendering:
    """All that a performance sounds as one file."""
    piece = Piece(path, "The band", words, sounding(performance, wish), about(performance))
    return Rendering(performance, wish, (Mix(piece, changed=", ".join(said)),))


def loops(prepared: Prepared, stem: str, wish: Options) -> list[Rendering]:
    """A loop of every section, its first time through."""
    from backing.output.names import worded

    found = []
    sections = [s.name for s in prepared.timeline.sections if s.part != "ending"]
    for name in dict.fromkeys(sections):
        own = wish.changed(
            loop=True, sections=(name,) if name else (), bars=None, choruses=1, length_s=None,
            count_in=None, ending=None,
        )  # fmt: skip
        performance = band(prepare(prepared.chart, own), own)
        words = f"Section {name}, round and round" if name else "The chorus, round and round"
        path = f"loops/{stem}-{worded(name or 'chorus', 'section')}.wav"
        piece = Piece(
            path, "Loops", words, sounding(performance, own), about(performance, loop=True)
        )
        said = ", ".join([name or "the chorus", "loop", *changes(wish)])
        found.append(Rendering(performance, own, (Mix(piece, changed=said),)))
    return found


def sounding(performance: Performance, wish: Options) -> dict[str, str]:
    """What shapes the sound of a performance, by name."""
    from backing.output.files import MADE_BY
    from backing.output.jobs import digest_of, fingerprint
    from backing.output.midi import midi_bytes
    from backing.output.sound.soundfont import find

    levels = [
        (float(v.at_q), v.level_db, v.pan, v.room) for p in performance.players for v in p.voices
    ]
    return {
        "program": MADE_BY,
        "notes": fingerprint(midi_bytes(performance)),
        "levels": fingerprint(levels),
        "soundfont": digest_of(find(wish.sound.soundfont)),
        "sound": fingerprint(wish.sound._replace(soundfont=None)),
    }


# what is read


def papers(
    prepared: Prepared, performance: Performance, stem: str, wish: Options, choices: Choices
) -> list[Print]:
    """What is read and not heard: sheets, MIDI, captions, timeline, the chart itself."""
    from backing.output.jobs import fingerprint
    from backing.output.midi import midi_bytes

    found = []
    for sheet in choices.sheets:
        own = wish.changed(transposing=None if sheet == "concert" else sheet)
        words = "The sheet" if sheet == "concert" else f"The sheet for {sheet} instruments"
        tail = "" if sheet == "concert" else f"-{sheet}"
        piece = Piece(f"{stem}{tail}.pdf", "To read", words, written(prepared, own))
        found.append(Print(piece, own))
    makes = {**written(prepared, wish), "notes": fingerprint(midi_bytes(performance, wish.sound))}
    for asked, ending, group, words in (
        (choices.midi, ".mid", "For other programs", "MIDI for an editor"),
        (choices.captions, ".vtt", "For other programs", "Captions for a video"),
        (choices.timeline, ".json", "For other programs", "The timeline in seconds"),
        (choices.chart, ".txt", "To read", "The chart itself"),
    ):
        if asked:
            found.append(Print(Piece(f"{stem}{ending}", group, words, makes), wish))
    return found


def written(prepared: Prepared, wish: Options) -> dict[str, str]:
    """What shapes a sheet, by name; `--force` shapes no file."""
    from backing.commands.writing import shown_tempo
    from backing.output.files import MADE_BY
    from backing.output.jobs import fingerprint

    return {
        "program": MADE_BY,
        "chart": fingerprint(prepared.chart.source.text),
        "options": fingerprint(wish._replace(files=Files())),
        "style": fingerprint(prepared.style.name, shown_tempo(prepared, wish)),
    }


# how it is made


def jobs_of(
    prepared: Prepared,
    performance: Performance,
    renderings: Sequence[Rendering],
    prints: Sequence[Print],
    named: Sequence[str],
    title: str,
) -> list[Job]:
    """The work that makes the pieces under their names, in order."""
    jobs: list[Job] = []
    track = 0
    at = 0
    for rendering in renderings:
        own = named[at : at + len(rendering.pieces)]
        jobs.append(sound_job(prepared, rendering, own, title, track))
        track += len(rendering.mixes)
        at += len(own)
    for one in prints:
        jobs.append(print_job(prepared, performance, one, named[at]))
        at += 1
    return jobs


def sound_job(
    prepared: Prepared, rendering: Rendering, named: Sequence[str], album: str, before: int
) -> Job:
    """One rendering, and everything that is made of it; its tracks are numbered on from `before`."""
    from backing.output.jobs import Job, Output

    def outputs() -> list[Output]:
        found = []
        for number, (path, piece) in enumerate(zip(named, rendering.pieces, strict=True), 1):
            heard = {} if piece is rendering.page else {"track": f"{album} {before + number}"}
            found.append(Output(path, {**piece.makes, **heard}))
        return found

    def make(folder: Path, wanted: frozenset[str], progress: Progress) -> None:
        from backing.output.sound.audio import Output as SoundFile
        from backing.output.sound.audio import write_outputs
        from backing.output.sound.tags import Label

        files = [
            SoundFile(
                folder / path, mix.roles, mix.bits,
                Label(mix.player, mix.changed, album, before + number),
            )
            for number, (path, mix) in enumerate(zip(named, rendering.mixes, strict=False), 1)
            if path in wanted
        ]  # fmt: skip
        page = rendering.page is not None and named[-1] in wanted
        stems = page_stems(rendering.performance, folder / "stems of the page") if page else {}
        sound = rendering.wish.sound
        all_files = [*files, *stems.values()]
        share = 0.9 if page else 1.0
        write_outputs(
            rendering.performance, all_files, sound, progress=lambda s, w: progress(share * s, w)
        )
        if page:
            paths = {role: file.path for role, file in stems.items()}
            write_page(prepared, rendering, folder / named[-1], paths)
            for path in paths.values():
                path.unlink()
        progress(1.0, "done")

    return Job(tuple(outputs()), make)


def page_stems(performance: Performance, folder: Path) -> dict[str, SoundFile]:
    """The players as the practice page needs them, as sound files by role."""
    from backing.output.page.write import sounding as in_page
    from backing.output.sound.audio import Output as SoundFile

    folder.mkdir(parents=True, exist_ok=True)
    return {
        role: SoundFile(folder / f"{role}.wav", frozenset({role})) for role in in_page(performance)
    }


def write_page(
    prepared: Prepared, rendering: Rendering, path: Path, stems: Mapping[str, Path]
) -> None:
    """The practice page from sounds that are there already."""
    from backing.commands.preparing import moved_chart
    from backing.output.page.write import write

    write(
        rendering.performance,
        moved_chart(prepared.chart, rendering.wish),
        path,
        stems=stems,
        sound=rendering.wish.sound,
        paper=rendering.wish.paper,
    )


def print_job(prepared: Prepared, performance: Performance, one: Print, path: str) -> Job:
    """A file that is read."""
    from backing.commands.writing import write_one
    from backing.output.jobs import Job, Output

    def make(folder: Path, _: frozenset[str], progress: Progress) -> None:
        write_one(prepared, performance, folder / path, one.wish, progress)

    return Job((Output(path, one.piece.makes),), make)


def index_jobs(title: str, by: str, items: Sequence[Item]) -> list[Job]:
    """The page and the list of all that there is."""
    from backing.output.bundle import CONTENTS, INDEX, contents
    from backing.output.contents import index_page
    from backing.output.jobs import Job, Output, fingerprint

    def job(path: str, text: str) -> Job:
        def make(folder: Path, _: frozenset[str], progress: Progress) -> None:
            (folder / path).write_text(text, "utf-8")

        return Job((Output(path, {"text": fingerprint(text)}),), make)

    return [
        job(INDEX, index_page(title, by, items)),
        job(CONTENTS, contents(title, items)),
    ]
