"""The band plays like musicians: what a bassist, a pianist, a guitarist and a drummer would check in their own part.

Measured over the demo charts and 200 generated ones; `measures` says how. Numbers are common practice of the trade
unless a source stands beside them.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from backing.band.model import Arrangement
from backing.ground.instruments import DRUM_KEYS
from backing.performance.model import Performance
from backing.performance.perform import perform
from backing.styles.find import find, names
from tests import measures
from tests.band import DEMOS, arranged, chart, demo, performed, performer, player
from tests.each import each
from tests.generated import ii_v_i, tunes
from tests.test_feel import slope, table

STYLES = (
    "straight-ahead swing",
    "jazz waltz",
    "bossa nova",
    "rock eighths",
    "pop ballad",
    "slow blues",
)
BACKBEAT = (  # the rock, pop and soul styles in 4/4
    "rock eighths", "pushed rock", "hambone rock", "half-time rock", "pop ballad", "sixteenth-note pop", "backbeat soul",
    "four-beat soul", "neo-soul",
)  # fmt: skip
TWO_A_BAR = "Dm7 G7 | Em7 A7 | Dm7 G7 | Cmaj7 Am7 | Fmaj7 Fm7 | Em7 A7 | Bbm7 Eb7 | C6 G7"
BLUES = "F7 | Bb7 | F7 | Cm7 | Bb7 | Bdim7 | F7 | D7 | Gm7 | C7 | F7 | C7"
RHYTHM = "Bb6 | G7 | Cm7 | F7 | Dm7 | G7 | Cm7 | F7 | Bb7 | Eb7 | Ebm6 | Ab7 | Dm7 | G7 | Cm7 | F7"

# Measures of degrees and voicings are taken of a band in which everybody plays from beginning to end.
FLAT = "plan: flat\n"


@cache
def generated() -> tuple[Arrangement, ...]:
    return tuple(arranged(FLAT + text, style) for text, style in tunes(STYLES))


@cache
def everything() -> tuple[Arrangement, ...]:
    """All demo charts in their own styles and all generated ones."""
    return (*(demo(path.stem) for path in DEMOS), *generated())


@cache
def cycle(style: str, kind: str = "major") -> Arrangement:
    """ii-V-I through all keys at a medium tempo, without unwritten endings."""
    bars = ii_v_i(minor=kind == "minor")
    return arranged(chart(bars, meter="4/4", tempo=140, plan="flat", ending="as written"), style)


@cache
def long(style: str, chords: str = RHYTHM) -> Arrangement:
    """96 bars at one chord a bar."""
    bars = chords.count("|") + 1
    text = chart(
        chords,
        meter=find(style).meters[0].full_name,
        choruses=96 // bars,
        plan="flat",
        ending="as written",
    )
    return arranged(text, style)


# Harmony


@pytest.mark.slow
def test_every_chord_sounds_what_it_must_and_nothing_else() -> None:
    """What must sound does; nothing sounds but degrees, the written bass and the textbooks' available tensions."""
    total = 0
    for music in (*(demo(path.stem, head=FLAT) for path in DEMOS), *generated()):
        found = measures.harmony(music)
        total += found.chords
        assert not found.missing
        assert not found.foreign
        assert not found.astray
    assert total > 8000


ALL = names()
METERS = ("2/4", "3/4", "4/4", "5/4 (3+2)", "6/8", "7/8 (2+2+3)", "9/8", "12/8")
TUNE = "Cm7 | F7 | <Bbmaj7 | Ebmaj7/G | Am7b5 | D7! | Gm6 D7alt | Gm6"


@pytest.mark.parametrize("number", range(len(ALL)), ids=lambda n: ALL[n])
def test_every_style_has_its_harmony_and_its_bass_right_in_any_meter(number: int) -> None:
    """Each style in two of eight meters, all of them in turn; two chords in a bar where the meter can be halved."""
    for i in range(2):
        meter = METERS[(2 * number + i) % len(METERS)]
        tune = TUNE if meter[0] in "246" else TUNE.replace("Gm6 D7alt", "D7alt")
        if meter.startswith("12"):
            tune = TUNE
        music = arranged(chart(tune, meter=meter), ALL[number])
        found = measures.harmony(music)
        assert not [*found.missing, *found.foreign, *found.astray], meter
        assert not measures.first_notes(music).wrong, meter
        for role in ("keys", "strings"):
            assert not measures.below_bass(music, role), (meter, role)
        for part in measures.roles(music, ("keys", "strings", "horns")):
            assert not measures.too_low(part), (meter, part.role)


