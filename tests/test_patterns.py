"""Patterns in bars: half and double time, pickups, and that all players read the same part of a pattern.

Source: half time spreads a bar of the groove over two, so that a backbeat on two and four comes once a bar, on three;
double time puts two bars into one (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import pytest

from backing.band.arrange import arrange
from backing.band.model import Arrangement
from backing.band.players import drums, laid, percussion, riffs
from backing.band.players.patterns.lay import Chosen, Lines, strokes
from backing.band.players.patterns.lay import laid as lay
from backing.ground.instruments import DRUM_KEYS
from backing.styles.find import find, names
from backing.styles.load import load_text
from backing.styles.model import Style, Where
from backing.timeline.model import PlayedBar, TimeFeel
from tests.band import arranged, notes_in, player, timeline

FOUR = [
    name
    for name in names()
    if find(name).meters[0].name == "4/4"
    and find(name).part("bass")
    and (find(name).part("keys") or find(name).part("guitar"))
]
STARTS = [(before, pickup) for before in (0, 1, 2) for pickup in (False, True)]


def turning(word: str, before: int, pickup: bool, bars: int = 12) -> tuple[str, int]:
    """A chart whose time feel changes after some bars, and the index (from 1) of the bar where it does."""
    row = ["C"] * (before + bars)
    row[before] = f'"{word}" C'
    header = "meter: 4/4\nending: as written\ndynamics: mf\n"
    if pickup:
        return f"{header}pickup: 1\n| C | {' | '.join(row)} |", before + 2
    return f"{header}| {' | '.join(row)} |", before + 1


@pytest.mark.slow
@pytest.mark.parametrize(("before", "pickup"), [(1, False), (2, False), (1, True)])
def test_half_time_starts_all_players_of_all_styles_on_the_same_half(
    before: int, pickup: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first bar in half time holds the first half of a pattern's first bar, for whoever plays patterns."""
    text, first = turning("half time", before, pickup, bars=4)
    told: list[tuple[Chosen, PlayedBar]] = []

    def heard(chosen: Chosen, bar: PlayedBar, steady: Sequence[str] = ()) -> Lines:
        told.append((chosen, bar))
        return lay(chosen, bar, steady)

    for module in (drums, laid, percussion, riffs):
        monkeypatch.setattr(module, "laid", heard)
    turned = []
    for name in FOUR:
        told.clear()
        arranged(text, name)
        assert told, name
        for chosen, bar in told:
            if bar.time_feel is TimeFeel.HALF and chosen.pattern.where is Where.TIME:
                passed, half = divmod(bar.index - first, 2)
                style = find(name)  # a clave, and a groove that runs on, are counted through
                turns = style.clave is None and not style.runs_on
                if turns and (chosen.bar, chosen.half) != (passed % chosen.pattern.bars, half):
                    turned.append(
                        f"{name}: '{chosen.pattern.name}' in bar {bar.index}: {chosen[1:]}"
                    )
                elif chosen.half != half:
                    turned.append(f"{name}: '{chosen.pattern.name}' in bar {bar.index}")
    assert not turned


# Every line tells its first half (strokes on one and two) from its second (one stroke on four), in two bars.
TELLING = """
about = "Halves that are told apart by ear."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
repeats = true
[bass]
instrument = "finger bass"
[[bass.pattern]]
name = "bass"
lines.bass = "1 5 . 8 | 1 3 . 8"
[keys]
instrument = "acoustic piano"
[[keys.pattern]]
name = "keys"
lines.chord = "x x . x"
[guitar]
instrument = "steel guitar"
[[guitar.pattern]]
name = "guitar"
lines.chord = "x x . x"
[drums]
instrument = "drum kit"
settings = { fills = "none" }
[[drums.pattern]]
name = "drums"
lines.kick = "x x . x"
lines.hat = "xx xx xx xx"
[percussion]
instrument = "percussion"
[[percussion.pattern]]
name = "percussion"
lines."open conga" = "x x . x"
"""


def telling() -> Style:
    return load_text(TELLING, "telling.toml")


def places(music: Arrangement, role: str, index: int) -> list[Fraction]:
    """Where a player strikes in a bar, in quarters from its start; of the drums the kick alone."""
    bar = music.timeline.bars[index - 1]
    inside = notes_in(player(music, role).notes, bar.start_q, bar.end_q)
    kick = DRUM_KEYS["kick"]
    return sorted({n.start_q - bar.start_q for n in inside if role != "drums" or n.pitch == kick})


