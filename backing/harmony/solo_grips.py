"""Grips under a tune: the tune's note on top, degrees of the chord below it, all in one hand.

A stroke is judged by what stands in `COSTS`, a row a reason. What no stroke may break: the tune's note is the highest and
lies on one of the three highest strings, no voice crosses another, four fingers reach it all, and where nobody else plays
the bass the written bass is the lowest note.

Conventions: strings and frets as in `grip`; pitches are MIDI notes as they sound; a chord of None is a single note.
Sources: third and seventh before root and fifth, closed hand, low thirds left out (common practice of chord melody on the
guitar); the way along the neck and the reach across the strings are two difficulties (Radicioni and Lombardo 2005).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

from backing.ground.pitch import Degree
from backing.harmony.grip import OPEN_FRETS, fingers, playable, reach
from backing.harmony.offer import tones
from backing.harmony.strummed import degree_over
from backing.harmony.symbol import Chord

TUNE_STRINGS = (1, 2, 3)  # on which the tune lies where a chord is under it
HIGHEST = 17  # fret of the tune
BODY = 12  # frets from the nut up to where the neck meets the body
EASY = 5  # the last fret of what shall be easy
MOST = 20  # candidates of a stroke
MOST_IN_A_PLACE = 4  # of them, in one place of the neck and with one string for the tune
MUDDY = 52  # E3: two notes under it want a fourth between them

# what is left out or doubled, or lies badly: points, and why
COSTS = {
    "third":    (5.0, "the third (or what stands for it) says what the chord is"),
    "seventh":  (4.5, "so does the seventh or sixth"),
    "altered":  (2.5, "an altered fifth is why the chord is there"),
    "colour":   (1.2, "a written ninth, eleventh or thirteenth"),
    "root":     (0.5, "a root under the tune rounds a chord off, where no bass plays it"),
    "added":    (0.8, "each unwritten colour: it may sound where a written note has no place"),
    "thumb":    (1.0, "a bass on a high string is no bass"),
    "doubled":  (0.7, "a note twice says nothing new"),
    "voice":    (1.1, "each voice fewer than the manner asks for"),
    "mud":      (2.5, "a third or less between two low notes is not heard as two"),
    "rub":      (2.5, "a half step, or a ninth of that size, right under the tune hides it"),
    "stretch":  (0.35, "each fret of span beyond two"),
    "barre":    (0.4, "a finger laid across holds the hand still"),
    "finger":   (0.1, "each finger"),
    "split":    (0.9, "an open string under a hand high on the neck rings with another colour"),
    "high":     (0.05, "each fret: the neck gets narrow and the strings dull"),
    "body":     (0.3, "each fret past the twelfth from the nut, where the body is in the way"),
    "beyond":   (3.0, "each fret over five, where it shall be easy"),
    "third string": (0.25, "each string down: a tune sings best on the first"),
}  # fmt: skip
_POINTS = {name: points for name, (points, _) in COSTS.items()}


class Manner(NamedTuple):
    """How full the guitar plays: voices at least and at most, the tune's note counted, and whether it shall be easy."""

    least: int
    most: int
    easy: bool = False


MANNERS = {"full": Manner(4, 4), "easy": Manner(3, 3, easy=True), "bass": Manner(2, 2)}


class Stroke(NamedTuple):
    """What one hand holds at one place.

    `frets` as in `Grip`; `top` is the string of the tune (1 highest, 0 where the tune rests), `hand` the fret where the
    first finger lies, 0 for open strings alone; `pitches` rise.
    """

    frets: tuple[int, ...]
    degrees: tuple[str, ...]
    pitches: tuple[int, ...]
    top: int
    hand: int
    cost: float

    @property
    def shape(self) -> tuple[int, ...]:
        """The frets from the first finger on: equal for a shape that is moved along the neck."""
        return tuple([f - self.hand if f > 0 else f - 100 for f in self.frets])


