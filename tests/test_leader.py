"""The leader's plan of a track: who plays when, how sections differ, drops, hits, excerpts, loops, and none of it when flat.

Sources: entries one after the other, a drop after the middle, hits into a section that brings more, horns last: common
practice of arranging.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from statistics import mean

import pytest

from backing.band.briefing import form_of
from backing.band.course import USUAL, Stand
from backing.band.led import Backing, Move, Pedal, Plan, SectionPlan
from backing.band.model import Arrangement, Kind
from backing.band.players.common import BarPlan
from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.ground.roles import role_of
from backing.performance.explain import explain
from backing.performance.plan_told import plan_json, plan_text
from backing.styles.find import names
from backing.timeline.model import TimeFeel
from backing.timeline.reshape import looped
from tests import ensemble
from tests.band import arranged, notes_in, prepared
from tests.each import each
from tests.generated import tunes
from tests.mixes import some

POP = """
key: G
form: Verse Chorus Verse Chorus Bridge Chorus
[Verse]
| G | Em | C | D | G | Em | C | D |
[Chorus]
| C | G | D | Em | C | G | D | D |
[Bridge]
| Am | Em | C | D |
"""
FOUR = """
key: F
choruses: 4
[A]
| F7 | Bb7 | F7 | % | Bb7 | % | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7 |
"""
TUNE = """
key: Eb
form: A A B A
choruses: {choruses}
[A]
| Eb9 | % | Ab9 | % | Eb9 | % | Bb9 | Eb9 |
[B]
| Cm7 | F9 | Bbm7 | Eb9 | Abmaj7 | % | F9 | Bb9 |
"""
AABA = TUNE.format(choruses=4)


def plan(text: str, style: str, seed: int = 1, **wish: object) -> Plan:
    """The plan alone: nobody plays."""
    ready = prepared(text, style, **wish)
    return form_of(
        ready.timeline, ready.style, seed, ready.styles, guide_tones=False, plain=False
    ).plan


def rests(found: Plan) -> list[tuple[int, str, int, int]]:
    return [(n, r.player, r.first, r.last) for n, s in enumerate(found.sections) for r in s.rests]


def whole_rests(text: str, style: str, seed: int = 1) -> set[tuple[int, str]]:
    """Sections in which somebody rests from beginning to end."""
    bars = [s.last - s.first for s in prepared(text, style).timeline.sections]
    return {(n, p) for n, p, a, b in rests(plan(text, style, seed)) if (a, b) == (0, bars[n])}


# -- who plays when ------------------------------------------------------------------------------------------


def somebody_waits(style: str) -> None:
    ready = prepared(FOUR, style)
    if len(ready.style.parts) < 4:
        return
    for text in (FOUR, AABA):
        assert whole_rests(text, style), style
        found = [frozenset(rests(plan(text, style, seed))) for seed in range(1, 6)]
        assert len(set(found)) >= 3, (style, "five seeds, at least three plans")
        for number, section in enumerate(plan(text, style).sections):
            core = {"bass", "drums", *ready.style.core}
            if not dropped(section):
                assert not core & {r.player for r in section.rests}, (style, number)


@each("style", names()[::20])
def test_somebody_waits_in_a_track_of_four_choruses(style: str) -> None:
    somebody_waits(style)


@pytest.mark.slow
@each("style", some(names()))
def test_somebody_waits_in_every_style(style: str) -> None:
    somebody_waits(style)


def test_a_verse_begins_with_one_chord_player_and_horns_come_last() -> None:
    found = plan(AABA, "funk")
    waiting = {r.player for r in found.sections[0].rests}
    assert {"horns", "percussion"} < waiting
    assert len(waiting & {"keys", "guitar"}) == 1
    doors = {
        d.players[0]: n
        for n, s in enumerate(found.sections)
        for d in s.decisions
        if d.move is Move.ENTERS
    }
    assert doors["horns"] == 4, "with the second chorus"
    assert set(doors) == waiting


def test_horns_rest_for_a_third_of_four_choruses_and_have_more_to_say_each_time() -> None:
    for style in ("funk", "four-beat soul", "ska"):
        for text in (FOUR, AABA):
            ready = prepared(text, style)
            found = plan(text, style)
            bars = sum(s.last - s.first + 1 for s in ready.timeline.sections if s.chorus)
            silent = sum(b - a + 1 for _, p, a, b in rests(found) if p == "horns")
            assert silent >= bars / 3, (style, silent, bars)
            backings = [s.backing for s in found.sections if s.backing is not Backing.NONE]
            assert backings[0] is Backing.BACKGROUND
            assert backings[-1] is Backing.SHOUT
            assert list(dict.fromkeys(backings)) == [
                Backing.BACKGROUND,
                Backing.RIFF,
                Backing.SHOUT,
            ]


def test_what_rests_is_silent_and_what_is_written_about_players_wins() -> None:
    music = arranged(AABA, "funk")
    for section, led in zip(music.timeline.sections, music.plan.sections, strict=True):
        for rest in led.rests:
            bars = music.timeline.bars[section.first - 1 :]
            start, end = bars[rest.first].start_q, bars[rest.last].end_q
            notes = next(p.notes for p in music.players if p.role == rest.player)
            inside = [n for n in notes_in(notes, start, end) if n.why.kind is not Kind.PUSHED]
            early = [n for n in inside if n.start_q < end - 1]
            assert not early, (rest, early[:1])
    written = AABA.replace("[A]", "[A]\nplayers: all")
    assert {n for n, *_ in rests(plan(written, "funk"))} <= {2, 6, 10, 14}, "only in B"
    loud = AABA.replace("[A]", "[A]\ndynamics: f")
    assert {n for n, *_ in rests(plan(loud, "funk"))} <= {2, 6, 10, 14}


def test_trumpets_of_a_mambo_keep_their_riff_behind_long_notes_of_the_saxophones() -> None:
    """Who makes the style what it is plays its own music throughout (common practice)."""
    music = arranged(AABA, "mambo", 3)
    number = next(
        n for n, s in enumerate(music.plan.sections)
        if s.backing is Backing.BACKGROUND and s.rests_at("horns 2", 7) is None
    )  # fmt: skip
    section = music.timeline.sections[number]
    bars = music.timeline.bars[section.first - 1 : section.last]
    kinds = {
        role: {
            n.why.kind
            for n in notes_in(
                next(p.notes for p in music.players if p.role == role),
                bars[4].start_q,
                bars[6].end_q,
            )
        }
        for role in ("horns", "horns 2")
    }
    assert kinds == {"horns": {Kind.LINE}, "horns 2": {Kind.HELD}}


def test_a_short_track_has_everybody_from_the_first_bar() -> None:
    for text in ("| C | Am | F | G |", "choruses: 3\n| C | Am | F | G |", "[A]\n| C |\n[B]\n| F |"):
        assert rests(plan(text, "funk")) == [], text


# -- contrast ------------------------------------------------------------------------------------------------


def density(music: Arrangement, name: str) -> float:
    """Strokes a bar in the sections of a name."""
    bars = [b for b in music.timeline.bars if b.section == name]
    return sum(
        len(notes_in(p.notes, b.start_q, b.end_q)) for p in music.players for b in bars
    ) / len(bars)


def keys_height(music: Arrangement, name: str) -> float:
    keys = next(p.notes for p in music.players if p.role == "keys")
    found = [
        n.pitch
        for b in music.timeline.bars
        if b.section == name
        for n in notes_in(keys, b.start_q, b.end_q)
    ]
    return mean(found) if found else 0.0


@each(("style", "seed"), [("rock eighths", 1), ("sixteenth-note pop", 2), ("pop ballad", 3)])
def test_verse_and_chorus_differ_in_density_or_register(style: str, seed: int) -> None:
    verse_and_chorus_differ(style, seed)


@pytest.mark.slow
@each(
    "style", ("rock eighths", "sixteenth-note pop", "pop ballad", "backbeat soul", "half-time rock")
)
def test_verse_and_chorus_differ_in_every_pop_style(style: str) -> None:
    for seed in (1, 2, 4):
        verse_and_chorus_differ(style, seed)


def verse_and_chorus_differ(style: str, seed: int) -> None:
    music = arranged(POP, style, seed)
    verse, chorus = density(music, "Verse"), density(music, "Chorus")
    higher = keys_height(music, "Chorus") - keys_height(music, "Verse")
    assert chorus >= 1.15 * verse or higher >= 2, (seed, verse, chorus, higher)


def test_what_a_section_is_follows_from_the_form_and_never_from_its_name() -> None:
    found = [s.stand for s in plan(POP, "rock eighths").sections[:6]]
    home, answer, bridge = Stand.HOME, Stand.ANSWER, Stand.BRIDGE
    assert found == [home, answer, home, answer, bridge, answer]
    renamed = POP.replace("Verse", "One").replace("Chorus", "Two").replace("Bridge", "Three")
    assert [s.stand for s in plan(renamed, "rock eighths").sections[:6]] == found
    one = plan(TUNE.format(choruses=1), "rock eighths")
    assert [s.stand for s in one.sections[:4]] == [home, home, bridge, home]


def test_of_several_other_sections_in_a_row_the_last_one_answers() -> None:
    text = "form: V P C V P C\n" + "".join(f"[{n}]\n| C | F | G | C |\n" for n in "VPC")
    home, between, answer = Stand.HOME, Stand.BETWEEN, Stand.ANSWER
    assert [s.stand for s in plan(text, "rock eighths").sections[:6]] == [home, between, answer] * 2


def test_a_section_that_returns_is_half_a_level_louder() -> None:
    levels = [s.level for s in plan(TUNE.format(choruses=1), "rock eighths").sections]
    assert levels == [USUAL, USUAL, USUAL, USUAL + 0.5]
    written = TUNE.format(choruses=1).replace("[A]", "[A]\ndynamics: mp")
    assert [s.opens for s in plan(written, "rock eighths").sections] == [2.0, 2.0, 3.0, 2.0]


def test_keys_climb_at_most_three_semitones_a_chorus_and_the_bass_above_d3_in_the_last() -> None:
    for seed in (1, 2, 3):
        music = arranged(FOUR, "straight-ahead swing", seed)
        ups = [s.keys_up for s in music.plan.sections[:4]]
        assert all(b - a <= 3 for a, b in pairwise(ups))
        assert ups == sorted(ups)
        bass = next(p.notes for p in music.players if p.role == "bass")
        last = next(s for s in music.timeline.sections if s.chorus == 4)
        bars = music.timeline.bars
        found = notes_in(bass, bars[last.first - 1].start_q, bars[last.last - 1].end_q)
        assert max(n.pitch for n in found) > 50, "D3"


def test_drums_answer_on_the_ride() -> None:
    music = arranged(POP, "rock eighths")
    bars = music.timeline.bars
    drums = next(p.notes for p in music.players if p.role == "drums")

    def share(name: str) -> float:
        struck = [
            n.pitch for b in bars if b.section == name for n in notes_in(drums, b.start_q, b.end_q)
        ]
        return struck.count(51) / max(
            1, struck.count(51) + struck.count(42)
        )  # General MIDI: ride 1, closed hat

    assert share("Verse") < 0.2
    assert share("Chorus") > 0.8


# -- drops and hits ------------------------------------------------------------------------------------------


def dropped(section: SectionPlan) -> bool:
    return any(d.move in (Move.DROPS, Move.HALF_TIME) for d in section.decisions)


def test_there_is_at_most_one_drop_after_the_middle_and_it_is_short() -> None:
    seen = set()
    for style in ("rock eighths", "straight-ahead swing", "funk"):
        for seed in range(1, 9):
            found = plan(AABA, style, seed)
            at = [n for n, s in enumerate(found.sections) if dropped(s)]
            assert len(at) <= 1
            for number in at:
                assert 8 <= number < 12, "the chorus after the middle"
                section = found.sections[number]
                first, last = section.half or (0, 7)
                assert last - first < 8
                seen |= {d.move for d in section.decisions}
    assert {Move.DROPS, Move.HALF_TIME} <= seen


def _seeds_of(*moves: Move) -> list[int]:
    """For each move the first seed whose plan has it."""
    return [
        next(
            seed
            for seed in range(1, 30)
            if any(
                d.move is move
                for s in plan(AABA, "rock eighths", seed).sections
                for d in s.decisions
            )
        )
        for move in moves
    ]


def test_in_a_drop_bass_and_drums_are_alone_and_half_time_is_played() -> None:
    kinds = set()
    for seed in _seeds_of(Move.HALF_TIME, Move.DROPS):
        music = arranged(AABA, "rock eighths", seed)
        for section, led in zip(music.timeline.sections, music.plan.sections, strict=True):
            moves = {d.move for d in led.decisions}
            bars = music.timeline.bars[section.first - 1 : section.last]
            if Move.HALF_TIME in moves:
                assert {b.time_feel for b in bars} == {TimeFeel.HALF}
                kinds.add("half")
            elif Move.DROPS in moves:
                start, end = bars[1].start_q, bars[-2].end_q
                heard = {p.role for p in music.players if notes_in(p.notes, start, end)}
                assert heard == {"bass", "drums"}
                kinds.add("drop")
    assert kinds == {"half", "drop"}


def test_who_makes_the_style_what_it_is_goes_on_through_a_drop() -> None:
    """The one who carries a dance or a groove is not silenced (common practice); where nobody else is there, all play lightly."""
    moves = set()
    for style in ("valse musette", "funk", "reggaeton", "metal gallop", "viennese waltz"):
        for seed in (1, 2, 3):
            ready = prepared(AABA, style)
            for section in plan(AABA, style, seed).sections:
                assert not {r.player for r in section.rests} & set(ready.style.core), style
                moves |= {d.move for d in section.decisions}
    assert {Move.DROPS, Move.LIGHT} <= moves


BRIDGE = """
key: C
form: A A B A
choruses: 2
[A]
| C | Am | F | G | C | Am | F | G |
[B]
| {bridge} |
"""


def pedals(bridge: str, style: str = "rock eighths") -> set[object]:
    """What lies under the bridge with some seeds, None for nothing."""
    text = BRIDGE.format(bridge=bridge)
    return {plan(text, style, seed).sections[2].pedal for seed in range(1, 9)}


def test_a_bridge_stands_on_the_fifth_of_the_key_that_comes_back() -> None:
    """The dominant's root is held or repeated while chords move above it (common practice: a dominant pedal)."""
    (found,) = pedals("F | Em | Dm | G | F | Em | Dm | G7") - {None}
    assert isinstance(found, Pedal)
    assert (found.note.name, found.first, found.last, found.rhythm) == ("G", 0, 7, "eighths")
    music = arranged(
        BRIDGE.format(bridge="F | Em | Dm | G | F | Em | Dm | G7"), "rock eighths", _pedal_seed()
    )
    section = music.timeline.sections[2]
    bars = music.timeline.bars[section.first - 1 : section.last]
    bass = next(p for p in music.players if p.role == "bass")
    for bar in bars[:-1]:
        inside = notes_in(bass.notes, bar.start_q, bar.end_q)
        assert len(inside) == 8
        assert {n.pitch % 12 for n in inside} == {7}
        assert {n.why.kind for n in inside} == {Kind.PEDAL}
    assert "pedal on G, the chords move above" in explain(music)
    assert "bass: pedal on G throughout (the chords move over the fifth of the key" in explain(
        music
    )
    assert ensemble.rubs(music) == []


