"""Reasons are data: players ask a note for the kind of its reason, and what is said about it steers no note."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from backing.band.model import Arrangement, Kind, Note, Why
from backing.performance.explain import explain_json
from tests.band import DEMOS, arranged, demo

# Styles with dead notes, octaves, walks, thumbs, plucked strings, tumbaos and hits of their own.
STYLES = (
    "straight-ahead swing", "funk", "disco", "bossa nova", "salsa", "country two-step", "folk finger-picking", "jazz waltz",
    "house", "slow blues",
)  # fmt: skip
TUNE = (
    "key: F major\nchoruses: 2\n[A]\n| F6 | D7b9 | Gm7 | C13 | Am7 D7 | Gm7 C7 | F/A Abdim7 | <Gm7 C7! |\n"
    "[B]\n| Bb C7 |\n  hits:  | x / x x |\n| F= | Bbm6 | F | C7 |\n"
)

SCRAMBLES: dict[str, Callable[[str], str]] = {
    "nothing is said": lambda _: "",
    "read backwards": lambda words: words[::-1],
    "everything at once": lambda words: (
        f"{words} chromatic step from above, dominant, octaves, dead note, finger-picked, bass string, "
        "plucked together, so, last chord, hit, left to ring, fermata, comping, fill"
    ),
}


def wordless(music: Arrangement) -> list[tuple[str, list[tuple[object, ...]]]]:
    """Every note with the kind of its reason in place of the reason."""
    return [(p.role, [_wordless(n) for n in p.notes]) for p in music.players]


def _wordless(note: Note) -> tuple[object, ...]:
    return tuple(note._replace(why=note.why.kind))  # type: ignore[arg-type]


def scramble(monkeypatch: pytest.MonkeyPatch, change: Callable[[str], str]) -> None:
    """Change what is said wherever a reason is made and wherever its words are read."""

    def made(cls: type[Why], kind: Kind, words: str) -> Why:
        return tuple.__new__(cls, (kind, change(words)))

    monkeypatch.setattr(Why, "__new__", made)
    monkeypatch.setattr(Why, "words", property(lambda self: change(self[1])))


@pytest.mark.slow
@pytest.mark.parametrize("how", SCRAMBLES)
def test_words_steer_no_note_of_the_demos(how: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before = {path.stem: demo(path.stem) for path in DEMOS}
    scramble(monkeypatch, SCRAMBLES[how])
    for path in DEMOS:
        again = arranged(path.read_text("utf-8"), None)
        assert wordless(again) == wordless(before[path.stem]), path.stem


@pytest.mark.slow
@pytest.mark.parametrize("how", SCRAMBLES)
def test_words_steer_no_note_of_a_style(how: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before = [arranged(TUNE, style, seed=3) for style in STYLES]
    scramble(monkeypatch, SCRAMBLES[how])
    for style, music in zip(STYLES, before, strict=True):
        assert wordless(arranged(TUNE, style, seed=3)) == wordless(music), style


def test_the_scramble_reaches_what_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    scramble(monkeypatch, SCRAMBLES["nothing is said"])
    assert {n.why.words for p in arranged(TUNE).players for n in p.notes} == {""}


def test_objects_say_why_in_words_and_name_the_kind() -> None:
    rows = json.loads(json.dumps(explain_json(arranged(TUNE, "straight-ahead swing"))))
    assert {type(row["why"]) for row in rows} == {type(row["kind"]) for row in rows} == {str}
    kinds = {row["kind"]: row["why"] for row in rows}
    assert kinds["hit"].startswith(("with the band: hit", "hit"))
    assert kinds["count-in"].startswith("count-in, bar")
    assert {"root", "chord tone", "pattern"} <= kinds.keys()
