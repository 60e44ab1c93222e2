"""The folder of a desk: its charts, read and written so that nothing of anybody's is lost.

Only plain files that lie in the folder itself and end in `.txt` are charts; links and folders are not. A text has a
revision, the digest of its bytes: who saves says which one was opened, and where another program has written meanwhile
both are kept. What is deleted lies in the folder `.bin` until it is put back.

Conventions: texts have `\\n` at line ends here; a file keeps its own line ends and its byte order mark.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

from backing.chart.parse import MOST_BYTES, decode
from backing.ground.errors import OutputError
from backing.output.files import refusal, sync, write_bytes
from backing.output.names import safe, same_name

BIN = ".bin"
ENDING = ".txt"
BOM = "\ufeff"


class Listed(NamedTuple):
    """A chart of the folder; `changed_s` is when its file was last written, in seconds since 1970."""

    name: str
    title: str
    changed_s: float


class Opened(NamedTuple):
    """A text and its revision."""

    name: str
    text: str
    revision: str


class Saved(NamedTuple):
    """Where a text went. `beside` is the chart that another program has written meanwhile and that was left alone, "" for none."""

    name: str
    revision: str
    beside: str = ""


class Folder:
    """The charts of one folder. Every method raises `OutputError` with a sentence, `ChartError` for what is no text."""

    def __init__(self, path: Path) -> None:
        self.path = Path(os.path.realpath(path))

    def charts(self) -> list[Listed]:
        """All charts by name."""
        return self._listed(self.path)

    def deleted(self) -> list[Listed]:
        """What lies in the bin."""
        return self._listed(self.path / BIN) if self._bin_is_ours() else []

    def open(self, name: str) -> Opened:
        """A chart's text."""
        data = self._read(self._place(name), name)
        return Opened(name, plain(decode(data, name)), revision(data))

    def save(self, name: str, text: str, known: str) -> Saved:
        """Write a text that was opened at the revision `known` ("" for a chart that is new here).

        Where something else lies there now, the text goes to a name of its own and both are kept.
        """
        place = self._place(name)
        with self._alone():
            there = self._read(place, name) if os.path.lexists(place) else None
            if there is None or revision(there) == known:
                data = typed(text, there or b"")
                write_bytes(place, data, force=True)
                return Saved(name, revision(data))
            data = typed(text, there)
            if data == there:
                return Saved(name, revision(data))
            other = self._free(self.path, name)
            write_bytes(self.path / other, data, force=True)
            return Saved(other, revision(data), beside=name)

    def new(self, wanted: str, text: str) -> Saved:
        """Begin a chart; a name that is taken gets a number."""
        with self._alone():
            name = self._free(self.path, chart_name(wanted))
            data = typed(text, b"")
            write_bytes(self.path / name, data, force=True)
            return Saved(name, revision(data))

    def rename(self, name: str, wanted: str) -> str:
        """Give a chart another name; returns it."""
        other = chart_name(wanted)
        with self._alone():
            place = self._there(self.path, name)
            if other == name:
                return name
            taken = self._taken(self.path) - {same_name(name)}
            if same_name(other) in taken:
                raise OutputError(f"there is a chart named {other} already; choose another name")
            self._move(place, self.path / other)
        return other

    def delete(self, name: str) -> str:
        """Put a chart into the bin; returns its name there."""
        with self._alone():
            place = self._there(self.path, name)
            if not self._bin_is_ours():
                try:
                    (self.path / BIN).mkdir()
                except OSError as error:
                    raise refusal(self.path / BIN, error) from error
            kept = self._free(self.path / BIN, name)
            self._move(place, self.path / BIN / kept)
        return kept

    def restore(self, name: str) -> str:
        """Take a chart out of the bin; returns the name that it has now. An empty bin goes."""
        with self._alone():
            if not self._bin_is_ours():
                raise OutputError(f"there is no {name} in the bin")
            place = self._there(self.path / BIN, name)
            back = self._free(self.path, name)
            self._move(place, self.path / back)
            with suppress(OSError):  # something else lies in it
                (self.path / BIN).rmdir()
        return back

    def _place(self, name: str) -> Path:
        """Where a chart of this name lies or would lie; what is no name of a chart is refused."""
        if not is_chart_name(name):
            raise OutputError(
                f"{name[:80]!r} is no name of a chart here; one ends in {ENDING} and holds no / or \\"
            )
        return self.path / name

    def _there(self, folder: Path, name: str) -> Path:
        place = folder / self._place(name).name
        if not _is_plain(place):
            raise OutputError(f"there is no chart named {name} any more")
        return place

    def _read(self, place: Path, name: str) -> bytes:
        """The bytes of a plain file; what is no longer one when it is opened is not read either."""
        if not _is_plain(place):
            raise OutputError(f"there is no chart named {name} here")
        try:
            file = os.open(
                place, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
            )
            with os.fdopen(file, "rb") as opened:
                data = opened.read(MOST_BYTES + 1)
        except OSError as error:
            raise OutputError(f"{name} could not be read: {error.strerror or error}") from error
        if len(data) > MOST_BYTES:
            raise OutputError(f"{name} is longer than any chart, which has 1 MB at most")
        return data

    def _bin_is_ours(self) -> bool:
        found = self.path / BIN
        return found.is_dir() and not found.is_symlink()

    def _listed(self, folder: Path) -> list[Listed]:
        found = []
        try:
            with os.scandir(folder) as entries:
                names = [e.name for e in entries if e.is_file(follow_symlinks=False)]
        except OSError as error:
            raise OutputError(f"{folder} could not be read: {error.strerror or error}") from error
        for name in sorted(filter(is_chart_name, names), key=lambda n: (same_name(n), n)):
            with suppress(OSError):
                changed_s = (folder / name).stat().st_mtime
                found.append(Listed(name, title_of(folder / name), changed_s))
        return found

    def _taken(self, folder: Path) -> set[str]:
        with suppress(OSError), os.scandir(folder) as entries:
            return {same_name(e.name) for e in entries}
        return set()

    def _free(self, folder: Path, name: str) -> str:
        """The name, or with the first number that makes it nobody's."""
        taken = self._taken(folder)
        stem = name[: -len(ENDING)]
        numbered = (f"{stem} {n}{ENDING}" for n in itertools.count(2))
        return next(n for n in itertools.chain([name], numbered) if same_name(n) not in taken)

    def _move(self, old: Path, new: Path) -> None:
        try:
            old.rename(new)
            sync(new.parent)
        except OSError as error:
            raise refusal(new, error) from error

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Nobody else of this program writes in the folder meanwhile, where the system knows locks of folders."""
        lock = -1
        with suppress(ImportError, OSError):
            import fcntl

            lock = os.open(self.path, os.O_RDONLY)
            fcntl.flock(lock, fcntl.LOCK_EX)
        try:
            yield
        finally:
            if lock >= 0:
                os.close(lock)


def revision(data: bytes) -> str:
    """The digest of a file's bytes (BLAKE2b)."""
    return hashlib.blake2b(data, digest_size=16).hexdigest()


