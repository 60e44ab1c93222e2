"""Words with chords over them and ChordPro, in and out.

Three songs of our own, each typed in the ten habits that people have (common practice), and single lines for the rules.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from backing.chart.ast import Chart
from backing.chart.parse import parse
from backing.ground.errors import ChartError
from backing.output import words as out
from backing.reading.asked import Reading
from backing.reading.opened import format_of
from backing.reading.words import looks_like_words
from tests.each import each
from tests.foreign import codes, cut_out, music, read, settings

Line = tuple[tuple[str, str], ...]  # chords, each with the words from it on
Song = tuple[tuple[str, tuple[Line, ...]], ...]  # sections

KETTLE: Song = (
    ("Verse 1", ((("C", "Kettle on the "), ("G", "fire")), (("Am", "water in the "), ("F", "well")))),
    ("Chorus", ((("F", "Sing it "), ("C", "low and "), ("G7", "sing it slow")),)),
    ("Verse 2", ((("C", "Ashes on the "), ("G/B", "table")), (("Am7", "letters on the "), ("Fmaj7", "floor")))),
)  # fmt: skip
HARBOUR: Song = (
    ("Intro", ((("Em", ""), ("D", ""), ("Em", "")),)),
    ("Verse", ((("Em", "Lamp upon the "), ("D", "harbour")), (("C", "waiting for the "), ("B7", "tide again")))),
    ("Bridge", ((("Am", "Nobody "), ("Em", "answers, "), ("F#m7b5", "nobody "), ("B7", "calls")),)),
)  # fmt: skip
STAIRS: Song = (
    ("Verse", ((("Bb", "Counting all the "), ("Eb6", "stairways")), (("Cm7", "going down to "), ("F7sus4", "sea")))),
    ("Chorus", ((("Gm", "Carry me "), ("Eb", "over, "), ("Bb/D", "carry me "), ("F", "home")), (("Gm", "Leave me "), ("Bb", "there")))),
)  # fmt: skip
SONGS = {"kettle": KETTLE, "harbour": HARBOUR, "stairs": STAIRS}


def over(line: Line, between: str = " ") -> str:
    """Chords over the words."""
    above = below = ""
    for chord, sung in line:
        width = max(len(above) + (1 if above else 0), len(below))
        above = above.ljust(width) + chord
        below = below.ljust(width) + sung
        if not sung:
            above += between
    return f"{above.rstrip()}\n{below}".rstrip()


def typed(song: Song, heading: Callable[[str], str], line: Callable[[Line], str]) -> str:
    return "\n\n".join("\n".join([heading(name), *map(line, lines)]) for name, lines in song) + "\n"


def inline(line: Line, sign: str = "[{}]") -> str:
    return "".join(sign.format(chord) + (sung or " ") for chord, sung in line)


def pro(song: Song) -> str:
    return typed(song, lambda n: f"{{start_of_verse: {n}}}", inline).replace(
        "\n\n", "\n{end_of_verse}\n\n"
    )


HABITS: dict[str, Callable[[Song], str]] = {
    "boxes": lambda s: typed(s, lambda n: f"[{n}]", over),
    "colons": lambda s: typed(s, lambda n: f"{n}:", over),
    "capitals": lambda s: typed(s, str.upper, over),
    "blank lines": lambda s: typed(s, lambda n: f"[{n}]\n", lambda x: over(x) + "\n"),
    "dashes": lambda s: typed(s, lambda n: f"{n}:", lambda x: over(x, " -  ")),
    "tabs": lambda s: typed(s, lambda n: f"[{n}]", lambda x: "\t".join(c for c, _ in x) + "\n" + "\t".join(w.strip() for _, w in x)),
    "title above": lambda s: "A Song of Nobody\nDemo songbook\n\n" + typed(s, lambda n: f"[{n}]", over),
    "chordpro": lambda s: "{title: Own}\n" + pro(s),
    "boxes in words": lambda s: typed(s, lambda n: f"{n}:", inline),
    "round brackets": lambda s: typed(s, lambda n: f"[{n}]", lambda x: inline(x, "({})")),
}  # fmt: skip
PAGES = [(song, habit) for song in SONGS for habit in HABITS]


@each("song, habit", PAGES)
def test_a_page_in_every_habit_has_its_chords_sections_and_words(song: str, habit: str) -> None:
    text = HABITS[habit](SONGS[song])
    chart = read(text, "page.txt" if habit != "chordpro" else "page.cho")
    wanted = [
        (name.casefold(), [c for line in lines for c, _ in line]) for name, lines in SONGS[song]
    ]
    assert [
        (s.name.casefold(), [x.text for b in s.bars for x in b.slots]) for s in chart.sections
    ] == wanted
    sung = " ".join("".join(w for line in lines for _, w in line) + " " for _, lines in SONGS[song])
    assert _letters(
        " ".join(w for s in chart.sections for b in s.bars for w in b.words)
    ) == _letters(sung)
    said = [d.message for d in chart.warnings]
    assert "the page has no bars, so one bar a chord is assumed" in said
    assert "the page names no meter, so 4/4 is assumed" in said


def _letters(text: str) -> str:
    return re.sub(r"[^a-z]", "", text.casefold())


@each("song, habit", PAGES)
def test_a_page_is_known_by_its_look(song: str, habit: str) -> None:
    assert looks_like_words(HABITS[habit](SONGS[song]))


@each("path", sorted((Path(__file__).parent.parent / "demo").glob("*.txt")), ids=lambda p: p.stem)
def test_a_chart_is_not_taken_for_a_page(path: Path) -> None:
    assert format_of(path.read_bytes(), path.name) is None


@each(
    "path", sorted((Path(__file__).parent / "cases" / "errors").glob("*.txt")), ids=lambda p: p.stem
)
def test_a_chart_with_mistakes_is_not_taken_for_a_page(path: Path) -> None:
    assert format_of(path.read_bytes().split(b"\n=== ")[0], path.name) is None


LINES = (  # page; lines of the chart
    # beats count where they fill the bar
    ("[A]\nC / / G | Am\n", "[A]\n| C / / G | Am |"),
    # bar lines count
    ("[A]\n| C    G   | F      |\n  Kettle on   the fire\n", "[A]\n| C G | F |\nwords: | Kettle on | the fire |"),
    # a cut within a word goes on with a hyphen, a letter off it is meant for the word
    ("Chorus\nF   C     G\nHallelu jahama\n", "[Chorus]\n| F | C | G |\nwords: | Hall- | elu ja- | hama |"),
    ("Chorus\nF   G\nSing\n     so\n", None),
    # how often a line, or a section, is played
    ("[Verse]\nC   G   x3\nla  la\n", "[Verse]\n|: C | G :| x3\nwords: | la | la |"),
    ("Intro: C - G - Am x2\n\n[Verse]\nC   G\nla  la\n", "[Intro]\n| C | G | Am |\n[Intro]\n[Verse]\n| C | G |\nwords: | la | la |"),
    # the same chords again are further words
    ("[Verse]\nC   G\nla  la\n\n[Solo]\nF G\n\n[Verse]\nC   G\nlo  lo\n", "[Verse]\n| C | G |\nwords: | la | la |\nwords: | lo | lo |\n[Solo]\n| F | G |\n[Verse]"),
    # no chord, and words without one
    ("[Verse]\nC   N.C.\nla  la\nand more\n", "[Verse]\n| C | N.C. |\nwords: | la | la |\n| N.C. |\nwords: | and more |"),
    ("[Verse]\nC   G\nla  la\nand more\n", "[Verse]\n| C | G |\nwords: | la | la |\n| G |\nwords: | and more |"),
    # a word among chords is kept
    ("[Verse]\nC   G   Am  riff\nla  la  la\n", '[Verse]\n| "riff" C | G | Am |\nwords: | la | la | la |'),
)  # fmt: skip


@each("page, lines", [row for row in LINES if row[1]], ids=str)
def test_lines_become_bars_by_the_stated_rules(page: str, lines: str) -> None:
    assert music(read(page, "page.cho")) == lines


def test_bars_per_line_put_a_chord_over_its_word() -> None:
    page = "[A]\nC                 G\nKettle on the old fire\nAm       F C   G   D\nla la la la la la la\n"
    chart = read(page, "page.cho", Reading(bars_per_line=4))
    bars = [[(s.text, int(s.start_q)) for s in b.slots] for b in chart.sections[0].bars]
    assert bars[:4] == [[("C", 0)], [("C", 0)], [("C", 0)], [("G", 0)]]
    assert [text for bar in bars[4:] for text, _ in bar] == ["Am", "F", "C", "G", "D"]
    assert len(bars) == 8


CHORDPRO = """\
# a comment
{title: Paper Boats}
{subtitle: after a drawing}
{artist: Demo songbook}
{key: D}
{time: 3/4}
{tempo: 110}
{capo: 2}
{define: X base-fret 1}

