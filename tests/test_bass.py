"""Bass figures, riffs by degree, and how the bass obeys marks and meters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from backing.band.model import Arrangement, Kind, Note
from backing.band.players import bass
from backing.band.players.tones import tones
from backing.ground.instruments import INSTRUMENTS
from backing.ground.pitch import Degree, Key
from backing.ground.timebase import Meter
from backing.harmony.reader import read
from backing.harmony.symbol import Chord
from backing.styles.cells import read as read_line
from backing.styles.find import find
from backing.styles.model import Part, Pattern, Where
from backing.timeline.model import Strike
from tests import measures
from tests.band import DEMOS, arranged, chart, demo, player
from tests.briefs import brief, part
from tests.each import each

FOUR, THREE = Meter.of(4, 4), Meter.of(3, 4)
HALF = Fraction(1, 2)


def chord(symbol: str) -> Chord:
    found = read(symbol)
    assert found is not None
    return found


def chords(text: str) -> list[tuple[Chord | None, int]]:
    """`Dm7 G7:2 Cmaj7:2`: chords with their lengths in quarters, 4 where none is given."""
    found: list[tuple[Chord | None, int]] = []
    for item in text.split():
        symbol, _, length = item.partition(":")
        found.append((None if symbol == "N.C." else chord(symbol), int(length or 4)))
    return found


def plays(way: str, text: str, **how: object) -> list[Note]:
    """The bass of a row of chords by one algorithm."""
    return bass.play(brief(part("bass", "acoustic bass", plays=way), chords(text), **how))  # type: ignore[arg-type]


def riffs(line: str, text: str, *, meter: Meter = FOUR, **how: object) -> list[Note]:
    """The bass of a row of chords by a riff."""
    cells = read_line(line, meter, "bass")
    pattern = Pattern("riff", meter, len(cells), "mf", Where.TIME, 1.0, {"bass": cells})
    return bass.play(
        brief(part("bass", "finger bass", [pattern]), chords(text), meter=meter, **how)  # type: ignore[arg-type]
    )


def table(notes: Sequence[Note]) -> list[tuple[str, str]]:
    """Places and degrees, readable."""
    return [(str(n.start_q), n.degree) for n in notes]


# -- figures -----------------------------------------------------------------------------------------


def test_a_two_feel_plays_half_notes_root_first_and_mostly_fifths_after() -> None:
    """Half notes, root then fifth, now and then something else (common practice)."""
    quiet = part("bass", "acoustic bass", plays="two-feel", pickups=0.0)
    row = chords("C F Bb Eb Ab Db Gb B E A D G " * 4)
    notes = bass.play(brief(quiet, row))
    strong = [n for n in notes if n.start_q % 4 in (0, 2)]
    assert {n.start_q for n in strong} == {Fraction(i * 2) for i in range(96)}
    assert all(n.degree == "1" for n in notes if n.start_q % 4 == 0)
    seconds = [n for n in notes if n.start_q % 4 == 2]
    assert sum(n.degree == "5" for n in seconds) / len(seconds) > 0.4


def test_a_tumbao_sounds_the_and_of_two_and_four_and_four_belongs_to_the_next_chord() -> None:
    """The and of two and beat four only, the last tied over the bar (Wikipedia, "Tumbao"; common practice)."""
    notes = plays("tumbao", "Cm7 Fm7 G7 Cm7")
    later = [n for n in notes if n.start_q >= 4]
    assert {n.start_q % 4 for n in later} == {Fraction(3, 2), Fraction(3)}
    on_four = [n for n in notes if n.start_q % 4 == 3][:3]
    assert [n.chord for n in on_four] == [1, 2, 3]
    assert [n.pitch % 12 for n in on_four] == [5, 7, 0]
    assert all(n.end_q > (n.start_q // 4 + 1) * 4 for n in on_four)
    assert notes[0].start_q == 0
    assert notes[0].degree == "1"


def test_root_and_fifth_go_below_where_there_is_room() -> None:
    """Root on one, fifth below if possible on three (country, polka, bluegrass: common practice)."""
    quiet = part("bass", "acoustic bass", plays="root-fifth", walk_ups=0.0)
    notes = bass.play(brief(quiet, chords("C G F C")))
    assert [n.degree for n in notes] == ["1", "5"] * 4
    below = [b.pitch - a.pitch for a, b in zip(notes[::2], notes[1::2], strict=True)]
    assert all(step in (-5, 7) for step in below)
    assert below[0] == -5


def test_in_three_the_fifth_comes_in_the_second_bar() -> None:
    """Waltz: root on one, next bar the fifth (common practice)."""
    quiet = part("bass", "acoustic bass", plays="root-fifth", walk_ups=0.0)
    notes = bass.play(brief(quiet, [(chord("C"), 6), (chord("G7"), 6)], meter=THREE))
    assert table(notes) == [("0", "1"), ("3", "5"), ("6", "1"), ("9", "5")]


def test_a_walk_up_leads_from_root_and_fifth_into_a_new_chord() -> None:
    """Walks one two three into a change (country waltz: common practice)."""
    sure = part("bass", "acoustic bass", plays="root-fifth", walk_ups=1.0)
    notes = bass.play(brief(sure, [(chord("C"), 6), (chord("F"), 3)], meter=THREE))
    into = [n for n in notes if 3 <= n.start_q < 6]
    assert [n.start_q for n in into] == [3, 4, 5]
    assert abs(into[-1].pitch - next(n for n in notes if n.start_q == 6).pitch) in (1, 2, 5, 7)


def test_octaves_are_low_on_the_beat_and_high_off_it() -> None:
    """Disco: low octave on the beat, high on the off-beat (common practice)."""
    notes = plays("octaves", "Am F C G")
    assert all(
        n.pitch + 12 == after.pitch for n, after in zip(notes[::2], notes[1::2], strict=True)
    )
    assert [n.start_q for n in notes[:4]] == [0, HALF, 1, Fraction(3, 2)]


@each(
    ("rhythm", "places"),
    [("bar", ["0"]), ("strong", ["0", "2"]), ("beat", ["0", "1", "2", "3"]),
     ("eighths", ["0", "1/2", "1", "3/2", "2", "5/2", "3", "7/2"])],
)  # fmt: skip
def test_a_pedal_note_is_struck_as_often_as_the_style_says(rhythm: str, places: list[str]) -> None:
    pedal = part("bass", "acoustic bass", plays="pedal", rhythm=rhythm)
    notes = bass.play(brief(pedal, chords("F/C")))
    assert [str(n.start_q) for n in notes] == places
    assert {n.pitch % 12 for n in notes} == {0}


@each("way", ["two-feel", "tumbao", "root-fifth", "octaves", "pedal"])
def test_every_figure_states_each_chord_of_a_beat_by_its_bass(way: str) -> None:
    """With a chord on every beat the written bass is the line, whatever the figure."""
    row = "C:1 G/B:1 Am:1 Am/G:1 F:1 C/E:1 Dm:1 G:1"
    notes = plays(way, row)
    for index, (c, _) in enumerate(chords(row)):
        assert c is not None
        first = next(n for n in notes if n.chord == index)
        assert first.pitch % 12 == c.lowest.pc
        assert first.start_q <= index


@each("way", ["two-feel", "tumbao", "root-fifth", "walking"])
@each("symbol", ["Bm7b5", "Bdim7", "Gaug", "G7#5", "E7b5"])
def test_a_perfect_fifth_never_stands_against_an_altered_one(way: str, symbol: str) -> None:
    """Use the altered fifth for dim, m7b5, aug; never a perfect fifth against them (sheetmusiclibrary; common practice)."""
    root = chord(symbol).root.pc
    for seed in range(6):
        notes = plays(way, f"{symbol} {symbol} {symbol} {symbol}", seed=seed)
        assert not [n for n in notes if n.start_q % 2 == 0 and (n.pitch - root) % 12 == 7]


# -- riffs -------------------------------------------------------------------------------------------


def test_a_riff_takes_the_chords_own_degrees() -> None:
    """Written 3, 5 and 7 are minor thirds, altered fifths and the chord's sevenths."""
    line = "1 3 5 7"
    for symbol, wanted in (
        ("C7", [0, 4, 7, 10]), ("Cm7", [0, 3, 7, 10]), ("Cm7b5", [0, 3, 6, 10]), ("Cmaj7", [0, 4, 7, 11]),
        ("C6", [0, 4, 7, 9]), ("C7#5", [0, 4, 8, 10]),
    ):  # fmt: skip
        assert [n.pitch % 12 for n in riffs(line, symbol)] == wanted, symbol


