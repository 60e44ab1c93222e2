"""What the desk sees in a text: mistakes and what mends them, colours, bars on the sheet, chords for a melody.

Sources: RFC 3629 and the Unicode standard, 3.9 (a character beyond U+FFFF is two units in UTF-16); common practice.
"""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.chart.parse import parse, parse_all
from backing.commands.desk_answers import answers
from backing.commands.desk_look import draw, look
from backing.commands.desk_words import words
from backing.commands.starter import starter
from backing.desk.fixes import fixes
from backing.desk.highlight import KINDS, tokens
from backing.desk.units import Units
from backing.ground.source import Severity
from backing.output.sheet.marks import Text
from backing.output.sheet.write import layout
from backing.styles.find import names, unknown
from tests.each import each

CASES = sorted((Path(__file__).parent / "cases" / "errors").glob("*"))
DEMOS = sorted((Path(__file__).parent.parent / "demo").glob("*.txt"))
TYPED = st.text(alphabet="AbG7m|:/%[]()<>!=?#\"' \n.xr𝄪♭𝄫é\u200bkey:melodyte", max_size=120)


@given(TYPED)
def test_places_count_as_a_browser_counts(text: str) -> None:
    """Of every character, against the encoding itself."""
    units = Units.of(text)
    for at in range(len(text) + 1):
        unit = len(text[:at].encode("utf-16-le", "surrogatepass")) // 2
        assert units.of_character(at) == unit
        assert units.character(unit) == at


@given(TYPED)
def test_any_text_has_tokens_that_rise_and_stay_in_their_lines(text: str) -> None:
    found = tokens(text)
    end = 0
    for start, stop, kind in found:
        assert end <= start < stop <= len(text)
        assert kind in KINDS
        assert "\n" not in text[start:stop]
        end = stop


def test_what_is_what() -> None:
    text = 'key: G # home\n[A] \n|: 3/4 "Segno" G[320033] <D7! / :| x3\nmelody: | G4 r |\nwords: | Night_ falls | |\n'
    found = [(text[a:b], kind) for a, b, kind in tokens(text)]
    assert found == [
        ("key:", "name"), ("G", "value"), ("# home", "comment"), ("[A]", "heading"), ("|:", "bar"), ("3/4", "meter"),
        ('"Segno"', "direction"), ("G[320033]", "chord"), ("<", "sign"), ("D7!", "chord"), ("/", "sign"),
        (":| x3", "bar"), ("melody:", "name"), ("|", "bar"), ("G4", "note"), ("r", "note"), ("|", "bar"),
        ("words:", "name"), ("|", "bar"), (" Night_ falls ", "words"), ("|", "bar"), (" ", "words"), ("|", "bar"),
    ]  # fmt: skip


def errors(text: str) -> int:
    return sum(d.severity is Severity.ERROR for d in parse_all(text, unknown_style=unknown)[1])


@pytest.mark.slow
def test_a_mend_mends() -> None:
    """Of every mistake that has a case: what is offered leaves one less, brings none, and three in four have an offer."""
    offered = asked = 0
    for path in CASES:
        bad = path.read_text("utf-8").partition("=== says\n")[0]
        said = parse_all(bad, "tune.txt", unknown_style=unknown)[1]
        for one in said[:1]:
            found = fixes(
                one, lambda text: parse_all(text, "tune.txt", unknown_style=unknown)[1], said
            )
            asked += 1
            offered += bool(found)
            for fix in found:
                mended = parse_all(fix.applied(bad), "tune.txt", unknown_style=unknown)[1]
                assert [d.code for d in mended].count(one.code) < [d.code for d in said].count(
                    one.code
                )
                assert errors(fix.applied(bad)) <= errors(bad)
    assert offered >= 0.7 * asked > 150


@each(("wrong", "mended"), [
    ("tmepo: 120\n| C |\n", "tempo: 120\n| C |\n"),
    ("style: bosa nova\n| C |\n", "style: bossa nova\n| C |\n"),
    ("| Am7 D7 G | C |\n", "| Am7 / D7 G | C |\n"),
    ("| C | F | Hm7 |\n", "| C | F | Bm7 |\n"),
    ("| C | F\n", "| C | F |\n"),
    ("# 𝄪𝄪\n| Dsus6 |\n", "# 𝄪𝄪\n| Dsus4 |\n"),
    ("| C |\nchoruses: 2\n", "choruses: 2\n| C |\n"),
])  # fmt: skip
def test_one_press_types_what_the_hint_says(wrong: str, mended: str) -> None:
    """The first mend of the first mistake, at its place in UTF-16."""
    fix = look(wrong)["marks"][0]["fixes"][0]
    units = wrong.encode("utf-16-le")
    typed = units[: 2 * fix["from"]] + fix["insert"].encode("utf-16-le") + units[2 * fix["to"] :]
    assert typed.decode("utf-16-le") == mended


