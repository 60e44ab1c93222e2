"""Roles as one table, and several players of one role: two guitars that a style names."""

from __future__ import annotations

from pathlib import Path

import pytest

from backing.band.arrange import arrange
from backing.band.chairs import BAND
from backing.band.model import Arrangement, Note
from backing.band.players.common import Brief
from backing.commands.cli import run
from backing.ground.errors import ArrangementError, StyleError
from backing.ground.instruments import STANDARD_TUNING
from backing.ground.roles import CHANNELS, PLAYERS, ROLES, UNPITCHED, named, role_of
from backing.harmony.reader import read
from backing.styles.algorithms import ALGORITHMS
from backing.styles.load import load_text
from backing.styles.model import Style
from tests.band import player, timeline

TWO = """
about = "Two guitars: one strums, one picks."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
[guitar]
instrument = "steel guitar"
settings = { voicing = "open" }
[[guitar.pattern]]
name = "strummed"
lines.chord = "d .u .u d"
["guitar 2"]
instrument = "clean guitar"
[["guitar 2".pattern]]
name = "picked"
lines.chord = "43 21 43 21"
[bass]
instrument = "finger bass"
plays = "root-fifth"
[drums]
instrument = "drum kit"
[[drums.pattern]]
name = "time"
lines.hat = "xx xx xx xx"
"""
TUNE = "key: C\nending: as written\n| C | Am7 | Dm7 | G7 |\n"


def two(text: str = TWO) -> Style:
    return load_text(text, "two.toml")


def who(music: Arrangement) -> list[str]:
    return [p.role for p in music.players if p.notes and p.role != "click"]


def test_every_role_is_whole() -> None:
    """Each has a chair and algorithms (but for the click), channels of its own, and a place in the score."""
    assert set(BAND) == set(ROLES) - {"click"}
    assert set(ALGORITHMS) == set(BAND)
    assert tuple(dict.fromkeys(role_of(p).name for p in PLAYERS)) == ROLES
    pitched = [CHANNELS[p] for p in PLAYERS if p not in UNPITCHED]
    assert len(set(pitched)) == len(pitched), "a channel a pitched player"
    assert 9 not in pitched, "General MIDI level 1 keeps channel 10 for percussion"
    assert {CHANNELS[p] for p in UNPITCHED} == {9}
    assert all(0 <= c <= 15 for c in CHANNELS.values())
    for role in map(role_of, ROLES):
        assert role.leads is None or 0 <= role.leads[1] < role.leads[0] <= 1, role.name
        assert 0 <= role.steady <= 1, role.name


def test_the_name_of_a_role_means_all_its_players() -> None:
    assert named("guitar", ["guitar"])
    assert named("guitar 2", ["guitar"])
    assert not named("guitar", ["guitar 2"])
    assert not named("guitar 2", ["keys"])


@pytest.mark.parametrize(("capo", "tuned"), [(0, 0), (0, -2), (3, 0), (2, -2), (0, 1)])
def test_two_guitars_play_the_chords_with_capo_and_tuning(capo: int, tuned: int) -> None:
    """Each note sounds what its string and fret say, and belongs to the chord that sounds."""
    music = arrange(timeline(f"capo: {capo}\ntuned: {tuned}\n{TUNE}"), two())
    assert who(music) == ["guitar", "guitar 2", "bass", "drums"]
    names = {}
    for role in ("guitar", "guitar 2"):
        notes = player(music, role).notes
        names[role] = {n.why.words.split(",")[0] for n in notes if n.why.words}
        for note in notes:
            open_string = STANDARD_TUNING[6 - note.string] + tuned + capo
            assert note.pitch == open_string + note.fret, (role, note)
            chord = music.timeline.chords[note.chord].chord
            assert chord is not None
            steps = {(chord.root.pc + d.semitones) % 12 for d in chord.degrees}
            assert note.pitch % 12 in steps, (role, note)
    assert "strummed" in names["guitar"]
    assert "picked" in names["guitar 2"]
    first = read("C")
    assert first is not None
    sounding = (first.root.pc + capo + tuned) % 12
    assert player(music, "bass").notes[0].pitch % 12 == sounding


