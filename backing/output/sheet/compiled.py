"""Pages by typst, as PDF, SVG or PNG, with the mark by which this program knows its own files.

Conventions: the same input gives the same bytes: no date, fonts that ship with the program only. A PDF is PDF/UA-1
(ISO 14289-1): tagged, with headings, its title shown, its language named.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal, cast

from backing.ground.languages import ENGLISH
from backing.output import memory
from backing.output.files import MADE_BY, MARK
from backing.output.sheet.faces import folders

Kind = Literal["pdf", "svg", "png"]
KINDS: dict[str, Kind] = {".pdf": "pdf", ".svg": "svg", ".png": "png"}
PNG_PPI = 200
_METRE = 39.3700787  # inches


def compiled(
    template: Path, data: Mapping[str, Any], kind: Kind, ppi: float = PNG_PPI
) -> list[bytes]:
    """The document as bytes, one item a page (a PDF is one item whatever its pages); `ppi` pixels of a PNG in an inch."""
    memory.enough()
    import typst

    made = cast(
        "bytes | list[bytes]",
        typst.compile(
            str(template),
            format=kind,
            ppi=float(ppi),
            font_paths=[str(folder) for folder in folders()],
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
            pdf_standards=["ua-1"] if kind == "pdf" else [],
        ),
    )
    return list(made) if isinstance(made, list) else [made]


def language(tag: str) -> str:
    """The language of a document as typst takes it: the first part of a tag, English where there is none."""
    return (tag or ENGLISH).split("-")[0]


def marked(page: bytes, kind: Kind, title: Any) -> bytes:
    """The page with the mark of this program (a PDF has it in its keywords); a PNG with its resolution too."""
    if kind == "svg":
        return page + f"\n<!-- {MARK} -->\n".encode()
    if kind == "png":
        page = png_text(page, "Software", MADE_BY)
        page = png_text(page, "Comment", MARK)
        page = png_text(page, "Title", str(title))
        return png_resolution(page)
    return page


def png_text(page: bytes, key: str, value: str) -> bytes:
    """A PNG with an iTXt chunk after its header (PNG specification, third edition, 11.3.3.4)."""
    return png_chunk(page, b"iTXt", key.encode("latin-1") + b"\0\0\0\0\0" + value.encode("utf-8"))


def png_resolution(page: bytes) -> bytes:
    """A PNG that says how many pixels it has a metre (pHYs, 11.3.4.3), once."""
    if b"pHYs" in page[:200]:
        return page
    pixels = round(PNG_PPI * _METRE).to_bytes(4, "big")
    return png_chunk(page, b"pHYs", pixels + pixels + b"\1")


def png_chunk(page: bytes, kind: bytes, content: bytes) -> bytes:
    """A PNG with a chunk more behind its header."""
    body = kind + content
    chunk = len(content).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")
    header_end = 8 + 25  # signature and IHDR
    return page[:header_end] + chunk + page[header_end:]


__all__ = ["KINDS", "Kind", "compiled", "language", "marked"]