class Asked(NamedTuple):
    """What holds of every grip for a chord.

    `manner` is a row of `MANNERS`; `alone` asks for the written bass as the lowest note, otherwise no note lies under
    `floor`. `tuning` is what the open strings sound without the capo.
    """

    chord: Chord
    colours: tuple[Degree, ...]
    manner: str
    alone: bool
    floor: int
    tuning: tuple[int, ...]
    capo: int

    @property
    def sounding(self) -> tuple[int, ...]:
        """What the open strings sound."""
        return tuple(t + self.capo for t in self.tuning)


@lru_cache(maxsize=8192)
def strokes(asked: Asked, pitch: int) -> tuple[Stroke, ...]:
    """Ways to hold a chord under the tune's note `pitch`, cheapest first; () where a hand has none."""
    search = _Search(asked)
    frets = ((at, pitch - search.sounding[at]) for at in (6 - s for s in TUNE_STRINGS))
    tops = [(at, fret) for at, fret in frets if 0 <= fret <= HIGHEST - asked.capo]
    return search.best(tops)


@lru_cache(maxsize=8192)
def resting(asked: Asked, ceiling: int) -> tuple[Stroke, ...]:
    """Ways to hold a chord while the tune rests: the highest note is one of the chord's, under `ceiling`."""
    search = _Search(asked)
    tops = [
        (at, fret)
        for at in (6 - s for s in (*TUNE_STRINGS, 4))
        for fret in range(13)
        for pitch in (search.sounding[at] + fret,)
        if ceiling - 12 <= pitch < ceiling and pitch % 12 in search.table.degrees
    ]
    return tuple(stroke._replace(top=0) for stroke in search.best(tops))


@lru_cache(maxsize=4096)
def singles(
    pitch: int, tuning: tuple[int, ...], capo: int, easy: bool = False
) -> tuple[Stroke, ...]:
    """Every way to stop a note alone: a string and the finger that lies on it."""
    found = []
    for at, open_ in enumerate(tuning):
        fret = pitch - open_ - capo
        if not 0 <= fret <= HIGHEST - capo:
            continue
        frets = tuple(fret if i == at else -1 for i in range(6))
        dear = _high(fret, capo, easy) + 0.1 * (5 - at)
        for hand in range(max(1, fret - 3), fret + 1) if fret else (0,):
            found.append(Stroke(frets, ("",) * 6, (pitch,), 6 - at, hand, dear))
    return tuple(found)


def typed(
    chord: Chord, frets: Sequence[int], pitch: int | None, tuning: Sequence[int], capo: int
) -> Stroke:
    """The grip that is typed behind a chord, with the tune over it.

    A tune that is not its highest note takes the place of its highest strings, where the hand reaches it so; `top` is 0
    where no hand does.
    """
    sounding = [t + capo for t in tuning]
    held = tuple(frets)
    if pitch is not None:
        held = next(iter(_with_tune(held, pitch, sounding, capo)), held)
    heard = [(s + f, i) for i, (s, f) in enumerate(zip(sounding, held, strict=True)) if f >= 0]
    degrees = tuple(
        degree_over(chord, (s + f) % 12).name if f >= 0 else ""
        for s, f in zip(sounding, held, strict=True)
    )
    highest, at = heard[-1]
    hand = min((f for f in held if f > 0), default=0)
    top = 6 - at if highest == pitch else 0
    return Stroke(held, degrees, tuple(p for p, _ in heard), top, hand, 0.0)


def _with_tune(
    frets: tuple[int, ...], pitch: int, sounding: Sequence[int], capo: int
) -> list[tuple[int, ...]]:
    """The grip with the tune as its highest note, that first which leaves most of it; one finger may let go."""
    found = []
    for at in range(5, -1, -1):
        fret = pitch - sounding[at]
        for away in range(-1, at):
            low = tuple(-1 if i == away else f for i, f in enumerate(frets[:at]))
            made = (*low, fret, *(-1,) * (5 - at))
            below = [s + f for s, f in zip(sounding, low, strict=False) if f >= 0]
            if 0 <= fret <= HIGHEST and all(p < pitch for p in below) and playable(made, capo):
                found.append(made)
    bass = next(i for i, f in enumerate(frets) if f >= 0)
    kept = [sum(a == b for a, b in zip(f, frets, strict=True)) for f in found]
    order = sorted(range(len(found)), key=lambda i: (-kept[i], found[i][bass] != frets[bass]))
    return [found[i] for i in order]


