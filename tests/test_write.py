"""Writing charts: what is written reads as the same chart, stays as it is when written again, and moves to other keys."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings

from backing.chart.ast import Chart
from backing.chart.parse import parse
from backing.chart.write import WIDEST, transpose_chart, write
from backing.ground.pitch import Interval, Key
from backing.harmony.spelling import interval_for_semitones, interval_to_key
from tests.charts import case_parts, cases, charts
from tests.each import each
from tests.fuzz import comes_back, moves

DEMOS = sorted((Path(__file__).parent.parent / "demo").glob("*.txt"))
RIGHT = [case_parts(p)[0] for p in cases("parse") + DEMOS]
MENDED = [case_parts(p)[2] for p in cases("errors")]
UP = [interval_for_semitones(Key.parse("C"), n) for n in range(1, 12)]


@each("text", RIGHT + MENDED)
def test_every_case_and_demo_comes_back_as_it_was_and_is_written_the_same_again(text: str) -> None:
    comes_back(parse(text))


@pytest.mark.slow
@given(charts())
@settings(max_examples=100, deadline=None)
def test_generated_charts_come_back_as_they_were(text: str) -> None:
    """10,000 of them: `python -m tests.fuzz --charts 10000`."""
    comes_back(parse(text))


@each("text", RIGHT)
def test_a_moved_chart_reads_as_it_was_moved(text: str) -> None:
    for interval in (UP[0], UP[2], UP[5], -UP[1]):
        moves(parse(text), interval)


@each("path", DEMOS, ids=lambda p: p.stem)
def test_a_demo_moved_to_any_key_and_back_is_as_it_was(path: Path) -> None:
    chart = parse(path.read_text("utf-8"))
    for semitones in range(1, 12):
        interval = interval_for_semitones(chart.settings.key or Key.parse("C"), semitones)
        back = transpose_chart(transpose_chart(chart, interval), -interval)
        assert by_height(back) == by_height(chart)


def by_height(chart: Chart) -> tuple[Chart, list[int | None]]:
    """A chart without its melody, and the melody as MIDI numbers: a note may come back as its neighbour of the same height,
    for none is written with two accidentals on the way."""
    heights = [
        n.pitch.midi if n.pitch else None
        for s in chart.sections
        for b in s.bars
        for n in b.melody or ()
    ]
    bare = tuple(
        replace(
            s,
            lines=tuple(
                replace(
                    line,
                    bars=tuple(replace(b, melody=None, melody_text="") for b in line.bars),
                )
                for line in s.lines
            ),
        )
        for s in chart.sections
    )
    return replace(chart, sections=bare), heights


def written(text: str) -> str:
    return write(parse(text))


def test_bars_stand_in_columns() -> None:
    assert written("|C|Am7 D7|\n|Gmaj7 / / C|F|\n") == (
        "| C           | Am7 D7 |\n"
        "| Gmaj7 / / C | F      |\n"
    )  # fmt: skip


def test_bar_lines_of_different_width_keep_the_columns() -> None:
    assert written("|: C | F |1. G :|2. C ||\n| C | F | G | C |]\n") == (
        "|: C | F |1. G :|2. C ||\n"
        "|  C | F |   G |    C |]\n"
    )  # fmt: skip


def test_lines_under_the_music_stand_under_their_bars() -> None:
    text = "| C | F G |\nmelody: | E5 / F5 / | r |\nwords: | Night | falls |\n"
    assert written(text) == (
        "        | C         | F G   |\n"
        "melody: | E5 / F5 / | r     |\n"
        "words:  | Night     | falls |\n"
    )


def test_a_wide_section_is_put_in_columns_line_by_line() -> None:
    bars = " | ".join(["Cmaj7 / / Am7"] * 8)
    text = f"| {bars} |\n| C | {bars.replace('Cmaj7', 'C')} |\n"
    assert written(text) == text
    assert len(text.split("\n")[0]) > WIDEST


def test_comments_and_blank_lines_stay_where_they_were() -> None:
    text = """\
# the tune of the day

# by nobody
title: Comments  # here too
# and here

key:   C

# before a heading
[A]  # on it
# under it
| C | F |  # after music
# between

| G | C |

# at the end of a section

