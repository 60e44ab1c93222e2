"""A solo guitar: tune and chords in one hand.

Sources: strings, frets and the octave in which a guitar sounds are those of any handbook; spans and fingers are common
practice, as in `tests/test_grips.py`; a tune on the three highest strings, the bass below it, third and seventh before
root and fifth: common practice of chord melody.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import mido
import pytest

import backing
from backing.band.arrange import arrange
from backing.band.model import Arrangement, Kind, Note
from backing.band.players.solo_tune import sung
from backing.commands.cli import run
from backing.commands.lying import lying
from backing.commands.options import Options
from backing.commands.preparing import prepare
from backing.ground.dice import at
from backing.ground.instruments import STANDARD_TUNING
from backing.ground.manners import CHORD_MELODIES
from backing.ground.pitch import Pitch
from backing.ground.timebase import Meter
from backing.ground.tunings import open_strings
from backing.harmonising.harmonise import Wishes, harmonise
from backing.harmonising.melody import Melody, TuneBar, TuneNote
from backing.harmony.grip import playable
from backing.harmony.reader import read
from backing.harmony.solo_grips import MANNERS, Stroke
from backing.harmony.solo_way import Hands, Place, along, way
from backing.timeline.model import MelodyNote
from tests.band import DEMOS, player
from tests.each import each

STEPS = (
    (-9, -7, -5, 5, 7, 9, 1, -1),
    (1, 1, 1, -1, -1, 2, -2, 4, -5),
    (3, -4, 6, -6, 1, -1, 2, -3),
)
TUNE = """\
key: F
style: {style}
chord-melody: {manner}
[A]
        | Fmaj7     | Gm7 C7      | Am7 D7b9 | Gm7 / C13 /  |
melody: | C5 A4 / / | D5 Bb4 G4 E5 | C5 F#4   | G4 Bb4 D5 A4 |
        | Fmaj7/A | Abdim7 | Gm7 C7b9 | F6  |
