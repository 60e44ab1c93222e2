"""The way of one hand through a tune with its chords: for every place a stroke, so that the whole costs least.

Two difficulties are told apart: moves along the neck, and across the strings. In the easy manner the hardest single move
is made as small as it can be before anything else counts.

Conventions: strings, frets and `Stroke` as in `solo_grips`; time in quarters.
Sources: graph search over ways to stop notes (Sayegh 1989); moves along the neck and across the strings (Radicioni and
Lombardo 2005); the hardest move first (Hori and Sagayama 2016); costs are common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from backing.ground.pitch import Degree
from backing.harmony.fingering import fingering
from backing.harmony.grip import fingers, reach
from backing.harmony.search import best_path
from backing.harmony.solo_grips import (
    EASY,
    MANNERS,
    Asked,
    Stroke,
    resting,
    singles,
    strokes,
    typed,
)
from backing.harmony.symbol import Chord

ALONG = 0.36  # points a fret that the hand moves along the neck, in a quarter of time
LEAP, LEAP_FROM = 0.35, 4  # more of it for each fret over so many: the eye has to leave the page
ACROSS = 0.06  # points a string that the tune changes
QUICK_Q = 1.0  # moves within less time than a quarter cost more, up to so many times
QUICKEST = 2.5
SAME_SHAPE = 0.5  # for a shape that goes along the neck under a row of one quality
INNER = 0.05  # points a semitone that the voice under the tune leaps over a whole step
AWAY = 0.7  # points a fret away from the position that is asked for
STRUCK_AGAIN = 6.0  # for a note of the tune that goes on and has to change its string
FAR = 1000.0  # what no way through may cost where another is there
SPARE = 12  # frets, the widest single move


class Place(NamedTuple):
    """One place of the tune. `pitch` is what sounds on top (None where the tune rests), `chord` what is struck under it.

    `held`: the tune's note goes on from the place before. `ceiling` is where a resting tune goes on; `floor` the bass
    that somebody else plays; `at` the position that is asked for, 0 for none; `grip` frets that are typed.
    """

    pitch: int | None
    chord: Chord | None = None
    colours: tuple[Degree, ...] = ()
    held: bool = False
    length_q: float = 1.0
    alone: bool = True
    floor: int = 0
    ceiling: int = 76
    at: int = 0
    grip: tuple[int, ...] = ()


class Hands(NamedTuple):
    """A guitar and how it is played: open strings without the capo, the capo, a row of `MANNERS`."""

    tuning: tuple[int, ...]
    capo: int = 0
    manner: str = "full"


def offers(place: Place, hands: Hands) -> tuple[Stroke, ...]:
    """Every way to play a place; a chord that no hand can hold leaves the tune's note alone; () where nothing is.

    Where it shall be easy, what goes beyond the first frets is offered where nothing else is.
    """
    found = _all_offers(place, hands)
    near = MANNERS[hands.manner].easy and [s for s in found if max(s.frets) <= EASY]
    return tuple(near) if near else found


def _all_offers(place: Place, hands: Hands) -> tuple[Stroke, ...]:
    tuning, capo, manner = hands
    if place.chord is None:
        return (
            singles(place.pitch, tuning, capo, MANNERS[manner].easy)
            if place.pitch is not None
            else ()
        )
    if place.grip:
        held = typed(place.chord, place.grip, place.pitch, tuning, capo)
        if held.top or place.pitch is None:
            return (held,)
        return singles(place.pitch, tuning, capo)
    asked = Asked(place.chord, place.colours, manner, place.alone, place.floor, tuning, capo)
    if place.pitch is None:
        return resting(asked, place.ceiling)
    return strokes(asked, place.pitch) or singles(place.pitch, tuning, capo, MANNERS[manner].easy)


def way(places: Sequence[Place], hands: Hands) -> list[Stroke]:
    """A stroke a place. Raises `ValueError` for a place that has none."""
    found = [offers(place, hands) for place in places]
    for place, offer in zip(places, found, strict=True):
        if not offer:
            raise ValueError(f"no string has {place.pitch}")
    nodes = [
        [s.cost + (AWAY * _away(s, place.at) if place.at else 0.0) for s in offer]
        for place, offer in zip(places, found, strict=True)
    ]
    pairs = list(pairwise(zip(places, found, strict=True)))
    edges = [[[_move(p, a, q, b) for a in from_] for b in to] for (p, from_), (q, to) in pairs]
    if MANNERS[hands.manner].easy:
        spans = [[[along(a, b) for a in from_] for b in to] for (_, from_), (_, to) in pairs]
        edges = _least_leap(nodes, edges, spans)
    return [offer[i] for offer, i in zip(found, best_path(nodes, edges), strict=True)]


def _least_leap(
    nodes: list[list[float]], edges: list[list[list[float]]], spans: list[list[list[int]]]
) -> list[list[list[float]]]:
    """The edges without those that move further than the hardest move that some way through needs."""
    for widest in range(SPARE + 1):
        bound = [
            [
                [
                    cost + (FAR if far > widest else 0.0)
                    for cost, far in zip(costs, row, strict=True)
                ]
                for costs, row in zip(columns, fars, strict=True)
            ]
            for columns, fars in zip(edges, spans, strict=True)
        ]
        path = best_path(nodes, bound)
        if all(spans[t][path[t + 1]][path[t]] <= widest for t in range(len(spans))):
            return bound
    return edges


def along(a: Stroke, b: Stroke) -> int:
    """Frets that the hand moves along the neck; open strings leave it where it is."""
    return abs(b.hand - a.hand) if a.hand and b.hand else 0


def _away(stroke: Stroke, at: int) -> int:
    return abs(stroke.hand - at) if stroke.hand else at


def _move(p: Place, a: Stroke, q: Place, b: Stroke) -> float:
    """What going from one stroke to the next costs, in the time that there is."""
    frets = along(a, b)
    quick = min(QUICKEST, max(1.0, QUICK_Q / p.length_q)) if p.length_q else QUICKEST
    cost = quick * (ALONG * frets + LEAP * max(0, frets - LEAP_FROM))
    if q.held and (a.top, a.frets[6 - a.top]) != (b.top, b.frets[6 - b.top]):
        cost += STRUCK_AGAIN
    if a.top and b.top:
        cost += ACROSS * abs(a.top - b.top)
    if p.chord is not None and q.chord is not None:
        if _alike(p.chord, q.chord) and a.shape == b.shape and frets:
            cost -= SAME_SHAPE + min(ALONG * frets, SAME_SHAPE)
        if len(a.pitches) > 1 and len(b.pitches) > 1:
            cost += INNER * max(0, abs(a.pitches[-2] - b.pitches[-2]) - 2)
    return cost


def _alike(a: Chord, b: Chord) -> bool:
    """Whether two chords are of one quality on other roots."""
    return a.degrees == b.degrees and a.root.pc != b.root.pc


def reachable(held: Stroke, single: Stroke, capo: int) -> bool:
    """Whether a hand that holds a stroke can stop another note without letting go."""
    frets = [a if b < 0 else b for a, b in zip(held.frets, single.frets, strict=True)]
    pressed = [f for f in frets if f > 0]
    if not pressed:
        return True
    return max(pressed) - min(pressed) < reach(min(pressed) + capo) and fingers(frets) <= 4


def explained(place: Place, stroke: Stroke, before: Stroke | None) -> str:
    """Why the hand is here, in a guitarist's words; "" for nothing to say."""
    words = []
    if place.grip:
        words.append(_of_typed(place, stroke))
    elif place.chord is not None and len(stroke.pitches) < 2:
        words.append("no grip lies under this note: the tune alone")
    elif place.chord is not None:
        words += _left_out(place.chord, place, stroke)
    if stroke.hand and before is not None and before.hand:
        frets = stroke.hand - before.hand
        words.append(
            f"hand {'up' if frets > 0 else 'down'} {abs(frets)}" if frets else "hand stays"
        )
    words += _fingers(stroke)
    if place.at:
        words.append(f"asked for at {place.at}")
    if place.held:
        words.append("the tune is held over it")
    return ", ".join(words)


