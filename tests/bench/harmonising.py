"""How often the harmoniser finds the chord that stands in a chorale: `python -m tests.bench.harmonising [COUNT]`.

A chord a quarter is read from the four voices by rule (the template of a triad or seventh chord that holds every note
sounding at the quarter; of several the one with fewest notes missing). The tune is the soprano, the key is found by
music21's analysis. Printed beside two plain references: always the tonic, and one of three chords by the note alone.
The costs of the diatonic manner a beat were fitted to every other chorale in the order of the corpus, so the halves are
printed apart; tunes that were harmonised more than once stand in both. Then the six measures of `six_measures.py`
beside the composer's own; with `--ablation` also what each cost does.
Source of the music: the chorales in music21's corpus, read at run time.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from backing.ground.pitch import Key, NoteName, Pitch
from backing.ground.timebase import Meter
from backing.harmonising.harmonise import harmonise
from backing.harmonising.melody import Melody, Place, TuneBar, TuneNote, counted_beat, weight_in
from backing.harmonising.wishes import MANNERS, Wishes
from backing.harmony.chord import Chord
from backing.harmony.symbol import read
from tests.bench.six_measures import Six, Span, mean, six

TEMPLATES = {
    "": (0, 4, 7), "m": (0, 3, 7), "dim": (0, 3, 6), "7": (0, 4, 7, 10), "m7": (0, 3, 7, 10),
    "maj7": (0, 4, 7, 11), "m7b5": (0, 3, 6, 10), "dim7": (0, 3, 6, 9), "+": (0, 4, 8),
}  # fmt: skip
TRIADS = {"M": (0, 4, 7), "m": (0, 3, 7), "dim": (0, 3, 6), "aug": (0, 4, 8)}
FUNCTION = dict(zip(range(12), "TSSTTSDDSTDD", strict=True))  # by semitones above the tonic


class Chorale(NamedTuple):
    """A soprano with the chord of every quarter that could be named."""

    name: str
    melody: Melody
    places: tuple[Place, ...]
    chords: tuple[tuple[int, str], ...]  # root, kind of triad


def chord_of(pitch_classes: Sequence[int]) -> tuple[int, str] | None:
    """Root and template of what sounds, None where no template holds it all."""
    sounding = set(pitch_classes)
    best: tuple[int, int, int, str] | None = None
    for order, (name, template) in enumerate(TEMPLATES.items()):
        for root in range(12):
            notes = {(root + n) % 12 for n in template}
            if sounding <= notes:
                found = (len(notes - sounding), order, root, name)
                best = min(best, found) if best else found
    return (best[2], best[3]) if best and best[0] <= 1 else None


def triad(name: str) -> str:
    """The triad under a template or quality."""
    chord = read("C" + name)
    assert isinstance(chord, Chord)
    tones = {d.semitones % 12 for d in chord.degrees}
    if 3 in tones:
        return "m" if 7 in tones else "dim"
    return "aug" if 8 in tones and 7 not in tones else "M"


def chorales(count: int) -> Iterator[Chorale]:
    """Chorales in one meter throughout, without pickups that music21 numbers otherwise."""
    from music21 import corpus

    given = 0
    for path in corpus.getComposer("bach"):
        if given == count:
            return
        score: Any = corpus.parse(path)
        made = _chorale(str(path), score)
        if made is not None:
            given += 1
            yield made


def _chorale(name: str, score: Any) -> Chorale | None:
    parts = list(score.parts)
    if len(parts) != 4:
        return None
    signs = list(parts[0].recurse().getElementsByClass("TimeSignature"))
    if len({s.ratioString for s in signs}) != 1:
        return None
    meter = Meter.of(signs[0].numerator, signs[0].denominator)
    found = score.analyze("key")
    key = Key.parse(
        found.tonic.name.replace("-", "b") + (" minor" if found.mode == "minor" else "")
    )
    measures = list(parts[0].getElementsByClass("Measure"))
    first = Fraction(measures[0].duration.quarterLength)
    shift = first if first < meter.length_q else Fraction(0)
    end = Fraction(score.duration.quarterLength)
    notes = tuple(_tune(parts[0], shift))
    bars = tuple(_bars(meter, shift, end))
    places, chords = [], []
    sounding = [_sounding(part) for part in parts]
    at = Fraction(0)
    while at < end:
        pcs = [pc for row in sounding for start, stop, pc in row if start <= at < stop]
        chord = chord_of(pcs) if len(set(pcs)) > 2 else None
        if chord is not None:
            places.append(_place(bars, at - shift))
            chords.append((chord[0], triad(chord[1])))
        at += 1
    closes = frozenset(_closes(parts[0], shift))
    melody = Melody(notes, bars, key, closes)
    return Chorale(name, melody, tuple(places), tuple(chords)) if places else None


def _tune(part: Any, shift: Fraction) -> Iterator[TuneNote]:
    for note in part.flatten().notes:
        pitch = note.pitches[-1]
        name = NoteName(pitch.step, int(pitch.alter))
        start = Fraction(note.offset) - shift
        yield TuneNote(start, Fraction(note.quarterLength), Pitch(name, pitch.octave))


def _closes(part: Any, shift: Fraction) -> Iterator[Fraction]:
    for note in part.flatten().notes:
        if any("Fermata" in mark.classes for mark in note.expressions):
            yield Fraction(note.offset) - shift


def _bars(meter: Meter, shift: Fraction, end: Fraction) -> Iterator[TuneBar]:
    if shift:
        yield TuneBar(0, -shift, shift, meter)
    at, number = Fraction(0), 1
    while at < end - shift:
        yield TuneBar(number, at, meter.length_q, meter)
        at, number = at + meter.length_q, number + 1


def _sounding(part: Any) -> list[tuple[Fraction, Fraction, int]]:
    return [
        (Fraction(n.offset), Fraction(n.offset) + Fraction(n.quarterLength), p.pitchClass)
        for n in part.flatten().notes
        for p in n.pitches
    ]


def _place(bars: Sequence[TuneBar], at: Fraction) -> Place:
    index = max(i for i, bar in enumerate(bars) if bar.start_q <= at)
    bar = bars[index]
    offset = at - bar.start_q
    lead = bar.meter.length_q - bar.length_q
    return Place(
        index, counted_beat(bar, offset), at, Fraction(1), weight_in(bar.meter, offset + lead)
    )


class Score(NamedTuple):
    """Quarters, and those in which root, root and triad, function are the composer's."""

    quarters: int = 0
    root: int = 0
    triad: int = 0
    function: int = 0

    def plus(self, chord: tuple[int, str], real: tuple[int, str], tonic: int) -> Score:
        root = chord[0] == real[0]
        function = FUNCTION[(chord[0] - tonic) % 12] == FUNCTION[(real[0] - tonic) % 12]
        return Score(
            self.quarters + 1,
            self.root + root,
            self.triad + (root and chord[1] == real[1]),
            self.function + function,
        )

    def __str__(self) -> str:
        shares = [100 * n / max(1, self.quarters) for n in self[1:]]
        return "root {:.1f}  root and triad {:.1f}  function {:.1f}".format(*shares)


