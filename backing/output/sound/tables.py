"""The tables of a soundfont, read far enough to know that a synthesiser can follow them, and what the file tells of itself.

Sources: SoundFont technical specification 2.04, section 7 (records in order; each row points to the first of its rows in
the next table, rising, and the last row of each table ends it; samples in words from the start of the sample chunk,
with 46 of silence after each; in files with compressed samples, `sampleType` 0x10, in bytes) and section 5 (INFO).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

Chunks = Mapping[bytes, bytes]  # the tables of presets, by name
# table and bytes of a row
ROWS = {
    b"phdr": 38, b"pbag": 4, b"pmod": 10, b"pgen": 4,
    b"inst": 22, b"ibag": 4, b"imod": 10, b"igen": 4, b"shdr": 46,
}  # fmt: skip
# table, place of the pointer in its row, table that it points into
_POINTERS = (
    (b"phdr", 24, b"pbag"), (b"pbag", 0, b"pgen"), (b"pbag", 2, b"pmod"),
    (b"inst", 20, b"ibag"), (b"ibag", 0, b"igen"), (b"ibag", 2, b"imod"),
)  # fmt: skip
_INSTRUMENT, _SAMPLE = 41, 53  # generators that end a zone and point on
_COMPRESSED = 0x10
_LINES = {b"INAM": "name", b"ICOP": "copyright", b"ICMT": "comment"}


class Told(NamedTuple):
    """What the file tells of itself, "" where it does not."""

    name: str = ""
    copyright: str = ""
    comment: str = ""


def fault(tables: Chunks, sample_bytes: int) -> str:
    """What is wrong with the tables, "" for nothing; `sample_bytes` is the length of the sample chunk."""
    for name, row in ROWS.items():
        length = len(tables.get(name, b""))
        if length < row or length % row:
            return f"its table {name.decode()} is not whole"
    for name, at, goal in _POINTERS:
        places = list(_column(tables[name], ROWS[name], at, "<H"))
        last = len(tables[goal]) // ROWS[goal] - 1
        if any(b < a for a, b in pairwise(places)) or places[-1] > last:
            return f"its table {name.decode()} points nowhere"
    for name, generator, goal in ((b"pgen", _INSTRUMENT, b"inst"), (b"igen", _SAMPLE, b"shdr")):
        last = len(tables[goal]) // ROWS[goal] - 1
        for kind, value in struct.iter_unpack("<HH", tables[name]):
            if kind == generator and value >= last:
                return f"its table {name.decode()} points nowhere"
    for start, end, kind in _samples(tables[b"shdr"]):
        unit = 1 if kind & _COMPRESSED else 2
        if not kind & 0x8000 and not start <= end <= sample_bytes // unit:
            return "its samples lie outside the file"
    return ""


def _samples(rows: bytes) -> Iterator[tuple[int, int, int]]:
    """First word, word after the last and sort of every sample."""
    for at in range(0, len(rows) - 46, 46):
        start, end = struct.unpack_from("<II", rows, at + 20)
        (kind,) = struct.unpack_from("<H", rows, at + 44)
        yield start, end, kind


def _column(rows: bytes, row: int, at: int, form: str) -> Iterator[int]:
    for place in range(at, len(rows), row):
        yield struct.unpack_from(form, rows, place)[0]


def presets(rows: bytes) -> frozenset[tuple[int, int]]:
    """Bank and program of every preset."""
    found = (struct.unpack_from("<HH", rows, at + 20) for at in range(0, len(rows) - 38, 38))
    return frozenset((bank, program) for program, bank in found)


def told(info: Mapping[bytes, bytes]) -> Told:
    """Name, copyright and comment of the chunk INFO."""
    return Told(
        **{
            field: " ".join(info[name].split(b"\0")[0].decode("latin-1").split())
            for name, field in _LINES.items()
            if name in info
        }
    )


def by_name(path: Path, places: Mapping[bytes, tuple[int, int]]) -> dict[bytes, bytes]:
    """The contents of chunks whose first byte and byte after the last are known. Raises OSError."""
    found = {}
    with path.open("rb") as file:
        for name, (start, end) in places.items():
            file.seek(start)
            found[name] = file.read(end - start)
    return found