def plain(text: str) -> str:
    """A text as the desk has it.

    >>> plain("a\\r\\nb\\rc")
    'a\\nb\\nc'
    """
    return text.removeprefix(BOM).replace("\r\n", "\n").replace("\r", "\n")


def typed(text: str, there: bytes) -> bytes:
    """A text as a file, with the line ends and the byte order mark of the one that it replaces."""
    mark = BOM if there.startswith(BOM.encode()) else ""
    ends = "\r\n" if 2 * there.count(b"\r\n") > there.count(b"\n") else "\n"
    return (mark + plain(text).replace("\n", ends)).encode("utf-8", "surrogatepass")


def is_chart_name(name: str) -> bool:
    """Whether a name is one that a chart of the folder may have: one part of a path, seen, as every disk takes it.

    >>> [is_chart_name(n) for n in ("a.txt", "../a.txt", ".a.txt", "a", "con.txt", "Nine Lamps (2).TXT")]
    [True, False, False, False, False, True]
    """
    stem, ending = name[: -len(ENDING)], name[-len(ENDING) :]
    return ending.lower() == ENDING and not name.startswith(".") and safe(stem, "") == stem != ""


def chart_name(wanted: str) -> str:
    """The name of a chart's file that somebody asks for, with its ending.

    >>> chart_name("  Nine Lamps "), chart_name("a/b.txt"), chart_name(".")
    ('Nine Lamps.txt', 'a-b.txt', 'tune.txt')
    """
    name = wanted.strip()
    stem = name[: -len(ENDING)] if name.lower().endswith(ENDING) else name
    return safe(stem.lstrip(". "), "tune") + ENDING


def title_of(path: Path) -> str:
    """The title that stands in the first lines of a chart, "" for none. Raises OSError."""
    with path.open("rb") as file:
        head = file.read(2000).decode("utf-8", "replace").removeprefix(BOM)
    for line in head.splitlines():
        name, colon, value = line.partition(":")
        if colon and name.strip().casefold() == "title":
            return value.strip()
    return ""


def _is_plain(place: Path) -> bool:
    try:
        return stat.S_ISREG(place.lstat().st_mode)
    except OSError:
        return False
