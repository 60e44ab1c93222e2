"""A folder or a ZIP of files that is made by jobs and renewed where something has changed.

Conventions: paths are relative to the bundle and use `/`. Whose a file is comes before whether it is stale: what
somebody has changed or put under one of our names is kept, and told. What an earlier run has made and this one does
not is left, and told too.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple, Protocol

from backing.ground.errors import OutputError
from backing.output import archive, folder
from backing.output.files import MADE_BY
from backing.output.folder import LOG
from backing.output.jobs import Found, Job, Output, Row, Why, due

CONTENTS = "contents.json"
INDEX = "index.html"
RESERVED = (CONTENTS, INDEX, LOG)

Progress = Callable[[float, str], None]


class Item(NamedTuple):
    """A file of a bundle for people: where, under which heading, what it is in words, and what stands beside that.

    `about` is key, tempo and length of what is heard.
    """

    path: str
    group: str
    title: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class Renewal:
    """What a run did: paths `made`, `kept` because they are somebody's, `left` from an earlier run, and `unchanged`."""

    made: tuple[str, ...]
    kept: tuple[str, ...]
    left: tuple[str, ...]
    unchanged: tuple[str, ...]


class Store(Protocol):
    """Where the files of a bundle lie."""

    rows: dict[str, Row]

    def found(self, path: str) -> Found | None:
        """What lies at the place of an output."""

    def work(self) -> Path:
        """A folder to make files in."""

    def put(self, work: Path, outputs: Sequence[Output]) -> list[bool]:
        """Move the finished files of a job to their places; False for each where there is somebody's."""


class Due(NamedTuple):
    """A job with those of its outputs that are to be made, and why each."""

    job: Job
    outputs: tuple[Output, ...]
    whys: tuple[Why, ...]


class Standing(NamedTuple):
    """How jobs stand before anything is done: what is `due`, paths that are somebody's, paths that are as wanted."""

    due: tuple[Due, ...]
    kept: tuple[str, ...]
    unchanged: tuple[str, ...]


def contents(title: str, items: Sequence[Item]) -> str:
    """The text of `contents.json`."""
    told = {"made_by": MADE_BY, "title": title, "files": [i._asdict() for i in items]}
    return json.dumps(told, ensure_ascii=False, indent=1) + "\n"


def opened(place: Path, force: bool) -> AbstractContextManager[Store]:
    """The bundle at `place`: a ZIP where it ends so, otherwise a folder. Refuses before any work. Raises `OutputError`."""
    if place.suffix.lower() == ".zip":
        return archive.opened(place, CONTENTS, force)
    return folder.opened(place, CONTENTS, force)


def standing(store: Store, jobs: Iterable[Job], *, force: bool = False) -> Standing:
    """What is to be done, and why. Writes nothing."""
    found: list[Due] = []
    kept: list[str] = []
    unchanged: list[str] = []
    for job in jobs:
        wanted: list[tuple[Output, Why]] = []
        for output in job.outputs:
            there = store.found(output.path)
            why = due(output, store.rows.get(output.path), there)
            if why is None:
                unchanged.append(output.path)
            elif why.kind != "not ours" or (force and there and there.digest is not None):
                wanted.append((output, why))
            else:
                kept.append(output.path)
        if wanted:
            found.append(Due(job, *zip(*wanted, strict=True)))
    return Standing(tuple(found), tuple(kept), tuple(unchanged))


def renew(store: Store, jobs: Sequence[Job], progress: Progress, *, force: bool = False) -> Renewal:
    """Do what is due, one after the other. Raises `OutputError`, OSError, and whatever a job raises."""
    stands = standing(store, jobs, force=force)
    made: list[str] = []
    kept = list(stands.kept)
    for number, one in enumerate(stands.due):
        work = room(store, number, one)
        with named_in_place(work):
            own = share(progress, number, len(stands.due))
            one.job.make(work, frozenset(o.path for o in one.outputs), own)
        settled(store, work, one, made, kept)
    ours = {output.path for job in jobs for output in job.outputs}
    left = [path for path in store.rows if path not in ours and store.found(path)]
    return Renewal(tuple(made), tuple(kept), tuple(left), stands.unchanged)


def room(store: Store, number: int | str, one: Due) -> Path:
    """The folder in which a job makes its files, with the folders that they lie in. Raises OSError."""
    work = store.work() / str(number)
    for output in one.outputs:
        (work / output.path).parent.mkdir(parents=True, exist_ok=True)
    return work


def settled(store: Store, work: Path, one: Due, made: list[str], kept: list[str]) -> None:
    """Move what a job has made to its place, and note it. Raises OSError."""
    for output, put in zip(one.outputs, store.put(work, one.outputs), strict=True):
        (made if put else kept).append(output.path)


@contextmanager
def named_in_place(work: Path) -> Iterator[None]:
    """Let a message name a file of the bundle, and not the folder that it is made in."""
    try:
        yield
    except OutputError as wrong:
        words = str(wrong).replace(f"{work}{os.sep}", "")
        if words == str(wrong):
            raise
        raise type(wrong)(words) from wrong


def share(progress: Progress, number: int, count: int) -> Progress:
    """The progress of one of several pieces of work as progress of the whole."""
    return lambda done, words: progress((number + done) / count, words)