@pytest.mark.parametrize(("before", "pickup"), STARTS)
def test_in_half_time_the_first_half_comes_first_and_the_second_after_it(
    before: int, pickup: bool
) -> None:
    text, first = turning("half time", before, pickup)
    music = arrange(timeline(text), telling())
    for role in ("bass", "keys", "guitar", "drums", "percussion"):
        for index in range(first, first + 8):
            wanted = [0, 2] if (index - first) % 2 == 0 else [2]
            found = places(music, role, index)
            assert [q for q in found if q] == [q for q in wanted if q], (role, index)
            assert (0 in found) or wanted == [2], (role, index)
    hats = [n for n in player(music, "drums").notes if n.pitch == DRUM_KEYS["hat"]]
    bar = music.timeline.bars[first]  # the one before may begin with a crash
    assert len(notes_in(hats, bar.start_q, bar.end_q)) == 8, "the hat keeps the eighths"
    # two bars of the pattern last four: the third of the chord comes in the second of them
    thirds = [n.start_q for n in player(music, "bass").notes if n.degree == "3"]
    start = music.timeline.bars[first - 1].start_q
    assert [q - start for q in thirds if q >= start][:2] == [10, 26]


@pytest.mark.parametrize(("before", "pickup"), STARTS)
def test_in_double_time_two_bars_of_a_pattern_stand_in_one(before: int, pickup: bool) -> None:
    text, first = turning("double time", before, pickup)
    music = arrange(timeline(text), telling())
    row = [Fraction(q, 2) for q in (0, 1, 3, 4, 5, 7)]
    for role in ("bass", "keys", "guitar", "drums", "percussion"):
        for index in range(first, first + 4):
            assert places(music, role, index) == row, (role, index)
    for index in range(first, first + 4):
        bar = music.timeline.bars[index - 1]
        bass = notes_in(player(music, "bass").notes, bar.start_q, bar.end_q)
        assert [n.degree for n in bass] == ["1", "5", "1", "1", "3", "1"], index


def test_a_pickup_has_the_end_of_a_bar_in_every_feel() -> None:
    """A pickup of one beat: what the pattern has on four; in half time the end of its second half."""
    style = telling()
    bar = timeline("meter: 4/4\npickup: 1\n| C | C | C |").bars[0]
    pattern = next(p for p in style.parts if p.role == "drums").patterns[0]
    assert bar.length_q == 1
    kick = lay(Chosen(pattern, 0), bar)["kick"]
    assert [(b.at_q, b.mark) for b in kick] == [(3, "x")]
    slow = bar._replace(time_feel=TimeFeel.HALF)
    assert not lay(Chosen(pattern, 0, 1), slow)["kick"]
    assert [b.at_q for b in lay(Chosen(pattern, 0, 1), slow, ["hat"])["hat"]] == [3, Fraction(7, 2)]
    assert strokes(pattern, 0) == strokes(pattern, 1), "a pattern begins again behind its last bar"


def test_players_agree_on_the_bar_of_a_pattern_at_the_end_of_an_odd_phrase() -> None:
    """In a phrase of five the fifth bar is the first of a pattern of two again; what is made for an end ends with it."""
    text = TELLING.replace('"x x . x"\n[guitar]', '"x x . x | x . . ."\n[guitar]', 1)
    text = text.replace('"1 5 . 8 | 1 3 . 8"', '"1 5 . 8 | 1 . . ."')
    tune = timeline("meter: 4/4\nending: as written\n| C | C | C | C | C |\n")
    music = arrange(tune, load_text(text, "telling.toml"))
    for role in ("bass", "keys"):
        assert [len(places(music, role, i)) for i in range(1, 6)] == [3, 1, 3, 1, 3], role
    ends = (
        '[[{0}.pattern]]\nname = "{0} end"\nwhere = "phrase-end"\nlines.{1} = "x x x x | . . . x"\n'
    )
    closing = ends.format("keys", "chord") + ends.format("bass", "bass").replace("x", "1")
    music = arrange(tune, load_text(text + closing, "telling.toml"))
    for role in ("bass", "keys"):
        assert 3 in places(music, role, 5), role
        assert not {1, 2} & set(places(music, role, 5)), role
