"""A melody in, ranked harmonisations out: a pure function of the melody and the wishes."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.ground.errors import RequestError
from backing.ground.pitch import Degree, Key
from backing.harmonising import hymn
from backing.harmonising.candidates import Candidate, Ground
from backing.harmonising.costs import weights
from backing.harmonising.keys import key_path, ranked_keys
from backing.harmonising.melody import Melody, Place, phrase_ends, places_of
from backing.harmonising.moves import lattice
from backing.harmonising.palette import MANNERS
from backing.harmonising.reasons import Reason, degree_of, reasons
from backing.harmonising.repeats import agreed
from backing.harmonising.search import Lattice, cost_of, varied
from backing.harmonising.spelt import spelt
from backing.harmonising.wishes import PLAIN, Kept, Wishes
from backing.harmony.chord import Chord

BLOCK = 8  # results are ranked within so many, so that asking for more of them leaves the first as they are
ONE_KEY = ("plain",)  # manners that stay in one key


class Placed(NamedTuple):
    """A chord of a harmonisation: where it stands, what the tune's first note is in it, and why it is there."""

    place: Place
    bar: int  # number of the sheet
    chord: Chord
    melody_degree: Degree | None
    why: tuple[Reason, ...]


class Harmonisation(NamedTuple):
    """One chart for the melody. `rank` counts from 1, `parts` shares the cost out by kind."""

    rank: int
    cost: float
    parts: dict[str, float]
    key: Key
    chords: tuple[Placed, ...]

    @property
    def symbols(self) -> tuple[str, ...]:
        return tuple(placed.chord.symbol for placed in self.chords)


def harmonise(
    melody: Melody, wishes: Wishes = PLAIN, places: Sequence[Place] | None = None
) -> list[Harmonisation]:
    """Up to `wishes.results` harmonisations, the cheapest first; the others differ in a quarter of their places.

    They are ranked in blocks of eight: of 16 results the first eight are those of a search for eight.

    `places` says where chords stand; without it they follow from `wishes.every`, and with "auto" from the tune.
    Raises `RequestError` for a melody without notes and for a kept chord outside it.
    """
    if not melody.notes:
        raise RequestError(
            "there is no melody here; write notes such as 'G4 A4 B4' or a line 'melody: | G4 |'"
        )
    key = wishes.key or melody.key or ranked_keys(melody)[0][0]
    spots = with_kept(melody, places or places_of(melody, wishes.every), wishes.keep)
    ground = _ground(melody, spots, key, wishes)
    raw, chords = lattice(ground)
    lat, first = agreed(raw, chords, melody, spots, ground.weights["repeat"])
    ways = varied(lat, first, wishes.results)
    ranked = sorted(range(len(ways)), key=lambda i: (i > 0, i // BLOCK, cost_of(lat, ways[i])))
    return [
        _result(rank, lat, ways[i], chords, ground, key) for rank, i in enumerate(ranked, start=1)
    ]


def _ground(melody: Melody, spots: Sequence[Place], key: Key, wishes: Wishes) -> Ground:
    column = MANNERS.index(wishes.manner)
    w = weights(column)
    as_hymn = hymn.applies(wishes.manner, melody, spots)
    if as_hymn:
        w |= hymn.OUTER
    one_key = as_hymn or wishes.manner in ONE_KEY
    path = [key] * len(melody.bars) if one_key else key_path(melody, key)
    keys = [path[place.bar] for place in spots]
    tops = [next((n.pitch.midi for n in melody.between(p.start_q, p.end_q)), None) for p in spots]
    ends = phrase_ends(melody)
    return Ground(
        melody, spots, keys, key, wishes.manner, wishes.bass, wishes.avoid, ends, w, tops, as_hymn
    )


def with_kept(melody: Melody, places: Sequence[Place], kept: Sequence[Kept]) -> list[Place]:
    """The places with the chords that must stay; a place is cut where a kept chord begins inside it.

    Raises `RequestError` for a bar or beat that the melody does not have.
    """
    found = list(places)
    for wish in kept:
        at = next((i for i, bar in enumerate(melody.bars) if bar.number == wish.bar), None)
        start = None
        if at is not None:
            bar = melody.bars[at]
            start = bar.start_q + (wish.beat - 1) * bar.meter.beat_q
            if not bar.start_q <= start < bar.start_q + bar.length_q:
                start = None
        if start is None:
            numbers = [bar.number for bar in melody.bars]
            raise RequestError(
                f"--keep {wish.bar}.{wish.beat}={wish.chord.symbol}: the melody has no such place; "
                f"its bars are {numbers[0]} to {numbers[-1]}"
            )
        found = _kept_at(found, start, wish)
    return found


def _kept_at(places: Sequence[Place], start: Fraction, wish: Kept) -> list[Place]:
    found = []
    for place in places:
        if not place.start_q <= start < place.end_q:
            found.append(place)
            continue
        if start > place.start_q:
            found.append(place._replace(length_q=start - place.start_q))
        found.append(
            place._replace(
                beat=wish.beat,
                start_q=start,
                length_q=place.end_q - start,
                weight=place.weight if start == place.start_q else 0,
                kept=wish.chord,
            )
        )
    return found


def _result(
    rank: int,
    lat: Lattice,
    way: Sequence[int],
    candidates: Sequence[Sequence[Candidate]],
    ground: Ground,
    key: Key,
) -> Harmonisation:
    spots, chosen = list(ground.places), [candidates[t][i] for t, i in enumerate(way)]
    own = sum(c.colour.cost for c in chosen)
    spots, chosen = _merged(spots, chosen)
    tune = [ground.melody.between(p.start_q, p.end_q) for p in spots]
    chords = [
        spelt(c, [n.pitch.note for n in notes]) for c, notes in zip(chosen, tune, strict=True)
    ]
    pitches = [[n.pitch for n in notes] for notes in tune]
    why = reasons(chords, [p.length_q for p in spots], pitches, key)
    placed = tuple(
        Placed(
            place,
            ground.melody.bars[place.bar].number,
            chord,
            degree_of(notes[0].note, chord) if notes else None,
            words,
        )
        for place, chord, notes, words in zip(spots, chords, pitches, why, strict=True)
    )
    nodes = sum(float(c.nodes[i]) for c, i in zip(lat.columns, way, strict=True))
    total = cost_of(lat, way)
    parts = {"fit": nodes - own, "chords": own, "moves": total - nodes}
    return Harmonisation(rank, total, {k: round(v, 3) for k, v in parts.items()}, key, placed)


def _merged(
    spots: Sequence[Place], chosen: Sequence[Candidate]
) -> tuple[list[Place], list[Candidate]]:
    """A chord that goes on into free places of its bar as one chord."""
    places: list[Place] = []
    found: list[Candidate] = []
    for place, c in zip(spots, chosen, strict=True):
        last = found[-1] if found else None
        goes_on = last is not None and place.free and c.kept is None and place.bar == places[-1].bar
        if goes_on and last and _same(last, c):
            places[-1] = places[-1]._replace(length_q=place.end_q - places[-1].start_q)
        else:
            places.append(place)
            found.append(c)
    return places, found


def _same(one: Candidate, other: Candidate) -> bool:
    return (one.root, one.colour.quality, one.bass) == (
        other.root,
        other.colour.quality,
        other.bass,
    )