def _pedal_seed() -> int:
    text = BRIDGE.format(bridge="F | Em | Dm | G | F | Em | Dm | G7")
    return next(s for s in range(1, 9) if plan(text, "rock eighths", s).sections[2].pedal)


@each(
    ("bridge", "bars"),
    [
        ("F | Em | Dm | G | F | Em | Dm | G7", 8),
        ("E7 | Am | D7 | G | F | Em | Dm | G7", 4),  # the first half has a G sharp
        ("F/C | Em | Dm | G | F | Em | Dm/A | G7", None),  # a bass is written
        ("F | Em | Dm | E7", None),
        ("G7 | G7 | G7 | G7", None),  # nothing moves
        ("F | Em | Dm | G7!", None),
    ],
)  # fmt: skip
def test_a_pedal_lies_where_harmony_and_chart_allow_it(bridge: str, bars: int | None) -> None:
    found = pedals(bridge) - {None}
    assert {p.last - p.first + 1 for p in found if isinstance(p, Pedal)} == (
        {bars} if bars else set()
    )


def test_an_excerpt_of_a_bridge_has_its_pedal() -> None:
    text, seed = BRIDGE.format(bridge="E7 | Am | D7 | G | F | Em | Dm | G7"), _pedal_seed()
    inside = plan(text, "rock eighths", seed, bars=(12, 14)).sections[0].pedal
    assert inside is not None
    assert (inside.first, inside.last) == (1, 2)
    assert plan(text, "rock eighths", seed, bars=(9, 11)).sections[0].pedal is None


