"""A ZIP in which this program makes and renews its own files; what somebody has added or changed in it stays.

Conventions: the ZIP is written anew beside the old one and takes its place at once; where nothing is to be made it is
not touched. Its log (`.backing-log` in it) tells no times, so that equal files make an equal ZIP.
"""

from __future__ import annotations

import errno
import os
import shutil
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from hashlib import blake2b
from pathlib import Path

from backing.ground.errors import OutputError
from backing.output.files import refusal, settle
from backing.output.folder import LOG, replaceable
from backing.output.jobs import Found, Output, Row, digest_of, read, text
from backing.output.work import remove_stale, work_folder

EARLIEST = (1980, 1, 1, 0, 0, 0)  # that ZIP can say, so that equal lessons have equal bytes
PACKED = (".json", ".html", ".vtt", ".txt", ".mid")  # sound and pictures are packed already
_BROKEN = (zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, EOFError)


class Archive:
    """An open ZIP; `rows` is what its log knows."""

    def __init__(self, place: Path, ours: bool, force: bool) -> None:
        self._place = place
        self._force = force
        self._stack = ExitStack()
        self._work: Path | None = None
        self._old: dict[str, zipfile.ZipInfo] = {}
        self._new: dict[str, Path] = {}
        self.rows: dict[str, Row] = {}
        if ours:
            with _readable(place):
                self._zip = self._stack.enter_context(zipfile.ZipFile(place))
                self._old = {info.filename: info for info in self._zip.infolist()}
                self.rows = read(self._zip.read(LOG))[0] if LOG in self._old else {}

    def found(self, path: str) -> Found | None:
        """What the ZIP holds under a name."""
        if path not in self._old:
            return None
        digest = blake2b(digest_size=16)
        with _readable(self._place), self._zip.open(self._old[path]) as file:
            while data := file.read(1 << 20):
                digest.update(data)
        return Found(digest.hexdigest())

    def work(self) -> Path:
        """A folder to make files in. Raises OSError."""
        if self._work is None:
            self._work = self._stack.enter_context(work_folder(self._place))
        return self._work

    def put(self, work: Path, outputs: Sequence[Output]) -> list[bool]:
        """Keep the finished files of a job for the new ZIP, but for one that somebody has changed in it. Raises OSError."""
        return [self._put(work / output.path, output) for output in outputs]

    def _put(self, part: Path, output: Output) -> bool:
        if not replaceable(output, self.rows, self.found(output.path), self._force):
            return False
        self._new[output.path] = part
        digest, size = digest_of(part), part.stat().st_size
        self.rows[output.path] = Row(output.path, output.makes, digest, "", size, 0)
        return True

    def finish(self) -> None:
        """Write the new ZIP, if there is anything new, and let it take its place. Raises OSError."""
        if not self._new:
            return
        log = self.work() / "log"
        log.write_bytes(text(self.rows[path] for path in sorted(self.rows)))
        files = {**self._new, LOG: log}
        new = self.work() / "new.zip"
        with _readable(self._place), zipfile.ZipFile(new, "w") as archive:
            for name in sorted({*self._old, *files}):
                if name in files:
                    _add(archive, name, files[name])
                else:
                    _copy(self._zip, self._old[name], archive)
        settle(new, self._place)

    def close(self) -> None:
        """Remove the work folder and let go of the old ZIP."""
        self._stack.close()


def _add(archive: zipfile.ZipFile, name: str, path: Path) -> None:
    info = zipfile.ZipInfo(name, EARLIEST)
    info.external_attr = 0o644 << 16
    packed = path.suffix in PACKED or name == LOG
    info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
    with path.open("rb") as source, archive.open(info, "w", force_zip64=True) as target:
        shutil.copyfileobj(source, target, 1 << 20)


def _copy(old: zipfile.ZipFile, info: zipfile.ZipInfo, new: zipfile.ZipFile) -> None:
    """A file of the old ZIP as it is, with its date and rights."""
    same = zipfile.ZipInfo(info.filename, info.date_time)
    same.external_attr, same.create_system = info.external_attr, info.create_system
    same.compress_type, same.comment = info.compress_type, info.comment
    if info.is_dir():
        new.writestr(same, b"")
        return
    with old.open(info) as source, new.open(same, "w", force_zip64=True) as target:
        shutil.copyfileobj(source, target, 1 << 20)


@contextmanager
def opened(place: Path, contents: str, force: bool = False) -> Iterator[Archive]:
    """The ZIP at `place`, written when the block ends well. One without a log or the file `contents` is not taken.

    Raises `OutputError`.
    """
    if place.is_dir():
        raise OutputError(f"{place} is a folder; choose another name with -o, or one without .zip")
    if place.is_symlink() and not place.exists():
        raise OutputError(f"{place} is a link to nothing; choose another name with -o")
    real = Path(os.path.realpath(place))
    if not real.parent.is_dir():
        raise OutputError(f"{place} cannot be written: there is no folder {real.parent}")
    ours = real.exists() and _ours(real, contents)
    if real.exists() and not ours and not (force and real.is_file()):
        raise OutputError(
            f"{place} is in the way and is no lesson made by this program; choose another name with -o"
            ", or replace it with --force"
        )
    try:
        if not os.access(real.parent, os.W_OK):
            raise PermissionError(errno.EACCES, "read-only")
        remove_stale(real)
        archive = Archive(real, ours, force)
        try:
            yield archive
            archive.finish()
        finally:
            archive.close()
    except OSError as wrong:
        raise refusal(place, wrong) from wrong


@contextmanager
def _readable(place: Path) -> Iterator[None]:
    """What is wrong with a ZIP as a sentence."""
    try:
        yield
    except _BROKEN as wrong:
        raise OutputError(f"{place} cannot be read as a ZIP: {wrong}") from wrong


def _ours(place: Path, contents: str) -> bool:
    """Whether a ZIP is one of this program."""
    try:
        with zipfile.ZipFile(place) as archive:
            if LOG in archive.namelist():
                return True
            return b'"made_by": "backing ' in archive.read(contents)[:200]
    except (OSError, KeyError, *_BROKEN):
        return False
