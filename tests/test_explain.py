"""An arrangement in words: every note with its degree and reason, and the form as played."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest

from backing.band.model import Kind, Note
from backing.ground.errors import RequestError
from backing.ground.instruments import STANDARD_TUNING
from backing.ground.pitch import Key, Pitch
from backing.performance.explain import (
    bar_name,
    by_key,
    chosen_bars,
    explain,
    explain_json,
    form_text,
    grip_text,
    place,
    spelled,
    timeline_text,
)
from tests.band import DEMOS, arranged, chart, demo, performed, timeline
from tests.briefs import UNASKED
from tests.each import each


def test_a_note_is_spelled_by_its_degree() -> None:
    """The third of Eb minor is Gb and the sharp fifth of C is G#, whatever the key prefers."""
    music = timeline("key: C\ntempo: 120\nending: as written\n| Ebm | C7#5 |\n")
    key = Key.parse("C")
    assert (
        spelled(Note(Fraction(0), Fraction(1), 54, 80, UNASKED, "b3", 0), music, key).name == "Gb3"
    )
    assert (
        spelled(Note(Fraction(4), Fraction(5), 68, 80, UNASKED, "#5", 1), music, key).name == "G#4"
    )


def test_a_spelled_pitch_keeps_its_octave_across_the_letter_c() -> None:
    """Cb4 is the note below C4, B#3 the same key as C4 (scientific pitch: the octave goes with the letter)."""
    music = timeline("tempo: 120\nending: as written\n| Abm | G#7 |\n")
    key = Key.parse("C")
    assert (
        spelled(Note(Fraction(0), Fraction(1), 59, 80, UNASKED, "b3", 0), music, key).name == "Cb4"
    )
    assert (
        spelled(Note(Fraction(4), Fraction(5), 60, 80, UNASKED, "3", 1), music, key).name == "B#3"
    )


def test_a_note_without_a_fitting_degree_is_spelled_by_the_key() -> None:
    music = timeline("key: Db\ntempo: 120\n| Db |\n")
    lost = Note(Fraction(0), Fraction(1), 61, 80, UNASKED, "5", 0)
    assert spelled(lost, music, Key.parse("Db")).name == "Db4"
    assert spelled(lost, music, Key.parse("D")).name == "C#4"


@each(
    ("key", "names"),
    [
        ("C", "C C# D Eb E F F# G Ab A Bb B"),
        ("E", "C C# D D# E F F# G G# A A# B"),
        ("Db", "C Db D Eb E F Gb G Ab A Bb Cb"),
    ],
)
def test_chromatic_notes_have_their_usual_names_in_a_key(key: str, names: str) -> None:
    """Flat third, sixth and seventh and sharp first and fourth (common practice)."""
    assert " ".join(by_key(60 + i, Key.parse(key)).name for i in range(12)) == names


def test_every_pitch_name_sounds_as_its_note() -> None:
    for name in ("blues", "waltz", "bossa"):
        music = demo(name)
        for voice in music.players:
            if voice.role in ("bass", "keys", "guitar"):
                for note in voice.notes:
                    bar = music.timeline.bar_at(note.start_q)
                    assert spelled(note, music.timeline, bar.key).midi == note.pitch


def test_places_are_counted_beats() -> None:
    music = timeline("tempo: 120\nending: as written\nmeter: 6/8\n| C | F |\n")
    bar = music.bars[1]
    assert place(Fraction(3), bar) == "1"
    assert place(Fraction(9, 2), bar) == "2"
    assert place(Fraction(5), bar) == "2+1/3"


def test_places_in_a_pickup_are_counted_from_the_missing_bar_line() -> None:
    music = timeline("tempo: 120\npickup: 1\nmeter: 3/4\n| C7 | F | G7 |\n")
    assert place(Fraction(0), music.bars[0]) == "3"
    assert bar_name(music.bars[0]) == "pickup"
    assert bar_name(music.bars[1]) == "bar 1 (played 2)"


def test_a_grip_is_written_from_the_low_string() -> None:
    frets = {5: 3, 4: 5, 3: 3, 2: 5}
    notes = [
        Note(Fraction(0), Fraction(1), STANDARD_TUNING[6 - s] + f, 80, UNASKED, string=s, fret=f)
        for s, f in frets.items()
    ]
    assert grip_text(notes) == "x 3 5 3 5 x"
    assert grip_text(notes[:1]) == "string 5 fret 3"


