"""The tempo map: units, glides, ritards, fermatas, meters, and what may be asked of it.

Microseconds a quarter are those of a Standard MIDI File (`data/order_of_play.md` has the worked values).
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from backing.chart.ast import Ending, EndingKind
from backing.chart.parse import parse
from backing.ground.errors import RequestError
from backing.ground.timebase import Tempo, TempoMap, TempoStep, microseconds_a_quarter
from backing.timeline.form import Form
from backing.timeline.model import Timeline
from backing.timeline.reshape import at_tempo, joined, slice_bars
from backing.timeline.tempo import Beat, Bend, Leg, closing_ritard, held, tempo_between, tempo_steps
from backing.timeline.unroll import unroll
from tests.each import each

Q = Fraction


def steps(timeline: Timeline) -> list[tuple[str, int]]:
    return [(str(s.at_q), s.us) for s in timeline.tempo]


def played(text: str, request: Form | None = None) -> Timeline:
    return unroll(parse(f"key: C\nending: as written\n{text}"), request or Form())


@each(
    ("settings", "us"),
    [
        ("tempo: 120", 500_000),
        ("tempo: 97", 618_557),
        ("meter: 6/8\ntempo: 90", 444_444),  # dotted quarters, as counted
        ("meter: 6/8\ntempo: dotted quarter = 90", 444_444),
        ("meter: 6/8\ntempo: quarter = 90", 666_667),
        ("meter: 2/2\ntempo: 100", 300_000),  # halves
        ("meter: 7/8\ntempo: 150", 400_000),  # quarters, in meters counted in eighths
        ("meter: 7/8\ntempo: eighth = 200", 600_000),
        ("tempo: half = 100", 300_000),
    ],
)
def test_a_tempo_is_written_in_microseconds_a_quarter(settings: str, us: int) -> None:
    assert steps(played(f"{settings}\n| C | F |\n")) == [("0", us)]


def test_a_section_has_its_own_tempo_and_the_next_the_charts_again() -> None:
    timeline = played("tempo: 120\n[A]\n| C |\n[B]\ntempo: 60\n| F |\n[C]\n| C |\n")
    assert steps(timeline) == [("0", 500_000), ("4", 1_000_000), ("8", 500_000)]


def test_a_glide_is_one_step_a_counted_beat_from_the_first_to_the_last() -> None:
    """From 120 to 90 over four beats: 120, 110, 100, 90."""
    timeline = played("[A]\ntempo: 120 -> 90\n| C |\n[B]\ntempo: 90\n| F |\n")
    assert steps(timeline) == [
        ("0", 500_000),
        ("1", microseconds_a_quarter(110)),
        ("2", 600_000),
        ("3", microseconds_a_quarter(90)),
    ]


def test_a_glide_in_six_eight_steps_on_dotted_quarters() -> None:
    timeline = played("meter: 6/8\n[A]\ntempo: 80 -> 60\n| C | F |\n[B]\ntempo: 60\n| C |\n")
    assert [at for at, _ in steps(timeline)] == ["0", "3/2", "3", "9/2"]
    assert timeline.tempo[0].us == microseconds_a_quarter(120)
    assert timeline.tempo[-1].us == microseconds_a_quarter(90)


def test_the_glide_of_the_chart_runs_over_all_choruses() -> None:
    timeline = played("tempo: 100 -> 200\nchoruses: 2\n| C | F | G7 | C |\n")
    tempos = [s.qpm for s in timeline.tempo]
    assert tempos == sorted(tempos)
    assert tempos[0] == 100
    assert tempos[-1] == pytest.approx(200, abs=1e-3)
    middle = TempoMap(timeline.tempo).us_at(Q(16))
    assert 60_000_000 / middle == pytest.approx(150, abs=2)


def test_rit_slows_to_four_fifths_by_the_end_of_the_section() -> None:
    """The bar of the rit. has four beats: 95, 90, 85 and 80 % of 100; then the chart's tempo again."""
    timeline = played('tempo: 100\n[A]\n| C | "rit." G7 |\n[B]\n| C |\n')
    assert steps(timeline) == [
        ("0", 600_000),
        ("4", microseconds_a_quarter(95)),
        ("5", microseconds_a_quarter(90)),
        ("6", microseconds_a_quarter(85)),
        ("7", 750_000),
        ("8", 600_000),
    ]


def test_accel_goes_to_six_fifths_and_a_figure_names_the_goal() -> None:
    assert played('tempo: 100\n| "accel." C |\n').tempo[-1].us == 500_000
    assert played('tempo: 100\n| "rit. to 75" C |\n').tempo[-1].us == 800_000
    assert played('meter: 6/8\ntempo: 100\n| "rit. to 60" C |\n').tempo[-1].us == microseconds_a_quarter(90)  # fmt: skip


def test_a_tempo_ends_a_rit() -> None:
    timeline = played('tempo: 100\n| "rit." C | F | "a tempo" G7 | C |\n')
    tempo = TempoMap(timeline.tempo)
    assert tempo.us_at(Q(7)) == 750_000
    assert tempo.us_at(Q(8)) == 600_000
    assert timeline.tempo[-1].at_q == 8


