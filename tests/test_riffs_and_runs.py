"""Figures that players know, written in the format of styles and played: what stands in `tests/data/styles`, note by note.

Sources: common practice of each music, as the head of every style tells it; runs, grips and boogie basses from memory.
"""

from __future__ import annotations

from itertools import groupby
from pathlib import Path

from backing.band.arrange import arrange
from backing.band.model import Arrangement, Kind
from backing.performance.explain import explain, grip_text, place, spelled
from backing.styles.load import load
from tests.band import chart, player, timeline
from tests.each import each

STYLES = Path(__file__).parent / "data" / "styles"


def played(name: str, bars: str, **settings: object) -> Arrangement:
    text = chart(bars, **{"meter": "4/4", "tempo": 88, "ending": "as written"} | settings)
    return arrange(timeline(text), load(STYLES / f"{name}.toml"), 1)


def told(music: Arrangement, role: str, bar: int) -> str:
    """What a player has in a bar: place, pitches, and strings and frets of a guitar."""
    here = music.timeline.bars[bar - 1]
    notes = [n for n in player(music, role).notes if here.start_q <= n.start_q < here.end_q]
    rows = []
    for at_q, group in groupby(notes, key=lambda n: n.start_q):
        struck = list(group)
        names = " ".join(spelled(n, music.timeline, here.key).name for n in struck)
        grip = f" [{grip_text(struck)}]" if struck[0].string else ""
        rows.append(f"{place(at_q, here)} {names}{grip}")
    return ", ".join(rows)


RUN = "G | C | D | G | Em | C | D | G"
BLUES = "C7 | C7 | F7 | F7 | C7 | C7 | G7 | C7"
SOUL = "C7 | F7 | C7 | G7"

# style, chart, player, bar, what is played
ROWS = (
    ("flat-picked-run", RUN, {"key": "G"}, "guitar", 8,
     "1 G2 [string 6 fret 3], 2 A2 [string 5 fret 0], 2+1/2 Bb2 [string 5 fret 1], 3 B2 [string 5 fret 2], "
     "3+1/2 D3 [string 4 fret 0], 4 E3 [string 4 fret 2], 4+1/2 G3 [string 3 fret 0]"),
    ("horn-riff", SOUL, {"key": "C"}, "horns", 1, "1 E4 C5, 1+1/2 C4 A4, 2 A3 G4, 2+1/2 E4 C5"),
    ("horn-riff", SOUL, {"key": "C"}, "horns", 2, "3+1/2 C5, 4 D5, 4+1/2 F5"),
    ("boogie-left-hand", BLUES, {"key": "C"}, "keys", 1,
     "1 C2, 1+1/2 C3, 2 E2, 2+1/2 E3 Bb3 C4 E4, 3 G2, 3+1/2 G3, 4 A2, 4+1/2 A3 Bb3 C4 E4"),
    ("boogie-left-hand", BLUES, {"key": "C"}, "keys", 2,
     "1 Bb2, 1+1/2 Bb3, 2 A2, 2+1/2 A3 Bb3 C4 E4, 3 G2, 3+1/2 G3 G5, 4 E2 Eb5, 4+1/2 E3 E5"),
    ("drone-in-d", "D | G | A | Bm", {"key": "D", "meter": "6/8", "tuning": "D A D G A D"}, "guitar", 2,
     "1 G2 B2 D3 G3 A3 D4 [5 2 0 0 0 0], 1+2/3 G2 B2 D3 G3 A3 D4 [5 2 0 0 0 0], 2 D3 G3 A3 D4 [x x 0 0 0 0], "
     "2+2/3 G2 B2 D3 G3 A3 D4 [5 2 0 0 0 0]"),
    ("drone-in-d", "D | G | A | Bm", {"key": "D", "meter": "6/8", "tuning": "D A D G A D"}, "strings", 1,
     "1 D4 A4, 2 D4 A4, 2+2/3 D4 A4"),
    ("sliding-sixths", SOUL, {"key": "C"}, "guitar", 1,
     "1 E4 C5 [x x x 9 x 8], 2+1/2 D4 Bb4 [x x x 7 x 6], 2+307/320 Eb4 B4 [x x x 8 x 7], 3 E4 C5 [x x x 9 x 8]"),
    ("answering-strings", SOUL, {"key": "C"}, "strings", 2,
     "3 C4 C5, 3+1/4 D4 D5, 3+1/2 Eb4 Eb5, 3+3/4 F4 F5, 4 G4 G5, 4+1/4 A4 A5, 4+1/2 C5 C6, 4+3/4 A4 A5"),
)  # fmt: skip


@each("name, bars, settings, role, bar, expected", ROWS)
def test_a_figure_is_played_as_it_is_written(
    name: str, bars: str, settings: dict[str, object], role: str, bar: int, expected: str
) -> None:
    assert told(played(name, bars, **settings), role, bar) == expected


def test_explain_names_how_a_note_is_slurred() -> None:
    text = explain(played("flat-picked-run", RUN, key="G"))
    assert "3: B2 3 [string 5 fret 2] (the run in G, line, hammer-on)" in text
    text = explain(played("sliding-sixths", SOUL, key="C"))
    assert "(sixths, line, slide over the frets)" in text
    assert "[string 1 fret 8] (sixths, line, pull-off)" in text


def test_explain_names_the_strings_that_drone_and_the_parts_of_a_riff() -> None:
    jig = played("drone-in-d", "D | G", key="D", meter="6/8", tuning="D A D G A D")
    assert "520000, hand stays, strings 4, 2 and 1 drone)" in explain(jig)
    riff = explain(played("horn-riff", SOUL, key="C"))
    assert "1: E4 3 C5 1 (riff in two parts, second part, riff in two parts, line)" in riff


def test_a_lead_in_walks_into_the_next_section() -> None:
    text = "meter: 4/4\nkey: G\nform: A B\nending: as written\n[A]\n| G | C | D | D |\n[B]\n| G | C | D | G |\n"
    music = arrange(timeline(text), load(STYLES / "flat-picked-run.toml"), 1)
    assert told(music, "guitar", 4).endswith("4 A3 [string 3 fret 2], 4+1/2 G3 [string 3 fret 0]")
    assert told(music, "guitar", 5).startswith("1 G2 [string 6 fret 3]")


def test_no_two_notes_of_a_run_share_a_string_at_a_time() -> None:
    for name in ("flat-picked-run", "sliding-sixths"):
        notes = player(played(name, RUN, key="G"), "guitar").notes
        ends: dict[int, object] = {}
        for note in notes:
            assert ends.get(note.string, 0) <= note.start_q
            ends[note.string] = note.end_q
    assert Kind.SLID in {n.why.kind for n in notes}