def test_every_bar_and_every_player_has_a_line() -> None:
    music = arranged(chart("Cm7 F7 | Bbmaj7 | Em7b5 A7 | Dm6", tempo=140, ending="as written"))
    text = explain(music)
    assert text.startswith("count-in · 2 bars\n\nbar 1 · Cm7 F7\n")
    bars = text.split("\n\n")[1:]
    assert len(bars) == 4
    for bar in bars:
        assert [line.split(":")[0].strip() for line in bar.splitlines()[1:]] == [
            "guitar", "keys", "bass", "drums",
        ]  # fmt: skip
    assert re.search(r"bass: +1: C2 1 \(root of Cm7\)", bars[0])
    assert re.search(r"guitar: .*\[[x\d ]+\] \(", text)
    assert re.search(r"drums: .*ride 1 2", text)


def test_a_choice_of_bars_shows_their_first_playing() -> None:
    music = arranged(chart("C | F | G7 | C", tempo=140, choruses=2, ending="as written"))
    heads = [line for line in explain(music, (2, 3)).splitlines() if line.startswith("bar")]
    assert heads == ["bar 2 · F", "bar 3 · G7"]


def test_bars_that_are_not_there_are_refused() -> None:
    music = timeline(chart("C | F", tempo=140, ending="as written"))
    with pytest.raises(RequestError, match="--bars 5-8: this chart has bars 1 to 2"):
        chosen_bars(music, (5, 8))


def test_a_silent_bar_says_so() -> None:
    music = arranged("tempo: 120\nending: as written\n| C! | N.C. | F |\n")
    assert explain(music, (2, 2)).count("rests") == 4
    assert "C!" in explain(music, (1, 1)).splitlines()[0]


def test_the_notes_as_objects_are_exact_and_complete() -> None:
    music = arranged(chart("C | F | G7 | C", tempo=140))
    rows = explain_json(music)
    assert len(rows) == sum(len(p.notes) for p in music.players)
    for row in rows:
        keys = ["bar", "player", "start", "length", "pitch", "velocity", "degree", "why", "kind"]
        assert list(row)[:9] == keys
        assert Fraction(str(row["length"])) > 0
        assert row["why"]
        assert row["kind"] in {kind.value for kind in Kind}
        guitar = row["player"] == "guitar"
        assert guitar == ("string" in row) == ("fret" in row)
    counted = [r for r in rows if r["bar"] == 0]
    assert {r["player"] for r in counted} == {"click"}
    assert counted[0]["start"] == "-8"
    assert {r["bar"] for r in explain_json(music, (2, 3))} == {2, 3}


@each("path", DEMOS, ids=lambda p: p.stem)
def test_every_guitar_note_is_where_its_string_and_fret_say(path: Path) -> None:
    """Open strings E2 A2 D3 G3 B3 E4, moved by capo and tuning."""
    music = demo(path.stem)
    open_strings = [Pitch.parse(p).midi for p in ("E4", "B3", "G3", "D3", "A2", "E2")]
    shift = music.timeline.capo + music.timeline.tuned
    for row in explain_json(music):
        if row["player"] == "guitar":
            string, fret, pitch = row["string"], row["fret"], row["pitch"]
            assert isinstance(string, int)
            assert isinstance(fret, int)
            assert pitch == open_strings[string - 1] + shift + fret


def test_a_checked_chart_shows_form_length_and_chords() -> None:
    text = (
        "title: Small Hours\nkey: F\ntempo: 120\nform: Intro (A B) x2 Ending\nending: as written\n"
        "[Intro]\n| F | C7 |\n[A]\n| F | <Bb7 | F! | N.C. |\n[B]\n| 3/4 Gm7 | C7 | F | % |\n[Ending]\n| F= |\n"
    )
    found = timeline_text("small.txt", performed(text)).splitlines()
    assert found[0] == "small.txt: Small Hours (straight-ahead swing, F major, 4/4, quarter = 120)"
    assert found[1].startswith("form: Intro | A B")
    assert found[1].endswith("| Ending")
    assert found[2].startswith("19 bars, 0:4")
    assert "after 2 bars of count-in; ending: as written" in found[2]
    assert any(line.endswith("| F | <Bb7 | F! | N.C. (silent) |") for line in found)
    assert any("| 3/4 Gm7 | C7 | F | F |" in line for line in found)
    assert any("4/4 F=" in line for line in found)


def test_the_form_sets_choruses_apart() -> None:
    music = timeline("tempo: 120\nform: A A\nchoruses: 2\nending: as written\n[A]\n| C | F |\n")
    assert form_text(music) == "A A | A A"
