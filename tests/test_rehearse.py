"""Practice passes: tempos, keys in turn, gaps, slices; and the sample at which each pass begins."""

from __future__ import annotations

from fractions import Fraction

import pytest

from backing.chart.parse import parse
from backing.ground.errors import RequestError
from backing.ground.pitch import Interval, Key
from backing.ground.timebase import TempoMap
from backing.timeline.form import Form
from backing.timeline.model import Timeline
from backing.timeline.passes import (
    GAP_PLAYS,
    SLOW_AND_FULL,
    USUAL_LADDER,
    Gap,
    Ladder,
    Plan,
    at_tempo,
    counted_bpm,
    passes,
    read_gap,
    read_ladder,
    read_plan,
    read_through,
    sample_starts,
    slice_bars,
    transposed,
)
from backing.timeline.unroll import unroll
from tests.each import each

TUNE = """key: F
tempo: 120
ending: as written
[A]
| F6 | Dm7 | Gm7 | C7 |
  melody: | C5 | D5 | / / F5 / | E5 |
[B]
| Bb7 | F/A | Abdim7 | <Gm7 C7 |
"""


def tune(extra: str = "") -> Timeline:
    return unroll(parse(extra + TUNE))


def test_the_usual_ladder_is_nine_tempos_twice() -> None:
    """60 to 100 percent in steps of five, each played twice."""
    found = passes(tune(), Plan())
    assert len(found) == 18
    assert [int(p.tempo_percent) for p in found[::2]] == list(range(60, 101, 5))
    assert found[0].tempo_percent == found[1].tempo_percent
    assert [p.number for p in found] == list(range(1, 19))
    assert found[2].label == "3: 65 %"


def test_every_pass_has_the_tempo_of_its_step_exactly() -> None:
    """120 at 60 % is 72 a minute: 833333 microseconds a quarter; the form of 32 quarters lasts 32 times that."""
    first = passes(tune(), Plan())[0].timeline
    assert [s.us for s in first.tempo] == [833_333]
    assert TempoMap(first.tempo).exact_s(first.length_q) == Fraction(32 * 833_333, 1_000_000)


def test_a_pass_that_repeats_the_last_one_has_one_bar_of_count_in() -> None:
    assert [p.count_in_bars for p in passes(tune(), Plan())][:4] == [None, 1, None, 1]
    assert [p.timeline.count_in for p in passes(tune(), Plan())][:4] == [None, 1, None, 1]
    two = passes(unroll(parse(TUNE), Form(count_in=2)), Plan(times=3))
    assert [p.count_in_bars for p in two][:4] == [2, 1, 1, 2]


def test_no_count_in_stays_none() -> None:
    assert {p.count_in_bars for p in passes(unroll(parse(TUNE), Form(count_in=0)), Plan())} == {0}


def test_slow_and_full_take_turns() -> None:
    found = passes(tune(), Plan(ladder=read_ladder("alternate"), times=2))
    assert [int(p.tempo_percent) for p in found] == [60, 100, 60, 100]
    assert [p.count_in_bars for p in found] == [None] * 4


def test_a_ladder_in_beats_a_minute_has_exactly_these_tempos() -> None:
    """Beats as the meter counts them: 80 dotted quarters a minute are 0.75 s each, 0.5 s a quarter."""
    found = passes(tune(), Plan(ladder=read_ladder("80:120:10bpm"), times=1))
    assert [p.timeline.tempo[0].us for p in found] == [
        round(60_000_000 / bpm) for bpm in (80, 90, 100, 110, 120)
    ]
    assert [p.label for p in found] == [
        "1: 80 bpm",
        "2: 90 bpm",
        "3: 100 bpm",
        "4: 110 bpm",
        "5: 120 bpm",
    ]
    assert found[0].tempo_percent == Fraction(200, 3)
    compound = unroll(parse("meter: 6/8\ntempo: 60\n| C |\n"))
    (one,) = passes(compound, Plan(ladder=read_ladder("80 bpm"), times=1))
    assert counted_bpm(one.timeline) == 80
    assert one.timeline.tempo[0].us == 500_000


def test_keys_in_turn_are_played_at_full_tempo_unless_a_ladder_is_asked_for() -> None:
    keys = read_through("C F Bb", Key.parse("F"))
    found = passes(tune(), Plan(through=keys, times=1))
    assert [p.key.name for p in found] == ["C major", "F major", "Bb major"]
    assert {p.tempo_percent for p in found} == {100}
    assert found[2].label == "3: Bb major, 100 %"
    assert [c.symbol for c in found[2].timeline.chords][:3] == ["Bb6", "Gm7", "Cm7"]
    ladder = passes(tune(), Plan(ladder=read_ladder("80:100:20"), through=keys, times=1))
    assert [(p.key.short_name, int(p.tempo_percent)) for p in ladder] == [
        (k, t) for k in ("C", "F", "Bb") for t in (80, 100)
    ]


