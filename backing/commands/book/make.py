"""A book made or renewed: the jobs of its tunes by a crew, then the files that are put together from theirs.

Conventions: what a failed tune had before stays, in its folder and in the book. A tune that has left the book takes its
files along, but for those that somebody has changed, which are told. Nothing is written where nothing is to be done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.book.choices import BookChoices
from backing.commands.book.listing import Listing, listing
from backing.commands.book.plans import Plan, plans, ready
from backing.commands.book.whole import whole_jobs
from backing.commands.options import Options
from backing.commands.progress import Progress
from backing.ground.errors import BackingError, OutputError
from backing.output import folder
from backing.output.bundle import CONTENTS, Due, room, settled, standing
from backing.output.jobs import fingerprint

if TYPE_CHECKING:
    from backing.ground.source import Diagnostic
    from backing.output.crew import Crew, Done, Task
    from backing.output.folder import Folder


class Failure(NamedTuple):
    """A tune that could not be made, and why."""

    chart: str
    wrong: BaseException


class Report(NamedTuple):
    """What a run did to which files. `due` are those that are to be made, with the reasons, in a dry run."""

    tunes: int
    made: tuple[str, ...]
    kept: tuple[str, ...]
    unchanged: int
    gone: tuple[str, ...]
    left: tuple[str, ...]
    failures: tuple[Failure, ...]
    due: tuple[tuple[str, str], ...] = ()


def make_book(
    source: Path,
    place: Path,
    wish: Options,
    choices: BookChoices,
    crew: Callable[[int], Crew],
    progress: Progress,
    warn: Callable[[Diagnostic], None],
    *,
    dry: bool = False,
) -> Report:
    """Make or renew a book. `crew` is asked with the number of jobs for who does them.

    Raises `ChartError` (mistakes in the list), `RequestError`, `OutputError`, `AudioUnavailable`.
    """
    found = named(listing(source, wish, apart=place), choices)
    if place.suffix.lower() in (".zip", ".pdf") or place.is_file():
        raise OutputError(f"{place}: a book is a folder; name one with -o")
    with folder.opened(place, CONTENTS, wish.files.force) as store:
        refuse_lesson(place, store)
        made_of = list(plans(found, choices, store.rows))
        run = _Run(store, place, wish.files.force, made_of, progress, warn)
        stands = standing(
            store, (job for one in made_of for job in one.jobs), force=wish.files.force
        )
        run.kept += stands.kept
        run.unchanged += len(stands.unchanged)
        if not dry:
            run.all(run.ready(stands.due), crew)
        whole = whole_jobs(found, choices, made_of, store)
        last = standing(store, whole, force=wish.files.force)
        run.unchanged += len(last.unchanged)
        run.kept += last.kept
        if not dry:
            run.here(last.due)
        gone, left = run.leave([*run.ours(), *(o.path for job in whole for o in job.outputs)], dry)
        due = [
            (o.path, said(why))
            for d in (*stands.due, *last.due)
            for o, why in zip(d.outputs, d.whys, strict=True)
        ]
    return Report(
        len(found.tunes), tuple(run.made), tuple(run.kept), run.unchanged, gone, left, tuple(run.failures), tuple(due)
    )  # fmt: skip


def named(found: Listing, choices: BookChoices) -> Listing:
    """The list with the title and the maker that are chosen."""
    return Listing(choices.title or found.title, choices.by or found.by, found.tunes)


def refuse_lesson(place: Path, store: Folder) -> None:
    """Refuse a folder that holds a lesson. Raises `OutputError`."""
    if any(not {"tune", "whole"} & row.makes.keys() for row in store.rows.values()):
        raise OutputError(f"{place} holds a lesson; choose another folder for the book with -o")


def said(why: object) -> str:
    """A reason in words: `missing`, `changed: chart`."""
    kind, words = why.kind, why.words  # type: ignore[attr-defined]
    return f"{kind}: {words}" if kind == "changed" else str(kind)


class _Run:
    """One run over a book's jobs, and what comes of them."""

    def __init__(
        self, store: Folder, place: Path, force: bool, made_of: Sequence[Plan],
        progress: Progress, warn: Callable[[Diagnostic], None],
    ) -> None:  # fmt: skip
        self.store, self.place, self.force = store, place, force
        self.plans, self.progress, self.warn = made_of, progress, warn
        self.made: list[str] = []
        self.kept: list[str] = []
        self.unchanged = 0
        self.warned: set[str] = set()
        self.failures = [
            Failure(str(p.tune.path), p.failure) for p in made_of if p.failure is not None
        ]

    def ready(self, dues: Iterable[Due]) -> list[Due]:
        """The dues with their jobs as they are sent; a tune whose styles cannot be used is noted."""
        found = []
        for due in dues:
            try:
                found.append(due._replace(job=ready(due, self.store.place)))
            except BackingError as wrong:
                self.failures.append(Failure(due.job.name, wrong))
        return found

    def all(self, dues: Sequence[Due], crew: Callable[[int], Crew]) -> None:
        """Let the crew do the jobs, and put what it brings in its place."""
        if not dues:
            return
        from backing.output.crew import alone

        who = crew(len(dues)) if len(dues) > 1 else alone
        waiting: dict[str, Due] = {}
        for number, done in enumerate(who(self.tasks(dues, waiting)), 1):
            due = waiting.pop(done.task.folder.name)
            self.take(due, done)
            left = len(dues) - number
            self.progress(number / len(dues), f"{left} left; {Path(due.job.name).name}")

    def tasks(self, dues: Sequence[Due], waiting: dict[str, Due]) -> Iterator[Task]:
        """The jobs as tasks, the folder of each made when it is asked for."""
        from backing.output.crew import Task

        for number, due in enumerate(dues):
            work = room(self.store, number, due)
            waiting[work.name] = due
            key = fingerprint(*(sorted({"path": o.path, **o.makes}.items()) for o in due.outputs))
            yield Task(
                due.job.name, key, due.job.make, work, frozenset(o.path for o in due.outputs)
            )

    def take(self, due: Due, done: Done) -> None:
        """Put the files of a job in their places, or note why there are none."""
        import shutil

        if done.failure is None:
            settled(self.store, done.task.folder, due, self.made, self.kept)
            for diagnostic in done.told or ():  # type: ignore[attr-defined]
                if diagnostic.render() not in self.warned:  # of each version the same
                    self.warned.add(diagnostic.render())
                    self.warn(diagnostic)
        else:
            self.failures.append(Failure(due.job.name, done.failure))
        shutil.rmtree(done.task.folder, ignore_errors=True)

    def here(self, dues: Sequence[Due]) -> None:
        """Do what puts the files of the tunes together."""
        for number, due in enumerate(dues):
            work = room(self.store, f"whole-{number}", due)
            self.progress(number / len(dues), due.outputs[0].path)
            due.job.make(work, frozenset(o.path for o in due.outputs), lambda share, words: None)
            settled(self.store, work, due, self.made, self.kept)

    def ours(self) -> Iterator[str]:
        """Every file that belongs to a tune of the book."""
        for plan in self.plans:
            yield plan.facts
            yield from plan.marks.values()
            yield from (made.path for made in plan.files)

    def leave(self, ours: Iterable[str], dry: bool) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Take away what an earlier run made and no tune has any longer: what went, and what is somebody's by now."""
        belongs = frozenset(ours)
        old = [path for path in self.store.rows if path not in belongs and self.store.found(path)]
        if dry:
            return tuple(old), ()
        gone = [path for path in old if self.store.remove(path)]
        return tuple(gone), tuple(path for path in old if path not in gone)


