"""A groove is held: who keeps time, which idea, which side of a clave, and what moves with a pushed chord."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import pairwise

import pytest

from backing.band.model import Arrangement
from backing.ground.instruments import DRUM_KEYS
from backing.styles.find import find, names
from tests import measures
from tests.band import ROOT, arranged, chart, demo, notes_in, player, timeline
from tests.each import each
from tests.test_zones import rows

EIGHT = "Cmaj7 | Am7 | Dm7 | G7 | Em7 | A7 | Dm7 | G7"
VOICES = {"hat": {42, 46}, "ride": {51, 53, 59}}
SNARE_AND_TOMS = {DRUM_KEYS[d] for d in ("snare", "high tom", "mid tom", "floor tom")}
SWUNG = ("straight-ahead swing", "jazz waltz", "fast swing", "jazz ballad")
BACKBEATS = ("rock eighths", "pop ballad", "backbeat soul", "funk", "sixteenth-note pop")


def timekeepers(music: Arrangement) -> list[str]:
    """What keeps time in each bar: hat, ride, or neither; of bars with a fill only their first half counts."""
    drums = player(music, "drums").notes
    found = []
    for bar in music.timeline.bars:
        here = notes_in(drums, bar.start_q + 1, bar.start_q + bar.length_q / 2)
        counts = {name: sum(n.pitch in keys for n in here) for name, keys in VOICES.items()}
        best = max(counts, key=lambda name: counts[name])
        found.append(best if counts[best] else "")
    return found


@pytest.mark.slow
@each("dynamics", ["p", "mf", "f"])
@each("style", [*SWUNG, *BACKBEATS])
def test_a_drummer_keeps_time_on_one_voice_through_a_section(style: str, dynamics: str) -> None:
    """Ride or hat, not both by turns (common practice); checked for several seeds."""
    meter = find(style).meters[0].full_name
    for seed in (1, 2, 3, 4):
        text = chart(f"{EIGHT} | {EIGHT}", meter=meter, dynamics=dynamics, ending="as written")
        kept = set(timekeepers(arranged(text, style, seed))) - {""}
        assert len(kept) <= 1, (seed, kept)


def test_the_density_of_the_hat_is_kept_too() -> None:
    """Quarters or eighths, for a section: the places between the beats are struck in all of its bars or in none."""
    for seed in range(1, 9):
        music = arranged(chart(f"{EIGHT} | {EIGHT}", meter="4/4"), "rock eighths", seed)
        drums = player(music, "drums").notes
        off = []
        for bar in music.timeline.bars[:-2]:
            if bar.index % 8:
                keys = VOICES["hat"] | VOICES["ride"]
                cymbals = {n.start_q - bar.start_q for n in drums if n.pitch in keys}
                off.append(Fraction(1, 2) in cymbals or Fraction(3, 2) in cymbals)
        assert len(set(off)) == 1, seed


@each("style", ["folk strum", "rock eighths", "funk", "pop ballad"])
def test_comping_that_is_no_jazz_holds_an_idea(style: str) -> None:
    """Of the bars of four choruses a good part has one of three rhythms, and a hand that picks goes on picking."""
    music = arranged(
        chart(EIGHT, meter="4/4", choruses=4, dynamics="mf", ending="as written"), style
    )
    role = "guitar" if any(p.role == "guitar" for p in music.players) else "keys"
    rhythms = measures.rhythm_of_bars(music, (role,))
    common = sum(n for _, n in Counter(rhythms).most_common(3))
    assert common / len(rhythms) >= 0.4


@each("side", ["2-3", "3-2"])
def test_the_rim_of_bossa_nova_keeps_its_side(side: str) -> None:
    """Beats 1, and of 2, 4 in one bar, 2 and the and of 3 in the other (guides.brit.co), whichever side comes first."""
    three = {Fraction(0), Fraction(3, 2), Fraction(3)}
    two = {Fraction(1), Fraction(5, 2)}
    for seed in (1, 2, 3):
        text = (
            f"meter: 4/4\nclave: {side}\nform: A B A\nending: as written\n"
            "[A]\n| C | F | G7 | C | Am7 | Dm7 | G7 |\n[B]\n| F | G7 | C | F | G7 |\n"
        )
        music = arranged(text, "bossa nova", seed)
        drums = player(music, "drums").notes
        for bar in music.timeline.bars:
            here = notes_in(drums, bar.start_q, bar.end_q)
            if {n.pitch for n in here} & SNARE_AND_TOMS:
                continue  # a fill
            rim = {n.start_q - bar.start_q for n in here if n.pitch == DRUM_KEYS["rim"]}
            wanted = three if (bar.clave_half == 0) == (side == "3-2") else two
            assert rim <= wanted, (seed, bar.index, rim)


@each("style", ["straight-ahead swing", "rock eighths", "folk strum", "bossa nova"])
def test_a_chord_pushed_into_a_section_is_struck_once(style: str) -> None:
    """Chord, bass and kick come early together; on the beat nobody strikes again but the hand that keeps time."""
    text = "meter: 4/4\nending: as written\n[A]\n| C | F | C | G7 |\n[B]\n| <Am7 | F | C | G7 |\n"
    for seed in (1, 2, 3):
        music = arranged(text, style, seed)
        push, beat = Fraction(31, 2), Fraction(16)
        for part in music.players:
            early = notes_in(part.notes, push, beat)
            struck = notes_in(part.notes, beat, beat + Fraction(1, 4))
            if part.role in ("keys", "guitar", "bass"):
                assert early, (seed, part.role)
                assert not struck, (seed, part.role)
                assert max(n.end_q for n in early) > beat, (seed, part.role)
            if part.role == "drums":
                assert DRUM_KEYS["kick"] in {n.pitch for n in early}
                assert not {n.pitch for n in struck} & {DRUM_KEYS["kick"], DRUM_KEYS["crash"]}


def test_a_chord_held_into_a_section_ends_where_the_player_strikes_again() -> None:
    text = "meter: 4/4\nending: as written\n[A]\n| C | F | C | G7 |\n[B]\n| <Am7 | F | C | G7 |\n"
    music = arranged(text, "pop ballad")
    for role in ("keys", "guitar"):
        notes = player(music, role).notes
        after = min(n.start_q for n in notes if n.start_q >= 16)
        assert all(n.end_q <= after for n in notes if n.start_q < 16)


def test_kicks_in_neighbouring_bars_are_one_stretch() -> None:
    """A kick that is tied over the bar line rings on; a bar without a kick is comped as usual."""
    tune = timeline(
        "ending: as written\nmeter: 4/4\n| C | F | G | C |\n  kicks: | x / / (/ x) | / / x / | / / / / | / / / / |\n"
    )
    found = rows(tune, "keys")
    assert [(start, end, kind) for start, end, kind, _ in found] == [
        (0, 8, "kicks"),
        (8, 16, "time"),
    ]
    assert (Fraction(7, 2), 6) in found[0][3]


STRAIGHT = [
    name
    for name in names()
    if find(name).feel.straight and find(name).grid_q.denominator in (2, 4)
    and not find(name).meters[0].compound
]  # fmt: skip


@each("name", STRAIGHT)
def test_chords_and_bass_of_straight_styles_stand_on_their_grid(name: str) -> None:
    """Eighths or sixteenths: no stroke of keys, guitar or bass stands on a third of a beat."""
    for part in find(name).parts:
        if part.role in ("keys", "guitar", "bass", "horns"):
            for pattern in part.patterns:
                places = {
                    cell.at_q
                    for line in pattern.lines.values()
                    for bar in line
                    for pulse in bar
                    for cell in pulse.cells
                    if not pattern.meter.compound
                }
                assert all(place.denominator in (1, 2, 4, 8) for place in places), (
                    part.role,
                    pattern.name,
                )


def test_under_strummed_open_chords_the_bass_lies_low_and_stays_there() -> None:
    """The guitar strums its open shapes whole, since the bass keeps below them; a root that stays keeps its octave."""
    music = arranged((ROOT / "demo" / "folk.txt").read_text("utf-8"), None, wish={"plan": "flat"})
    guitar, bass = player(music, "guitar").notes, player(music, "bass").notes
    shapes = Counter(tuple(frets) for _, frets in measures.grips(player(music, "guitar")))
    assert shapes[(3, 2, 0, 0, 0, 3)] > 20
    assert shapes[(0, 2, 2, 0, 0, 0)] > 0
    assert guitar
    roots = [n for n in bass if n.degree == "1"]
    for a, b in pairwise(roots):
        assert a.chord == b.chord or abs(a.pitch - b.pitch) < 12


def test_quick_rows_of_chords_are_struck_whole() -> None:
    """A chord that lasts a beat is not broken into single notes: whoever leads strikes it whole or in two halves.

    The other one leaves room (common practice: one states every chord).
    """
    music = demo("gospel")
    for beat in range(4):
        struck = [
            {n.pitch for n in notes_in(player(music, role).notes, beat, beat + 1)}
            for role in ("keys", "guitar")
        ]
        assert max(map(len, struck)) >= 3, beat


@each("style", ["pop ballad", "six-eight ballad", "folk finger-picking", "slow waltz"])
def test_keys_and_guitar_do_not_both_break_chords(style: str) -> None:
    """One breaks or picks, the other holds (common practice: who leads, and who leaves room)."""
    for seed in (1, 2, 3):
        meter = find(style).meters[0].full_name
        music = arranged(chart(EIGHT, meter=meter, choruses=2, ending="as written"), style, seed)
        for bar in music.timeline.bars:
            singles = []
            for role in ("keys", "guitar"):
                here = notes_in(player(music, role).notes, bar.start_q, bar.end_q)
                places = Counter(n.start_q for n in here)
                singles.append(sum(count == 1 for count in places.values()) >= 4)
            assert not all(singles), (seed, bar.index)


@each("style", ["reggae one drop", "ska", "rocksteady", "polka"])
def test_a_row_of_off_beats_does_not_run_ahead_of_the_chord(style: str) -> None:
    """The skank on the last off-beat of a bar still plays the bar's own chord (common practice)."""
    meter = find(style).meters[0].full_name
    music = arranged(chart(f"{EIGHT} | {EIGHT}", meter=meter, ending="as written"), style)
    spans = music.timeline.chords
    ahead = total = 0
    for note in player(music, "guitar").notes:
        total += 1
        ahead += note.start_q < spans[note.chord].start_q
    assert total > 60
    assert ahead / total < 0.08