class _Wanted(NamedTuple):
    """What a chord asks of a grip: the degree of every pitch class that may sound, those missed and what each costs."""

    degrees: dict[int, str]
    musts: tuple[tuple[int, float], ...]
    groups: tuple[tuple[frozenset[int], float], ...]
    root: int
    bass: int
    added: frozenset[int]


@lru_cache(maxsize=2048)
def _wanted(chord: Chord, colours: tuple[Degree, ...], alone: bool) -> _Wanted:
    offer = tones(chord, colours)
    root = chord.root.pc
    named = {(root + d.semitones) % 12: d.name for d in (*offer.may, *offer.need)}
    musts = tuple(
        ((root + d.semitones) % 12, _POINTS[_sort(d)]) for d in offer.need if d.number != 1
    )
    groups = tuple(
        (frozenset((root + d.semitones) % 12 for d in group), _POINTS[_sort(group[0])])
        for group in offer.any_of
    )
    added = frozenset((root + d.semitones) % 12 for d in offer.colours)
    return _Wanted(named, musts, groups, root, chord.lowest.pc, added)


def _sort(degree: Degree) -> str:
    """What leaving a degree out costs by."""
    if degree.number in (2, 3, 4):
        return "third"
    if degree.number in (6, 7):
        return "seventh"
    if degree.number == 5:
        return "altered" if degree.name != "5" else "root"
    return "colour"


