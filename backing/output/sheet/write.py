"""The printed sheet: a chart as written becomes PDF, SVG or PNG, set by typst.

Conventions: the sheet is laid out here, in points, by the widths of the faces that ship with the package, and drawn by
`sheet.typ`. The same chart and options give the same bytes: there is no date in them, and fonts of the
system never serve.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import repeat
from pathlib import Path
from typing import Any, NamedTuple, TypedDict

from backing.chart.ast import Chart
from backing.chart.transpose import transpose_chart
from backing.ground.errors import OutputError
from backing.ground.pitch import Interval
from backing.output.asked import CONCERT, Paper
from backing.output.files import MARK, claim, whole
from backing.output.sheet.cells import rows
from backing.output.sheet.compiled import KINDS, Kind, compiled, language, marked
from backing.output.sheet.faces import families, right_to_left, shown
from backing.output.sheet.grips import blocks, chosen
from backing.output.sheet.marks import (
    BOLD,
    REGULAR,
    Arc,
    Dot,
    Line,
    Mark,
    Shape,
    Text,
    Zone,
)
from backing.output.sheet.page import PAPERS, SIDE, pages
from backing.output.sheet.readable import read_as, reads, worded
from backing.output.sheet.words import form_words, title_words, typeset
from backing.output.symbols import Spelling

TEMPLATE = Path(__file__).parent / "sheet.typ"
# How far above the sound an instrument reads; common practice: B flat trumpet, E flat alto saxophone, horn in F.
TRANSPOSING = {"Bb": Interval(1, 2), "Eb": Interval(5, 9), "F": Interval(4, 7)}


def write(
    chart: Chart,
    path: Path,
    *,
    force: bool = False,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: Paper = CONCERT,
) -> list[Path]:
    """Write the sheet and return the paths; SVG and PNG of several pages become `NAME-1.png`, `NAME-2.png` ….

    `style` and `tempo` (note value in quarters, beats a minute) are shown under the title in place of what the chart
    says. Raises `OutputError`.
    """
    kind = KINDS.get(path.suffix.lower())
    if kind is None:
        raise OutputError(f"{path}: a sheet ends in .pdf, .svg or .png")
    claim(path, force=force)
    made = set_sheet(chart, kind=kind, style=style, tempo=tempo, paper=paper)
    return write_pages(made, path, force=force)


def write_pages(made: Sequence[bytes], path: Path, *, force: bool = False) -> list[Path]:
    """Write pages and return the paths: one as `path`, several as `NAME-1.png`, `NAME-2.png` …. Raises `OutputError`."""
    paths = [path]
    if len(made) > 1:
        paths = [path.with_stem(f"{path.stem}-{n}") for n in range(1, len(made) + 1)]
    for target in paths:
        claim(target, force=force)
    for target, page in zip(paths, made, strict=True):
        with whole(target, force=force) as beside:
            beside.write_bytes(page)
    return paths


def set_sheet(
    chart: Chart,
    *,
    kind: Kind = "pdf",
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: Paper = CONCERT,
) -> list[bytes]:
    """The sheet as bytes, one item a page (a PDF is one item whatever its pages). Options as for `write`."""
    laid = layout(chart, style=style, tempo=tempo, paper=paper)
    return drawn(laid, chart, PAPERS[paper.size], kind)


def drawn(
    laid: Sequence[Sequence[Mark]], chart: Chart, size: tuple[float, float], kind: Kind
) -> list[bytes]:
    """Pages of marks, `size` wide and high, as bytes."""
    title = title_of(chart)
    made = set_pages([in_short(laid, language_of(chart))], title, chart.header.by, size, kind=kind)
    return [marked(page, kind, title) for page in made]


class Laid(TypedDict):
    """A sheet laid out: each page as a list of marks in short (`plain`), its letters, and its language (ISO 639)."""

    pages: list[list[list[Any]]]
    letters: str
    language: str


class Link(NamedTuple):
    """A place on a page (left, top, width, height in points) that leads to another page (both from 1)."""

    page: int
    box: tuple[float, float, float, float]
    to: int


def laid_out(
    chart: Chart,
    *,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: Paper = CONCERT,
) -> Laid:
    """The sheet as data. Options as for `write`."""
    return in_short(
        layout(chart, style=style, tempo=tempo, paper=paper),
        language_of(chart),
    )


def language_of(chart: Chart) -> str:
    """The language of a chart's words (ISO 639)."""
    return language(chart.header.language)


def in_short(pages_: Sequence[Sequence[Mark]], language: str = "en") -> Laid:
    """Pages of marks as data."""
    letters = {c for page in pages_ for mark in page if isinstance(mark, Text) for c in mark.text}
    return {
        "pages": [[plain(mark) for mark in page] for page in pages_],
        "letters": "".join(sorted(letters)),
        "language": language,
    }