def test_a_montuno_does_run_ahead() -> None:
    music = arranged(chart(f"{EIGHT} | {EIGHT}", meter="4/4", ending="as written"), "salsa")
    spans = music.timeline.chords
    keys = player(music, "keys").notes
    assert any(n.start_q == spans[n.chord].start_q - Fraction(1, 2) for n in keys)


def test_a_hit_ahead_of_a_chord_is_one_chord_for_the_whole_band() -> None:
    """Bass, keys and guitar agree that the last off-beat of the hits plays the chord to come."""
    text = (
        "meter: 4/4\nending: as written\n"
        "| C | A7 |\n  hits: | x r x r | x r r (r x) |\n"
        "| Dm7 | G7 |\n"
    )
    music = arranged(text, "straight-ahead swing")
    ahead = {
        note.chord
        for part in music.players
        if part.role in ("keys", "guitar", "bass")
        for note in part.notes
        if note.start_q == Fraction(15, 2)
    }
    assert ahead == {2}


@each("style", ["straight-ahead swing", "bossa nova", "jazz waltz", "backbeat soul"])
def test_keys_lie_above_a_guitar_that_comps(style: str) -> None:
    """Two chordal players agree on registers (common practice): the keys are on average the higher ones."""
    meter = find(style).meters[0].full_name
    music = arranged(chart(EIGHT, meter=meter, choruses=3, ending="as written"), style)
    mean = {
        role: sum(n.pitch for n in player(music, role).notes) / len(player(music, role).notes)
        for role in ("keys", "guitar")
    }
    assert mean["keys"] >= mean["guitar"] + 1.5


