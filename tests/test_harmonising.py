"""Chords for a melody: what every harmonisation must hold, whatever the tune.

Sources: allowed tensions (no natural eleventh over a major third, no minor ninth that is not written), a bass that
moves by step, fourth or fifth, cadences at home: common practice. Tunes here are invented or drawn by chance.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.parse import parse
from backing.ground.dice import Place as Chance
from backing.ground.errors import RequestError
from backing.ground.pitch import Interval, Key, NoteName, Pitch
from backing.ground.timebase import Meter
from backing.harmonising.costs import weights
from backing.harmonising.fill import notes_as_chart, task_of
from backing.harmonising.harmonise import Harmonisation, Placed, harmonise
from backing.harmonising.keys import key_path, ranked_keys
from backing.harmonising.melody import Melody, TuneBar, TuneNote, alike
from backing.harmonising.moves import _dominants
from backing.harmonising.palette import MANNERS, TENSIONS
from backing.harmonising.reasons import About
from backing.harmonising.wishes import EVERY, Kept, Wishes
from backing.harmony.chord import Chord
from backing.harmony.spelling import note_in_key, spellings
from backing.harmony.symbol import read

THREE = Meter.of(3, 4)
FOUR = Meter.of(4, 4)
STEPS = (
    (-9, -8, -7, -6, -5, 5, 6, 7, 8, 9, 1, -1),  # wide leaps
    (1, 1, 1, -1, -1, -1, 2, -2, 4, -5),  # chromatic
    (3, -4, 6, -6, 1, -1, 2, -2, 5, -3),  # broken
    (-1, -1, -2, 1, 2, 7, -7),  # sighs and leaps
)


def pitch(midi: int, key: Key) -> Pitch:
    name = note_in_key(midi % 12, key)
    return Pitch(name, (midi - name.alter) // 12 - 1)


def melody(
    midis: list[int | None], meter: Meter, key: Key, length_q: Fraction = Fraction(1)
) -> Melody:
    """Notes of one length one after the other; None rests."""
    notes = tuple(
        TuneNote(i * length_q, length_q, pitch(midi, key))
        for i, midi in enumerate(midis)
        if midi is not None
    )
    count = -(-len(midis) * length_q // meter.length_q)
    bars = tuple(
        TuneBar(b + 1, b * meter.length_q, meter.length_q, meter) for b in range(int(count))
    )
    return Melody(notes, bars, key)


def strange(seed: int, bars: int = 8) -> Melody:
    """A line of quarters in 3/4 that no textbook would write."""
    chance = Chance(("strange line", seed))
    key = Key(NoteName("CDEFGAB"[picked(chance, range(7), "key")]), chance.chance(0.4, "mode"))
    midi, midis = 60 + picked(chance, range(17), "first"), []
    for i in range(3 * bars):
        midi += picked(chance, STEPS[seed % 4], "step", i)
        midi += 12 if midi < 57 else -12 if midi > 84 else 0
        midis.append(midi)
    return melody(midis, THREE, key)


def picked(chance: Chance, items: Sequence[int], *decision: object) -> int:
    return items[int(chance.roll(*decision) * len(items))]


@cache
def best(manner: str, seed: int) -> Harmonisation:
    return harmonise(strange(seed), Wishes(manner=manner, every="beat", results=1))[0]


def symbol(text: str) -> Chord:
    chord = read(text)
    assert chord is not None
    return chord


def above(note: Pitch, chord: Chord) -> int:
    return (note.midi - chord.root.pc) % 12


def faults(placed: Placed, tune: Melody) -> list[str]:
    """Notes of the tune that are neither chord tones nor allowed tensions."""
    chord = placed.chord
    tones = {d.semitones % 12 for d in chord.degrees}
    allowed = tones | TENSIONS.get(chord.family, frozenset())
    if chord.family == "dominant" and tones & {1, 3}:
        allowed -= {2} - tones
    if chord.family == "dominant" and 8 in tones:
        allowed -= {9} - tones
    notes = tune.between(placed.place.start_q, placed.place.end_q)
    wrong = [n for n in notes if above(n.pitch, chord) not in allowed]
    wrong += [n for n in notes if above(n.pitch, chord) == 5 and 4 in tones and 5 not in tones]
    wrong += [n for n in notes if above(n.pitch, chord) == 1 and 1 not in tones]
    return [f"bar {placed.bar}: {n.pitch.name} over {chord.symbol}" for n in wrong]


LINES = (range(30), pytest.param(range(200), marks=pytest.mark.slow))


@pytest.mark.parametrize("lines", LINES, ids=len)
@pytest.mark.parametrize("manner", ["colourful", "chromatic"])
def test_every_note_of_a_strange_line_is_a_chord_tone_or_an_allowed_tension(
    manner: str, lines: range
) -> None:
    wrong = [
        f"line {seed}, {fault}"
        for seed in lines
        for placed in best(manner, seed).chords
        for fault in faults(placed, strange(seed))
    ]
    assert wrong == []


@pytest.mark.parametrize("lines", LINES, ids=len)
@pytest.mark.parametrize("manner", ["colourful", "chromatic"])
def test_the_bass_moves_by_step_fourth_or_fifth(manner: str, lines: range) -> None:
    moves: Counter[int] = Counter()
    for seed in lines:
        for one, two in pairwise(best(manner, seed).chords):
            up = (two.chord.lowest.pc - one.chord.lowest.pc) % 12
            moves[min(up, 12 - up)] += 1
    moving = sum(moves.values()) - moves[0]
    assert (moves[1] + moves[2] + moves[5]) / moving >= 0.85


@pytest.mark.parametrize("lines", LINES, ids=len)
@pytest.mark.parametrize("manner", ["colourful", "chromatic"])
def test_no_manner_collapses_to_one_quality(manner: str, lines: range) -> None:
    chords = [placed.chord for seed in lines for placed in best(manner, seed).chords]
    qualities = Counter(chord.quality for chord in chords)
    families = Counter(chord.family for chord in chords)
    count = len(chords)
    assert qualities.most_common(1)[0][1] / count <= 0.45
    assert (families["dominant"] + families["suspended"]) / count >= 0.15
    assert families["diminished"] / count >= 0.01
    assert sum(chord.bass is not None for chord in chords) / count >= 0.01
    assert qualities["m6"] / count >= 0.01


def degrees(result: Harmonisation) -> list[tuple[int, str, int]]:
    tonic = result.key.tonic.pc
    return [
        ((p.chord.root.pc - tonic) % 12, p.chord.quality, (p.chord.lowest.pc - tonic) % 12)
        for p in result.chords
    ]


@pytest.mark.slow
def test_a_line_in_twelve_keys_gets_the_same_degrees() -> None:
    """The key is named from outside, or found; ties go by the palette, never by a pitch class."""
    wrong = []
    for seed in range(6):
        tune = strange(seed)
        midis = [n.pitch.midi for n in tune.notes]
        for manner in MANNERS:
            for known in (True, False):
                wishes = Wishes(manner=manner, results=3)
                results = []
                for semitones in range(12):
                    key = Key(
                        note_in_key((tune.key.tonic.pc + semitones) % 12, None), tune.key.minor
                    )
                    moved = melody([m + semitones - 6 for m in midis], THREE, key)
                    moved = moved if known else moved._replace(key=None)
                    results.append([degrees(r) for r in harmonise(moved, wishes)])
                if any(result != results[0] for result in results):
                    wrong.append((seed, manner, known))
    assert wrong == []


TUNE = melody([64, 65, 67, 64, 62, 64, 62, 59, 60, None, None, None], FOUR, Key(NoteName("C")))


def test_a_plain_tune_gets_its_three_chords() -> None:
    result = harmonise(TUNE, Wishes(manner="plain", every="bar"))[0]
    assert [c.chord.symbol for c in result.chords] in (["C", "G", "C"], ["C", "G7", "C"])


@pytest.mark.parametrize("manner", MANNERS)
def test_results_differ_in_a_quarter_of_their_places(manner: str) -> None:
    tune = strange(3, bars=16)
    results = harmonise(tune, Wishes(manner=manner, every="beat", results=8))
    assert len(results) == 8
    assert [r.rank for r in results] == list(range(1, 9))
    for i, one in enumerate(results):
        for two in results[i + 1 :]:
            differ = sum(a != b for a, b in zip(one.symbols, two.symbols, strict=True))
            assert differ >= len(one.symbols) / 4


def test_kept_chords_stay_in_every_result() -> None:
    chord = read("F#m7b5")
    assert chord is not None
    kept = (Kept(2, Fraction(3), chord), Kept(1, Fraction(1), read("Am7") or chord))
    for result in harmonise(TUNE, Wishes(every="bar", keep=kept)):
        found = {(p.bar, p.place.beat): p.chord.symbol for p in result.chords}
        assert found[2, Fraction(3)] == "F#m7b5"
        assert found[1, Fraction(1)] == "Am7"


SYMBOLS = ("C", "F#m7b5", "Bb13", "Ebmaj7", "A7/C#", "Dm9", "G7sus4", "Abdim7", "E7#9")


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 40),
    manner=st.sampled_from(MANNERS),
    every=st.sampled_from(EVERY),
    asked=st.lists(
        st.tuples(st.integers(1, 8), st.integers(1, 3), st.sampled_from(SYMBOLS)),
        min_size=1,
        max_size=4,
        unique_by=lambda row: row[:2],
    ),
)
def test_whatever_is_to_be_kept_is_kept_where_it_stands(
    seed: int, manner: str, every: str, asked: list[tuple[int, int, str]]
) -> None:
    kept = tuple(Kept(bar, Fraction(beat), symbol(text)) for bar, beat, text in asked)
    for result in harmonise(strange(seed), Wishes(manner, every, results=2, keep=kept)):
        found = {(p.bar, p.place.beat): p.chord.symbol for p in result.chords}
        for wish in kept:
            assert found.get((wish.bar, wish.beat)) == wish.chord.symbol
        ends = [p.place.end_q for p in result.chords]
        assert ends == [*(p.place.start_q for p in result.chords[1:]), strange(seed).end_q]


def test_a_chord_to_avoid_is_nowhere() -> None:
    first = harmonise(TUNE, Wishes(every="bar"))[0].symbols
    results = harmonise(TUNE, Wishes(every="bar", avoid=frozenset(first)))
    assert not {s for r in results for s in r.symbols} & set(first)


def test_what_cannot_be_harmonised_says_so() -> None:
    with pytest.raises(RequestError, match="no melody"):
        harmonise(Melody((), TUNE.bars))
    chord = read("C")
    assert chord is not None
    with pytest.raises(
        RequestError, match=r"--keep 9\.1=C: the melody has no such place; its bars are 1 to 3"
    ):
        harmonise(TUNE, Wishes(keep=(Kept(9, Fraction(1), chord),)))
    with pytest.raises(RequestError, match=r"--keep 2\.5=C"):
        harmonise(TUNE, Wishes(keep=(Kept(2, Fraction(5), chord),)))


def test_every_chord_says_what_the_tune_is_in_it_and_what_it_does() -> None:
    for placed in harmonise(TUNE, Wishes(every="half"))[0].chords:
        kinds = [reason.about for reason in placed.why]
        assert About.TUNE in kinds
        assert About.FUNCTION in kinds
        assert all(reason.words for reason in placed.why)


def test_a_tritone_substitute_is_called_so_only_where_it_resolves() -> None:
    """D7 before Db7 slides; Db7 before Cmaj7 stands for G7 (common practice)."""
    wrong = []
    for seed in range(60):
        chords = best("chromatic", seed).chords
        for placed, after in pairwise(chords):
            said = any("stands a tritone" in reason.words for reason in placed.why)
            down = (placed.chord.root.pc - after.chord.root.pc) % 12 == 1
            if said and not (down and after.chord.family in ("major", "minor")):
                wrong.append((seed, placed.bar, placed.chord.symbol, after.chord.symbol))
    assert wrong == []


def test_equal_bars_get_equal_chords() -> None:
    bar = [64, 67, 72, 67]
    tune = melody(
        [*bar, 62, 65, 69, 65, *bar, 59, 62, 67, 62, *bar, 60, 60, 60, 60], FOUR, Key(NoteName("C"))
    )
    assert alike(tune) == [[0, 2, 4]]
    symbols = harmonise(tune, Wishes(manner="diatonic", every="bar"))[0].symbols
    assert symbols[0] == symbols[2] == symbols[4]


@pytest.mark.parametrize(
    ("midis", "key"),
    [
        ([67, 69, 71, 72, 74, 72, 71, 69, 67, 66, 67], "G major"),
        ([69, 71, 72, 74, 76, 74, 72, 71, 68, 69], "A minor"),
        ([65, 69, 72, 70, 69, 67, 65], "F major"),
        ([60, 62, 64, 65, 67, 67, 67, 67], "C major"),  # five notes that end on the fifth
    ],
)
def test_the_key_of_a_few_notes_is_found(midis: list[int | None], key: str) -> None:
    tune = melody(midis, FOUR, Key.parse(key))
    assert ranked_keys(tune)[0][0] == Key.parse(key)


def test_the_bass_goes_where_it_is_asked_to() -> None:
    tune = strange(9, bars=8)

    def share(bass: str, wanted: frozenset[int]) -> float:
        chords = harmonise(tune, Wishes(every="beat", bass=bass, results=1))[0].chords
        moves = [(b.chord.lowest.pc - a.chord.lowest.pc) % 12 for a, b in pairwise(chords)]
        return sum(move in wanted for move in moves) / len(moves)

    for bass, wanted in (
        ("falling", frozenset({10, 11})),
        ("rising", frozenset({1, 2})),
        ("still", frozenset({0})),
        ("cycle", frozenset({5})),
    ):
        assert share(bass, wanted) > max(0.4, share("free", wanted)), bass


def test_a_melody_moved_by_an_octave_keeps_its_chords() -> None:
    tune = strange(5)
    higher = tune._replace(
        notes=tuple(n._replace(pitch=n.pitch.up(Interval(7, 12))) for n in tune.notes)
    )
    assert harmonise(tune)[0].symbols == harmonise(higher)[0].symbols


def test_the_tune_on_the_root_is_not_held_under_a_half_step_by_a_major_seventh() -> None:
    """A tune that ends on its tonic wants the sixth, not the major seventh a half step below it: common practice."""
    tune = melody([67, 65, 62, 59, 60, None, None, None], FOUR, Key(NoteName("C")))
    assert harmonise(tune)[0].symbols[-1] in ("C", "C6", "C6/9")


def test_the_leading_note_of_a_minor_key_asks_for_its_dominant() -> None:
    """However short it is: no D under a D sharp in E minor."""
    tune = melody(
        [66, None, 67, 69, None, 63, 64, None, None, None, None, None], Meter.of(6, 8),
        Key.parse("E minor"), Fraction(1, 2),
    )  # fmt: skip
    for manner in ("plain", "diatonic"):
        first = harmonise(tune, Wishes(manner, "bar"))[0].symbols[0]
        assert first in ("B", "B7"), (manner, first)


def test_nothing_moves_under_the_last_note() -> None:
    for manner in MANNERS:
        tune = melody([64, 62, 59, 67, 60, None, None, None], FOUR, Key(NoteName("C")))
        tune = tune._replace(
            notes=(*tune.notes[:-1], tune.notes[-1]._replace(length_q=Fraction(4)))
        )
        last = [c for c in harmonise(tune, Wishes(manner))[0].chords if c.bar == 2]
        assert len(last) == 1
        assert last[0].chord.root.name == "C"


def test_a_chromatic_tune_is_heard_in_its_key() -> None:
    """A top line that falls by half steps passes; it visits no key a tritone away."""
    tune = melody(
        [67, 66, 65, 64, 63, 62, 61, 60, 59, 58, 56, 62, 63, None, None, None],
        FOUR,
        Key.parse("Eb"),
    )
    assert set(key_path(tune, Key.parse("Eb"))) == {Key.parse("Eb")}


@pytest.mark.parametrize(
    ("key", "midis", "not_read"),
    [("D", [76, 70, 74, 68], {"Gb", "E#", "B#"}), ("F", [66, 68, 64, 70], {"Fb", "Cb"})],
)
def test_roots_are_spelled_as_they_are_read(
    key: str, midis: list[int | None], not_read: set[str]
) -> None:
    """No Gb7 before Bm in D, however the tune's note is spelled."""
    tune = melody([*midis, *midis], FOUR, Key.parse(key))
    flat = tune._replace(notes=tuple(n._replace(pitch=flat_spelled(n.pitch)) for n in tune.notes))
    for line in (tune, flat):
        for result in harmonise(line, Wishes("chromatic", "beat", results=4)):
            assert not {c.chord.root.name for c in result.chords} & not_read