melody: | C5 / A4 / | B4     | Bb4 Db5  | A4 |
"""
NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def strange(seed: int, bars: int = 8) -> Melody:
    """A line in 3/4, a note a beat, of wide leaps or of half steps."""
    meter, pitch, notes = Meter.of(3, 4), 64 + seed % 9, []
    for i in range(3 * bars):
        steps = STEPS[seed % 3]
        pitch += steps[int(at(seed, i) * len(steps))]
        pitch += 12 if pitch < 57 else -12 if pitch > 82 else 0
        name = Pitch.parse(f"{NAMES[pitch % 12]}{pitch // 12 - 1}")
        notes.append(TuneNote(Fraction(i), Fraction(1), name))
    own = [TuneBar(b + 1, Fraction(3 * b), Fraction(3), meter) for b in range(bars)]
    return Melody(tuple(notes), tuple(own))


def fingered(seed: int, manner: str, alone: bool) -> Iterator[tuple[Place, Stroke]]:
    melody = strange(seed)
    wishes = Wishes(manner=("colourful", "chromatic")[seed % 2], every="beat", results=1)
    chords = harmonise(melody, wishes)[0].chords
    tune = sung(tuple(MelodyNote(n.start_q, n.end_q, n.pitch) for n in melody.notes))
    places = [
        Place(
            note.pitch, found.chord, alone=alone, floor=0 if alone else 36 + found.chord.lowest.pc
        )
        for note, found in zip(tune, chords, strict=True)
    ]
    yield from zip(places, way(places, Hands(STANDARD_TUNING, manner=manner)), strict=True)


@each("manner, alone", [(m, a) for m in ("full", "easy", "bass") for a in (True, False)])
def test_every_stroke_under_a_strange_line_lies_in_a_hand(manner: str, alone: bool) -> None:
    strokes, moves, guided, full = 0, 0, 0, 0
    for seed in range(3):
        before = None
        for place, stroke in fingered(seed, manner, alone):
            sounding = [o + f for o, f in zip(STANDARD_TUNING, stroke.frets, strict=True) if f >= 0]
            assert sounding == list(stroke.pitches) == sorted(sounding)
            assert sounding[-1] == place.pitch
            assert stroke.top in (1, 2, 3)
            assert playable(stroke.frets)
            held = [f for f in stroke.frets if f > 0]
            assert not held or max(held) - min(held) < (4 if min(held) < 8 else 5)
            assert place.chord is not None
            if alone:
                assert sounding[0] % 12 == place.chord.lowest.pc, (seed, place, stroke)
            else:
                assert sounding[0] >= place.floor
            wanted = {
                (place.chord.root.pc + d.semitones) % 12
                for d in place.chord.degrees
                if d.number in (3, 7)
            }
            full += len(wanted) == 2
            guided += len(wanted) == 2 and wanted <= {p % 12 for p in sounding}
            moves += along(before, stroke) if before else 0
            strokes, before = strokes + 1, stroke
    assert moves / strokes <= 1.5, "mean way of the hand"
    if manner == "full":
        assert guided / full >= 0.95, "third and seventh"


def solo(music: Arrangement) -> tuple[Note, ...]:
    return player(music, "solo").notes


def track(text: str, **wish: object) -> Arrangement:
    made = prepare(backing.parse(text))
    return arrange(made.timeline, made.style, styles=made.styles, **wish)  # type: ignore[arg-type]


def assert_holds(music: Arrangement, alone: bool) -> None:
    """What must hold of every note: string and fret sound it, the tune is on top, the written bass below."""
    line = music.timeline
    strings = [s + line.tuned + line.capo for s in open_strings(line.tuning)]
    notes = solo(music)
    assert notes
    for note in notes:
        assert 1 <= note.string <= 6
        assert 0 <= note.fret <= 19 - line.capo
        assert note.pitch == strings[6 - note.string] + note.fret, note
    for string in range(1, 7):
        own = [n for n in notes if n.string == string]
        for a, b in pairwise(own):
            assert a.end_q <= b.start_q, ("one string, two notes", a, b)
    tune = [n for n in notes if n.why.kind is Kind.MELODY]
    for note in tune:
        for other in notes:
            if other is not note and other.start_q < note.end_q and note.start_q < other.end_q:
                assert other.pitch < note.pitch or other.why.kind is Kind.MELODY, (note, other)
    if alone:
        for start in {n.start_q for n in notes if n.why.kind is Kind.THUMB}:
            together = [n for n in notes if n.start_q == start]
            lowest = min(together, key=lambda n: n.pitch)
            chord = line.chords[lowest.chord].chord
            assert chord is not None
            assert lowest.pitch % 12 == chord.lowest.pc


@each(
    "style, manner, head",
    [
        (style, manner, head)
        for style, manner in (
            ("jazz ballad", "full"),
            ("folk strum", "easy"),
            ("bossa nova", "bass"),
        )
        for head in ("", "capo: 2\n", "tuned: -2\n", "tuning: D A D G A D\n")
    ],
)
def test_a_chart_with_a_tune_is_played_by_one_hand(style: str, manner: str, head: str) -> None:
    text = head + TUNE.format(style=style, manner=manner)
    band = track(text)
    assert {p.role for p in band.players} & {"melody", "guitar", "guitar 2"} == set()
    assert_holds(band, alone="bass" not in {p.role for p in band.players})
    assert_holds(track(text, only=frozenset({"solo"})), alone=True)


@each("path", [p for p in DEMOS if "melody:" in p.read_text("utf-8")], ids=lambda p: p.stem)
def test_the_demos_with_a_tune_lie_on_one_guitar(path: Path) -> None:
    text = "chord-melody: full\n" + path.read_text("utf-8")
    music = track(text, only=frozenset({"solo"}))
    assert_holds(music, alone=True)
    starts = {n.start_q for n in solo(music) if n.why.kind is Kind.MELODY}
    missed = [n for n in music.timeline.melody if n.start_q not in starts]
    assert missed == [], "every note of the tune is played"


def test_nobody_else_changes_a_note_for_the_solo_guitar_alone() -> None:
    text = TUNE.format(style="jazz ballad", manner="full")
    whole, alone = track(text), track(text, without=frozenset({"bass"}))
    for role in ("keys", "drums"):
        assert player(whole, role).notes == player(alone, role).notes
    roots = [n for n in solo(alone) if n.why.kind is Kind.THUMB]
    assert roots
    assert not [n for n in solo(whole) if n.why.kind is Kind.THUMB]


def test_a_tune_that_leaves_the_neck_moves_in_whole_phrases() -> None:
    low = [("G4", i) for i in range(8)]
    line = [*low, ("C5", 10), ("E5", 11), ("G5", 12), ("C6", 13), ("G4", 16)]
    notes = tuple(
        MelodyNote(Fraction(start), Fraction(start + 1), Pitch.parse(name)) for name, start in line
    )
    moved = sung(notes)
    assert [n.octaves for n in moved] == [0] * 8 + [-1] * 4 + [0]
    assert "1 octave down" in moved[8].words
    assert moved[-1].words == ""


def test_an_easy_tune_lies_within_five_frets_where_it_can() -> None:
    """In the octave that the first frets have, though the next finger would be nearer higher up."""
    tune = "melody: | C5 E5 D5 E5 | F5 E5 D5 C5 | D5 F5 E5 D5 | C5 |"
    text = f"chord-melody: {{}}\nstyle: folk strum\nending: as written\n| C | F | G7 | C |\n{tune}"
    easy, full = (solo(track(text.format(m), only=frozenset({"solo"}))) for m in ("easy", "full"))
    assert max(n.fret for n in easy) <= 5 < max(n.fret for n in full)
    assert "1 octave down" in next(n.why.words for n in easy if n.why.kind is Kind.MELODY)


def test_a_row_of_one_quality_is_one_shape_along_the_neck() -> None:
    rows = [("Dm7", 69), ("Ebm7", 70), ("Em7", 71), ("Fm7", 72), ("F#m7", 73)]
    strokes = way([Place(p, read(s)) for s, p in rows], Hands(STANDARD_TUNING))  # type: ignore[arg-type]
    assert len({s.shape for s in strokes}) == 1


def test_the_hand_stays_where_the_chart_asks_for_it() -> None:
    text = TUNE.format(style="folk strum", manner="full").replace("| Fmaj7/A", '| "at 5" Fmaj7/A')
    free, asked = (
        [n.fret for n in solo(track(t, only=frozenset({"solo"}))) if n.start_q >= 16 and n.fret]
        for t in (TUNE.format(style="folk strum", manner="full"), text)
    )
    far = [sum(max(0, abs(f - 6) - 2) for f in frets) / len(frets) for frets in (free, asked)]
    assert far[1] <= far[0]
    assert far[1] <= 1.0


def test_a_typed_grip_is_the_one_that_is_held() -> None:
    text = TUNE.format(style="folk strum", manner="full").replace("Fmaj7/A |", "Fmaj7/A[5x756x] |")
    music = track(text, only=frozenset({"solo"}))
    start = music.timeline.bars[4].start_q
    held = {
        (n.string, n.fret)
        for n in solo(music)
        if n.start_q == start and n.why.kind is not Kind.MELODY
    }
    assert held >= {(6, 5), (4, 7), (3, 5), (2, 6)}


@each("grip, held, words", (
    ("5x756x", (5, -1, 7, 5, 6, 8), "with the tune over it"),  # C5 is the first string's eighth fret
    ("8x756x", (8, -1, -1, 5, 6, 8), "with the tune over it"),  # one finger lets go
    ("5x7568", (5, -1, 7, 5, 6, 8), "grip as typed"),
    ("133211", (-1, -1, -1, -1, -1, 8), "the tune alone: no hand reaches it"),
), ids=str)  # fmt: skip
def test_the_tune_sounds_over_a_typed_grip(grip: str, held: tuple[int, ...], words: str) -> None:
    text = f"style: folk strum\nchord-melody: full\n| F[{grip}] | C |\nmelody: | C5 | G4 |"
    notes = [n for n in solo(track(text, only=frozenset({"solo"}))) if n.start_q == 0]
    frets = [-1] * 6
    for note in notes:
        frets[6 - note.string] = note.fret
    assert tuple(frets) == held
    assert any(words in n.why.words for n in notes)
    assert max(n.pitch for n in notes) == 72


def test_the_best_key_has_open_strings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Guitar keys lie best (common practice: E, A, D, G, C and their relatives); five flats do not."""
    path = tmp_path / "t.txt"
    path.write_text(TUNE.format(style="folk strum", manner="full"), "utf-8")
    found = lying(backing.parse(path.read_text("utf-8")), Options())
    assert len(found) == 12
    assert {one.key for one in found[:3]} & {"E", "A", "D", "G", "C"}
    assert run(["check", str(path), "--best-key"]) == 0
    told = capsys.readouterr().out
    assert "the piece lies best in\n" in told
    assert "of the notes on open strings" in told
    path.write_text("| C | F |", "utf-8")
    assert run(["check", str(path), "--best-key"]) == 2
    assert "--best-key: the chart asks for no solo guitar" in capsys.readouterr().err


def test_every_manner_that_can_be_asked_for_can_be_played() -> None:
    assert tuple(MANNERS) == CHORD_MELODIES


@each(
    "words",
    (("--chord-melody", "t.txt", "-o", "t.mid"), ("t.txt", "-o", "t.mid", "--chord-melody")),
    ids=" ".join,
)
def test_a_solo_guitar_that_is_asked_for_alone_plays_full(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    tune = "style: folk strum\n| C | F |\nmelody: | C5 | A4 |\n"
    Path("t.txt").write_text(f"chord-melody: full\n{tune}", "utf-8")
    assert run(["make", "t.txt", "-o", "full.mid"]) == 0
    Path("t.txt").write_text(tune, "utf-8")
    assert run(["make", *words]) == 0
    assert _notes("t.mid") == _notes("full.mid")


def _notes(path: str) -> list[str]:
    return [str(m) for track in mido.MidiFile(path).tracks for m in track if m.type == "note_on"]
