"""From exact places to seconds: swing across the band, human timing, strums, tempo, markers."""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from backing.band.model import Arrangement, Note, PartStart, Player
from backing.performance.feel import ratio
from backing.performance.model import RING_S, Performance, PerformedNote
from backing.performance.perform import perform
from tests.band import arranged, chart, demo, performed, performer, player
from tests.briefs import UNASKED
from tests.each import each
from tests.test_feel import slope, table

BLUES = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7"
LATE_MS, SPREAD_MS = 8.0, 7.0


def hand_played(
    role: str, notes: list[Note], *, bpm: int = 120, style: str = "straight-ahead swing", text: str = "",
    late_ms: float = LATE_MS, spread_ms: float = SPREAD_MS, seed: int = 1,
) -> Performance:  # fmt: skip
    """Notes of one player on a real form, performed."""
    tune = arranged(text or chart(BLUES, tempo=bpm, choruses=4, count_in="off"), style)
    part = replace(player(tune, role).parts[0].part, late_ms=late_ms, spread_ms=spread_ms)
    start = PartStart(Fraction(0), part, player(tune, role).parts[0].style)
    return perform(tune._replace(seed=seed, players=(Player(role, (start,), tuple(notes)),)))


def row(places: list[Fraction], bars: int, **fields: object) -> list[Note]:
    """The same places in every bar of 4/4."""
    return [
        Note(4 * bar + q, 4 * bar + q + Fraction(1, 8), 60, 80, UNASKED, **fields)  # type: ignore[arg-type]
        for bar in range(bars)
        for q in places
    ]


QUARTERS = [Fraction(n) for n in range(4)]
EIGHTHS = [Fraction(n, 2) for n in range(8)]


def late_ms(
    found: Performance, notes: list[Note], bpm: float, long_short: float = 1.0
) -> np.ndarray:
    """Milliseconds behind the grid, the off-beats of which stand where the ratio puts them."""
    quarter_s = 60 / bpm
    grid = []
    for note in notes:
        whole, rest = divmod(float(note.start_q), 1)
        grid.append((whole + (long_short / (1 + long_short) if rest == 0.5 else rest)) * quarter_s)
    onsets = [n.onset_s for n in found.players[0].notes]
    return (np.array(onsets) - np.array(grid)) * 1000


@each("entry", table("swing.tsv"), ids=lambda r: r["bpm"])
def test_off_beats_of_the_whole_band_stand_where_the_ratio_puts_them(entry: dict[str, str]) -> None:
    bpm, wanted = int(entry["bpm"]), float(entry["ratio"])
    for role in ("drums", "keys", "bass"):
        notes = row(EIGHTHS, 44)
        found = hand_played(role, notes, bpm=bpm, spread_ms=0.0, late_ms=0.0)
        onsets = [n.onset_s for n in found.players[0].notes]
        lengths = np.diff(onsets)
        assert np.mean(lengths[0::2]) / np.mean(lengths[1::2]) == pytest.approx(wanted, abs=0.005)


def test_a_feel_in_the_chart_overrides_that_of_the_style() -> None:
    for feel, wanted in (("straight", 1.0), ("swing 3:2", 1.5), ("shuffle", 2.0)):
        text = chart(BLUES, tempo=100, choruses=4, count_in="off", feel=feel)
        found = hand_played("keys", row(EIGHTHS, 44), text=text, spread_ms=0.0, late_ms=0.0)
        lengths = np.diff([n.onset_s for n in found.players[0].notes])
        assert np.mean(lengths[0::2]) / np.mean(lengths[1::2]) == pytest.approx(wanted, abs=0.005)


@each("role", ["keys", "bass", "drums"])
@each("seed", [1, 2, 3])
def test_timing_keeps_its_mean_and_its_spread(role: str, seed: int) -> None:
    """Mean within 1 ms and standard deviation within 20 % of what the style sets."""
    for places in (QUARTERS, EIGHTHS, [Fraction(0), Fraction(3, 2)]):
        notes = row(places, 44)
        late = late_ms(hand_played(role, notes, bpm=150, seed=seed), notes, 150, 2.2)
        on = np.array([n.start_q.denominator == 1 for n in notes])
        assert np.mean(late[on]) == pytest.approx(LATE_MS, abs=1)
        if not on.all():
            assert np.mean(late[~on]) == pytest.approx(0, abs=1)
        assert np.std(late - LATE_MS * on) == pytest.approx(SPREAD_MS, rel=0.2)