def test_a_rit_typed_before_a_chord_begins_there() -> None:
    timeline = played('tempo: 100\n| C "rit." G7 |\n')
    assert [at for at, _ in steps(timeline)] == ["0", "2", "3"]


def test_a_rit_in_a_repeated_bar_is_played_the_last_time() -> None:
    timeline = played('tempo: 100\n|: C | "rit." G7 :|\n')
    assert [at for at, _ in steps(timeline)] == ["0", "12", "13", "14", "15"]


def test_a_fermata_doubles_its_chord_and_leaves_the_grid_alone() -> None:
    """At 60 a bar of four beats lasts 4 s; with a fermata on its second half 6 s."""
    timeline = played('tempo: 60\n| C | G7 "fermata" F | C |\n')
    assert steps(timeline) == [("0", 1_000_000), ("6", 2_000_000), ("8", 1_000_000)]
    assert [c.fermata for c in timeline.chords] == [False, False, True, False]
    tempo = TempoMap(timeline.tempo)
    assert tempo.exact_s(Q(8)) - tempo.exact_s(Q(4)) == 6
    assert timeline.length_q == 12


def test_a_fermata_behind_the_last_chord_of_a_bar_is_that_chords() -> None:
    timeline = played('tempo: 60\n| C | F G7 "fermata" | C |\n')
    assert [c.fermata for c in timeline.chords] == [False, False, True, False]


def test_a_fermata_in_a_rit_is_held_at_the_tempo_reached() -> None:
    timeline = played('tempo: 100\n| "rit." C | "fermata" G7 |\n')
    tempo = TempoMap(timeline.tempo)
    assert tempo.us_at(Q(7)) == 2 * 750_000
    assert tempo.us_at(Q(3)) == microseconds_a_quarter(90)


def test_a_new_meter_keeps_the_quarter_and_beat_equals_beat_keeps_the_beat() -> None:
    """Quarter = 120 in 4/4; at beat = beat the dotted quarter goes on at 120, which is quarter = 180."""
    plain = played("tempo: 120\n| C | 6/8 F | G7 |\n")
    assert steps(plain) == [("0", 500_000)]
    kept = played('tempo: 120\n| C | 6/8 "beat = beat" F | G7 | 4/4 "beat = beat" C |\n')
    assert steps(kept) == [("0", 500_000), ("4", 333_333), ("10", 500_000)]


def test_beat_equals_beat_looks_back_over_the_border_of_a_section() -> None:
    timeline = played('tempo: 120\n[A]\n| C |\n[B]\n| 6/8 "beat = beat" F |\n[C]\n| 4/4 "beat = beat" C |\n')  # fmt: skip
    assert steps(timeline) == [("0", 500_000), ("4", 333_333), ("7", 500_000)]


def test_the_usual_tempo_of_a_style_counts_beats_in_compound_meters() -> None:
    """A style at 120 quarters plays 6/8 at 120 dotted quarters: beats stand for each other."""
    usual = Tempo(Q(120), Q(1))
    assert unroll(parse("| C | F |\n"), usual_tempo=usual).tempo[0].us == 500_000
    compound = unroll(parse("meter: 6/8\n| C | F |\n"), usual_tempo=usual)
    assert compound.tempo[0].us == microseconds_a_quarter(180)
    slow = unroll(parse("| C | F |\n"), usual_tempo=Tempo(Q(60), Q(3, 2)))
    assert slow.tempo[0].us == 1_000_000
    odd = unroll(parse("meter: 7/8\n| C | F |\n"), usual_tempo=Tempo(Q(120), Q(1, 2)))
    assert odd.tempo[0].us == 500_000  # odd meters count quarters, as in a chart
    assert unroll(parse("| C | F |\n"), usual_tempo=Tempo(Q(60), Q(2))).tempo[0].us == 500_000


@each(
    ("request_", "us"),
    [
        (Form(tempo_percent=Q(3, 4)), (666_667, 1_333_333)),
        (Form(tempo_bpm=Q(60)), (1_000_000, 2_000_000)),
        (Form(tempo_bpm=Q(97)), (618_557, 1_237_113)),
    ],
)
def test_another_tempo_moves_every_section_in_proportion(
    request_: Form, us: tuple[int, int]
) -> None:
    timeline = played("tempo: 120\n[A]\n| C |\n[B]\ntempo: 60\n| F |\n", request_)
    assert tuple(s.us for s in timeline.tempo) == us


def test_a_tempo_that_is_asked_for_counts_as_the_charts_own() -> None:
    half = played("tempo: half = 100\n| C | F |\n", Form(tempo_bpm=Q(50)))
    assert half.tempo[0].us == 600_000
    six = played("meter: 6/8\n| C | F |\n", Form(tempo_bpm=Q(60)))
    assert six.tempo[0].us == microseconds_a_quarter(90)


