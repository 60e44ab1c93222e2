"""Work folders: where a file is made before it takes its place.

A work folder is hidden, lies beside what is made in it (so that moving is renaming), and belongs to the process that
holds a lock on the file `lock` in it. When that process ends, however it ends, the system gives the lock up; whoever
works beside it next sees that nobody holds it, and removes the folder. Neither a process number nor an age says
anything: numbers are used again, and a computer may sleep for a day.

Where the disk or the system knows no locks, the folder is made all the same; one left behind is then never touched,
since nobody can tell whether it is still in use.
"""

from __future__ import annotations

import errno
import itertools
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

LOCK = "lock"
OWNER = b"a work folder of backing; it may be removed when the program has ended\n"
ENDING = ".part"
_LONGEST = 40  # characters of the name that are repeated in the folder's
_NO_LOCKS = (errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.ENOLCK, errno.EINVAL)


@contextmanager
def work_folder(beside: Path) -> Iterator[Path]:
    """A folder beside `beside` to work in, gone when the block ends; those of ended processes go first.

    Raises OSError.
    """
    remove_stale(beside)
    folder, lock = _made(beside)
    try:
        yield folder
    finally:
        remove(folder, lock)


def remove_stale(beside: Path) -> list[Path]:
    """Remove the work folders beside `beside` whose process has ended; returns them."""
    gone = []
    pattern = re.compile(re.escape(_start(beside)) + r"\d+-\d+" + re.escape(ENDING))
    try:
        with os.scandir(beside.parent) as entries:
            found = [e.name for e in entries if pattern.fullmatch(e.name)]
    except OSError:
        return []
    for name in sorted(found):
        folder = beside.parent / name
        if not folder.is_symlink() and folder.is_dir() and _take(folder):
            gone.append(folder)
    return gone


def held(file: int) -> bool | None:
    """Lock an open file for this process until it is closed; False where another holds it, None without locks."""
    try:
        import fcntl
    except ImportError:
        return _held_on_windows(file)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError as error:
        if error.errno in _NO_LOCKS:
            return None
        raise
    return True


def _held_on_windows(file: int) -> bool | None:
    import importlib

    try:
        msvcrt = importlib.import_module("msvcrt")
    except ImportError:
        return None
    try:
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
    except OSError:
        return False
    return True


def remove(folder: Path, lock: int = -1) -> None:
    """Remove a work folder; its lock goes last, so that what a stop leaves is still known as one."""
    if os.name == "nt" and lock >= 0:  # an open file cannot be removed there
        os.close(lock)
        lock = -1
    try:
        with os.scandir(folder) as entries:
            inside = [e for e in entries if e.name != LOCK]
        for entry in inside:
            if entry.is_dir(follow_symlinks=False):
                import shutil

                shutil.rmtree(entry.path, ignore_errors=True)
            else:
                with suppress(OSError):
                    Path(entry.path).unlink()
        with suppress(OSError):
            (folder / LOCK).unlink()
        with suppress(OSError):
            folder.rmdir()
    except FileNotFoundError:
        pass
    finally:
        if lock >= 0:
            os.close(lock)


def _start(beside: Path) -> str:
    return f".{beside.name[:_LONGEST]}."


def _made(beside: Path) -> tuple[Path, int]:
    """A new folder with its lock held, and the lock's file (-1 where nothing can be locked)."""
    for number in itertools.count(1):
        folder = beside.parent / f"{_start(beside)}{os.getpid()}-{number}{ENDING}"
        with suppress(FileExistsError, FileNotFoundError):
            if not folder.parent.is_dir():
                raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder))
            folder.mkdir()
            lock = _locked(folder)
            if lock is not None:
                return folder, lock
    raise AssertionError  # the numbers do not end


def _locked(folder: Path) -> int | None:
    """A new folder's lock, held, with what the folder is said in it; None where somebody removes it as left behind.

    Where the disk is full the folder goes. Raises OSError.
    """
    lock = -1
    try:
        lock = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        os.write(lock, OWNER)
        if held(lock) is not False and _same(lock, folder / LOCK):
            return lock
    except FileNotFoundError:
        raise
    except OSError:
        remove(folder, lock)
        raise
    os.close(lock)
    return None


def _take(folder: Path) -> bool:
    """Remove a folder that nobody holds. One without our lock in it is not ours, unless it is empty."""
    try:
        lock = os.open(folder / LOCK, os.O_RDWR)
    except FileNotFoundError:
        with suppress(OSError):
            folder.rmdir()  # a stop came before its lock was made; fails where there is something in it
        return not folder.exists()
    except OSError:
        return False
    if not OWNER.startswith(os.read(lock, len(OWNER) + 1)) or held(lock) is not True:
        os.close(lock)
        return False
    remove(folder, lock)
    return not folder.exists()


def _same(file: int, path: Path) -> bool:
    """Whether an open file is still what the path names."""
    try:
        return os.path.samestat(os.fstat(file), path.stat())
    except FileNotFoundError:
        return False