def test_the_marks_of_a_riff_octave_below_next_chord_approach_dead_note_and_accent() -> None:
    notes = riffs("1!8 -5x 1= na".replace("na", "n1a"), "C F")
    first = notes[:7]
    root = first[0].pitch
    assert first[1].pitch - root == 12
    assert first[2].pitch - root == -5
    assert first[3].degree == ""
    assert first[3].velocity < 0.6 * first[1].velocity
    assert first[0].velocity > first[1].velocity
    assert first[4].end_q - first[4].start_q == 1
    assert first[5].pitch % 12 == 5
    assert first[5].chord == 1
    following = next(n for n in notes if n.start_q == 4)
    assert abs(first[6].pitch - following.pitch) in (1, 2)
    assert "to F" in first[6].why.words


def test_a_seventh_over_a_plain_triad_is_a_seventh() -> None:
    """Root, octave, flat seventh, fifth over a plain triad (common practice of riffs in soul and rock)."""
    assert [n.degree for n in riffs("1 8 b7 5", "C")] == ["1", "1", "b7", "5"]
    assert [n.degree for n in riffs("1 7 8 5", "C")] == ["1", "7", "1", "5"]
    assert [n.degree for n in riffs("1 3 5 6 | b7 6 5 3", "C C")][4:] == ["b7", "6", "5", "3"]


