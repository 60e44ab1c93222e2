"""The band leader: levels over the form, phrases, fills and crashes, who leads, what everyone is told."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from importlib import import_module
from itertools import pairwise
from pathlib import Path

import pytest

from backing.band.arrange import BAND, arrange
from backing.band.leader import plan_of
from backing.band.model import Arrangement, Kind, Note
from backing.band.plan import phrases, plans, shared
from backing.band.players.common import BarPlan, Brief
from backing.band.track import Track
from backing.band.zones import zones
from backing.ground.instruments import DRUM_KEYS
from backing.styles.find import find
from backing.timeline.model import Timeline
from tests.band import DEMOS, arranged, chart, notes_in, player, timeline

STYLES = (
    "straight-ahead swing",
    "jazz waltz",
    "bossa nova",
    "rock eighths",
    "pop ballad",
    "slow blues",
)
METERS = ("2/4", "3/4", "4/4", "5/4 (3+2)", "6/8", "7/8 (2+2+3)", "9/8", "12/8")
EIGHT = "C | Am7 | Dm7 | G7 | Em7 | A7 | Dm7 | G7"
CRASH = {DRUM_KEYS["crash"], DRUM_KEYS["crash 2"]}


def by_section(tune: Timeline, seed: int = 1) -> list[tuple[BarPlan, ...]]:
    """The leader's plan of every bar, section by section."""
    count = len(tune.sections)
    own = find("straight-ahead swing")
    led = plan_of(tune, Track(tune, [own] * count, [()] * count, [""] * count, seed))
    return plans(tune, led, zones(tune, "drums"), seed)


def planned(tune: Timeline, seed: int = 1) -> list[BarPlan]:
    """The leader's plan of every bar."""
    return [plan for section in by_section(tune, seed) for plan in section]


def tune(bars: str = EIGHT, **settings: object) -> Timeline:
    return timeline(chart(bars, **({"tempo": 140, "ending": "as written"} | settings)))


def test_phrases_are_four_bars_and_a_bar_left_over_joins_the_last() -> None:
    for bars, lengths in (
        (4, [4]),
        (7, [4, 3]),
        (8, [4, 4]),
        (9, [4, 5]),
        (12, [4, 4, 4]),
        (1, [1]),
    ):
        found = phrases(bars)
        assert [sum(p.phrase == n for p in found) for n in range(len(lengths))] == lengths
        assert sum(p.end for p in found) == len(lengths)
        assert found[-1].end


def test_from_three_choruses_on_the_band_begins_softly_in_two_and_grows() -> None:
    for choruses in (3, 4, 6):
        found = planned(tune(choruses=choruses))
        means = [sum(p.level for p in found[8 * c : 8 * c + 8]) / 8 for c in range(choruses)]
        assert all(a < b for a, b in pairwise(means))
        assert all(p.two for p in found[:8])
        assert not any(p.two for p in found[8:])
        assert means[0] < 2.0
        assert means[-1] > 3.75


def test_one_or_two_choruses_are_played_in_four_throughout() -> None:
    for choruses in (1, 2):
        assert not any(p.two for p in planned(tune(choruses=choruses)))


def test_written_dynamics_hold_over_the_arc() -> None:
    """A quiet last chorus is quiet because the chart says so."""
    text = (
        "tempo: 140\nform: A B A\nchoruses: 3\nending: as written\n"
        f"[A]\n| {EIGHT} |\n[B]\ndynamics: pp\n| {EIGHT} |\n"
    )
    music = timeline(text)
    found = planned(music)
    quiet = [p.level for p, bar in zip(found, music.bars, strict=True) if bar.section == "B"]
    assert set(quiet) == {0.0}


def test_a_growing_section_grows_bar_by_bar() -> None:
    found = planned(tune(dynamics="p -> f"))
    levels = [p.level for p in found]
    assert all(a < b for a, b in pairwise(levels))
    assert 1.0 <= levels[0] < 1.5
    assert 3.5 < levels[-1] <= 4.0