def symbols_of(chorale: Chorale, manner: str) -> list[Chord]:
    """The harmoniser's chord at every place of a chorale."""
    wishes = Wishes(manner=manner, every="beat", results=1)
    return [p.chord for p in harmonise(chorale.melody, wishes, chorale.places)[0].chords]


def measured(given: Sequence[Chorale], manner: str) -> tuple[Score, Score]:
    """The harmoniser's score and that of the tonic throughout."""
    own, tonic_only = Score(), Score()
    for chorale in given:
        key = chorale.melody.key
        assert key is not None
        home = (key.tonic.pc, "m" if key.minor else "M")
        for chord, real in zip(symbols_of(chorale, manner), chorale.chords, strict=True):
            own = own.plus((chord.root.pc, triad(chord.quality)), real, key.tonic.pc)
            tonic_only = tonic_only.plus(home, real, key.tonic.pc)
    return own, tonic_only


def six_of(chorale: Chorale, chords: Sequence[tuple[int, str]]) -> Six:
    """The six measures of a chorale's tune over some chords at its places."""
    spans = [
        Span(f"{root} {kind}", frozenset((root + n) % 12 for n in TRIADS[kind]), p.start_q, p.end_q)
        for (root, kind), p in zip(chords, chorale.places, strict=True)
    ]
    return six(chorale.melody, spans)


def alarms(given: Sequence[Chorale]) -> Iterator[str]:
    """The six measures, the composer's and those of each manner."""
    yield f"{'':<12}" + "".join(f"{name:>14}" for name in Six._fields)
    rows = {"composer": [six_of(c, c.chords) for c in given]}
    for manner in MANNERS:
        rows[manner] = [
            six_of(c, [(ch.root.pc, triad(ch.quality)) for ch in symbols_of(c, manner)])
            for c in given
        ]
    for name, row in rows.items():
        yield f"{name:<12}" + "".join(f"{value:>14.2f}" for value in mean(row))


def main() -> None:
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    given = list(chorales(int(words[0]) if words else 400))
    for half, rows in (("fitted", given[::2]), ("held out", given[1::2])):
        for manner in ("plain", "diatonic", "colourful"):
            own, reference = measured(rows, manner)
            print(f"{half:<10}{manner:<12}{own}   (always the tonic: {reference})")
    print(*alarms(given), sep="\n")
    if "--ablation" in sys.argv:
        from tests.bench.ablation import table

        print(*table(given), sep="\n")


if __name__ == "__main__":
    main()
