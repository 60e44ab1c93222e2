"""Files that appear whole or not at all, and never in place of somebody else's.

Everything is written in a work folder beside the target, waits until the disk has it, and is moved into place, so an
interrupted run, or a plug that is pulled, leaves the old file as it was. A file that is in the way is replaced only
where it carries this program's mark (every format has a place for one: a tag, a text event, a comment) and nobody is
known to have changed it since, or where the caller insists; what a file is made from is never replaced.
"""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from backing.ground.errors import OutputError
from backing.ground.version import VERSION
from backing.output.made import changed
from backing.output.names import same_name
from backing.output.work import work_folder

MADE_BY = f"backing {VERSION}"
MARK = f"made by {MADE_BY}"

_WINDOW = (
    2_000_000  # bytes searched at either end: an index of a long M4A may stand before its tags
)
_MARKED = rb'made[ _]by"?:? ?"?backing \d'
_MARKED_WIDE = "made by backing ".encode("utf-16-le") + rb"\d"


def made_here(path: Path) -> bool:
    """True when this program made the file: its mark stands near one of the ends.

    A text file is somebody's chart even if a chart of this program stands in it, so it never counts.
    """
    if path.suffix.lower() == ".txt":
        return False
    with path.open("rb") as file:
        head = file.read(_WINDOW)
        size = file.seek(0, os.SEEK_END)
        file.seek(max(len(head), size - _WINDOW))
        tail = file.read()
    return any(re.search(p, part) for p in (_MARKED, _MARKED_WIDE) for part in (head, tail))


def apart(paths: Iterable[Path], inputs: Iterable[Path] = ()) -> None:
    """Make sure that no two files to be written are one, and that none is an input, whatever a disk makes of case.

    Raises `OutputError`.
    """
    read = {_place(p): p for p in inputs}
    seen: dict[tuple[Path, str], Path] = {}
    for path in paths:
        place = _place(path)
        if place in read:
            raise OutputError(
                f"{path} is what the track is made from, and is never written over; choose another name with -o"
            )
        if place in seen:
            raise OutputError(
                f"{path} would be written twice (it is also {seen[place]}); choose another name with -o"
                if path != seen[place]
                else f"{path} would be written twice; choose another name with -o"
            )
        seen[place] = path


def _place(path: Path) -> tuple[Path, str]:
    """The real folder of a path and its name, equal for names that some disk takes for the same."""
    real = Path(os.path.realpath(path))
    return real.parent, same_name(real.name)


def claim(path: Path, *, force: bool = False) -> None:
    """Make sure that `path` may be written, before any work is done. Raises `OutputError`."""
    try:
        if path.is_dir():
            raise OutputError(f"{path} is a folder; give the name of a file in it")
        if not path.exists():
            if not path.absolute().parent.is_dir():
                raise FileNotFoundError(errno.ENOENT, "no such folder")
            if not os.access(path.absolute().parent, os.W_OK):
                raise PermissionError(errno.EACCES, "read-only")
            return
        if not path.is_file():
            raise OutputError(f"{path} is not a plain file; choose another name")
        if not force and not made_here(path):
            raise OutputError(
                f"{path} is in the way and was not made by this program; "
                "choose another name with -o, or replace it with --force"
            )
        if not force and changed(path):
            raise OutputError(
                f"{path} is in the way and has been changed since this program made it; "
                "choose another name with -o, or replace it with --force"
            )
        if not os.access(path.absolute().parent, os.W_OK):
            raise PermissionError(errno.EACCES, "read-only")
    except OSError as error:
        raise refusal(path, error) from error


@contextmanager
def whole(path: str | os.PathLike[str], *, force: bool = False) -> Iterator[Path]:
    """A name in a work folder beside `path`; what was written there takes its place when the block ends well.

    When it does not, for whatever reason, the new file goes and the old one stays. Raises `OutputError` where the
    place cannot be written or holds a file that is not ours.
    """
    target = Path(path)
    claim(target, force=force)
    real = Path(os.path.realpath(target))
    try:
        with work_folder(real) as folder:
            part = folder / f"new{real.suffix}"
            yield part
            settle(part, real)
    except OSError as error:
        raise refusal(Path(path), error) from error


def settle(part: Path, target: Path) -> None:
    """Move a finished file to its place for good: its bytes are on the disk before it has its name.

    A file that it replaces hands on its permissions. Raises OSError.
    """
    sync(part)
    moved(part, target)
    sync(target.parent)


def moved(part: Path, target: Path) -> None:
    """Move a file that is on the disk to its place, with the permissions of one that it replaces. Raises OSError."""
    with suppress(FileNotFoundError):
        part.chmod(target.stat().st_mode & 0o7777)
    part.replace(target)


def sync(path: Path) -> None:
    """Wait until a file, or the list of names of a folder, is on the disk. Raises OSError."""
    try:
        file = os.open(path, os.O_RDWR if path.is_file() else os.O_RDONLY)
    except PermissionError:
        return  # a folder on Windows, which cannot be opened; names are settled there without it
    try:
        os.fsync(file)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.ENOSYS):  # nothing to wait for
            raise
    finally:
        os.close(file)


def write_bytes(path: str | os.PathLike[str], data: bytes, *, force: bool = False) -> None:
    """Write a whole file. Raises `OutputError`."""
    with whole(path, force=force) as part:
        part.write_bytes(data)


def write_text(path: str | os.PathLike[str], text: str, *, force: bool = False) -> None:
    """Write a whole file as UTF-8 with `\\n` at line ends. Raises `OutputError`."""
    write_bytes(path, text.encode("utf-8"), force=force)


def refusal(path: Path, error: OSError) -> OutputError:
    """A system error as a sentence about the file that was to be written."""
    folder = path.absolute().parent
    if isinstance(error, FileNotFoundError | NotADirectoryError) and not folder.is_dir():
        return OutputError(f"{path} cannot be written: there is no folder {folder}")
    if isinstance(error, PermissionError) or error.errno == errno.EROFS:
        return OutputError(f"{path} cannot be written: no permission to write in {folder}")
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return OutputError(f"{path} cannot be written: the disk is full")
    if error.errno == errno.ENAMETOOLONG:
        return OutputError(f"{path} cannot be written: the name is too long")
    return OutputError(f"{path} cannot be written: {error.strerror or error}")