def test_plain_bands_add_nothing() -> None:
    for text, style in tunes(STYLES, 30):
        found = measures.harmony(arranged(FLAT + text, style, plain=True), colours=False)
        assert not found.missing
        assert not found.foreign


def test_the_bass_states_every_new_chord() -> None:
    """Root or written bass first: in at least 95 of 100 chords when walking, otherwise always."""
    walking = right = others = 0
    for music in everything():
        found = measures.first_notes(music)
        walking += found.walking
        right += found.walking_right
        others += found.others
        assert not found.wrong
    assert walking > 1000
    assert others > 3000
    assert right / walking >= 0.95


# Voice leading


@each("style", ["straight-ahead swing", "bossa nova", "jazz waltz"])
@each("kind", ["major", "minor"])
def test_keys_move_little_through_ii_v_i_in_all_keys(style: str, kind: str) -> None:
    pairs = measures.changes(player(cycle(style, kind), "keys"))
    four = [(a, b) for a, b in pairs if len(a) == len(b) == 4]
    assert len(four) >= 30
    assert np.mean([measures.move(a, b) for a, b in four]) <= 4
    assert measures.top_kept(pairs) >= 0.6


@each("style", ["straight-ahead swing", "bossa nova"])
@each("kind", ["major", "minor"])
def test_the_guitar_moves_little_through_ii_v_i_in_all_keys(style: str, kind: str) -> None:
    guitar = player(cycle(style, kind), "guitar")
    pairs = measures.changes(guitar)
    assert np.mean([measures.move(a, b) for a, b in pairs]) <= 6
    assert measures.top_kept(pairs) >= 0.6
    assert np.mean(measures.hand_moves(guitar)) <= 2.5


def test_no_chord_is_muddy() -> None:
    """Neighbouring voices keep above the low-interval limits of arranging handbooks."""
    for music in everything():
        for part in measures.roles(music, ("keys", "strings", "horns")):
            assert not measures.too_low(part)


def test_keys_and_pads_stay_above_the_bass() -> None:
    for music in everything():
        for role in ("keys", "strings"):
            assert not measures.below_bass(music, role), (music.style.name, role)


def test_the_bass_is_at_or_below_the_lowest_string_of_the_guitar() -> None:
    strokes = 0
    for music in everything():
        for part in measures.roles(music, ("guitar",)):
            strokes += len(list(measures.strokes(part.notes)))
        assert not measures.below_bass(music, "guitar"), music.style.name
    assert strokes > 15_000


def test_every_grip_can_be_held() -> None:
    count = 0
    for music in everything():
        for part in measures.roles(music, ("guitar",)):
            for stroke, frets in measures.grips(part):
                count += 1
                assert len({n.string for n in stroke}) == len(stroke)
                assert measures.holdable(frets), (music.style.name, frets)
    assert count > 15_000


# Bass


@cache
def walking() -> measures.Walk:
    """Several tunes in four, one chord a bar, several seeds."""
    found = measures.Walk()
    for chords in (BLUES, RHYTHM, ii_v_i(), ii_v_i(minor=True)):
        for seed in (1, 2, 3):
            text = chart(chords, meter="4/4", tempo=160, choruses=2, ending="as written")
            found.add(measures.walk(arranged(text, "straight-ahead swing", seed)))
    return found


def test_a_walking_line_leads_into_its_chords_by_step() -> None:
    found = walking()
    assert found.changes > 300
    assert found.approached / found.changes >= 0.65


def test_about_half_of_the_steps_into_a_chord_are_half_steps() -> None:
    """Of approaches within two semitones (common practice), also where chords last half a bar."""
    found = walking()
    assert 0.4 <= found.by_half_step / found.approached <= 0.6
    short = half_bars()
    assert short.changes > 150
    assert 0.4 <= short.by_half_step / short.approached <= 0.6