@each("role", ["keys", "bass", "drums"])
def test_timing_is_long_range_correlated(role: str) -> None:
    """The slope of the power spectrum lies between white noise and a random walk (Hennig et al. 2011)."""
    for seed in range(1, 9):
        notes = row(QUARTERS, 44)
        late = late_ms(hand_played(role, notes, bpm=150, seed=seed), notes, 150)
        assert -1.5 < slope(list(late)) < -0.5


def test_strict_notes_are_swung_but_never_early_or_late() -> None:
    notes = row(EIGHTHS, 44, strict=True)
    late = late_ms(hand_played("keys", notes, bpm=150), notes, 150, ratio(400.0))
    assert np.abs(late).max() < 0.01


def test_the_click_stands_exactly_on_the_grid() -> None:
    found = performed(chart(BLUES, tempo=120), click="offbeats")
    clicks = performer(found, "click").notes
    assert [n.onset_s for n in clicks[:6]] == [0.0, 1.0, 2.0, 2.5, 3.0, 3.5]
    assert clicks[6].onset_s == 4.25  # never swung
    assert all(n.velocity == 92 for n in clicks[6:])


def test_notes_keep_their_order_even_when_the_spread_is_large() -> None:
    sixteenths = [Fraction(n, 4) for n in range(16)]
    found = hand_played("keys", row(sixteenths, 44), bpm=280, spread_ms=20.0)
    onsets = [n.onset_s for n in found.players[0].notes]
    assert len(onsets) == 44 * 16
    assert all(a < b for a, b in itertools.pairwise(onsets))


def test_strokes_that_would_fall_together_stay_two() -> None:
    """Two clicks are heard as two from about 2 ms on (Hirsh 1959, from memory): no hand comes nearer to itself."""
    crowded = [Fraction(n, 64) for n in range(64)]
    found = hand_played("keys", row(crowded, 44), bpm=280, spread_ms=20.0)
    onsets = [n.onset_s for n in found.players[0].notes]
    nearest = min(b - a for a, b in itertools.pairwise(onsets))
    assert nearest == pytest.approx(0.002, abs=1.5e-6)


def test_no_note_runs_into_the_next_one_of_its_pitch() -> None:
    long = [n._replace(end_q=n.start_q + 2) for n in row(QUARTERS, 44)]
    found = hand_played("keys", long)
    by_pitch: dict[int, list[PerformedNote]] = defaultdict(list)
    for note in found.players[0].notes:
        by_pitch[note.pitch].append(note)
    for notes in by_pitch.values():
        assert all(a.release_s <= b.onset_s for a, b in itertools.pairwise(notes))


def test_a_strum_spreads_in_its_order() -> None:
    chord = [
        Note(Fraction(0), Fraction(2), 48 + 5 * i, 80, UNASKED, order=i, spread_ms=12.0)
        for i in range(4)
    ]
    found = hand_played("guitar", chord, spread_ms=0.0, late_ms=0.0)
    onsets = [n.onset_s * 1000 for n in found.players[0].notes]
    assert onsets == pytest.approx([0, 12, 24, 36], abs=0.002)
    up = [n._replace(order=3 - n.order) for n in chord]
    assert [n.pitch for n in hand_played("guitar", up).players[0].notes] == [63, 58, 53, 48]


def test_velocities_vary_a_little_around_what_is_meant() -> None:
    notes = row(QUARTERS, 44)
    louder = [n.velocity - 80 for n in hand_played("keys", notes).players[0].notes]
    assert max(map(abs, louder)) <= 4
    assert len(set(louder)) > 4
    assert abs(np.mean(louder)) < 0.75