class _Search:
    """Every grip for a chord under a note, judged: (cost, frets, place of the highest note among the strings)."""

    def __init__(self, asked: Asked) -> None:
        self.alone, self.floor, self.capo = asked.alone, asked.floor, asked.capo
        self.manner, self.sounding = MANNERS[asked.manner], asked.sounding
        self.table = _wanted(asked.chord, asked.colours, asked.alone)

    def best(self, tops: Sequence[tuple[int, int]]) -> tuple[Stroke, ...]:
        """The cheapest with any of these on top (string from the lowest, fret), not too many in one place of the neck."""
        found = [one for at, fret in tops for one in self._under(at, fret)]
        kept: list[Stroke] = []
        places: dict[tuple[int, int], int] = {}
        for cost, frets, at in sorted(found):
            hand = min((f for f in frets if f > 0), default=0)
            if places.get((hand, at), 0) < MOST_IN_A_PLACE:
                places[hand, at] = places.get((hand, at), 0) + 1
                kept.append(self._stroke(cost, frets, at, hand))
                if len(kept) == MOST:
                    break
        return tuple(kept)

    def _stroke(self, cost: float, frets: tuple[int, ...], at: int, hand: int) -> Stroke:
        heard = [s + f if f >= 0 else -1 for s, f in zip(self.sounding, frets, strict=True)]
        names = tuple([self.table.degrees.get(p % 12, "") if p >= 0 else "" for p in heard])
        return Stroke(frets, names, tuple([p for p in heard if p >= 0]), 6 - at, hand, cost)

    def _under(self, at: int, fret: int) -> Iterator[tuple[float, tuple[int, ...], int]]:
        """Every grip with its highest note at one place."""
        frets = [-1] * 6
        frets[at] = fret
        pitch = self.sounding[at] + fret
        choices = [self._choices(open_, pitch) for open_ in self.sounding[:at]]
        low, high = (fret, fret) if fret else (99, 0)
        for held in self._filled(frets, at - 1, pitch, low, high, self.manner.most - 1, choices):
            cost = self._cost(held, at)
            if cost is not None:
                yield cost, held, at

    def _choices(self, open_: int, below: int) -> list[tuple[int, int]]:
        """Frets of a string that are of the chord, from the floor up, each with its pitch."""
        first, last = max(0, self.floor - open_), max(0, min(HIGHEST + 1, below - open_))
        pitches = ((fret, open_ + fret) for fret in range(first, last))
        fits, bass = self.table.degrees, self.table.bass if self.alone else -1
        return [(fret, p) for fret, p in pitches if p % 12 in fits or p % 12 == bass]

    def _filled(
        self,
        frets: list[int],
        at: int,
        above: int,
        low: int,
        high: int,
        more: int,
        choices: Sequence[Sequence[tuple[int, int]]],
    ) -> Iterator[tuple[int, ...]]:
        """Every way to fill the strings from `at` down with at most `more` notes, none above the one on the string over it.

        `low` and `high` are the frets under the hand so far. Four notes never want more than four fingers.
        """
        if at < 0 or not more:
            if more < self.manner.most - 1:
                yield tuple(frets)
            return
        yield from self._filled(frets, at - 1, above, low, high, more, choices)
        for fret, pitch in choices[at]:
            if pitch >= above:
                break
            if self.alone and more == 1 and pitch % 12 != self.table.bass:
                continue  # the last note is the lowest
            bottom, top = (min(low, fret), max(high, fret)) if fret else (low, high)
            if fret and top - bottom + 1 > reach(bottom + self.capo):
                continue
            frets[at] = fret
            yield from self._filled(frets, at - 1, pitch, bottom, top, more - 1, choices)
            frets[at] = -1

    def _cost(self, frets: tuple[int, ...], at: int) -> float | None:
        """What a grip costs; None where the bass is not the lowest."""
        table, manner = self.table, self.manner
        pitches = [s + f for s, f in zip(self.sounding, frets, strict=True) if f >= 0]
        classes = [p % 12 for p in pitches]
        if self.alone and classes[0] != table.bass:
            return None
        if table.bass not in table.degrees and table.bass in classes[1:-1]:
            return None
        heard = set(classes)
        cost = _POINTS["third string"] * (5 - at) + _sounds_badly(pitches)
        for pc, points in table.musts:
            if pc not in heard:
                cost += points
        for group, points in table.groups:
            if group.isdisjoint(heard):
                cost += points
        if not self.alone and table.root in classes[:-1]:
            cost += _POINTS["root"]
        cost += _POINTS["doubled"] * (len(classes) - len(heard))
        cost += _POINTS["voice"] * max(0, manner.least - len(classes))
        cost += _POINTS["added"] * len(table.added.intersection(classes[:-1]))
        if self.alone and next(i for i, f in enumerate(frets) if f >= 0) > 2:
            cost += _POINTS["thumb"]
        return cost + _lies_badly(frets, self.capo, manner.easy)


def _sounds_badly(pitches: Sequence[int]) -> float:
    cost = 0.0
    if len(pitches) > 1 and pitches[1] < MUDDY and pitches[1] - pitches[0] < 5:
        cost += _POINTS["mud"]
    top = pitches[-1]
    for pitch in pitches[:-1]:
        if top - pitch in (1, 13):
            cost += _POINTS["rub"]
    return cost


def _lies_badly(frets: Sequence[int], capo: int, easy: bool) -> float:
    held = [f for f in frets if f > 0]
    if not held:
        return 0.0
    low, high = min(held), max(held)
    used = fingers(frets)
    cost = _POINTS["stretch"] * max(0, high - low - 2) + _POINTS["finger"] * used
    cost += _POINTS["barre"] * (used < len(held))
    if 0 in frets and high > OPEN_FRETS:
        cost += _POINTS["split"] * (1 if low > OPEN_FRETS else 0.3)
    return cost + _high(high, capo, easy)


def _high(fret: int, capo: int, easy: bool) -> float:
    body = _POINTS["body"] * max(0, fret + capo - BODY)
    return (
        body + _POINTS["high"] * fret + (_POINTS["beyond"] * max(0, fret - EASY) if easy else 0.0)
    )
