"""What varies and what is held: figures stay figures, ostinatos go on, small changes keep to the grid of the meter."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import pytest

from backing.band.arrange import arrange
from backing.band.model import Kind, Why
from backing.band.players import drums, percussion
from backing.band.players.bass import play as play_bass
from backing.band.players.patterns.lay import Chosen, Lines, laid
from backing.band.players.variations import Strokes, varied
from backing.ground.dice import Place
from backing.ground.errors import StyleError
from backing.ground.pitch import Key, NoteName
from backing.ground.timebase import Meter
from backing.harmony.reader import read
from backing.styles.cells import read as read_line
from backing.styles.find import find
from backing.styles.load import load_text
from backing.styles.model import Pattern, Where
from backing.styles.show import page
from backing.timeline.model import PlayedBar
from tests.band import arranged, player, timeline
from tests.briefs import FOUR, brief, part, style
from tests.each import each
from tests.test_drums import ROCK, SWING, drummer, groove, hits

SEEDS = range(1, 25)
WRITTEN = Why(Kind.PATTERN, "written")


def bar_of(meter: Meter) -> PlayedBar:
    return PlayedBar(1, 1, "A", 0, 1, 1, 1, meter, Fraction(0), meter.length_q, Key(NoteName("C")))


def struck(lines: dict[str, str], meter: Meter) -> Strokes:
    """The strokes of a bar as the drummer hands them to be varied."""
    forces = {"g": 34.0, "x": 80.0, "X": 93.0}
    found: Strokes = {}
    for drum, line in groove(lines, meter=meter).lines.items():
        for start, pulse in zip(meter.pulse_starts_q, line[0], strict=True):
            for cell in pulse.cells:
                found[start + cell.at_q, drum] = (forces[cell.mark], WRITTEN)
    return found


def changed(
    lines: dict[str, str], meter: str = "4/4", *, sixteenths: bool = False, clave: bool = False
) -> set[tuple[Fraction, str]]:
    """Whatever is left out or added by 24 variations of a bar."""
    upper, lower = map(int, meter.split("/"))
    one = Meter.of(upper, lower)
    before = struck(lines, one)
    found: set[tuple[Fraction, str]] = set()
    for seed in SEEDS:
        after = varied(before, bar_of(one), 80.0, False, sixteenths, clave, Place((seed,)))
        found |= before.keys() ^ after.keys()
    return found


# -- figures are no backbeat --------------------------------------------------------------------------------


def test_the_two_side_of_a_clave_is_no_backbeat() -> None:
    """Rim on 2 and 3 is the two-side of the son clave; the bombo on the and of 2 stays (common practice)."""
    assert not changed({"rim": ". x x .", "kick": ". .x . ."})
    assert changed({"rim": ". x . x", "kick": "x . x ."}), "a rim on two and four is a backbeat"


def test_a_style_with_a_clave_keeps_its_kicks_under_any_snare() -> None:
    assert not changed({"snare": ". x . x", "kick": "x .x . x"}, clave=True)
    assert not changed({"rim": "x .x . x", "kick": "g .g . g"}, clave=True)


# -- ostinatos ----------------------------------------------------------------------------------------------


@each(
    "lines",
    [
        {"snare": "gg Xg gg Xg", "kick": "x . x ."},  # train beat, brush that sweeps
        {"snare": "gggg Xggg gggg Xggg"},
    ],
)
def test_a_hand_that_goes_on_loses_no_stroke(lines: dict[str, str]) -> None:
    """A train beat is an unbroken row on the snare (common practice)."""
    assert not changed(lines)


def test_soft_strokes_that_stand_alone_come_and_go() -> None:
    assert changed({"snare": ".. .g .. .g", "floor tom": "x . x ."})


@each(
    ("line", "meter"),
    [
        ("Xg xg Xg .x", "4/4"),  # martillo of the bongos, whose last beat the low drum takes
        ("Xgg Xgg", "6/8"),  # frame drum of a jig
        ("gg Xg gg ..", "4/4"),  # heel and tip of the congas, before the open tones
    ],
)
def test_percussion_keeps_an_ostinato_whole(line: str, meter: str) -> None:
    """Martillo, jig and tumbao of the congas are unbroken hands (common practice)."""
    upper, lower = map(int, meter.split("/"))
    one = Meter.of(upper, lower)
    written = groove({"high bongo": line}, meter=one)
    notes = percussion.play(drummer([written], 8, role="percussion", meter=one, vary=1.0))
    strokes = sum(len(pulse.cells) for pulse in written.lines["high bongo"][0])
    assert len(notes) == 8 * strokes


# -- the grid of the meter ----------------------------------------------------------------------------------


@each(
    ("lines", "meter"),
    [
        ({"hat": "xx xx xxx", "snare": ". x .", "kick": "x . x.."}, "7/8"),
        ({"hat": "xxx xxx xxx xxx", "snare": ". x . x", "kick": "x . x ."}, "12/8"),
        ({"hat": "xxx xx", "snare": ". x", "kick": "x .."}, "5/8"),
    ],
)
def test_no_sixteenths_are_added_where_the_meter_counts_eighths(
    lines: dict[str, str], meter: str
) -> None:
    added = changed(lines, meter)
    assert any(drum == "snare" for _, drum in added)
    assert all((2 * at).denominator == 1 for at, _ in added), sorted(added)
    assert any((2 * at).denominator == 2 for at, _ in changed(lines, meter, sixteenths=True))


def test_ghost_notes_in_quarters_stand_on_sixteenths() -> None:
    """Ghosts on the last sixteenth before a beat and the first behind it (counts of PMC10130781, table 3)."""
    ghosts = {at for at, drum in changed(ROCK) if drum == "snare"}
    assert ghosts == {Fraction(7, 4), Fraction(9, 4), Fraction(15, 4)}


# -- what a style switches off ------------------------------------------------------------------------------


def test_no_variation_means_none() -> None:
    """With `vary = 0` a bar comes as often as it is written, also a third time and later."""
    notes = drums.play(drummer([groove(ROCK)], 12, repeats=False, vary=0.0))
    kicks = {tuple(hits(notes, bar, "kick")) for bar in range(12)}
    assert kicks == {(0, 2)}
    varying = drums.play(drummer([groove(ROCK)], 12, repeats=False, vary=0.1))
    assert len(varying) != len(notes)


def test_the_ride_of_swing_goes_on_where_a_section_begins() -> None:
    """At mf time is not interrupted; a loud band has its crash (common practice)."""
    for level, crashes in ((3.0, 0), (4.2, 1)):
        notes = drums.play(drummer([groove(SWING)], 2, crashes=[1], level=level, swing=True))
        assert len(hits(notes, 1, "crash")) == crashes
        assert (0 in hits(notes, 1, "ride")) == (not crashes)
    hats = drums.play(drummer([groove(ROCK)], 2, crashes=[1], level=3.0))
    assert hits(hats, 1, "crash") == [0]


def test_a_style_may_do_without_crashes() -> None:
    notes = drums.play(drummer([groove(ROCK)], 2, crashes=[1], level=4.2, crash=False))
    assert not hits(notes, 1, "crash")
    assert 0 in hits(notes, 1, "hat")


def test_a_loop_is_no_other_one_at_the_end_of_a_phrase() -> None:
    """In a style that lives on repetition eight bars have an idea and at most one answer, phrase ends included."""
    figures = {"a": "1 . 5 .", "b": "1 1 . 5", "c": "1 . . 8", "d": ". 1 . 5"}
    riffs = [
        Pattern(name, FOUR, 1, "mf", Where.TIME, 1.0, {"bass": read_line(text, FOUR, "bass")})
        for name, text in figures.items()
    ]
    player_ = part("bass", "finger bass", riffs)
    for seed in SEEDS:
        told = brief(player_, [read("C7")] * 8, seed=seed)._replace(
            style=style(player_, repeats=True)
        )
        words = [n.why.words for n in play_bass(told)]
        played = {name for name in figures if any(f"pattern '{name}'" in w for w in words)}
        assert len(played) <= 2, seed


# -- grooves of two bars ------------------------------------------------------------------------------------

TWO_BARS = """
about = "A groove of two bars."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
repeats = true
runs_on = true
[drums]
instrument = "drum kit"
settings = { fills = "none", crash = false }
[[drums.pattern]]
name = "two bars"
lines.kick = "x . . . | . . x ."
[[drums.pattern]]
name = "four bars"
level = "f"
lines.kick = "x . . . | . x . . | . . x . | . . . x"
"""
ODD = "meter: 4/4\nform: A B\nending: as written\ndynamics: {}\n[A]\n| C | F | G7 |\n[B]\n| F | C | G7 | G7 | C |\n"


@each(("dynamics", "length"), [("mf", 2), ("f", 4)])
def test_a_groove_of_two_bars_runs_on_through_a_section_of_odd_length(
    dynamics: str, length: int
) -> None:
    """A samba is never turned round (common practice)."""
    found = []
    for text in (TWO_BARS, TWO_BARS.replace("runs_on = true", "")):
        music = arrange(timeline(ODD.format(dynamics)), load_text(text, "test"))
        notes = player(music, "drums").notes
        found.append([n.start_q % 4 for n in notes][:8])
    on, anew = found
    assert [q == 2 for q in on if length == 2] == [i % 2 == 1 for i in range(8) if length == 2]
    assert [int(q) % 2 for q in on if length == 4] == [i % 2 for i in range(8) if length == 4]
    assert on != anew


@pytest.mark.parametrize("name", ["samba", "second line"])
def test_styles_whose_groove_is_two_bars_long_run_on(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """First and second bar by turns through sections of three and five bars (common practice)."""
    told: list[tuple[Chosen, PlayedBar]] = []

    def heard(chosen: Chosen, bar: PlayedBar, steady: Sequence[str] = ()) -> Lines:
        told.append((chosen, bar))
        return laid(chosen, bar, steady)

    monkeypatch.setattr(drums, "laid", heard)
    arranged(ODD.format("mf").replace("4/4", find(name).meters[0].name), name)
    two = [(c, bar) for c, bar in told if c.pattern.bars == 2]
    assert len(two) > 3
    assert all(c.bar == bar.clave_half for c, bar in two)


def test_a_style_that_runs_on_says_so() -> None:
    assert "run on through sections of odd length" in page(load_text(TWO_BARS, "test"))


# -- ornaments ----------------------------------------------------------------------------------------------


@each(
    ("line", "places"),
    [
        # tempo 120: a quarter lasts half a second; offsets in ms of what is struck beside the written strokes
        (". f . .", [472]),
        (". d . .", [430, 462]),
        (". r . .", [571, 643, 714, 786, 857, 929]),
    ],
)
def test_flams_drags_and_rolls_are_struck_around_the_written_stroke(
    line: str, places: list[float]
) -> None:
    """One grace note, two, or an open roll of about 14 strokes a second (common practice)."""
    for role, play in (("drums", drums.play), ("percussion", percussion.play)):
        notes = play(drummer([groove({"snare": line})], 1, role=role))
        written = next(n for n in notes if n.start_q == 1)
        beside = [n for n in notes if n.start_q != 1]
        assert [round(float(n.start_q) * 500) for n in beside] == pytest.approx(places, abs=1)
        assert all(n.velocity < written.velocity for n in beside)
        assert all("flam" in n.why.words or "drag" in n.why.words or "roll" in n.why.words for n in beside)  # fmt: skip


def test_a_buzz_is_denser_and_softer_than_a_roll_and_lasts_as_long_as_it_is_held() -> None:
    rolled, buzzed, long = (
        drums.play(drummer([groove({"snare": line})], 1))[1:]
        for line in ("r . . .", "z . . .", "z= = . .")
    )
    assert len(buzzed) > len(rolled)
    assert max(n.velocity for n in buzzed) < min(n.velocity for n in rolled)
    assert max(n.start_q for n in buzzed) < 1 < max(n.start_q for n in long) < 2


def test_a_mark_that_drums_do_not_know_is_answered_with_those_they_know() -> None:
    with pytest.raises(StyleError) as raised:
        load_text(TWO_BARS.replace("x . . .", "q . . ."), "test")
    assert "f d r z" in raised.value.diagnostics[0].hint
