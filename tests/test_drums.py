"""Drums and percussion: patterns, fills, set-ups, strokes of the whole band, clave, variety."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import pytest

from backing.band.model import Arrangement, Kind, Note
from backing.band.players import drums, percussion
from backing.band.players.common import BarPlan, Brief, Phase, ZoneKind
from backing.band.players.fills import fill, set_up
from backing.band.players.pulses import beats
from backing.ground.dice import Place
from backing.ground.instruments import CHOKE_GROUPS, DRUM_KEYS
from backing.ground.timebase import Meter
from backing.harmony.reader import read
from backing.styles import shelf
from backing.styles.cells import read as read_line
from backing.styles.find import find, styles
from backing.styles.model import Pattern, Where
from backing.timeline.model import Strike, TimeFeel
from tests.band import DEMOS, arranged, chart, demo, player
from tests.briefs import UNASKED, brief, part, style
from tests.each import each

FOUR = Meter.of(4, 4)
HALF = Fraction(1, 2)
NAMES = {key: name for name, key in DRUM_KEYS.items()}
ROCK = {"hat": "Xx Xx Xx Xx", "snare": ". X . X", "kick": "X . x ."}
SWING = {"ride": "x Xx x Xx", "pedal hat": ". x . x", "kick": "g g g g"}
BACKBEATS = ("rock eighths", "pop ballad", "pushed rock", "sixteenth note pop", "backbeat soul", "four beat soul")  # fmt: skip


def groove(
    lines: dict[str, str], *, name: str = "groove", where: Where = Where.TIME, meter: Meter = FOUR
) -> Pattern:
    cells = {drum: read_line(text, meter, "drum") for drum, text in lines.items()}
    bars = max(len(line) for line in cells.values())
    return Pattern(name, meter, bars, "mf", where, 1.0, cells)


def drummer(
    patterns: Sequence[Pattern], bars: int = 8, *, role: str = "drums", meter: Meter = FOUR, level: float = 3.0,
    fill_bars: Sequence[int] = (), crashes: Sequence[int] = (), swing: bool = False, repeats: bool = True, seed: int = 1,
    zones: Sequence[object] = (), **settings: float | str,
) -> Brief:  # fmt: skip
    """A brief for a drummer: so many bars of C7."""
    kit = part(role, "drum kit" if role == "drums" else "percussion", patterns, **settings)
    chord = read("C7")
    made = brief(kit, [chord] * bars, meter=meter, level=level, zones=zones, seed=seed)  # type: ignore[arg-type]
    plans = tuple(
        BarPlan(
            level,
            0.5,
            i % 4,
            i % 4 == 3,
            fill=i in fill_bars,
            crash=i in crashes,
            phase=Phase(i % 4),
        )
        for i in range(bars)
    )
    return made._replace(style=style(kit, repeats=repeats, swing=swing), plans=plans)


def hits(notes: Sequence[Note], bar: int, drum: str, length: Fraction | int = 4) -> list[Fraction]:
    """Places in a bar (from 0) where a drum is struck."""
    key = DRUM_KEYS[drum]
    return [
        n.start_q - bar * length
        for n in notes
        if n.pitch == key and bar * length <= n.start_q < (bar + 1) * length
    ]


# -- patterns ------------------------------------------------------------------------------------------


def test_a_pattern_is_played_as_it_is_written() -> None:
    notes = drums.play(drummer([groove(ROCK)], 2))
    assert hits(notes, 1, "snare") == [1, 3]
    assert hits(notes, 1, "kick") == [0, 2]
    assert hits(notes, 1, "hat") == [HALF * i for i in range(8)]
    assert {n.why.words for n in notes} == {"pattern 'groove'"}


def test_marks_and_levels_are_velocities() -> None:
    """About 50 at p, 80 at mf, 105 at f; ghosts between 25 and 40; an accent louder than a plain stroke (common practice)."""
    lines = {"snare": "x X g x"}
    for level, plain in ((1.0, 50), (3.0, 80), (4.1, 105)):
        notes = drums.play(drummer([groove(lines)], 1, level=level))
        normal, accent, ghost, _ = [n.velocity for n in notes]
        assert abs(normal - plain) <= 4
        assert accent > normal > ghost
    ghosts = [drums.play(drummer([groove(lines)], 1, level=v))[2].velocity for v in (2.0, 3.0)]
    assert all(25 <= g <= 40 for g in ghosts)


def test_side_stick_takes_the_snares_place_when_a_style_wants_it_soft() -> None:
    notes = drums.play(drummer([groove(ROCK)], 1, level=1.0, soft="rim"))
    assert hits(notes, 0, "rim") == [1, 3]
    assert not hits(notes, 0, "snare")
    loud = drums.play(drummer([groove(ROCK)], 1, level=3.0, soft="rim"))
    assert hits(loud, 0, "snare") == [1, 3]


def test_half_time_puts_the_backbeat_on_three_and_double_time_on_the_off_beats() -> None:
    """Half time: backbeat on three, the hat keeps its eighths (common practice)."""
    plain = drummer([groove(ROCK)], 2)
    for feel, snare in (
        (TimeFeel.HALF, [2]),
        (TimeFeel.DOUBLE, [HALF, 3 * HALF, 5 * HALF, 7 * HALF]),
    ):
        bars = tuple(b._replace(time_feel=feel) for b in plain.bars)
        notes = drums.play(plain._replace(bars=bars))
        assert hits(notes, 0, "snare") == snare
        assert hits(notes, 1, "snare") == snare
        if feel is TimeFeel.HALF:
            assert hits(notes, 0, "kick") == [0]
            assert hits(notes, 0, "hat") == [HALF * i for i in range(8)]


def test_an_open_hat_ends_where_another_hat_is_struck() -> None:
    """Pedal and closed hat cut an open one (choke groups of General MIDI kits: from memory)."""
    notes = drums.play(
        drummer([groove({"open hat": "x . . .", "hat": ". . . .x", "pedal hat": ". .x . ."})], 1)
    )
    group = {DRUM_KEYS[n] for n in next(g for g in CHOKE_GROUPS if "hat" in g)}
    opened = next(n for n in notes if n.pitch == DRUM_KEYS["open hat"])
    following = next(n for n in notes if n.pitch in group and n.start_q > opened.start_q)
    assert opened.end_q <= following.start_q


def test_the_kick_goes_with_a_bass_that_leaves_the_beat() -> None:
    made = drummer([groove(ROCK)], 4, kick_with_bass=1.0)
    bass = (
        Note(Fraction(0), Fraction(1), 36, 80, UNASKED),
        Note(Fraction(5, 2), Fraction(4), 36, 80, UNASKED),
    )
    notes = drums.play(made._replace(heard={"bass": bass}))
    assert Fraction(5, 2) in hits(notes, 0, "kick")
    assert "kick with the bass" in {n.why.words for n in notes}


@each("name", ["funk", "neo-soul", "pushed rock", "backbeat soul"])
def test_kick_and_bass_are_one_where_they_leave_the_beat(name: str) -> None:
    """Kick and bass lock in funk, soul and rock (common practice): half of the bass's off-beats and more have a kick."""
    together = alone = 0
    for seed in (1, 2, 3):
        made = arranged(chart("C7 | C7 | F7 | F7 | C7 | C7 | G7 | C7", choruses=2), name, seed)
        kicks = {n.start_q for n in player(made, "drums").notes if NAMES[n.pitch] == "kick"}
        for note in player(made, "bass").notes:
            if note.start_q.denominator != 1 and note.why.kind is not Kind.DEAD:
                together += note.start_q in kicks
                alone += note.start_q not in kicks
    assert together >= alone, (together, alone)


