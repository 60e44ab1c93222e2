"""Everything for one lesson with one command: its names, and the jobs that make it and renew it.

A lesson is a folder or a ZIP: the mix at several speeds, mixes without each player, stems, a loop of every section,
MIDI, sheets, the practice page, captions, the timeline, the tidied chart, and an index that lists and plays it all.
Each tempo is rendered once and mixed as often as it is wanted; the practice page takes its sounds from there too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from backing.commands.choices import Choices
from backing.commands.lesson_pieces import Piece, Print, Rendering, heard, papers, sheets
from backing.commands.naming import changes
from backing.commands.options import Options
from backing.commands.planned import stem_of
from backing.commands.preparing import Prepared, band, prepare
from backing.commands.progress import Progress, Warn, part
from backing.commands.reading import read_chart
from backing.commands.writing import page_stems, unseen, video_sound, write_one, write_video

if TYPE_CHECKING:
    from backing.chart.ast import Chart
    from backing.output.bundle import Item, Renewal, Store
    from backing.output.jobs import Job
    from backing.performance.model import Performance


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
    from backing.commands.book.listing import is_list

    if is_list(chart_path):
        return lesson_of_several(chart_path, place, wish, choices, progress, warn)
    chart = read_chart(chart_path, wish.reading)
    return lesson_of(chart, chart_path, place, wish, choices, progress, warn)


def lesson_of_several(
    source: Path, place: Path, wish: Options, choices: Choices, progress: Progress, warn: Warn
) -> tuple[tuple[Item, ...], Renewal]:
    """A lesson of all tunes of a list or a folder: each in a folder of its own, and one index. Raises as `make_lesson`."""
    from backing.commands.book.listing import listing
    from backing.output import bundle
    from backing.output.contents import in_order
    from backing.output.names import unique

    found = listing(source, wish, "lesson", apart=place)
    ready = [prepare(read_chart(t.path, t.wish.reading), t.wish) for t in found.tunes]
    folders = unique([f"{tune.name}.x" for tune in found.tunes])
    jobs: list[Job] = []
    items: list[Item] = []
    with bundle.opened(place, wish.files.force) as store:
        for tune, prepared, folder in zip(found.tunes, ready, folders, strict=True):
            for diagnostic in (*prepared.warnings, *unseen(prepared, sheets(tune.wish, choices))):
                warn(diagnostic)
            under = f"{folder.removesuffix('.x')}/"
            own, more = tune_jobs(
                prepared, tune.name, tune.wish, choices, taken(tune.path, place), under
            )
            title = prepared.timeline.title or tune.name
            items += [item._replace(group=f"{title}: {item.group}") for item in in_order(own)]
            jobs += more
        jobs += index_jobs(found.title, found.by, items)
        return tuple(items), bundle.renew(store, jobs, progress, force=wish.files.force)


def lesson_of(
    chart: Chart,
    chart_path: Path,
    place: Path,
    wish: Options,
    choices: Choices,
    progress: Progress,
    warn: Warn,
) -> tuple[tuple[Item, ...], Renewal]:
    """The same for a chart that has been read, and is named as the file at `chart_path`."""
    from backing.output import bundle
    from backing.output.names import safe

    prepared = prepare(chart, wish)
    with bundle.opened(place, wish.files.force) as store:
        for diagnostic in (*prepared.warnings, *unseen(prepared, sheets(wish, choices))):
            warn(diagnostic)
        stem = safe(stem_of(chart_path))
        own = taken(chart_path, place)
        return fill_lesson(store, prepared, stem, wish, choices, own, progress)


def fill_lesson(
    store: Store,
    prepared: Prepared,
    stem: str,
    wish: Options,
    choices: Choices,
    taken: Sequence[str],
    progress: Progress,
) -> tuple[tuple[Item, ...], Renewal]:
    """Make or renew the files of a lesson in an open bundle, none under a name that is `taken`. Raises as `make_lesson`."""
    from backing.output import bundle

    items, jobs = tune_jobs(prepared, stem, wish, choices, taken)
    jobs += index_jobs(prepared.timeline.title or stem, prepared.timeline.by, items)
    return items, bundle.renew(store, jobs, progress, force=wish.files.force)


def tune_jobs(
    prepared: Prepared,
    stem: str,
    wish: Options,
    choices: Choices,
    taken: Sequence[str],
    under: str = "",
) -> tuple[tuple[Item, ...], list[Job]]:
    """The files of a tune, and the jobs that make them, in the folder `under` of the bundle."""
    from backing.output import bundle

    performance = band(prepared, wish)
    renderings = heard(prepared, performance, stem, wish, choices)
    prints = papers(prepared, performance, stem, wish, choices)
    pieces = [p for r in renderings for p in r.pieces] + [p.piece for p in prints]
    named = names([p._replace(path=f"{under}{p.path}") for p in pieces], taken)
    items = tuple(
        bundle.Item(n, p.group, p.title, p.about) for n, p in zip(named, pieces, strict=True)
    )
    title = prepared.timeline.title or stem
    return items, jobs_of(prepared, performance, renderings, prints, named, title)


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
            read = piece is rendering.page or piece is rendering.video
            heard = {} if read else {"track": f"{album} {before + number}"}
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
        own, wish = rendering.performance, rendering.wish
        rest = [path if path in wanted else None for path in named[len(rendering.mixes) :]]
        page = rest.pop(0) if rendering.page else None
        video = rest.pop(0) if rendering.video else None
        stems = page_stems(own, folder / "stems of the page") if page else {}
        sound = [video_sound(folder)] if video else []
        also = [*stems.values(), *sound]
        shares = 1 + bool(page) + bool(video)
        write_outputs(own, [*files, *also], wish.sound, progress=part(progress, 0, shares))
        if page:
            paths = {role: file.path for role, file in stems.items()}
            write_one(prepared, own, folder / page, wish, sounds=paths)
        if video:
            label = Label(changed=", ".join(changes(wish)), album=album)
            drawing = part(progress, shares - 1, shares)
            write_video(prepared, own, folder / video, sound[0].path, wish, drawing, label)
        for file in also:
            file.path.unlink()
        progress(1.0, "done")

    return Job(tuple(outputs()), make)


def print_job(prepared: Prepared, performance: Performance, one: Print, path: str) -> Job:
    """A file that is read."""
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
