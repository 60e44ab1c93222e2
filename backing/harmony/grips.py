"""Guitar grips: chords as a hand holds them.

Closed grips set the stacks of `voicings` on groups of strings (drop 2 on four neighbours, drop 3 with one string
between); open grips search the strings one by one, from a root or bass note below, with open strings and barres.

Conventions: `frets` run from the lowest string to the highest, 0 is the open string, -1 a string that is not played;
frets are counted above the capo and `tuning` holds what the open strings sound (MIDI), capo and retuning included.
Sources: span of four frets and string groups (timfischermusic.com on drop 2 and drop 3; counts over printed chord
shapes); four fingers with a barre counted once, five frets high on the neck (common practice).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import accumulate, combinations, pairwise
from operator import itemgetter
from typing import NamedTuple

from backing.ground.instruments import STANDARD_TUNING
from backing.ground.pitch import Degree, NoteName
from backing.harmony.families import gaps_of, stacks
from backing.harmony.grip import (
    HIGHEST_FRET,
    OPEN_FRETS,
    SPAN,
    WIDE_FROM,
    Grip,
    fingers,
    playable,
    reach,
)
from backing.harmony.offer import Tones, tones
from backing.harmony.shapes import known
from backing.harmony.symbol import Chord
from backing.harmony.voicings import LOW_LIMITS, clashes, distance

MOST_CANDIDATES = 12
LOW, HIGH = 43, 76  # of closed grips
UNKNOWN = 1.6  # against a strummed shape that no book prints

# Groups of strings for closed grips, from 0 (lowest): at most one string between is left out.
_GROUPS = {
    n: tuple(
        g for g in combinations(range(6), n) if g[-1] - g[0] <= n and (n > 2 or g[-1] - g[0] == 1)
    )
    for n in (2, 3, 4, 5)
}

# What a family means on six strings: close positions of four notes want fingers that nobody has.
_FULLER = {"close": "drop 2", "rootless": "drop 2", "open": "drop 2", "spread": "drop 3"}
_TRIADS = {
    "rootless": "close", "shells": "close", "drop 2": "close", "drop 3": "close", "quartal": "close",
    "open": "close", "spread": "open",
}  # fmt: skip


class Grips:
    """Candidates for one chord, best first; compared by identity."""

    __slots__ = ("grips",)

    def __init__(self, grips: tuple[Grip, ...]) -> None:
        self.grips = grips

    @property
    def costs(self) -> list[float]:
        return [g.cost for g in self.grips]


# What the searches find, lighter than a grip: cost, frets, degrees, shape.
Candidate = tuple[float, tuple[int, ...], tuple[str, ...], str]
_COST_THEN_FRETS = itemgetter(0, 1)


def _by_pc(offer: Tones, root: int) -> dict[int, Degree]:
    return {(root + d.semitones) % 12: d for d in (*offer.may, *offer.need)}


def _fits(found: set[Degree], offer: Tones) -> bool:
    return all(d in found for d in offer.need) and all(found & set(g) for g in offer.any_of)


class _Shape(NamedTuple):
    """A stack on a group of strings, wherever it is held on the neck."""

    group: tuple[int, ...]
    over: tuple[int, ...]  # frets above that of the lowest note
    rise: tuple[int, ...]  # semitones above the lowest note
    first: int  # semitones of the lowest note above the root
    degrees: tuple[str, ...]
    name: str
    cost: float
    limits: tuple[int, ...]  # lowest notes with which its pairs sound clear
    bare: bool  # a root and a fifth, or less


@lru_cache(maxsize=4096)
def _shapes(offer: Tones, family: str, voices: int, tuning: tuple[int, ...]) -> tuple[_Shape, ...]:
    """Every stack of a family on every group of strings on which a hand can hold it."""
    found = []
    for stack, name, extra in stacks(offer, family, voices):
        steps = [d.semitones % 12 for d in stack]
        names = [d.name for d in stack]
        rise = tuple(accumulate(gaps_of(stack), initial=0))
        cost = extra + clashes(rise, stack, offer.family == "dominant")
        limits = tuple(
            LOW_LIMITS[b - a] - a for a, b in combinations(rise, 2) if b - a in LOW_LIMITS
        )
        for group in _GROUPS.get(len(stack), ()):
            over = tuple(tuning[group[0]] + r - tuning[s] for r, s in zip(rise, group, strict=True))
            frets = [-1] * 6
            degrees = [""] * 6
            for string, above, degree in zip(group, over, names, strict=True):
                frets[string] = WIDE_FROM + above - min(over)
                degrees[string] = degree
            if playable(frets):
                bare = len(set(steps)) < 3
                found.append(
                    _Shape(group, over, rise, steps[0], tuple(degrees), name, cost, limits, bare)
                )
    return tuple(found)


def _closed(
    chord: Chord, offer: Tones, family: str, voices: int, tuning: tuple[int, ...], capo: int
) -> Iterator[Candidate]:
    """Stacks on groups of strings, without open strings."""
    for shape in _shapes(offer, family, voices, tuning):
        group, over = shape.group, shape.over
        span = max(over) - min(over)
        first = (chord.root.pc + shape.first - tuning[group[0]]) % 12
        for bottom in (first, first + 12):
            nearest = bottom + min(over)
            opened = shape.bare and bottom == nearest == 0 and group[0] < 2  # E5 and A5
            if not opened and (
                not 1 <= nearest <= HIGHEST_FRET - capo - span or span >= reach(nearest + capo)
            ):
                continue
            low = tuning[group[0]] + bottom
            highest = low + shape.rise[-1]
            cost = shape.cost + 0.5 * sum([limit - low for limit in shape.limits if limit > low])
            cost += 0.16 * abs(nearest + capo - 5) + 0.12 * span
            if opened:
                cost -= 0.8  # an open root rings
            if shape.bare:  # power chords live low, root and fifth side by side
                cost += 0.5 * group[0] + 2.0 * (group[-1] - group[0] - len(group) + 1)
                low = max(low, LOW)
            cost += 0.15 * max(0, LOW - low) + 0.4 * max(0, highest - HIGH)
            cost += 0.35 * (group[-1] - group[0] - len(group) + 1)
            if not shape.bare and group[0] == 0:
                cost += 0.4  # the lowest string is the bass's
            if family == "shells" and group[0] > 2:
                cost += 0.8  # three thin strings are no rhythm section
            frets = [-1] * 6
            for string, above in zip(group, over, strict=True):
                frets[string] = bottom + above
            yield cost, tuple(frets), shape.degrees, shape.name


def _strummed(
    chord: Chord, offer: Tones, tuning: tuple[int, ...], capo: int, highest: int
) -> Iterator[Candidate]:
    """Grips from a root (or written bass) on one of the three lowest strings up, open strings and barres included."""
    names = _by_pc(offer, chord.root.pc)
    inside = chord.bass is not None and chord.bass.pc in names
    lows = [chord.root.pc]
    if chord.bass is not None and inside and chord.bass.pc != chord.root.pc:
        lows.insert(0, chord.bass.pc)
    seen: set[tuple[int, ...]] = set()
    for string in (0, 1, 2):
        for low_fret in range(highest + 1):
            if (tuning[string] + low_fret) % 12 not in lows:
                continue
            for base in range(max(1, low_fret - 3), max(2, low_fret + 1)):
                if low_fret == 0 and base > 2:
                    break
                frets = [-1] * 6
                frets[string] = low_fret
                turned = (tuning[string] + low_fret) % 12 != lows[0]
                for cost, made, degrees, shape in _filled(
                    frets, string + 1, base, names, offer, tuning, capo, seen
                ):
                    yield cost + 0.6 if turned else cost, made, degrees, shape


def _filled(
    frets: list[int],
    string: int,
    base: int,
    names: dict[int, Degree],
    offer: Tones,
    tuning: tuple[int, ...],
    capo: int,
    seen: set[tuple[int, ...]],
) -> Iterator[Candidate]:
    """Every way to go on from `string` up with frets `base` to `base` + 3 and, low on the neck, open strings."""
    if string == 6:
        made = tuple(frets)
        if made not in seen:
            seen.add(made)
            judged = _judged(made, names, offer, tuning, capo)
            if judged is not None:
                yield judged
        return
    opens = base + SPAN - 1 <= OPEN_FRETS + 1
    choices = [f for f in range(base, base + SPAN) if (tuning[string] + f) % 12 in names]
    if opens and tuning[string] % 12 in names:
        choices.insert(0, 0)
    if (
        string == 5
        or not choices
        or (frets[string - 1] >= 0 and frets[:string].count(-1) == string - 1)
    ):
        choices.append(-1)
    for fret in choices:
        frets[string] = fret
        if fingers(frets) <= 4:
            yield from _filled(frets, string + 1, base, names, offer, tuning, capo, seen)
    frets[string] = -1


def _judged(
    frets: tuple[int, ...],
    names: dict[int, Degree],
    offer: Tones,
    tuning: tuple[int, ...],
    capo: int,
) -> Candidate | None:
    if not playable(frets, capo):
        return None
    sounding = [i for i, f in enumerate(frets) if f >= 0]
    if len(sounding) < 3 or sum(f < 0 for f in frets[sounding[0] : sounding[-1]]) > 1:
        return None
    here = [names[(tuning[i] + frets[i]) % 12] for i in sounding]
    if not _fits(set(here), offer):
        return None
    pitches = [tuning[i] + frets[i] for i in sounding]
    held = [f for f in frets if f > 0]
    barre = len(held) > fingers(frets)
    cost = 0.2 * max(0, min(held, default=1) - 1) + 0.3 * fingers(frets) + (0.6 if barre else 0.0)
    cost += 0.12 * (max(held, default=0) - min(held, default=0)) ** 2
    full = 0.5 if len(offer.need) + len(offer.may) < 4 else 0.3  # triads ring over all strings
    cost += full * (6 - len(sounding))
    cost += (full + 0.3) * (sounding[-1] - sounding[0] + 1 - len(sounding))
    cost += 0.3 * (frets[5] < 0)
    for below, here_fret, above in zip(frets, frets[1:], frets[2:], strict=False):
        if here_fret == 0 and below > 0 and above > 0:  # the hand must arch over it
            cost += 0.35 if max(below, above) < 3 else 0.75
    if not known(frets):
        cost += UNKNOWN
    steps = [p % 12 for p in pitches]
    cost += 0.9 * sum(a == b for a, b in pairwise(pitches))
    cost += 0.5 * sum(pitches[i + 1] - pitches[i] == 1 for i in range(len(pitches) - 1))
    cost += 1.2 * sum(b - a < 3 and a < LOW_LIMITS[b - a] for a, b in pairwise(pitches) if b > a)
    cost += 0.6 * sum(b - a == 4 and a < LOW for a, b in pairwise(pitches))
    for degree in set(here):  # a doubled third is heard, a doubled seventh or ninth sticks out
        twice = here.count(degree) - 1
        if twice and degree.number not in (1, 5):
            cost += twice * (0.08 if degree.number == 3 else 0.3)
    missing = [d for d in offer.may if d not in here and d not in offer.colours]
    cost += 0.5 * len(missing) + (1.5 if any(d.number == 1 for d in missing) else 0)
    cost += 0.03 * (len(steps) - len(set(steps)))
    degrees = tuple(names[(tuning[i] + f) % 12].name if f >= 0 else "" for i, f in enumerate(frets))
    if 0 in frets:
        shape = "open chord"
    else:
        shape = f"barre at fret {min(held)}" if barre else "closed grip"
    return cost, frets, degrees, shape


@lru_cache(maxsize=4096)
def grips(
    chord: Chord,
    colours: tuple[Degree, ...],
    family: str,
    voices: int,
    tuning: tuple[int, ...] = STANDARD_TUNING,
    capo: int = 0,
    lowest: int = 0,
) -> Grips:
    """Candidates of a family for a chord, cheapest first; never empty. All are playable.

    `tuning` holds the open strings without the capo. Grips whose lowest note lies under `lowest` are taken only where
    there are no others. Family "open" strums; all others are closed.
    """
    sounding = tuple(t + capo for t in tuning)
    offer = tones(chord, colours)
    found: list[Candidate] = []
    if family == "open" and len(offer.need) + len(offer.may) > 2:
        found = list(_strummed(chord, offer, sounding, capo, 9))
    if not found:
        few = len(offer.need) + len(offer.may) < 4
        kind = (
            "power"
            if offer.family == "power"
            else (_TRIADS if few else _FULLER).get(family, family)
        )
        voices = max(voices, 4) if kind in ("drop 2", "drop 3") else voices
        found = list(_closed(chord, offer, kind, voices, sounding, capo))
    for kind, count in (("drop 2", 4), ("close", 3), ("open", 3), ("drop 3", 4)):
        if len(found) < 3:
            found += list(_closed(chord, offer, kind, count, sounding, capo))
    if not found:
        found = list(_loose(chord, offer, sounding, capo))
    found.sort(key=_COST_THEN_FRETS)
    above = [c for c in found if _lowest(c, sounding) >= lowest]
    for kind, count in (("drop 2", 4), ("close", 3)):
        if not above:
            more = _closed(chord, offer, kind, count, sounding, capo)
            above = [
                c for c in sorted(more, key=_COST_THEN_FRETS) if _lowest(c, sounding) >= lowest
            ]
    kept: dict[tuple[int, ...], Grip] = {}
    places: dict[int, int] = {}
    for candidate in above or found:
        frets = candidate[1]
        place = min((f for f in frets if f > 0), default=1)
        if places.get(place, 0) < 3 and frets not in kept:
            places[place] = places.get(place, 0) + 1
            kept[frets] = _grip(candidate, sounding, capo)
            if len(kept) == MOST_CANDIDATES:
                break
    return Grips(tuple(kept.values()))


def _lowest(candidate: Candidate, tuning: tuple[int, ...]) -> int:
    """Its lowest note."""
    return next(t + f for t, f in zip(tuning, candidate[1], strict=True) if f >= 0)


def _grip(candidate: Candidate, tuning: tuple[int, ...], capo: int) -> Grip:
    cost, frets, degrees, shape = candidate
    return Grip(frets, tuning, degrees, shape, cost, capo)


def _loose(chord: Chord, offer: Tones, tuning: tuple[int, ...], capo: int) -> Iterator[Candidate]:
    """What is needed of a chord, in whatever order the strings give it, for what no family can hold.

    Where even that is too much, notes go from the end of what is needed.
    """
    names = _by_pc(offer, chord.root.pc)
    for count in range(len(offer.need), 1, -1):
        part = Tones(offer.need[:count], offer.may, (), offer.colours, offer.family, False)
        seen: set[tuple[int, ...]] = set()
        made: list[Candidate] = []
        for base in range(1, 10):
            for string in (0, 1, 2):
                frets = [-1] * 6
                for fret in range(base, base + SPAN):
                    if (tuning[string] + fret) % 12 in names:
                        frets[string] = fret
                        made += _filled(frets, string + 1, base, names, part, tuning, capo, seen)
                frets[string] = -1
        if made:
            yield from made
            return


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


def grips_for(
    chord: Chord,
    limit: int = 3,
    tuning: Sequence[int] = STANDARD_TUNING,
    capo: int = 0,
) -> tuple[Grip, ...]:
    """Up to `limit` ways to play a sounding chord, the easiest first, each in a place of its own on the neck.

    A bass written after a slash is the lowest note where a hand can reach it.
    """
    strings = tuple(tuning)
    asked = chord
    if chord.bass is not None and all(n.pc != chord.bass.pc for n in chord.notes):
        asked = _with_bass(chord, chord.bass)
    offer = tones(asked, ())
    sounding = tuple(t + capo for t in strings)
    found: list[Grip] = []
    if len(asked.degrees) > 2:
        strummed = sorted(_strummed(asked, offer, sounding, capo, 12), key=_COST_THEN_FRETS)
        found = [_grip(candidate, sounding, capo) for candidate in strummed]
    found += grips(
        chord, (), "power" if len(chord.degrees) < 3 else "drop 2", 4, strings, capo
    ).grips
    if chord.bass is not None:
        low = [g for g in found if g.pitches[0] % 12 == chord.bass.pc]
        found = low or found
    kept: list[Grip] = []
    for grip in found:
        if all(abs(g.position - grip.position) > 1 for g in kept):
            kept.append(grip)
            if len(kept) == limit:
                break
    return tuple(kept)


def _with_bass(chord: Chord, bass: NoteName) -> Chord:
    """The chord with its outside bass as one of its notes, for grips that hold both."""
    span = chord.root.interval_to(bass)
    degree = Degree(span.steps + 1, 0)
    extra = Degree(degree.number, span.semitones - degree.semitones)
    return Chord(
        chord.root, chord.quality, chord.family, (*chord.degrees, extra), (*chord.must_sound, extra),
        chord.omit, chord.any_of, bass, chord.written,
    )  # fmt: skip
