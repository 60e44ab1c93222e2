"""Style files: what they mean, and what is said about each mistake in them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import platformdirs
import pytest

from backing.ground.errors import OutputError, RequestError, StyleError
from backing.ground.timebase import SHUFFLE, STRAIGHT, SWING, Feel, Meter
from backing.styles import shelf
from backing.styles.find import find, names, order, styles
from backing.styles.load import check, load, load_text
from backing.styles.model import Style, Where
from tests.each import each

TEXT = """\
about = "Two players, for tests."
source = "common practice"
meters = ["4/4", "7/8 (2+2+3)"]
tempo = { low = 80, usual = 100, high = 140 }
feel = "swing"
grid = "eighths"
colour = true

[bass]
instrument = "finger bass"
plays = { p = "two-feel", mf = "walking", f = "pattern" }
low = "E1"
high = 50

[[bass.pattern]]
name = "riff"
level = "f"
lines = { bass = "1!.b3 n1= -5x a." }

[drums]
instrument = "drum kit"
level_db = -3.5
settings = { vary = 0.1 }

[[drums.pattern]]
name = "time"
weight = 2
lines = { ride = "x xx x xx", "pedal hat" = ". x . x" }

[[drums.pattern]]
name = "fill"
where = "phrase-end"
[drums.pattern.lines]
snare = "x x xx xxxx | x x x x"
kick = "x . . ."
"""


def style(text: str = TEXT, name: str = "test.toml") -> Style:
    return load_text(text, name)


def test_a_style_says_what_its_file_says() -> None:
    read = style()
    assert (read.name, read.roles) == ("test", ("bass", "drums"))
    assert read.meters == (Meter.of(4, 4), Meter.of(7, 8, (2, 2, 3)))
    assert (read.low_bpm, read.usual_bpm, read.high_bpm) == (80, 100, 140)
    assert (read.feel, read.grid_q, read.colour, read.repeats) == (
        SWING,
        Fraction(1, 2),
        True,
        False,
    )


def test_a_player_says_how_it_plays_at_each_level() -> None:
    bass = style().part("bass")
    assert bass is not None
    assert bass.plays == {"p": "two-feel", "mf": "walking", "f": "pattern"}
    assert (bass.low, bass.high) == (28, 50)


def test_bass_cells_are_read_greedily() -> None:
    """`1!.b3` is an accented root, a rest and a flat third; `-5x` a fifth below and a dead note."""
    bass = style().part("bass")
    assert bass is not None
    marks = [[c.mark for c in p.cells] for p in bass.patterns[0].lines["bass"][0]]
    assert marks == [["1!", "b3"], ["n1"], ["-5", "x"], ["a"]]


def test_a_short_line_is_repeated_under_a_long_one() -> None:
    drums = style().part("drums")
    assert drums is not None
    fill = drums.patterns[1]
    assert fill.bars == 2
    assert fill.where is Where.PHRASE_END
    assert fill.lines["kick"][0] == fill.lines["kick"][1]


def test_what_a_file_leaves_out_has_a_usual_value() -> None:
    drums = style().part("drums")
    assert drums is not None
    assert drums.plays == {"p": "pattern", "mf": "pattern", "f": "pattern"}
    assert (drums.pan, drums.late_ms, drums.patterns[0].level) == (0.0, 0.0, "mf")


@each(
    ("written", "feel"),
    [
        ("straight", STRAIGHT),
        ("swing", SWING),
        ("shuffle", SHUFFLE),
        ("swing 3:2", Feel(Fraction(1, 2), Fraction(3, 2))),
        ("swing 16", Feel(Fraction(1, 4))),
        ("swing 16 6:5", Feel(Fraction(1, 4), Fraction(6, 5))),
    ],
)
def test_feels_are_written_as_in_charts(written: str, feel: Feel) -> None:
    assert style(TEXT.replace('feel = "swing"', f'feel = "{written}"')).feel == feel


# what is changed in TEXT, into what; then code, line, column, and words of message and hint
MISTAKES = [
    ('colour = true', 'colour = true\ncolor = true', "S103", 8, 1, "'color' is not a key", "colour"),
    ('level_db = -3.5', 'levl_db = -3.5', "S103", 22, 1, "'levl_db' is not a key of [drums]", "level_db"),
    ('[drums]', '[drumz]', "S103", 20, 1, "'drumz' is not a key of a style", "drums"),
    ('"finger bass"', '"fingered bas"', "S105", 10, 14, "no instrument 'fingered bas'", "finger bass"),
    ('"finger bass"', '"upright bass"', "S105", 10, 14, "no instrument 'upright bass'", "acoustic bass"),
    ('"finger bass"', '"Double bass"', "S105", 10, 14, "no instrument 'Double bass'", "acoustic bass"),
    ('"pedal hat"', '"pedel hat"', "S105", 28, 31, "no line 'pedel hat'", "pedal hat"),
    ('{ bass = "1!', '{ base = "1!', "S105", 18, 11, "no line 'base' for the bass", "bass"),
    ('mf = "walking"', 'mf = "walkin"', "S105", 11, 32, "there is no mf 'walkin'", "walking"),
    ('vary = 0.1', 'varey = 0.1', "S103", 23, 14, "'varey' is not a key of [drums.settings]", "vary"),
    ('vary = 0.1', 'vary = 7', "S104", 23, 21, "'vary' is 7", "from 0 to 1"),
    ('vary = 0.1', 'vary = "much"', "S104", 23, 21, "'vary' should be a number", "number"),
    ('"x xx x xx"', '"x xo x xx"', "S106", 28, 22, "'o' is no mark", "g x X"),
    ('"x xx x xx"', '"x xx x"', "S106", 28, 19, "bar 1 has 3 pulses, 4/4 has 4", "'|' between bars"),
    ('"x xx x xx"', '"x .= x xx"', "S106", 28, 22, "'=' holds a note", "'.' for a rest"),
    ('"x xx x xx"', '"x xxxxxxxxxxxxx x x"', "S106", 28, 21, "a pulse has 13 cells", "blanks"),
    ('"x . . ."', '"x . . .|x . . .|x . . ."', "S106", 34, 9, "2 bars beside one of 3", "whole number"),
    ('"7/8 (2+2+3)"', '"7/8 (2+2)"', "S105", 3, 18, "'7/8 (2+2)' is no meter", "7/8 (2+2+3)"),
    ('usual = 100', 'usual = 200', "S104", 4, 9, "tempo 200 does not lie in 80 to 140", "usual"),
    ('usual = 100', 'usual = "fast"', "S104", 4, 29, "'usual' should be a number", "number"),
    ('low = 80', 'slow = 80', "S103", 4, 11, "'slow' is not a key of [tempo]", "low"),
    ('feel = "swing"', 'feel = "swung"', "S105", 5, 8, "'swung' is no feel", "swing 16"),
    ('grid = "eighths"', 'grid = "eights"', "S105", 6, 8, "there is no grid 'eights'", "eighths"),
    ('colour = true', 'colour = "yes"', "S104", 7, 10, "'colour' should be true or false", "true"),
    ('low = "E1"', 'low = "H1"', "S104", 12, 7, "'H1' is no note", "E2"),
    ('high = 50', 'high = 20', "S104", 12, 7, "the range is empty", "low lies below high"),
    ('where = "phrase-end"', 'where = "phrase end"', "S105", 32, 9, "there is no where", "phrase-end"),
    ('level = "f"', 'level = "ff"', "S105", 17, 9, "there is no level 'ff'", "'f'"),
    ('name = "fill"', 'name = "time"', "S105", 31, 8, "two patterns 'time'", "name of its own"),
    ('name = "riff"\n', '', "S102", 15, 1, "[bass.pattern] has no 'name'", "name = "),
    ('instrument = "drum kit"\n', '', "S102", 20, 1, "[drums] has no 'instrument'", "instrument = "),
    ('about = "Two players, for tests."\n', '', "S102", 1, 1, "a style has no 'about'", "about = "),
    ('colour = true', 'like = "straight-ahead swin"', "S107", 7, 8, "no style 'straight-ahead swin'", "straight-ahead swing"),
    ('colour = true', 'without = ["tuba"]', "S105", 7, 12, "there is no without 'tuba'", "bass"),
    ('colour = true', 'clave = "3-3"', "S105", 7, 9, "there is no clave '3-3'", "3-2"),
    ('colour = true', 'name = "other"', "S104", 7, 8, "'other' does not fit the file's name", 'name = "test"'),
    ('colour = true', 'colour = true\nx = [1,', "S101", 10, 2, "this is not TOML", "double quotes"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "code", "line", "column", "message", "hint"),
    MISTAKES,
    ids=[m[5] for m in MISTAKES],
)
def test_a_mistake_is_named_with_its_place_and_what_to_type(
    tmp_path: Path, old: str, new: str, code: str, line: int, column: int, message: str, hint: str
) -> None:
    """One mistake at a time in a good file."""
    path = tmp_path / "test.toml"
    path.write_text(TEXT.replace(old, new, 1), "utf-8")
    found = check(path)
    assert [d.code for d in found][:1] == [code], [d.render() for d in found]
    first = found[0]
    assert (first.line, first.column) == (line, column), first.render()
    assert message in first.message
    assert hint in first.hint


def test_every_mistake_is_reported_at_once(tmp_path: Path) -> None:
    path = tmp_path / "test.toml"
    text = (
        TEXT.replace('"finger bass"', '"finger bas"')
        .replace("x xx x xx", "x xq x xx")
        .replace("grid", "gird")
    )
    path.write_text(text, "utf-8")
    assert [d.code for d in check(path)] == ["S103", "S105", "S106"]


def test_a_faulty_style_cannot_be_loaded(tmp_path: Path) -> None:
    path = tmp_path / "test.toml"
    path.write_text(TEXT.replace("walking", "wandering"), "utf-8")
    with pytest.raises(StyleError, match="there is no mf 'wandering'"):
        load(path)


def test_a_pattern_player_needs_patterns() -> None:
    text = TEXT[: TEXT.index("[[drums.pattern]]")]
    with pytest.raises(StyleError, match="the drums plays patterns and has none"):
        style(text)


def test_a_style_needs_players() -> None:
    with pytest.raises(StyleError, match="has no players"):
        style(TEXT[: TEXT.index("[bass]")])


def test_a_file_that_cannot_be_read_is_told_from_one_with_mistakes(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be read"):
        load(tmp_path / "none.toml")
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00x")
    with pytest.raises(OutputError, match="not UTF-8"):
        check(binary)


# --- like


def test_a_style_may_be_like_another_and_change_a_few_lines(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        'like = "bossa nova"\nabout = "Mine."\nwithout = ["percussion"]\n[drums]\nlevel_db = -9\n'
        '[[drums.pattern]]\nname = "full, ride"\nlevel = "f"\nlines.ride = "x x x x"\n',
        "utf-8",
    )
    mine, base = load(path), find("bossa nova")
    assert (mine.name, mine.usual_bpm, mine.feel) == ("mine", base.usual_bpm, base.feel)
    assert mine.roles == tuple(r for r in base.roles if r != "percussion")
    drums, theirs = mine.part("drums"), base.part("drums")
    assert drums is not None
    assert theirs is not None
    assert drums.level_db == -9
    assert [p.name for p in drums.patterns] == [p.name for p in theirs.patterns]
    changed = next(p for p in drums.patterns if p.name == "full, ride")
    assert list(changed.lines) == ["ride"]


def test_a_fresh_player_takes_nothing_over(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        'like = "bossa nova"\n[drums]\nfresh = true\ninstrument = "brush kit"\n'
        '[[drums.pattern]]\nname = "one"\nlines.snare = "x x x x"\n',
        "utf-8",
    )
    drums = load(path).part("drums")
    assert drums is not None
    assert [p.name for p in drums.patterns] == ["one"]


def test_like_may_name_a_file_beside_this_one(tmp_path: Path) -> None:
    (tmp_path / "test.toml").write_text(TEXT, "utf-8")
    (tmp_path / "mine.toml").write_text('like = "test.toml"\ntempo = { usual = 90 }\n', "utf-8")
    mine = load(tmp_path / "mine.toml")
    assert (mine.low_bpm, mine.usual_bpm, mine.high_bpm) == (80, 90, 140)


def test_styles_that_are_like_each_other_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text('like = "b.toml"\n', "utf-8")
    (tmp_path / "b.toml").write_text('like = "a.toml"\n', "utf-8")
    found = check(tmp_path / "a.toml")
    assert found[0].code == "S107"
    assert "like one another" in found[0].message


def test_mistakes_of_the_style_it_is_like_are_named(tmp_path: Path) -> None:
    (tmp_path / "test.toml").write_text(TEXT.replace("walking", "wandering"), "utf-8")
    (tmp_path / "mine.toml").write_text('like = "test.toml"\n', "utf-8")
    assert "has mistakes of its own" in check(tmp_path / "mine.toml")[0].message


# --- finding


def test_names_are_read_without_regard_to_case_and_signs() -> None:
    assert find("Afro-Cuban 12/8").name == find("afro cuban 12 8").name == "Afro-Cuban 12/8"


def test_a_value_that_ends_in_toml_is_a_path(tmp_path: Path) -> None:
    path = tmp_path / "test.toml"
    path.write_text(TEXT, "utf-8")
    assert find(str(path)).name == "test"


def test_an_unknown_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(RequestError, match="no style 'bosa nova'; did you mean 'bossa nova'"):
        find("bosa nova")
    with pytest.raises(RequestError, match="`backing styles` lists them"):
        find("zzz")


def test_own_folders_come_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`BACKING_STYLES` may name several folders; a style there takes the place of one of the same name."""
    first, second = tmp_path / "one", tmp_path / "two"
    first.mkdir()
    second.mkdir()
    (first / "bossa-nova.toml").write_text(TEXT, "utf-8")
    (second / "mine.toml").write_text(TEXT, "utf-8")
    (second / "_draft.toml").write_text("nothing", "utf-8")
    monkeypatch.setenv("BACKING_STYLES", f"{first}{shelf.os.pathsep}{second}")
    assert find("bossa nova").usual_bpm == 100
    assert find("mine").usual_bpm == 100
    assert "mine" in names()
    assert not any("draft" in name for name in names())


