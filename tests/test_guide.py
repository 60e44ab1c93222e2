"""The guide: every example runs, and nothing that can be typed is missing from its page.

What must be told is taken from the program's own tables, so that a new setting, word, option or style fails here until
it is written about.
"""

from __future__ import annotations

import inspect
import json
import re
import shlex
from collections.abc import Iterable
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

import pdfplumber
import pytest
import typer

import backing
from backing.chart import lex
from backing.chart import values as chart_values
from backing.chart.ast import EndingKind
from backing.chart.settings import SETTINGS
from backing.chart.words import WORDS
from backing.commands import guide, guide_codes
from backing.commands import values as v
from backing.commands.book.choices import BookChoices
from backing.commands.choices import Choices
from backing.commands.cli import COMMANDS, program, run
from backing.commands.guide_codes import KNOWN
from backing.commands.guide_codes import examples as charts_of_codes
from backing.commands.guide_gallery import demos
from backing.commands.options import TABLE, options
from backing.commands.planned import ENDINGS
from backing.commands.screen import KEYS
from backing.ground.pitch import MODES
from backing.ground.roles import ROLES
from backing.ground.timebase import DYNAMICS
from backing.harmonising.palette import MANNERS
from backing.output import gallery
from backing.output.sound import engine, soundfont
from backing.reading.asked import NOTATIONS, READ_AS
from backing.reading.opened import READABLE
from backing.styles import algorithms, find, load, model, parts, shelf
from backing.timeline.passes import GAP_PLAYS, read_gap, read_ladder, read_through
from tests.each import each

STYLES = find.names()
PAGES = Path(backing.__file__).parent / "guide"
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.M | re.S)

# what a piece of a bar is, as the lexer names it: how the page shows it
SIGNS = {
    "text": '`"words"`', "quote": '`"words"`', "open": "`(F7 F7#5)`", "close": "`(F7 F7#5)`", "push": "`<`",
    "meter": "`3/4`", "word": "`/` holds", "colon": "`melody:`",
}  # fmt: skip
IN_WORDS = ("`/`", "`%`", "`%2`", "`N.C.`", "`!`", "`=`", "`?`", "`[x02210]`", "`#`", "`:| x3`", "`|1.`", "`|1-3.`", "`|last.`", "`| 3/4 C |`", "`[A]`")  # fmt: skip


@cache
def text(topic: str) -> str:
    return guide.whole(topic).text


def examples(kind: str) -> list[tuple[str, str]]:
    """Page and text of every fenced block of a kind."""
    return [
        (topic, found[2])
        for topic in guide.TOPICS
        for found in BLOCK.finditer(guide.page(topic).text)
        if found[1] == kind
    ]


def lines(kind: str) -> list[tuple[str, str]]:
    return [(topic, line) for topic, block in examples(kind) for line in block.splitlines()]


def missing(page: str, names: Iterable[str]) -> list[str]:
    """The names that stand nowhere on a page as a word of their own."""
    return [n for n in names if not re.search(rf"(?<![\w-]){re.escape(n)}(?![\w])", page)]


def test_every_page_is_a_topic_and_every_topic_has_a_page() -> None:
    assert sorted(guide.TOPICS) == sorted(path.stem for path in PAGES.glob("*.md"))


@each("topic", guide.TOPICS)
def test_a_page_begins_with_a_title_and_one_line_about_it(topic: str) -> None:
    page = guide.page(topic)
    assert page.text.startswith(f"# {page.title}\n\n")
    assert 20 <= len(page.about) <= 110
    assert page.about.endswith(".")


def test_there_are_examples_to_look_at() -> None:
    assert len(examples("chart")) >= 15
    assert len(lines("sh")) >= 40
    assert {kind for topic in guide.TOPICS for kind, _ in BLOCK.findall(text(topic))} == {
        "chart", "sh", "toml", "text",
    }  # fmt: skip


@each("topic, chart", examples("chart"))
def test_every_chart_is_read_without_a_word_and_can_be_played(topic: str, chart: str) -> None:
    read = backing.parse(chart, f"{topic}.txt")
    assert [w.render() for w in read.warnings] == []
    assert backing.unroll(read).bars
    assert backing.style(read)


@each("topic, line", lines("sh"))
def test_every_command_is_a_command_with_options_it_knows(topic: str, line: str) -> None:
    name, *words = shlex.split(line.removeprefix("backing "))
    assert line.startswith("backing ")
    group: Any = typer.main.get_command(program([name]))
    given = group.commands[name].make_context(name, words).params
    if "wish" in inspect.signature(COMMANDS[name]).parameters:
        wish = options(name, **{option.name: given[option.name] for option in TABLE})
        style = wish.form.style or "straight-ahead swing"
        assert style in STYLES or style == "./mine.toml"
    if given.get("ladder"):
        assert read_ladder(given["ladder"])
    if given.get("gap"):
        assert read_gap(given["gap"], given["gap_plays"])
    if given.get("through"):
        assert read_through(given["through"], backing.parse("key: C major\n| C |").settings.key)
    out = given.get("out") or ()
    for path in [out] if isinstance(out, str | Path) else out:
        own = {"lesson": ".zip", "book": ""}.get(name, ".mp3")
        assert Path(path).suffix in (*ENDINGS, own)