def test_players_of_a_role_are_left_out_together_or_one_by_one() -> None:
    tune = timeline(TUNE)
    whole = arrange(tune, two())
    assert who(arrange(tune, two(), without=frozenset({"guitar"}))) == ["bass", "drums"]
    assert who(arrange(tune, two(), without=frozenset({"guitar 2"}))) == ["guitar", "bass", "drums"]
    assert who(arrange(tune, two(), only=frozenset({"guitar"}))) == ["guitar", "guitar 2"]
    alone = arrange(tune, two(), only=frozenset({"guitar 2"}))
    assert who(alone) == ["guitar 2"]
    assert player(alone, "guitar 2").notes == player(whole, "guitar 2").notes


def test_a_chart_that_names_a_role_means_all_its_players() -> None:
    bars = '[A]\nplayers: bass, guitar\n| C | F |\n[B]\nplayers: all but guitar\n| G | "tacet drums" C |\n'
    music = arrange(timeline(f"ending: as written\nform: A B\n{bars}"), two())
    for role in ("guitar", "guitar 2"):
        assert {music.timeline.bar_at(n.start_q).index for n in player(music, role).notes} == {1, 2}
    assert min(n.start_q for n in player(music, "drums").notes) >= 8


def test_a_style_may_drop_the_players_of_a_role(tmp_path: Path) -> None:
    (tmp_path / "two.toml").write_text(TWO, encoding="utf-8")
    for text, left in (("guitar", []), ("guitar 2", ["guitar"])):
        path = tmp_path / "mine.toml"
        path.write_text(f'like = "./two.toml"\nwithout = ["{text}"]\n', encoding="utf-8")
        found = load_text(path.read_text("utf-8"), str(path))
        assert [p.role for p in found.fretted] == left


def test_a_mistake_in_a_second_player_is_shown_in_its_place() -> None:
    with pytest.raises(StyleError) as wrong:
        two(TWO.replace('name = "picked"\nlines.chord', 'name = "picked"\nlines.cord'))
    (fault,) = wrong.value.diagnostics
    assert "there is no line 'cord'" in fault.message
    assert fault.span is not None
    assert fault.source is not None
    line = fault.source.text[: fault.span.start].count("\n")
    assert "cord" in fault.source.text.split("\n")[line]
    with pytest.raises(StyleError) as wrong:
        two(TWO.split('[["guitar 2".pattern]]')[0])
    assert '[["guitar 2".pattern]]' in wrong.value.diagnostics[0].hint


def test_stems_and_options_name_a_second_player(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "two.toml").write_text(TWO, encoding="utf-8")
    (tmp_path / "tune.txt").write_text("tuned: -2\n" + TUNE, encoding="utf-8")
    base = ["make", str(tmp_path / "tune.txt"), "--style", str(tmp_path / "two.toml"), "-o"]
    assert run([*base, str(tmp_path / "tune.wav"), "--stems"]) == 0
    made = {p.name for p in tmp_path.glob("tune-*.wav")}
    assert {"tune-guitar.wav", "tune-guitar-2.wav", "tune-bass.wav"} <= made
    assert run([*base, str(tmp_path / "alone.mid"), "--only", "guitar 2"]) == 0
    capsys.readouterr()
    assert run([*base, str(tmp_path / "none.mid"), "--only", "guitar 3"]) == 2
    assert "two has no guitar 3; it has guitar, guitar 2, bass" in capsys.readouterr().err


FAULTS = (
    ({"pitch": 12}, "bar 1: MIDI note 12 lies outside acoustic piano, 21 to 108"),
    ({"velocity": 0}, "bar 1: MIDI note 60 has no loudness from 1 to 127, but 0"),
    ({"end_q": 0}, "bar 1: MIDI note 60 has no length"),
    ({"start_q": 400, "end_q": 401}, "MIDI note 60 lies outside its section"),
)


@pytest.mark.parametrize(("fault", "message"), FAULTS)
def test_what_cannot_be_played_is_an_error_that_names_player_and_bar(
    fault: dict[str, int], message: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from importlib import import_module

    module = import_module("backing.band.arrange")
    real = BAND["keys"].play

    def wrong(brief: Brief) -> list[Note]:
        note = real(brief)[0]._replace(start_q=brief.start_q, pitch=60)
        return [note._replace(**fault)]

    monkeypatch.setattr(module, "BAND", {**BAND, "keys": BAND["keys"]._replace(play=wrong)})
    with pytest.raises(ArrangementError) as raised:
        arrange(
            timeline(TUNE),
            load_text(
                TWO
                + '[keys]\ninstrument = "acoustic piano"\n[[keys.pattern]]\nname = "k"\nlines.chord = "x . x ."\n',
                "three.toml",
            ),
        )
    assert str(raised.value).startswith("the keys cannot play ")
    assert message in str(raised.value)
