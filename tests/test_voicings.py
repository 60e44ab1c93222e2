"""Voicings: worked examples, voice leading over cycles, what must sound, low-interval limits."""

from __future__ import annotations

import random
from itertools import pairwise
from statistics import mean

import pytest

from backing.ground.pitch import Degree, degrees
from backing.harmony.families import FAMILIES, VOICES, stacks
from backing.harmony.offer import tones
from backing.harmony.reader import read
from backing.harmony.search import best_path, jitter
from backing.harmony.selections import selections
from backing.harmony.symbol import Chord
from backing.harmony.voicings import (
    LOW_LIMITS,
    Voicing,
    distance,
    limit_excess,
    moves,
    palette,
)
from tests.briefs import chord
from tests.each import each

ROOTS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
QUALITIES = (
    "", "m", "dim", "+", "sus4", "sus2", "5", "6", "m6", "6/9", "add9", "7", "9", "13", "11", "7sus4", "9sus4", "7b9",
    "7#9", "7#11", "7b13", "13#11", "7alt", "maj7", "maj9", "maj13", "maj7#11", "m7", "m9", "m11", "m13", "m7b5",
    "dim7", "m(maj7)", "7b9b13", "maj7#5",
)  # fmt: skip
COLOURS = {"m7": degrees("9"), "7": degrees("9 13"), "maj7": degrees("9")}


def line(symbols: list[str], family: str, coloured: bool = True) -> list[Voicing]:
    """The best path through some chords, without chance."""
    found = []
    for symbol in symbols:
        one = chord(symbol)
        added = COLOURS.get(one.quality, ()) if coloured else ()
        found.append(palette(one, added, family, VOICES[family], 50, 76))
    path = best_path(
        [[v.cost for v in p.voicings] for p in found], [moves(a, b) for a, b in pairwise(found)]
    )
    return [p.voicings[i] for p, i in zip(found, path, strict=True)]


def cycle() -> list[str]:
    """ii-V-I down by whole steps through six keys, then the other six."""
    found = []
    for start in (0, 1):
        for step in range(6):
            tonic = (start - 2 * step) % 12
            found += [
                ROOTS[(tonic + 2) % 12] + "m7",
                ROOTS[(tonic + 7) % 12] + "7",
                ROOTS[tonic] + "maj7",
            ]
    return found


def need(one: Chord) -> set[str]:
    return {d.name for d in one.must_sound}


@each("coloured", [True, False])
@each("family", ["rootless", "drop 2", "drop 3", "close"])
def test_four_voices_move_little_over_two_five_one_cycles(family: str, coloured: bool) -> None:
    """At most four semitones a change on average; the top note stays or steps in three of five (common practice)."""
    found = line(cycle(), family, coloured)
    assert mean(distance(a.pitches, b.pitches) for a, b in pairwise(found)) <= 4
    assert mean(abs(a.top - b.top) <= 2 for a, b in pairwise(found)) >= 0.6
    assert all(len(v.pitches) == 4 for v in found)


def test_rootless_types_are_those_of_the_books() -> None:
    """Type A of Dm9 is F A C E, type B of G13 F A B E (worked example at piano.org, rootless voicings)."""
    minor = palette(chord("Dm9"), (), "rootless", 4, 50, 76).voicings
    dominant = palette(chord("G13"), degrees("9"), "rootless", 4, 50, 76).voicings
    assert ("b3", "5", "b7", "9") in {v.degrees for v in minor}
    assert (53, 57, 60, 64) in {v.pitches for v in minor}
    assert (53, 57, 59, 64) in {v.pitches for v in dominant}
    assert distance((53, 57, 60, 64), (53, 57, 59, 64)) == 1


def test_types_a_and_b_alternate_over_two_five_one() -> None:
    """A-type and B-type alternate so that voices barely move (piano.org)."""
    two, five, _ = line(["Dm7", "G7", "Cmaj7"], "rootless")
    assert {two.shape, five.shape} == {"rootless A", "rootless B"}


