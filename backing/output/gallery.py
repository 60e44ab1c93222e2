"""Charts beside their sheets, as a PDF: what is typed on the left, what is printed on the right.

Conventions: one chart a page, its text in rows as typed; its sheet is drawn as a picture (SVG) with the name of the tune
as its alternative text. The same charts give the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from backing.chart.parse import parse
from backing.ground.errors import OutputError
from backing.output.files import MARK, claim, whole
from backing.output.sheet.compiled import compiled
from backing.output.sheet.page import PAPERS
from backing.output.sheet.write import set_sheet, title_of

TEMPLATE = Path(__file__).with_suffix(".typ")


def write(
    charts: Sequence[tuple[str, str, str]], about: str, path: Path, *, force: bool = False
) -> None:
    """Write charts (name of the file, what it shows, text) with their sheets. Raises `OutputError`."""
    if path.suffix.lower() != ".pdf":
        raise OutputError(f"{path}: a page of the guide is written as .pdf")
    claim(path, force=force)
    pages = []
    for name, shows, text in charts:
        chart = parse(text, name)
        (picture, *_) = set_sheet(chart, kind="svg")
        pages.append(
            {
                "name": name, "title": title_of(chart), "about": shows, "text": text.rstrip("\n"),
                "sheet": picture.decode("utf-8"),
            }
        )  # fmt: skip
    wide, high = PAPERS["a4"]
    data = {
        "title": "The gallery",
        "about": about,
        "keywords": [MARK],
        "wide": high,
        "high": wide,
        "pages": pages,
    }
    (made,) = compiled(TEMPLATE, data, "pdf")
    with whole(path, force=force) as beside:
        beside.write_bytes(made)
