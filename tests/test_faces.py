"""Letters of every script on the sheet, from the fonts that ship here and no others; what none has is said.

Sources: Unicode 15 (blocks of the scripts, bidirectional classes); widths against fontTools; what is drawn against the
text that pdfplumber reads back and the fonts that it finds embedded.
"""

from __future__ import annotations

import io
import itertools
from pathlib import Path

import pdfplumber
import pytest
from fontTools.ttLib import TTFont

from backing.chart.ast import Chart
from backing.chart.parse import parse
from backing.commands.cli import run
from backing.ground.errors import OutputError
from backing.output.asked import CONCERT
from backing.output.bundle import Renewal
from backing.output.sheet import faces, marks
from backing.output.sheet.faces import FONTS, SCRIPTS, families, missing, shown, width, writing
from backing.output.sheet.marks import BOLD, REGULAR, Text, pieces, wrapped
from backing.output.sheet.unseen import unseen
from backing.output.sheet.write import layout, set_sheet

# script, a title in it, the font that draws it
TITLES = [
    ("Greek", "Το τραγούδι της νύχτας", "Greek"),
    ("Greek with breathings", "ᾠδὴ νυκτός", "Greek"),
    ("Cyrillic", "Песня ночи, її пісня", "Inter"),
    ("Hebrew", "שיר הלילה", "Hebrew"),
    ("Arabic", "أغنية الليل", "Arabic"),
    ("Thai", "เพลงกลางคืน", "Thai"),
    ("Vietnamese", "Bài hát đêm", "Inter"),
]


def chart(title: str, remark: str = "slowly") -> Chart:
    return parse(f'title: {title}\nkey: C major\n[A]\n| C "{remark}" | G7 |\n', "t.txt")


def embedded(pdf: bytes) -> set[str]:
    """The names of the fonts in a PDF, without the six letters that mark a subset."""
    with pdfplumber.open(io.BytesIO(pdf)) as opened:
        return {c["fontname"].rpartition("+")[2] for page in opened.pages for c in page.chars}


@pytest.mark.parametrize(("script", "title", "font"), TITLES)
def test_a_script_is_drawn_with_the_font_that_ships_for_it(
    script: str, title: str, font: str
) -> None:
    assert missing(title) == []
    assert unseen(chart(title), CONCERT) == ()
    fonts = embedded(set_sheet(chart(title))[0])
    assert any(font in name for name in fonts), fonts
    assert all(name.startswith(("Inter", "NotoSans", "NotoMusic")) for name in fonts), fonts


@pytest.mark.parametrize(("family", "file"), SCRIPTS)
def test_every_script_has_a_regular_and_a_bold_face_of_its_family(family: str, file: str) -> None:
    regular, bold = TTFont(FONTS / file), TTFont(FONTS / file.replace("Regular", "Bold"))
    for font, weight in ((regular, 400), (bold, 700)):
        assert font["name"].getDebugName(1) == family
        assert font["OS/2"].usWeightClass == weight
    assert regular.getBestCmap().keys() == bold.getBestCmap().keys()
    em = regular["head"].unitsPerEm
    first = SCRIPTS[: SCRIPTS.index((family, file))]
    earlier = {c for _, f in first for c in TTFont(FONTS / f).getBestCmap()}
    for code, glyph in regular.getBestCmap().items():
        if chr(code) not in faces.advances(REGULAR) and code not in earlier:
            assert width(chr(code), REGULAR) == pytest.approx(regular["hmtx"][glyph][0] / em)


def test_what_is_written_from_right_to_left_reads_so_and_keeps_its_signs() -> None:
    """The first letter of a Hebrew title stands rightmost; a flat stays behind its letter."""
    pdf = set_sheet(chart("שיר ב B♭"))[0]
    with pdfplumber.open(io.BytesIO(pdf)) as opened:
        big = [c for c in opened.pages[0].chars if c["size"] > 18]
    at = {c["text"]: c["x0"] for c in big}
    assert at["ש"] > at["י"] > at["ר"] > at["B"]
    flat = next(x for text, x in at.items() if "♭" in text)
    assert flat > at["B"]
    assert faces.right_to_left("(שיר) blues")
    assert not faces.right_to_left("Blues (שיר)")
    assert not faces.right_to_left("12")