{soc}
[G]Carry me a[D]way
{eoc}

{comment: softly}
{start_of_verse: Verse 1}
[D]Paper boats upon the [G]river
{end_of_verse}
{start_of_tab}
e|--0--2--|
{end_of_tab}
{chorus}
"""


def test_directives() -> None:
    """As ChordPro 6 has them."""
    chart = read(CHORDPRO, "boats.cho")
    assert settings(chart) == {
        "title": "Paper Boats", "notes": "after a drawing", "by": "Demo songbook", "key": "D", "tempo": "110", "capo": "2",
        "meter": "3/4",
    }  # fmt: skip
    assert music(chart) == (
        "[Chorus]\n| G | D |\nwords: | Carry me a- | way |\n"
        '[Verse 1]\n| "softly" D | G |\nwords: | Paper boats upon the | river |\n[Chorus]'
    )
    assert [d.message for d in chart.warnings if d.code == "W710"] == [
        "the directive define is left out", "a tab or grid is left out (2 times)",
    ]  # fmt: skip


def test_chords_point_at_where_they_stand() -> None:
    chart = read("Verse\n\tC  G7/B\nla  la\n[Am]lo [F]lo\n", "page.cho")
    assert cut_out(chart) == ["C", "G7/B", "[Am]", "[F]"]


def test_what_is_asked_for_goes_before_how_it_looks() -> None:
    page = "[A]\n| C  | G |\n  la | la\n"
    with pytest.raises(ChartError):
        read(page, "page.txt")
    assert (
        music(read(page, "page.txt", Reading(read_as="words")))
        == "[A]\n| C | G |\nwords: | la / | la |"
    )


@each("page, code", (
    ("Words\nand\nmore words\nC\nla\n", "W710"), ("{time: 9}\n[C]la [G]la\n", "W710"), ("{capo: high}\n[C]la [G]la\n", "W710"),
    ("[Solo]\n\n[A]\nC\nla\n", "W710"),
))  # fmt: skip
def test_what_is_left_out_is_said(page: str, code: str) -> None:
    assert code in codes(read(page, "page.cho"))


@each(
    "page, code",
    (("", "E702"), ("words\nalone\n", "E702"), ("C\n" * 500_001, "E704")),
    ids=lambda c: c[:8],
)
def test_what_cannot_be_read_is_said(page: str, code: str) -> None:
    with pytest.raises(ChartError) as wrong:
        read(page, "page.cho")
    assert [d.code for d in wrong.value.diagnostics if d.severity.value == "error"] == [code]


# --- out


def test_words_go_out_with_their_chords() -> None:
    chart = parse(
        "title: Own\nkey: D\nmeter: 3/4\ntempo: 90\ncapo: 2\n[Verse]\n| D | A7 | G |\n  melody: | D4 E4 F#4 | A4 / B4 | G4 |\n"
        "  words: | o-ver the | hill_ | far |\n  words: | un-der the | _ bridge | near |\n[Chorus]\n| G | D |\n[Verse]\n[Chorus]\n"
    )
    assert out.text(chart).split("\n", 1)[1] == (
        "# not in this format: the melody\n{title: Own}\n{key: D}\n{time: 3/4}\n{tempo: 90}\n{capo: 2}\n\n"
        "{start_of_verse}\n[D]over the [A7]hill [G]far\n{end_of_verse}\n\n"
        "{start_of_verse}\n[D]under the [A7] bridge [G]near\n{end_of_verse}\n\n"
        "{start_of_chorus}\n| [G] | [D] |\n{end_of_chorus}\n\n{comment: Verse}\n\n{chorus}\n"
    )


@each("path", sorted((Path(__file__).parent.parent / "demo").glob("*.txt")), ids=lambda p: p.stem)
def test_every_chart_goes_out_and_its_chords_come_back(path: Path) -> None:
    chart = parse(path.read_text("utf-8"), path.name)
    text = out.text(chart)
    back = read(text, "own.cho")
    for name in dict.fromkeys(out._played(chart)):
        mine = [s.text or "N.C." for b in chart.section(name).bars for s in b.slots if not s.held]
        assert f"{mine[0]}]" in text
    assert isinstance(back, Chart)
    assert "made by backing" in text