def test_dynamics_change_what_is_played_and_not_only_how_loud() -> None:
    soft, loud = (
        arranged(chart(EIGHT, tempo=140, dynamics=d), "straight-ahead swing") for d in ("pp", "ff")
    )
    for role in ("bass", "drums", "keys"):
        a, b = player(soft, role).notes, player(loud, role).notes
        assert {(n.start_q, n.pitch) for n in a} != {(n.start_q, n.pitch) for n in b}
        mean = [sum(n.velocity for n in notes) / len(notes) for notes in (a, b)]
        assert mean[0] + 15 < mean[1]


def test_fills_stand_at_the_end_of_each_eight_and_of_each_section() -> None:
    music = timeline(
        "tempo: 140\nending: as written\n[A]\n| "
        + " | ".join(["C"] * 16)
        + " |\n[B]\n| F | G | C | C |\n"
    )
    assert [i + 1 for i, p in enumerate(planned(music)) if p.fill] == [8, 16]  # the end has none
    again = music._replace(sections=(*music.sections,))
    assert planned(again) == planned(music)


def test_there_is_no_fill_into_a_stop_and_none_in_one() -> None:
    music = timeline(
        "tempo: 140\nform: A B A\nending: as written\n[A]\n| " + " | ".join(["C"] * 8)
        + " |\n[B]\n| G7! | F | G | C |\n"
    )  # fmt: skip
    found = [i + 1 for i, p in enumerate(planned(music)) if p.fill]
    assert 8 not in found
    assert 12 in found


def test_a_fill_can_be_asked_for() -> None:
    found = planned(timeline('tempo: 140\n| C | F | "fill" G7 | C | F | G7 | C | F |\n'))
    assert [i + 1 for i, p in enumerate(found) if p.fill] == [3]  # the end has none


def test_a_new_section_opens_with_a_crash() -> None:
    text = "tempo: 120\nform: A B\n[A]\n| C | F | G7 | C |\n[B]\n| F | C | G7 | C |\n"
    music = arranged(text, "rock eighths")
    drums = player(music, "drums").notes
    assert {n.pitch for n in notes_in(drums, 16, Fraction(33, 2))} & CRASH