@pytest.mark.parametrize(("low", "high"), [(28, 45), (33, 50), (28, 40), (31, 52)])
def test_octaves_leap_in_every_range_that_has_room_and_go_to_the_fifth_in_others(
    low: int, high: int
) -> None:
    """Low on the beat and high off it (disco, common practice): no figure in octaves stands on one pitch."""
    for way in ("octaves", "pattern"):
        cells = read_line("1 8 1 8", FOUR, "bass")
        figure = Pattern("disco", FOUR, 1, "mf", Where.TIME, 1.0, {"bass": cells})
        player = replace(part("bass", "finger bass", [figure], plays=way), low=low, high=high)
        notes = bass.play(brief(player, chords("C F Bb Eb Ab Db Gb B E A D G")))
        for start in range(0, 48, 4):
            bar = sorted({n.pitch for n in notes if start <= n.start_q < start + 4})
            room = low + (bar[0] - low) % 12 + 12 <= high
            assert bar[-1] - bar[0] in ({12} if room else {5, 7}), (way, start, bar)


@pytest.mark.parametrize("meter", [FOUR, THREE, Meter.of(2, 4), Meter.of(6, 8)])
def test_root_and_fifth_walk_into_the_next_chord_in_the_scale(meter: Meter) -> None:
    """The walk-up of country and bluegrass: root, then the scale into the next root, nothing chromatic (common practice)."""
    length = int(meter.length_q)
    row = " ".join(f"{s}:{length}" for s in ("C", "F", "G", "Am", "F", "Dm", "G", "C"))
    player = part("bass", "acoustic bass", plays="root-fifth", walk_ups=1.0)
    for seed in range(5):
        notes = bass.play(brief(player, chords(row), meter=meter, seed=seed))
        assert {n.pitch % 12 for n in notes} <= {0, 2, 4, 5, 7, 9, 11}
        by_bar = [[n for n in notes if n.start_q // length == bar] for bar in range(8)]
        for bar, after in pairwise(by_bar):
            assert bar[0].degree == "1"
            assert len(bar) == 3
            steps = [abs(b.pitch - a.pitch) for a, b in pairwise([*bar[1:], after[0]])]
            assert all(1 <= step <= 2 for step in steps), (seed, bar)


def test_a_walk_into_the_next_chord_leaps_no_step_and_a_half() -> None:
    player = part("bass", "acoustic bass", plays="root-fifth", walk_ups=1.0)
    notes = bass.play(brief(player, chords("A7b9 Dm")))
    assert [n.pitch - notes[0].pitch for n in notes[:3]] in ([0, 2, 4], [0, -3, -5])


def test_a_slash_bass_takes_the_place_of_the_root_in_a_riff() -> None:
    notes = riffs("1 1 5 8", "C/E Am")
    assert [n.pitch % 12 for n in notes[:4]] == [4, 4, 7, 4]
    assert notes[3].pitch - notes[0].pitch == 12


def test_a_chord_that_begins_where_the_riff_rests_still_gets_its_root() -> None:
    notes = riffs("1= = . .", "C:2 F:2")
    assert [(n.start_q, n.end_q, n.pitch % 12) for n in notes] == [(0, 2, 0), (2, 4, 5)]


def test_a_riff_that_leaves_the_first_beat_empty_begins_on_the_root() -> None:
    """One drop: nothing on one (common practice); the first note that comes is the root."""
    notes = riffs(". 51 3= =", "C Am")
    assert table(notes)[:2] == [("1", "1"), ("3/2", "1")]
    assert [n.pitch % 12 for n in notes if n.start_q == 5] == [9]


def test_a_pushed_chord_moves_the_riff_with_it() -> None:
    notes = riffs("1 1 1 11", "C F", pushes={1: HALF})
    early = next(n for n in notes if n.start_q == Fraction(7, 2))
    assert (early.pitch % 12, early.end_q, early.chord) == (5, 5, 1)
    assert not [n for n in notes if n.start_q == 4]


def test_a_riff_stays_in_the_range_of_its_instrument() -> None:
    for way, low, high in (("acoustic bass", 28, 55), ("tuba", 28, 55), ("synth bass", 24, 60)):
        sound = INSTRUMENTS[way]
        cells = read_line("1 8 -5 9", FOUR, "bass")
        pattern = Pattern("riff", FOUR, 1, "mf", Where.TIME, 1.0, {"bass": cells})
        row = chords("C Db D Eb E F Gb G Ab A Bb B")
        notes = bass.play(brief(part("bass", way, [pattern]), row))
        assert all(max(low, sound.low) <= n.pitch <= min(max(high, 55), sound.high) for n in notes)


# -- whole charts --------------------------------------------------------------------------------------


def first_notes(a: Arrangement) -> tuple[int, int]:
    """How many new chords of a beat or more begin in the bass with the root or written bass, of how many."""
    notes = player(a, "bass").notes
    by_chord: dict[int, Note] = {}
    for note in notes:
        if note.degree:
            by_chord.setdefault(note.chord, note)
    right = total = 0
    for index, span in enumerate(a.timeline.chords):
        if span.chord is None or span.again or span.length_q < 1 or span.bar in a.silent:
            continue
        total += 1
        right += index in by_chord and by_chord[index].pitch % 12 == span.chord.lowest.pc
    return right, total


@each("path", DEMOS, ids=lambda p: p.stem)
def test_every_new_chord_of_every_demo_begins_on_its_root_or_written_bass(path: Path) -> None:
    right, total = first_notes(demo(path.stem))
    assert total > 0
    assert right == total


@each(
    "style",
    ["straight-ahead swing", "bossa nova", "rock eighths", "pop ballad", "slow blues", "salsa"],
)
def test_every_chord_of_a_bar_or_a_beat_is_stated_in_every_kind_of_style(style: str) -> None:
    text = chart(
        "Cmaj7 | Am7 D7/A | Gm7/F C7 F Fm6 | Em7b5 A7alt | Dm7 | G7sus4 G7 | C/E Ebdim7 Dm7 Db7 | C6"
    )
    right, total = first_notes(arranged(text, style))
    assert right == total


@each("meter", ["2/4", "3/4", "5/4", "6/8", "7/8", "9/8", "12/8"])
@each("style", ["straight-ahead swing", "rock eighths", "bossa nova"])
def test_the_bass_plays_every_style_in_every_meter(style: str, meter: str) -> None:
    """Every bar has its chord's bass as its first note, and no note runs into the next one's time."""
    a = arranged(chart("Cm7 | F7 | Bbmaj7 | Ebmaj7 | Am7b5 | D7 | Gm6 | Gm6", meter=meter), style)
    notes = player(a, "bass").notes
    assert all(n.end_q > n.start_q for n in notes)
    for bar in a.timeline.bars[:-1]:  # the last chord rings through the last bar
        assert any(bar.start_q - 1 <= n.start_q < bar.end_q for n in notes), bar.index
    low, high = INSTRUMENTS["acoustic bass"].low, INSTRUMENTS["finger bass"].high
    assert all(low <= n.pitch <= high for n in notes)


def test_one_note_sounds_at_a_time() -> None:
    for path in DEMOS:
        notes = player(demo(path.stem), "bass").notes
        for before, after in pairwise(notes):
            assert before.start_q < after.start_q, (path.stem, before, after)
            assert before.end_q <= after.start_q, (path.stem, before, after)


def test_a_stop_is_one_short_stroke_of_the_bass() -> None:
    a = arranged(chart("C7! | F7 | G7! | C6"), "straight-ahead swing")
    notes = player(a, "bass").notes
    stopped = [s for s in a.timeline.chords if s.strike is Strike.STOP]
    for span in stopped:
        inside = [n for n in notes if span.start_q <= n.start_q < span.end_q]
        assert len(inside) == 1
        assert inside[0].strict
        assert inside[0].end_q - inside[0].start_q <= HALF


def test_in_two_and_in_four_turn_a_walking_line_into_a_two_feel_and_back() -> None:
    a = arranged(
        chart('"in 2" C7 | F7 | "in 4" C7 | F7'), "straight-ahead swing", wish={"choruses": 1}
    )
    notes = player(a, "bass").notes
    counts = [sum(b.start_q <= n.start_q < b.end_q for n in notes) for b in a.timeline.bars[:4]]
    assert counts[0] <= 3
    assert counts[1] <= 3
    assert counts[2] >= 4


def test_a_style_says_how_low_and_how_high_its_bass_goes() -> None:
    swing = find("straight-ahead swing").part("bass")
    assert isinstance(swing, Part)
    a = arranged(chart("C7 | F7 | Bb7 | Eb7 | Ab7 | Db7 | Gb7 | B7"), "straight-ahead swing")
    assert all(swing.low <= n.pitch <= swing.high for n in player(a, "bass").notes)


@pytest.mark.slow
@pytest.mark.parametrize(
    "style", ["backbeat soul", "samba", "slow blues", "seven-four rock", "calypso", "rock eighths"]
)
def test_figures_lead_into_chords_and_sections_without_wild_leaps(style: str) -> None:
    """No leap of more than an octave into a new chord, over the borders of sections too (common practice)."""
    chords = (
        "Bb6 | G7 | Cm7 | F7 | Dm7 | G7 | Cm7 | F7 | Bb7 | Eb7 | Ebm6 | Ab7 | Dm7 | G7 | Cm7 | F7"
    )
    meter = find(style).meters[0].full_name
    for seed in (1, 2, 3):
        music = arranged(chart(chords, meter=meter, choruses=3, ending="as written"), style, seed)
        notes = player(music, "bass").notes
        for a, b in pairwise(notes):
            assert a.chord == b.chord or abs(a.pitch - b.pitch) <= 12, (seed, a, b)


# -- what a player would not play ---------------------------------------------------------------------


def on_beats(notes: Sequence[Note]) -> list[Note]:
    """The first of every pair of a shuffled line."""
    return [n for n in notes if n.start_q.denominator == 1]


def test_a_box_falls_from_its_seventh_to_its_fifth_in_every_register() -> None:
    """Root, octave, seventh, fifth (common practice): where the octave lies too high the whole figure lies below."""
    boxes = 0
    for seed in range(1, 7):
        text = chart("A7 | D7 | A7 | A7 | D7 | D#dim7 | A7 | F#7 | Bm7 | E7 | A7 | A7", choruses=4)
        notes = on_beats(player(arranged(text, "blues shuffle", seed), "bass").notes)
        for a, b, c, d in zip(notes, notes[1:], notes[2:], notes[3:], strict=False):
            one = [n.chord for n in (a, b, c, d)] == [a.chord] * 4
            if one and "'box'" in a.why.words and a.start_q % 4 == 0 and d.start_q == a.start_q + 3:
                boxes += 1
                assert b.pitch > c.pitch > d.pitch, (seed, a)
    assert boxes >= 10


def test_a_figure_climbs_to_its_top_or_turns_back_where_that_does_not_fit() -> None:
    """A boogie climbs to its sixth or turns back to its third (common practice): no note falls out of the line."""
    rows = 0
    for seed in range(1, 7):
        text = chart("A7 | D7 | A7 | A7 | D7 | D7 | A7 | A7 | E7 | D7 | A7 | A7", choruses=4)
        notes = on_beats(player(arranged(text, "blues shuffle", seed), "bass").notes)
        for n in range(len(notes) - 4):
            row = notes[n : n + 4]
            if row[0].start_q % 4 == 0 and all("up to the sixth'" in n.why.words for n in row):
                rows += 1
                climbs = all(a.pitch < b.pitch for a, b in pairwise(row))
                assert climbs or row[3].pitch == row[1].pitch < row[2].pitch, (seed, row)
    assert rows >= 10


@each(
    ("symbol", "key", "semitones"),
    [
        ("A7", "A", 9), ("Bm7", "A", 9), ("C", "C", 9), ("C9sus4", "F", 9), ("E7#9", "E", 9),
        ("Db7sus4", "D", 10), ("Em7", "C", 10), ("Dm7b5", "C minor", 10), ("C7#5", "F", 10), ("G7b9", "C minor", 10),
        ("D#dim7", "E", 9), ("G7b13", "C minor", 8), ("Cm6", "C minor", 9),
    ],
)  # fmt: skip
def test_the_sixth_of_a_figure_is_major_or_gives_way_to_the_seventh(
    symbol: str, key: str, semitones: int
) -> None:
    """The minor boogie runs root, third, fifth, seventh; only a written b13 is played flat (common practice)."""
    assert tones(chord(symbol), Key.parse(key)).semitones("6") == semitones


def test_where_the_seventh_stands_for_the_sixth_the_figure_goes_on_to_the_octave() -> None:
    """Up to the seventh and the octave, and down again: the minor box (common practice)."""
    notes = riffs("1 3 5 6 | b7 6 5 3", "Em7 Em7")
    assert [n.degree for n in notes] == ["1", "b3", "5", "b7", "1", "b7", "5", "b3"]


@each("name", ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"])
def test_the_leading_note_of_a_chord_is_not_passed_over_for_a_whole_step(name: str) -> None:
    """The third of a dominant leads by half step to the root a fourth up (common practice): never from its b3."""
    root = chord(f"{name}7").root.pc
    for seed in range(1, 9):
        up = Degree.parse("4").of(chord(f"{name}7").root).name
        found = riffs("1 1 5 a", f"{name}7 {up}", seed=seed)
        approach = next(n for n in found if n.start_q == 3)
        assert (approach.pitch - root) % 12 != 3, (name, seed)


def test_a_bass_that_lies_a_half_step_off_stays_there() -> None:
    """E7/G# leads to Am by itself (common practice): G natural in between would take the way back."""
    for seed in range(1, 13):
        found = riffs("1 1 1 a", "E7/G# Am", seed=seed)
        assert next(n for n in found if n.start_q == 3).pitch % 12 != 7


@each(
    ("symbol", "wanted"),
    [("F/G", [7, 2]), ("Dm7/G", [7, 2]), ("Bbm6/C", [0, 7]), ("C/E", [4, 7]), ("Am/G", [7, 4]), ("C/G", [7, 7])],
)  # fmt: skip
def test_a_foreign_bass_brings_its_own_fifth(symbol: str, wanted: list[int]) -> None:
    """F/G is a G chord with its upper part written: the bass plays G and D; an inversion keeps to its chord."""
    assert [n.pitch % 12 for n in riffs("1= = 5= =", symbol)] == wanted


@pytest.mark.slow
def test_a_section_is_led_into_without_a_leap_before_its_last_note() -> None:
    """The note that leads over a border stays near the note before it (common practice)."""
    a = "Fmaj9 | Fmaj9 | G13 | G13 | Gm9 | Gb7#11 | Fmaj7 | Gb13"
    b = "Bbmaj7 | Bbm7 | Am7 | D7b9 | Gm7 | C7 | F6 | Gm7 C7"
    styles = (
        "bossa nova",
        "pop ballad",
        "calypso",
        "tango",
        "second line",
        "blues shuffle",
        "slow rock",
        "disco",
        "bolero",
    )
    for style in styles:
        for seed in (1, 2, 3):
            text = f"key: F\nchoruses: 3\n[A]\n| {a} |\n[B]\n| {b} |\n"
            notes = player(arranged(text, style, seed), "bass").notes
            far = [
                (x, y)
                for n, (x, y) in enumerate(pairwise(notes))
                if abs(x.pitch - y.pitch) > 12 and not from_octave(notes[max(0, n - 3) : n + 1])
            ]
            assert not far, (style, seed, far)


def from_octave(notes: Sequence[Note]) -> bool:
    """Whether a note is the upper one of an octave that the figure leaps, which may fall back by a ninth."""
    return any(notes[-1].pitch - n.pitch == 12 and n.chord == notes[-1].chord for n in notes[:-1])


@pytest.mark.slow
@pytest.mark.parametrize(
    "style", ["straight-ahead swing", "country two-step", "ska", "rock eighths", "blues shuffle", "bossa nova"]
)  # fmt: skip
def test_what_is_told_as_an_approach_lies_beside_what_it_leads_to(style: str) -> None:
    """A half step or a step from its goal, over the borders of sections too."""
    a = "Ebmaj7 | Cm7 | Fm7 | Bb7 | Gm7b5 | C7b9 | Fm7 Bb7 | Eb6"
    b = "Abmaj7 | Abm7 Db9 | Ebmaj7 | Am7b5 D7b9 | Gm7 | C7 | F13 | G7b13"
    c = "Fm7 | Bb7b9 | Ebmaj7 | Am7b5 D7b9 | Gm7b5 C7b9 | Fm9 | Db7 | Bb7"
    told = 0
    for seed in range(1, 7):
        text = f"key: Eb\nchoruses: 3\n[A]\n| {a} |\n[B]\n| {b} |\n[C]\n| {c} |\n"
        for x, y in pairwise(player(arranged(text, style, seed), "bass").notes):
            if x.why.kind is Kind.STEP:
                told += 1
                same = x.pitch == y.pitch and x.why.words == y.why.words  # the approach twice
                assert same or 1 <= abs(x.pitch - y.pitch) <= 2, (style, seed, x, y)
    assert told >= 20


@each("style", ["fast punk", "rock eighths"])
def test_under_fifths_the_bass_lies_low_and_no_chord_leaps_an_octave_for_it(style: str) -> None:
    """A rock bass lives on its two low strings (common practice), so that a guitar's F stays at its first fret."""
    music = arranged(chart("C | Em | F | G | F | G | Em | Am", meter="4/4", choruses=2), style)
    line = player(music, "bass").notes
    assert sum(n.pitch <= 40 for n in line) >= 0.8 * len(line)
    spans = music.timeline.chords
    lowest: dict[str, set[int]] = {}
    for stroke in measures.strokes(player(music, "guitar").notes):
        symbol = spans[stroke[0].chord].symbol
        if len(stroke) == 2:  # a fifth
            lowest.setdefault(symbol, set()).add(stroke[0].pitch)
    assert all(len(found) == 1 for found in lowest.values()), lowest


def test_an_upstroke_before_a_bass_string_stays_on_its_chord() -> None:
    """One hand strums and plays the string on the beat: it goes on to the next chord there (common practice)."""
    ups = answered = 0
    for seed in (1, 2, 3):
        text = chart("C | G | F | C | F | G | C | G7", meter="3/4", choruses=2)
        notes = player(arranged(text, "Cajun waltz", seed), "guitar").notes
        thumbs = {n.start_q: n.chord for n in notes if n.why.kind is Kind.THUMB}
        for note in notes:
            if "upstroke" in note.why.words and note.start_q % 3 == Fraction(5, 2):
                ups += 1
                answered += thumbs.get(note.start_q + Fraction(1, 2)) == note.chord
    assert ups > 10
    assert answered == 0
