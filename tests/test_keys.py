"""The keys: rhythm with chords, voicings above the bass, silence where it is written, broken chords."""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction
from itertools import pairwise

from backing.band.model import Kind, Note
from backing.band.players.common import Brief, ZoneKind
from backing.band.players.keys import play
from backing.ground.pitch import Pitch
from backing.ground.timebase import Meter
from backing.harmony.voicings import limit_excess
from backing.styles.model import Where
from backing.timeline.model import MelodyNote
from tests.briefs import UNASKED, brief, chord, part, pattern
from tests.test_voicings import cycle

CHARLESTON = pattern("x= =x . .", "Charleston")
PUSH = pattern("x . . .x", "push")
EIGHTHS = pattern("xx xx xx xx", "eighths")
LATE = pattern(". .x . .", "late")
HALF = Fraction(1, 2)


def at(notes: list[Note]) -> dict[Fraction, list[Note]]:
    """Notes by the place where they start."""
    found: dict[Fraction, list[Note]] = defaultdict(list)
    for note in notes:
        found[note.start_q].append(note)
    return dict(sorted(found.items()))


def classes(notes: list[Note]) -> set[int]:
    return {n.pitch % 12 for n in notes}


def test_a_pattern_is_played_where_it_stands() -> None:
    """The Charleston: on one and on the "and" of two (coursera blues lecture; thejazzchameleon.com)."""
    notes = play(brief(part(patterns=[CHARLESTON]), [chord("Dm7"), chord("G7")]))
    assert list(at(notes)) == [0, Fraction(3, 2), 4, Fraction(11, 2)]
    assert all("Charleston" in n.why.words for n in notes)


def test_a_hit_on_the_last_off_beat_plays_the_chord_to_come() -> None:
    """A hit on the "and" of four uses the next bar's chord (coursera blues lecture)."""
    strike = pattern(". x . .x", "push")
    found = at(play(brief(part(patterns=[strike]), [chord("Dm7"), chord("G7"), chord("C6")])))
    early = found[Fraction(7, 2)]
    assert {n.chord for n in early} == {1}
    assert classes(early) <= set(chord("G7").pitch_classes)
    assert all(n.end_q > 4 for n in early), "it is held over the beat that it takes the place of"
    assert all("ahead" in n.why.words for n in early)


def test_a_hit_before_a_change_that_is_struck_stays_with_its_chord() -> None:
    found = at(play(brief(part(patterns=[PUSH]), [chord("Dm7"), chord("G7")])))
    assert {n.chord for n in found[Fraction(7, 2)]} == {0}


def test_the_last_hit_of_a_section_plays_the_first_chord_of_the_next() -> None:
    found = at(play(brief(part(patterns=[PUSH]), [chord("Dm7")], ahead=chord("Ebmaj7"))))
    assert classes(found[Fraction(7, 2)]) <= set(chord("Ebmaj7").pitch_classes)


def test_a_pushed_chord_is_struck_early_and_not_on_its_beat() -> None:
    task = brief(part(patterns=[EIGHTHS]), [chord("Dm7"), chord("G7")], pushes={1: HALF})
    found = at(play(task))
    assert {n.chord for n in found[Fraction(7, 2)]} == {1}
    assert 4 not in found
    assert all(n.end_q > 4 for n in found[Fraction(7, 2)])
    assert all("pushed" in n.why.words for n in found[Fraction(7, 2)])


def test_every_chord_is_heard_even_where_the_pattern_rests() -> None:
    quick = [(chord(s), 1) for s in ("Em7", "A7", "Dm7", "G7")]
    notes = play(brief(part(patterns=[LATE]), quick))
    assert {n.chord for n in notes} == {0, 1, 2, 3}
    first = [min(n.start_q for n in notes if n.chord == i) for i in range(4)]
    assert first[:3] == [0, 1, 2], "a quick row is struck on its beats"
    assert first[3] in (3, Fraction(5, 2)), "the last chord may come early"


def test_chords_that_change_quickly_move_little() -> None:
    """A chord a beat: common tones and small moves, never more than eight semitones in all."""
    quick = [(chord(s), 1) for s in ("Gmaj7", "Am7", "Bm7", "Cmaj7", "C#dim7", "D7", "Em7", "A7")]
    notes = play(brief(part(patterns=[EIGHTHS]), quick))
    tops = [max(n.pitch for n in notes if n.chord == i) for i in range(len(quick))]
    assert all(abs(a - b) <= 5 for a, b in pairwise(tops))


