"""The printed book: title page, contents, every tune on a fresh page, index; one PDF of sheets that are laid out already.

Conventions: points, y down. Page 1 is a right-hand page, as in any bound book, so a tune of two pages begins on an even
one, and lies open; where the page before it would be left empty, it is. Pages are counted from the title page and
numbered from the contents on, at the foot. Contents and index lead to the pages that they name. All of it is one
document, so that its fonts are in it once, and the numbers of pages are known when the contents are written.
Sources: right-hand pages odd, front matter before, index last, sorted letter by letter without a leading article (common
practice of book-making).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from backing.output.book.page import key_shown
from backing.output.sheet.faces import width
from backing.output.sheet.marks import BOLD, REGULAR, Mark, placed, run, wrapped
from backing.output.sheet.page import FOOT, HEAD, PAPERS, SIDE
from backing.output.sheet.words import typeset
from backing.output.sheet.write import Laid, Link, in_short, set_pages

ROW = 17.0  # points from a line of the contents to the next
SMALL = 9.0
INDEX_ROW = 13.5
COLUMN_GAP = 24.0
DOT = width(". ", REGULAR, 7.0)  # a dot of a leader
NUMBER = 26.0  # points kept for the number of a page
_ARTICLE = re.compile(r"(The|A|An)\s+(?=\S)", re.I)


class Entry(NamedTuple):
    """A tune of a book. `sheet` is laid out; `heading` is what it stands under in the contents."""

    title: str
    by: str
    style: str
    key: str
    heading: str
    sheet: Laid


class Front(NamedTuple):
    """The words of the title page; `instrument` is "" for concert pitch."""

    title: str
    by: str
    instrument: str


class Row(NamedTuple):
    """A line of contents or index: words, softer words behind them, and the page that it leads to; a heading has page 0."""

    words: str
    beside: str
    page: int


def printed(front: Front, entries: Sequence[Entry], size: str) -> bytes:
    """The book as a PDF. Raises `OutputError`."""
    wide, high = PAPERS[size]
    per_page = int((high - HEAD - FOOT - 60) // ROW)
    rows = len(entries) + len({e.heading for e in entries if e.heading}) * 2
    opening = 1 + max(1, -(-rows // per_page))
    while True:  # headings at the foot of a page go to the next, which may take one page more
        starts, total = places(entries, opening + 1)
        contents = paged(contents_rows(entries, starts), per_page)
        if 1 + len(contents) <= opening:
            break
        opening = 1 + len(contents)
    index = index_columns(entries, starts, int((high - HEAD - FOOT - 60) // INDEX_ROW))
    pages: dict[int, Laid] = {1: in_short([title_page(front, len(entries), wide, high)])}
    links: list[Link] = []
    for number, rows_here in enumerate(contents, 2):
        marks = list_page("Contents" if number == 2 else "", [rows_here], ROW, number, links, wide)
        pages[number] = in_short([[*marks, *folio(number, wide, high)]])
    for entry, start in zip(entries, starts, strict=True):
        for n, page in enumerate(entry.sheet["pages"]):
            number = start + n
            foot = in_short([folio(number, wide, high)])
            letters = entry.sheet["letters"] + foot["letters"]
            pages[number] = Laid(
                pages=[[*page, *foot["pages"][0]]],
                letters=letters,
                language=entry.sheet["language"],
            )
    for n, columns in enumerate(index):
        number = total + n
        marks = list_page("Index" if n == 0 else "", columns, INDEX_ROW, number, links, wide)
        pages[number] = in_short([[*marks, *folio(number, wide, high)]])
    last = max(pages)
    bookmarks = [(2, 1, "Contents"), *marked(entries, starts), (total, 1, "Index")]
    laid = [pages.get(n) or in_short([folio(n, wide, high)]) for n in range(1, last + 1)]
    name = " – ".join(filter(None, [front.title, front.instrument and f"for {front.instrument}"]))
    return set_pages(laid, name, front.by, (wide, high), links=links, bookmarks=bookmarks)[0]


def places(entries: Iterable[Entry], first: int) -> tuple[list[int], int]:
    """The page on which each tune begins, from `first` on, and the page after the last.

    Two pages, or any even number of them, begin on an even page, so that they lie open.
    """
    starts, page = [], first
    for entry in entries:
        count = len(entry.sheet["pages"])
        page += page % 2 if count % 2 == 0 else 0
        starts.append(page)
        page += count
    return starts, page


def marked(entries: Sequence[Entry], starts: Sequence[int]) -> list[tuple[int, int, str]]:
    """Bookmarks of the tunes, under their headings."""
    found, heading = [], ""
    for entry, start in zip(entries, starts, strict=True):
        if entry.heading and entry.heading != heading:
            found.append((start, 1, entry.heading))
        heading = entry.heading
        found.append((start, 2 if heading else 1, entry.title))
    return found


def title_page(front: Front, count: int, wide: float, high: float) -> list[Mark]:
    """Title, maker, instrument, and how many tunes, above the middle."""
    y, marks = high * 0.32, list[Mark]()
    for words, size, face, soft in (
        (front.title, 34.0, BOLD, False),
        (front.by, 14.0, REGULAR, False),
        (
            f"for {key_shown(front.instrument)} instruments" if front.instrument else "",
            14.0,
            REGULAR,
            False,
        ),
        (f"{count} tunes" if count != 1 else "1 tune", 11.0, REGULAR, True),
    ):
        for row in wrapped(typeset(words), size, face, wide - 4 * SIDE):
            y += size * 1.3
            marks += [placed(m, 2 * SIDE, y) for m in run(row, size, face, soft=soft).marks]
        y += 8.0 if words else 0.0
    return marks


def folio(number: int, wide: float, high: float) -> list[Mark]:
    """The number of a page in the middle of its foot."""
    figures = run(str(number), 9.0)
    return [placed(m, (wide - figures.width) / 2, high - FOOT / 2) for m in figures.marks]


def contents_rows(entries: Sequence[Entry], starts: Sequence[int]) -> list[Row]:
    """The tunes in playing order under their headings."""
    rows: list[Row] = []
    heading = ""
    for entry, start in zip(entries, starts, strict=True):
        if entry.heading != heading:
            heading = entry.heading
            rows += [Row("", "", 0)] if rows else []
            rows += [Row(heading, "", 0)] if heading else []
        rows.append(Row(entry.title, entry.by, start))
    return rows


def index_rows(entries: Sequence[Entry], starts: Sequence[int]) -> list[Row]:
    """The tunes by title, by style and by key."""
    listed = sorted(
        ((sorted_as(e.title), start, e) for e, start in zip(entries, starts, strict=True)),
        key=lambda one: (one[0].casefold(), one[1]),
    )
    rows = [Row("By title", "", 0), *(Row(name, "", start) for name, start, _ in listed)]
    for what, of in (("By style", "style"), ("By key", "key")):
        rows += [Row("", "", 0), Row(what, "", 0)]
        shown = key_shown if of == "key" else str
        for group in sorted({str(getattr(e, of)) for e in entries}, key=str.casefold):
            own = [(name, start) for name, start, entry in listed if getattr(entry, of) == group]
            rows += [Row(shown(group) if not i else "", *one) for i, one in enumerate(own)]
    return rows


def sorted_as(title: str) -> str:
    """A title as an index has it.

    >>> sorted_as("The Ferry"), sorted_as("A"), sorted_as("Another Day")
    ('Ferry, The', 'A', 'Another Day')
    """
    found = _ARTICLE.match(title)
    return f"{title[found.end() :]}, {found[1]}" if found else title


def paged(rows: Sequence[Row], per_page: int) -> list[list[Row]]:
    """Rows in pages or columns; none begins with a gap, and no heading is left at the foot of one."""
    found: list[list[Row]] = [[]]
    for i, row in enumerate(rows):
        left = per_page - len(found[-1])
        lonely = bool(row.words) and not row.page and left < 2 and i + 1 < len(rows)
        if left < 1 or lonely:
            found.append([])
        if row.words or row.beside or found[-1]:
            found[-1].append(row)
    return found


def index_columns(
    entries: Sequence[Entry], starts: Sequence[int], per_column: int
) -> list[list[list[Row]]]:
    """The index in pages of two columns."""
    columns = paged(index_rows(entries, starts), per_column)
    return [columns[i : i + 2] for i in range(0, len(columns), 2)]


def list_page(
    title: str,
    columns: Sequence[Sequence[Row]],
    step: float,
    number: int,
    links: list[Link],
    wide: float,
) -> list[Mark]:
    """A page of rows in one column, or two where the rows are those of an index; what leads on is noted in `links`."""
    marks: list[Mark] = []
    if title:
        marks += [placed(m, SIDE, HEAD + 22.0) for m in run(title, 22.0, BOLD).marks]
    two = step == INDEX_ROW
    room = (wide - 2 * SIDE - (COLUMN_GAP if two else 0)) / (2 if two else 1)
    for n, column in enumerate(columns):
        left, y = SIDE + n * (room + COLUMN_GAP), HEAD + 46.0
        for row in column:
            y += step
            marks += [placed(m, left, y) for m in list_row(row, room, 9.5 if two else 11.0, two)]
            if row.page:
                links.append(Link(number, (left, y - step * 0.8, room, step), row.page))
    return marks


def list_row(row: Row, room: float, size: float, two: bool) -> list[Mark]:
    """A line of a list on its baseline: words, what stands beside them, a leader, and the page."""
    if not row.page:
        return list(run(typeset(row.words), size, BOLD).marks)
    third = room * 0.38
    first = fitting(row.words, size, REGULAR, third - 6 if two and row.beside else room * 0.62)
    words = run(first, size, soft=two and bool(row.beside))
    at = third if two and row.beside else words.width + 8
    beside = run(
        fitting(row.beside, size if two else SMALL, REGULAR, room - at - NUMBER - 8),
        size if two else SMALL,
        soft=not two,
    )
    figures = run(str(row.page), size)
    ends = max(words.width, at + beside.width if row.beside else 0.0) + 6
    marks = [*words.marks, *(placed(m, at, 0.0) for m in beside.marks)]
    if room - NUMBER > ends:
        dots = run(". " * int((room - NUMBER - ends) / DOT), 7.0, soft=True)
        marks += [placed(m, room - NUMBER - dots.width, 0.0) for m in dots.marks]
    return [*marks, *(placed(m, room - figures.width, 0.0) for m in figures.marks)]


def fitting(words: str, size: float, face: int, room: float) -> str:
    """Words, cut with an ellipsis where they are wider than their room."""
    told = typeset(words)
    rows = wrapped(told, size, face, room)
    if len(rows) < 2:
        return told
    return (wrapped(told, size, face, room - size) or [""])[0].rstrip(" ,;") + "…"


__all__ = ["Entry", "Front", "printed"]
