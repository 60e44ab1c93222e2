"""The solo guitar: what 300 melodies with their chords are like under the hand, and what the search costs.

    python -m tests.bench.solo [MELODIES]     300 by default

The melodies: the demos that have one, twenty lines of eighths, triplets and syncopations over three chords, forty plain
tunes within a sixth in twelve keys, and strange lines (wide leaps, half steps, broken and sighing figures), a chord a
beat as `harmonise` finds them in one of four manners. Some guitars have a capo or are tuned otherwise. All is measured
on the notes that are played.
Bounds: a hand spans four frets below the eighth; a tune over chords lies on top (common practice).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise
from time import process_time
from typing import NamedTuple

from backing.band.model import Arrangement, Kind, Note
from backing.chart.parse import parse
from backing.ground.dice import Place as Dice
from backing.ground.instruments import STANDARD_TUNING
from backing.ground.manners import CHORD_MELODIES
from backing.ground.pitch import UNISON, Interval, Key
from backing.ground.tunings import open_strings
from backing.harmonising.harmonise import harmonise
from backing.harmonising.wishes import MANNERS, Wishes
from backing.harmony.grip import reach
from backing.harmony.reader import read
from backing.harmony.solo_grips import EASY, resting, singles, strokes
from backing.harmony.solo_way import Hands, Place, way
from backing.harmony.spelling import note_in_key
from tests.band import DEMOS, arranged, player
from tests.generated import KEYS
from tests.test_harmonising import strange
from tests.test_reading_midi import LINES, line

HEADS = ("", "", "", "", "capo: 2\n", "", "tuning: D A D G A D\n")
FOURTH, FIFTH = Interval(3, 5), Interval(4, 7)
BARS, NOTES = 64, (67, 69, 71, 72, 74, 76, 72, 69)
CHANGES = ("Cmaj7", "A7b9", "Dm7", "G13", "Em7", "Ebdim7", "Dm9", "Db7#11")


def charts(count: int) -> Iterator[tuple[str, str | None]]:
    """Text and style of every melody with its chords."""
    own: list[tuple[str, str | None]] = [
        (p.read_text("utf-8"), None) for p in DEMOS if "melody:" in p.read_text("utf-8")
    ]
    own += [(line(*given), "folk strum") for given in LINES]
    own += [(plain_chart(seed), "folk strum") for seed in range(40)]
    yield from own[:count]
    for seed in range(count - len(own)):
        yield HEADS[seed % len(HEADS)] + strange_chart(seed), "folk strum"


def strange_chart(seed: int) -> str:
    """A strange line with a chord on every beat."""
    melody = strange(seed)
    wishes = Wishes(manner=MANNERS[seed % len(MANNERS)], every="beat", results=1)
    chords = [p.chord.symbol for p in harmonise(melody, wishes)[0].chords]
    notes = [str(n.pitch) for n in melody.notes]
    bars = ["", ""]
    for i in range(0, len(notes), 3):
        bars[0] += f" {' '.join(chords[i : i + 3])} |"
        bars[1] += f" {' '.join(notes[i : i + 3])} |"
    assert melody.key is not None
    return f"key: {melody.key}\nmeter: 3/4\nending: as written\n|{bars[0]}\nmelody: |{bars[1]}\n"


def plain_chart(seed: int) -> str:
    """Eight bars of a tune in steps and small leaps, within a sixth, over chords of its key."""
    place, key = Dice(("a plain tune", seed)), Key.parse(KEYS[seed % 12])
    scale = [60 + key.tonic.pc + step for step in (0, 2, 4, 5, 7, 9)]
    at, bars = 2, []
    for i in range(8):
        notes = []
        for beat in range(4):
            move = place.at(i, beat).pick((-2, -1, 1, 2), (1, 3, 3, 1), "step")
            at = min(5, max(0, at + move))
            pitch = scale[at]
            name = note_in_key(pitch % 12, key)
            notes.append(f"{name}{(pitch - name.alter) // 12 - 1}")
        bars.append(" ".join(notes))
    chords = " | ".join(str(key.tonic.up(step)) for step in (UNISON, FOURTH, FIFTH, UNISON) * 2)
    return f"key: {key}\nending: as written\n| {chords} |\nmelody: | {' | '.join(bars)} |\n"


class Figures(NamedTuple):
    """Counts of strokes and of what holds of them; `moves` in frets."""

    notes: int = 0
    wrong: int = 0  # whose string and fret sound another pitch
    covered: int = 0  # of the tune, with something over them
    missing: int = 0  # of the tune, that are not played
    strokes: int = 0
    full: int = 0  # of chords with third and seventh
    guided: int = 0  # of them, with both
    bass: int = 0  # with the written bass lowest
    wide: int = 0  # over four frets below the eighth
    moved: int = 0
    moves: int = 0
    low: int = 0  # tunes that fit within five frets of the three highest strings in some octave
    pressed: int = 0  # of those tunes: stopped notes
    beyond: int = 0  # of them, over the fifth fret

    def plus(self, other: Figures) -> Figures:
        return Figures(*(a + b for a, b in zip(self, other, strict=True)))


def measured(music: Arrangement) -> Figures:
    """What holds of a solo guitar that plays alone."""
    timeline = music.timeline
    strings = [s + timeline.tuned + timeline.capo for s in open_strings(timeline.tuning)]
    notes = player(music, "solo").notes
    tune = [n for n in notes if n.why.kind is Kind.MELODY]
    pitches = [n.pitch.midi for n in timeline.melody]
    low = any(
        strings[3] <= min(pitches) + by and max(pitches) + by <= strings[5] + EASY
        for by in range(-36, 37, 12)
    )
    found = Figures(
        notes=len(notes),
        wrong=sum(strings[6 - n.string] + n.fret != n.pitch for n in notes),
        covered=sum(any(_together(n, o) and o.pitch >= n.pitch for o in notes) for n in tune),
        missing=len({n.start_q for n in timeline.melody} - {n.start_q for n in tune}),
        low=low,
        pressed=low * sum(n.fret > 0 for n in notes),
        beyond=low * sum(n.fret > EASY for n in notes),
    )
    hands = []
    for at_q in sorted({n.start_q for n in notes if _begins(n)}):
        held = [n for n in notes if n.start_q <= at_q < n.end_q]
        frets = [n.fret for n in held if n.fret]
        hands.append(min(frets, default=0))
        found = found.plus(_stroke(music, at_q, held, frets))
    pairs = [(a, b) for a, b in pairwise(hands) if a and b]
    return found.plus(Figures(moved=len(hands), moves=sum(abs(a - b) for a, b in pairs)))


def _together(a: Note, b: Note) -> bool:
    return a is not b and a.start_q < b.end_q and b.start_q < a.end_q


def _begins(note: Note) -> bool:
    """Whether a note is struck with a chord, and not plucked again under a long note."""
    return note.why.kind in (Kind.THUMB, Kind.PLUCKED) and "again" not in note.why.words


def _stroke(music: Arrangement, at_q: Fraction, held: list[Note], frets: list[int]) -> Figures:
    chord = next(s.chord for s in music.timeline.chords if s.start_q <= at_q < s.end_q)
    assert chord is not None
    sounding = {n.pitch % 12 for n in held}
    guides = {(chord.root.pc + d.semitones) % 12 for d in chord.degrees if d.number in (3, 7)}
    full = len(guides) == 2
    return Figures(
        strokes=1,
        full=full,
        guided=full and guides <= sounding,
        bass=min(n.pitch for n in held) % 12 == chord.lowest.pc,
        wide=bool(frets) and max(frets) - min(frets) >= reach(min(frets) + music.timeline.capo),
    )


def told(manner: str, given: list[tuple[str, str | None]]) -> None:
    """The figures of all melodies in one manner, alone."""
    all_ = Figures()
    for text, style in given:
        music = arranged(f"chord-melody: {manner}\n{text}", style, only=frozenset({"solo"}))
        all_ = all_.plus(measured(music))
    rows = (
        ("melodies", len(given), ""),
        ("notes, each with string and fret", all_.notes, ""),
        ("whose string, fret and capo sound otherwise", all_.wrong, "0"),
        ("notes of the tune that are not played", all_.missing, "0"),
        ("with a note over or at them", all_.covered, "0"),
        ("strokes", all_.strokes, ""),
        ("third and seventh, of full seventh chords", all_.guided / all_.full, ">= 0.95, full"),
        ("written bass lowest", all_.bass / all_.strokes, "1"),
        ("over four frets below the eighth", all_.wide, "0"),
        ("frets that the hand moves, mean", all_.moves / all_.moved, "<= 1.5"),
        ("tunes that can lie within five frets", all_.low, ""),
        ("of their stopped notes within them", 1 - all_.beyond / max(1, all_.pressed), "1, easy"),
    )
    print(f"\n{manner}")
    for name, value, wanted in rows:
        shown = f"{value:.3f}" if isinstance(value, float) else str(value)
        print(f"  {name:<48} {shown:>8}   {wanted}")


def search() -> None:
    """64 bars with a chord a beat, against reading that chart."""
    count = 4 * BARS
    symbols = [CHANGES[(i + i // 8) % 8] for i in range(count)]
    chart = "\n".join(f"| {' '.join(symbols[i : i + 4])} |" for i in range(0, count, 4))
    chords = [read(symbol) for symbol in symbols]
    pitches = [NOTES[i % 8] + i // 8 % 3 for i in range(count)]
    print(f"\n{BARS} bars with a chord a beat, seconds of a processor")
    reference = min(_timed(lambda: parse(chart)) for _ in range(5))
    print(f"  {'reading the chart':<24}{reference:.3f}")
    for manner in CHORD_MELODIES:
        for alone in (True, False):
            places = [
                Place(p, c, alone=alone, floor=0 if alone else 36 + c.lowest.pc)  # type: ignore[union-attr]
                for p, c in zip(pitches, chords, strict=True)
            ]
            took = min(_timed(lambda p=places, m=manner: _fresh(p, m)) for _ in range(2))
            name = f"{manner}, {'alone' if alone else 'over a bass'}"
            print(f"  {name:<24}{took:.3f}   {took / reference:.1f} times   (<= 1 s)")


def _fresh(places: list[Place], manner: str) -> None:
    for kept in (strokes, resting, singles):
        kept.cache_clear()
    way(places, Hands(STANDARD_TUNING, manner=manner))


def _timed(run: Callable[[], object]) -> float:
    start = process_time()
    run()
    return process_time() - start


def main() -> None:
    given = list(charts(int(sys.argv[1]) if len(sys.argv) > 1 else 300))
    for manner in CHORD_MELODIES:
        told(manner, given)
    search()


if __name__ == "__main__":
    main()
