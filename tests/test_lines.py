"""Melody, pads, guide tones, horn sections."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from statistics import mean

from backing.band.players.common import ZoneKind
from backing.band.players.lines import play
from backing.band.players.section import guide_tones
from backing.ground.pitch import Pitch
from backing.harmony.voicings import limit_excess
from backing.timeline.model import MelodyNote
from tests.briefs import brief, chord, part, pattern
from tests.each import each
from tests.test_voicings import cycle

STABS = pattern(". .X . .x", "stabs")


def tune(*notes: tuple[int, int, str]) -> list[MelodyNote]:
    return [MelodyNote(Fraction(a), Fraction(b), Pitch.parse(p)) for a, b, p in notes]


def test_the_melody_is_played_as_written() -> None:
    task = brief(
        part("melody", "vibraphone", plays="melody"),
        [chord("Cmaj7"), chord("Am7")],
        melody=tune((0, 2, "E4"), (2, 4, "G4"), (4, 8, "C5")),
    )
    assert [(n.start_q, n.end_q, n.pitch, n.degree) for n in play(task)] == [
        (0, 2, 64, "3"),
        (2, 4, 67, "5"),
        (4, 8, 72, "b3"),
    ]


def test_a_melody_out_of_range_moves_by_octaves_and_says_so() -> None:
    """A flute has no A3; it plays the octave above."""
    task = brief(part("melody", "flute", plays="melody"), [chord("Am7")], melody=tune((0, 4, "A3")))
    (note,) = play(task)
    assert note.pitch == 69
    assert "1 octave up" in note.why.words
    low = brief(
        part("melody", "trombone", plays="melody"), [chord("Am7")], melody=tune((0, 4, "A6"))
    )
    assert play(low)[0].pitch == 69
    assert "3 octaves" not in play(low)[0].why.words
    assert "2 octaves down" in play(low)[0].why.words


def test_pads_hold_common_tones_and_move_the_rest() -> None:
    notes = play(
        brief(part("strings", "string ensemble", plays="pad"), [chord("Cmaj7"), chord("Am7")])
    )
    assert any(n.start_q == 0 and n.end_q == 8 for n in notes)
    assert all(n.end_q in (4, 8) for n in notes)
    classes = {n.pitch % 12 for n in notes if n.start_q < 8 and n.end_q > 4}
    assert {0, 7} <= classes, "third and seventh of Am7"


@each("role", ["strings", "horns"])
def test_pads_are_clear_in_every_key(role: str) -> None:
    """No pair of a pad lies below its low-interval limit."""
    instrument = {"strings": "string ensemble", "horns": "brass section"}[role]
    notes = play(brief(part(role, instrument, plays="pad"), [chord(s) for s in cycle()]))
    for step in range(36):
        sounding = sorted({n.pitch for n in notes if n.start_q <= step * 4 < n.end_q})
        assert len(sounding) >= 3
        assert not any(
            limit_excess(a, b) for i, a in enumerate(sounding) for b in sounding[i + 1 :]
        )


def test_guide_tones_are_third_and_seventh() -> None:
    """Third and seventh define a chord (common practice); what stands for them where they are missing."""
    names = {
        s: [d.name for d in guide_tones(chord(s))]
        for s in ("Dm7", "G7", "C6", "Gsus4", "F", "C5", "C11")
    }
    assert names == {
        "Dm7": ["b3", "b7"],
        "G7": ["3", "b7"],
        "C6": ["3", "6"],
        "Gsus4": ["4", "1"],
        "F": ["3", "1"],
        "C5": ["1"],
        "C11": ["11", "b7"],
    }


def test_the_guide_tone_line_moves_by_step() -> None:
    """Over ii-V-I in all keys a line of guide tones stays or steps (F C, F B, E B: a semitone each)."""
    task = brief(part("horns", "tenor saxophone", plays="guide tones"), [chord(s) for s in cycle()])
    notes = play(task)
    moves = [abs(a.pitch - b.pitch) for a, b in pairwise(notes)]
    assert mean(m <= 2 for m in moves) >= 0.85
    for note in notes:
        one = task.timeline.chords[note.chord].chord
        assert one is not None
        assert note.degree in [d.name for d in guide_tones(one)]


def test_horns_play_their_pattern_in_close_position() -> None:
    notes = play(brief(part("horns", "brass section", [STABS]), [chord("C7"), chord("F7")]))
    assert Fraction(3, 2) in {n.start_q for n in notes}
    first = sorted(n.pitch for n in notes if n.start_q == Fraction(3, 2))
    assert first[-1] - first[0] <= 12
    lead = max((n for n in notes if n.start_q == Fraction(3, 2)), key=lambda n: n.pitch)
    assert lead.velocity >= max(n.velocity for n in notes if n.start_q == lead.start_q)


@each(
    "instrument",
    ["trumpet", "trombone", "alto saxophone", "tenor saxophone", "brass section", "clarinet"],
)
@each("plays", ["pattern", "pad", "guide tones"])
def test_horns_keep_their_range(instrument: str, plays: str) -> None:
    task = brief(part("horns", instrument, [STABS], plays), [chord(s) for s in cycle()])
    notes = play(task)
    assert notes
    assert all(task.part.instrument.low <= n.pitch <= task.part.instrument.high for n in notes)


@each("role", ["horns", "strings"])
@each("plays", ["pattern", "pad"])
@each("voices", [1, 2, 3])
def test_so_many_play_as_the_style_says(role: str, plays: str, voices: int) -> None:
    """One clarinet has one note at a time, two horns two."""
    instrument = "clarinet" if role == "horns" else "cello"
    task = brief(part(role, instrument, [STABS], plays, voices=voices), [chord(s) for s in cycle()])
    notes = play(task)
    places = {n.start_q for n in notes}
    sounding = {q: sum(n.start_q <= q < n.end_q for n in notes) for q in places}
    if plays == "pattern":  # off-beats keep two notes
        assert max(sounding.values()) == min(2, voices)
        return
    assert max(sounding.values()) == voices
    assert set(sounding.values()) <= {voices - 1, voices}


def test_single_voices_can_be_named() -> None:
    riff = pattern("1 2 3 .", "riff")
    notes = play(brief(part("horns", "brass section", [riff]), [chord("Cmaj7")]))
    assert all(len([n for n in notes if n.start_q == q]) == 1 for q in (0, 1, 2))


def test_silences_are_kept_by_lines() -> None:
    task = brief(
        part("strings", "string ensemble", plays="pad"),
        [chord("C6"), chord("F6")],
        zones=[(ZoneKind.TIME, 3, []), (ZoneKind.SILENT, 8, [])],
    )
    notes = play(task)
    assert notes
    assert all(n.end_q <= 3 for n in notes)


def test_pads_strike_what_all_strike() -> None:
    task = brief(
        part("strings", "string ensemble", plays="pad"),
        [chord("C6"), chord("F6")],
        zones=[(ZoneKind.STRUCK, 4, [(0, 1), (2, 3)])],
    )
    notes = [n for n in play(task) if n.start_q < 4]
    assert {n.start_q for n in notes} == {0, 2}
    assert all(n.strict for n in notes)


def test_no_chords_no_line() -> None:
    for plays in ("pad", "guide tones"):
        assert play(brief(part("horns", "brass section", plays=plays), [None])) == []
