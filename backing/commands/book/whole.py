"""The jobs of what is put together from the files of the tunes: the books, the album, the contents page.

Conventions: what shapes such a file are the digests of the files that it is made of, as the log has them, so it is made
anew where one of them was. A tune that could not be made now and never before is left out.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, NamedTuple

from backing.commands.book.choices import BookChoices
from backing.commands.book.listing import Listing
from backing.commands.book.plans import FIRST, NAMES, Made, Plan
from backing.commands.planned import SOUND
from backing.ground.pitch import Key
from backing.output.bundle import CONTENTS, INDEX
from backing.output.files import MADE_BY
from backing.output.jobs import Job, Output, fingerprint
from backing.output.names import safe

if TYPE_CHECKING:
    from backing.output.book.page import File
    from backing.output.folder import Folder


class Standing(NamedTuple):
    """A tune whose hidden files are there: its plan, what is told of it, and the digests of its files by path."""

    plan: Plan
    facts: Mapping[str, Any]
    digests: Mapping[str, str]


def whole_jobs(
    found: Listing, choices: BookChoices, plans: Sequence[Plan], store: Folder
) -> list[Job]:
    """The jobs, to be asked for when the tunes are done."""
    tunes = [one for plan in plans if (one := _standing(plan, store)) is not None]
    stem = safe(found.title, "book")
    jobs: list[Job] = []
    links: list[tuple[str, str]] = []
    if "book" in choices.make:
        for sheet in choices.sheets:
            path = f"{stem}.pdf" if sheet == "concert" else f"{stem}-{sheet}.pdf"
            there = [one for one in tunes if one.plan.marks[sheet] in one.digests]
            if there:
                jobs.append(book_job(path, found, sheet, there, store))
                links.append((path, "The book" if sheet == "concert" else f"The book for {sheet}"))
    tracks = [(one, made) for one in tunes if (made := _track(one)) is not None]
    if tracks:
        path = f"album/{stem}.m3u8"
        jobs.append(list_job(path, tracks))
        links.append((path, "Play list"))
        if "album" in choices.make:
            path = f"album/{stem}-all{choices.sound}"
            jobs.append(album_job(path, found, choices, tracks, store))
            links.append((path, "The album in one file"))
    jobs += page_jobs(found, links, tunes)
    return jobs


def _standing(plan: Plan, store: Folder) -> Standing | None:
    """A tune as it lies in the book, None where it does not."""
    if plan.facts not in store.rows or store.found(plan.facts) is None:
        return None
    facts = json.loads((store.place / plan.facts).read_text("utf-8"))
    paths = [plan.facts, *plan.marks.values(), *(made.path for made in plan.files)]
    digests = {
        path: row.digest
        for path in paths
        if (row := store.rows.get(path)) is not None and store.found(path) is not None
    }
    return Standing(plan, facts, digests)


def _track(tune: Standing) -> Made | None:
    """The first sound file of a tune."""
    heard = (m for m in tune.plan.files if f".{m.kind}" in SOUND and m.path in tune.digests)
    return next(heard, None)


def job(path: str, makes: Mapping[str, object], write: Callable[[Path], None]) -> Job:
    """A job with one output that a function writes."""

    def make(folder: Path, _: frozenset[str], __: Callable[[float, str], None]) -> None:
        write(folder / path)

    shaped = {name: fingerprint(value) for name, value in makes.items()}
    return Job((Output(path, {"program": MADE_BY, "whole": "yes", **shaped}),), make, path)


def text_job(path: str, text: str) -> Job:
    """A job that writes a text."""

    def write(target: Path) -> None:
        target.write_text(text, "utf-8")

    return job(path, {"text": text}, write)


def book_job(
    path: str, found: Listing, sheet: str, tunes: Sequence[Standing], store: Folder
) -> Job:
    """A printed book for an instrument."""
    size = tunes[0].plan.tune.wish.paper.size
    words = [found.title, found.by, size, *(one.plan.tune.heading for one in tunes)]
    files = [one.digests[p] for one in tunes for p in (one.plan.facts, one.plan.marks[sheet])]

    def write(target: Path) -> None:
        from backing.output.book.printed import Entry, Front, printed

        entries = [
            Entry(
                title_of(one), one.facts["by"], one.facts["style"], key_for(one.facts["key"], sheet), one.plan.tune.heading,
                json.loads((store.place / one.plan.marks[sheet]).read_text("utf-8")),
            )
            for one in tunes
        ]  # fmt: skip
        front = Front(found.title, found.by, "" if sheet == "concert" else sheet)
        target.write_bytes(printed(front, entries, size))

    return job(path, {"words": words, "tunes": files}, write)


def key_for(key: str, sheet: str) -> str:
    """The key that an instrument reads for one that sounds."""
    from backing.output.sheet.write import TRANSPOSING
    from backing.timeline.marks import moved_key

    if sheet == "concert":
        return key
    return moved_key(Key.parse(key), TRANSPOSING[sheet])[0].name


def title_of(one: Standing) -> str:
    """The title of a tune, the name of its chart where it has none."""
    return one.facts["title"] or one.plan.name


def list_job(path: str, tracks: Sequence[tuple[Standing, Made]]) -> Job:
    """The play list of the album."""
    from backing.output.book.album import Track, play_list

    found = [
        Track(Path(made.path), title_of(one), one.facts["length_s"] or 0) for one, made in tracks
    ]
    text = play_list(found, PurePosixPath(path))
    return text_job(path, text)


def album_job(
    path: str,
    found: Listing,
    choices: BookChoices,
    tracks: Sequence[tuple[Standing, Made]],
    store: Folder,
) -> Job:
    """The album in one file."""
    words = [found.title, found.by, *(title_of(one) for one, _ in tracks)]
    files = [one.digests[made.path] for one, made in tracks]

    def write(target: Path) -> None:
        from backing.output.book.album import Track
        from backing.output.book.album import write as write_album

        listed = [Track(store.place / made.path, title_of(one), 0.0) for one, made in tracks]
        write_album(listed, target, found.title, found.by, choices.gap)

    return job(path, {"words": words, "tracks": files, "gap": choices.gap}, write)


def page_jobs(
    found: Listing, links: Sequence[tuple[str, str]], tunes: Sequence[Standing]
) -> list[Job]:
    """The contents page, and the same as data."""
    from backing.output.book.page import File, Listed, contents_page

    whole = [File(path, words) for path, words in links]
    listed = [
        Listed(
            title_of(one), one.facts["by"], one.facts["style"], one.facts["key"], one.facts["bpm"],
            one.plan.tune.heading, tuple(_files(one)),
        )
        for one in tunes
    ]  # fmt: skip
    page = contents_page(found.title, found.by, whole, listed)
    told = {"made_by": MADE_BY, "title": found.title, "by": found.by, "files": links, "tunes": [
        {**one._asdict(), "files": [f._asdict() for f in one.files]} for one in listed
    ]}  # fmt: skip
    data = json.dumps(told, ensure_ascii=False, indent=1) + "\n"
    return [text_job(INDEX, page), text_job(CONTENTS, data)]


def _files(one: Standing) -> list[File]:
    """The files of a tune as the page lists them."""
    from backing.output.book.page import File

    there = [made for made in one.plan.files if made.path in one.digests]
    order = [*FIRST, *(kind for kind in NAMES if kind not in FIRST)]
    there.sort(key=lambda made: order.index(made.kind))
    return [File(made.path, NAMES.get(made.kind, made.kind.upper()), made.words) for made in there]