def test_the_closing_ritard_goes_into_the_last_chord_and_stays_slow() -> None:
    timeline = unroll(parse("key: C\ntempo: 100\nending: rit\n| C | F | C | Dm7 | G7 | C |\n"))
    at = [s.at_q for s in timeline.tempo]
    assert at == [0, *range(12, 20)]
    assert timeline.tempo[-1].us == microseconds_a_quarter(70)
    assert [s.us for s in timeline.tempo] == sorted(s.us for s in timeline.tempo)


def test_a_written_rit_at_the_end_is_not_slowed_down_twice() -> None:
    text = 'key: C\ntempo: 100\nending: rit\n| C | F | "rit." G7 | C |\n'
    assert unroll(parse(text)).tempo[-1].us == 750_000


def test_tempos_never_go_below_what_a_midi_file_can_say() -> None:
    leg = Leg(Q(0), Q(4), Q(3), beats=[Beat(Q(n)) for n in range(4)])
    assert [s.us for s in tempo_steps([leg])] == [16_777_215]
    assert [s.us for s in held(tempo_steps([leg]), [(Q(0), Q(4))])] == [16_777_215]


def test_neighbouring_fermatas_and_slices_keep_every_tempo() -> None:
    plain = (TempoStep(Q(0), 500_000), TempoStep(Q(6), 600_000))
    slow = held(plain, [(Q(2), Q(4)), (Q(4), Q(8))])
    assert [(s.at_q, s.us) for s in slow] == [
        (0, 500_000),
        (2, 1_000_000),
        (6, 1_200_000),
        (8, 600_000),
    ]
    assert tempo_between(slow, Q(3), Q(7)) == (
        TempoStep(Q(3), 1_000_000),
        TempoStep(Q(6), 1_200_000),
    )


def test_a_bend_between_beats_gets_a_step_of_its_own() -> None:
    leg = Leg(
        Q(0), Q(4), Q(100), beats=[Beat(Q(n)) for n in range(4)], bends=[Bend(Q(5, 2), share=Q(1, 2))]
    )  # fmt: skip
    assert [s.at_q for s in tempo_steps([leg])] == [0, Q(5, 2), 3]
    assert closing_ritard(tempo_steps([leg]), []) == tempo_steps([leg])


def test_time_cut_out_of_a_form_lasts_as_long_as_it_did_there() -> None:
    """Slices of a form with glides, ritards and fermatas add up to the whole, to the microsecond fraction."""
    text = 'tempo: 100\n[A]\ntempo: 140 -> 90\n| C | F |\n[B]\n| "rit." C | "fermata" G7 |\n'
    whole = played(text)
    parts = [slice_bars(whole, n, n) for n in range(1, 5)]
    total = sum(TempoMap(p.tempo).exact_s(p.length_q) for p in parts)
    assert total == TempoMap(whole.tempo).exact_s(whole.length_q)
    again = joined(parts)
    assert again.tempo == whole.tempo


def test_the_same_form_at_a_share_of_its_tempo_or_at_a_figure() -> None:
    timeline = played('tempo: 120\n| C | "rit." G7 |\n')
    slow = at_tempo(timeline, Q(50))
    assert [s.us for s in slow.tempo] == [2 * s.us for s in timeline.tempo]
    assert at_tempo(timeline, bpm=Q(60)).tempo == slow.tempo
    six = played("meter: 6/8\ntempo: 90\n| C | F |\n")
    assert at_tempo(six, bpm=Q(60)).tempo[0].us == microseconds_a_quarter(90)
    with pytest.raises(ValueError, match="give a percentage or a tempo"):
        at_tempo(timeline)


def test_a_tempo_below_what_a_midi_file_can_say_is_refused() -> None:
    """Three bytes of microseconds end at 3.576 quarters a minute."""
    message = "that tempo is below 3.6 quarters a minute, the slowest that a MIDI file can say"
    with pytest.raises(RequestError) as wrong:
        played("tempo: 30\n| C | F |\n", Form(tempo_percent=Q(1, 10)))
    assert str(wrong.value) == message
    with pytest.raises(RequestError) as wrong:
        at_tempo(played("tempo: 30\n| C | F |\n"), Q(10))
    assert str(wrong.value) == message


def test_a_rit_typed_behind_the_last_chord_begins_with_that_chord() -> None:
    timeline = played('tempo: 100\n| C G7 "rit." |\n')
    assert [at for at, _ in steps(timeline)] == ["0", "2", "3"]


def test_a_closing_ritard_needs_bars_before_the_last_chord() -> None:
    assert len(unroll(parse("key: C\nending: rit\n| C | % |\n")).tempo) == 1


def test_an_excerpt_can_end_with_a_ritard_of_its_own() -> None:
    request = Form(bars=(1, 3), ending=Ending(EndingKind.RIT))
    timeline = unroll(parse("key: C\ntempo: 100\n| C | F | G7 | C |\n"), request)
    assert timeline.ending.kind is EndingKind.RIT
    assert [s.at_q for s in timeline.tempo] == list(range(8))
    assert timeline.tempo[-1].us == microseconds_a_quarter(70)