def test_a_kick_moves_to_the_bass_from_near_by_and_a_row_of_eighths_asks_for_nothing() -> None:
    lines = {"hat": "xxxx xxxx xxxx xxxx", "snare": ". X . X", "kick": "x ..x. x ."}
    made = drummer([groove(lines)], 1, kick_with_bass=1.0, vary=0.0)
    bass = (Note(Fraction(7, 4), Fraction(2), 36, 80, UNASKED),)
    assert hits(drums.play(made._replace(heard={"bass": bass})), 0, "kick") == [
        0,
        Fraction(7, 4),
        2,
    ]
    row = tuple(Note(Fraction(n, 2), Fraction(n + 1, 2), 36, 80, UNASKED) for n in range(8))
    assert hits(drums.play(made._replace(heard={"bass": row})), 0, "kick") == [0, Fraction(3, 2), 2]


def test_a_swinging_snare_talks_in_two_bar_phrases_and_leaves_room() -> None:
    """Sparse comping between the ride's beats, about 35 to 60 loud (common practice; Sabatella, A Jazz Improvisation Primer)."""
    notes = drums.play(drummer([groove(SWING)], 64, swing=True, comping=0.7))
    talk = [n for n in notes if n.why.kind is Kind.COMPING]
    assert 16 <= len(talk) <= 96
    assert all(30 <= n.velocity <= 66 for n in talk)
    assert {n.why.words for n in talk} == {"comping: asks", "comping: answers"}
    silent = drums.play(drummer([groove(SWING)], 64, swing=True))
    assert not [n for n in silent if n.why.kind is Kind.COMPING]


