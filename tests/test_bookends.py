"""How a style's own band counts in and ends."""

from __future__ import annotations

from fractions import Fraction

import pytest

from backing.band.arrange import arrange
from backing.band.model import Arrangement, Kind, Note
from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import prepare
from backing.ground.instruments import DRUM_NAMES
from backing.output.page.beats import counted
from backing.performance.perform import perform
from backing.styles.load import load_text
from backing.styles.show import page
from tests.band import performer, player
from tests.each import each
from tests.refused import refused

STYLE = """
about = "For tests."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
TOP
[bass]
instrument = "finger bass"
[[bass.pattern]]
name = "roots"
lines.bass = "1 . 1 ."
[keys]
instrument = "acoustic piano"
[[keys.pattern]]
name = "chords"
lines.chord = "x . x ."
[drums]
instrument = "drum kit"
[[drums.pattern]]
name = "time"
lines.hat = "xx xx xx xx"
lines.snare = ". x . x"
OWN
"""
PICK_UP = """
[[drums.pattern]]
name = "pick-up"
where = "count-in"
lines.snare = ". . .x xX"
lines."floor tom" = ". . . .x"
"""
TUNE = "meter: 4/4\ntempo: 120\nkey: C\n[A]\n| C | F | G7 | C |\n"


@pytest.fixture
def make(tmp_path, monkeypatch):
    def played(top: str = "", own: str = "", text: str = TUNE, **wish: object) -> Arrangement:
        (tmp_path / "own.toml").write_text(STYLE.replace("TOP", top).replace("OWN", own), "utf-8")
        options = Options().changed(style=str(tmp_path / "own.toml"), **wish)
        ready = prepare(parse(text), options)
        return arrange(ready.timeline, ready.style, 1)

    return played