def test_the_band_strikes_together_into_a_section_that_brings_more() -> None:
    found = 0
    seeds = [n for n in range(1, 12) if any(s.hits for s in plan(POP, "rock eighths", n).sections)]
    for seed in seeds[:2]:
        music = arranged(POP, "rock eighths", seed)
        for section, led in zip(music.timeline.sections, music.plan.sections, strict=True):
            if not led.hits:
                continue
            found += 1
            bar = music.timeline.bars[section.last - 1]
            places = {bar.end_q - before for before, _ in led.hits}
            start = min(places)
            for player in music.players:
                if player.role in ("keys", "guitar") and not led.rests_at(
                    player.role, bar.index - section.first
                ):
                    struck = {n.start_q for n in notes_in(player.notes, start, bar.end_q)}
                    assert struck == places, (seed, player.role)
            words = [
                n.why.words for p in music.players for n in notes_in(p.notes, start, bar.end_q)
            ]
            assert any("leads into a section that brings more" in w for w in words)
    assert found >= 2


def test_nobody_strikes_together_where_the_chart_has_marks_or_a_melody() -> None:
    marked = POP.replace(
        "C | D |\n[Chorus]", "C | D |\n  hits: | x | x | x | x | x | x | x | x r r x |\n[Chorus]"
    )
    sung = POP.replace(
        "C | D |\n[Chorus]",
        "C | D |\n  melody: | G4 | G4 | G4 | G4 | G4 | G4 | G4 | G4 |\n[Chorus]",
    )
    stopped = POP.replace("C | D |\n[Chorus]", "C | D! |\n[Chorus]")
    for text in (marked, sung, stopped):
        assert text != POP
        for seed in range(1, 7):
            assert not plan(text, "rock eighths", seed).sections[0].hits


