"""The guitar: grips in the hand, strokes with direction and spread, plucked strings, damping."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from statistics import mean

from backing.band.model import Kind, Note
from backing.band.players.common import Brief, ZoneKind
from backing.band.players.fretting import hold
from backing.band.players.guitar import play
from backing.ground.instruments import STANDARD_TUNING
from backing.harmony.grip import playable
from backing.harmony.voicings import distance
from backing.styles.model import Part, Value
from tests.briefs import UNASKED, brief, chord, part, pattern
from tests.each import each
from tests.test_voicings import cycle

STRUM = pattern("d du .u du", "strum", kind="strings")
FOUR = pattern("d D d D", "four to the bar", kind="strings")
CHUCK = pattern("dm dm dm dm", "chuck", kind="strings")
PICK = pattern("53 21 43 21", "picking", kind="strings")


def guitar(instrument: str = "steel guitar", *patterns: object, **settings: Value) -> Part:
    return part("guitar", instrument, patterns, **settings)  # type: ignore[arg-type]


def strokes(notes: list[Note]) -> dict[Fraction, list[Note]]:
    found: dict[Fraction, list[Note]] = defaultdict(list)
    for note in notes:
        found[note.start_q].append(note)
    return dict(sorted(found.items()))


def tasks() -> list[Brief]:
    """Several ways to play over many chords."""
    symbols = [chord(s) for s in cycle()]
    return [
        brief(guitar("steel guitar", STRUM, voicing="open"), symbols),
        brief(guitar("jazz guitar", FOUR, voicing="drop 2"), symbols, colour=True),
        brief(guitar("jazz guitar", FOUR, voicing="shells", muted=True), symbols),
        brief(guitar("nylon guitar", PICK, voicing="close"), symbols, capo=2),
        brief(guitar("clean guitar", CHUCK, voicing="triads"), symbols, tuned=-1),
        brief(guitar("distorted guitar", STRUM, voicing="power"), symbols),
    ]


def test_every_note_is_on_its_string_and_fret() -> None:
    """String and fret give the pitch, capo and retuning counted in."""
    for task in tasks():
        shift = task.timeline.capo + task.timeline.tuned
        for note in play(task):
            assert 1 <= note.string <= 6
            assert note.pitch == STANDARD_TUNING[6 - note.string] + shift + note.fret


def test_what_sounds_together_is_one_grip_that_a_hand_can_hold() -> None:
    """One note a string; four fingers, four frets (five high on the neck)."""
    for task in tasks():
        for group in strokes(play(task)).values():
            frets = [-1] * 6
            for note in group:
                assert frets[6 - note.string] == -1
                frets[6 - note.string] = note.fret
            assert playable(frets, task.timeline.capo)


def test_a_string_sounds_one_note_at_a_time() -> None:
    for task in tasks():
        until: dict[int, Fraction] = {}
        for note in play(task):
            assert until.get(note.string, Fraction(0)) <= note.start_q
            until[note.string] = note.end_q


def test_the_hand_moves_little_over_two_five_one_cycles() -> None:
    """On average at most 2.5 frets and, of voices, six semitones a change."""
    for coloured in (True, False):
        task = brief(guitar("jazz guitar", FOUR), [chord(s) for s in cycle()], colour=coloured)
        held = [h.grip for h in hold(task).values()]
        assert mean(abs(a.position - b.position) for a, b in pairwise(held)) <= 2.5
        assert mean(distance(a.pitches, b.pitches) for a, b in pairwise(held)) <= 6
        assert mean(abs(a.pitches[-1] - b.pitches[-1]) <= 2 for a, b in pairwise(held)) >= 0.6


def test_downstrokes_begin_low_and_upstrokes_high() -> None:
    """Down from the lowest string, up from the highest, 8 to 25 ms between strings."""
    found = strokes(play(brief(guitar("steel guitar", STRUM, voicing="open"), [chord("G")])))
    down, up = found[Fraction(0)], found[Fraction(3, 2)]
    assert [n.string for n in sorted(down, key=lambda n: n.order)] == [6, 5, 4, 3, 2, 1]
    assert [n.string for n in sorted(up, key=lambda n: n.order)] == [1, 2, 3, 4]
    assert all(8 <= n.spread_ms <= 25 for n in down + up)
    assert "downstroke" in down[0].why.words
    assert "upstroke" in up[0].why.words


def test_a_style_may_set_the_spread() -> None:
    found = play(brief(guitar("steel guitar", STRUM, voicing="open", spread_ms=20), [chord("G")]))
    assert {n.spread_ms for n in found} == {20.0}


def test_muted_strokes_are_short_and_soft() -> None:
    found = strokes(play(brief(guitar("clean guitar", CHUCK, voicing="triads"), [chord("C7")])))
    ring, muted = found[Fraction(0)], found[Fraction(1, 2)]
    assert all(n.length_q <= Fraction(1, 8) for n in muted)
    assert max(n.velocity for n in muted) < min(n.velocity for n in ring)
    assert "muted" in muted[0].why.words


def test_damped_strings_make_every_stroke_short() -> None:
    notes = play(brief(guitar("jazz guitar", FOUR, voicing="shells", muted=True), [chord("C7")]))
    assert all(n.length_q < Fraction(1, 2) for n in notes)


def test_plucked_strings_ring_until_plucked_again() -> None:
    notes = play(brief(guitar("nylon guitar", PICK, voicing="open"), [chord("C"), chord("G")]))
    first = next(n for n in notes if n.start_q == 0 and n.string == 5)
    assert first.end_q == 4
    second = next(n for n in notes if n.start_q == 1 and n.string == 2)
    assert second.end_q == 3


def test_the_thumb_begins_a_chord_with_its_lowest_note() -> None:
    """Whatever low string the pattern names, a finger-picked chord starts from its bass."""
    for symbol in ("C", "G", "Am", "D/F#", "E"):
        notes = play(brief(guitar("nylon guitar", PICK, voicing="open"), [chord(symbol)]))
        lowest = min(n.pitch for n in notes)
        assert min(n.pitch for n in notes if n.start_q == 0) == lowest
        assert lowest % 12 == chord(symbol).lowest.pc


def test_a_bass_line_is_played_on_the_low_strings() -> None:
    boom = pattern(". d . d", "boom chick", kind="strings", bass="1 . 5 .")
    for symbol, degrees in (
        ("G", ["1", "5"]),
        ("D", ["1", "5"]),
        ("C", ["1", "5"]),
        ("A", ["1", "5"]),
    ):
        notes = play(brief(guitar("steel guitar", boom, voicing="open"), [chord(symbol)]))
        bass = [n for n in notes if n.why.kind is Kind.THUMB]
        assert [n.degree for n in bass] == degrees


def thumb(bass: str, *symbols: str, **how: object) -> list[Note]:
    """What the thumb plays over open chords."""
    line = pattern(
        " | ".join([". d . d"] * (1 + bass.count("|"))), "thumb", kind="strings", bass=bass
    )
    task = brief(guitar("steel guitar", line, voicing="open"), [chord(s) for s in symbols], **how)  # type: ignore[arg-type]
    return [n for n in play(task) if n.why.kind is Kind.THUMB]


def test_boom_chick_finds_root_and_fifth_of_every_chord() -> None:
    """Bass on one, the fifth on three (common practice of country and bluegrass), on strings that the hand reaches."""
    for symbol in (
        "C",
        "D",
        "E",
        "F",
        "G",
        "A",
        "B7",
        "Am",
        "Dm",
        "Em",
        "Bb",
        "F#m",
        "Cm",
        "Eb",
        "Ab",
    ):
        root, fifth = thumb("1 . 5 .", symbol)
        assert (fifth.pitch - root.pitch) % 12 == 7, symbol
        assert fifth.string >= 4


def test_the_thumb_keeps_the_sign_of_a_degree() -> None:
    for symbol, below, above in (("A", 40, 52), ("D", 45, None), ("C", 43, None)):
        root, fifth = thumb("1 . -5 .", symbol)
        assert fifth.pitch == below < root.pitch
        if above:
            assert thumb("1 . 5 .", symbol)[1].pitch == above > root.pitch


def test_a_run_of_the_thumb_moves_on_low_strings() -> None:
    """G to C by the scale: G A B C (common practice): notes that the grip does not hold are stopped beside it."""
    run = thumb("1 2 3 n1", "G", "C")
    assert [n.pitch for n in run[:4]] == [43, 45, 47, 48]
    for note in run:
        assert note.string >= 4
        assert note.pitch == STANDARD_TUNING[6 - note.string] + note.fret


def test_the_thumb_goes_on_where_the_chord_stays() -> None:
    """A two-bar alternation is heard over two bars of a chord, and begins with the root where another chord begins."""
    notes = thumb("1 . 5 . | 5 . 1 .", "G", "G", "G", "C")
    assert [n.degree for n in notes] == ["1", "5", "5", "1", "1", "5", "1", "1"]


def test_a_guitar_keeps_the_register_that_its_style_asks_for() -> None:
    player = replace(guitar("clean guitar", CHUCK, voicing="triads"), low=50, high=67)
    notes = play(brief(player, [chord(s) for s in cycle()]))
    assert all(50 <= n.pitch <= 67 for n in notes)


@each("low", [40, 45, 50, 55])
def test_a_rocking_guitar_has_its_root_below_on_a_low_string(low: int) -> None:
    """The shuffle's two strings: 6-5, 5-4 or 4-3, root and fifth, the little finger on the sixth (common practice)."""
    line = pattern("dd dd dd dd", "shuffle", kind="strings")
    player = guitar("distorted guitar", line, voicing="power", rocks=True)
    bass = tuple(Note(Fraction(q), Fraction(q + 1), low, 80, UNASKED) for q in range(8))
    rocking = 0
    for root in ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"):
        row = [chord(f"{root}7"), chord(f"{root}7")]
        task = brief(player, row, colour=True, heard={"bass": bass})
        groups = [g for g in strokes(play(task)).values() if "6" in {n.degree for n in g}]
        rocking += bool(groups)
        for group in groups:
            root_note, sixth = sorted(group, key=lambda n: n.pitch)[:2]
            assert (root_note.degree, sixth.degree) == ("1", "6")
            assert root_note.string in (6, 5, 4)
            assert sixth.string == root_note.string - 1
    assert rocking >= (10 if low == 40 else 4)