def set_pages(
    laid: Sequence[Laid],
    title: str,
    author: str,
    size: tuple[float, float],
    *,
    kind: Kind = "pdf",
    links: Sequence[Link] = (),
    bookmarks: Sequence[tuple[int, int, str]] = (),
) -> list[bytes]:
    """Pages that are laid out, drawn one behind the other, one item a page (a PDF is one item whatever its pages).

    `bookmarks` are page, level from 1, and words. Raises `OutputError`.
    """
    wide, high = size
    letters = "".join(sorted({c for one in laid for c in one["letters"]}))
    data = {
        "title": title,
        "author": author,
        "keywords": [MARK],
        "width": wide,
        "height": high,
        "families": families(letters),
        "languages": [one["language"] for one in laid for _ in one["pages"]],
        "pages": [page for one in laid for page in one["pages"]],
        "links": links,
        "bookmarks": bookmarks,
    }
    made = compiled(TEMPLATE, data, kind)
    read = [reads(page) for one in laid for page in one["pages"]]
    if kind == "pdf":
        return [read_as(made[0], read, high)]
    if kind == "svg":
        languages = [one["language"] for one in laid for _ in one["pages"]]
        return [worded(*page) for page in zip(made, read, languages, repeat(title), strict=False)]
    return made


def layout(
    chart: Chart,
    *,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: Paper = CONCERT,
) -> list[list[Mark]]:
    """Everything on each page with its place, in points. Raises `OutputError` for unknown paper or instrument."""
    if paper.size not in PAPERS:
        raise OutputError(f"paper {paper.size!r} is unknown; there are {' and '.join(PAPERS)}")
    laid = with_zones(chart, PAPERS[paper.size], style=style, tempo=tempo, paper=paper)
    return [[mark for mark in page if not isinstance(mark, Zone)] for page in laid]


def with_zones(
    chart: Chart,
    size: tuple[float, float],
    *,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: Paper = CONCERT,
) -> list[list[Mark]]:
    """The same with the places of bars among the marks, on pages of `size` (width and height in points)."""
    transposing = paper.transposing
    if transposing is not None and transposing not in TRANSPOSING:
        raise OutputError(
            f"{transposing!r} is no transposing instrument; write {', '.join(TRANSPOSING)}"
        )
    if transposing is not None:
        chart = transpose_chart(chart, TRANSPOSING[transposing])
    lines: list[tuple[str, float, int, bool]] = [(typeset(title_of(chart)), 22.0, BOLD, False)]
    if chart.header.by:
        lines.append((typeset(chart.header.by), 10.5, REGULAR, False))
    words = title_words(chart, style, tempo, transposing)
    if words:
        lines.append((words, 10.5, REGULAR, False))
    form = form_words(chart)
    if form:
        lines.append((form, 10.5, REGULAR, True))
    if chart.header.notes:
        lines.append((typeset(chart.header.notes), 10.5, REGULAR, False))
    room = size[0] - 2 * SIDE
    spelling = Spelling(paper.signs, chart.header.german, chart.header.latin)
    grips = chosen(chart, paper.near) if paper.grips else []
    above = {chord.symbol: grip for chord, grip in grips} if paper.grips == "above" else {}
    foot = [] if above else blocks(grips, room, spelling)
    return pages(rows(chart), lines, typeset(title_of(chart)), size, spelling, foot, above)


def title_of(chart: Chart) -> str:
    """The title, or a word in its place."""
    return chart.header.title or "Untitled"


def plain(mark: Mark) -> list[Any]:
    """A mark as a short list of figures for the template, to a hundredth of a point."""
    if isinstance(mark, Text):
        return [
            "t", round(mark.x, 2), round(mark.y, 2), round(mark.size, 2), mark.face, shown(mark.text),
            int(mark.soft), round(mark.stroke, 2), int(right_to_left(mark.text)), mark.head, mark.said,
        ]  # fmt: skip
    if isinstance(mark, Line):
        figures = (mark.x1, mark.y1, mark.x2, mark.y2, mark.width)
        return ["l", *(round(v, 2) for v in figures), 0 if mark.butt else 1]
    if isinstance(mark, Shape):
        return ["p", round(mark.width, 2), [[round(x, 2), round(y, 2)] for x, y in mark.points]]
    if isinstance(mark, Dot):
        return ["c", *(round(v, 2) for v in (mark.x, mark.y, mark.radius, mark.width))]
    assert isinstance(mark, Arc)
    curve = (mark.x1, mark.y1, mark.x2, mark.y2, mark.bend, mark.thick)
    return ["a", *(round(v, 3) for v in curve)]


__all__ = ["TRANSPOSING", "layout", "set_sheet", "write"]
