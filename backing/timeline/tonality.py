"""The key of a chart, and which chords are at rest in it.

Conventions: a key that is written is taken as written; otherwise it is guessed from the chords alone. A chord is *at
rest* when it stands on the tonic and does not pull on: a dominant seventh on the tonic rests only where the tune also
begins with one (a blues). Sources: scale membership and the fall of a fifth as signs of a key, common practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from backing.chart.ast import Chart
from backing.ground.pitch import Key, NoteName
from backing.harmony.symbol import Chord, read

MAJOR = frozenset({0, 2, 4, 5, 7, 9, 11})
MINOR = frozenset({0, 2, 3, 5, 7, 8, 10, 11})
TONICS = ["C", "F", "G", "Bb", "D", "Eb", "A", "Ab", "E", "Db", "B", "Gb"]
MINOR_TONICS = ["A", "D", "E", "G", "B", "C", "F#", "F", "C#", "Bb", "G#", "Eb"]
MINOR_FAMILIES = frozenset({"minor", "half-diminished", "diminished"})


def first_key(chart: Chart) -> Key:
    """The key in which the chart is written: as set, for the chart or its first section, or guessed from its chords."""
    written = chart.settings.key or chart.sections[0].settings.key
    if written is not None:
        return written
    chords = [s.chord for section in chart.sections for bar in section.bars for s in bar.slots]
    return guess_key([c for c in chords if c is not None])


def guess_key(chords: Sequence[Chord]) -> Key:
    """The key that fits best: notes of its scale, falls of a fifth to its tonic, first and last chord.

    No chords give C major.
    """
    if not chords:
        return Key(NoteName("C"))
    totals = [0] * 12
    for chord in chords:
        for pc in chord.pitch_classes:
            totals[pc] += 1
    falls: dict[tuple[int, bool], int] = {}
    for before, after in pairwise(chords):
        if before.family == "dominant" and (before.root.pc - after.root.pc) % 12 == 7:
            place = (after.root.pc, after.family == "minor")
            falls[place] = falls.get(place, 0) + 1
    best: tuple[float, Key] | None = None
    for minor, names in ((False, TONICS), (True, MINOR_TONICS)):
        scale = MINOR if minor else MAJOR
        for name in names:
            key = Key(NoteName.parse(name), minor)
            pc = key.tonic.pc
            score = float(sum(totals[(pc + step) % 12] for step in scale)) / sum(totals)
            score += 0.5 * falls.get((pc, minor), 0) / len(chords)
            score += sum(_is_tonic(c, key) * w for c, w in ((chords[0], 0.15), (chords[-1], 0.1)))
            score -= 0.02 if minor else 0.0  # its scale has eight notes
            if best is None or score > best[0] + 1e-9:
                best = (score, key)
    assert best is not None
    return best[1]


def _is_tonic(chord: Chord, key: Key) -> bool:
    return chord.root.pc == key.tonic.pc and (chord.family in MINOR_FAMILIES) == key.minor


def at_rest(chord: Chord, key: Key, blues: bool) -> bool:
    """True when the tune can stop on this chord; in a blues and in mixolydian the tonic has its seventh."""
    seventh = blues or key.mode == "mixolydian"
    return chord.root.pc == key.tonic.pc and (seventh or chord.family != "dominant")


def is_blues(first: Chord, key: Key) -> bool:
    """True when a tune begins with a dominant seventh on its tonic."""
    return first.root.pc == key.tonic.pc and first.family == "dominant"


def tonic_chord(key: Key, heard: Iterable[Chord], blues: bool) -> Chord:
    """The tonic as the tune itself plays it: the first chord at rest among `heard`, else a plain triad."""
    for chord in heard:
        if chord.bass is None and at_rest(chord, key, blues):
            return chord
    plain = read(key.tonic.name + ("dim" if key.mode == "locrian" else "m" if key.minor else ""))
    assert plain is not None
    return plain