# -- flat ----------------------------------------------------------------------------------------------------


def test_a_flat_plan_shows_none_of_it() -> None:
    for text, style in ((POP, "rock eighths"), (TUNE.format(choruses=3), "funk")):
        music = arranged(text, style, wish={"plan": "flat"})
        assert prepared(f"plan: flat\n{text}", style).timeline.plan == "flat"
        for section, led in zip(music.timeline.sections, music.plan.sections, strict=True):
            assert (led.level, led.energy, led.decisions, led.rests) == (USUAL, "", (), ())
            bars = music.timeline.bars[section.first - 1 : section.last]
            for player in music.players:
                if section.part == "chorus" and player.role != "click":
                    assert notes_in(player.notes, bars[0].start_q, bars[-1].end_q), player.role
        assert "leader:" not in explain(music)
    asked = prepared(f"plan: flat\n{POP}", "funk", plan="full")
    full = form_of(asked.timeline, asked.style, 1, {}, guide_tones=False, plain=False).plan
    assert any(s.decisions for s in full.sections), "what is asked comes before the chart"


# -- excerpts and loops --------------------------------------------------------------------------------------


def bar_plans(text: str, style: str, **wish: object) -> tuple[Plan, list[BarPlan]]:
    ready = prepared(text, style, **wish)
    form = form_of(ready.timeline, ready.style, 1, {}, guide_tones=False, plain=False)
    return form.plan, [p for section in form.plans for p in section["bass"]]


