"""What this program has made, by place, so that a file that somebody has changed since is known and never replaced.

A mark in a file says who made it, and stays there when somebody goes on with it in another program. So the user's
folder of states holds a list of places and the digests of what was put there. A row is a line, place, tab, digest; a later
row of the same place counts; one without a digest says that a file is being written, so that after a stop nothing is
known of it. Of a place without a row, or with a file from another machine, the mark alone decides.

Conventions: a place is a real path, with a backslash before what would end it (JSON would cost the start of a command). Nothing here fails: where the list cannot be kept, there is none.
Source: the XDG base directory specification names the folder of states, platformdirs those of other systems.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from backing.output.digest import digest_of

_DIGEST = 32  # characters
MOST_BYTES = 1_000_000  # some 6,000 rows; of a longer list the older half is forgotten


def record() -> Path:
    """Where the list lies."""
    if sys.platform in ("darwin", "win32"):
        import platformdirs

        return Path(platformdirs.user_state_dir("backing", appauthor=False)) / "made"
    states = os.environ.get("XDG_STATE_HOME", "").strip() or "~/.local/state"
    return Path(states).expanduser() / "backing" / "made"


def changed(path: Path) -> bool:
    """Whether this program put a file at this place, and none that it ever made lies there now.

    One that it made earlier may lie there again: from a copy of the folder, or under another name.
    """
    try:
        known = record().read_bytes()
        if not _last(known, _place(path)):
            return False
        return f"\t{digest_of(path)}\n".encode() not in known
    except (OSError, RuntimeError):  # RuntimeError: nobody knows the user's home
        return False


def begin(paths: Iterable[Path]) -> None:
    """Say that files are going to be written; nothing is known of them until `end`.

    It waits for the disk: a row of an earlier file must not outlast that file.
    """
    _add([(_place(path), "") for path in paths], sync=True)


def end(paths: Iterable[Path]) -> None:
    """Say what was written."""
    found = []
    for path in paths:
        with suppress(OSError):
            if path.is_file():
                found.append((_place(path), digest_of(path)))
    _add(found)


def _place(path: Path) -> str:
    return os.path.realpath(path)


def _last(known: bytes, place: str) -> bytes:
    """The digest in the last row of a place, empty for none and for one that was cut short by a stop."""
    start = _start(place)
    at = known.rfind(start)
    row = known[at + len(start) :].partition(b"\n")[0] if at >= 0 else b""
    return row if len(row) == _DIGEST else b""


def _start(place: str) -> bytes:
    """How every row of a place begins."""
    told = os.fsencode(place).replace(b"\\", b"\\\\").replace(b"\n", b"\\n").replace(b"\t", b"\\t")
    return b"\n" + told + b"\t"


def _add(rows: Iterable[tuple[str, str]], sync: bool = False) -> None:
    """Write rows; each begins a line of its own, whatever a stop has left of the one before."""
    text = b"".join(_start(place) + digest.encode() + b"\n" for place, digest in rows)
    if not text:
        return
    with suppress(OSError, RuntimeError):
        path = record()
        path.parent.mkdir(parents=True, exist_ok=True)
        _shorten(path)
        with path.open("ab", buffering=0) as file:
            file.write(text)
            if sync:
                os.fsync(file.fileno())


def _shorten(path: Path) -> None:
    """Forget the older half of a long list."""
    try:
        if path.stat().st_size < MOST_BYTES:
            return
    except FileNotFoundError:
        return
    kept = path.read_bytes()[-MOST_BYTES // 2 :].partition(b"\n")[2]
    new = path.with_name(f"{path.name}.{os.getpid()}")
    new.write_bytes(b"\n" + kept)
    new.replace(path)
