"""Strummed grips: chords found string by string, from a root or bass note below, with open strings and barres.

A grip that a hand can hold costs what the rules of `COSTS` add up to.

Conventions: as in `closed`. Sources: printed collections (`shapes`); a hand that strums lets many strings ring and
takes the shape that it has practised (common practice). The sizes of the costs are our own, set by looking at what is
printed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

from backing.ground.pitch import Degree
from backing.ground.tunings import retuned
from backing.harmony.grip import OPEN_FRETS, SPAN, Candidate, fingers, playable
from backing.harmony.offer import Tones
from backing.harmony.shapes import known
from backing.harmony.symbol import Chord
from backing.harmony.voicings import LOW_LIMITS

LOW_THIRD = 43  # a major third below G2 growls
_NO_DRONE: dict[int, Degree] = {}


class _Strings(NamedTuple):
    """What the strings may hold: the degrees by pitch class, the offer they come from, the open strings, the capo.

    `drone` holds, by pitch class, what strings sound that ring open under any chord.
    """

    names: dict[int, Degree]
    offer: Tones
    tuning: tuple[int, ...]
    capo: int
    drone: dict[int, Degree] = {}  # noqa: RUF012


class _Held(NamedTuple):
    """A grip under judgement: strings that sound (from 0, the lowest), their degrees and pitches, frets held down."""

    offer: Tones
    frets: tuple[int, ...]
    sounding: tuple[int, ...]
    degrees: tuple[Degree, ...]
    pitches: tuple[int, ...]
    stopped: tuple[int, ...]
    fingers: int
    own: bool  # with strings of a tuning for which no shapes are printed, or that drone
    drones: int  # strings that ring open under any chord

    @property
    def barre(self) -> bool:
        return len(self.stopped) > self.fingers

    @property
    def triad(self) -> bool:
        return len(self.offer.need) + len(self.offer.may) < 4


def _up_the_neck(held: _Held) -> int:
    return max(0, min(held.stopped, default=1) - 1)


def _fingers(held: _Held) -> int:
    return held.fingers


def _barre(held: _Held) -> int:
    return held.barre


def _span_squared(held: _Held) -> int:
    return (max(held.stopped) - min(held.stopped)) ** 2 if held.stopped else 0


def _silent(held: _Held) -> int:
    return 6 - len(held.sounding)


def _silent_under_a_triad(held: _Held) -> int:
    """Triads ring over all strings."""
    return held.triad * (_silent(held) + _skipped(held))


def _skipped(held: _Held) -> int:
    return held.sounding[-1] - held.sounding[0] + 1 - len(held.sounding)


def _silent_top(held: _Held) -> int:
    return held.frets[5] < 0


def _arched(held: _Held) -> list[int]:
    """For every open string between two stopped ones, the higher of their frets: the hand must arch over it."""
    threes = zip(held.frets, held.frets[1:], held.frets[2:], strict=False)
    return [max(a, b) for a, open_fret, b in threes if open_fret == 0 and a > 0 and b > 0]


def _arched_low(held: _Held) -> int:
    return sum(fret < 3 for fret in _arched(held))


def _arched_high(held: _Held) -> int:
    return sum(fret >= 3 for fret in _arched(held))


def _unknown(held: _Held) -> int:
    return not held.own and not known(held.frets)


def _unisons(held: _Held) -> int:
    return sum(a == b for a, b in pairwise(held.pitches))


def _semitones(held: _Held) -> int:
    return sum(b - a == 1 for a, b in pairwise(held.pitches))


def _muddy_seconds(held: _Held) -> int:
    return sum(0 < b - a < 3 and a < LOW_LIMITS[b - a] for a, b in pairwise(held.pitches))


def _low_thirds(held: _Held) -> int:
    return sum(b - a == 4 and a < LOW_THIRD for a, b in pairwise(held.pitches))


def _doubled_thirds(held: _Held) -> int:
    """They are heard."""
    thirds = sum(d.number == 3 for d in held.degrees)
    return max(0, thirds - 1)


def _doubled_others(held: _Held) -> int:
    """A doubled seventh or ninth sticks out."""
    others = [d for d in held.degrees if d.number not in (1, 3, 5)]
    return len(others) - len(set(others))


def _missing(held: _Held) -> int:
    return len(_left_out(held))


def _missing_root(held: _Held) -> int:
    return any(d.number == 1 for d in _left_out(held))


def _left_out(held: _Held) -> list[Degree]:
    return [d for d in held.offer.may if d not in held.degrees and d not in held.offer.colours]


def _drones(held: _Held) -> int:
    return held.drones


def _doublings(held: _Held) -> int:
    return len(held.pitches) - len({p % 12 for p in held.pitches})


# What a rule costs, as often as it counts.
COSTS: tuple[tuple[float, Callable[[_Held], int]], ...] = (
    (0.20, _up_the_neck),
    (0.30, _fingers),
    (0.60, _barre),
    (0.12, _span_squared),
    (0.30, _silent),
    (0.20, _silent_under_a_triad),
    (0.60, _skipped),
    (0.30, _silent_top),
    (0.35, _arched_low),
    (0.75, _arched_high),
    (1.60, _unknown),  # no book prints it
    (0.90, _unisons),
    (0.50, _semitones),
    (1.20, _muddy_seconds),
    (0.60, _low_thirds),
    (0.08, _doubled_thirds),
    (0.30, _doubled_others),
    (0.50, _missing),
    (1.50, _missing_root),
    (0.03, _doublings),
    (-1.40, _drones),  # what a drone is for
)
# Names of what a droning string may be beside a chord, by semitones above its root.
_COLOURS = ("1", "b9", "9", "b3", "3", "11", "#11", "5", "b13", "13", "b7", "7")
TURNED = 0.6  # the root below where a bass inside the chord is written


def strummed(
    chord: Chord,
    offer: Tones,
    tuning: tuple[int, ...],
    capo: int,
    highest: int,
    drone: frozenset[int] = frozenset(),
) -> Iterator[Candidate]:
    """Grips from a root (or written bass) on one of the three lowest strings up, open strings and barres included.

    `highest` is the highest fret of the lowest note, `drone` holds the pitch classes whose open strings ring on.
    """
    rings = {pc: degree_over(chord, pc) for pc in drone}
    strings = _Strings(_by_pc(offer, chord.root.pc), offer, tuning, capo, rings)
    lows = _lowest_notes(chord, strings.names)
    seen: set[tuple[int, ...]] = set()
    for string in (0, 1, 2):
        for fret in range(highest + 1):
            low = (tuning[string] + fret) % 12
            if low not in lows:
                continue
            turned = TURNED * (low != lows[0])
            for base in _bases(fret):
                frets = [-1] * 6
                frets[string] = fret
                for cost, made, degrees, shape in _filled(frets, string + 1, base, strings, seen):
                    yield cost + turned, made, degrees, shape


def judged(
    shapes: Iterable[tuple[int, ...]],
    root_pc: int,
    offer: Tones,
    tuning: tuple[int, ...],
    capo: int,
) -> Iterator[Candidate]:
    """Those of some shapes that are the chord, with what they cost."""
    strings = _Strings(_by_pc(offer, root_pc), offer, tuning, capo)
    for frets in shapes:
        candidate = _judged(frets, strings)
        if candidate is not None:
            yield candidate


def _lowest_notes(chord: Chord, names: dict[int, Degree]) -> list[int]:
    """Pitch classes that may lie lowest: a written bass that is in the grip, then the root."""
    bass = chord.bass
    inside = bass is not None and bass.pc in names and bass.pc != chord.root.pc
    return [bass.pc, chord.root.pc] if bass is not None and inside else [chord.root.pc]


def _bases(low_fret: int) -> range:
    """Where the hand may begin so that the lowest note lies under it; above an open string at the nut."""
    return range(max(1, low_fret - SPAN + 1), max(1, low_fret) + 1)


def _by_pc(offer: Tones, root: int) -> dict[int, Degree]:
    return {(root + d.semitones) % 12: d for d in (*offer.may, *offer.need)}


def degree_over(chord: Chord, pc: int) -> Degree:
    """What a pitch class is over a chord: one of its own degrees, or a colour beside them."""
    rel = (pc - chord.root.pc) % 12
    own = next((d for d in chord.degrees if d.semitones % 12 == rel), None)
    return own or Degree.parse(_COLOURS[rel])


def _filled(
    frets: list[int], string: int, base: int, strings: _Strings, seen: set[tuple[int, ...]]
) -> Iterator[Candidate]:
    """Every way to go on from `string` up with frets `base` to `base` + 3 and, low on the neck, open strings."""
    if string == 6:
        made = tuple(frets)
        if made not in seen:
            seen.add(made)
            candidate = _judged(made, strings) if playable(made, strings.capo) else None
            if candidate is not None:
                yield candidate
        return
    for fret in _choices(frets, string, base, strings):
        frets[string] = fret
        if fingers(frets) <= 4:
            yield from _filled(frets, string + 1, base, strings, seen)
    frets[string] = -1


def _choices(frets: list[int], string: int, base: int, strings: _Strings) -> list[int]:
    """Frets for one string; it may be silent at the top, beside the lowest string, and where nothing fits."""
    names, sounds = strings.names, strings.tuning[string]
    choices = [f for f in range(base, base + SPAN) if (sounds + f) % 12 in names]
    low = base + SPAN - 1 <= OPEN_FRETS + 1 and sounds % 12 in names
    if low or sounds % 12 in strings.drone:
        choices.insert(0, 0)
    beside_lowest = frets[string - 1] >= 0 and frets[:string].count(-1) == string - 1
    if string == 5 or not choices or beside_lowest:
        choices.append(-1)
    return choices


def _judged(frets: tuple[int, ...], strings: _Strings) -> Candidate | None:
    """A grip with its cost; None where something is missing or foreign."""
    held = _held(frets, strings)
    if held is None:
        return None
    cost = 0.0
    for weight, rule in COSTS:
        cost += weight * rule(held)
    degrees = [""] * 6
    for string, degree in zip(held.sounding, held.degrees, strict=True):
        degrees[string] = degree.name
    return cost, frets, tuple(degrees), _shape(held)


def _held(frets: tuple[int, ...], strings: _Strings) -> _Held | None:
    sounding = tuple([i for i, f in enumerate(frets) if f >= 0])
    if len(sounding) < 3 or sounding[-1] - sounding[0] + 1 - len(sounding) > 1:
        return None
    pitches = tuple([strings.tuning[i] + frets[i] for i in sounding])
    rung = [strings.drone if frets[i] == 0 else _NO_DRONE for i in sounding]
    if any(r and p < pitches[0] for p, r in zip(pitches, rung, strict=True)):
        return None  # a drone under the bass would turn the chord
    if not all(p % 12 in strings.names or p % 12 in r for p, r in zip(pitches, rung, strict=True)):
        return None
    degrees = tuple(
        [strings.names.get(p % 12) or r[p % 12] for p, r in zip(pitches, rung, strict=True)]
    )
    if not _complete(set(degrees), strings.offer):
        return None
    stopped = tuple([f for f in frets if f > 0])
    drones = sum(p % 12 in r for p, r in zip(pitches, rung, strict=True))
    own = drones > 0 or not retuned(strings.tuning).isdisjoint(sounding)
    return _Held(
        strings.offer, frets, sounding, degrees, pitches, stopped, fingers(frets), own, drones
    )  # fmt: skip


def _complete(found: set[Degree], offer: Tones) -> bool:
    return all(d in found for d in offer.need) and all(found & set(g) for g in offer.any_of)


def _shape(held: _Held) -> str:
    if 0 in held.frets:
        return "open chord"
    return f"barre at fret {min(held.stopped)}" if held.barre else "closed grip"


def loose(root_pc: int, offer: Tones, tuning: tuple[int, ...], capo: int) -> Iterator[Candidate]:
    """What is needed of a chord, in whatever order the strings give it, for what no family can hold.

    Where even that is too much, notes go from the end of what is needed.
    """
    for count in range(len(offer.need), 1, -1):
        part = offer._replace(need=offer.need[:count], any_of=(), whole=False)
        made = list(_anywhere(_Strings(_by_pc(offer, root_pc), part, tuning, capo)))
        if made:
            yield from made
            return


def _anywhere(strings: _Strings) -> Iterator[Candidate]:
    """Grips whose lowest note is any of the chord's, on one of the three lowest strings."""
    seen: set[tuple[int, ...]] = set()
    for base in range(1, 10):
        for string in (0, 1, 2):
            frets = [-1] * 6
            for fret in range(base, base + SPAN):
                if (strings.tuning[string] + fret) % 12 in strings.names:
                    frets[string] = fret
                    yield from _filled(frets, string + 1, base, strings, seen)
            frets[string] = -1
