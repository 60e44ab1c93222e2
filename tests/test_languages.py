"""The language of titles and words: read from the chart, told to readers of the PDF and of the page.

Sources: BCP 47 (RFC 5646) for tags; WCAG 2.2, 3.1.1 and 3.1.2, for documents and parts that name their language;
ISO 32000-1, 14.9.2, for `Lang` in a PDF.
"""

from __future__ import annotations

import re

from backing.chart.parse import parse
from backing.chart.write import write
from backing.ground.languages import NAMED, is_tag, meant
from backing.output.page.data import page_data
from backing.output.page.write import text
from backing.output.sheet.write import set_sheet
from tests.band import performed
from tests.each import each

TUNE = "title: Am Wasser\nlanguage: de\n| C | G | C |\nwords: | Stil- | ler | Fluss |\n"


def test_a_chart_names_the_language_of_its_words() -> None:
    chart = parse(TUNE)
    assert chart.header.language == "de"
    assert "language: de" in write(chart)
    assert parse("| C |\n").header.language == ""


@each(
    "typed, tag",
    [("Japanese", "ja"), ("français", "fr"), ("DE", "de"), ("pt_br", "pt-BR"), ("ja", "ja")],
)
def test_what_people_type_is_answered_with_its_tag(typed: str, tag: str) -> None:
    assert meant(typed) == tag
    assert is_tag(tag)


def test_every_name_has_a_tag() -> None:
    assert all(is_tag(tag) for tag in NAMED.values())


@each("source, tag", [(TUNE, b"de"), ("title: By the Water\n| C |\n", b"en")])
def test_the_pdf_says_its_language(source: str, tag: bytes) -> None:
    [pdf] = set_sheet(parse(source))
    assert re.findall(rb"/Lang\s*\(([a-zA-Z-]+)\)", pdf) == [tag]


def test_the_page_marks_title_and_words() -> None:
    data = page_data(performed(TUNE, None), parse(TUNE), {})
    page = text(data, {})
    assert '<html lang="en">' in page  # its own words are English
    assert '<h1 id="title" dir="auto" lang="de">Am Wasser</h1>' in page
    assert "lang: data.language }, words)" in page
    assert data["language"] == "de"
