"""Marks of a chart become stretches in which players keep time, strike together or are silent."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from backing.band.players.common import ZoneKind
from backing.band.zones import bounds, fermatas, final_chord, sounding, zones
from backing.timeline.model import Timeline
from tests.band import DEMOS, timeline
from tests.each import each

AS_WRITTEN = "ending: as written\nmeter: 4/4\ntempo: 120\n"
Row = list[tuple[Fraction, Fraction, str, list[tuple[Fraction, Fraction]]]]


def rows(tune: Timeline, role: str) -> Row:
    """Zones of the whole form with their strokes."""
    return [
        (z.start_q, z.end_q, z.kind.value, [(s.start_q, s.end_q) for s in z.strokes])
        for section in zones(tune, role)
        for z in section
    ]


def tune(music: str, header: str = AS_WRITTEN) -> Timeline:
    return timeline(header + music)


def test_a_plain_section_is_one_stretch_of_time() -> None:
    assert rows(tune("| C | F | G7 | C |"), "bass") == [(0, 16, "time", [])]


def test_a_stop_is_struck_short_and_silences_everyone_until_the_next_chord() -> None:
    for role in ("bass", "drums", "keys"):
        assert rows(tune("| C | G7! | C |"), role) == [
            (0, 4, "time", []),
            (4, 8, "struck", [(4, Fraction(9, 2))]),
            (8, 12, "time", []),
        ]


def test_no_chord_after_a_stop_prolongs_everyones_silence() -> None:
    music = tune("| C | G7! | N.C. | C |")
    assert rows(music, "drums")[1:3] == [
        (4, 8, "struck", [(4, Fraction(9, 2))]),
        (8, 12, "silent", []),
    ]
    assert rows(music, "keys")[2] == (8, 12, "silent", [])


def test_no_chord_alone_silences_pitched_players_only() -> None:
    music = tune("| C | N.C. | C |")
    assert rows(music, "guitar") == [(0, 4, "time", []), (4, 8, "silent", []), (8, 12, "time", [])]
    assert rows(music, "drums") == [(0, 12, "time", [])]


def test_a_chord_left_to_ring_sounds_until_the_next_one() -> None:
    assert rows(tune("| C= | F |"), "drums") == [(0, 4, "struck", [(0, 4)]), (4, 8, "time", [])]


def test_a_pushed_chord_ends_a_stop_early() -> None:
    assert rows(tune("| C! | <F |"), "bass") == [
        (0, Fraction(7, 2), "struck", [(0, Fraction(1, 2))]),
        (Fraction(7, 2), 8, "time", []),
    ]


def test_a_pushed_stop_over_a_section_border_is_struck_before_it() -> None:
    music = tune("[A]\n| C | F |\n[B]\n| <G7! | C |")
    first, second = zones(music, "drums")
    assert [(z.kind, len(z.strokes)) for z in first] == [(ZoneKind.TIME, 0), (ZoneKind.STRUCK, 1)]
    assert first[1].strokes[0].start_q == Fraction(15, 2)
    assert (second[0].kind, second[0].end_q, second[0].strokes) == (ZoneKind.STRUCK, 12, ())


def test_hits_silence_the_band_between_them() -> None:
    music = tune("| C | G7 | C |\n  hits: | x / / / | x (/ x) / r | r |")
    found = rows(music, "drums")
    assert all(kind == "struck" for _, _, kind, _ in found)
    strokes = [s for row in found for s in row[3]]
    assert (4, Fraction(11, 2)) in strokes
    assert (Fraction(11, 2), 7) in strokes


def test_kicks_leave_time_going() -> None:
    music = tune("| C | G7 |\nkicks: | x / / (/ x) | / / / / |")
    (start, end, kind, strokes), *_ = rows(music, "bass")
    assert (start, kind) == (0, "kicks")
    assert [s for s, _ in strokes] == [0, Fraction(7, 2)]
    assert end in (4, 8)


def test_a_break_silences_the_bar() -> None:
    for role in ("melody", "drums", "bass"):
        assert rows(tune('| C | "break" C | C |'), role)[1] == (4, 8, "silent", [])


def test_out_of_time_each_chord_is_struck_once_and_drums_are_out() -> None:
    music = tune('| "rubato" C | F G7 | "a tempo" C | C |')
    assert rows(music, "drums") == [(0, 8, "silent", []), (8, 16, "time", [])]
    assert rows(music, "keys") == [
        (0, 8, "struck", [(0, 4), (4, 6), (6, 8)]),
        (8, 16, "time", []),
    ]


def test_a_fermata_is_struck_and_held_and_its_end_is_found_for_the_cue() -> None:
    music = tune('| C | "fermata" G7 | C | F |')
    assert rows(music, "bass")[1] == (4, 8, "struck", [(4, 8)])
    assert [(span.symbol, end) for span, end in fermatas(music)] == [("G7", 8)]


def test_a_player_that_is_told_to_rest_is_silent_whatever_is_marked() -> None:
    music = tune('| C | "tacet guitar" G7! | C |')
    assert rows(music, "guitar") == [(0, 4, "time", []), (4, 12, "silent", [])]
    assert rows(music, "keys")[1][2] == "struck"


def test_a_list_of_players_silences_the_others() -> None:
    music = tune("players: bass, drums\n| C | F |")
    assert rows(music, "bass") == [(0, 8, "time", [])]
    assert rows(music, "keys") == [(0, 8, "silent", [])]


@each(("ending", "until"), [("ring", 16), ("short", Fraction(25, 2)), ("rit", 16)])
def test_the_last_chord_is_struck_together(ending: str, until: Fraction) -> None:
    music = tune("| C | F | G7 | C |", f"ending: {ending}\ntempo: 120\n")
    assert rows(music, "drums")[-1] == (12, 16, "struck", [(12, until)])


def test_a_last_chord_of_two_bars_is_struck_at_its_first() -> None:
    music = tune("| C | G7 | C | % |", "tempo: 120\n")
    assert rows(music, "bass")[-1] == (8, 16, "struck", [(8, 16)])


def test_a_long_last_chord_keeps_time_until_its_last_bar() -> None:
    music = tune("| G7 | C | % | % | % |", "tempo: 120\n")
    assert rows(music, "bass")[-1] == (16, 20, "struck", [(16, 20)])


@each("ending", ["as written", "fade 2"])
def test_a_written_or_faded_end_is_not_struck(ending: str) -> None:
    music = tune("| C | F | G7 | C |", f"ending: {ending}\ntempo: 120\n")
    assert final_chord(music) is None
    assert rows(music, "drums")[-1][2] == "time"


@each("demo", DEMOS, ids=lambda p: p.stem)
def test_zones_cover_every_section_without_a_gap(demo: Path) -> None:
    music = timeline(demo.read_text("utf-8"))
    for role in ("melody", "guitar", "bass", "drums", "percussion"):
        for section, found in zip(music.sections, zones(music, role), strict=True):
            start, end = bounds(music, section)
            assert found[0].start_q == start
            assert found[-1].end_q == end
            for a, b in pairwise(found):
                assert a.end_q == b.start_q
            for zone in found:
                assert zone.start_q < zone.end_q
                assert all(zone.start_q <= s.start_q < zone.end_q for s in zone.strokes)
                assert not (zone.kind in (ZoneKind.TIME, ZoneKind.SILENT) and zone.strokes)


def test_a_stroke_that_rings_on_sounds_in_the_bars_that_it_reaches() -> None:
    music = tune("| C= | / / / / | N.C. | C |")
    found = [zone for section in zones(music, "keys") for zone in section]
    assert sounding(found, music.bars) == [True, True, False, True]


@each(("sign", "length"), [("!", "1/2"), ("=", "12")])
def test_a_chord_held_over_bar_lines_keeps_its_stop_or_its_ring(sign: str, length: str) -> None:
    """Struck once: after a stop the silence goes on, a ringing chord rings on, until the next chord."""
    song = timeline(f"| C | F{sign} | / / / / | / / / / | G |")
    for role in ("keys", "bass", "drums"):
        strokes = [
            s
            for z in zones(song, role)[0]
            for s in z.strokes
            if z.kind is ZoneKind.STRUCK and s.start_q < 16
        ]
        assert [(s.start_q, s.end_q - s.start_q) for s in strokes] == [(4, Fraction(length))]


def test_a_chord_held_in_a_rubato_is_struck_once() -> None:
    song = timeline('| "rubato" C | / / / / | F | G |')
    strokes = [s for z in zones(song, "keys")[0] for s in z.strokes]
    assert [s.start_q for s in strokes][:2] == [0, 8]
    assert strokes[0].end_q == 8


def test_hits_win_over_a_stop_and_lose_to_silence() -> None:
    """Where marks meet, written hits say what is struck under a stop, a ring, a fermata or kicks; N.C., a break and a
    player's rest silence them (as rhythm sections read them: common practice)."""
    hits = "\n  hits: | x / x / |\n"
    struck = [(0, 1), (2, 3)]
    for bar in ("C!", "C=", '"fermata" C', '"rubato" C', "C"):
        (found,) = [row for row in rows(tune(f"| {bar} |{hits}"), "bass") if row[0] < 4]
        assert (found[2], [s for s, _ in found[3]]) == ("struck", [s for s, _ in struck]), bar
    for bar in ("N.C.", '"break" C', '"tacet bass" C'):
        assert {row[2] for row in rows(tune(f"| {bar} |{hits}"), "bass")} == {"silent"}, bar
    assert {row[2] for row in rows(tune(f"| N.C. |{hits}"), "drums")} == {"struck"}