def test_power_chords_stand_on_their_roots() -> None:
    """Root and fifth on neighbouring low strings, moved in parallel as rock guitarists do (common practice)."""
    music = arranged(
        chart("E5 | A5 | D5 | G5 | C5 | F5 | B5 | E5", ending="as written"), "rock eighths"
    )
    spans = music.timeline.chords
    strokes = list(measures.strokes(player(music, "guitar").notes))
    rooted = [
        s[0].pitch % 12 == spans[s[0].chord].chord.root.pc
        for s in strokes
        if spans[s[0].chord].chord
    ]
    assert sum(rooted) / len(rooted) >= 0.95


FEET = {DRUM_KEYS[drum] for drum in ("kick", "acoustic kick", "pedal hat")}
NOT_ON_THE_KIT = {
    DRUM_KEYS[d] for d in ("clap", "tambourine", "maracas", "cabasa", "claves", "long guiro")
}


@pytest.mark.slow
@each("name", names())
def test_a_drummer_has_two_hands(name: str) -> None:
    """Through fills, set-ups, pushes and kicks no more than two things are struck by hand at once."""
    meter = find(name).meters[0].full_name
    text = (
        f"meter: {meter}\nending: ring\ndynamics: f\n[A]\n| {EIGHT} |\n"
        "[B]\n| <C | F! | Bb7 | Eb | Am7 | <G7 |\n  kicks: | r | r | x | x | r | r |\n| C | F= | G | C |\n"
    )
    music = arranged(text, name, 2)
    hands: Counter[Fraction] = Counter()
    for part in music.players:
        if part.role == "drums":
            hands.update(n.start_q for n in part.notes if n.pitch not in FEET | NOT_ON_THE_KIT)
    assert max(hands.values(), default=0) <= 2


@each("style", ["jazz ballad", "bossa nova", "pop ballad"])
def test_brushes_and_cross_sticks_go_without_crashes(style: str) -> None:
    text = f"meter: 4/4\ndynamics: mf\nending: as written\n[A]\n| {EIGHT} |\n[B]\n| {EIGHT} |\n"
    for seed in (1, 2, 3):
        drums = player(arranged(text, style, seed), "drums").notes
        assert not [n for n in drums if n.pitch == DRUM_KEYS["crash"]]


def test_short_choruses_share_a_groove() -> None:
    """Over eight bars the drummer does not change the cymbal every time round: once in three choruses at most."""
    for seed in range(1, 7):
        text = chart(EIGHT, meter="4/4", choruses=9, dynamics="f", ending="as written")
        kept = timekeepers(arranged(text, "rock eighths", seed))
        assert sum(a != b for a, b in pairwise(v for v in kept if v)) <= 2


def test_a_low_voicing_does_not_stand_on_its_ninth() -> None:
    """Below G3 a ninth or thirteenth at the bottom would sound like another root (common practice)."""
    takes = [player(demo("ferry", seed), "keys").notes for seed in (1, 2, 3)]
    low = [s[0] for notes in takes for s in measures.strokes(notes) if len(s) > 2]
    wrong = [n for n in low if n.pitch < 55 and n.degree.lstrip("b#") in ("9", "11", "13")]
    assert len(wrong) <= 0.05 * len(low)