def flat_spelled(note: Pitch) -> Pitch:
    name = min(spellings(note.midi % 12), key=lambda n: n.alter)
    return Pitch(name, (note.midi - name.alter) // 12 - 1)


def test_each_place_that_was_asked_for_gets_a_chord_and_free_ones_may_hold() -> None:
    tune = melody([60, 60, 64, 67, 65, 67, 71, 62, 60, 60, 60, 60], FOUR, Key(NoteName("C")))
    assert len(harmonise(tune, Wishes("plain", "beat"))[0].chords) == 12
    assert len(harmonise(tune, Wishes("plain", "auto"))[0].chords) < 8


def notes(line: str, meter: Meter, key: str) -> Melody:
    """A tune typed as in a chart."""
    text = (
        f"meter: {meter.name}\nkey: {key}\n" + notes_as_chart(line, meter.name).partition("\n")[2]
    )
    return task_of(parse(text, wanted=True), "auto").melody


BOATS = "C4 C4 E4 G4 | A4 G4 E4 / | F4 F4 E4 D4 | G4 / / / | C5 G4 A4 E4 | F4 A4 G4 / | E4 F4 D4 B3 | C4 / / /"
MILL = (
    "(E4 / F#4) (G4 / A4) | (B4 / G4) (E4 / D4) | (F#4 / A4) (D5 / C5) | B4 / | "
    "(E5 / D5) (B4 / G4) | (A4 / B4) (C5 / A4) | (F#4 / G4) (A4 / D#4) | E4 /"
)
WHEEL = (
    "D5 F5 (D5 / Bb4) G4 | Ab4 C5 (Eb5 / Gb5) F5 | E5 C#5 (A4 / G4) (Bb4 / D5) | Bb4 A4 Ab4 / | "
    "G4 (Eb5 / D5) C5 Bb4 | A4 (C5 / F#5) G5 D5 | Eb5 (Gb4 / A4) (C5 / Eb5) A4 | Bb4 / / /"
)


def in_bar(result: Harmonisation, bar: int) -> list[str]:
    return [p.chord.symbol for p in result.chords if p.bar == bar]


@pytest.mark.parametrize("manner", ["plain", "diatonic"])
def test_a_phrase_that_rests_on_the_fifth_halts_on_the_dominant(manner: str) -> None:
    """The half cadence of a song in two phrases, then home: common practice."""
    result = harmonise(notes(BOATS, FOUR, "C"), Wishes(manner))[0]
    assert in_bar(result, 4)[-1] in ("G", "G7")
    assert in_bar(result, 5)[0] == in_bar(result, 8)[-1] == "C"


@pytest.mark.parametrize("manner", ["plain", "diatonic"])
def test_a_minor_tune_without_its_leading_note_goes_to_the_chord_below(manner: str) -> None:
    """D, not B7, under F sharp, A and D in E minor; B7 where D sharp comes: common practice of minor folk tunes."""
    result = harmonise(notes(MILL, Meter.of(6, 8), "E minor"), Wishes(manner))[0]
    assert in_bar(result, 3) == ["D"]
    assert in_bar(result, 7) in (["B7"], ["B"])


@pytest.mark.parametrize(("line", "meter", "key"), [(BOATS, "4/4", "C"), (WHEEL, "12/8", "Bb")])
def test_a_ballad_does_not_swing_between_tonic_and_dominant(
    line: str, meter: str, key: str
) -> None:
    """A full cadence belongs to the end of a phrase; a bass that skips away and back is heard as two chords only."""
    chords = harmonise(notes(line, Meter.of(*map(int, meter.split("/"))), key))[0].chords
    roots = [(p.chord.root.pc - Key.parse(key).tonic.pc) % 12 for p in chords]
    pendulum = [roots[i : i + 3] for i in range(len(roots) - 2)]
    assert sum(three in ([0, 7, 0], [7, 0, 7]) for three in pendulum) <= 1
    assert len(set(roots)) >= 4


@pytest.mark.parametrize("manner", MANNERS)
def test_a_phrase_begins_with_a_chord_of_its_own(manner: str) -> None:
    """A chord that goes on over the border hides it: common practice."""
    held = []
    for line, meter, key in ((BOATS, "4/4", "C"), (MILL, "6/8", "E minor"), (WHEEL, "12/8", "Bb")):
        tune = notes(line, Meter.of(*map(int, meter.split("/"))), key)
        result = harmonise(tune, Wishes(manner))[0]
        if in_bar(result, 4)[-1] == in_bar(result, 5)[0] not in ("C", "Em"):
            held.append((key, in_bar(result, 4)))
    assert held == []


def test_a_dominant_may_evade_by_a_step_up() -> None:
    """A7 to Bb in Bb, G7 to Am in C: the deceptive resolution, which costs nothing (common practice)."""
    w = weights(MANNERS.index("colourful"))
    leads, rests = np.array([True]), np.array([False])
    evaded, lost = (_dominants(w, leads, rests, np.array([[up]]))[0, 0] for up in (1, 9))
    assert evaded == 0 < lost
