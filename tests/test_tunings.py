"""Other tunings of the guitar: a chart's own strings for grips, strums and runs, on the sheet and in the chord command."""

from __future__ import annotations

import json

import pytest

from backing.band.model import Kind
from backing.chart.parse import parse
from backing.chart.write import write
from backing.commands.cli import run
from backing.ground.instruments import STANDARD_TUNING
from backing.ground.pitch import NoteName
from backing.ground.tunings import NAMED, open_strings
from backing.harmony.grip import playable
from backing.harmony.taught import grips_for
from backing.output.sheet.grips import chosen
from tests.band import arranged, chart, player
from tests.briefs import chord as read
from tests.each import each


def strings(text: str) -> tuple[int, ...]:
    return open_strings(tuple(map(NoteName.parse, text.split())))


# Open strings in scientific pitch, as printed in books of tunings (common practice).
PRINTED = {
    "E A D G B E": "E2 A2 D3 G3 B3 E4", "D A D G B E": "D2 A2 D3 G3 B3 E4", "D A D G A D": "D2 A2 D3 G3 A3 D4",
    "D A D F# A D": "D2 A2 D3 F#3 A3 D4", "D G D G B D": "D2 G2 D3 G3 B3 D4", "C G C G C E": "C2 G2 C3 G3 C4 E4",
    "E A E A C# E": "E2 A2 E3 A3 C#4 E4", "E B E G# B E": "E2 B2 E3 G#3 B3 E4", "C G C F A D": "C2 G2 C3 F3 A3 D4",
    "Eb Ab Db Gb Bb Eb": "Eb2 Ab2 Db3 Gb3 Bb3 Eb4",
}  # fmt: skip


@each("names", list(PRINTED))
def test_a_string_is_tuned_to_the_nearest_pitch(names: str) -> None:
    from backing.ground.pitch import Pitch

    assert strings(names) == tuple(Pitch.parse(p).midi for p in PRINTED[names].split())


def test_every_tuning_that_has_a_name_has_six_strings() -> None:
    assert all(len(strings(names)) == 6 for names in NAMED.values())


def test_a_chart_names_its_open_strings() -> None:
    text = "tuning: D A D F# A D\n| D | G |\n"
    assert [n.name for n in parse(text).header.tuning] == ["D", "A", "D", "F#", "A", "D"]
    assert "tuning: D A D F# A D" in write(parse(text))
    german = parse("note-names: german\ntuning: E H E Gis H E\n| E |\n")
    assert [n.name for n in german.header.tuning] == ["E", "B", "E", "G#", "B", "E"]


@each("names", ["D A D G B E", "D A D G A D", "D G D G B D", "C G C G C E"])
def test_grips_strums_and_runs_are_for_the_strings_of_the_chart(names: str) -> None:
    """String and fret give the pitch; a hand can hold it; the chord is heard whole."""
    bars = "D | G | A7 | Bm | Em7 | D/F# | G | A"
    settings = {"key": "D", "meter": "4/4", "tuning": names}
    music = arranged(chart(bars, **settings), "folk strum")
    guitar = player(music, "guitar")
    own = strings(names)
    assert len(guitar.notes) > 100
    for note in guitar.notes:
        assert note.pitch == own[6 - note.string] + note.fret
    struck: dict[object, dict[int, int]] = {}
    for note in guitar.notes:
        struck.setdefault(note.start_q, {})[note.string] = note.fret
    for row in struck.values():
        assert playable([row.get(s, -1) for s in range(6, 0, -1)])


def test_the_bass_stays_as_it_is() -> None:
    texts = [
        chart("D | G | A7 | D", key="D", meter="4/4", tuning=t)
        for t in ("E A D G B E", "D A D G B E")
    ]
    usual, dropped = (player(arranged(t, "folk strum"), "bass").notes for t in texts)
    assert [(n.start_q, n.pitch) for n in usual] == [(n.start_q, n.pitch) for n in dropped]


def test_the_usual_strings_change_nothing() -> None:
    one, two = (
        player(
            arranged(chart("D | G | A7 | D", key="D", meter="4/4", **more), "folk strum"), "guitar"
        ).notes
        for more in ({}, {"tuning": "E A D G B E"})
    )
    assert one == two


def test_tuning_and_tuned_go_together() -> None:
    """Dropped D and a half step down: the lowest string sounds D flat."""
    text = chart("D | A7 | D | D", key="D", meter="4/4", tuning="D A D G B E", tuned=-1)
    assert min(n.pitch for n in player(arranged(text, "folk strum"), "guitar").notes) == 37


# Shapes that guitarists use in these tunings (common practice; from memory).
SHAPES = (
    ("D A D G B E", "D", "000232"), ("D A D G B E", "C", "x32010"), ("D A D G A D", "D", "004200"),
    ("D A D F# A D", "D", "000000"), ("D G D G B D", "G", "x00000"), ("D A D F# A D", "G", "555555"),
    ("E A E A C# E", "A", "x00000"),
)  # fmt: skip


@each("names, symbol, shape", SHAPES)
def test_a_teacher_shows_the_shapes_of_a_tuning(names: str, symbol: str, shape: str) -> None:
    assert shape in [grip.name for grip in grips_for(read(symbol), 6, strings(names))]


def test_standard_tuning_is_taught_as_before() -> None:
    assert grips_for(read("G"), 3) == grips_for(read("G"), 3, STANDARD_TUNING)


def test_the_sheet_draws_the_grips_of_the_tuning() -> None:
    text = "tuning: D A D G A D\n| D | G |\n"
    found = {chord.symbol: grip for chord, grip in chosen(parse(text))}
    assert found["D"].name == "004200"
    assert found["D"].tuning == (38, 45, 50, 55, 57, 62)


def test_check_says_who_plays_on_the_strings() -> None:
    music = arranged("tuning: D A D G B E\n| D |\n", "folk strum")
    assert any("tuning D A D G B E: guitars" in note for note in music.timeline.notes)


def test_the_chord_command_knows_other_tunings(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["chord", "D", "--tuning", "D A D G A D", "--json"]) == 0
    [told] = json.loads(capsys.readouterr().out)
    assert [0, 0, 4, 2, 0, 0] in [grip["frets"] for grip in told["grips"]]
    assert run(["chord", "D", "--tuning", "drop D"]) == 2
    assert (
        """--tuning: 'drop D' is no tuning of a guitar; write  --tuning "D A D G B E\""""
        in capsys.readouterr().err
    )


def test_a_run_is_played_on_the_strings_of_the_chart() -> None:
    music = arranged(
        chart("D | G | D | G", key="D", meter="4/4", tuning="D A D G B E"), "bluegrass"
    )
    guitar = player(music, "guitar")
    own = strings("D A D G B E")
    thumbs = [n for n in guitar.notes if n.why.kind in (Kind.THUMB, Kind.LINE)]
    assert thumbs
    assert all(n.pitch == own[6 - n.string] + n.fret for n in thumbs)