def _of_typed(place: Place, stroke: Stroke) -> str:
    """What became of a grip that is typed."""
    if stroke.frets == place.grip:
        return "grip as typed"
    if len(stroke.pitches) > 1:
        return "grip as typed, with the tune over it"
    return "the tune alone: no hand reaches it over the grip that is typed"


def _left_out(chord: Chord, place: Place, stroke: Stroke) -> list[str]:
    heard = {p % 12 for p in stroke.pitches}
    missing = [
        d.name
        for d in (chord.degrees[0], *chord.must_sound)
        if (chord.root.pc + d.semitones) % 12 not in heard
    ]
    if not missing:
        return []
    root = "the root is left to the bass" if "1" in missing and not place.alone else ""
    rest = [name for name in missing if not (root and name == "1")]
    return [*([root] if root else []), *([f"without its {' and '.join(rest)}"] if rest else [])]


def _fingers(stroke: Stroke) -> list[str]:
    """Which fingers, from the lowest string; of a note alone the one that lies on it."""
    if not stroke.hand:
        return ["open"]
    if len(stroke.pitches) == 1:
        return [f"finger {max(stroke.frets) - stroke.hand + 1}"]
    found = fingering(stroke.frets)
    return [] if found is None else [f"fingers {' '.join(str(f) for f in found if f)}"]


__all__ = ["Hands", "Place", "along", "explained", "offers", "reachable", "way"]