@each("topic, written", examples("toml"))
def test_every_toml_is_a_style_or_the_choices_of_a_lesson_or_a_book(
    topic: str, written: str
) -> None:
    import tomllib

    table = tomllib.loads(written)
    if kind := {"lesson", "book"} & table.keys():
        (name,) = kind
        choices = Choices() if name == "lesson" else BookChoices()
        usual = {f.name: getattr(choices, f.name) for f in fields(choices)}
        told = {k: tuple(v) if isinstance(v, list) else v for k, v in table[name].items()}
        assert told == usual
    else:
        assert load.load_text(written, f"{topic}.toml").parts


@each("topic", ("charts", "cheat-sheet"))
def test_every_setting_is_told(topic: str) -> None:
    assert missing(text(topic), [f"{name}:" for name in (*SETTINGS, *lex.UNDER)]) == []


def test_every_setting_of_sections_is_marked_and_no_other() -> None:
    told = {
        m[1]: m[0]
        for m in re.finditer(r"^- `([a-z-]+):`.*?(?=^-|^\s*$)", text("charts"), re.M | re.S)
    }
    for name, setting in SETTINGS.items():
        assert ("(*section*)" in told[name]) is not setting.chart_only, name


def test_every_value_of_a_setting_is_told() -> None:
    page = text("charts")
    words = [*MODES, *ROLES, *DYNAMICS, *NOTATIONS, *(kind.value for kind in EndingKind)]
    words += [
        *chart_values._NOTES,
        "straight",
        "swing",
        "swing 16",
        "shuffle",
        "swing 3:2",
        "swing 16 3:2",
    ]
    words += ["2-3", "3-2", "full", "none", "english", "german", "latin", "off", "all but"]
    assert missing(page, words) == []


@each("name", WORDS)
def test_every_word_that_is_obeyed_is_told(name: str) -> None:
    shown = {"tacet": "tacet guitar", "at": "at 5"}.get(name, name)
    assert f'`"{shown}"`' in text("charts")
    assert f'`"{shown}"`' in text("cheat-sheet")
    assert WORDS[name].sign in text("charts")


def test_every_sign_is_told() -> None:
    page = text("charts")
    bars = re.search(r"\(\?P<bar>(.+?)\)\n", lex._TOKEN.pattern)
    assert bars
    lines_of_bars = [re.sub(r"\\", "", sign) for sign in re.split(r"(?<!\\)\|", bars[1])]
    assert len(lines_of_bars) == 10
    assert [sign for sign in lines_of_bars if f"`{sign}`" not in page] == []
    kinds = set(lex._TOKEN.groupindex) - {"bar"}
    assert kinds == set(SIGNS)
    assert [sign for sign in (*SIGNS.values(), *IN_WORDS) if sign not in page] == []


def flags(name: str) -> set[str]:
    """Every spelling of every option of a command."""
    group: Any = typer.main.get_command(program([name]))
    return {
        flag
        for parameter in group.commands[name].params
        if parameter.param_type_name == "option"
        for flag in parameter.opts
    }


@each("name", COMMANDS)
def test_every_option_of_a_command_is_told(name: str) -> None:
    page = text("options")
    assert missing(page, flags(name)) == []
    assert f"`{name}`" in page


def test_what_every_option_takes_is_told() -> None:
    page = text("options")
    words = [*v.CLICKS, *v.TRANSPOSING, *v.PAPERS, *v.STEM_KINDS, *v.ENDINGS, *NOTATIONS]
    words += [*MANNERS, *GAP_PLAYS]
    assert missing(page, [*words, *READ_AS, *ENDINGS]) == []
    assert missing(page, [f.name for f in fields(Choices)]) == []
    assert missing(page, [soundfont.VARIABLE, engine.VARIABLE, "BACKING_STYLES", "NO_COLOR"]) == []
    assert "BACKING_STYLES" in Path(str(shelf.__file__)).read_text("utf-8")


def test_every_key_of_the_keyboard_is_told() -> None:
    page = text("options")
    spans = {word for span in re.findall(r"`([^`]+)`", page) for word in (span, *span.split())}
    assert [key for keys, _ in KEYS for key in keys.split() if key not in spans] == []