@each("swing", [True, False])
def test_a_groove_is_held_and_changes_by_a_stroke_unless_the_style_is_a_machine(
    swing: bool,
) -> None:
    """The same figure for eight bars, with small changes (common practice)."""
    lines = SWING if swing else ROCK
    lively = drums.play(drummer([groove(lines)], 48, swing=swing, repeats=False, vary=0.3))
    bars = [
        frozenset((n.start_q % 4, n.pitch) for n in lively if n.start_q // 4 == i)
        for i in range(48)
    ]
    usual, most = Counter(bars).most_common(1)[0]
    assert 24 <= most < 44
    assert all(len(bar ^ usual) <= 4 for bar in bars), "two strokes moved at most"
    machine = drums.play(drummer([groove(lines)], 12, swing=swing, repeats=True))
    assert (
        len(
            {
                frozenset((n.start_q % 4, n.pitch) for n in machine if n.start_q // 4 == i)
                for i in range(12)
            }
        )
        == 1
    )


GHOSTED = ("country train beat", "second line", "funk", "straight-ahead swing")


def ghost_to_accent(name: str, dynamics: str) -> float:
    """Velocity of the softest tenth of the snare's strokes to that of the loudest twentieth, over two takes."""
    bars = (
        "Bb6 | G7 | Cm7 | F7 | Dm7 | G7 | Cm7 | F7 | Bb7 | Eb7 | Ebm6 | Ab7 | Dm7 | G7 | Cm7 | F7"
    )
    meter = find(name).meters[0].full_name
    text = chart(bars, meter=meter, choruses=2, dynamics=dynamics, ending="as written")
    found = sorted(
        n.velocity
        for seed in (1, 2)
        for n in player(arranged(text, name, seed), "drums").notes
        if NAMES[n.pitch] in ("snare", "rim")
    )
    return found[len(found) // 10] / found[-1 - len(found) // 20]


@each("name", GHOSTED)
def test_loud_drums_keep_their_ghosts(name: str) -> None:
    """A ghost note stays under half of the backbeat however loud the band is (common practice): 45 % at most."""
    for dynamics in ("p", "mf", "f", "ff"):
        assert ghost_to_accent(name, dynamics) <= 0.45, dynamics


def test_a_jazz_drummer_answers_where_the_piano_rests_and_marks_what_it_pushes() -> None:
    bars = tuple(_piano(q) for bar in range(0, 128, 8) for q in (bar + HALF, bar + Fraction(15, 2)))
    made = drummer([groove(SWING)], 32, swing=True, repeats=False, comping=0.9, vary=0.0)
    notes = drums.play(made._replace(heard={"keys": bars}))
    talk = [n for n in notes if n.why.kind is Kind.COMPING]
    with_it = [n for n in talk if n.start_q in {b.start_q for b in bars}]
    assert len(talk) > 2 * len(with_it) > 0
    assert {n.why.words for n in with_it} == {"comping: with the chord ahead"}
    assert {n.start_q % 8 for n in with_it} == {Fraction(15, 2)}
    crowded = tuple(_piano(Fraction(q, 2)) for q in range(256))
    busy = drums.play(made._replace(heard={"keys": crowded}))
    assert not [n for n in busy if n.why.words.startswith(("comping: asks", "comping: answers"))]


def _piano(at_q: Fraction) -> Note:
    return Note(at_q, at_q + HALF, 60, 80, UNASKED)


@each(
    "name",
    ["straight-ahead swing", "funk", "salsa", "rock eighths", "country train beat", "jazz ballad"],
)
def test_drums_and_percussion_play_alike_in_every_key(name: str) -> None:
    """They hear rhythm and no pitch, so that transposing leaves them alone."""
    text = chart("Cmaj7 | A7 | Dm7 | <G7 | Em7 | A7 | Dm7 G7 | C6", choruses=3, ending="as written")
    for role in ("drums", "percussion"):
        if find(name).part(role):
            here, *others = (
                player(arranged(text, name, wish={"transpose": t}), role).notes for t in (0, 3, -4)
            )
            struck = [(n.start_q, n.pitch, n.velocity) for n in here]
            assert all([(n.start_q, n.pitch, n.velocity) for n in o] == struck for o in others), (
                role
            )


# -- fills, crashes, set-ups ------------------------------------------------------------------------


@each("meter", ["2/4", "3/4", "4/4", "5/4", "6/8", "7/8", "9/8", "12/8"])
@each("level", [1.0, 3.0, 4.5])
def test_a_fill_fits_any_meter_ends_the_bar_and_grows(meter: str, level: float) -> None:
    count, unit = map(int, meter.split("/"))
    this = Meter.of(count, unit)
    last = beats(this)[-1][0]
    for seed in range(12):
        made = fill(this, level, False, "toms", Place((seed,)))
        assert made
        assert all(0 <= h.at_q < this.length_q for h in made)
        assert [h.at_q for h in made] == sorted({h.at_q for h in made})
        assert made[-1].at_q >= last
        assert made[-1].force >= made[0].force
        assert made[0].why.words.startswith("fill: ")


def test_fills_come_in_several_lengths_and_grow_longer_and_denser_with_the_level() -> None:
    def many(level: float) -> list[int]:
        return [len(fill(FOUR, level, False, "toms", Place((seed,)))) for seed in range(60)]

    soft, middle, loud = (sum(many(v)) / 60 for v in (1.0, 3.0, 4.5))
    assert soft < middle < loud
    whys = {fill(FOUR, 3.0, False, "toms", Place((s,)))[0].why.words for s in range(60)}
    assert {w.split()[1] for w in whys} == {"one", "two", "four"}
    assert any("round the toms" in w for w in whys)


def test_a_fill_may_stay_on_the_snare_or_be_left_out() -> None:
    for seed in range(20):
        assert {h.drum for h in fill(FOUR, 4.0, False, "snare", Place((seed,)))} == {"snare"}
    for kit, wanted in (("toms", True), ("snare", True), ("none", False)):
        notes = drums.play(drummer([groove(ROCK)], 8, fill_bars=[7], fills=kit))
        assert any(n.why.kind is Kind.FILL for n in notes) is wanted


def test_drums_that_shuffle_are_written_in_pairs_and_triplets() -> None:
    """A shuffle is felt in three to the beat, and so are its fills (common practice): no sixteenths."""
    shuffles = [s for s in styles() if s.feel.ratio == 2 and s.feel.unit_q == HALF]
    assert {s.name for s in shuffles} >= {"blues shuffle", "jive"}
    for shuffle, kit in ((s, s.part("drums")) for s in shuffles):
        for own in kit.patterns if kit else ():
            cells = [c for line in own.lines.values() for bar in line for p in bar for c in p.cells]
            assert not [c for c in cells if c.at_q.denominator == 4], (shuffle.name, own.name)


@each("name", ["half-time shuffle", "slow blues", "gospel twelve-eight"])
def test_a_groove_in_triplets_is_varied_and_filled_in_triplets(name: str) -> None:
    """Three to the beat, and no kick or snare on the half of it (common practice)."""
    text = "meter: 4/4\nchoruses: 3\n[A]\n| " + "C7 | F7 | G7 | C7 | " * 4 + "\n"
    for seed in (1, 2, 3):
        notes = player(arranged(text, name, seed), "drums").notes
        assert any(n.start_q.denominator == 3 for n in notes)
        halves = [n for n in notes if n.start_q.denominator in (2, 4)]
        assert not [n for n in halves if "six to the beat" not in n.why.words], seed


def test_a_fill_takes_the_place_of_the_time_and_a_crash_with_the_kick_follows() -> None:
    notes = drums.play(drummer([groove(ROCK)], 9, fill_bars=[7], crashes=[8]))
    filling = [n for n in notes if n.why.kind is Kind.FILL]
    assert filling
    assert all(28 <= n.start_q < 32 for n in filling)
    first = min(n.start_q for n in filling)
    assert not [n for n in notes if n.pitch == DRUM_KEYS["hat"] and first <= n.start_q < 32]
    assert hits(notes, 8, "crash") == [0]
    assert 0 in hits(notes, 8, "kick")
    assert 0 not in hits(notes, 8, "hat")


def test_feet_alone_bring_no_crash_while_it_is_not_loud() -> None:
    """Kick and a tapped rim under a singer (common practice: the cymbal is for the loud parts)."""
    feet = groove({"kick": "x . x .", "rim": ". g . g"})
    for level, crashes in ((3.0, 0), (4.0, 1)):
        notes = drums.play(drummer([feet], 2, crashes=[1], level=level))
        assert [NAMES[n.pitch] for n in notes].count("crash") == crashes


def test_a_style_plays_its_own_fills_where_it_has_them() -> None:
    own = groove({"floor tom": "xxxx xxxx xxxx xxxx"}, name="mine", where=Where.PHRASE_END)
    notes = drums.play(drummer([groove(ROCK), own], 8, fill_bars=[7]))
    assert {n.why.words for n in notes if n.start_q >= 28} == {"pattern 'mine'"}


@each("kind", [ZoneKind.SILENT, ZoneKind.STRUCK])
def test_there_is_no_fill_into_a_stop_or_a_break(kind: ZoneKind) -> None:
    """No fill into a stop (common practice)."""
    own = groove({"floor tom": "xxxx xxxx xxxx xxxx"}, name="mine", where=Where.PHRASE_END)
    struck = [(16, 17)] if kind is ZoneKind.STRUCK else []
    zones = [(ZoneKind.TIME, 16, []), (kind, 20, struck)]
    for patterns in ([groove(ROCK)], [groove(ROCK), own]):
        notes = drums.play(drummer(patterns, 8, fill_bars=[3], zones=zones))
        assert not [
            n for n in notes if n.pitch == DRUM_KEYS["floor tom"] or n.why.kind is Kind.FILL
        ]


def test_a_set_up_fills_the_space_before_a_hit() -> None:
    starts = [Fraction(i) for i in range(4)]
    off_beat = set_up(Fraction(3, 2), Fraction(3, 2), 3.0, starts)
    assert {(h.at_q, h.drum) for h in off_beat} == {(1, "snare"), (1, "kick")}
    on_beat = set_up(Fraction(2), Fraction(2), 3.0, starts)
    assert [(h.at_q, h.drum) for h in on_beat] == [(Fraction(3, 2), "snare")]
    louder = set_up(Fraction(2), Fraction(2), 4.5, starts)
    assert len(louder) == 2
    assert not set_up(Fraction(2), Fraction(1, 4), 4.5, starts)


def test_kicks_are_marked_and_prepared_while_time_goes_on() -> None:
    zones = [(ZoneKind.TIME, 4, []), (ZoneKind.KICKS, 8, [(Fraction(11, 2), 6), (7, 8)])]
    notes = drums.play(drummer([groove(SWING)], 2, zones=zones, swing=True))
    marked = [n for n in notes if n.why.kind is Kind.HIT]
    assert {n.start_q for n in marked} == {Fraction(11, 2), 7}
    assert [n for n in notes if n.why.kind is Kind.SET_UP]
    assert DRUM_KEYS["crash"] in {n.pitch for n in marked}
    assert [n for n in notes if n.pitch == DRUM_KEYS["ride"] and 4 <= n.start_q < 8]


def test_where_the_band_strikes_together_the_drums_play_those_strokes_and_no_time() -> None:
    zones = [(ZoneKind.STRUCK, 4, [(0, HALF), (2, 4)]), (ZoneKind.SILENT, 8, [])]
    notes = drums.play(drummer([groove(ROCK)], 3, zones=zones))
    assert {n.start_q for n in notes if n.start_q < 8} == {0, 2}
    assert all(n.strict for n in notes if n.start_q < 8)
    assert {NAMES[n.pitch] for n in notes if n.start_q == 0} == {"snare", "kick"}
    assert {NAMES[n.pitch] for n in notes if n.start_q == 2} == {"crash", "kick"}


# -- whole charts ----------------------------------------------------------------------------------


def test_a_stop_is_one_stroke_and_a_chord_left_to_ring_one_cymbal() -> None:
    a = arranged(chart("C7! | F7 | G7= | C6 | F6 | C6"), "straight-ahead swing")
    notes = player(a, "drums").notes
    for span in a.timeline.chords:
        inside = [n for n in notes if span.start_q <= n.start_q < span.end_q]
        if span.strike is Strike.STOP:
            assert {n.start_q for n in inside} == {span.start_q}
            assert "snare" in {NAMES[n.pitch] for n in inside}
        if span.strike is Strike.RING:
            cymbals = [n for n in inside if NAMES[n.pitch] in ("ride", "crash")]
            assert {n.start_q for n in inside} == {span.start_q}
            assert len(cymbals) == 1


def test_drums_rest_out_of_time() -> None:
    a = arranged(chart('"rubato" C7 | F7 | "a tempo" C7 | F7'), "straight-ahead swing")
    assert not [n for n in player(a, "drums").notes if 0 <= n.start_q < 8]


def test_drums_are_the_same_in_every_key() -> None:
    bars = "Dm7 | G7 | Cmaj7 | A7"
    here, there = (
        player(arranged(chart(bars), "straight-ahead swing", wish={"transpose": t}), "drums").notes
        for t in (0, 2)
    )
    assert here == there


@each("path", DEMOS, ids=lambda p: p.stem)
def test_no_drum_is_struck_twice_at_once_and_every_key_is_one_of_the_map(path: Path) -> None:
    a = demo(path.stem)
    for role in ("drums", "percussion"):
        for one in (p for p in a.players if p.role == role):
            places = [(n.start_q, n.pitch) for n in one.notes]
            assert len(places) == len(set(places))
            assert {n.pitch for n in one.notes} <= set(NAMES)


def bars_of(a: Arrangement, role: str) -> list[frozenset[tuple[Fraction, int]]]:
    """What each bar holds, velocity and timing left out."""
    notes = player(a, role).notes
    return [
        frozenset(
            (n.start_q - b.start_q, n.pitch) for n in notes if b.start_q <= n.start_q < b.end_q
        )
        for b in a.timeline.bars[:-1]
    ]


def corpus() -> list[tuple[Fraction, tuple[float, float, float]]]:
    """The counted corpus: place in quarters, share of bars with a kick, a snare, a cymbal there."""
    text = (Path(__file__).parent / "data" / "backbeat.tsv").read_text("utf-8")
    rows = [line.split("\t") for line in text.splitlines() if line[:1].isdigit()]
    return [(Fraction(r[0]), (float(r[1]), float(r[2]), float(r[3]))) for r in rows]


@pytest.mark.slow
def test_rock_pop_and_soul_drums_together_lie_near_what_was_counted_in_recordings() -> None:
    """Mean distance at most 0.12 from the shares of PMC10130781, table 3."""
    names = [n for n in BACKBEATS if shelf.path_of(n) is not None]
    groups = (
        ("kick", "acoustic kick"), ("snare", "rim", "electric snare", "clap"),
        ("hat", "open hat", "ride", "bell", "crash", "crash 2", "splash"),
    )  # fmt: skip
    bars: list[frozenset[tuple[Fraction, int]]] = []
    row = " | ".join(["C", "Am", "F", "G"] * 2)
    text = "choruses: 2\n" + "".join(f"[{letter}]\n| {row} |\n" for letter in "ABCDEF")
    for name in names:
        bars += bars_of(arranged(text, name), "drums")
    gaps = []
    for place, shares in corpus():
        for drum_names, share in zip(groups, shares, strict=True):
            keys = {DRUM_KEYS[d] for d in drum_names}
            struck = sum(any((place, k) in bar for k in keys) for bar in bars)
            gaps.append(abs(struck / len(bars) - share))
    assert len(gaps) == 42
    assert sum(gaps) / len(gaps) <= 0.12


# -- percussion ----------------------------------------------------------------------------------------


def clave(text: str) -> list[Fraction]:
    """Where the claves fall in a salsa, in quarters of the piece."""
    notes = player(arranged(text, "salsa"), "percussion").notes
    return [n.start_q for n in notes if n.pitch == DRUM_KEYS["claves"]]


@each(
    ("side", "places"),
    [
        # Son clave, in quarters from the first of its two bars (rhythm handbooks; common practice).
        ("2-3", [1, 2, 4, Fraction(11, 2), 7]),
        ("3-2", [0, Fraction(3, 2), 3, 5, 6]),
    ],
)
def test_the_clave_stands_on_the_side_that_the_chart_asks_for(
    side: str, places: list[Fraction]
) -> None:
    text = f"clave: {side}\n| Cm7 | Fm7 | G7 | Cm7 | Cm7 | Fm7 | G7 | Cm7 |\n"
    found = clave(text)
    assert [p for p in found if p < 8] == places
    assert [p - 8 for p in found if 8 <= p < 16] == places


def test_the_clave_runs_on_through_a_section_of_odd_length() -> None:
    """Harmony or form must not flip the side (common practice)."""
    text = "clave: 2-3\nform: A B A\n[A]\n| Cm7 | Fm7 | G7 |\n[B]\n| Fm7 | Cm7 | G7 | G7 | Cm7 |\n"
    found = clave(text)
    one = {Fraction(1), Fraction(2), Fraction(4), Fraction(11, 2), Fraction(7)}
    last = max(found)
    wanted = {p + 8 * i for i in range(6) for p in one if p + 8 * i <= last}
    assert set(found) <= {p + 8 * i for i in range(6) for p in one}
    assert len(set(found) & wanted) >= len(wanted) - 2


@each("name", ["soca", "reggaeton", "folk strum", "samba", "second line"])
def test_the_arm_that_shakes_goes_on(name: str) -> None:
    """Shakers and tambourines sound with every move of the arm (common practice): no stroke is left out of a figure."""
    made = arranged(chart("C7 | C7 | F7 | F7 | C7 | C7 | G7 | C7"), name)
    patterns = {f"pattern '{p.name}'": p for p in made.style.part("percussion").patterns}
    shaken = [n for n in player(made, "percussion").notes if NAMES[n.pitch] in percussion.SHAKEN]
    assert shaken
    bars: dict[tuple[str, int, str], int] = {}
    for n in shaken:
        key = (n.why.words, int(n.start_q // 4), NAMES[n.pitch])
        bars[key] = bars.get(key, 0) + 1
    for (why, _, drum), count in bars.items():
        if why in patterns and patterns[why].meter == FOUR:
            written = {sum(len(p.cells) for p in bar) for bar in patterns[why].lines[drum]}
            assert count in written, (why, count)


def test_percussion_leaves_soft_strokes_out_now_and_then_and_strikes_with_the_band() -> None:
    congas = groove({"muted conga": "x. .g xg .g", "open conga": "x x x xx"})
    lively = percussion.play(drummer([congas], 16, role="percussion", vary=0.4))
    assert 16 * 7 < len(lively) < 16 * 10
    struck = [(ZoneKind.STRUCK, 4, [(0, 1)]), (ZoneKind.TIME, 8, [])]
    notes = percussion.play(drummer([congas], 2, role="percussion", zones=struck, vary=0.0))
    assert [n.start_q for n in notes if n.start_q < 4] == [0]
    assert next(n for n in notes if n.start_q == 0).strict
