"""What makes a style that no place in the bar tells: who is early and late, who doubles whom, what never stops.

Sources stand with each test; `data/identity.tsv` has what falls where.
"""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction
from statistics import mean

from backing.band.model import Note
from backing.ground.instruments import DRUM_KEYS
from backing.performance.perform import perform
from backing.styles.find import find
from backing.styles.model import Pattern, Where
from tests import measures
from tests.band import arranged, chart, performer, player
from tests.each import each

TURNS = "C7 | F7 | Dm7 | G7 | Em7 | A7 | Dm7 | G7"


def lateness_ms(style: str, drum: str, places: tuple[int, ...]) -> float:
    """How late a drum is on average against the grid, on beats counted from 0."""
    found = find(style)
    text = chart(" | ".join([TURNS] * 6), meter="4/4", dynamics="mf", tempo=found.usual_bpm)
    music = arranged(text, style)
    quarter_s = 60 / found.usual_bpm
    late = []
    for note in performer(perform(music), "drums").notes:
        q = note.onset_s / quarter_s
        if note.pitch == DRUM_KEYS[drum] and round(q) % 4 in places and abs(q - round(q)) < 0.12:
            late.append((q - round(q)) * quarter_s * 1000)
    assert len(late) >= 8
    return mean(late)


@each(
    ("style", "backbeat"),
    [("neo-soul", "rim"), ("neo-soul", "snare"), ("boom-bap", "snare"), ("lo-fi", "rim")],
)
def test_the_backbeat_lies_behind_the_kick(style: str, backbeat: str) -> None:
    """Snare 20 to 35 ms after where the kick has the beat: an early kick, a late snare (from a band's review)."""
    apart = lateness_ms(style, backbeat, (1, 3)) - lateness_ms(style, "kick", (0,))
    assert 20 <= apart <= 35, apart


def places(notes: list[Note], bar: int) -> set[Fraction]:
    return {n.start_q - 4 * bar for n in notes if 4 * bar <= n.start_q < 4 * bar + 4}


def test_the_bass_of_hard_rock_plays_the_riff_note_for_note() -> None:
    """Unison of bass and guitar an octave apart (common practice): equal places and equal lowest pitch classes."""
    music = arranged(
        chart("A | A | D | A | E | D | A | A", meter="4/4", dynamics="mf"), "hard rock"
    )
    guitar, bass = ([*player(music, role).notes] for role in ("guitar", "bass"))
    lowest: dict[Fraction, int] = {}
    for note in guitar:
        lowest[note.start_q] = min(note.pitch, lowest.get(note.start_q, 127))
    riff = [n for n in bass if "under the" in n.why.words]
    assert len(riff) >= 16
    assert all(lowest[n.start_q] % 12 == n.pitch % 12 for n in riff)


def test_bass_and_kick_gallop_with_the_guitars() -> None:
    """One eighth and two sixteenths on every beat, struck together (common practice)."""
    music = arranged(chart("E5 | E5 | C5 | D5", meter="4/4", dynamics="f"), "metal gallop")
    kick = [n for n in player(music, "drums").notes if n.pitch == DRUM_KEYS["kick"]]
    for bar in (0, 1):
        gallop = {Fraction(b) + at for b in range(4) for at in (0, Fraction(1, 2), Fraction(3, 4))}
        assert gallop <= places(kick, bar)


def test_four_beat_soul_has_its_four_beats_in_fills_too() -> None:
    """Snare or rim on all four (common practice); a fill may leave a beat to the toms."""
    part = find("four-beat soul").part("drums")
    assert part is not None
    hands = ("snare", "rim", "high tom", "floor tom")
    for pattern in (p for p in part.patterns if p.where is not Where.COUNT_IN):
        struck = {at for drum in hands for at in beats_of(pattern, drum)}
        assert struck >= {Fraction(q) for q in range(4)}, pattern.name


def beats_of(pattern: Pattern, line: str) -> set[Fraction]:
    found = set()
    for bar in pattern.lines.get(line, ()):
        for beat, pulse in enumerate(bar):
            found |= {beat + cell.at_q for cell in pulse.cells}
    return found


def test_the_ghosts_of_a_half_time_shuffle_stay_when_it_is_soft() -> None:
    """Middle triplets of the snare under a cross-stick on three (Modern Drummer, September 2018, half-time shuffle)."""
    part = find("half-time shuffle").part("drums")
    assert part is not None
    soft = [p for p in part.patterns if p.level == "p" and p.where is Where.TIME]
    middle = {Fraction(1, 3) + beat for beat in (0, 1, 3)}
    assert soft
    assert all(middle <= beats_of(p, "snare") and 2 in beats_of(p, "rim") for p in soft)


def test_the_one_of_funk_is_heard() -> None:
    """The bass strikes every first beat, harder than the rest of its bar (common practice)."""
    notes = player(arranged(chart(TURNS, meter="4/4", dynamics="mf"), "funk"), "bass").notes
    for bar in range(8):
        one, *others = [n for n in notes if 4 * bar <= n.start_q < 4 * bar + 4]
        assert one.start_q == 4 * bar
        assert one.velocity >= mean(n.velocity for n in others) + 5, bar


def test_a_fast_band_has_lines_of_its_own() -> None:
    """Two styles that walk do not walk alike."""
    lines: dict[str, set[tuple[Fraction, int]]] = defaultdict(set)
    for style in ("straight-ahead swing", "fast swing"):
        text = chart(TURNS, meter="4/4", choruses=4, dynamics="mf")
        lines[style] = {(n.start_q, n.pitch) for n in player(arranged(text, style), "bass").notes}
    slow, fast = lines.values()
    assert len(slow & fast) <= 0.75 * len(fast)


def test_brushes_sweep_through_a_ballad() -> None:
    """The swirl of the brush set (General MIDI level 2, key 40) lasts to the next stroke of that hand."""
    music = arranged(chart(TURNS, meter="4/4", dynamics="mf"), "jazz ballad")
    swirls = [n for n in player(music, "drums").notes if n.pitch == 40]
    assert len(swirls) >= 16
    assert mean(n.length_q for n in swirls) >= 0.75


def test_four_to_the_bar_is_held_below_the_piano() -> None:
    """Three strings at most, the root of a seventh chord at the bottom, nothing over D4 (common practice)."""
    bars = "Gm7 | C7 | Fmaj7 | D7 | Gm7 | C7 | F6 | Bb7"
    guitar = player(arranged(chart(bars, meter="4/4"), "four to the bar swing"), "guitar")
    for stroke in measures.strokes(n for n in guitar.notes if n.start_q < 24):
        assert len(stroke) in (2, 3)  # a root that lies under the bass is left to it
        assert min(n.string for n in stroke) >= 3, stroke
        assert len(stroke) == 2 or stroke[0].degree == "1", stroke
        assert stroke[-1].pitch <= 62


def test_one_player_holds_the_chords_of_a_ballad() -> None:
    """Piano in whole chords, guitar and strings in one or two notes where it is not loud (common practice)."""
    music = arranged(chart(f"{TURNS} | Cmaj7 | Cmaj7", meter="4/4", dynamics="mf"), "jazz ballad")
    for role, most in (("guitar", 2), ("strings", 1)):
        here = [s for s in measures.strokes(player(music, role).notes) if s[0].start_q < 32]
        assert max(map(len, here)) <= most, role
    piano = [s for s in measures.strokes(player(music, "keys").notes) if len(s) > 3]
    assert {s[0].degree for s in piano} <= {"1", "3", "b3", "4", "6", "7", "b7"}