@each("style", ["straight-ahead swing", "fast swing"])
def test_half_steps_and_whole_steps_balance_in_every_tune(style: str) -> None:
    """In major as in minor (common practice): a line that had several of one kind turns to the other."""
    for chords in (ii_v_i(), ii_v_i(minor=True)):
        found = measures.Walk()
        for seed in (1, 2):
            text = chart(chords, meter="4/4", tempo=200, choruses=2, ending="as written")
            found.add(measures.walk(arranged(text, style, seed)))
        assert found.approached > 80
        assert 0.4 <= found.by_half_step / found.approached <= 0.6, chords[:20]


@cache
def half_bars() -> measures.Walk:
    """Lines under two chords a bar."""
    found = measures.Walk()
    for style in ("straight-ahead swing", "fast swing"):
        for seed in (1, 2):
            text = chart(TWO_A_BAR, meter="4/4", tempo=160, choruses=3, ending="as written")
            found.add(measures.walk(arranged(text, style, seed), Fraction(2)))
    return found


def test_a_walking_line_climbs_in_the_last_chorus() -> None:
    """Above D3 there, seldom before (common practice: a bass goes up with the band)."""
    for seed in (1, 2, 3):
        music = arranged(
            chart(RHYTHM, choruses=4, ending="as written"), "straight-ahead swing", seed
        )
        length = music.timeline.length_q / 4
        lines = [
            [
                n.pitch
                for n in player(music, "bass").notes
                if i * length <= n.start_q < (i + 1) * length
            ]
            for i in range(4)
        ]
        high = [sum(pitch > 50 for pitch in line) / len(line) for line in lines]
        assert high[3] > 0.05 > max(high[:3]), (seed, high)


def test_a_walking_line_moves_mostly_by_step() -> None:
    found = walking()
    assert 0.55 <= found.steps / found.moves <= 0.75


def test_a_walking_line_keeps_its_range_and_leaps_no_more_than_an_octave() -> None:
    """E1 to G3 on a double bass (handbook range; the top is common practice)."""
    found = walking()
    assert found.widest <= 12
    assert found.low >= 28
    assert found.high <= 55


def test_a_walking_line_strikes_no_pitch_three_times_running() -> None:
    assert walking().repeated == 0


# Feel


@each(("bpm", "wanted"), [(120, 2.2), (200, 2.0), (300, 1.0)])
def test_the_ride_swings_by_tempo(bpm: int, wanted: float) -> None:
    found = performed(chart(BLUES, tempo=bpm, choruses=8), "straight-ahead swing")
    assert ride_ratio(found, bpm) == pytest.approx(wanted, abs=0.05)


def test_the_swing_of_the_ride_never_rises_with_tempo() -> None:
    ratios = [
        ride_ratio(performed(chart(BLUES, tempo=bpm, choruses=8), "straight-ahead swing"), bpm)
        for bpm in range(120, 321, 40)
    ]
    assert all(b <= a + 0.03 for a, b in pairwise(ratios))


def ride_ratio(found: Performance, bpm: float) -> float:
    """Mean place of the off-beat between the beats around it, as long to short."""
    music = found.arrangement
    quarter_s = 60 / bpm
    drums = performer(found, "drums").notes
    rides = [n.onset_s - found.count_in_s for n in drums if n.pitch == 51]
    off = [s / quarter_s % 1 for s in rides if 0.35 < s / quarter_s % 1 < 0.85]
    on = [(s / quarter_s + 0.5) % 1 - 0.5 for s in rides if not 0.35 < s / quarter_s % 1 < 0.85]
    assert len(off) > 40, music.style.name
    middle = float(np.mean(off)) - float(np.mean(on))
    return middle / (1 - middle)


def test_off_beats_of_the_band_agree_within_15_ms() -> None:
    for bpm in (120, 160, 220):
        found = performed(chart(BLUES, tempo=bpm, choruses=8), "straight-ahead swing")
        places: dict[Fraction, list[float]] = {}
        for role in ("drums", "keys", "guitar", "bass"):
            for place, onset_s in in_time(found, role).items():
                if place.denominator == 2:
                    places.setdefault(place, []).append(onset_s)
        wide = [max(s) - min(s) for s in places.values() if len(s) > 1]
        assert len(wide) > 20
        assert max(wide) <= 0.015