def test_struck_zones_have_their_strokes_and_nothing_else() -> None:
    task = brief(
        part(patterns=[EIGHTHS]),
        [chord("C6"), chord("F7")],
        zones=[(ZoneKind.STRUCK, 4, [(0, HALF), (Fraction(5, 2), 3)])],
    )
    found = at(play(task))
    assert [q for q in found if q < 4] == [0, Fraction(5, 2)]
    assert all(n.strict and n.end_q <= q + HALF for q in (0, Fraction(5, 2)) for n in found[q])
    assert not any(n.strict for n in found[Fraction(4)])


def test_kicks_are_played_without_a_pattern_of_its_own() -> None:
    task = brief(
        part(patterns=[EIGHTHS]),
        [chord("C6"), chord("F7")],
        zones=[(ZoneKind.KICKS, 4, [(1, 2)])],
    )
    assert [q for q in at(play(task)) if q < 4] == [1]


def test_nothing_sounds_into_a_silence() -> None:
    long = pattern("x= = = =", "long")
    task = brief(
        part(patterns=[long]),
        [chord("C6"), chord("F7")],
        zones=[(ZoneKind.TIME, 3, []), (ZoneKind.SILENT, 8, [])],
    )
    notes = play(task)
    assert notes
    assert all(n.end_q <= 3 for n in notes)


def test_no_chord_means_no_notes() -> None:
    notes = play(brief(part(patterns=[EIGHTHS]), [chord("C6"), None, chord("F7")]))
    assert not [n for n in notes if 4 <= n.start_q < 8]


def test_a_held_note_stops_where_the_next_chord_does_not_hold_it() -> None:
    """Of a held Dm7 the common tones D and F may ring into G7, A and C may not."""
    hold = pattern("x= = = = | =. . . .", "two bars")
    notes = play(brief(part(patterns=[hold]), [chord("Dm7"), chord("G7")], repeats=True))
    first = [n for n in notes if n.start_q == 0]
    assert all(n.end_q <= 4 for n in first if n.pitch % 12 in (9, 0))


def test_chords_keep_above_the_bass() -> None:
    """The lowest note of the comping is above the bass, however high that walks."""
    for pitch in (36, 48, 52, 55):
        bass = tuple(Note(Fraction(q), Fraction(q + 1), pitch, 80, UNASKED) for q in range(16))
        notes = play(
            brief(
                part(patterns=[EIGHTHS]),
                [chord(s) for s in ("Dm7", "G7", "Cmaj7", "A7")],
                heard={"bass": bass},
            )
        )
        assert min(n.pitch for n in notes) > pitch
        assert min(n.pitch for n in notes) >= 50


def test_chords_keep_below_a_melody_where_they_can() -> None:
    tune = [MelodyNote(Fraction(0), Fraction(8), Pitch.parse("E4"))]
    chords = [chord("Cmaj7"), chord("Am7")]
    low = play(brief(part(patterns=[CHARLESTON]), chords, melody=tune))
    free = play(brief(part(patterns=[CHARLESTON]), chords))
    assert max(n.pitch for n in low) < max(n.pitch for n in free) or max(n.pitch for n in low) <= 64


def test_colours_are_added_only_where_they_are_wanted() -> None:
    symbols = [chord(s) for s in cycle()[:9]]
    plain = play(brief(part(patterns=[CHARLESTON]), symbols, colour=False))
    coloured = play(brief(part(patterns=[CHARLESTON]), symbols, colour=True))
    for note in plain:
        assert note.pitch % 12 in symbols[note.chord].pitch_classes
    assert any(note.degree in ("9", "13") for note in coloured)


def test_every_note_names_its_degree_and_reason() -> None:
    task = brief(
        part(patterns=[CHARLESTON, PUSH, EIGHTHS]), [chord(s) for s in ("Dm7", "G7alt", "Cmaj9")]
    )
    for note in play(task):
        one = task.timeline.chords[note.chord].chord
        assert one is not None
        names = {d.name: (one.root.pc + d.semitones) % 12 for d in one.degrees}
        assert names[note.degree] == note.pitch % 12
        assert ";" in note.why.words


def test_the_same_place_gives_the_same_notes_and_another_seed_others() -> None:
    def notes(seed: int) -> list[Note]:
        patterns = [CHARLESTON, PUSH, LATE, EIGHTHS]
        return play(brief(part(patterns=patterns), [chord(s) for s in cycle()[:12]], seed=seed))

    assert notes(1) == notes(1)
    assert any(notes(1) != notes(seed) for seed in (2, 3, 4))