def test_what_no_font_has_is_a_warning_with_its_place_for_each_line(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(faces, "CJK_PACKAGE", "no_such_package")
    faces.cjk_font.cache_clear()
    faces.of_cjk.cache_clear()
    tune = chart("月の船 in C", "ゆっくり 𐎀")
    found = unseen(tune, CONCERT)
    assert [(d.code, d.line, d.column, d.severity.value) for d in found] == [
        ("W901", 1, 8, "warning"),
        ("W901", 4, 6, "warning"),
    ]
    assert found[0].message == "no font of the sheet has 月の船, so question marks stand there"
    assert "pip install 'backing[cjk]'" in found[0].hint
    with pdfplumber.open(io.BytesIO(set_sheet(tune)[0])) as opened:
        assert "??? in C" in opened.pages[0].extract_text()
    comment = parse("title: Kettle  # 月\n[A]\n| C |\n", "t.txt")
    assert unseen(comment, CONCERT) == ()
    faces.cjk_font.cache_clear()
    faces.of_cjk.cache_clear()


def test_the_command_says_it_where_a_sheet_is_made_and_nowhere_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("t.txt").write_text("title: 𐎀 blues\nkey: C major\n| C | G7 |\n", "utf-8")
    assert run(["make", "t.txt", "-o", "t.mid"]) == 0
    assert "W901" not in capsys.readouterr().err
    assert run(["make", "t.txt", "-o", "t.pdf"]) == 0
    said = capsys.readouterr().err
    assert "t.txt:1:8: W901 no font of the sheet has 𐎀" in said
    assert "write it in other letters" in said


def test_every_sheet_that_is_written_is_looked_at_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("t.txt").write_text("title: 𐎀 blues\nkey: C major\n| C | G7 |\n", "utf-8")
    all_off = [
        "without",
        "stems",
        "loops",
        "page",
        "midi",
        "captions",
        "timeline",
        "chart",
        "bass_and_drums",
    ]
    nothing = "[lesson]\nspeeds = [50]\n" + "".join(f"{name} = false\n" for name in all_off)
    for sheets, count in (("[]", 0), ('["Bb"]', 1), ('["concert", "Bb", "Eb"]', 1)):
        Path("c.toml").write_text(f"{nothing}sheets = {sheets}\n")
        monkeypatch.setattr("backing.output.bundle.renew", lambda *a, **k: Renewal((), (), (), ()))
        assert run(["lesson", "t.txt", "-o", f"L{sheets}", "--choices", "c.toml"]) == 0
        assert capsys.readouterr().err.count("W901") == count


def test_the_name_of_a_style_file_is_on_the_sheet_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("t.txt").write_text("key: C major\n| C | G7 |\n", "utf-8")
    Path("𐎀.toml").write_text('like = "bossa nova"\n', "utf-8")
    assert run(["make", "t.txt", "-o", "t.pdf", "--style", "𐎀.toml"]) == 0
    assert "t.txt:1:1: W901 no font of the sheet has 𐎀" in capsys.readouterr().err


def test_a_font_for_chinese_japanese_and_korean_is_taken_from_its_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A collection with the Thai face in it stands in for the big one: found, read, and named last."""
    package = tmp_path / "some_fonts"
    package.mkdir()
    (package / "__init__.py").write_text("")
    thai = (FONTS / SCRIPTS[3][1]).read_bytes()
    moved = bytearray(thai)
    count = int.from_bytes(thai[4:6], "big")
    for at in range(12, 12 + 16 * count, 16):  # tables of a collection count from its start
        offset = int.from_bytes(thai[at + 8 : at + 12], "big") + 16
        moved[at + 8 : at + 12] = offset.to_bytes(4, "big")
    head = b"ttcf\0\1\0\0" + (1).to_bytes(4, "big") + (16).to_bytes(4, "big")
    (package / "NotoSansCJK-VF.otf.ttc").write_bytes(head + moved)
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(faces, "CJK_PACKAGE", "some_fonts")
    faces.cjk_font.cache_clear()
    faces.of_cjk.cache_clear()
    try:
        assert faces.of_cjk() == set(map(chr, TTFont(FONTS / SCRIPTS[3][1]).getBestCmap()))
        assert families("ら")[-1] == "Noto Sans CJK JP"
        assert faces.folders() == [FONTS, package]
    finally:
        faces.cjk_font.cache_clear()
        faces.of_cjk.cache_clear()


@pytest.mark.parametrize(
    ("text", "told"), [("月の船", "JP"), ("밤의 月", "KR"), ("月船", "SC"), ("Blues", "SC")]
)
def test_the_shapes_of_shared_signs_follow_the_writing_around_them(text: str, told: str) -> None:
    assert writing(text) == told


def test_letters_that_are_drawn_stay_as_they_are() -> None:
    assert shown("Blues ♭ שיר\u200e") == "Blues ♭ שיר\u200e"
    assert shown("𐎀 b") == "? b"


# time


def test_unbroken_text_is_cut_in_steps_that_grow_with_its_length(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Sizes 1, 2, 4, 8: characters that are measured, counted; twice the text, twice the work."""
    real = marks.width
    measured = 0

    def counting(text: str, face: int, size: float = 1.0) -> float:
        nonlocal measured
        measured += len(text)
        return real(text, face, size)

    monkeypatch.setattr(marks, "width", counting)
    counts = []
    for size in (1, 2, 4, 8):
        measured = 0
        rows = wrapped("x" * 500 * size, 22.0, BOLD, 500.0)
        assert "".join(rows) == "x" * 500 * size
        counts.append(measured)
    assert all(later <= 2.1 * before for before, later in itertools.pairwise(counts))


def test_rows_are_as_wide_as_the_room_and_never_wider() -> None:
    text = "A tune with words of many lengths and incomprehensibilities of one " * 4
    for row in wrapped(text, 10.0, REGULAR, 90.0):
        assert width(row, REGULAR, 10.0) <= 90.0 + 1e-6
    assert " ".join(wrapped(text, 10.0, REGULAR, 300.0)) == " ".join(text.split())
    assert pieces("ab", 10.0, REGULAR, 0.1) == [
        ("a", width("a", REGULAR, 10.0)),
        ("b", pytest.approx(width("b", REGULAR, 10.0))),
    ]
    assert wrapped("", 10.0, REGULAR, 90.0) == []


def test_a_title_longer_than_a_page_goes_on_on_the_next() -> None:
    pages = layout(chart("x" * 5000))
    letters = [
        sum(m.text.count("x") for m in p if isinstance(m, Text) and m.size > 20) for p in pages
    ]
    assert sum(letters) == 5000
    assert len(pages) > 3
    for page in pages:
        assert all(m.y < 842 - 20 for m in page if isinstance(m, Text))


def test_words_that_fill_more_than_a_page_are_refused() -> None:
    with pytest.raises(OutputError, match="fill more than a page; shorten them"):
        layout(chart("Kettle", "r" * 9000))