[B]
| C |
# last
"""
    assert written(text) == text


def test_headings_are_parted_by_a_blank_line() -> None:
    assert written("key: C\n[A]\n| C |\n[B]\n| F |\n[A]\n") == (
        "key: C\n\n[A]\n| C |\n\n[B]\n| F |\n\n[A]\n"
    )


def test_what_was_typed_stays_typed() -> None:
    """Symbols, values and the way of writing beats are the writer's own business."""
    text = "tempo: Half = 100.50\n| C-7 / / / | CΔ7 Cmi9 | (C7(b9) Co7) G7(b9,#11) |\n"
    assert written(text) == text


def test_curly_quotes_become_plain_ones_and_blanks_single() -> None:
    assert written("|  “softly   now”  C   F |\n") == '| "softly now" C F |\n'


# --- other keys


def test_a_sharp_sign_right_behind_a_colon_stays_there() -> None:
    """With a blank before it, it would begin a comment."""
    chart = parse("title: One\nby:# 7\n| C |\n")
    assert "by:# 7\n" in write(chart)
    comes_back(chart)


def moved(text: str, interval: Interval) -> str:
    return write(transpose_chart(parse(text), interval))


def test_keys_symbols_basses_and_melody_move_together() -> None:
    text = 'key: C major\n\n[A]\n| C/E "to C" G7/B | N.C. |\nmelody: | C5 (r B4) | F#4 |\n'
    assert moved(text, Interval(2, 3)) == (
        "key: Eb major\n\n[A]\n"
        '        | Eb/G "to C" Bb7/D | N.C. |\n'
        "melody: | Eb5 (r D5)        | A4   |\n"
    )


def test_the_key_of_a_section_moves_with_its_music() -> None:
    text = "key: G\n\n[A]\n| G |\n\n[B]\nkey: Em\n| Em B7 |\n"
    assert moved(text, Interval(1, 2)) == "key: A\n\n[A]\n| A |\n\n[B]\nkey: F#m\n| F#m C#7 |\n"


def test_a_key_of_seven_accidentals_is_respelled() -> None:
    """C# major becomes Db major: five flats are easier to read than seven sharps."""
    text = moved("key: B major\n| B | E | F#7 |\n", Interval(1, 2))
    assert text == "key: Db major\n| Db | Gb | Ab7 |\n"


def test_repeated_and_held_bars_move_too() -> None:
    chart = transpose_chart(parse("| C F | % | / / G / | %2 |\n"), Interval(1, 2))
    assert write(chart) == "| D G | % | / / A / | %2 |\n"
    symbols = [[s.text for s in bar.slots] for bar in chart.sections[0].bars]
    assert symbols == [["D", "G"], ["D", "G"], ["G", "A"], ["D", "G"], ["G", "A"]]


def test_the_writers_spelling_of_qualities_is_kept() -> None:
    assert moved("| C-7 Eb^7 | F#ø/C Bbmi7(b5) |\n", Interval(1, 2)) == (
        "| D-7 F^7 | G#ø/D Cmi7(b5) |\n"
    )


def test_german_names_stay_german() -> None:
    text = "note-names: german\nkey: C major\n| C H7 | B/F |\nmelody: | C5 H4 | B4 |\n"
    assert moved(text, Interval(-1, -1)) == (
        "note-names: german\n"
        "key:        H major\n"
        "        | H A#7  | A/E |\n"
        "melody: | H4 A#4 | A4  |\n"
    )


def test_no_note_of_a_moved_melody_has_two_accidentals() -> None:
    """A double accidental is written as the plain note of the same height."""
    chart = transpose_chart(parse("key: E\n| E |\nmelody: | D#5 B#4 E#5 C4 |\n"), Interval(1, 1))
    notes = [n.pitch for n in chart.sections[0].bars[0].melody or ()]
    before = [
        n.pitch
        for n in parse("| E |\nmelody: | D#5 B#4 E#5 C4 |\n").sections[0].bars[0].melody or ()
    ]
    assert [a.midi + 1 for a in before if a] == [b.midi for b in notes if b]
    assert all(abs(n.note.alter) < 2 for n in notes if n)


def test_the_chart_goes_to_a_named_key() -> None:
    """As the command does it: the interval from the written key to the wished one."""
    chart = parse("key: Bb major\n| Bbmaj7 | Cm7 F7 |\n")
    there = transpose_chart(chart, interval_to_key(Key.parse("Bb"), Key.parse("Eb")))
    assert write(there) == "key: Eb major\n| Ebmaj7 | Fm7 Bb7 |\n"