def test_no_pattern_is_taken_three_times_running() -> None:
    patterns = [CHARLESTON, PUSH, LATE]
    task = brief(part(patterns=patterns), [chord("Dm7"), chord("G7")] * 24)
    names = ["" for _ in task.bars]
    for note in play(task):
        if note.why.kind is not Kind.ADDED:
            names[int(note.start_q // 4)] = note.why.words.split(",")[0].split(";")[0]
    for a, b, c in zip(names, names[1:], names[2:], strict=False):
        assert not (a and a == b == c)


def test_two_bars_of_a_pattern_stay_with_the_bars_of_the_section() -> None:
    """A pattern of two bars begins in odd bars, so that the sides of a clave stay where they are."""
    clave = pattern("x . . . | . x . .", "clave")
    found = at(play(brief(part(patterns=[clave]), [chord("Cm7")] * 8, repeats=True)))
    assert {q % 8 for q in found} == {0, 5}


def test_places_choose_their_patterns() -> None:
    task = brief(
        part(patterns=[CHARLESTON, pattern("x . x .", "end", where=Where.PHRASE_END), pattern("X . . .", "start", where=Where.OPENING)]),
        [chord("C6"), chord("F7"), chord("C6"), chord("G7")],
    )  # fmt: skip
    whys = {int(n.start_q // 4): n.why.words.split(";")[0] for n in play(task)}
    assert whys[0] == "start"
    assert whys[3] == "end"


def test_a_player_asked_to_do_less_leaves_ghosts_out() -> None:
    soft = pattern("x .g . .g", "with ghosts")
    chords = [chord("Dm7"), chord("Dm7")]
    busy = play(brief(part(patterns=[soft]), chords, busy=0.8))
    calm = play(brief(part(patterns=[soft]), chords, busy=0.1))
    assert len(calm) < len(busy)


def test_accents_and_levels_show_in_velocity() -> None:
    mixed = pattern("x X g .", "mixed")
    found = at(play(brief(part(patterns=[mixed]), [chord("C6")], busy=0.8)))
    normal, accent, ghost = (max(n.velocity for n in found[Fraction(q)]) for q in (0, 1, 2))
    assert ghost < normal < accent
    loud = play(brief(part(patterns=[CHARLESTON]), [chord("C6")], level=5))
    soft = play(brief(part(patterns=[CHARLESTON]), [chord("C6")], level=0))
    assert min(n.velocity for n in loud) > max(n.velocity for n in soft)


def test_a_broken_chord_plays_voice_by_voice_and_rings_under_the_pedal() -> None:
    broken = pattern("12 34 32 34", "broken")
    notes = play(brief(part(patterns=[broken], voicing="spread"), [chord("Cmaj7")]))
    assert [len(group) for group in at(notes).values()][1:] == [1] * 7
    assert notes[0].end_q == 4
    dry = play(brief(part(patterns=[broken], voicing="spread", pedal=False), [chord("Cmaj7")]))
    assert dry[0].end_q == HALF


def test_a_chord_too_short_to_be_broken_is_still_heard() -> None:
    broken = pattern("1 2 3 4", "slow")
    task = brief(
        part(patterns=[broken], voicing="close"),
        [(chord(s), 1) for s in ("Dm7", "G7", "Cmaj7", "A7")],
    )
    by_chord: dict[int, set[str]] = defaultdict(set)
    for note in play(task):
        by_chord[note.chord].add(note.degree)
    for index, heard in by_chord.items():
        one = task.timeline.chords[index].chord
        assert one is not None
        assert {d.name for d in one.must_sound} <= heard


def test_octaves_double_single_notes() -> None:
    montuno = pattern("12 .3 .2 .3", "montuno")
    found = at(play(brief(part(patterns=[montuno], octaves=True), [chord("Cm7")])))
    pitches = sorted(n.pitch for n in found[HALF])
    assert pitches[1] - pitches[0] == 12


def test_a_bass_line_of_the_left_hand_lies_below_the_chords() -> None:
    both = pattern(". x . x", "boom chick", bass="1 . 1 .")
    notes = play(brief(part(patterns=[both]), [chord("C6"), chord("Am7/G")]))
    low = [n for n in notes if n.why.kind is Kind.THUMB]
    assert {n.pitch % 12 for n in low} == {0, 7}
    assert max(n.pitch for n in low) <= min(n.pitch for n in notes if n not in low)


def test_the_left_hand_plays_the_degrees_that_the_pattern_names() -> None:
    """Root and fifth of a march, a fifth below by sign, the next chord's root and a step into it (common practice)."""

    def low(bass: str, *symbols: str) -> list[tuple[int, str]]:
        both = pattern(". x . x", "left hand", bass=bass)
        notes = play(brief(part(patterns=[both]), [chord(s) for s in symbols]))
        return [(n.pitch, n.degree) for n in notes if n.why.kind is Kind.THUMB]

    assert low("1 . 5 .", "C") == [(36, "1"), (43, "5")]
    assert low("1 . -5 .", "D") == [(38, "1"), (33, "5")]
    assert low("1 3 5 8", "Cm") == [(36, "1"), (39, "b3"), (43, "5"), (48, "1")]
    assert low("1 . . n1", "C", "F")[:2] == [(36, "1"), (41, "4")]
    assert low("1 . . a", "C", "F")[:2] == [(36, "1"), (40, "3")]
    assert low("1 . 1 .", "Am7/G") == [(43, "b7"), (43, "b7")]


def test_pads_hold_a_chord_as_long_as_it_lasts() -> None:
    notes = play(brief(part(plays="pad"), [(chord("C6"), 8), chord("F7")]))
    assert sorted(at(notes)) == [0, 8]
    assert all(n.end_q >= 8 for n in notes if n.start_q == 0)


def test_voices_can_be_asked_for() -> None:
    three = play(brief(part(patterns=[CHARLESTON], voicing="close", voices=3), [chord("C7")]))
    assert len([n for n in three if n.start_q == 0]) == 3


def test_families_follow_the_level() -> None:
    player = part(patterns=[CHARLESTON], voicing="drop 2", voicing_soft="shells")
    assert "drop 2" in play(brief(player, [chord("Dm7")], level=3))[0].why.words
    assert "shell" in play(brief(player, [chord("Dm7")], level=1))[0].why.words


def test_every_meter_is_filled() -> None:
    for count, unit in ((2, 4), (3, 4), (5, 4), (6, 8), (7, 8), (9, 8), (12, 8), (11, 8)):
        meter = Meter.of(count, unit)
        task = brief(
            part(patterns=[CHARLESTON, EIGHTHS]),
            [chord("Dm7"), chord("G7"), chord("C6")],
            meter=meter,
        )
        notes = play(task)
        assert {n.chord for n in notes} == {0, 1, 2}
        assert all(0 <= n.start_q < n.end_q <= task.end_q for n in notes)


def test_rubato_bars_have_one_long_chord_a_change() -> None:
    task = brief(part(patterns=[EIGHTHS]), [chord("C6"), chord("F7")])
    bars = tuple(bar._replace(rubato=True) for bar in task.bars)
    found = at(play(task._replace(bars=bars)))
    assert list(found) == [0, 4]


def test_narrow_instruments_stay_in_their_range() -> None:
    for name in ("vibraphone", "accordion", "clavinet", "electric piano"):
        task = brief(part(instrument=name, patterns=[EIGHTHS]), [chord(s) for s in cycle()[:12]])
        notes = play(task)
        assert all(task.part.instrument.low <= n.pitch <= task.part.instrument.high for n in notes)


def test_no_chord_is_muddy_and_no_pitch_sounds_twice() -> None:
    task: Brief = brief(part(patterns=[CHARLESTON, EIGHTHS]), [chord(s) for s in cycle()])
    notes = play(task)
    for group in at(notes).values():
        pitches = sorted(n.pitch for n in group)
        assert not any(limit_excess(a, b) for i, a in enumerate(pitches) for b in pitches[i + 1 :])
    until: dict[int, Fraction] = {}
    for note in notes:
        assert until.get(note.pitch, Fraction(0)) <= note.start_q
        until[note.pitch] = note.end_q


def test_a_chord_that_stays_is_turned_over_every_other_bar() -> None:
    """Ten minutes over one chord are no loop: no bar comes three times running."""
    patterns = [CHARLESTON, PUSH, LATE]
    for family in ("rootless", "triads", "drop 2", "shells"):
        task = brief(part(patterns=patterns, voicing=family), [chord("Cm7")] * 16)
        bars: list[list[tuple[Fraction, int]]] = [[] for _ in task.bars]
        for note in play(task):
            bars[int(note.start_q // 4)].append((note.start_q % 4, note.pitch))
        assert not any(a == b == c for a, b, c in zip(bars, bars[1:], bars[2:], strict=False))


def test_a_style_that_repeats_leaves_a_chord_as_it_is() -> None:
    task = brief(part(patterns=[CHARLESTON]), [chord("Cm7")] * 8, repeats=True)
    assert len({n.pitch for n in play(task)}) == 4


def test_a_level_with_one_pattern_borrows_from_another() -> None:
    only = [CHARLESTON, pattern("x . x .", "soft", level="p")]
    whys = {n.why.words.split(";")[0] for n in play(brief(part(patterns=only), [chord("Cm7")] * 8))}
    assert whys == {"Charleston", "soft"}
