"""The notes between two anchors of a bass line: a search over everything that a hand could play there.

An *anchor* is a note that is settled first: the root or written bass where a chord begins, a chord tone where a bar
begins in a chord that goes on. Between two anchors lie `n` free notes. `routes` finds the best ways through them; which
of the near-ties is taken is the player's chance.

Conventions: a route is told relative to its first anchor (offset 0), so one search serves every key and octave; costs
are in points, lower is better, and a half point is about what a listener notices. Nothing leaps more than an octave.
Sources: a chord's first beat states it, the beat before a chord approaches it, strong beats hold chord tones and weak
beats anything that connects (Fitzgerald, walking bass basics); a chromatic passing note comes and goes by half step;
the figures are common practice.
"""

from __future__ import annotations

from functools import lru_cache
from math import exp, inf
from typing import NamedTuple

# Points for a move of 0 to 12 semitones: steps are free, fourths and fifths natural, sixths and sevenths rare.
_MOVES = (2.6, 0.1, 0.0, 0.35, 0.4, 0.5, 1.8, 0.7, 1.5, 1.5, 3.0, 3.2, 1.2)

FARTHEST = 12  # semitones that a route may leave the span of its anchors; also the widest leap
BEAM = 24  # routes kept at each note of the search
NEAR = 1.1  # points within which two routes are equally good to a player
KEPT = 8
GOAL_TOLD = 0.5  # points for a free note that is the next anchor already
BACK = 0.9  # points for the note before last again
INTO = 0.6  # share of the points of the move into the next anchor
LIKED = 1.1  # points that a two-feel gives for a fifth
DEAREST = 4.0  # points from which a note is not played
# points for an approach by half step (in the scale, outside of it) and by whole step, so that about half of the steps into
# a chord are half steps
HALF_STEP, WHOLE_STEP = (0.35, 0.5), 0.3
_FIFTHS = (6, 7, 8)  # semitones: the fifth, altered or not

Grown = tuple[
    float, tuple[int, ...], int, int
]  # points, the way so far, its last note, the move into it
# points, note, points more for a leap to it, whether only a half step leads to it
Offer = tuple[float, int, float, bool]


class Route(NamedTuple):
    """Offsets of the free notes from the first anchor, and what the way costs."""

    offsets: tuple[int, ...]
    cost: float

    @property
    def weight(self) -> float:
        """How readily a player takes it."""
        return exp(-1.6 * self.cost)


def move_cost(semitones: int) -> float:
    """Points for going from one anchor to the next with nothing between."""
    size = abs(semitones)
    return _MOVES[size] if size <= FARTHEST else 8.0 + size


class _Ground(NamedTuple):
    """What a way leads over: chord and scale, the first anchor in them, the next anchor and the room on both sides.

    As `routes` tells them; `low` and `high` count from the first anchor.
    """

    chord_rel: int
    scale_rel: int
    start_rel: int
    leap: int
    low: int
    high: int
    broad: bool
    leads: bool


@lru_cache(maxsize=65536)
def routes(
    chord_rel: int,
    scale_rel: int,
    start_rel: int,
    leap: int,
    strong: tuple[bool, ...],
    below: int,
    above: int,
    broad: bool = False,
    leads: bool = True,
) -> tuple[Route, ...]:
    """The best ways from an anchor to the next one, best first; empty where there is none.

    `chord_rel` and `scale_rel` are bit masks over semitones above the root, `start_rel` is the first anchor in them,
    `leap` the way to the next anchor in semitones. `strong` has one entry a free note. The line may go `below` and
    `above` the first anchor. `broad` is a two-feel: fifths and octaves count for more than approaches.
    `leads` is false where the chord goes on, so that nothing has to be approached.
    """
    if not strong:
        return (Route((), move_cost(leap)),) if abs(leap) <= FARTHEST else ()
    low, high = max(-below, min(0, leap) - 9), min(above, max(0, leap) + 9)
    ground = _Ground(chord_rel, scale_rel, start_rel, leap, low, high, broad, leads)
    beam: list[Grown] = [(0.0, (), 0, 0)]
    for on_strong in strong[:-1]:
        beam = _longer(beam, ground, _connecting(ground, on_strong), last=False)
    beam = _longer(beam, ground, _leading(ground), last=True)
    return tuple(Route(path, cost) for cost, path, _, _ in beam if cost <= beam[0][0] + NEAR)


def _connecting(ground: _Ground, on_strong: bool) -> list[Offer]:
    """Every free note but the last, the cheapest first."""
    free = _free(ground.chord_rel, ground.scale_rel, on_strong, ground.broad)
    offers: list[Offer] = []
    for there in range(ground.low, ground.high + 1):
        cost, liked, leapt, chromatic = free[(ground.start_rel + there) % 12]
        cost += GOAL_TOLD if there == ground.leap else 0.0
        cost -= liked
        if cost < DEAREST:
            offers.append((cost, there, leapt, chromatic))
    return sorted(offers)


