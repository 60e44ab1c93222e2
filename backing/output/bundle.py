"""A folder or ZIP of files that is renewed as a whole.

Conventions: paths are relative to the bundle and use `/`. Every file has a fingerprint of everything that shapes it;
`contents.json` keeps them, so that the next run makes only what has changed. The bundle is built beside its place and
moved there whole; files that somebody has added to a folder stay.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from backing.ground.errors import OutputError
from backing.output.files import MADE_BY

CONTENTS = "contents.json"
INDEX = "index.html"
ZIP_TIME = (
    1980,
    1,
    1,
    0,
    0,
    0,
)  # the earliest that ZIP can say, so that equal bundles have equal bytes


@dataclass(frozen=True, slots=True)
class Item:
    """One file of a bundle: where, under which heading, what it is in words, and the fingerprint of what made it.

    `about` says what stands beside it in a list: key, tempo and length.
    """

    path: str
    group: str
    title: str
    fingerprint: str
    about: str = ""


def fingerprint(*parts: object) -> str:
    """A short hash (BLAKE2b) of everything that shapes a file."""
    digest = hashlib.blake2b(digest_size=16)
    for part in parts:
        data = part if isinstance(part, bytes) else str(part).encode("utf-8")
        digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()


def contents(title: str, items: Sequence[Item]) -> str:
    """The text of `contents.json`."""
    rows = [
        {"path": i.path, "group": i.group, "title": i.title, "fingerprint": i.fingerprint}
        for i in items
    ]
    return (
        json.dumps(
            {"made_by": MADE_BY, "title": title, "files": rows}, ensure_ascii=False, indent=1
        )
        + "\n"
    )


@dataclass(frozen=True, slots=True)
class Previous:
    """A bundle that lies where the new one goes: its folder or ZIP, and the fingerprint of every file."""

    place: Path
    files: Mapping[str, str]

    def has(self, item: Item) -> bool:
        return self.files.get(item.path) == item.fingerprint

    def copy(self, item: Item, folder: Path) -> bool:
        """Put an unchanged file into the new bundle; False when it is no longer there."""
        target = folder / item.path
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            if self.place.is_dir():
                shutil.copyfile(self.place / item.path, target)
            else:
                with zipfile.ZipFile(self.place) as archive:
                    target.write_bytes(archive.read(item.path))
        except (OSError, KeyError, zipfile.BadZipFile):
            return False
        return True


def previous(place: Path, force: bool) -> Previous:
    """What lies at `place`. Raises `OutputError` for something that no lesson of this program is."""
    if not place.exists():
        if not place.absolute().parent.is_dir():
            raise OutputError(
                f"{place} cannot be written: there is no folder {place.absolute().parent}"
            )
        return Previous(place, {})
    try:
        if place.is_dir():
            if not any(place.iterdir()):
                return Previous(place, {})
            text = (place / CONTENTS).read_text("utf-8")
        else:
            with zipfile.ZipFile(place) as archive:
                text = archive.read(CONTENTS).decode("utf-8")
        told = json.loads(text)
        files = {str(f["path"]): str(f["fingerprint"]) for f in told["files"]}
        if str(told["made_by"]).startswith("backing "):
            return Previous(place, files)
    except (OSError, KeyError, ValueError, TypeError, zipfile.BadZipFile):
        pass
    if force and place.is_file():
        return Previous(place, {})
    raise OutputError(
        f"{place} is in the way and is no lesson made by this program; choose another name with -o"
        + (", or replace it with --force" if place.is_file() else "")
    )


@contextmanager
def renewed(place: Path, old: Previous) -> Iterator[Path]:
    """A folder to build a bundle in; when the block ends well it takes its place, otherwise it goes and the old stays.

    Raises `OutputError` when the place cannot be written.
    """
    work = place.absolute().with_name(f".{place.name[:60]}.{os.getpid()}.part")
    try:
        work.mkdir()
        yield work
        if place.suffix.lower() == ".zip":
            _pack(work, place)
        else:
            _swap(work, place, old)
    except OSError as wrong:
        raise OutputError(f"{place} cannot be written: {wrong.strerror or wrong}") from wrong
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _pack(work: Path, place: Path) -> None:
    """All files of a folder as one ZIP; sound and pictures are compressed already and are stored."""
    part = place.absolute().with_name(f".{place.name[:60]}.{os.getpid()}.zip.part")
    try:
        with zipfile.ZipFile(part, "w") as archive:
            for path in sorted(p for p in work.rglob("*") if p.is_file()):
                info = zipfile.ZipInfo(path.relative_to(work).as_posix(), ZIP_TIME)
                info.external_attr = 0o644 << 16
                text = path.suffix in (".json", ".html", ".vtt", ".txt", ".mid")
                info.compress_type = zipfile.ZIP_DEFLATED if text else zipfile.ZIP_STORED
                with path.open("rb") as source, archive.open(info, "w", force_zip64=True) as target:
                    shutil.copyfileobj(source, target, 1 << 20)
        part.replace(place)
    finally:
        with suppress(OSError):
            part.unlink()


def _swap(work: Path, place: Path, old: Previous) -> None:
    """Put the new folder where the old one is, with the files that somebody has added to it."""
    if not place.exists():
        work.rename(place)
        return
    ours = {*old.files, CONTENTS, INDEX}
    for path in sorted(place.rglob("*")):
        name = path.relative_to(place).as_posix()
        if path.is_file() and name not in ours and not (work / name).exists():
            (work / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, work / name)
    aside = place.absolute().with_name(f".{place.name[:60]}.{os.getpid()}.old")
    place.rename(aside)
    try:
        work.rename(place)
    except OSError:
        aside.rename(place)
        raise
    shutil.rmtree(aside, ignore_errors=True)