def told(place: Path, report: Report) -> list[str]:
    """What was done, in lines."""
    count = f"{report.tunes} tunes" if report.tunes != 1 else "1 tune"
    shown = [path for path in report.made if not path.startswith(".")]
    lines = [f"{place}: {count}, {len(shown)} files made, {report.unchanged} unchanged"]
    if report.gone:
        lines[0] += f", {len(report.gone)} removed"
    lines += [
        f"kept {path}: somebody has changed it or put it there; take it away, or --force"
        for path in report.kept
    ]
    lines += [
        f"left {path}: its tune has left the book, and somebody has changed it"
        for path in report.left
    ]
    return lines


def foreseen(place: Path, report: Report) -> list[str]:
    """What a run would do, in lines."""
    lines = [f"would make {path} ({why})" for path, why in report.due if not path.startswith(".")]
    lines += [f"would remove {path}" for path in report.gone if not path.startswith(".")]
    lines += [f"would keep {path}: somebody has changed it or put it there" for path in report.kept]
    return [*lines, f"{place}: {len(report.due)} files to make, {report.unchanged} unchanged"]


def told_failures(report: Report) -> list[tuple[str, BaseException]]:
    """Every tune that failed with its reason, each told once."""
    found = {(f.chart, str(f.wrong)): f.wrong for f in report.failures}
    return [(chart, wrong) for (chart, _), wrong in found.items()]


__all__ = ["Report", "foreseen", "make_book", "told", "told_failures"]