def test_the_user_folder_is_searched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shelf, "user_folder", lambda: tmp_path)
    (tmp_path / "mine.toml").write_text(TEXT, "utf-8")
    assert find("mine").name == "mine"


@pytest.mark.parametrize("data", [None, "", "elsewhere"])
def test_the_user_folder_is_that_of_the_platform(
    data: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the library platformdirs finds it, wherever the user's data lie."""
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    if data is not None:
        monkeypatch.setenv("XDG_DATA_HOME", data and str(tmp_path / data))
    expected = platformdirs.user_data_path("backing", appauthor=False)
    assert shelf.user_folder() == expected / "styles"


def test_loading_one_style_reads_its_own_file_only(monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []
    real = Path.open

    def watched(self: Path, *args: Any, **kwargs: Any) -> Any:
        read.append(self.name)
        return real(self, *args, **kwargs)

    monkeypatch.setattr(Path, "open", watched)
    find("bossa nova")
    assert read == ["bossa-nova.toml"]


def test_styles_are_listed_by_meter_and_subdivision() -> None:
    listed = styles()
    assert [s.name for s in listed] == list(names())
    assert [order(s) for s in listed] == sorted(order(s) for s in listed)
    assert listed[0].meters[0] == Meter.of(4, 4)
    assert listed[-1].meters[0].counted_in_eighths
