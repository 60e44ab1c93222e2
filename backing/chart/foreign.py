"""What a file is that holds no text of ours, by its first bytes, and what to do with it instead.

Sources: the signatures in the formats' own specifications (ZIP, OLE2 compound files, RTF 1.9, PDF 32000, PNG, JFIF, GIF,
ID3v2, RIFF, FLAC, Ogg, ISO base media files, Standard MIDI Files); the names inside are those of Office Open XML and
OpenDocument.
"""

from __future__ import annotations

import re
from typing import NamedTuple

PLAIN = "save it as plain text in UTF-8, with the ending .txt"
_SAVED = (
    "open it where it was written, choose Save as, then plain text (UTF-8), with the ending .txt"
)
_TYPED = "type its chords into a text file; backing new tune.txt begins one"
_COPIED = "copy the chords from it into a text file that ends in .txt"


class Foreign(NamedTuple):
    """What a file seems to be, and what to type or do instead."""

    what: str
    hint: str


# the first bytes, what stands somewhere behind them, what it is, what to do
_SIGNS = tuple((re.compile(first, re.S), inside, Foreign(what, hint)) for first, inside, what, hint in (
    (rb"PK\x03\x04",                       b"word/",            "a word processor's document (.docx)", _SAVED),
    (rb"PK\x03\x04",                       b"opendocument.text", "a word processor's document (.odt)", _SAVED),
    (rb"\xd0\xcf\x11\xe0",                 b"",                 "a word processor's document (.doc)", _SAVED),
    (rb"\{\\rtf",                          b"",                 "a word processor's document (.rtf)", _SAVED),
    (rb"%PDF",                             b"",                 "a PDF",         _TYPED),
    (rb"\x89PNG|\xff\xd8\xff|GIF8|.{4}ftyp(heic|mif1|avif)", b"", "a picture",   _TYPED),
    (rb"\xff\xfe|\xfe\xff|[^\0]\0[^\0]\0", b"",                 "text in UTF-16", PLAIN),
    (rb"ID3|\xff[\xe2-\xfd]|RIFF|fLaC|OggS|.{4}ftyp", b"",      "a sound or film", _TYPED),
    (rb"MThd",                             b"",                 "a MIDI file",   "give it a name that ends in .mid"),
    (rb"(?i:(\xef\xbb\xbf)?\s*<(!doctype html|html|head|body)\b)", b"", "a web page", _COPIED),
    (rb".{0,4095}\0|PK\x03\x04",           b"",                 "a binary file", PLAIN),
))  # fmt: skip


def seems(data: bytes) -> Foreign | None:
    """What a file seems to be, None where it may be text.

    >>> seems(b"%PDF-1.7").what, seems(b"| C |")
    ('a PDF', None)
    """
    return next(
        (found for first, inside, found in _SIGNS if first.match(data) and inside in data), None
    )
