"""Shapes that move in parallel into the chord that is struck next; swells of chords and lines; rasgueado and golpe."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from backing.band.arrange import arrange
from backing.band.model import Arrangement, Kind, Note, Shape
from backing.ground.errors import StyleError
from backing.performance.explain import explain
from backing.performance.perform import perform
from backing.styles.load import load, load_text
from backing.styles.model import Style
from tests.band import performer, player, timeline
from tests.each import each

STYLES = Path(__file__).parent / "data" / "styles"
HEAD = """
about = "For tests."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 40, usual = 120, high = 200 }
"""
PLAYER = """
[ROLE]
instrument = "SOUND"
settings = { SETTINGS }
[[ROLE.pattern]]
name = "time"
lines.LINE = "CELLS"
"""
TUNE = "meter: 4/4\ntempo: 120\ndynamics: mf\nending: as written\n[A]\n| C7 | F7 | C7 | G7 |\n"


def style(cells: str, role: str = "keys", sound: str = "acoustic piano", line: str = "chord", settings: str = 'voicing = "close"') -> Style:  # fmt: skip
    text = PLAYER.replace("ROLE", role).replace("SOUND", sound).replace("LINE", line)
    return load_text(HEAD + text.replace("SETTINGS", settings).replace("CELLS", cells), "t")


def notes(own: Style, role: str, text: str = TUNE, seed: int = 1) -> dict[Fraction, list[Note]]:
    found: dict[Fraction, list[Note]] = {}
    for note in player(arrange(timeline(text), own, seed), role).notes:
        found.setdefault(note.start_q, []).append(note)
    return found


def pitches(found: list[Note]) -> list[int]:
    return sorted(n.pitch for n in found)


@each(
    ("mark", "steps", "words"),
    [
        ("x^", 1, "the same shape a half step above"),
        ("x^^", 2, "the same shape a whole step above"),
        ("xv", -1, "the same shape a half step below"),
        ("Xvv", -2, "the same shape a whole step below"),
    ],
)
def test_a_shape_is_that_of_the_next_stroke_moved_in_parallel(
    mark: str, steps: int, words: str
) -> None:
    """All voices by the same step (common practice of blues and gospel keyboards)."""
    found = notes(style(f"{mark}x . . ."), "keys")
    for bar in range(4):
        first, second = found[Fraction(4 * bar)], found[Fraction(4 * bar) + Fraction(1, 2)]
        assert [p + steps for p in pitches(second)] == pitches(first)
        assert all(words in n.why.words for n in first)
        assert all(n.degree == "" for n in first)


def test_a_passing_chord_before_the_bar_line_has_the_shape_of_the_next_chord() -> None:
    """Over the border of a section as well."""
    text = TUNE.replace("[A]", "form: A B\n[A]") + "[B]\n| Am7 | D7 |\n"
    found = notes(style("x . . xv"), "keys", text)
    for bar in range(5):
        passing, coming = found[Fraction(4 * bar + 3)], found[Fraction(4 * bar + 4)]
        assert len(passing) == len(coming)
        if bar != 3:  # a new section looks for its own way
            assert [p - 1 for p in pitches(coming)] == pitches(passing)
    root = {n.chord for n in found[Fraction(15)]}
    assert root == {4}, "it belongs to the first chord of the next section"


def test_two_steps_into_a_chord_have_its_shape() -> None:
    found = notes(style(". . x^^x^ x"), "keys")
    two, one, chord = (found[Fraction(at)] for at in (2, Fraction(5, 2), 3))
    assert [p + 2 for p in pitches(chord)] == pitches(two)
    assert [p + 1 for p in pitches(chord)] == pitches(one)


def test_a_hand_slides_its_grip_along_the_neck() -> None:
    """The same strings, every fret two higher (the ninth-chord slide of slow blues: common practice)."""
    own = load(STYLES / "parallel-ninths.toml")
    text = "meter: 12/8\ntempo: 56\nkey: G\n[A]\n| G9 | C9 | G9 | D9 |\n"
    found = notes(own, "guitar", text)
    for bar in range(3):
        at = Fraction(6 * bar) + Fraction(3, 2)
        slid, chord = found[at], found[at + Fraction(1, 2)]
        assert [(n.string, n.fret + 2) for n in chord] == [(n.string, n.fret) for n in slid]
        assert [n.pitch + 2 for n in chord] == [n.pitch for n in slid]
        last, goal = found[at + 3], found[at + 3 + Fraction(1, 2)]
        assert [(n.string, n.fret + 1) for n in goal] == [(n.string, n.fret) for n in last]


def test_a_shape_that_cannot_go_down_comes_from_above() -> None:
    """Below open strings there is no fret."""
    own = style("dvd . . .", "guitar", "steel guitar", settings='voicing = "open"')
    found = notes(own, "guitar", TUNE.replace("C7 | F7 | C7 | G7", "C | G | Am | Em"))
    for bar in range(4):
        first, second = found[Fraction(4 * bar)], found[Fraction(4 * bar) + Fraction(1, 2)]
        steps = {a.fret - b.fret for a, b in zip(first, second, strict=True)}
        assert steps == {1}
        assert min(n.fret for n in first) >= 0


# -- swells -------------------------------------------------------------------------------------------------


@each(
    ("cells", "line", "shapes"),
    [
        ("x<= == X>= ==", "chord", [Shape.SWELLS, Shape.FADES]),
        ("1<= == 5!>= ==", "line", [Shape.SWELLS, Shape.FADES]),
        ("1= == 1+3<= ==", "chord", [Shape.EVEN, Shape.SWELLS]),
    ],
)
def test_chords_and_lines_swell_while_they_are_held(
    cells: str, line: str, shapes: list[Shape]
) -> None:
    own = style(cells, "strings", "string ensemble", line)
    music: Arrangement = arrange(timeline(TUNE), own, 1)
    found = notes(own, "strings")
    for bar in range(4):
        for half, shape in enumerate(shapes):
            assert {n.shape for n in found[Fraction(4 * bar + 2 * half)]} == {shape}
    assert len(performer(perform(music), "strings").gestures) > 20
    assert "swelling" in explain(music)


# -- flamenco -----------------------------------------------------------------------------------------------


def test_a_rasgueado_fills_its_cell_with_fingers_that_grow_louder() -> None:
    """About twelve strokes a second, in any tempo (common practice)."""
    for tempo, count in ((60, 12), (120, 6), (200, 4)):
        own = style("r . d .", "guitar", "nylon guitar", settings='voicing = "open"')
        found = notes(own, "guitar", TUNE.replace("120", str(tempo)))
        fingers = [at for at in found if at < 1]
        assert len(fingers) == count
        assert fingers == [Fraction(i, count) for i in range(count)]
        loud = [max(n.velocity for n in found[at]) for at in fingers]
        assert loud == sorted(loud)
        assert loud[0] < 0.8 * loud[-1]


def test_a_golpe_is_a_thud_on_low_strings() -> None:
    own = style("d k d k", "guitar", "nylon guitar", settings='voicing = "open"')
    found = notes(own, "guitar")
    knocks = found[Fraction(1)]
    assert len(knocks) == 2
    assert all(n.why.kind is Kind.DEAD and "golpe" in n.why.words for n in knocks)
    assert max(n.length_q for n in knocks) < Fraction(1, 16)
    assert min(n.string for n in knocks) >= 4


# -- refused ------------------------------------------------------------------------------------------------


@each(
    ("cells", "how", "message", "hint"),
    [
        ("x^^^ . . .", {}, "'^' is no mark of this line", "x^ xv in parallel"),
        ("3^ . . .", {}, "'^' is no mark of this line", "x^ xv"),
        ("x< . . .", {}, "'<' is no mark of this line", "die away by themselves"),
        ("x<> . . .", {"role": "strings", "sound": "violin"}, "'>' is no mark of this line", "x< x> for a swell"),
        ("k^ . . .", {"role": "guitar", "sound": "nylon guitar"}, "'^' is no mark of this line", "r k"),
        ("r . . .", {}, "'r' is no mark of this line", "g x X"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_what_to_type(
    cells: str, how: dict[str, str], message: str, hint: str
) -> None:
    with pytest.raises(StyleError) as raised:
        style(cells, **how, settings="")
    told = raised.value.diagnostics[0]
    assert message in told.message
    assert hint in told.hint