def test_an_excerpt_is_cut_out_of_the_plan_of_the_whole_track() -> None:
    for text, first, last in ((AABA, 3, 8), (AABA, 9, 12), (AABA, 7, 10), (POP, 5, 14)):
        whole, all_bars = bar_plans(text, "funk")
        part, bars = bar_plans(text, "funk", bars=(first, last))
        numbers = [b.number for b in prepared(text, "funk").timeline.bars]
        places = [numbers.index(n) for n in range(first, last + 1)]
        for mine, at in zip(bars[:-1], places[:-1], strict=True):
            theirs = all_bars[at]
            assert mine._replace(busy=0, crash=False, opening=False) == theirs._replace(
                busy=0, crash=False, opening=False
            ), (first, last, at)
        ready = prepared(text, "funk", bars=(first, last))
        for section, led in zip(ready.timeline.sections, part.sections, strict=True):
            origin = ready.timeline.whole.bars[section.origin - 1]  # type: ignore[union-attr]
            there = whole.sections[origin.section_index]
            assert (led.level, led.energy, led.leads) == (there.level, there.energy, there.leads)
            assert {r.player for r in led.rests} == {
                r.player
                for r in there.rests
                if any(there.rests_at(r.player, n) for n in range(section.last - section.first + 1))
            }


def test_an_excerpt_may_begin_anywhere_in_a_phrase() -> None:
    for style in ("straight-ahead swing", "funk", "bossa nova"):
        for first in (2, 3, 4, 7):
            music = arranged(AABA, style, wish={"bars": (first, first + 2)})
            assert all(p.notes for p in music.players if p.role in ("bass", "drums")), style


