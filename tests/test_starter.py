"""Starter charts: whatever is asked for, the chart checks without a mistake, and so does each line of advice in it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from backing.chart import values
from backing.chart.parse import parse, parse_all
from backing.commands.cli import run
from backing.commands.starter import examples, played_names, starter
from backing.ground.errors import RequestError
from backing.styles.find import unknown
from backing.timeline.unroll import unroll
from tests.each import each

FORMS = (
    None, "AABA", "A", "ABAC", "A B A B C B", "Intro (A A B A) Ending", "Verse Chorus Verse Chorus",
    "Verse 1 Chorus Verse 2 Chorus Outro", "Intro (A A) x3", "A A B A+2", "A, A, B, A", "A-A-B-A",
)  # fmt: skip
METERS = (
    None,
    "4/4",
    "3/4",
    "2/4",
    "2/2",
    "6/8",
    "12/8",
    "5/4",
    "7/8 (3+2+2)",
    "5/8",
    "3/8",
    "1/4",
    "9/8 (2+2+2+3)",
)
KEYS = (
    None,
    "Bb",
    "F# minor",
    "Cm",
    "E dorian",
    "A mixolydian",
    "F lydian",
    "E phrygian",
    "B locrian",
    "Gb",
    "Ebm",
)


def clean(text: str) -> None:
    """A chart without a mistake, without a warning, with every bar filled, that plays."""
    chart, found = parse_all(text, unknown_style=unknown)
    assert found == ()
    assert chart is not None
    assert unroll(chart).bars


@each("form", FORMS)
def test_a_chart_of_any_form_has_no_mistake(form: str | None) -> None:
    for meter in METERS:
        clean(starter("Tune", form=form, meter=meter))


@each("key", KEYS)
def test_a_chart_in_any_key_has_no_mistake(key: str | None) -> None:
    for meter in ("4/4", "6/8"):
        clean(starter("Tune", key=key, meter=meter))


@each(
    "style",
    (
        "jazz waltz",
        "slow blues",
        "blues shuffle",
        "seven-eight 2+2+3",
        "Afro-Cuban 12/8",
        "rock eighths",
    ),
)
def test_a_chart_in_a_style_has_the_meter_of_it(style: str) -> None:
    text = starter("Tune", style=style)
    clean(text)
    assert f"style:  {style}" in text


@each("meter", [m for m in METERS if m])
def test_every_example_can_be_typed(meter: str) -> None:
    for typed, _ in examples(values.key("C major"), values.meter(meter)):
        clean(f"key: C major\nmeter: {meter}\n{typed}\n")


def test_verse_and_chorus_are_not_alike() -> None:
    text = starter("Tune", form="Verse Chorus Verse Chorus")
    verse, chorus = re.findall(r"(?m)^\[(?:Verse|Chorus)\]\n((?:\|.*\n)+)", text)
    assert verse != chorus


def test_the_bars_are_those_of_one_chorus() -> None:
    chart = parse(starter("Tune", bars=32, form="AABA"))
    assert [s.name for s in chart.sections] == ["A", "B"]
    assert len(unroll(chart).bars) == 32
    assert len(unroll(parse(starter("Tune", bars=32, form="Intro (A A B A)"))).bars) == 36
    assert len(unroll(parse(starter("Tune", bars=17))).bars) == 17


def test_a_blues_has_its_twelve_bars() -> None:
    """Tonic for four, subdominant for two, tonic for two, dominant, subdominant, tonic (common practice)."""
    timeline = unroll(parse(starter("Tune", style="slow blues", key="Bb")))
    heard = [span.symbol for span in timeline.chords[:12]]
    assert heard == [
        "Bb7",
        "Eb7",
        "Bb7",
        "Bb7",
        "Eb7",
        "Eb7",
        "Bb7",
        "Bb7",
        "F7",
        "Eb7",
        "Bb7",
        "F7",
    ]


def test_the_tempo_is_the_usual_one_of_the_style_in_the_meter() -> None:
    assert re.search(r"^tempo:  144 ", starter("Tune", style="jazz waltz"), re.M)
    assert re.search(r"^tempo:  120 ", starter("Tune"), re.M)


def test_names_of_sections() -> None:
    assert played_names("Intro (AABA) x3 Ending") == ["Intro", *"AABA", "Ending"]
    assert played_names("Tag A-2 Verse 1") == ["Tag", "A", "Verse 1"]


@each(
    "wish, words",
    (
        (
            {"bars": 30, "form": "AABA"},
            "--bars 30: AABA has 4 sections of equal length; write --bars 28 or --bars 32",
        ),
        ({"bars": 3, "form": "AABA"}, "write --bars 4"),
        ({"bars": 0}, "--bars 0: choose a number from 1 to 400"),
        ({"meter": "7/9"}, "--meter 7/9: '7/9' is no meter"),
        ({"meter": "3/4 waltz"}, '--meter "3/4"'),
        ({"key": "H9"}, '--key "Bb major"'),
        ({"form": "Intro (A A"}, "--form Intro (A A: this bracket of the form is not closed"),
        ({"style": "waltz"}, "jazz waltz"),
    ),
)
def test_a_wrong_wish_is_answered_with_what_to_type(wish: dict[str, object], words: str) -> None:
    with pytest.raises(RequestError, match=re.escape(words)):
        starter("Tune", **wish)  # type: ignore[arg-type]


def test_the_command_writes_a_chart_and_never_over_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    asked = [
        "--meter",
        "3/4",
        "--style",
        "jazz waltz",
        "--bars",
        "32",
        "--form",
        "AABA",
        "--key",
        "Bb",
    ]
    assert run(["new", "my-tune.txt", *asked]) == 0
    assert capsys.readouterr().out == "my-tune.txt\n"
    text = Path("my-tune.txt").read_text("utf-8")
    assert "title:  My tune" in text
    assert "key:    Bb major" in text
    assert run(["check", "my-tune.txt"]) == 0
    assert "32 bars" in capsys.readouterr().out
    Path("my-tune.txt").write_text("mine\n")
    assert run(["new", "my-tune.txt"]) == 4
    assert "choose another name, or write over it with --force" in capsys.readouterr().err
    assert Path("my-tune.txt").read_text() == "mine\n"
    assert run(["new", "my-tune.txt", "--force"]) == 0
    assert Path("my-tune.txt").read_text() != "mine\n"
    assert run(["new", "tune.mp3"]) == 2
    assert "ends in .txt, such as tune.txt" in capsys.readouterr().err
    assert run(["new", "nowhere/tune.txt"]) == 4
    assert "there is no folder" in capsys.readouterr().err
