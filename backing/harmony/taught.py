"""Grips as a teacher shows them: the shapes of common practice first, then other printed ones, then what can be found.

Grips that sound the root come before rootless ones. The first three stand in places of their own on the neck.

Conventions and sources: as in `shapes`, `strummed` and `fingering`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

from backing.ground.instruments import STANDARD_TUNING
from backing.ground.pitch import Degree, NoteName
from backing.ground.tunings import retuned
from backing.harmony.fingering import fingering
from backing.harmony.grip import HIGHEST_FRET, Candidate, Grip
from backing.harmony.grips import grips
from backing.harmony.offer import tones
from backing.harmony.printed import order_of
from backing.harmony.shapes import Fame, fame, placed
from backing.harmony.strummed import judged, strummed
from backing.harmony.symbol import Chord

MANY = 24  # grips to choose from where they are to lie about a fret
APART = 3  # so many grips stand in places of their own
NEAR = 1  # frets between two grips that stand in one place
HIGHEST_BASS = 12  # fret
ALIKE = 4  # strings on which two grips are one shape
HIGH = 8  # fret above which a shape is not what one looks for first
TURNED = 2.0  # another note than the root at the bottom


@lru_cache(maxsize=512)
def grips_for(
    chord: Chord,
    limit: int = APART,
    tuning: tuple[int, ...] = STANDARD_TUNING,
    capo: int = 0,
) -> tuple[Grip, ...]:
    """Up to `limit` ways to play a sounding chord, the first one to learn first.

    `tuning` holds the open strings without the capo. A bass written after a slash is the lowest note where a hand can
    reach it.
    """
    ranked = sorted(_found(chord, tuning, capo), key=lambda known: _rank(known[0], known[1], chord))
    low = [k for k in ranked if chord.bass is None or k[0].pitches[0] % 12 == chord.bass.pc]
    return tuple(_spread(low or ranked, chord, limit))


def grips_near(
    chord: Chord,
    fret: int,
    limit: int = APART,
    tuning: tuple[int, ...] = STANDARD_TUNING,
) -> tuple[Grip, ...]:
    """Up to `limit` of the ways to play a chord, those that lie nearest to a fret, the nearest first.

    >>> from backing.harmony.reader import read
    >>> [grip.name for grip in grips_near(read("Am7"), 5)]  # type: ignore[arg-type]
    ['575555', 'x7758x', 'xx7588']
    """
    found = grips_for(chord, MANY, tuning)
    ordered = sorted(found, key=lambda grip: (rootless(grip), abs(grip.position - fret)))
    return tuple(ordered[:limit])


def rootless(grip: Grip) -> bool:
    """Whether no string sounds the root."""
    return "1" not in grip.degrees


def _rank(grip: Grip, own: Fame, chord: Chord) -> tuple[object, ...]:
    """A shape turns into another chord's over another bass: there it is no better than a printed one. High on the neck
    every shape comes later."""
    turned = _turned(grip, chord)
    known = max(own, Fame.PRINTED) if turned else own
    late = known + 2 * (grip.position > HIGH)
    return rootless(grip), late, grip.cost + TURNED * turned, grip.frets


def _turned(grip: Grip, chord: Chord) -> bool:
    """Whether another note than the chord's own is the lowest."""
    return grip.pitches[0] % 12 != chord.lowest.pc


def _fame(grip: Grip, strummed_: bool) -> Fame:
    """How well a grip is known; no book has those on strings that are tuned otherwise.

    Of these open shapes, and one finger over all strings, are what the tuning is for.
    """
    if retuned(grip.tuning).isdisjoint(6 - string for string in grip.strings):
        return fame(grip.frets)
    easy = 0 in grip.frets or len({fret for fret in grip.frets if fret >= 0}) == 1
    return (Fame.FIRST if easy else Fame.PRINTED) if strummed_ else Fame.FOUND