def _leading(ground: _Ground) -> list[Offer]:
    """Every last free note, with its way into the next anchor, the cheapest first."""
    leap = ground.leap
    offers: list[Offer] = []
    for there in range(max(ground.low, leap - FARTHEST), min(ground.high, leap + FARTHEST) + 1):
        rel = (ground.start_rel + there) % 12
        chord_tone, in_scale = ground.chord_rel >> rel & 1, ground.scale_rel >> rel & 1
        cost = _approach(there - leap, chord_tone, in_scale, ground.broad, ground.leads)
        cost += INTO * _MOVES[abs(there - leap)]
        if ground.broad and chord_tone and rel in _FIFTHS:
            cost -= LIKED
        if cost < DEAREST:
            offers.append((cost, there, 0.0, False))
    return sorted(offers)


def _longer(beam: list[Grown], ground: _Ground, offers: list[Offer], last: bool) -> list[Grown]:
    """The best ways with one note more, best first. A way that costs more than those kept is not followed."""
    keep = KEPT if last else BEAM
    limit = inf
    grown: list[Grown] = []
    for way in beam:  # the cheapest first
        if not offers or way[0] + offers[0][0] > limit:
            break
        grown += _continued(way, ground, offers, limit, last)
        if len(grown) > keep:
            grown.sort()
            del grown[keep:]
            limit = min(grown[-1][0], grown[0][0] + NEAR) if last else grown[-1][0]
    return sorted(grown)


def _continued(
    way: Grown, ground: _Ground, offers: list[Offer], limit: float, last: bool
) -> list[Grown]:
    """A way with each of the notes that may follow, as far as it costs no more than `limit`."""
    cost, path, here, came = way
    back = path[-2] if len(path) > 1 else 0 if path else None
    turn = _TURN[came]
    outside = not ground.scale_rel >> (ground.start_rel + here) % 12 & 1  # it is left as it came
    found: list[Grown] = []
    for own, there, leapt, chromatic in offers:
        total = cost + own
        if total > limit:
            break
        move = there - here
        size = abs(move)
        if size > FARTHEST or ((chromatic or outside) and size != 1):
            continue
        total = total + _MOVES[size] + turn[move]
        if size > 2:
            total += leapt
        if there == back:
            total += BACK
        if last:
            total += _TURN[move][ground.leap - there]
        if total <= limit:
            found.append((total, (*path, there), there, move))
    return found


def _turn(came: int, move: int) -> float:
    """Points for how a move follows the move before: leaps are answered, steps go on."""
    if came == 0 or move == 0:
        return 0.0
    same = (came > 0) == (move > 0)
    wide, next_wide = abs(came), abs(move)
    if same:
        if wide >= 3 and next_wide >= 3:
            return 0.15 if wide + next_wide <= 8 else 1.0
        return 0.35 if wide >= 5 else 0.0
    return 0.55 if wide <= 2 and next_wide <= 2 else 0.1


@lru_cache(maxsize=4096)
def _free(
    chord_rel: int, scale_rel: int, on_strong: bool, broad: bool
) -> tuple[tuple[float, float, float, bool], ...]:
    """What a free note before the last one costs, one entry a semitone above the root.

    Points, points less where it is liked, points more for a leap to it, whether only a half step leads to it.
    """
    found = []
    for rel in range(12):
        chord_tone, in_scale = chord_rel >> rel & 1, scale_rel >> rel & 1
        liked = LIKED if broad and chord_tone and rel in _FIFTHS else 0.0
        leapt = 0.0 if chord_tone else 0.5
        found.append((_rest(on_strong, chord_tone, in_scale, broad), liked, leapt, not in_scale))
    return tuple(found)


def _rest(on_strong: bool, chord_tone: int, in_scale: int, broad: bool) -> float:
    """Points for a free note that is not the approach."""
    if chord_tone:
        return 0.0 if on_strong else 0.2
    if in_scale:
        cost = 1.1 if on_strong else 0.25
    else:
        cost = 9.0 if on_strong else 0.9
    return cost + (1.0 if broad else 0.0)


def _approach(from_target: int, chord_tone: int, in_scale: int, broad: bool, leads: bool) -> float:
    """Points for the last free note, by its distance from the next anchor."""
    size = abs(from_target)
    if size == 0:
        return 3.0
    if size == 1:
        cost = HALF_STEP[0] if in_scale else HALF_STEP[1]
    elif size == 2:
        cost = WHOLE_STEP if in_scale else 1.6
    elif from_target in (7, -5):
        cost = 0.4 if in_scale else 0.9
    elif chord_tone:
        cost = 0.8
    else:
        return 3.0 if in_scale else 6.0
    if not leads:
        return 0.2 if chord_tone else cost + 0.4
    if broad:
        return cost - 0.5 if chord_tone else cost + 0.4
    return cost - 0.15 if chord_tone else cost


# Points for one move after another, by both in semitones; built once.
_TURN: dict[int, dict[int, float]] = {
    came: {move: _turn(came, move) for move in range(-12, 13)} for came in range(-12, 13)
}