def test_every_format_that_is_read_is_told() -> None:
    shown = [e for e in READABLE if e not in (".txt", ".midi", ".chordpro", ".chopro")]
    assert missing(text("recipes"), shown) == []


def test_everything_that_a_style_can_say_is_told() -> None:
    page = text("styles")
    keys = (*load.KEYS, *load.IDEA_KEYS, *parts.PART_KEYS, *parts.DRUM_PATTERN_KEYS)
    ways = [way for ways in algorithms.ALGORITHMS.values() for way in ways]
    settings = [name for own in algorithms.SETTINGS.values() for name in own]
    places = [w.value for w in model.Where]
    words = (*keys, *ways, *settings, *places, *model.ENERGIES, *model.SIDES, *load.GRIDS)
    assert missing(page, words) == []


def test_every_style_is_told() -> None:
    assert missing(text("styles"), STYLES) == []


@each("code", KNOWN)
def test_every_code_is_told_in_words(code: str) -> None:
    told = re.search(rf"^- \*\*{code}\*\* (.+)$", text("codes"), re.M)
    assert told
    assert len(re.findall(r"\w+", told[1])) >= 2
    assert len(re.findall(r"\w+", guide_codes.sentence(code))) >= 2
    assert "{" not in told[1] or "{" in charts_of_codes().get(code, "")


# found by sheer size, or in what nobody can see, or only in MIDI
WITHOUT = {"E704", "E901", "E902", "E903", "E904", "E905", "E906", "E908", "W704"}


def test_every_code_that_a_chart_can_show_has_its_chart() -> None:
    assert set(charts_of_codes()) == set(KNOWN) - WITHOUT


@each("code", charts_of_codes())
def test_the_chart_of_a_code_gets_it(code: str) -> None:
    answered = guide_codes.shown(code)
    assert answered is not None
    page = guide.found(code.lower()).text
    assert answered.render() in page
    assert charts_of_codes()[code].strip() in page


def test_every_code_of_a_style_file_is_told() -> None:
    sources = (Path(backing.__file__).parent / "styles").glob("*.py")
    codes = {
        code for path in sources for code in re.findall(r'"(S\d{3})"', path.read_text("utf-8"))
    }
    assert codes
    assert {
        code for code in codes if not re.search(rf"^\| {code} \| \w.{{20,}}", text("styles"), re.M)
    } == set()


