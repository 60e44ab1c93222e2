"""A chord on every beat: one leads, the others leave room, and the next chorus is played in another way.

Figures are common practice of the trade; `ensemble` says how they are taken.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

from backing.band.model import Arrangement, Kind
from tests import ensemble, measures
from tests.band import arranged, chart, player
from tests.each import each

CHARTS = ("beats-in-four", "beats-in-three", "rows-by-half-step")
FOLDER = Path(__file__).parent / "cases" / "band"
SEEDS = (1, 2, 3)


@cache
def take(name: str, seed: int, style: str | None = None) -> Arrangement:
    """With everybody playing throughout."""
    return arranged((FOLDER / f"{name}.txt").read_text("utf-8"), style, seed, wish={"plan": "flat"})


@each("style", [None, "rock eighths", "bossa nova"])
def test_not_everybody_strikes_every_chord(style: str | None) -> None:
    seeds = SEEDS if style is None else (2,)
    shares = [ensemble.struck_by_all(take(name, seed, style)) for name in CHARTS for seed in seeds]
    assert max(shares) <= 0.4


@each("style", [None, "rock eighths", "bossa nova"])
def test_every_chord_is_heard(style: str | None) -> None:
    for name in CHARTS:
        for seed in SEEDS if style is None else (2,):
            found = measures.harmony(take(name, seed, style))
            assert not [*found.missing, *found.foreign], (name, seed)


def test_another_seed_is_another_take() -> None:
    shares = [
        ensemble.alike(player(take(name, a), "keys"), player(take(name, b), "keys"), take(name, a))
        for name in CHARTS
        for a, b in combinations(SEEDS, 2)
    ]
    assert sum(shares) / len(shares) <= 0.3


def test_the_leader_plays_another_way_in_each_chorus() -> None:
    music = take("beats-in-four", 1)
    bars = music.timeline.bars
    ways = set()
    for chorus in (1, 2, 3):
        played = [b for b in bars if b.chorus == chorus]
        rhythms = tuple(
            tuple(
                sorted(
                    {
                        n.start_q - b.start_q
                        for n in player(music, role).notes
                        if b.start_q <= n.start_q < b.end_q
                    }
                )
            )
            for role in ("keys", "guitar")
            for b in played[:2]
        )
        ways.add(rhythms)
    assert len(ways) == 3


def test_the_top_line_hardly_leaps() -> None:
    for name in CHARTS:
        for seed in SEEDS:
            music = take(name, seed)
            assert ensemble.leaps(player(music, "keys"), ensemble.beat_chords(music)) <= 0.1


@each("role", ["keys", "guitar"])
def test_a_row_by_half_step_keeps_its_shape(role: str) -> None:
    found = [
        ensemble.shapes_kept(
            player(take("rows-by-half-step", s), role), take("rows-by-half-step", s)
        )
        for s in SEEDS
    ]
    moves, kept = map(sum, zip(*found, strict=True))
    assert moves > 50
    assert kept / moves >= 0.8


def test_keys_have_four_voices_however_soft() -> None:
    """Chords with a seventh, struck whole."""
    text = (
        (FOLDER / "beats-in-four.txt").read_text("utf-8").replace("| C6 C#", "dynamics: p\n| C6 C#")
    )
    for seed in SEEDS:
        music = arranged(text, None, seed, wish={"plan": "flat"})
        for stroke in ensemble.strokes(player(music, "keys")).values():
            chord = music.timeline.chords[stroke[0].chord].chord
            broken = "broken" in stroke[0].why.words
            if chord is not None and len(chord.degrees) > 3 and not (broken or stroke[0].strict):
                assert len(stroke) == 4, (seed, chord.symbol)


def test_dominants_round_the_cycle_go_by_step() -> None:
    """Where keys lead, a note of each chord stays for the next, and the top line stays or moves by step."""
    cycle = " | ".join(["A9 D9 G9 C9", "F9 Bb9 Eb9 Ab9", "Db9 F#9 B9 E9"])
    text = chart(cycle, meter="4/4", tempo=120, choruses=3)
    moves, held = [], []
    for seed in SEEDS:
        whole: dict[int, set[int]] = {}
        for note in player(arranged(text, "straight-ahead swing", seed), "keys").notes:
            whole.setdefault(note.chord, set()).add(note.pitch)
        pairs = [(whole[i], whole[i + 1]) for i in whole if i + 1 in whole]
        moves += [abs(max(b) - max(a)) for a, b in pairs]
        held += [bool(a & b) for a, b in pairs]
    assert len(moves) > 40
    assert sum(m <= 2 for m in moves) / len(moves) >= 0.9
    assert sum(held) / len(held) >= 0.9


def test_a_written_fifth_never_meets_a_flat_thirteenth() -> None:
    """The bass goes to its octave where the chord says b13."""
    music = arranged(chart("Dm7 | G7b13 | Cm7 | A7b13", meter="4/4", choruses=2), "bossa nova")
    spans = music.timeline.chords
    fifths = [
        n
        for n in player(music, "bass").notes
        if n.degree == "5" and spans[n.chord].symbol.endswith("b13")
    ]
    assert fifths == []


def test_one_chord_for_eight_bars_is_planed_in_fourths() -> None:
    """Stacks of fourths by step along the scale; in the seventh bar a half step aside, in the eighth back."""
    music = arranged(
        chart(" | ".join(["Dm7"] * 16), meter="4/4", tempo=168), "straight-ahead swing"
    )
    keys = ensemble.strokes(player(music, "keys"))
    bars = music.timeline.bars
    stacks = {at: sorted(n.pitch for n in row) for at, row in keys.items() if not row[0].strict}
    fourths = [all(b - a in (4, 5) for a, b in pairwise(row)) for row in stacks.values()]
    assert sum(fourths) / len(fourths) >= 0.9
    assert len({tuple(row) for row in stacks.values()}) >= 5
    dorian = {2, 4, 5, 7, 9, 11, 0}
    outside = {
        number
        for number, bar in enumerate(bars[:16])
        for at, row in stacks.items()
        if bar.start_q <= at < bar.end_q - 1 and not {p % 12 for p in row} <= dorian
    }
    assert outside <= {6, 14}
    assert outside


@each("style", ["bachata", "rockabilly"])
def test_a_hand_that_states_every_chord_plays_no_run(style: str) -> None:
    """One hand has time for one of both."""
    music = take("beats-in-four", 1, style)
    quick = set(ensemble.beat_chords(music))
    for part in ensemble.comping(music):
        assert not [n for n in part.notes if n.chord in quick and n.why.kind is Kind.LINE], (
            part.role
        )