def in_time(found: Performance, role: str) -> dict[Fraction, float]:
    """Every place that a player plays in time, with the onset of what leads there (the first string of a strum)."""
    onsets: dict[int, list[float]] = {}
    for note in performer(found, role).notes:
        onsets.setdefault(note.pitch, []).append(note.onset_s)
    seen: dict[int, list[Fraction]] = {}
    places: dict[Fraction, float] = {}
    for note in player(found.arrangement, role).notes:
        earlier = seen.setdefault(note.pitch, [])
        if not earlier or earlier[-1] != note.start_q:
            earlier.append(note.start_q)
        foot = role == "drums" and note.pitch == DRUM_KEYS["pedal hat"]  # ahead of the others
        if not note.strict and not note.order and not foot:
            places.setdefault(note.start_q, onsets[note.pitch][len(earlier) - 1])
    return places


@cache
def band_timing(style: str, tempo: int) -> dict[str, tuple[np.ndarray, np.ndarray, float, float]]:
    """For each player: lateness of every place it plays in ms, whether on a beat, and its settings."""
    found = performed(
        chart(RHYTHM, meter="4/4", tempo=tempo, choruses=6, feel="straight", plan="flat"), style
    )
    result = {}
    for role in ("drums", "keys", "guitar", "bass"):
        part = player(found.arrangement, role).parts[0].part
        first = in_time(found, role)
        places = sorted(first)
        quarter_s = 60 / tempo
        late = [(first[p] - found.count_in_s - float(p) * quarter_s) * 1000 for p in places]
        on = [p.denominator == 1 for p in places]
        result[role] = (np.array(late), np.array(on), part.late_ms, part.spread_ms)
    return result


@each("style", ["straight-ahead swing", "rock eighths"])
def test_each_players_timing_is_what_its_style_says(style: str) -> None:
    """Mean within 1 ms, spread within 20 %, long-range correlated."""
    for role, (late, on, late_ms, spread_ms) in band_timing(style, 140).items():
        assert np.mean(late[on]) == pytest.approx(late_ms, abs=1), role
        assert np.std(late - late_ms * on) == pytest.approx(spread_ms, rel=0.2), role
        assert -1.5 < slope(list(late - late_ms * on)) < -0.5, role


# Variety


@each("style", ["straight-ahead swing", "jazz waltz", "fast swing"])
def test_comping_in_jazz_does_not_become_a_loop(style: str) -> None:
    """In 96 bars no two-bar pair of the piano fills more than a fifth, and no pattern stands three times running.

    What is heard may do so once: strokes are left out where the guitar has them.
    """
    music = long(style)
    assert len(music.timeline.bars) == 96
    assert measures.commonest_pair(music, ("keys",)) <= 0.2
    assert measures.triples(music, ("keys",)) <= 1


@pytest.mark.slow
def test_backbeat_drums_are_struck_where_drummers_strike() -> None:
    """Mean distance from a corpus of popular-music drum patterns (PMC10130781, table 3)."""
    counts: Counter[tuple[str, Fraction]] = Counter()
    bars = 0
    for style in BACKBEAT:
        for dynamics in ("mp", "mf", "f"):
            text = chart(RHYTHM, meter="4/4", choruses=2, dynamics=dynamics, ending="as written")
            more, n = measures.struck(arranged(text, style))
            counts.update(more)
            bars += n
    rows = table("backbeat.tsv")
    apart = [
        abs(counts[name, Fraction(row["place"])] / bars - float(row[name]))
        for row in rows
        for name in measures.KIT
    ]
    assert np.mean(apart) <= 0.12


def test_every_demo_has_a_chart_of_its_own() -> None:
    assert len(DEMOS) >= 5
    assert all(isinstance(path, Path) for path in DEMOS)
    assert all(perform(demo(path.stem)).duration_s > 20 for path in DEMOS)