@each(
    ("family", "bottom_up"),
    [
        ("drop 2", "5 1 3 7"),
        ("drop 2", "7 3 5 1"),
        ("drop 2", "1 5 7 3"),
        ("drop 2", "3 7 1 5"),
        ("drop 3", "3 1 5 7"),
    ],
)
def test_dropped_voicings_are_those_of_the_books(family: str, bottom_up: str) -> None:
    """Drop 2 of every inversion (mckiel.us drop 2 page), drop 3 of 1 3 5 7 (zelva.dev drop 3 page)."""
    built = {tuple(d.name for d in s) for s, _, _ in stacks(tones(chord("Cmaj7")), family, 4)}
    assert tuple(bottom_up.split()) in built


@each(
    ("before", "after", "moved"),
    [
        ((60, 64, 67), (60, 64, 69), 2),  # C, Am
        ((60, 64, 67), (60, 65, 69), 3),  # C, F
        ((60, 64, 67), (59, 64, 67), 1),  # C, Em
        ((60, 64, 67), (59, 64, 68), 2),  # C, E
        ((60, 62, 65, 69), (59, 62, 65, 67), 3),  # Dm7, G7
        ((53, 55, 59, 62), (53, 56, 59, 61), 2),  # G7, Db7: the tritone substitute
        ((64, 64, 67, 71, 72), (63, 64, 68, 71, 71), 3),  # Cmaj7, Emaj7 with a doubled note
    ],
)
def test_distance_is_the_sum_of_moves(
    before: tuple[int, ...], after: tuple[int, ...], moved: int
) -> None:
    """Minimal voice leadings of common pairs (Tymoczko 2006, The Geometry of Musical Chords, and its supplement)."""
    assert distance(before, after) == moved


def test_a_voice_too_many_joins_its_neighbour() -> None:
    assert distance((60, 64, 67), (60, 64, 67, 72)) == 5
    assert distance((60,), (60, 64)) == 4


@each("family", FAMILIES)
@each("quality", QUALITIES)
def test_what_must_sound_is_in_every_voicing(family: str, quality: str) -> None:
    """must_sound ⊆ voicing ⊆ degrees − omitted, on four roots; power chords owe root and fifth."""
    for root in ("C", "F#", "Bb", "E"):
        one = chord(root + quality)
        allowed = {d.name for d in one.degrees if d not in one.omit}
        for voicing in palette(one, (), family, VOICES[family], 50, 76).voicings:
            sounded = set(voicing.degrees)
            if family == "power":
                assert sounded <= {"1", "5", "b5", "#5"}
                assert len(sounded) == 2
                continue
            assert need(one) <= sounded <= allowed
            assert all(sounded & {d.name for d in group} for group in one.any_of)
            by_name = {d.name: (one.root.pc + d.semitones) % 12 for d in one.degrees}
            assert [p % 12 for p in voicing.pitches] == [by_name[d] for d in voicing.degrees]
            assert list(voicing.pitches) == sorted(voicing.pitches)
            assert voicing.bottom >= 50


@each("family", ["shells", "rootless", "drop 2", "triads", "close", "spread"])
@each("quality", QUALITIES)
def test_no_pair_lies_below_its_low_interval_limit(family: str, quality: str) -> None:
    """The register of keys keeps every pair clear (handbook table of low-interval limits)."""
    for root in ROOTS:
        for voicing in palette(chord(root + quality), (), family, VOICES[family], 50, 76).voicings:
            for i, low in enumerate(voicing.pitches):
                assert not any(limit_excess(low, high) for high in voicing.pitches[i + 1 :])


def test_limits_are_those_of_the_table() -> None:
    """Minor third from C3, major third from B2, fifth from C2 (sweetwater.com, read with middle C as C4)."""
    assert (LOW_LIMITS[3], LOW_LIMITS[4], LOW_LIMITS[7]) == (48, 47, 36)
    assert limit_excess(40, 43) == 8
    assert limit_excess(36, 48) == 0


@each("family", FAMILIES)
def test_a_power_chord_gets_no_third(family: str) -> None:
    for voicing in palette(chord("C5"), degrees("9"), family, VOICES[family], 50, 76).voicings:
        assert {p % 12 for p in voicing.pitches} <= {0, 7}


