"""Walking lines: the search between anchors, and what a bassist is known to do."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path

from backing.band.model import Kind, Note
from backing.band.players import bass
from backing.band.players.common import ZoneKind
from backing.band.players.tones import tones
from backing.band.players.walking import move_cost, routes
from backing.ground.dice import at
from backing.ground.pitch import Key
from backing.ground.timebase import Meter
from backing.harmony.reader import read
from backing.harmony.symbol import Chord
from backing.styles.model import Part
from tests.briefs import brief, part
from tests.each import each

FOUR = Meter.of(4, 4)
ROOTS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
KINDS = ("maj7", "7", "m7", "m7b5", "7b9", "6", "m6", "dim7", "13", "9", "m9", "7#11", "7alt", "m", "maj9", "7sus4")  # fmt: skip
BLUES = "Bb7 Eb7 Bb7 Bb7 Eb7 Edim7 Bb7 G7b9 Cm7 F7 Bb7 F7"


def ranges() -> dict[str, tuple[int, int]]:
    """Lowest and highest note by instrument, from the table with its sources."""
    path = Path(__file__).parent / "data" / "ranges.tsv"
    rows = [line.split("\t") for line in path.read_text("utf-8").splitlines() if line[0] != "#"]
    return {row[0]: (int(row[1]), int(row[2])) for row in rows}


def chord(symbol: str) -> Chord:
    found = read(symbol)
    assert found is not None
    return found


def player(way: str = "walking", **settings: float | str) -> Part:
    return part("bass", "acoustic bass", plays=way, **settings)


def walk(
    symbols: Sequence[str], *, meter: Meter = FOUR, seed: int = 1, **how: object
) -> list[Note]:
    """A walking line over one chord a bar."""
    chords = [chord(s) for s in symbols]
    return bass.play(brief(player(), chords, meter=meter, seed=seed, **how))  # type: ignore[arg-type]


def progression(seed: int, bars: int) -> list[str]:
    """Random chords, three in five of them a fifth below the one before."""
    found, root = [], 0
    for i in range(bars):
        fall = at(seed, i, "fall") < 0.6
        root = (root + 5) % 12 if fall else int(at(seed, i, "root") * 12)
        found.append(ROOTS[root] + KINDS[int(at(seed, i, "kind") * len(KINDS))])
    return found


@cache
def generated() -> tuple[tuple[Note, ...], ...]:
    """Lines over thirty generated tunes and ten choruses of blues."""
    tunes = [(progression(s, 32), s) for s in range(30)]
    tunes += [((BLUES.split() * 2), s) for s in range(10)]
    return tuple(tuple(walk(symbols, seed=seed)) for symbols, seed in tunes)


# -- the search --------------------------------------------------------------------------------------


def test_a_route_never_leaps_more_than_an_octave_and_stays_in_the_room_it_is_given() -> None:
    """All ways from C7 to every note within an octave, three notes between."""
    t = tones(chord("C7"), Key.parse("C"))
    for leap in range(-12, 13):
        for route in routes(t.chord_rel, t.scale_rel, 0, leap, (False, True, False), 10, 14):
            line = (0, *route.offsets, leap)
            assert all(abs(b - a) <= 12 for a, b in itertools.pairwise(line))
            assert all(-10 <= offset <= 14 for offset in route.offsets)


def test_routes_come_best_first_and_nearly_as_good_ones_follow() -> None:
    t = tones(chord("Dm7"), Key.parse("C"))
    found = routes(t.chord_rel, t.scale_rel, 0, 5, (False, True, False), 10, 14)
    assert len(found) > 2
    assert [r.cost for r in found] == sorted(r.cost for r in found)
    assert found[-1].cost - found[0].cost <= 1.1


def test_the_best_way_from_two_to_five_is_one_that_players_learn_first() -> None:
    """Dm7 to G7: up the chord or the scale with a half step or a step into G (common practice)."""
    t = tones(chord("Dm7"), Key.parse("C"))
    found = routes(t.chord_rel, t.scale_rel, 0, 5, (False, True, False), 10, 14)
    lines = {route.offsets for route in found}
    assert (2, 3, 4) in lines  # D E F F# G


def test_a_tritone_costs_more_than_every_leap_that_is_sung_and_less_than_a_seventh() -> None:
    """Melodic leaps of strict counterpoint: thirds, fourth, fifth, sixths and octave; no tritone, no seventh (Fux)."""
    allowed = [move_cost(size) for size in (3, 4, 5, 7, 8, 9, 12)]
    assert max(allowed) < move_cost(6) < min(move_cost(10), move_cost(11))


def test_a_walking_line_leaps_a_fourth_or_a_fifth_and_hardly_ever_a_tritone() -> None:
    leaps = Counter(
        abs(b.pitch - a.pitch) for notes in generated() for a, b in itertools.pairwise(notes)
    )
    assert leaps[5] > 0
    assert leaps[7] > 0
    assert leaps[6] < 0.001 * sum(leaps.values())


# -- the chord as a bassist hears it -------------------------------------------------------------------


@each(
    ("symbol", "key", "scale"),
    [
        # The chord's own degrees filled up with the notes of the key (common practice).
        ("Dm7", "C", "D E F G A B C"),
        ("G7", "C", "G A B C D E F"),
        ("E7", "A minor", "E F G# A B C D"),
        ("Fmaj7", "C", "F G A B C D E"),
        ("Bm7b5", "C", "B C D E F G A"),
        ("Bb7", "C", "Bb C D E F G Ab"),
        ("Adim7", "C", "A B C D Eb F Gb Ab"),
    ],
)
def test_the_notes_of_a_scale_are_those_of_chord_and_key(symbol: str, key: str, scale: str) -> None:
    found = tones(chord(symbol), Key.parse(key))
    semitones = {(chord(f"{name}").root.pc - found.root) % 12 for name in scale.split()}
    mask = {i for i in range(12) if found.scale_rel >> i & 1}
    assert mask == semitones


@each(
    ("symbol", "degree", "semitones"),
    [
        ("Cm7", "3", 3), ("C7", "3", 4), ("C7sus4", "3", 5), ("Cm7b5", "5", 6), ("Caug", "5", 8),
        ("C7#5", "5", 8), ("Cdim7", "5", 6), ("Cmaj7", "b7", 11), ("C7", "7", 10), ("C6", "b7", 9),
        ("Cm6", "7", 9), ("Cdim7", "7", 9), ("C", "b7", 10), ("C7", "8", 12), ("C7", "b3", 3), ("C7", "#4", 6),
        ("C", "7", 11), ("G", "7", 10), ("Dm", "b7", 10), ("C5", "b7", 10), ("Csus4", "b7", 10), ("Cdim", "b7", 10),
    ],
)  # fmt: skip
def test_a_degree_of_a_riff_is_the_chords_own(symbol: str, degree: str, semitones: int) -> None:
    """Thirds, altered fifths and sevenths follow the chord; a sharp or flat it does not have stays as written.

    Over a plain triad b7 is what is written, and 7 the seventh of the scale (common practice).
    """
    assert tones(chord(symbol), Key.parse("C")).semitones(degree) == semitones


# -- the line --------------------------------------------------------------------------------------------


def test_every_beat_has_a_note_and_every_new_chord_begins_on_its_root() -> None:
    """A note on every beat in four (hard rule of the trade); a play-along states the harmony."""
    symbols = progression(5, 32)
    notes = walk(symbols, seed=5)
    beats = {n.start_q for n in notes}
    assert {Fraction(i) for i in range(128)} <= beats
    for bar, symbol in enumerate(symbols):
        first = next(n for n in notes if n.start_q == bar * 4)
        if bar == 0 or symbol != symbols[bar - 1]:
            assert first.pitch % 12 == chord(symbol).root.pc


def test_lines_keep_the_rules_of_the_trade() -> None:
    """Steps 55 to 75 % of moves, no leap over an octave, nothing three times running, E1 to G3 (common practice)."""
    low, high = ranges()["walking line"]
    steps = moves = 0
    for notes in generated():
        pitches = [n.pitch for n in notes]
        assert low <= min(pitches)
        assert max(pitches) <= high
        for a, b in itertools.pairwise(pitches):
            assert abs(a - b) <= 12
            moves += 1
            steps += 1 <= abs(a - b) <= 2
        for a, b, c in zip(pitches, pitches[1:], pitches[2:], strict=False):
            assert not a == b == c
    assert 0.55 <= steps / moves <= 0.75


def test_most_chords_are_approached_within_two_semitones_and_half_of_those_by_half_step() -> None:
    """At least 65 % of changes (common practice); a line that does nothing else is a mannerism."""
    close = half = changes = 0
    for notes in generated():
        for a, b in itertools.pairwise(notes):
            if a.chord != b.chord and b.pitch % 12 != a.pitch % 12:
                changes += 1
                close += abs(a.pitch - b.pitch) <= 2
                half += abs(a.pitch - b.pitch) == 1
    assert 0.65 <= close / changes <= 0.95
    assert 0.3 <= half / close <= 0.75


def test_strong_beats_hold_chord_tones() -> None:
    """Beats 1 and 3 of a bar under one chord belong to the chord, sixths included, nearly always."""
    inside = total = 0
    for seed in range(10):
        symbols = progression(seed, 32)
        for note in walk(symbols, seed=seed):
            if note.start_q % 4 == 2:
                total += 1
                t = tones(chord(symbols[int(note.start_q // 4)]), Key.parse("C"))
                inside += t.is_chord_tone(note.pitch)
    assert inside / total >= 0.8


def test_no_bar_comes_three_times_running_over_one_chord() -> None:
    for seed in range(8):
        notes = walk(["C7"] * 24, seed=seed)
        bars = [
            tuple((n.start_q % 4, n.pitch) for n in notes if n.start_q // 4 == bar)
            for bar in range(24)
        ]
        assert not any(a == b == c for a, b, c in zip(bars, bars[1:], bars[2:], strict=False))


def test_the_written_bass_is_the_line_where_chords_change_every_beat() -> None:
    """Stepwise roots move by step, chromatic ones by half step, in one register."""
    symbols = "Gmaj7 Am7 Bm7 Cmaj7 C#dim7 G/D Em7 Em7/D C#m7b5 Cm6 G/B Bbdim7"
    chords = [(chord(s), 1) for s in symbols.split()]
    notes = bass.play(brief(player(), chords, meter=Meter.of(3, 4)))
    assert [n.pitch % 12 for n in notes] == [c.lowest.pc for c, _ in chords]
    moves = [abs(a.pitch - b.pitch) for a, b in itertools.pairwise(notes)]
    assert max(moves[:6]) <= 2
    assert max(moves[6:]) <= 2


def test_a_root_is_played_again_where_only_the_chord_above_it_changes() -> None:
    """D7sus4 D7 over a beat each is one bass note twice (common practice), not a leap of an octave."""
    rows = [
        [("Am7", 1), ("D7sus4", 1), ("D7", 1), ("G", 1)],
        [("Cmaj7", 1), ("C7", 1), ("F", 2)],
        [("Ebm7", 2), ("Ab7", 1), ("Ab7#5", 1)],
    ]
    for row in rows:
        for seed in range(1, 9):
            bars = [(chord(s), q) for s, q in row]
            notes = bass.play(brief(player(), [*bars, *bars], seed=seed))
            same = [
                (a, b)
                for a, b in itertools.pairwise(notes)
                if b.chord == a.chord + 1 and (a.pitch - b.pitch) % 12 == 0
            ]
            assert same
            assert all(a.pitch == b.pitch for a, b in same), (row, seed)


def test_a_chromatic_passing_note_comes_and_goes_by_half_step() -> None:
    """Inside a line it lies between two neighbours (common practice); only the approach to a root may leap away."""
    symbols = "Dm7 G7 Cmaj7 A7 Dm7 G7 Em7 A7 Fmaj7 Bb7 Am7 D7 Fm7 Bb7b9 C6 C6"
    text = symbols.split()
    passing = 0
    for seed in range(1, 25):
        notes = bass.play(brief(player(), [(chord(s), 4) for s in text], seed=seed))
        for a, b, c in zip(notes, notes[1:], notes[2:], strict=False):
            if b.why.kind is Kind.PASSING and c.why.kind is not Kind.SKIP:
                passing += 1
                assert abs(b.pitch - a.pitch) == abs(c.pitch - b.pitch) == 1, (seed, b)
    assert passing >= 5


def test_two_chords_a_bar_have_their_roots_on_one_and_three_and_approaches_between() -> None:
    chords = [(chord(s), 2) for s in ["Dm7", "G7", "Em7", "A7", "Dm7", "G7", "Cmaj7", "A7"]]
    notes = bass.play(brief(player(skips=0.0), chords))
    assert [n.start_q for n in notes] == [Fraction(i) for i in range(16)]
    for i, (c, _) in enumerate(chords):
        assert notes[2 * i].pitch % 12 == c.root.pc


def test_a_slash_bass_is_played_on_the_first_beat_and_named_in_the_reason() -> None:
    notes = walk(["Dm7", "G7/B", "C/E", "Fmaj7"])
    firsts = [n for n in notes if n.start_q % 4 == 0]
    assert [n.pitch % 12 for n in firsts] == [2, 11, 4, 5]
    assert firsts[1].why.words == "written bass B of G7/B"
    assert firsts[1].degree == "3"


def test_a_chord_that_comes_early_takes_the_bass_with_it_and_is_not_struck_again() -> None:
    """A push of an eighth: the root sounds on the last off-beat and holds through the first beat."""
    pushed = brief(
        player(skips=0.0), [chord(s) for s in ("Dm7", "G7", "Cmaj7")], pushes={1: Fraction(1, 2)}
    )
    notes = bass.play(pushed)
    early = next(n for n in notes if n.start_q == Fraction(7, 2))
    assert early.pitch % 12 == 7
    assert early.chord == 1
    assert early.end_q == 5
    assert not any(n.start_q == 4 for n in notes)


def test_a_line_leads_into_the_section_that_follows() -> None:
    """The last note before the border approaches the first chord behind it."""
    near = 0
    for seed in range(20):
        notes = walk(["Dm7", "G7"], seed=seed, ahead=chord("Cmaj7"))
        near += min((notes[-1].pitch - 0) % 12, (0 - notes[-1].pitch) % 12) <= 2
    assert near >= 12


def test_another_chord_in_one_bar_changes_only_that_section_and_the_same_seed_repeats() -> None:
    assert walk(["Dm7", "G7"] * 4, seed=3) == walk(["Dm7", "G7"] * 4, seed=3)
    assert walk(["Dm7", "G7"] * 4, seed=3) != walk(["Dm7", "G7"] * 4, seed=4)


def test_the_reasons_of_a_line_are_in_a_players_words() -> None:
    reasons = " | ".join(n.why.words for notes in generated() for n in notes)
    for words in (
        "root of ", "chromatic approach from below to ", "half step from above to ", "step from ",
        "dominant of ", "scale step ", "third of ", "skip: ",
    ):  # fmt: skip
        assert words in reasons


def test_no_chord_is_silence_for_the_bass() -> None:
    notes = bass.play(brief(player(), [chord("C7"), None, chord("F7")]))
    assert not [n for n in notes if 4 <= n.start_q < 8]
    assert all(n.end_q <= 4 for n in notes if n.start_q < 4)


def test_where_the_band_strikes_together_the_bass_plays_exactly_those_strokes() -> None:
    zones = [(ZoneKind.TIME, 4, []), (ZoneKind.STRUCK, 8, [(4, 5), (Fraction(13, 2), 7)])]
    notes = bass.play(brief(player(), [chord("C7"), chord("F7/A"), chord("G7")], zones=zones))
    struck = [n for n in notes if 4 <= n.start_q < 8]
    assert [(n.start_q, n.end_q, n.pitch % 12, n.strict) for n in struck] == [
        (4, 5, 9, True), (Fraction(13, 2), 7, 9, True),
    ]  # fmt: skip


def test_a_kick_inside_the_time_is_marked_by_the_line() -> None:
    zones = [(ZoneKind.KICKS, 4, [(Fraction(3, 2), 2)])]
    plain = bass.play(brief(player(skips=0.0), [chord("C7"), chord("F7")]))
    marked = bass.play(brief(player(skips=0.0), [chord("C7"), chord("F7")], zones=zones))
    at_kick = next(n for n in marked if n.start_q == Fraction(3, 2))
    assert at_kick.velocity > max(n.velocity for n in plain if 0 < n.start_q < 4)
    assert {Fraction(i) for i in range(8)} <= {n.start_q for n in marked}


@each("kind", [ZoneKind.KICKS, ZoneKind.STRUCK])
def test_a_stroke_of_the_band_just_before_a_chord_plays_that_chord(kind: ZoneKind) -> None:
    """A hit on the and of four uses the next bar's chord (comping methods); the bass goes with the band."""
    row = [chord("C7"), chord("F7")]
    ahead = bass.play(
        brief(player(skips=0.0), row, zones=[(kind, 8, [(0, 1), (Fraction(7, 2), 6)])])
    )
    early = next(n for n in ahead if n.start_q == Fraction(7, 2))
    assert (early.pitch % 12, early.chord) == (5, 1)
    assert not [n for n in ahead if n.start_q == 4]
    strokes = [(Fraction(7, 2), 4), (4, 5)]
    both = bass.play(brief(player(skips=0.0), row, zones=[(kind, 8, strokes)]))
    assert next(n for n in both if n.start_q == Fraction(7, 2)).chord == 0
    assert next(n for n in both if n.start_q == 4).pitch % 12 == 5


@each("meter", ["2/4", "3/4", "4/4", "5/4", "6/8", "7/8", "9/8", "12/8", "2/2"])
def test_a_line_walks_on_the_pulses_of_any_meter(meter: str) -> None:
    """Half notes of 2/2 are walked in quarters; groups of eighths and dotted quarters are one beat each."""
    count, unit = map(int, meter.split("/"))
    this = Meter.of(count, unit)
    notes = walk(["Dm7", "G7", "Cmaj7", "A7b9"], meter=this)
    places = (0, 1, 2, 3) if meter == "2/2" else this.pulse_starts_q
    wanted = {bar * this.length_q + p for bar in range(4) for p in places}
    assert wanted <= {n.start_q for n in notes}
