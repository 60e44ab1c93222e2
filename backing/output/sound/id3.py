"""An ID3 tag, as it stands in front of an MP3 and in the chunk `id3 ` of a WAV.

Conventions: version 2.3, which every player reads; text is Latin-1 where it is ASCII and UTF-16 with a byte order mark
elsewhere (2.3 has no other); times of chapters are milliseconds.
Sources: ID3 tag version 2.3.0 (header with a size of four times seven bits, frames with a plain size; TBPM of digits,
TKEY of at most three characters, TRCK as number/count, COMM with a language); ID3v2 chapter frame addendum 1.0 (CHAP,
CTOC, whose entries are counted in one byte and may be other tables).
"""

from __future__ import annotations

import struct
from pathlib import Path

from backing.ground.errors import OutputError
from backing.output.sound.tags import Tags

MOST_ENTRIES = 255  # of a table of contents
_NO_OFFSET = 0xFFFFFFFF  # of a chapter: its times count
_TOP_LEVEL, _ORDERED = 2, 1
HEADER = 10
_SEVENS = (21, 14, 7, 0)  # a size in four times seven bits


def tag(tags: Tags, length_ms: int) -> bytes:
    """The whole tag; each chapter runs until the next, the last to `length_ms`."""
    texts = (
        (b"TIT2", tags.title), (b"TPE1", tags.by), (b"TALB", tags.album), (b"TRCK", tags.track),
        (b"TBPM", str(tags.bpm or "")), (b"TKEY", tags.key[:3]), (b"TENC", tags.maker),
    )  # fmt: skip
    body = b"".join(_text(kind, text) for kind, text in texts if text)
    wide, comment = _encoded(tags.comment)
    short = b"\xff\xfe\0\0" if wide else b"\0"  # the comment's own name: none
    body += _frame(b"COMM", bytes((wide,)) + b"eng" + short + comment)
    if len(tags.chapters) > 1:
        body += _chapters(tags, length_ms)
    return _headed(body)


def numbered(path: Path, album: str, track: str) -> None:
    """Say in front of an MP3 which album it belongs to, and where it stands there; everything else stays.

    The new tag has no room to spare, so equal sound and words are equal bytes, whoever wrote the old one. Raises OSError.
    """
    data = path.read_bytes()
    room = room_of(data)
    body, at = b"", HEADER
    while at + HEADER <= room and data[at]:
        size = HEADER + int.from_bytes(data[at + 4 : at + 8], "big")
        if data[at : at + 4] not in (b"TALB", b"TRCK"):
            body += data[at : at + size]
        at += size
    path.write_bytes(_headed(_text(b"TALB", album) + _text(b"TRCK", track) + body) + data[room:])


def filled(made: bytes, room: int) -> bytes:
    """A tag filled up with zeros to `room` bytes, as the format allows. Raises `OutputError` where it is longer."""
    if len(made) > room:
        raise OutputError("the encoder left no room for the tags")
    return _headed(made[HEADER:].ljust(room - HEADER, b"\0"))


def room_of(data: bytes) -> int:
    """How many bytes the tag takes that begins with `data`, 0 where none begins there."""
    if len(data) < HEADER or data[:3] != b"ID3":
        return 0
    return HEADER + sum(byte << shift for byte, shift in zip(data[6:10], _SEVENS, strict=True))


def _headed(body: bytes) -> bytes:
    return b"ID3\x03\x00\x00" + bytes(len(body) >> s & 0x7F for s in _SEVENS) + body


def _chapters(tags: Tags, length_ms: int) -> bytes:
    starts = [start for start, _ in tags.chapters]
    ends = [*starts[1:], length_ms]
    names = [f"chp{i}" for i in range(len(starts))]
    made = b""
    for name, start, end, (_, title) in zip(names, starts, ends, tags.chapters, strict=True):
        times = struct.pack(">4I", start, end, _NO_OFFSET, _NO_OFFSET)
        made += _frame(b"CHAP", name.encode() + b"\0" + times + _text(b"TIT2", title))
    while len(names) > MOST_ENTRIES:  # a table of tables
        groups = [names[i : i + MOST_ENTRIES] for i in range(0, len(names), MOST_ENTRIES)]
        names = [f"part {len(groups)}.{i}" for i in range(len(groups))]
        for name, group in zip(names, groups, strict=True):
            made += _contents(name, _ORDERED, group)
    return made + _contents("toc", _ORDERED | _TOP_LEVEL, names)


def _contents(name: str, flags: int, entries: list[str]) -> bytes:
    listed = b"".join(entry.encode() + b"\0" for entry in entries)
    return _frame(b"CTOC", name.encode() + b"\0" + bytes((flags, len(entries))) + listed)


def _text(kind: bytes, text: str) -> bytes:
    wide, encoded = _encoded(text)
    return _frame(kind, bytes((wide,)) + encoded)


def _encoded(text: str) -> tuple[int, bytes]:
    """Whether a text is UTF-16, as ID3 counts its encodings, and its bytes."""
    if text.isascii():
        return 0, text.encode("ascii")
    return 1, b"\xff\xfe" + text.encode("utf-16-le")


def _frame(kind: bytes, data: bytes) -> bytes:
    return kind + struct.pack(">IH", len(data), 0) + data