def test_without_a_topic_it_lists_them(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["guide"]) == 0
    shown = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in shown[: len(guide.TOPICS)]] == list(guide.TOPICS)
    assert run(["guide", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [one["topic"] for one in listed] == list(guide.TOPICS)
    assert all(set(one) == {"topic", "title", "about"} for one in listed)


@each("words", (["cheat-sheet"], ["Cheat", "Sheet"], ["CHEAT SHEET"], ["cheat"]))
def test_a_topic_is_shown_as_it_is_written(words: list[str]) -> None:
    assert guide.found(" ".join(words)).text == (PAGES / "cheat-sheet.md").read_text("utf-8")


def test_elsewhere_than_on_a_terminal_a_page_is_plain_text(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["guide", "charts"]) == 0
    assert capsys.readouterr().out == (PAGES / "charts.md").read_text("utf-8")
    assert run(["guide", "charts", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["title"] == "The chart language"
    assert shown["text"] == (PAGES / "charts.md").read_text("utf-8")


def test_on_a_terminal_nothing_of_a_page_is_lost(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    for topic in guide.TOPICS:
        page = text(topic)
        guide._set(page)
        shown = capsys.readouterr().out
        assert max(map(len, shown.splitlines())) <= guide.WIDEST
        joined = "".join(shown.split())
        spans = re.findall(r"`([^`\n]+)`", BLOCK.sub("", page))
        assert [s for s in spans if "".join(s.split()) not in joined] == []


@each(
    "typed, said",
    (
        ("chrats", "Did you mean 'charts'?"),
        ("receipes", "Did you mean 'recipes'?"),
        ("xyzzy", "choose one of first-chart,"),
    ),
)
def test_an_unknown_topic_is_answered_with_the_nearest(typed: str, said: str) -> None:
    with pytest.raises(backing.BackingError) as wrong:
        guide.found(typed)
    assert said in str(wrong.value)
    assert wrong.value.exit_code == 2


def test_the_readme_leads_to_every_page() -> None:
    readme = (PAGES.parent.parent / "README.md").read_text("utf-8")
    led = set(re.findall(r"\(backing/guide/([a-z-]+)\.md\)", readme))
    assert led == set(guide.TOPICS) - {"codes"}  # whose list is made when it is shown
    assert "`backing guide codes`" in readme


def test_a_code_is_explained_as_the_guide_has_it(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["explain", "E104"]) == 0
    assert capsys.readouterr().out == guide.found("E104").text
    assert run(["explain", "e999"]) == 2
    assert "the guide has no page 'e999'" in capsys.readouterr().err
    Path("E104").write_text("| C |", "utf-8")  # a chart of that name is a chart
    assert run(["explain", "E104", "--only", "bass"]) == 0
    assert "bass" in capsys.readouterr().out


def test_a_page_is_printed_with_nothing_lost(tmp_path: Path) -> None:
    others = ("codes", "gallery")  # one holds full-width signs, the other is charts and pictures
    for topic in (name for name in guide.TOPICS if name not in others):
        path = tmp_path / f"{topic}.pdf"
        assert run(["guide", topic, "-o", str(path)]) == 0
        with pdfplumber.open(path) as pdf:
            assert pdf.metadata["Title"] == guide.page(topic).title
            joined = "".join("".join((p.extract_text() or "").split()) for p in pdf.pages)
            if topic == "cheat-sheet":
                assert len(pdf.pages) == 1
        lines = [line for _, block in BLOCK.findall(text(topic)) for line in block.splitlines()]
        shown = [line for line in lines if len(line) < 80]
        assert [s for s in shown if "".join(s.split()) not in joined] == []


def test_a_page_in_pdf_is_the_same_every_time_and_takes_no_other_s_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.pdf"
    assert run(["guide", "sounds", "-o", str(path)]) == 0
    first = path.read_bytes()
    assert run(["guide", "sounds", "-o", str(path)]) == 0
    assert path.read_bytes() == first
    path.write_text("mine", "utf-8")
    assert run(["guide", "sounds", "-o", str(path)]) == 4
    assert path.read_text("utf-8") == "mine"
    assert run(["guide", "sounds", "-o", str(path), "--force"]) == 0
    assert path.read_bytes() == first
    assert run(["guide", "sounds", "-o", str(tmp_path / "x.docx")]) == 4
    assert "is written as .pdf" in capsys.readouterr().err
    assert run(["guide", "-o", str(path)]) == 2
    assert "say which page is to be written" in capsys.readouterr().err


@each(
    "typed, words",
    (
        ("capo", "- `capo:` the fret."),
        ("capo:", "`--capo 3`"),
        ("Count-In", "- `count-in:` bars of count-in"),
        ('"rit."', '- `"rit."`: slower until the section ends'),
        ("!", "- `!` behind a chord"),
        ("|:", "- `|:` and `:|` repeat"),
        ("--ladder", "- `--ladder 60:100:5`"),
        ("second endings", "- `|1.` and `|2.` begin the first and the second ending"),
        ("lyrics", "- `words:` free text"),
        ("syllables", "`har-bour oh__ now`"),
        ("stems_as", ""),
    ),
)
def test_a_word_or_a_sign_is_looked_up(typed: str, words: str) -> None:
    if not words:  # it stands in a piece of code alone
        with pytest.raises(backing.BackingError):
            guide.found(typed)
    else:
        assert words in guide.found(typed).text


def test_every_setting_and_direction_is_found_by_its_name() -> None:
    for name in (*SETTINGS, *lex.UNDER):
        assert f"`{name}:`" in guide._told(name).text, name  # type: ignore[union-attr]
    for name in (n for n in WORDS if n not in ("tacet", "at")):
        assert f'`"{name}"`' in guide._told(name).text, name  # type: ignore[union-attr]


# ------------------------------------------------------------------------------------------------ the gallery


def test_the_gallery_shows_every_demo_as_it_is_typed() -> None:
    shown = guide.found("gallery").text
    files = sorted((PAGES.parent.parent / "demo").glob("*.txt"))
    assert len(files) == len(demos()) >= 19
    for path in files:
        remark, rest = path.read_text("utf-8").split("\n", 1)
        assert remark.startswith("# "), path.name
        assert f"## {path.name}\n\n{remark[2:]}\n\n```text\n{rest.strip()}\n```" in shown


def test_the_gallery_is_printed_with_charts_beside_their_sheets(tmp_path: Path) -> None:
    """Two of its charts; the sheet is a picture, so its letters are those of the chart."""
    made = tmp_path / "gallery.pdf"
    gallery.write(demos()[:2], "About it.", made)
    first = made.read_bytes()
    with pdfplumber.open(made) as read:
        assert len(read.pages) == 2
        for page, one in zip(read.pages, demos(), strict=False):
            words = page.extract_text()
            assert one.name in words
            assert "".join(one.about.split()) in "".join(words.split())
            right = page.crop((page.width / 2, 0, page.width, page.height))
            assert len(right.curves) + len(right.lines) + len(right.rects) > 30
    gallery.write(demos()[:2], "About it.", made)
    assert made.read_bytes() == first
    with pytest.raises(backing.BackingError, match=r"is written as \.pdf"):
        gallery.write((), "", tmp_path / "gallery.txt")