def test_keys_and_guitar_are_never_both_busy_and_take_turns() -> None:
    music = tune(" | ".join([EIGHT] * 2))
    leaders = set()
    for seed in range(1, 6):
        plan = by_section(music, seed)[0]
        whole = {role: zones(music, role)[0] for role in ("keys", "guitar")}
        told = shared(music, 0, plan, whole, seed)
        for i, (keys, guitar) in enumerate(zip(told["keys"], told["guitar"], strict=True)):
            assert min(keys.busy, guitar.busy) <= 0.3
            assert max(keys.busy, guitar.busy) >= 0.5
            leaders.add((i // 4 % 2, keys.busy > guitar.busy))
    assert len(leaders) == 4


def test_an_instrument_that_comps_alone_need_not_leave_room() -> None:
    music = timeline(chart(EIGHT, tempo=140, players="all but guitar"))
    plan = by_section(music)[0]
    told = shared(music, 0, plan, {r: zones(music, r)[0] for r in ("keys", "guitar")}, 1)
    assert min(p.busy for p in told["keys"]) >= 0.5


def test_the_answer_is_busier_than_the_question() -> None:
    music = tune()
    told = shared(music, 0, by_section(music)[0], {"drums": zones(music, "drums")[0]}, 1)
    assert told["drums"][0].busy < told["drums"][4].busy


def test_comping_does_less_under_a_written_melody() -> None:
    bare = tune("C | F | G7 | C")
    sung = timeline(
        "tempo: 140\nending: as written\n| C | F | G7 | C |\n  melody: | C5 | A4 | B4 | C5 |\n"
    )
    amount = []
    for music in (bare, sung):
        plan = by_section(music)[0]
        amount.append(shared(music, 0, plan, {"keys": zones(music, "keys")[0]}, 1)["keys"][0].busy)
    assert amount[1] < amount[0]


class Listener:
    """A player that plays nothing and remembers what it was told."""

    def __init__(self) -> None:
        self.briefs: list[Brief] = []

    def __call__(self, brief: Brief) -> list[Note]:
        self.briefs.append(brief)
        return []


@pytest.fixture
def listener(monkeypatch: pytest.MonkeyPatch) -> Listener:
    heard = Listener()
    module = import_module("backing.band.arrange")
    monkeypatch.setattr(module, "BAND", {**BAND, "keys": BAND["keys"]._replace(play=heard)})
    return heard


def test_changes_cover_a_section_and_the_next_chord_is_seen(listener: Listener) -> None:
    arranged("tempo: 120\nform: A B\nending: as written\n[A]\n| C | F |\n[B]\n| G7 | Am |\n")
    first, second = listener.briefs
    assert [(c.start_q, c.end_q, c.span.symbol) for c in first.changes] == [
        (0, 4, "C"),
        (4, 8, "F"),
    ]
    assert first.ahead is not None
    assert (first.ahead.start_q, first.ahead.span.symbol) == (8, "G7")
    assert second.ahead is None
    assert set(first.heard) == {"bass", "guitar"}, "the drums come after those who play chords"


def test_a_chord_pushed_over_a_border_stands_on_both_sides(listener: Listener) -> None:
    arranged("tempo: 120\nform: A B\nending: as written\n[A]\n| C | F |\n[B]\n| <G7 | Am |\n")
    first, second = listener.briefs
    early = first.changes[-1]
    assert (early.start_q, early.end_q, early.span.symbol) == (Fraction(15, 2), 8, "G7")
    assert first.ahead is not None
    assert (first.ahead.index, first.ahead.start_q) == (early.index, 8)
    assert second.changes[0].index == early.index
    assert second.changes[0].span.sounds_q < second.changes[0].start_q == 8


def test_plain_and_colour_none_leave_out_unwritten_colours(listener: Listener) -> None:
    text = chart("C | F", tempo=120)
    arranged(text)
    arranged(text, plain=True)
    arranged("colour: none\n" + text)
    assert [b.colour for b in listener.briefs[:1]] == [True]
    assert not any(b.colour for b in listener.briefs[2:])


@pytest.mark.slow
@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("meter", METERS)
def test_every_style_plays_every_meter(style: str, meter: str) -> None:
    """Bass, drums and chords in every bar, notes inside the form, bass on the root of every new chord."""
    music = arranged(
        chart("Cm7 | F7 | Bbmaj7 | Ebmaj7 | Am7b5 | D7 | Gm6 | D7alt", meter=meter), style
    )
    for bar in music.timeline.bars:
        for role in ("bass", "drums"):
            assert notes_in(player(music, role).notes, bar.start_q, bar.end_q), (role, bar.index)
        chords = [
            n for role in ("keys", "guitar", "strings") for p in music.players if p.role == role
            for n in p.notes if n.start_q < bar.end_q and n.end_q > bar.start_q
        ]  # fmt: skip
        assert chords, bar.index
        first = notes_in(player(music, "bass").notes, bar.start_q, bar.end_q)[0]
        span = next(s for s in music.timeline.chords if s.bar == bar.index)
        assert span.chord is not None
        tones = {*span.chord.pitch_classes, span.chord.lowest.pc}
        assert first.pitch % 12 in tones, (bar.index, first)


@pytest.mark.parametrize("demo", DEMOS, ids=lambda p: p.stem)
def test_every_note_is_in_range_and_inside_the_form(demo: Path) -> None:
    text = demo.read_text("utf-8")
    for seed in (1, 2):
        music = arranged(text, None, seed)
        for voice in music.players:
            starts = [n.start_q for n in voice.notes]
            assert starts == sorted(starts)
            for note in voice.notes:
                low = -music.count_in_q if voice.role == "click" else 0
                assert low <= note.start_q < note.end_q
                assert note.start_q < music.timeline.length_q
                part = [p for p in voice.parts if p.at_q <= max(note.start_q, voice.parts[0].at_q)][
                    -1
                ].part
                assert part.instrument.low <= note.pitch <= part.instrument.high
                assert 1 <= note.velocity <= 127


@pytest.mark.parametrize("demo", DEMOS, ids=lambda p: p.stem)
def test_silent_bars_are_silent_and_all_others_sound(demo: Path) -> None:
    music = arranged(demo.read_text("utf-8"), None)
    notes = [n for p in music.players if p.role != "click" for n in p.notes]
    for bar in music.timeline.bars:
        heard = any(n.start_q < bar.end_q and n.end_q > bar.start_q for n in notes)
        assert heard is (bar.index not in music.silent), bar.index


def test_stops_breaks_and_no_chord_make_silent_bars() -> None:
    music = arranged(
        'tempo: 120\nending: as written\n| C! | N.C. | F | "break" F | N.C. | C | G7! | % |\n'
    )
    assert music.silent == {2, 4}


def test_without_drums_a_bar_without_a_chord_is_silent() -> None:
    text = "tempo: 120\nending: as written\n| C | N.C. | F |\n"
    assert arranged(text).silent == frozenset()
    assert arranged(text, without=frozenset({"drums"})).silent == {2}
    assert arranged(text, without=frozenset({"drums"}), click="beats").silent == frozenset()


def test_leaving_a_player_out_does_not_change_the_others() -> None:
    text = chart(EIGHT, tempo=140)
    whole = arranged(text)
    for role in ("keys", "bass", "drums"):
        rest = arranged(text, without=frozenset({role}))
        assert [p for p in whole.players if p.role != role] == list(rest.players)
        alone = arranged(text, only=frozenset({role}))
        assert [p.role for p in alone.players] == [role, "click"]
        assert player(alone, role) == player(whole, role)


def test_without_click_there_is_no_count_in() -> None:
    music = arranged(chart(EIGHT, tempo=140), without=frozenset({"click"}))
    assert (music.count_in_q, music.count_in_bars) == (0, 0)
    assert all(p.role != "click" for p in music.players)


def test_editing_one_bar_leaves_the_other_sections_alone() -> None:
    """But for the approach into the edited place."""
    text = "tempo: 140\nform: A B C\nending: as written\n[A]\n| {0} |\n[B]\n| {1} |\n[C]\n| {0} |\n"
    before = arranged(text.format(EIGHT, EIGHT))
    after = arranged(text.format(EIGHT, EIGHT.replace("Em7", "Bb13")))
    for role in (p.role for p in before.players):
        a, b = player(before, role).notes, player(after, role).notes
        assert notes_in(a, 0, 28) == notes_in(b, 0, 28)
        assert notes_in(a, 64, 96) == notes_in(b, 64, 96)
    assert player(before, "bass").notes != player(after, "bass").notes


def test_another_seed_gives_other_notes_and_the_same_seed_the_same() -> None:
    text = chart(EIGHT, tempo=140)
    assert arranged(text, seed=1) == arranged(text, seed=1)
    assert arranged(text, seed=1).players != arranged(text, seed=2).players


def test_two_playings_of_a_section_differ() -> None:
    music = arranged(chart(EIGHT, tempo=140, choruses=2, ending="as written"))
    for role in ("bass", "keys", "drums"):
        notes = player(music, role).notes
        first = [(n.start_q, n.pitch) for n in notes_in(notes, 0, 32)]
        second = [(n.start_q - 32, n.pitch) for n in notes_in(notes, 32, 64)]
        assert first != second, role


def test_the_last_chord_is_struck_together_and_held() -> None:
    music = arranged(chart("C | F | G7 | C", tempo=120), "rock eighths")
    for voice in music.players:
        if voice.role == "click":
            continue
        last = notes_in(voice.notes, 12, 17)
        assert {n.start_q for n in last} == {12}, voice.role
        if voice.role not in ("drums", "percussion"):
            assert max(n.end_q for n in last) == 16, voice.role


def test_a_short_ending_is_cut_off() -> None:
    music = arranged(chart("C | F | G7 | C", tempo=120, ending="short"), "rock eighths")
    for role in ("bass", "keys", "guitar"):
        assert max(n.end_q for n in player(music, role).notes) <= Fraction(25, 2)


def test_the_drums_cue_the_beat_after_a_fermata() -> None:
    music = arranged('tempo: 120\n| C | "fermata" G7 | C | F | C |\n')
    cues = [n for n in player(music, "drums").notes if n.why.kind is Kind.CUE]
    assert [(n.start_q, n.pitch) for n in cues] == [(Fraction(15, 2), DRUM_KEYS["pedal hat"])]


def test_a_melody_is_played_in_the_first_and_the_last_chorus() -> None:
    text = (
        "tempo: 120\nchoruses: 3\nending: as written\n{}| C | F |\n  melody: | C5 / E5 / | F5 |\n"
    )
    notes = player(arranged(text.format("")), "melody").notes
    assert {int(n.start_q // 8) for n in notes} == {0, 2}
    named = player(arranged(text.format("players: melody, bass, drums\n")), "melody").notes
    assert {int(n.start_q // 8) for n in named} == {0, 1, 2}


def test_a_melody_that_is_told_to_rest_rests() -> None:
    text = (
        "tempo: 120\nplayers: bass, drums\nending: as written\n| C | F |\n  melody: | C5 | F5 |\n"
    )
    assert player(arranged(text), "melody").notes == ()


def test_guide_tones_are_played_by_someone_new() -> None:
    music = arranged(
        chart("Dm7 | G7 | Cmaj7 | A7", tempo=140, ending="as written"), guide_tones=True
    )
    found = player(music, "strings").notes
    wanted = [{"b3", "b7"}, {"3", "b7"}, {"3", "7"}, {"3", "b7"}]
    for i, names in enumerate(wanted):
        here = [n for n in found if n.start_q <= 4 * i < n.end_q]
        assert [n.degree in names for n in here] == [True] or here[0].pitch % 12 in (
            0,
            5,
            11,
            4,
            7,
            1,
        )
    assert all(abs(a.pitch - b.pitch) <= 2 for a, b in pairwise(found))


def test_a_style_with_strings_and_horns_gives_the_line_to_its_strings() -> None:
    plain = find("straight-ahead swing")
    music = timeline(chart(EIGHT, tempo=140))
    keys = plain.part("keys")
    assert keys is not None
    full = plain._replace(
        parts=(*plain.parts, replace(keys, role="horns"), replace(keys, role="strings"))
    )
    found: Arrangement = arrange(music, full, guide_tones=True)
    assert all(n.why.kind is Kind.GUIDE_TONE for n in player(found, "strings").notes)
    assert not any(n.why.kind is Kind.GUIDE_TONE for n in player(found, "horns").notes)


def test_six_bars_are_a_phrase_of_four_and_one_of_two() -> None:
    """Two bars that are left over are a short phrase (a tag); one joins the phrase before it (common practice)."""
    lengths = {5: [5], 6: [4, 2], 10: [4, 4, 2], 13: [4, 4, 5]}
    for bars, wanted in lengths.items():
        found = phrases(bars)
        assert [sum(p.phrase == n for p in found) for n in range(len(wanted))] == wanted, bars
        ends = [i + 1 for i, p in enumerate(found) if p.end]
        assert ends == [sum(wanted[: n + 1]) for n in range(len(wanted))], bars
        assert [p.bar for p in found if p.phrase == len(wanted) - 1] == [*range(wanted[-1])], bars


def test_a_section_swells_from_its_first_phrase_to_its_last() -> None:
    """A fifth of a step of dynamics, half of it below the usual level and half above; a written level does not swell."""
    levels = [p.level for p in planned(tune(" | ".join([EIGHT, EIGHT])))]
    assert levels[::4] == pytest.approx([2.9, 2.9 + 0.2 / 3, 2.9 + 0.4 / 3, 3.1])
    assert levels[0] == levels[3] < levels[4]
    assert [p.level for p in planned(tune("C | F | G7 | C"))] == pytest.approx([3.0] * 4)
    assert {p.level for p in planned(tune(dynamics="f"))} == {4.0}


def test_a_fill_after_eight_bars_waits_where_the_section_ends_soon() -> None:
    """Bar eight is filled where four bars or more follow; otherwise the fill at the section's end is the next one."""
    for bars, wanted in ((8, [8]), (10, [10]), (11, [11]), (12, [8, 12]), (20, [8, 16, 20])):
        text = (
            f"tempo: 140\nform: A B\n[A]\n| {' | '.join(['C'] * bars)} |\n[B]\n| C | F | G | C |\n"
        )
        found = planned(timeline(text))[:bars]
        assert [i + 1 for i, p in enumerate(found) if p.fill] == wanted, bars
    pickup = "tempo: 140\npickup: 1\nform: A B\n[A]\n| C | {} |\n[B]\n| C | F | G | C |\n"
    found = planned(timeline(pickup.format(" | ".join(["C"] * 12))))
    assert [i for i, p in enumerate(found[:13]) if p.fill] == [8, 12], "a pickup is not counted"