def test_a_chord_too_short_to_be_picked_is_plucked_together() -> None:
    quick = [(chord(s), 1) for s in ("Dm7", "G7", "Cmaj7", "A7")]
    task = brief(guitar("nylon guitar", PICK, voicing="drop 2"), quick)
    heard: dict[int, set[str]] = defaultdict(set)
    for note in play(task):
        heard[note.chord].add(note.degree)
    for index, names in heard.items():
        one = task.timeline.chords[index].chord
        assert one is not None
        assert {d.name for d in one.must_sound} <= names


def test_the_bass_stays_at_or_below_the_lowest_string() -> None:
    for pitch in (40, 45, 50):
        bass = tuple(Note(Fraction(q), Fraction(q + 1), pitch, 80, UNASKED) for q in range(16))
        for style in ("open", "drop 2", "triads"):
            task = brief(
                guitar("steel guitar", STRUM, voicing=style),
                [chord(s) for s in ("G", "Em", "C", "D7")],
                heard={"bass": bass},
            )
            assert min(n.pitch for n in play(task)) >= pitch


def test_a_capo_lets_open_shapes_ring() -> None:
    """In A flat with a capo on the first fret a guitarist plays the shapes of G."""
    task = brief(
        guitar("steel guitar", STRUM, voicing="open"),
        [chord("Ab"), chord("Eb"), chord("Db")],
        capo=1,
    )
    assert [h.grip.name for h in hold(task).values()] in (
        [["320003", "xx0232", "x32010"], ["320033", "xx0232", "x32010"]]
    )  # fmt: skip
    assert any(n.fret == 0 for n in play(task))


