"""Guitar grips: chords as a hand holds them, found in `closed` and `strummed`, and the ways between them.

Conventions: `frets` run from the lowest string to the highest, 0 is the open string, -1 a string that is not played;
frets are counted above the capo and `tuning` holds what the open strings sound (MIDI), capo and retuning included.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

from backing.ground.instruments import STANDARD_TUNING
from backing.ground.pitch import Degree
from backing.harmony.closed import closed
from backing.harmony.grip import COST_THEN_FRETS, Candidate, Grip
from backing.harmony.offer import Tones, tones
from backing.harmony.strummed import degree_over, loose, strummed
from backing.harmony.symbol import Chord
from backing.harmony.voicings import distance

MOST_CANDIDATES = 12
MOST_IN_A_PLACE = 3  # of them, so that a hand can choose where it stands
STRUMMED_FRETS = 9  # up to which a strummed grip of a track has its lowest note

# What a family means on six strings: close positions of four notes want fingers that nobody has.
_FULLER = {"close": "drop 2", "rootless": "drop 2", "open": "drop 2", "spread": "drop 3"}
_TRIADS = {
    "rootless": "close", "shells": "close", "drop 2": "close", "drop 3": "close", "quartal": "close",
    "open": "close", "spread": "open",
}  # fmt: skip
# Where a family finds too little: what else is taken, and in how many voices.
_ELSE = (("drop 2", 4), ("close", 3), ("open", 3), ("drop 3", 4))
_HIGHER = (("drop 2", 4), ("close", 3))


class Grips:
    """Candidates for one chord, best first; compared by identity."""

    __slots__ = ("grips",)

    def __init__(self, grips: tuple[Grip, ...]) -> None:
        self.grips = grips

    @property
    def costs(self) -> list[float]:
        return [g.cost for g in self.grips]


@lru_cache(maxsize=4096)
def grips(
    chord: Chord,
    colours: tuple[Degree, ...],
    family: str,
    voices: int,
    tuning: tuple[int, ...] = STANDARD_TUNING,
    capo: int = 0,
    lowest: int = 0,
    drone: frozenset[int] = frozenset(),
) -> Grips:
    """Candidates of a family for a chord, cheapest first; never empty. All are playable.

    `tuning` holds the open strings without the capo. Grips whose lowest note lies under `lowest` are taken only where
    there are no others. Family "open" strums; all others are closed. Of pitch classes that `drone`, open strings
    ring in every grip that strums, but for those a half step from what must be heard.
    """
    sounding = tuple(t + capo for t in tuning)
    offer = tones(chord, colours)

    def more(kind: str, count: int) -> list[Candidate]:
        return list(closed(chord.root.pc, offer, kind, count, sounding, capo))

    def above(candidates: Iterable[Candidate]) -> list[Candidate]:
        best_first = sorted(candidates, key=COST_THEN_FRETS)
        return [c for c in best_first if _lowest(c, sounding) >= lowest]

    found: list[Candidate] = []
    rings = frozenset(pc for pc in drone if not rubs(pc, chord))
    if family == "power" and rings:
        offer = _bare(offer)
    if family == "rhythm" and any(d.number > 7 for d in offer.need):
        voices += 1  # a written ninth or thirteenth above root, third and seventh
    strums = family == "open" and len(offer.need) + len(offer.may) > 2
    if strums or (family == "power" and rings):
        found = list(strummed(chord, offer, sounding, capo, STRUMMED_FRETS, rings))
    if not found:
        found = more(*_on_six_strings(offer, family, voices))
    for kind, count in _ELSE:
        if len(found) < 3:
            found += more(kind, count)
    if not found:
        found = list(loose(chord.root.pc, offer, sounding, capo))
    high = above(found)
    for kind, count in _HIGHER:
        high = high or above(more(kind, count))
    kept = _in_several_places(high or sorted(found, key=COST_THEN_FRETS))
    return Grips(tuple([_grip(candidate, sounding, capo) for candidate in kept]))


@lru_cache(maxsize=256)
def typed(
    chord: Chord, frets: tuple[int, ...], tuning: tuple[int, ...] = STANDARD_TUNING, capo: int = 0
) -> Grips:
    """The one grip that is asked for, whatever it holds of the chord."""
    sounding = tuple(t + capo for t in tuning)
    degrees = tuple(
        degree_over(chord, (string + fret) % 12).name if fret >= 0 else ""
        for string, fret in zip(sounding, frets, strict=True)
    )
    return Grips((Grip(frets, sounding, degrees, "grip as typed", 0.0, capo),))


def rubs(pc: int, chord: Chord) -> bool:
    """Whether a droning string lies a half step from what is heard of a chord, so that it is damped.

    Heard are what must be, the fifth, and the bass.

    >>> from backing.harmony.reader import read
    >>> rubs(2, read("A7")), rubs(7, read("Dbmaj9")), rubs(2, read("G"))  # type: ignore[arg-type]
    (True, True, False)
    """
    fifths = (d for d in chord.degrees if d.number == 5)
    heard = {(chord.root.pc + d.semitones) % 12 for d in (*chord.must_sound, *fifths)}
    heard.add(chord.lowest.pc)
    return pc not in heard and bool({(pc + 1) % 12, (pc - 1) % 12} & heard)


def _bare(offer: Tones) -> Tones:
    """Root and fifth alone, for a chord whose third is left to the tune."""
    every = (*offer.need, *offer.may)
    kept = tuple(d for d in every if d.number in (1, 5)) or offer.need
    return offer._replace(need=kept, may=(), any_of=(), whole=False)


def _on_six_strings(offer: Tones, family: str, voices: int) -> tuple[str, int]:
    """The closed family, and how many voices, for what was asked."""
    few = len(offer.need) + len(offer.may) < 4
    kind = "power" if offer.family == "power" else (_TRIADS if few else _FULLER).get(family, family)
    return kind, max(voices, 4) if kind in ("drop 2", "drop 3") else voices


def _in_several_places(candidates: Sequence[Candidate]) -> list[Candidate]:
    """The first of them, each once, not too many in one place of the neck."""
    kept: dict[tuple[int, ...], Candidate] = {}
    places: dict[int, int] = {}
    for candidate in candidates:
        frets = candidate[1]
        place = min((f for f in frets if f > 0), default=1)
        if places.get(place, 0) < MOST_IN_A_PLACE and frets not in kept:
            places[place] = places.get(place, 0) + 1
            kept[frets] = candidate
    return list(kept.values())[:MOST_CANDIDATES]


def _lowest(candidate: Candidate, tuning: tuple[int, ...]) -> int:
    """Its lowest note."""
    return next(t + f for t, f in zip(tuning, candidate[1], strict=True) if f >= 0)


def _grip(candidate: Candidate, tuning: tuple[int, ...], capo: int) -> Grip:
    cost, frets, degrees, shape = candidate
    return Grip(frets, tuning, degrees, shape, cost, capo)


def _ways_to(grip: Grip, before: Sequence[Grip], strummed: bool) -> Iterator[float]:
    """What going from each of some grips to the next costs: the way of the hand, all voices, the top note as a line.

    Under a strummed chord the voices count for little: full and ringing grips matter more.
    """
    position, pitches = grip.position, grip.pitches
    highest = pitches[-1]
    for other in before:
        way = abs(other.position - position)
        top = abs(highest - other.pitches[-1])
        if strummed:
            yield 0.25 * way + 0.02 * top
            continue
        far = distance(other.pitches, pitches)
        cost = 0.4 * way + 0.3 * (far if far < 14 else 14)
        yield cost + (0.6 + 0.25 * (top - 2)) if top > 2 else cost


@lru_cache(maxsize=2048)
def shifts(a: Grips, b: Grips, strummed: bool = False) -> tuple[tuple[float, ...], ...]:
    """`shifts(a, b)[j][i]`: from candidate i of `a` to candidate j of `b`."""
    return tuple([tuple(_ways_to(grip, a.grips, strummed)) for grip in b.grips])
