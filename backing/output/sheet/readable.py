"""Sheets that read as they are typed: a chord is drawn in many signs, and is found, copied and read aloud as one word.

Conventions: texts are those of one page, in points from its top left; what they read as is `Text.said`.
Sources: ActualText of marked content and incremental updates, ISO 32000-1, 14.9.4 and 7.5.6; `title` and `desc` of
SVG 2, 5.8; WAI-ARIA 1.2, the role `img`.
"""

from __future__ import annotations

import itertools
import re
import zlib
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any, NamedTuple

# One drawn text as typst writes it: mark, place of its first letter, letters.
_DRAWN = re.compile(
    rb"/(?:Span<</MCID (?P<id>\d+)>>BDC|Artifact BMC)\nq 1 0 0 -1 (?P<x>[-.\d]+) (?P<y>[-.\d]+) cm"
    rb"(?P<inside>.*?)\nQ\nEMC",
    re.DOTALL,
)
_MATRIX = re.compile(rb"1 0 0 -1 ([-.\d]+) ([-.\d]+) Tm")
_NEAR = 0.05  # points


class Read(NamedTuple):
    """A text with its place and size, and what it reads as: None as it stands, "" as part of the text before it."""

    x: float
    y: float
    size: float
    text: str
    said: str | None


class _Word(NamedTuple):
    """Texts drawn one after another that read as one: where in the drawing, and what."""

    start: int
    end: int
    said: str
    pieces: list[re.Match[bytes]]


def reads(page: Sequence[Sequence[Any]]) -> list[Read]:
    """The texts of a page whose marks are in short (`write.plain`)."""
    return [Read(m[1], m[2], m[3], m[5], m[10]) for m in page if m[0] == "t"]


def read_as(pdf: bytes, pages: Sequence[Sequence[Read]], high: float) -> bytes:
    """A PDF in which every text that reads otherwise than it is drawn says so, as an update behind the file."""
    contents = [int(n) for n in re.findall(rb"/Type/Page/.*?/Contents (\d+) 0 R", pdf)]
    found = bytearray(pdf)
    places: list[tuple[int, int]] = []
    for number, texts in zip(contents, pages, strict=True):
        stream = _stream(pdf, number)
        said = _said(stream, texts, high)
        if said != stream:
            packed = zlib.compress(said)
            places.append((number, len(found) + 1))
            found += (
                f"\n{number} 0 obj\n<</Length {len(packed)}/Filter/FlateDecode>>\nstream\n".encode()
            )
            found += packed + b"\nendstream\nendobj\n"
    return bytes(found) + _directory(pdf, places, len(found)) if places else pdf


def _stream(pdf: bytes, number: int) -> bytes:
    """The drawing of a page, unpacked."""
    head = re.search(rb"\n%d 0 obj\s*<<(.*?)>>\s*stream\r?\n" % number, pdf, re.DOTALL)
    length = re.search(rb"/Length (\d+)", head[1]) if head else None
    assert head is not None
    assert length is not None
    return zlib.decompress(pdf[head.end() : head.end() + int(length[1])])


def _said(stream: bytes, texts: Sequence[Read], high: float) -> bytes:
    """The drawing with the words of its texts."""
    done: list[bytes] = []
    at = 0
    for word in _words(stream, texts, high):
        done += [stream[at : word.start], _one(word)]
        at = word.end
    return b"".join([*done, stream[at:]])


def _words(stream: bytes, texts: Sequence[Read], high: float) -> list[_Word]:
    """What reads otherwise than it is drawn, in the order of the drawing."""
    places: dict[tuple[int, int], list[Read]] = {}
    for text in texts:
        places.setdefault((round(text.x), round(high - text.y)), []).append(text)
    words: list[_Word] = []
    for drawn in _DRAWN.finditer(stream):
        said = _meant(places, float(drawn["x"]), float(drawn["y"]), high)
        if said is None:
            continue
        if said == "" and words and words[-1].end == drawn.start():
            words[-1] = words[-1]._replace(end=drawn.end(), pieces=[*words[-1].pieces, drawn])
        elif said:
            words.append(_Word(drawn.start(), drawn.end(), said, [drawn]))
    return words


