"""Sheets that are searched, copied and read aloud, as other programs read them.

Sources: ISO 32000-1, 14.8 (structure), 14.9.4 (ActualText), 12.2 (DisplayDocTitle), 7.5.6 (incremental updates);
PDF/UA-1 (ISO 14289-1), 7.1; SVG 2, 5.8; PNG specification, third edition, 11.3.4.3 (pHYs: pixels a metre).
Readers: PDFium by pypdfium2 honours ActualText; pdfminer reads the structure.
"""

from __future__ import annotations

import io
import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pypdfium2
from pdfminer.pdfdocument import PDFDocument
from pdfminer.pdfparser import PDFParser
from pdfminer.pdftypes import resolve1

from backing.chart.parse import parse
from backing.output.asked import Paper
from backing.output.sheet.write import set_sheet

DEMO = Path(__file__).parent.parent / "demo"
TUNE = """title: Reading Room
by: Demo songbook
language: de
key: C major
[Verse]
| F#m7b5 <Bb7alt | Ebmaj7#11/G | C7(b9,#11,b13)! | N.C. |
[Chorus]
| Dmin7 / CmMaj7 G7sus4 | 3/4 Db/F | C | G7b9 |
  melody: | C5 / / D5 | E5 / / | F#5 / / | C5 / / |
  words:  | la | har-bour oh | oh | now |
"""
TYPED = [
    "F#m7b5", "Bb7alt", "Ebmaj7#11/G", "C7(b9,#11,b13)", "N.C.", "Dmin7", "CmMaj7", "G7sus4", "Db/F", "C", "G7b9",
]  # fmt: skip


def words(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    return text.replace(
        "\ufffe", "-"
    ).split()  # a hyphen at the end of a row, as this reader has it


def after_each_other(wanted: list[str], found: list[str]) -> bool:
    rest = iter(found)
    return all(one in rest for one in wanted)


def catalogue(pdf: bytes) -> dict[str, object]:
    document = PDFDocument(PDFParser(io.BytesIO(pdf)))
    return {key: resolve1(value) for key, value in document.catalog.items()}


def elements(node: object, kind: str) -> list[object]:
    """The elements of a kind under an element of the structure."""
    node = resolve1(node)
    if isinstance(node, list):
        return [e for child in node for e in elements(child, kind)]
    if not isinstance(node, dict):
        return []
    own = [node] if getattr(node.get("S"), "name", "") == kind else []
    return own + elements(node.get("K"), kind)


def test_chords_are_found_in_a_pdf_as_they_are_typed() -> None:
    (pdf,) = set_sheet(parse(TUNE))
    assert after_each_other(TYPED, words(pdf))
    assert not [w for w in words(pdf) if re.search(r"[♯♭\ue000-\uf8ff]", w)]
    assert after_each_other(["la", "har-bour", "oh"], words(pdf))


def test_demos_read_as_they_are_typed() -> None:
    for name in ("gospel", "stairwell", "ferry", "folk"):
        chart = parse((DEMO / f"{name}.txt").read_text())
        slots = [s for section in chart.sections for bar in section.bars for s in bar.slots]
        typed = [s.text for s in slots if not s.held]
        (pdf,) = set_sheet(chart, paper=Paper(grips="foot"))
        found = words(pdf)
        missing = [t for t in typed if t not in found]
        assert missing == [], name


def test_a_pdf_has_headings_and_shows_its_title_and_tells_its_language() -> None:
    (pdf,) = set_sheet(parse(TUNE))
    told = catalogue(pdf)
    assert told["Lang"] in (b"de", "de")
    assert told["ViewerPreferences"]["DisplayDocTitle"] is True  # type: ignore[index]
    assert told["MarkInfo"]["Marked"] is True  # type: ignore[index]
    tree = told["StructTreeRoot"]
    assert [e["T"] for e in elements(tree, "H1")] == [b"Reading Room"]  # type: ignore[index]
    assert [e["T"] for e in elements(tree, "H2")] == [b"Verse", b"Chorus"]  # type: ignore[index]
    assert b"pdfuaid:part" in pdf or b"pdfuaid" in pdf


def test_a_title_of_several_rows_is_one_heading() -> None:
    (pdf,) = set_sheet(parse("title: " + "A Very Long Title Indeed " * 6 + "\n| C |\n"))
    assert len(elements(catalogue(pdf)["StructTreeRoot"], "H1")) == 1


def test_the_update_of_a_pdf_leaves_its_pages_as_they_look() -> None:
    """The same ink, whether a reader takes the file with its words or without them."""
    (pdf,) = set_sheet(parse(TUNE))
    drawn = pdf[: pdf.index(b"%%EOF") + 5]
    before, after = (
        pypdfium2.PdfDocument(one)[0].render(scale=1).to_numpy() for one in (drawn, pdf)
    )
    assert before.shape == after.shape
    assert abs(before.astype(int) - after.astype(int)).max() <= 8


def test_an_svg_has_title_words_and_letters() -> None:
    (svg,) = set_sheet(parse(TUNE.replace("Reading Room", "Reading & <Room>")), kind="svg")
    root = ET.fromstring(svg)
    named = {e.tag.rpartition("}")[2]: "".join(e.itertext()) for e in root}
    assert root.get("role") == "img"
    assert root.get("lang") == "de"
    assert named["title"] == "Reading & <Room>"
    assert after_each_other(TYPED, named["desc"].split())
    letters = ["".join(e.itertext()) for e in root.iter() if e.tag.endswith("}text")]
    assert after_each_other(TYPED, letters)
    ids = (root.get("aria-labelledby") or "").split()
    assert {e.get("id") for e in root.iter() if e.get("id")} >= set(ids)


def test_a_png_tells_its_resolution() -> None:
    (png,) = set_sheet(parse("| C |\n"), kind="png")
    at = png.index(b"pHYs") + 4
    assert png.count(b"pHYs") == 1
    across, down = (int.from_bytes(png[at + i : at + i + 4], "big") for i in (0, 4))
    assert (across, down, png[at + 8]) == (7874, 7874, 1)  # 200 pixels an inch