@each(
    ("word", "names"),
    [
        ("fourths", "F Bb Eb Ab Db Gb B E A D G C"),
        ("semitones", "F Gb G Ab A Bb B C Db D Eb E"),
        ("C, F Bb", "C F Bb"),
    ],
)
def test_keys_in_turn_by_name(word: str, names: str) -> None:
    """The circle of fourths as it is taught (common practice); F sharp is written G flat, which has as many signs."""
    keys = read_through(word, Key.parse("F"))
    assert [k.short_name for k in keys] == names.split()


def test_keys_of_a_minor_tune_are_minor() -> None:
    assert [k.short_name for k in read_through("C F#", Key.parse("Am"))] == ["Cm", "F#m"]


def test_all_twelve_keys_keep_every_chord_and_the_melody() -> None:
    plain = tune()
    for number, one in enumerate(
        passes(plain, Plan(through=read_through("semitones", plain.key), times=1))
    ):
        shift = number if number <= 6 else number - 12
        for before, after in zip(plain.chords, one.timeline.chords, strict=True):
            assert before.chord is not None
            assert after.chord is not None
            assert after.chord.lowest.pc == (before.chord.lowest.pc + number) % 12
            assert after.push_q == before.push_q
        moved = [n.pitch.midi for n in one.timeline.melody]
        assert moved == [n.pitch.midi + shift for n in plain.melody]
        assert all(abs(n.pitch.note.alter) <= 1 for n in one.timeline.melody)


def test_a_gap_leaves_bars_to_the_player_alone() -> None:
    found = passes(tune(), Plan(ladder=Ladder((Fraction(100),)), times=1, gap=read_gap("2:1")))
    (one,) = found
    assert sorted(one.muted) == [3, 6]
    heard = [b.players for b in one.timeline.bars]
    assert heard == [None if b.index not in one.muted else frozenset() for b in one.timeline.bars]


def test_a_gap_can_keep_the_drums_or_a_click() -> None:
    for plays in ("drums", "click"):
        gap = read_gap("4:4", plays)
        (one,) = passes(tune(), Plan(ladder=read_ladder("100"), times=1, gap=gap))
        assert sorted(one.muted) == [5, 6, 7, 8]
        assert one.gap_plays == plays
        assert one.timeline.bars[4].players == GAP_PLAYS[plays]


def test_a_gap_does_not_bring_in_a_player_that_rests_anyway() -> None:
    timeline = unroll(parse("players: bass, keys\n" + TUNE))
    gap = Gap(1, 1, "drums")
    (one,) = passes(timeline, Plan(ladder=read_ladder("100"), times=1, gap=gap))
    assert one.timeline.bars[1].players == frozenset()


def test_a_pickup_is_played_before_the_gaps_are_counted() -> None:
    timeline = unroll(parse("key: F\npickup: 1\n| C7 | F | Bb | C7 | F |\n"))
    gap = Gap(2, 2)
    (one,) = passes(timeline, Plan(ladder=read_ladder("100"), times=1, gap=gap))
    assert sorted(one.muted) == [4, 5]


def test_pass_starts_never_drift() -> None:
    """Nine tempos of a form at 97: each start is its exact place to half a sample, however many came before."""
    timeline = unroll(parse("key: C\ntempo: 97\nending: as written\n| C | F | G7 | C |\n"))
    lengths = [
        TempoMap(p.timeline.tempo).exact_s(p.timeline.length_q) for p in passes(timeline, Plan())
    ]
    starts = sample_starts(lengths, 44100)
    assert starts[0] == 0
    assert len(starts) == 19
    place = Fraction(0)
    for length, start in zip([Fraction(0), *lengths], starts, strict=True):
        place += length
        assert abs(start - place * 44100) <= Fraction(1, 2)


@each(
    ("text", "percents"),
    [
        ("60:100:5", [60, 65, 70, 75, 80, 85, 90, 95, 100]),
        ("50:100:20", [50, 70, 90, 100]),  # the goal is always reached
        ("100:80:10", [100, 90, 80]),
        ("60%:70%:5%", [60, 65, 70]),
        ("80", [80]),
        ("70:80", [70, 75, 80]),
    ],
)
def test_a_ladder_is_read(text: str, percents: list[int]) -> None:
    assert read_ladder(text) == Ladder(tuple(Fraction(p) for p in percents))
    assert read_ladder("60:100:5") == USUAL_LADDER
    assert read_ladder(" Alternate ") == SLOW_AND_FULL