@each("family", [f for f in FAMILIES if f != "power"])
def test_a_foreign_bass_is_left_to_the_bass_and_the_chord_stays_whole(family: str) -> None:
    """F/G is F A C over G; Dm7/G is D F A C over G; C/E has all of C."""
    for symbol, whole in (("F/G", {5, 9, 0}), ("Dm7/G", {2, 5, 9, 0}), ("C/E", {0, 4, 7})):
        for voicing in palette(
            chord(symbol), degrees("9"), family, VOICES[family], 50, 76
        ).voicings:
            classes = {p % 12 for p in voicing.pitches}
            assert whole <= classes
            if symbol != "C/E":
                assert 7 not in classes


def test_a_minor_ninth_is_kept_for_the_flat_ninth_of_a_dominant() -> None:
    """No best voicing of these kinds holds a minor ninth (common practice)."""
    for quality in ("maj7", "maj9", "m7", "m9", "7", "9", "13", "6", "m11", "maj7#11"):
        for root in ROOTS:
            best = palette(chord(root + quality), (), "drop 2", 4, 50, 76).voicings[0]
            assert not any(
                b - a in (13, 25) for i, a in enumerate(best.pitches) for b in best.pitches[i + 1 :]
            )


def test_an_unaltered_fifth_goes_first() -> None:
    """Four notes of a 13 are never at the cost of third, seventh or thirteenth (oer4.com omission rules)."""
    for chosen, _ in selections(tones(chord("C13")), 4):
        assert {"3", "b7", "13"} <= {d.name for d in chosen}
        assert Degree.parse("11") not in chosen


def test_altered_dominants_take_an_altered_fifth_and_ninth() -> None:
    for voicing in palette(chord("C7alt"), (), "rootless", 4, 50, 76).voicings:
        assert set(voicing.degrees) & {"b9", "#9"}
        assert set(voicing.degrees) & {"b5", "#5"}


def test_a_narrow_register_still_gives_voicings() -> None:
    for quality in QUALITIES:
        assert palette(chord("C" + quality), (), "spread", 4, 55, 67).voicings


def test_colours_come_in_where_they_are_offered() -> None:
    best = palette(chord("Dm7"), degrees("9"), "rootless", 4, 50, 76).voicings[0]
    plain = palette(chord("Dm7"), (), "rootless", 4, 50, 76).voicings
    assert "9" in best.degrees
    assert all("9" not in v.degrees for v in plain)


def test_the_cheapest_path_is_found() -> None:
    """Against every path tried one by one."""
    dice = random.Random(7)
    for _ in range(20):
        sizes = [dice.randint(1, 3) for _ in range(5)]
        nodes = [[dice.random() for _ in range(n)] for n in sizes]
        edges = [[[dice.random() for _ in range(a)] for _ in range(b)] for a, b in pairwise(sizes)]
        paths: list[list[int]] = [[]]
        for n in sizes:
            paths = [[*p, i] for p in paths for i in range(n)]

        def cost(
            path: list[int],
            nodes: list[list[float]] = nodes,
            edges: list[list[list[float]]] = edges,
        ) -> float:
            own = sum(nodes[t][i] for t, i in enumerate(path))
            return own + sum(edges[t][j][i] for t, (i, j) in enumerate(pairwise(path)))

        assert cost(best_path(nodes, edges)) == pytest.approx(min(map(cost, paths)))


def test_no_steps_have_no_path() -> None:
    assert best_path([], []) == []


def test_jitter_stays_within_its_size() -> None:
    values = jitter(0.731, 16, 0.5)
    assert len(set(values)) == 16
    assert all(0 <= v < 0.5 for v in values)


def test_read_and_the_helper_agree() -> None:
    assert chord("Dm7") == read("Dm7")


def test_an_added_eleventh_never_rubs_against_a_major_third() -> None:
    """The natural eleventh over a major third is the note to avoid (common practice); over a minor third it is none."""

    def added(symbol: str) -> bool:
        found = selections(tones(chord(symbol), degrees("11")), 4)
        return any(Degree(11) in chosen for chosen, _ in found)

    assert not added("C7")
    assert not added("Cmaj7")
    assert added("Cm7")
