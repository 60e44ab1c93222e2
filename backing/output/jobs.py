"""What is to be made anew and why: jobs, the rows of their log, and the one question about every output.

Conventions: an output is a path with `/` below the folder that the log lies in. What shapes it is a mapping of names
to fingerprints (notes, soundfont, loudness …), so that a reason can be told. A log is text, an object of JSON a line:
first what it is, then a row an output as it is made; a later row of the same output counts. A row is written before
its file takes its place, and so names the file that is to come and the one that was there: after a stop between the
two, either is known.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

from backing.output.digest import digest_of, fingerprint

__all__ = [
    "Found", "Job", "Output", "Row", "Why", "differing", "digest_of", "due", "fingerprint", "header", "line", "read", "text",
    "trusted",
]  # fmt: skip

VERSION = 1
HEADER = {"log": "files made by backing", "version": VERSION}
YOUNG_NS = 2_000_000_000  # the coarsest time stamp of a disk (FAT): two seconds


class Output(NamedTuple):
    """A file that a job makes: where, and what shapes it."""

    path: str
    makes: Mapping[str, str]


class Job(NamedTuple):
    """Work that makes one or more outputs at once. `make` gets a folder, those that are wanted, and a progress.

    `name` is what it is done for, for people; where jobs are done elsewhere `make` can be pickled.
    """

    outputs: tuple[Output, ...]
    make: Callable[[Path, frozenset[str], Callable[[float, str], None]], object]
    name: str = ""


class Row(NamedTuple):
    """A line of the log. `digest` is of the file as made, `was` of the one that it replaced ("" for none)."""

    path: str
    makes: Mapping[str, str]
    digest: str
    was: str
    size: int
    time_ns: int


class Found(NamedTuple):
    """What lies where an output goes; `digest` is None for what is no plain file."""

    digest: str | None


class Why(NamedTuple):
    """A reason, as data: `missing`, `changed` or `unfinished` ask for work; `not ours` forbids it."""

    kind: str
    words: str


def due(output: Output, row: Row | None, found: Found | None) -> Why | None:
    """Why an output must be made, or must not be touched; None where it stands as it should.

    Whose file it is comes before whether it is stale.
    """
    if found is None:
        return Why("missing", output.path)
    if row is None or found.digest is None or found.digest not in (row.digest, row.was):
        return Why("not ours", output.path)
    if found.digest != row.digest:
        return Why("unfinished", output.path)
    if row.makes != output.makes:
        return Why("changed", ", ".join(differing(row.makes, output.makes)))
    return None


def differing(old: Mapping[str, str], new: Mapping[str, str]) -> list[str]:
    """The names of what is not the same, in order.

    >>> differing({"notes": "1", "sheet": "2"}, {"notes": "3", "font": "4", "sheet": "2"})
    ['font', 'notes']
    """
    return sorted(name for name in {*old, *new} if old.get(name) != new.get(name))


def trusted(row: Row, size: int, time_ns: int, log_ns: int) -> bool:
    """Whether a file must still be what its row says, by its size and time alone.

    One that is as young as the log may have been changed within the same tick of the clock.
    """
    return (size, time_ns) == (row.size, row.time_ns) and time_ns + YOUNG_NS < log_ns


def line(row: Row) -> bytes:
    """A row as a line of the log."""
    return _line(
        {
            "path": row.path,
            "makes": dict(row.makes),
            "digest": row.digest,
            "was": row.was,
            "size": row.size,
            "time_ns": row.time_ns,
        }
    )


def header() -> bytes:
    """The first line of a log."""
    return _line(HEADER)


def text(rows: Iterable[Row]) -> bytes:
    """A whole log."""
    return header() + b"".join(line(row) for row in rows)


def read(data: bytes) -> tuple[dict[str, Row], int]:
    """The rows of a log by output, and how many of its bytes are whole lines of a known version.

    A line that was cut short, and whatever follows it, does not count; of an unknown version nothing does.
    """
    first, newline, _ = data.partition(b"\n")
    if not newline or _object(first) != HEADER:
        return {}, 0
    rows: dict[str, Row] = {}
    whole = len(first) + 1
    for part in data[whole:].split(b"\n")[:-1]:
        row = _row(_object(part))
        if row is None:
            break
        rows[row.path] = row
        whole += len(part) + 1
    return rows, whole


def _line(told: Mapping[str, object]) -> bytes:
    return json.dumps(told, ensure_ascii=True, separators=(",", ":")).encode("ascii") + b"\n"


def _object(data: bytes) -> object:
    try:
        return json.loads(data)
    except (ValueError, RecursionError):
        return None


def _row(told: object) -> Row | None:
    """The row that an object tells, None where it tells none."""
    if not isinstance(told, dict) or set(told) != set(Row._fields):
        return None
    texts = [told["path"], told["digest"], told["was"]]
    numbers = [told["size"], told["time_ns"]]
    makes = told["makes"]
    if not isinstance(makes, dict) or not all(
        isinstance(v, str) for v in (*texts, *makes.values())
    ):
        return None
    if not all(isinstance(v, int) for v in numbers):
        return None
    return Row(**told)
