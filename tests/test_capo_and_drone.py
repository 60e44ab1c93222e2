"""An accompanist's own capo, and open strings that drone."""

from __future__ import annotations

from fractions import Fraction

import pytest

from backing.band.arrange import arrange
from backing.band.model import Note
from backing.ground.errors import StyleError
from backing.ground.tunings import open_strings
from backing.harmony.capo import best_capo
from backing.harmony.grip import playable
from backing.styles.load import load_text
from backing.styles.model import Style
from backing.styles.show import page
from tests.band import chart, player, timeline
from tests.briefs import chord
from tests.each import each

STYLE = """
about = "For tests."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
[guitar]
instrument = "steel guitar"
settings = { voicing = "open"MORE }
[[guitar.pattern]]
name = "strum"
lines.chord = "D . d ."
"""


def style(more: str = "") -> Style:
    return load_text(STYLE.replace("MORE", more), "test")


def strummed(bars: str, more: str = "", **settings: object) -> tuple[Note, ...]:
    text = chart(bars, **{"meter": "4/4", "ending": "as written"} | settings)
    return player(arrange(timeline(text), style(more), 1), "guitar").notes


# -- capo ---------------------------------------------------------------------------------------------------

# Chords, fret: what becomes of them over it stands behind (common practice of accompanists).
CAPOS = (
    ("G C D Em",        0),  # open as they are
    ("Ab Db Eb Fm",     1),  # G C D Em
    ("A D E F#m",       2),  # G C D Em
    ("Bb Eb F Gm",      3),  # G C D Em
    ("B E F# G#m",      4),  # G C D Em
    ("F#m B C#m E",     4),  # Dm G Am C
    ("F Bb C Dm",       3),  # D G A Bm
    ("C G Am F",        0),  # one closed grip is no reason for a capo high up
    ("Bbmaj7 Gm7 Cm7 F7", 3),  # Gmaj7 Em7 Am7 D7
)  # fmt: skip


@each("symbols, fret", CAPOS)
def test_the_capo_stands_where_chords_lie_in_open_shapes(symbols: str, fret: int) -> None:
    assert best_capo({chord(s): 4.0 for s in symbols.split()}) == fret


def test_chords_count_by_how_long_they_sound() -> None:
    """A passing B major does not move the capo of a tune in G; a tune that stays on it does."""
    often = {chord(s): 16.0 for s in ("G", "C", "D")}
    assert best_capo(often | {chord("B"): 2.0}) == 0
    assert best_capo({chord("B"): 16.0, chord("G"): 2.0}) > 0


def test_a_guitar_with_a_capo_of_its_own_plays_open_shapes_at_the_same_pitch() -> None:
    """In A flat: shapes of G over the first fret, and the band sounds as written."""
    bars = "Ab | Db | Eb | Fm"
    plain, found = (strummed(bars, more, key="Ab") for more in ("", ', capo = "auto"'))
    assert {n.pitch % 12 for n in found} == {n.pitch % 12 for n in plain}
    assert sum(n.fret == 0 for n in found) > sum(n.fret == 0 for n in plain)
    assert all(n.pitch == open_strings(())[6 - n.string] + 1 + n.fret for n in found)
    assert "320003 with the capo at 1" in found[0].why.words


def test_the_capo_of_the_chart_comes_first() -> None:
    one, two = (strummed("G | C | D | G", m, key="G", capo=3) for m in ("", ', capo = "auto"'))
    assert one == two


# -- drone --------------------------------------------------------------------------------------------------

DADGAD = "D A D G A D"
DRONE = ', drone = "1 5"'


def grip(notes: tuple[Note, ...], bar: int) -> str:
    frets = {n.string: n.fret for n in notes if n.start_q == 4 * bar}
    return "".join(str(frets.get(s, "x")) for s in range(6, 0, -1))


def test_open_strings_drone_under_the_chords() -> None:
    """Shapes of session accompaniment in D A D G A D (common practice; from memory)."""
    found = strummed("D | G | Bm | C", DRONE, key="D", tuning=DADGAD)
    assert [grip(found, bar) for bar in range(4)] == ["004200", "520000", "x24400", "x32000"]
    assert all(playable([n.fret for n in found if n.start_q == 4 * bar]) for bar in range(4))


def test_a_drone_lies_over_the_bass_of_its_chord() -> None:
    """An open string under the root would turn the chord (common practice)."""
    found = strummed("D | C | G | Em", DRONE, key="D")
    for bar, root in enumerate((2, 0, 7, 4)):
        assert min(n.pitch for n in found if n.start_q == 4 * bar) % 12 == root


def test_with_power_chords_the_third_is_left_to_the_tune() -> None:
    found = strummed(
        "D | G", ', voicing_soft = "power"' + DRONE, key="D", tuning=DADGAD, dynamics="p"
    )
    assert grip(found, 0) == "000200"
    assert {n.degree for n in found if n.start_q < 4} == {"1", "5"}


def test_a_string_that_rubs_is_damped() -> None:
    """The tonic under the third of the dominant: A7 in D."""
    found = strummed("A7 | A7", DRONE, key="D", tuning=DADGAD)
    assert 2 not in {n.pitch % 12 for n in found}


def test_a_drone_rings_on_over_the_change() -> None:
    plain, found = (
        [n for n in strummed("D | G | D | G", more, key="D", tuning=DADGAD) if n.start_q == 2]
        for more in ("", DRONE)
    )
    assert {n.end_q for n in plain} == {Fraction(3)}
    assert {n.end_q for n in found if n.string in (1, 2)} == {
        Fraction(4)
    }  # where they are struck again
    assert {n.end_q for n in found if n.string == 4} == {Fraction(3)}  # a stopped one


def test_the_drone_goes_with_the_key() -> None:
    in_d, in_g = (strummed("C | C", DRONE, key=key, tuning=DADGAD) for key in ("D", "G"))
    assert {n.pitch % 12 for n in in_d} >= {2, 9}
    assert {n.pitch % 12 for n in in_g} >= {7, 2}
    assert 9 not in {n.pitch % 12 for n in in_g}


def test_drone_and_capo_are_shown_and_refused() -> None:
    assert '  drone = "1 5"' in page(style(DRONE))
    with pytest.raises(StyleError, match="there is no degree of the key '9'"):
        style(', drone = "1 9"')
    with pytest.raises(StyleError, match="there is no capo 'atuo'"):
        style(', capo = "atuo"')
    with pytest.raises(StyleError, match="'dron' is not a key"):
        style(', dron = "1 5"')