def test_the_first_sound_is_at_zero_and_nothing_lies_before_it() -> None:
    counted = performed(chart(BLUES, tempo=120))
    assert min(n.onset_s for p in counted.players for n in p.notes) == 0.0
    assert (counted.count_in_s, float(counted.tempo.zero_q)) == (4.0, -8.0)
    plain = performed(chart("<C | F", tempo=120, count_in="off"), "rock eighths")
    assert plain.count_in_s == 0.0
    assert min(n.onset_s for p in plain.players for n in p.notes) >= 0.0
    assert min(n.start_q for p in plain.players for n in p.notes) >= 0.0


def test_seconds_and_quarters_of_every_note_agree_with_the_tempo_map() -> None:
    """Also through a glide, to the microsecond."""
    found = performed(chart(BLUES, tempo="96 -> 150"))
    for voice in found.players:
        for note in voice.notes:
            for s, q in ((note.onset_s, note.start_q), (note.release_s, note.end_q)):
                assert s == pytest.approx(found.tempo.seconds(Fraction(q)), abs=1.5e-6)
                assert s == round(s, 6)
            assert note.onset_s < note.release_s


def test_a_track_lasts_four_seconds_longer_than_its_last_note() -> None:
    found = performed(chart(BLUES, tempo=120))
    last = max(n.release_s for p in found.players for n in p.notes)
    assert found.duration_s == pytest.approx(last + RING_S, abs=1e-6)


def test_a_fade_begins_so_many_bars_before_the_end() -> None:
    found = performed(chart(BLUES, tempo=120, ending="fade 4"))
    assert found.fade_s == pytest.approx(4 + 8 * 2)
    assert performed(chart(BLUES, tempo=120)).fade_s is None


def test_markers_name_the_count_in_and_every_playing_of_a_section() -> None:
    found = performed(
        "tempo: 120\nform: A B A\nending: as written\n[A]\n| C | F |\n[B]\n| G7 | C |\n"
    )
    assert [(m.text, m.at_s) for m in found.markers] == [
        ("Count-in", 0.0), ("A", 4.0), ("B", 8.0), ("A (2)", 12.0),
    ]  # fmt: skip
    unnamed = performed(chart("C | F", tempo=120, choruses=2, ending="as written", count_in="off"))
    assert [m.text for m in unnamed.markers] == ["Chorus 1", "Chorus 2"]


def test_a_section_in_another_style_changes_instrument_and_mix() -> None:
    text = "tempo: 120\nform: A B A\n[A]\n| C | F |\n[B]\nstyle: bossa nova\n| G7 | C |\n"
    found = performed(text, None)
    guitar = performer(found, "guitar")
    assert [v.at_q for v in guitar.voices] == [0, 8, 16]
    assert guitar.voices[0].instrument != guitar.voices[1].instrument
    assert guitar.voices[0].instrument == guitar.voices[2].instrument


def test_each_style_of_a_track_keeps_its_own_feel() -> None:
    """Straight eighths of the one stand in the middle of the beat, those of the other do not."""
    text = "tempo: 120\nform: A B\n[A]\n| C | F |\n[B]\nstyle: straight-ahead swing\n| G7 | C |\n"
    tune = arranged(text, None)
    parts = player(tune, "keys").parts
    assert [p.style.feel.name for p in parts] == ["straight", "swing"]
    still = tuple(
        PartStart(p.at_q, replace(p.part, late_ms=0.0, spread_ms=0.0), p.style) for p in parts
    )
    found = perform(tune._replace(players=(Player("keys", still, tuple(row(EIGHTHS, 4))),)))
    places = [n.start_q % 1 for n in found.players[0].notes if 0.1 < n.start_q % 1 < 0.9]
    assert places[:8] == [0.5] * 8
    assert places[8:] == pytest.approx([2.2 / 3.2] * 8, abs=1e-5)


def test_the_same_seed_gives_the_same_performance_and_another_does_not() -> None:
    tune = demo("blues")
    assert perform(tune) == perform(tune)
    again: Arrangement = tune._replace(seed=2)
    assert perform(again).players != perform(tune).players


def test_a_player_without_a_part_of_its_own_style_is_performed_too() -> None:
    """Only a click: no style has a say, and nothing fails."""
    found = performed(chart("C | F", tempo=120), only=frozenset({"click"}))
    assert [p.role for p in found.players] == ["click"]
