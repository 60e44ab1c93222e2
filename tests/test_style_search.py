"""Styles by a word: what a musician's plain word is answered with, in a chart, as an option and in the list."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from backing.chart.parse import parse_all
from backing.commands.cli import run
from backing.styles.find import find, matching, names, unknown
from backing.styles.kinds import KINDS
from backing.styles.shelf import FORMER, file_name, path_of
from tests.each import each

# word, some styles that it means, some that it does not (common practice)
PLAIN_WORDS = (
    ("rock", ("rock eighths", "half-time rock", "slow rock", "fast punk"), ("rocksteady", "samba", "blues shuffle")),
    ("blues", ("blues shuffle", "slow blues"), ("tango",)),
    ("folk", ("folk strum", "folk finger-picking", "jig", "reel", "bluegrass"), ("house",)),
    ("reggae", ("reggae one drop", "reggae rockers", "reggae steppers", "rocksteady"), ("reggaeton",)),
    ("waltz", ("jazz waltz", "slow waltz", "Viennese waltz", "country waltz"), ("foxtrot",)),
    ("swing", ("straight-ahead swing", "fast swing", "two-feel swing", "five-four swing"), ("disco",)),
    ("jazz", ("jazz waltz", "jazz ballad", "straight-ahead swing", "fast swing"), ("polka",)),
    ("pop", ("pop ballad", "sixteenth-note pop"), ("tango",)),
    ("latin", ("bossa nova", "samba", "salsa", "mambo", "bolero", "cha-cha-cha"), ("march",)),
    ("ballad", ("jazz ballad", "pop ballad", "six-eight ballad"), ("fast punk",)),
    ("country", ("country waltz", "country two-step", "country train beat", "bluegrass"), ("reel",)),
    ("Waltzes", ("jazz waltz",), ("tango",)),
    ("hip-hop", ("boom-bap",), ("tango",)),
    ("5/4", ("five-four rock", "five-four swing"), ("seven-four rock", "jazz waltz")),
    ("braz", ("bossa nova", "baiao"), ("tango",)),
)  # fmt: skip


@each("word, meant, others", PLAIN_WORDS)
def test_a_plain_word_is_answered_with_all_that_fit(
    word: str, meant: tuple[str, ...], others: tuple[str, ...]
) -> None:
    found = list(matching(word))
    assert set(meant) <= set(found)
    assert not set(others) & set(found)
    faults = parse_all(f"style: {word}\n| C |\n", unknown_style=unknown)[1]
    assert [d.code for d in faults] == ["E230"]
    offered = faults[0].hint.rpartition(": ")[2].split(", ") if len(found) > 1 else found
    assert offered == found
    for name in offered:  # whichever is typed mends the chart
        assert parse_all(f"style: {name}\n| C |\n", unknown_style=unknown)[1] == ()


def test_the_name_that_begins_with_the_word_comes_first() -> None:
    assert matching("rock")[0] == "rock eighths"
    assert matching("country")[0].startswith("country")


def test_every_style_of_the_table_of_words_can_be_found() -> None:
    known = names()
    assert [s for found in KINDS.values() for s in found if find(s).name not in known] == []


def test_a_word_lists_and_a_name_shows_its_page(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["styles", "blues"]) == 0
    told = capsys.readouterr().out
    assert "blues shuffle" in told
    assert "slow blues" in told
    assert "samba" not in told
    assert run(["styles", "slow", "blues"]) == 0
    assert capsys.readouterr().out.startswith("slow blues\n")
    assert run(["styles", "waltz", "--json"]) == 0
    assert {row["name"] for row in json.loads(capsys.readouterr().out)} >= {"jazz waltz"}
    assert run(["styles", "zydeco"]) == 2
    assert "there is no style 'zydeco'" in capsys.readouterr().err
    assert run(["styles", "straight-ahead swnig"]) == 2
    assert "did you mean 'straight-ahead swing'" in capsys.readouterr().err


def test_an_option_is_answered_as_a_chart_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", "demo/blues.txt", "--style", "reggae"]) == 2
    assert "reggae one drop, reggae rockers, reggae steppers" in capsys.readouterr().err


def test_a_style_file_with_mistakes_hides_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "blues-mine.toml").write_text("about = 3\n")
    monkeypatch.setenv("BACKING_STYLES", str(tmp_path))
    assert "slow blues" in matching("blues")


# Words for a whole kind of music, each played in more than one groove (common practice): no one groove may take it.
BARE = (
    "ballad",
    "blues",
    "country",
    "folk",
    "gospel",
    "jazz",
    "latin",
    "pop",
    "reggae",
    "rock",
    "shuffle",
    "soul",
    "swing",
    "waltz",
)


def test_no_style_is_called_by_a_bare_kind_of_music() -> None:
    known = {file_name(name) for name in names()}
    assert [word for word in (*BARE, *KINDS) if path_of(word) or file_name(word) in known] == []


def test_a_former_name_plays_and_is_listed_nowhere(capsys: pytest.CaptureFixture[str]) -> None:
    for former, now in FORMER.items():
        assert find(former).name == find(former.replace(" ", "-").title()).name == now
        assert parse_all(f"style: {former}\n| C |\n", unknown_style=unknown)[1] == ()
        assert former not in names()
        assert former not in matching(former.split()[-1])
    assert run(["styles"]) == 0
    told = capsys.readouterr().out
    assert [former for former in FORMER if former in told] == []


def test_a_users_own_style_keeps_a_former_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "medium-swing.toml").write_text('name = "medium swing"\nlike = "fast swing"\n')
    monkeypatch.setenv("BACKING_STYLES", str(tmp_path))
    assert find("medium swing").name == "medium swing"