def test_power_chords_are_roots_and_fifths() -> None:
    symbols = [chord(s) for s in ("A5", "G5", "F", "Em")]
    notes = play(brief(guitar("distorted guitar", STRUM, voicing="power"), symbols))
    assert {n.degree for n in notes} == {"1", "5"}


def test_stops_and_silences_are_kept() -> None:
    task = brief(
        guitar("steel guitar", STRUM, voicing="open"),
        [chord("G"), chord("C"), chord("D")],
        zones=[(ZoneKind.STRUCK, 4, [(0, Fraction(1, 2))]), (ZoneKind.SILENT, 8, [])],
    )
    notes = play(task)
    assert all(n.strict for n in notes if n.start_q < 4)
    assert not [n for n in notes if 4 <= n.start_q < 8]
    assert all(n.end_q <= Fraction(1, 2) for n in notes if n.start_q < 4)


def test_reasons_name_the_grip_and_what_the_hand_does() -> None:
    notes = play(brief(guitar("jazz guitar", FOUR), [chord("Dm7"), chord("G7")]))
    assert any("hand" in n.why.words for n in notes)
    assert all("stroke" in n.why.words for n in notes)


@each("seed", [1, 2, 3])
def test_the_same_place_gives_the_same_notes(seed: int) -> None:
    task = brief(guitar("jazz guitar", FOUR, STRUM), [chord(s) for s in cycle()[:9]], seed=seed)
    assert play(task) == play(task)


def test_a_chart_without_chords_is_silent() -> None:
    assert play(brief(guitar("jazz guitar", FOUR), [None, None])) == []