@each("path", DEMOS, ids=lambda p: p.stem)
def test_every_bar_has_its_place_in_the_text_and_on_the_sheet(path: Path) -> None:
    text = path.read_text("utf-8")
    assert [m for m in look(text, path.name)["marks"] if m["severity"] == "error"] == []
    seen = draw(text, path.name, 400.0)
    chart = parse(text)
    bars = [bar for section in chart.sections for bar in section.bars]
    assert [text[b["at"] : b["to"]] for b in seen["bars"]] == [
        text[slice(*bar.span)] for bar in bars
    ]
    sheet = seen["sheet"]
    ET.fromstring(sheet["svg"])
    assert "style" not in sheet["svg"]  # which the page's policy would take away
    assert {at for at, *_ in sheet["bars"]} == {b["at"] for b in seen["bars"]}
    for _, x1, y1, x2, y2 in sheet["bars"]:
        assert 0 <= x1 < x2 <= sheet["wide"] + 0.01
        assert 0 <= y1 < y2 <= sheet["high"]
    json.dumps(seen)


def test_a_mistake_has_no_sheet_and_a_wanted_chord_has_no_track() -> None:
    assert draw("| C |\n| Am7 D7 G |\n")["sheet"] is None
    seen = look("| C | ? |\nmelody: | G4 | A4 |\n")
    assert (seen["wanted"], seen["track"], seen["marks"]) == (True, None, [])
    assert draw("| C | ? |\nmelody: | G4 | A4 |\n")["sheet"]["bars"]
    (page,) = layout(parse("| C | ? |\nmelody: | G4 | A4 |\n", wanted=True))
    texts = [mark.text for mark in page if isinstance(mark, Text)]
    assert "?" in texts
    assert "N.C." not in texts


def test_a_text_of_a_whole_program_is_seen_without_a_fault() -> None:
    """The source of this test, which is no chart."""
    seen = look(Path(__file__).read_text("utf-8"))
    assert seen["marks"]
    assert seen["track"] is None


def test_what_can_be_typed_is_what_the_reader_knows() -> None:
    found = words()
    assert [style["name"] for style in found["styles"]] == list(names())
    for name, values in found["values"].items():
        for value in values:
            _, said = parse_all(
                f"{name}: {value}\nkey: C\n| 1 |\n"
                if value in ("numbers", "numerals")
                else f"{name}: {value}\n| C |\n"
            )
            assert [d.code for d in said if d.code[:2] in ("E2",)] == [], (name, value)
    for quality in found["qualities"]:
        assert parse(f"| C{quality} |\n").sections
    for key in found["keys"]:
        assert parse(f"key: {key}\n| C |\n").settings.key
    for direction in found["directions"]:
        said = parse_all(f'| "{direction}" C |\n')[1]
        assert not {d.code for d in said} & {"W303", "E330"}, direction


def test_answers_write_themselves_where_a_question_stood() -> None:
    text = "key: G major\n# 𝄪\n| ? | ? C | (? D7) ? | G |\nmelody: | G4 A4 B4 D5 | E5 / D5 / | C5 B4 A4 / | G4 |\n"
    found = answers(text)
    assert len(found["answers"]) > 1
    for answer in found["answers"]:
        units = text.encode("utf-16-le")
        for change in reversed(answer["changes"]):
            units = (
                units[: 2 * change["from"]]
                + change["insert"].encode("utf-16-le")
                + units[2 * change["to"] :]
            )
        assert units.decode("utf-16-le") == answer["text"]
        assert "?" not in answer["text"]
        assert parse(answer["text"]).sections
        assert any(chord["why"] for chord in answer["chords"])


def test_a_starter_is_seen_as_a_whole_chart() -> None:
    seen = look(starter("Nine Lamps"))
    assert seen["marks"] == []
    assert seen["track"]["bars"] >= 32
