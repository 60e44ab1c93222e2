"""A folder that belongs to somebody, in which this program makes and renews its own files.

Conventions: the hidden file `.backing-log` in it is the log of `jobs`. A file is replaced only where the log says that
this program made it and its bytes say that nobody has changed it since; links, pipes and folders under one of our
names are never touched. A link to the folder itself is followed. One run at a time works in a folder: it holds a lock
on the log (where the disk knows locks). A file is on the disk before its row, and its row before its name, so that a
stop at any moment is answered by the next run.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from stat import S_ISREG
from typing import IO

from backing.ground.errors import OutputError
from backing.output.files import moved, refusal, settle, sync
from backing.output.jobs import (
    Found,
    Output,
    Row,
    digest_of,
    due,
    header,
    line,
    read,
    text,
    trusted,
)
from backing.output.work import held, remove_stale, work_folder

LOG = ".backing-log"
WORK = "lesson"  # the work folder in it is named after this
_LINES_A_ROW = 5  # a log longer than this many lines an output is written anew


class Folder:
    """An open folder; `rows` is what the log knows."""

    def __init__(self, place: Path, log: IO[bytes], force: bool) -> None:
        self._place = place
        self._log = log
        self._force = force
        self._stack = ExitStack()
        self._work: Path | None = None
        self._log_ns = os.fstat(log.fileno()).st_mtime_ns
        data = log.read()
        self.rows, self._whole = read(data)
        self._long = data.count(b"\n") > _LINES_A_ROW * (len(self.rows) + 20)
        self._appending = False

    @property
    def place(self) -> Path:
        """Where it lies, links followed."""
        return self._place

    @property
    def written(self) -> bool:
        """Whether anything was put into it."""
        return self._appending

    def found(self, path: str) -> Found | None:
        """What lies at the place of an output."""
        full = self._place / path
        try:
            told = full.lstat()
            if not S_ISREG(told.st_mode):
                return Found(None)
            row = self.rows.get(path)
            if row and trusted(row, told.st_size, told.st_mtime_ns, self._log_ns):
                return Found(row.digest)
            return Found(digest_of(full))
        except FileNotFoundError:
            return Found(None) if self._blocked(full) else None
        except OSError:  # not ours to read, so not ours
            return Found(None)

    def _blocked(self, full: Path) -> bool:
        """Whether something that is no folder lies where a folder of the output goes (a dangling link)."""
        parents = [p for p in full.parents if self._place in p.parents]
        return any(p.is_symlink() and not p.exists() for p in parents)

    def work(self) -> Path:
        """A folder to make files in, on the same disk. Raises OSError."""
        if self._work is None:
            self._work = self._stack.enter_context(work_folder(self._place / WORK))
        return self._work

    def put(self, work: Path, outputs: Sequence[Output]) -> list[bool]:
        """Move the finished files of a job to their places, but for one where somebody has put theirs meanwhile.

        The disk is waited for once for all their rows. Raises OSError.
        """
        there = [self.found(output.path) for output in outputs]
        ours = [
            replaceable(output, self.rows, found, self._force)
            for output, found in zip(outputs, there, strict=True)
        ]
        moves = [(o, f) for o, f, own in zip(outputs, there, ours, strict=True) if own]
        for output, _ in moves:
            sync(work / output.path)
        self._append([self._row(work, output, found) for output, found in moves])
        for output, _ in moves:
            target = self._place / output.path
            target.parent.mkdir(parents=True, exist_ok=True)
            moved(work / output.path, target)
        for folder in sorted({(self._place / output.path).parent for output, _ in moves}):
            sync(folder)
        return ours

    def _row(self, work: Path, output: Output, found: Found | None) -> Row:
        part = work / output.path
        told = part.stat()
        was = (found and found.digest) or ""
        return Row(output.path, output.makes, digest_of(part), was, told.st_size, told.st_mtime_ns)

    def remove(self, path: str) -> bool:
        """Take away a file that an earlier run made and nobody has changed, and its folder where that is empty then.

        False where it is somebody's. Raises OSError.
        """
        row, found = self.rows.get(path), self.found(path)
        if row is None or found is None or found.digest not in (row.digest, row.was or row.digest):
            return False
        full = self._place / path
        full.unlink()
        for folder in full.parents:
            if folder == self._place or any(folder.iterdir()):
                break
            folder.rmdir()
        return True

    def _append(self, rows: Sequence[Row]) -> None:
        """Write rows behind the last whole one and wait until the disk has them."""
        if not rows:
            return
        if not self._appending:
            self._begin()
        self._log.write(b"".join(map(line, rows)))
        self._log.flush()
        os.fsync(self._log.fileno())
        self.rows.update((row.path, row) for row in rows)

    def _begin(self) -> None:
        """Cut off what a stop has left of a row; a long log is written anew, beside and at once."""
        if self._long:
            new = self.work() / "log"
            new.write_bytes(text(self.rows.values()))
            settle(new, self._place / LOG)
            self._log.close()
            self._log = _opened(self._place / LOG)
            self._whole = len(self._log.read())
        self._log.seek(self._whole)
        self._log.truncate()
        if not self._whole:
            self._log.write(header())
        self._appending = True

    def close(self) -> None:
        """Remove the work folder and let go of the folder."""
        self._stack.close()
        self._log.close()


def replaceable(
    output: Output, rows: Mapping[str, Row], found: Found | None, force: bool = False
) -> bool:
    """Whether an output may be written over what lies there."""
    why = due(output, rows.get(output.path), found)
    return (
        why is None
        or why.kind != "not ours"
        or (force and found is not None and found.digest is not None)
    )


@contextmanager
def opened(place: Path, contents: str, force: bool = False) -> Iterator[Folder]:
    """The folder at `place`, made where there is none; gone again where nothing was put into a new one.

    A folder with something in it is taken only where it has a log or the file `contents` of this program. Raises
    `OutputError`.
    """
    if place.is_symlink() and not place.exists():
        raise OutputError(f"{place} is a link to nothing; choose another name with -o")
    real = Path(os.path.realpath(place))
    new = not real.exists()
    if not new:
        _known(place, real, contents)
    elif not real.parent.is_dir():
        raise OutputError(f"{place} cannot be written: there is no folder {real.parent}")
    fresh = not (real / LOG).exists()
    folder: Folder | None = None
    try:
        if new:
            real.mkdir()
        elif not os.access(real, os.W_OK):
            raise PermissionError(errno.EACCES, "read-only")
        log = _opened(real / LOG)
        if held(log.fileno()) is False:
            log.close()
            raise OutputError(f"{place} is being written by another run; wait until it has ended")
        remove_stale(real / WORK)
        folder = Folder(real, log, force)
        yield folder
    except OSError as wrong:
        raise refusal(place / contents, wrong) from wrong
    finally:
        if folder is not None:
            folder.close()
            if fresh and not folder.written:
                with suppress(OSError):
                    (real / LOG).unlink()
                    if new:
                        real.rmdir()


def _opened(log: Path) -> IO[bytes]:
    """A log to read and to write, made where there is none."""
    return os.fdopen(os.open(log, os.O_RDWR | os.O_CREAT, 0o666), "r+b")


def _known(place: Path, real: Path, contents: str) -> None:
    """Refuse what is no folder of this program."""
    if not real.is_dir():
        raise OutputError(f"{place} is a file; name a folder, or a file that ends in .zip")
    inside = [p for p in real.iterdir() if not p.name.startswith(f".{WORK}.")]
    told = real / contents
    if not inside or (real / LOG).is_file():
        return
    try:
        if b'"made_by": "backing ' in told.read_bytes()[:200]:
            return
    except OSError:
        pass
    raise OutputError(
        f"{place} is in the way and is no lesson made by this program; choose another name with -o"
    )