def _meant(
    places: Mapping[tuple[int, int], list[Read]], x: float, y: float, high: float
) -> str | None:
    """What the text that is drawn at a place reads as, None as it is drawn."""
    for dx, dy in itertools.product((0, -1, 1), repeat=2):
        for text in places.get((round(x) + dx, round(y) + dy), ()):
            if abs(text.x - x) < _NEAR and abs(high - text.y - y) < _NEAR:
                return text.said
    return None


def _one(word: _Word) -> bytes:
    """The pieces of a word in one mark, upright in one place: readers take place and size from where the mark ends."""
    first = word.pieces[0]
    y0 = float(first["y"])
    text = (b"\xfe\xff" + word.said.encode("utf-16-be")).hex().encode()
    place = b"\nq 1 0 0 1 %s %s cm" % (first["x"], first["y"])
    if first["id"]:
        made = [place + b"/Span<</MCID %s/ActualText<%s>>>BDC" % (first["id"], text)]
        closed = b"\nEMC\nQ\n"
    else:  # some readers know the words of spans only
        made = [place + b"/Artifact BMC/Span<</ActualText<%s>>>BDC" % text]
        closed = b"\nEMC EMC\nQ\n"
    for piece in word.pieces:
        right, up = float(piece["x"]) - float(first["x"]), float(piece["y"]) - y0
        moved = _MATRIX.sub(
            lambda m, right=right, up=up: (
                b"1 0 0 1 %.3f %.3f Tm" % (float(m[1]) + right, up - float(m[2]))
            ),
            piece["inside"],
        )
        made.append(moved)
    return b"".join(made) + closed


def _directory(pdf: bytes, places: Sequence[tuple[int, int]], start: int) -> bytes:
    """The table of the objects that are written anew, and the trailer, which leads on to those before."""
    before = int(pdf[pdf.rindex(b"startxref") :].split()[1])
    trailer = pdf[pdf.rindex(b"trailer") + 7 : pdf.rindex(b"startxref")].strip()
    table = b"".join(b"%d 1\n%010d 00000 n\r\n" % (number, at) for number, at in sorted(places))
    ends = trailer[:-2] + b"/Prev %d>>" % before
    return b"xref\n" + table + b"trailer\n" + ends + b"\nstartxref\n%d\n%%%%EOF\n" % start


def worded(svg: bytes, texts: Sequence[Read], language: str, title: str) -> bytes:
    """An SVG with its title, what it reads as, and letters over its shapes that are not seen, to be found and copied."""
    said = [(t, t.text if t.said is None else t.said) for t in texts]
    read = [(t, words) for t, words in said if words.strip()]
    desc = " ".join(words.strip() for _, words in read)
    head = re.match(rb"<svg\b", svg)
    assert head is not None
    end = svg.index(b">") + 1
    attributes = (
        f'<svg role="img" lang="{escape(language)}" aria-labelledby="sheet-title sheet-words"'
    )
    names = f'<title id="sheet-title">{escape(title)}</title><desc id="sheet-words">{escape(desc)}</desc>'
    letters = "".join(
        f'<text x="{t.x:.2f}" y="{t.y:.2f}" font-size="{t.size:.2f}">{escape(words)}</text>'
        for t, words in read
    )
    unseen = f'<g fill="transparent" font-family="sans-serif">{letters}</g>'
    close = svg.rindex(b"</svg>")
    return b"".join(
        (
            attributes.encode(),
            svg[4:end],
            names.encode(),
            svg[end:close],
            unseen.encode(),
            svg[close:],
        )
    )


__all__ = ["Read", "read_as", "reads", "worded"]