def in_bar(music: Arrangement, role: str, number: int) -> list[Note]:
    return [n for n in player(music, role).notes if int(n.start_q // 4) == number - 1]


def places(notes: list[Note]) -> list[Fraction]:
    return sorted({n.start_q % 4 for n in notes})


# -- the end ------------------------------------------------------------------------------------------------


def test_a_style_has_an_ending_of_its_own_and_the_chart_and_whoever_plays_another(make) -> None:
    assert make().timeline.ending.name == "ring"
    assert make('ending = "short"').timeline.ending.name == "short"
    assert make('ending = "fade 2"').timeline.fade_bars == 2
    asked = make('ending = "short"', text=TUNE.replace("key: C", "key: C\nending: rit"))
    assert asked.timeline.ending.name == "rit"
    (last,) = {n.length_q for n in in_bar(make('ending = "short"'), "keys", 4)}
    assert last == Fraction(1, 2)


def test_the_last_chord_has_the_rhythm_of_the_style(make) -> None:
    """A march ends with a stinger: a short stroke behind a beat of silence (common practice)."""
    march = make('last_chord = "X. . X. ."')
    for role in ("bass", "keys", "drums"):
        notes = in_bar(march, role, 4)
        assert places(notes) == [0, 2], role
        assert all(n.why.kind is Kind.LAST_CHORD for n in notes)
    assert {n.length_q for n in in_bar(march, "keys", 4)} == {Fraction(1, 2)}


def test_a_last_stroke_that_is_held_rings(make) -> None:
    text = TUNE.replace("G7 | C |", "G7 | C | % |")
    notes = in_bar(make('last_chord = ".X X= = ="', text=text), "keys", 4)
    assert {(n.start_q % 4, n.end_q) for n in notes} == {(Fraction(1, 2), 13), (Fraction(1), 20)}


def test_a_meter_too_short_for_the_rhythm_ends_with_one_stroke(make) -> None:
    text = TUNE.replace("G7 | C |", "G7 | 2/4 C |")
    assert places(in_bar(make('last_chord = "X . . ."', text=text), "keys", 4)) == [0]


@each(
    ("text", "wish"),
    [(TUNE.replace("key: C", "key: C\nending: ring"), {}), (TUNE, {"ending": "short"})],
)
def test_an_ending_that_is_asked_for_has_no_other_rhythm(text: str, wish: dict[str, str]) -> None:
    from backing.timeline.unroll import unroll

    own = load_text(STYLE.replace("TOP", 'last_chord = ". X . X"').replace("OWN", ""), "t")
    from backing.commands.values import ending
    from backing.timeline.form import Form

    form = Form(ending=ending(wish["ending"])) if wish else Form()
    music = arrange(unroll(parse(text), form), own, 1)
    assert places(in_bar(music, "keys", 4)) == [0]


# -- the beginning ------------------------------------------------------------------------------------------


def test_a_style_counts_in_as_many_bars_as_it_says(make) -> None:
    assert make().count_in_bars == 2
    assert make("count_in = 1").count_in_bars == 1
    assert make('count_in = "off"').count_in_q == 0
    assert make("count_in = 1", text=TUNE.replace("key: C", "key: C\ncount-in: 3")).count_in_bars == 3  # fmt: skip
    assert make("count_in = 1", count_in=2).count_in_bars == 2


def test_drums_lead_in_in_place_of_the_last_bar_of_the_click(make) -> None:
    music = make(own=PICK_UP)
    struck = [(DRUM_NAMES[n.pitch], n.start_q) for n in player(music, "click").notes]
    assert [at for drum, at in struck if "block" in drum] == [-8, -6]
    assert [at for drum, at in struck if drum == "snare"] == [Fraction(-3, 2), -1, Fraction(-1, 2)]
    assert [at for drum, at in struck if drum == "floor tom"] == [Fraction(-1, 2)]
    assert all(n.start_q >= 0 for n in player(music, "drums").notes)


def test_a_lead_in_ends_where_a_pickup_begins(make) -> None:
    music = make(own=PICK_UP, text=TUNE.replace("[A]\n|", "pickup: 1\n[A]\n| G7 |"))
    at = [n.start_q for n in player(music, "click").notes]
    assert max(at) < 0
    assert Fraction(-1, 2) in at, "three and a half"


def test_a_lead_in_swings_with_the_band(make) -> None:
    music = make('feel = "shuffle"', own=PICK_UP)
    played = performer(perform(music), "click").notes
    (first, *_) = [n.start_q for n in played if DRUM_NAMES[n.pitch] == "snare"]
    assert first == pytest.approx(-2 + 2 / 3, abs=1e-4)


def test_without_drums_the_click_counts(make) -> None:
    music = make(own=PICK_UP)
    alone = arrange(music.timeline, music.style, 1, without=frozenset({"drums"}))
    assert {DRUM_NAMES[n.pitch] for n in player(alone, "click").notes} == {"high block", "low block"}  # fmt: skip


def test_a_page_counts_the_beats_of_a_lead_in(make) -> None:
    """Whoever looks at the page sees the count, whatever the drums play in it."""
    told = counted(perform(make(own=PICK_UP)))
    assert [word for _, _, word in told] == ["1", "2", "1", "2", "3", "4"]
    assert told == counted(perform(make()))


def test_a_lead_in_stands_nowhere_else(make) -> None:
    words = {n.why.words for n in player(make(own=PICK_UP), "drums").notes}
    assert not any("pick-up" in told for told in words)


# -- said, shown, refused -----------------------------------------------------------------------------------


def test_a_page_shows_how_a_style_begins_and_ends() -> None:
    top = 'count_in = 1\nending = "short"\nlast_chord = "X . X ."'
    text = page(load_text(STYLE.replace("TOP", top).replace("OWN", PICK_UP), "t"))
    assert "  count-in one bar, unless asked otherwise\n" in text
    assert "  ending  short, unless asked otherwise\n" in text
    assert "  last chord in the rhythm X . X .\n" in text
    assert "pick-up  (4/4, mf, count-in, weight 1)\n" in text


@each(
    ("text", "message", "hint"),
    [
        (STYLE.replace("TOP", 'ending = "shrt"'), "there is no ending 'shrt'", "short"),
        (STYLE.replace("TOP", 'ending = "fade 99"'), "there is no ending 'fade 99'", "fade 8"),
        (STYLE.replace("TOP", 'count_in = "none"'), "'count_in' should be a number of bars", '"off"'),
        (STYLE.replace("TOP", "count_in = 9"), "'count_in' is 9", "from 1 to 8"),
        (STYLE.replace("TOP", 'last_chord = "X . ."'), "bar 1 has 3 pulses, 4/4 has 4", "one pulse"),
        (STYLE.replace("TOP", 'last_chord = ". . . ."'), "has one bar, and a stroke in it", "X . X"),
        (STYLE.replace("TOP", 'last_chord = "X . . . | X . . ."'), "has one bar", "rings"),
        (STYLE.replace("TOP", 'last_cord = "X . . ."'), "'last_cord' is not a key", "last_chord"),
        (STYLE.replace('lines.chord = "x . x ."', 'lines.chord = "x . x ."\nwhere = "count-in"'), "there is no where 'count-in'", "time"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_what_to_type(text: str, message: str, hint: str) -> None:
    refused(text.replace("TOP", "").replace("OWN", ""), message, hint)
