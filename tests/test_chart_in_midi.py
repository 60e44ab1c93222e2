"""What a chart asks for, read back from the MIDI file: pitches and onsets.

Sources: C4 is MIDI 60 (MIDI Manufacturers Association's usual naming, as in scientific pitch); General MIDI Level 1
drum keys 35 and 36 bass drum, 49 and 57 crash, 42, 44 and 46 hi-hat; the rules of the chart language. Players stray
from the written place by some milliseconds, so an onset counts as at a place within 0.06 quarters.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import mido
import pytest

from backing.commands.cli import run

NEAR = 0.06  # quarters
HEAD = "tempo: 120\nstyle: rock eighths\nending: as written\ncount-in: off\ncolour: none\n"
CRASH, HAT, KICK = {49, 57}, {42, 44, 46}, {35, 36}

Notes = dict[str, list[tuple[float, int]]]
Played = Callable[[str], Notes]


@pytest.fixture
def played(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Played:
    """Onset in quarters and pitch of every note by player."""

    def play(text: str) -> Notes:
        monkeypatch.chdir(tmp_path)
        Path("tune.txt").write_text(text, "utf-8")
        assert run(["make", "tune.txt", "-o", "tune.mid", "--force", "--quiet"]) == 0
        found: Notes = {}
        for track in mido.MidiFile("tune.mid").tracks:
            at = 0
            for message in track:
                at += message.time
                if message.type == "note_on" and message.velocity:
                    found.setdefault(track.name, []).append((at / 960, message.note))
        return found

    return play


def bar(notes: list[tuple[float, int]], number: int, beats: int = 4) -> list[tuple[float, int]]:
    """The notes of one bar, from 1, with onsets counted from its bar line."""
    start = (number - 1) * beats
    return [(at - start, pitch) for at, pitch in notes if start - NEAR <= at < start + beats - NEAR]


def places(notes: list[tuple[float, int]]) -> list[float]:
    """The eighths of a bar at which something sounds; what lies between them would not be equal to a list of eighths."""
    nearest = [(at, round(at * 2) / 2) for at, _ in notes]
    return sorted({eighth if abs(at - eighth) <= NEAR else at for at, eighth in nearest})


def test_a_melody_sounds_at_its_pitches_and_places(played: Played) -> None:
    notes = played(HEAD + "| C | F |\n  melody: | C5 / (E5 F5) r | Bb4 / / A4 |\n")["melody"]
    assert [pitch for _, pitch in bar(notes, 1)] == [72, 76, 77]
    assert places(bar(notes, 1)) == [0, 2, 2.5]
    assert [(round(at), pitch) for at, pitch in bar(notes, 2)] == [(0, 70), (3, 69)]


def test_hits_are_all_that_anybody_plays(played: Played) -> None:
    """x on one and on four of bar 2, on two-and of bar 3: everybody there and nowhere else."""
    found = played(HEAD + "| C | F | G7 | C |\n  hits: | x | x / / x | r (r x) r / | x |\n")
    for player in ("guitar", "keys", "bass", "drums"):
        assert places(bar(found[player], 2)) == [0, 3], player
        assert places(bar(found[player], 3)) == [1.5], player


def test_kicks_are_struck_inside_the_time(played: Played) -> None:
    """Chords play the kicks alone, the drums mark them and keep time on the other eighths."""
    found = played(HEAD + "| C | F | C |\n  kicks: | r | r / (r x) / | r |\n")
    assert places(bar(found["keys"], 2)) == [2.5]
    drums = bar(found["drums"], 2)
    assert {p for at, p in drums if abs(at - 2.5) <= NEAR} & KICK
    assert {p for at, p in drums if abs(at - 2.5) <= NEAR} & CRASH
    assert len([at for at, p in drums if p in HAT]) >= 4


def test_a_stop_silences_the_band_until_the_next_chord(played: Played) -> None:
    found = played(HEAD + "| C | F! | G7 | C |\n")
    for player in ("guitar", "keys", "bass", "drums"):
        assert places(bar(found[player], 2)) == [0], player
        assert bar(found[player], 3), player


def test_a_break_silences_its_bar_and_no_chord_the_pitched_players(played: Played) -> None:
    found = played(HEAD + '| C | "break" F | N.C. | C |\n')
    assert not any(bar(notes, 2) for notes in found.values())
    assert [player for player, notes in found.items() if bar(notes, 3)] == ["drums"]
    assert all(bar(found[p], 4) for p in ("guitar", "keys", "bass", "drums"))


def test_a_push_moves_chords_bass_and_kick_by_an_eighth(played: Played) -> None:
    found = played(HEAD + "| C | <F | C | C |\n")
    for player in ("keys", "bass"):
        early = [p % 12 for at, p in bar(found[player], 1) if abs(at - 3.5) <= NEAR]
        assert 5 in early or (player == "keys" and {5, 9} <= set(early)), player
    assert KICK & {p for at, p in bar(found["drums"], 1) if abs(at - 3.5) <= NEAR}


def test_tacet_rests_one_player_from_its_bar_to_the_end_of_the_section(played: Played) -> None:
    found = played(HEAD + '[A]\n| C | "tacet bass" F | G7 |\n[B]\n| C | F |\n')
    assert [bool(bar(found["bass"], n)) for n in range(1, 6)] == [True, False, False, True, True]
    assert all(bar(found["drums"], n) for n in range(1, 6))


def test_players_named_in_a_section_are_the_ones_that_sound(played: Played) -> None:
    found = played(HEAD + "[A]\nplayers: bass, drums\n| C | F |\n[B]\n| C | F |\n")
    first = {player for player, notes in found.items() if bar(notes, 1) or places(bar(notes, 2))}
    assert first == {"bass", "drums"}
    assert {"guitar", "bass", "drums"} <= {
        player for player, notes in found.items() if bar(notes, 4)
    }


def test_rubato_strikes_each_chord_once_without_drums(played: Played) -> None:
    found = played(HEAD + '| "rubato" Cm7 | F7 | "a tempo" Bb | Bb |\n')
    for number in (1, 2):
        assert places(bar(found["keys"], number)) == [0]
        assert not bar(found["drums"], number)
    assert bar(found["drums"], 3)


def tempi(path: str) -> list[tuple[float, float]]:
    """(quarters, quarters a minute) of every tempo."""
    found, at = [], 0
    for message in mido.MidiFile(path).tracks[0]:
        at += message.time
        if message.type == "set_tempo":
            found.append((at / 960, 60e6 / message.tempo))
    return found


def test_a_fermata_doubles_its_chord(played: Played) -> None:
    """Half the tempo under the two beats of the chord, then as before."""
    played(HEAD + '| C "fermata" F | C | C |\n')
    assert tempi("tune.mid") == [(0, 120), (2, 60), (4, 120)]


def test_a_ritard_ends_at_four_fifths_of_the_tempo(played: Played) -> None:
    played(HEAD + '| C | F | "rit." G7 | C |\n')
    found = tempi("tune.mid")
    speeds = [qpm for _, qpm in found]
    assert found[0] == (0, 120)
    assert found[1][0] >= 8 - NEAR
    assert speeds == sorted(speeds, reverse=True)
    assert 96 - 0.5 <= speeds[-1] < 100


@pytest.mark.parametrize(
    ("setting", "semitones"), [("capo: 3", 3), ("tuned: -2", -2), ("capo: 5\ntuned: -2", 3)]
)
def test_capo_and_tuning_move_every_pitch_and_no_drum(
    played: Played, setting: str, semitones: int
) -> None:
    """A song in G with the capo at three sounds in B flat."""
    text = "key: G\n" + HEAD + "| G | C |\n  melody: | G4 | E4 |\n"
    plain, moved = played(text), played(f"{setting}\n{text}")
    assert [p for _, p in moved["melody"]] == [p + semitones for _, p in plain["melody"]]
    for number, root in ((1, 7), (2, 0)):
        assert bar(moved["bass"], number)[0][1] % 12 == (root + semitones) % 12
    assert moved["drums"] == plain["drums"]


def test_a_section_moved_in_the_form_sounds_higher(played: Played) -> None:
    found = played("form: A A+2\n" + HEAD + "[A]\n| C | F |\n  melody: | C5 | A4 |\n")["melody"]
    assert [p for _, p in found] == [72, 69, 74, 71]


def test_a_pickup_is_counted_in_up_to_where_it_begins(played: Played) -> None:
    """Three quarters of clicks, then the pickup's own quarter."""
    text = (
        HEAD.replace("count-in: off", "count-in: 1")
        + "pickup: 1\n| G7 | C | F |\n  melody: | B4 | C5 | A4 |\n"
    )
    found = played(text)
    assert [round(at) for at, _ in found["click"]] == [0, 1, 2]
    assert [(round(at), p) for at, p in found["melody"]][:2] == [(3, 71), (4, 72)]