def _found(chord: Chord, tuning: Sequence[int], capo: int) -> Iterator[tuple[Grip, Fame]]:
    """Every shape of the tables that is this chord, every strummed grip, and closed ones for what nobody strums.

    The tables are for the usual tuning: no shape of theirs holds strings that are tuned otherwise.
    """
    strings = tuple([t + capo for t in tuning])
    whole = _with_bass(chord)
    offer = tones(whole, ())
    seen: set[tuple[int, ...]] = set()
    candidates: list[Candidate] = []
    if len(whole.degrees) > 2:
        shapes = judged(_fitting(whole, strings, capo), whole.root.pc, offer, strings, capo)
        candidates = [*shapes, *strummed(whole, offer, strings, capo, HIGHEST_BASS)]
    for cost, frets, degrees, shape in candidates:
        if frets not in seen and fingering(frets) is not None:
            seen.add(frets)
            grip = Grip(frets, strings, degrees, shape, cost, capo)
            yield grip, _fame(grip, True)
    family = "power" if len(chord.degrees) < 3 else "drop 2"
    for grip in grips(chord, (), family, 4, tuple(tuning), capo).grips:
        if grip.frets not in seen:
            yield grip, _fame(grip, False)


def _fitting(chord: Chord, strings: tuple[int, ...], capo: int) -> list[tuple[int, ...]]:
    """Shapes of the tables that hold what must sound of a chord and nothing foreign."""
    allowed = _classes(chord.pitch_classes)
    musts = _classes([(chord.root.pc + d.semitones) % 12 for d in chord.must_sound])
    return [
        frets
        for frets, held in _sounding(strings, HIGHEST_FRET - capo)
        if held | allowed == allowed and held & musts == musts
    ]


@lru_cache(maxsize=8)
def _sounding(strings: tuple[int, ...], highest: int) -> tuple[tuple[tuple[int, ...], int], ...]:
    """Every shape of the tables with its pitch classes as bits: compared with a chord at the cost of a comparison."""
    other = retuned(strings)
    return tuple(
        [
            (frets, _classes([s + f for s, f in zip(strings, frets, strict=True) if f >= 0]))
            for frets in placed(highest)
            if all(frets[string] < 0 for string in other)
        ]
    )


def _classes(pitches: Sequence[int]) -> int:
    return sum({1 << pitch % 12 for pitch in pitches})


def _spread(ranked: Sequence[tuple[Grip, Fame]], chord: Chord, limit: int) -> list[Grip]:
    """The best of them; then those that are taught first or printed for the chord, the first few of which stand apart;
    then others, of which those that differ in a string or two from one before are left out."""
    first, printed = _shown(ranked, chord)
    found = [grip for grip, _ in ranked]
    kept = found[:1]
    for grip in (*first, *printed, *found):
        if len(kept) < APART and all(abs(g.position - grip.position) > NEAR for g in kept):
            kept.append(grip)
    kept += [grip for grip in printed if grip not in kept]
    for grip in found:
        if len(kept) < limit and all(_alike(grip, other) < ALIKE for other in kept):
            kept.append(grip)
    return sorted(kept[:limit], key=rootless)


def _shown(ranked: Sequence[tuple[Grip, Fame]], chord: Chord) -> tuple[list[Grip], list[Grip]]:
    """What is taught first of a chord, and what is printed for it, most often first and low on the neck before high."""
    first = [
        g for g, own in ranked if own is Fame.FIRST and g.position <= HIGH and not _turned(g, chord)
    ]
    if chord.bass is not None:
        return first, []
    orders = []
    for grip, own in ranked:
        at = grip.degrees.index("1") if "1" in grip.degrees else -1
        root = (chord.root.pc - (grip.tuning[0] - STANDARD_TUNING[0])) % 12  # in the usual tuning
        order = order_of(chord.quality, root, grip.frets, at)
        if order is not None and own < Fame.FOUND:
            orders.append((order, grip.position, grip))
    return first, [grip for _, _, grip in sorted(orders, key=lambda row: row[:2])]


def _alike(one: Grip, other: Grip) -> int:
    """Strings that are stopped or sound open at one fret in both."""
    pairs = zip(one.frets, other.frets, strict=True)
    return sum(a == b and a >= 0 for a, b in pairs)


def _with_bass(chord: Chord) -> Chord:
    """The chord with an outside bass as one of its notes, for grips that hold both."""
    bass = chord.bass
    if bass is None or any(n.pc == bass.pc for n in chord.notes):
        return chord
    extra = _degree_of(bass, chord.root)
    return Chord(
        chord.root, chord.quality, chord.family, (*chord.degrees, extra), (*chord.must_sound, extra),
        chord.omit, chord.any_of, bass, chord.written,
    )  # fmt: skip


def _degree_of(bass: NoteName, root: NoteName) -> Degree:
    span = root.interval_to(bass)
    natural = Degree(span.steps + 1, 0)
    return Degree(natural.number, span.semitones - natural.semitones)