def test_a_section_alone_is_played_as_in_the_track() -> None:
    whole = plan(POP, "funk")
    part = plan(POP, "funk", sections=("Chorus", "Bridge"))
    assert [s.level for s in part.sections] == [whole.sections[n].level for n in (1, 4)]
    assert [s.rests for s in part.sections] == [whole.sections[n].rests for n in (1, 4)]


def test_an_excerpt_that_is_played_several_times_is_a_track_of_its_own() -> None:
    part = plan(POP, "funk", bars=(1, 8), choruses=4)
    assert [round(s.level, 2) for s in part.sections] == [1.75, 2.75, 3.42, 4.1]


def test_in_a_loop_nobody_rests_and_all_rounds_are_alike() -> None:
    for wish in ({}, {"bars": (1, 8)}, {"sections": ("A",)}):
        ready = prepared(AABA, "funk", **wish)
        rounds = looped(ready.timeline, 3)
        form = form_of(rounds, ready.style, 1, {}, guide_tones=False, plain=False)
        assert rests(form.plan) == []
        count = len(ready.timeline.sections)
        for n, section in enumerate(form.plan.sections):
            assert section == form.plan.sections[n % count]


def test_a_pickup_alone_may_be_looped() -> None:
    assert len(looped(prepared("pickup: 2\n| G7 |").timeline, 3).bars) == 3


def test_a_loop_that_is_made_has_everybody_in_it() -> None:
    wish = Options().changed(loop=True, style="funk", bars=(1, 4))
    performance = band(prepare(parse(AABA), wish), wish)
    assert all(p.notes for p in performance.players)
    assert len(performance.arrangement.plan.sections) == 1


# -- what is told --------------------------------------------------------------------------------------------


def test_explain_tells_who_comes_in_who_rests_and_why() -> None:
    text = explain(arranged(AABA, "funk"))
    assert "leader:     horns: wait (horns come last)" in text
    assert "horns:      rests: horns come last" in text
    assert "comes in: the tune has been heard, now it may be answered" in text
    assert "play together (the top of the track has everybody)" in text
    assert "drop out (what makes the style goes on alone" in text


def test_the_plan_is_a_page_and_an_object() -> None:
    music = arranged(AABA, "funk", 2)
    page = plan_text("tune.txt", music)
    assert page.startswith("tune.txt: untitled (funk, seed 2, plan: full)\n")
    assert "A, chorus 1 · bars 1 to 8 · mp, calm" in page
    assert "A, chorus 2 · bars 1 to 8 (played 33 to 40) · mf, feature" in page
    told = plan_json(music)
    sections = told["sections"]
    assert isinstance(sections, list)
    assert len(sections) == len(music.timeline.sections)
    first = sections[0]
    assert (first["first"], first["last"], first["energy"]) == (1, 8, "calm")
    assert {r["player"] for r in first["rests"]}.isdisjoint(first["plays"])
    assert all(role_of(p) for s in sections for p in s["plays"])
    assert "steadily" in plan_text("a", arranged(AABA, "funk", wish={"plan": "flat"}))


# -- any chart -----------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_plan_of_any_chart_leaves_somebody_to_state_the_chords() -> None:
    """200 charts made by rule; outside a drop one of those who comp plays in every bar of the form."""
    styles = ("funk", "bossa nova", "jazz ballad", "rock eighths", "salsa", "tango", "bluegrass")
    for number, (text, style) in enumerate(tunes(styles, 200)):
        ready = prepared(text, style)
        found = plan(text, style, number)
        comping = [p.role for p in ready.style.comping]
        for section, led in zip(ready.timeline.sections, found.sections, strict=True):
            bars = section.last - section.first + 1
            assert all(0 <= r.first <= r.last < bars for r in led.rests)
            assert led.leads in comping
            drop = any(d.move is Move.DROPS for d in led.decisions)
            for bar in range(bars):
                assert drop or any(led.rests_at(p, bar) is None for p in comping), (text, style)
            length = ready.timeline.bars[section.last - 1].length_q
            assert all(Fraction(0) < before <= length for before, _ in led.hits)


def test_two_tracks_of_one_seed_are_alike_and_every_seed_is_its_own() -> None:
    assert plan(AABA, "funk", 5) == plan(AABA, "funk", 5)
    found: Sequence[Plan] = [plan(AABA, "funk", seed) for seed in range(1, 9)]
    assert len({str(p) for p in found}) >= 6