@each(
    ("call", "message"),
    [
        (
            lambda: read_ladder("fast"),
            "--ladder fast: write percent from, to and step, such as 60:100:5, beats a minute, such as 80:120:5bpm, or alternate",
        ),
        (
            lambda: read_ladder("5:100:5"),
            "--ladder 5:100:5: percentages go from 10 to 400, such as 60:100:5",
        ),
        (
            lambda: read_ladder("80%:120:5bpm"),
            "--ladder 80%:120:5bpm: write percent from, to and step, such as 60:100:5, beats a minute, such as 80:120:5bpm, or alternate",
        ),
        (
            lambda: read_ladder("8:120:5bpm"),
            "--ladder 8:120:5bpm: beats a minute go from 20 to 400, such as 80:120:5bpm",
        ),
        (
            lambda: read_ladder("60:100:0"),
            "--ladder 60:100:0: a step is at least 1, such as 60:100:5",
        ),
        (lambda: read_gap("4"), "--gap 4: write bars with and bars without the band, such as 4:4"),
        (
            lambda: read_gap("4:0"),
            "--gap 4:0: write bars with and bars without the band, such as 4:4",
        ),
        (
            lambda: read_plan(Key.parse("C"), times=0),
            "--passes 0: choose a number from 1 to 50",
        ),
        (
            lambda: read_gap("4:4", "bass"),
            "--gap-plays bass: choose one of nothing, click, drums",
        ),
        (
            lambda: read_through("C X", Key.parse("C")),
            '--through C X: write fourths, semitones, or keys such as "C F Bb"',
        ),
        (
            lambda: passes(tune(), Plan(through=read_through("fourths", Key.parse("F")), times=50)),
            "that makes 600 passes, and 500 is the limit; ask for fewer tempos, keys or passes",
        ),
    ],
)
def test_what_cannot_be_practised_is_refused(call: object, message: str) -> None:
    assert callable(call)
    with pytest.raises(RequestError) as wrong:
        call()
    assert str(wrong.value) == message


def test_a_slice_counts_from_one_and_from_zero() -> None:
    part = slice_bars(tune(), 3, 5)
    assert [b.index for b in part.bars] == [1, 2, 3]
    assert [b.number for b in part.bars] == [3, 4, 5]
    assert part.bars[0].start_q == 0
    assert [s.name for s in part.sections] == ["A", "B"]
    assert [(s.first, s.last) for s in part.sections] == [(1, 2), (3, 3)]
    assert [c.symbol for c in part.chords] == ["Gm7", "C7", "Bb7"]
    assert [(n.pitch.name, n.start_q, n.end_q) for n in part.melody] == [("F5", 2, 4), ("E5", 4, 8)]
    with pytest.raises(ValueError, match="no bars 3 to 9 among 8"):
        slice_bars(tune(), 3, 9)


def test_moving_there_and_back_gives_the_same_timeline() -> None:
    plain = tune()
    assert transposed(transposed(plain, Interval(2, 3)), Interval(-2, -3)) == plain
    assert at_tempo(plain, Fraction(100)) == plain


def test_a_slice_keeps_hits_and_kicks_inside_it() -> None:
    text = "key: C\n| C | F |\n hits: | x / / / | r / x / |\n| G7 | C |\n kicks: | r / x / | x / / / |\n"
    whole = unroll(parse(text))
    part = slice_bars(whole, 2, 3)
    assert [(h.start_q, h.end_q, h.kick) for h in part.hits] == [(2, 4, False), (6, 8, True)]
    assert [(r.start_q, r.end_q, r.kick) for r in part.rhythms] == [(0, 4, False), (4, 8, True)]


def test_a_melody_in_a_key_of_many_signs_is_spelled_at_its_height() -> None:
    """D sharp a semitone up would be D double sharp in letters of one kind: it is written E."""
    text = "key: B\n| B | F# |\n melody: | D#5 / A#4 / | E#5 |\n"
    moved = transposed(unroll(parse(text)), Interval(0, 1))
    assert [n.pitch.name for n in moved.melody] == ["E5", "B4", "F#5"]
    assert moved.key.name == "C major"


def test_a_key_beyond_seven_signs_is_respelled() -> None:
    moved = transposed(unroll(parse("key: C#\n| C# | F# |\n")), Interval(1, 2))
    assert moved.key.name == "Eb major"
    assert [c.symbol for c in moved.chords] == ["Eb", "Ab", "Eb"]


def test_a_plan_is_read_from_options_as_typed() -> None:
    key = Key.parse("F")
    assert read_plan(key) == Plan()
    plan = read_plan(key, ladder="80", times=3, through="C F", gap="4:2", gap_plays="click")
    assert plan == Plan(
        Ladder((Fraction(80),)), 3, (Key.parse("C"), Key.parse("F")), Gap(4, 2, "click")
    )
