"""What a move from one chord to the next costs, and the lattice that is searched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from backing.harmonising import hymn
from backing.harmonising.candidates import Candidate, Ground, Row, Side, candidates
from backing.harmonising.costs import (
    BASS_MOTION,
    BASS_WISH,
    BY_FAMILY,
    DEGREE_MOTION,
    IN_MINOR,
    ROOT_MOTION,
)
from backing.harmonising.melody import Place
from backing.harmonising.search import (
    ARRIVALS,
    FOURTH_DOWN,
    FOURTH_UP,
    NONE,
    STEP_DOWN,
    STEP_UP,
    THIRD_DOWN,
    THIRD_UP,
    TRITONE,
    Column,
    Flags,
    Floats,
    Ints,
    Lattice,
)

CHANGES = ("change on beat", "change in half", "change on bar")  # by the weight of the place
ROOTS, BASSES, MAJOR = np.array(ROOT_MOTION), np.array(BASS_MOTION), np.array(DEGREE_MOTION)
MINOR = MAJOR.copy()
for _move, _cost in IN_MINOR.items():
    MINOR[_move] = _cost


def lattice(ground: Ground) -> tuple[Lattice, list[tuple[Candidate, ...]]]:
    """The columns, edges and turns for a melody in one manner, and the candidates behind the columns."""
    rows = candidates(ground)
    columns = [
        Column(row.nodes + _ends(ground, t, row.chords), row.side.bass)
        for t, row in enumerate(rows)
    ]
    edges = _edges(ground, rows)
    keeps = [place.free for place in ground.places[1:]]
    return Lattice(columns, edges, turns(ground.weights), keeps), [row.chords for row in rows]


def turns(w: Mapping[str, float]) -> Floats:
    """Cost of two arrivals of the bass running: a line goes on, a skip is answered by a step back, not by itself.

    Fourths in one direction go round the cycle of fifths, in whichever octave: they are no two skips.
    """
    table = np.zeros((len(ARRIVALS), len(ARRIVALS)))
    table[STEP_UP, STEP_UP] = table[STEP_DOWN, STEP_DOWN] = -w["line"]
    ups, downs = (THIRD_UP, FOURTH_UP, TRITONE), (THIRD_DOWN, FOURTH_DOWN)
    for skips, back in ((ups, STEP_DOWN), (downs, STEP_UP)):
        table[skips, back] = -w["line"] / 2
        table[np.ix_(skips, skips)] = w["two skips"]
    table[FOURTH_UP, FOURTH_UP] = table[FOURTH_DOWN, FOURTH_DOWN] = 0.0
    for up, down in ((THIRD_UP, THIRD_DOWN), (FOURTH_UP, FOURTH_DOWN)):
        table[up, down] = table[down, up] = w["there and back"]
    table[STEP_UP, STEP_DOWN] = table[STEP_DOWN, STEP_UP] = w["turn back"]
    table[NONE, NONE] = w["two skips"] / 2
    return table


def _ends(ground: Ground, t: int, cands: Sequence[Candidate]) -> Floats:
    """What some places ask of a chord: the first, and those under the last note, the tonic of the home key; others
    that it is not what it was."""
    w, tonic, was = ground.weights, ground.home.tonic.pc, ground.places[t].was
    extra = np.zeros(len(cands))
    if was is not None:
        old = (was.root.pc, was.quality, was.lowest.pc)
        extra += [w["as it was"] * ((c.root, c.colour.quality, c.bass) == old) for c in cands]
    if t == ground.opening:
        extra += [0.0 if c.root == tonic and not c.colour.dominant else w["opening"] for c in cands]
    if ground.places[t].end_q > ground.melody.notes[-1].start_q:  # under the last note
        extra += [0.0 if _at_home(c, ground) else w["close"] for c in cands]
    return extra


def _at_home(candidate: Candidate, ground: Ground) -> bool:
    """A chord of rest on the tonic of the home key, in root position; in a hymn a minor key may end on a major triad."""
    family, home = candidate.colour.family, ground.home
    rests = family == ("minor" if home.minor else "major") or (ground.hymn and family == "major")
    return rests and candidate.root == candidate.bass == home.tonic.pc


def _edges(ground: Ground, rows: Sequence[Row]) -> list[Floats]:
    """Cost of every move between neighbours. What does not depend on the tune is counted once for equal sides."""
    known: dict[tuple[int, int, int, bool, bool, bool], Floats] = {}
    edges, rests = [], ground.rests
    for t, (before, here) in enumerate(pairwise(rows)):
        place = ground.places[t + 1]
        closing = rests[t + 1] or (place.weight == 2 and place.bar in ground.phrase_ends)
        fresh = place.weight == 2 and (
            place.bar - 1 in ground.phrase_ends or t + 1 == ground.opening
        )
        mark = (id(before.side), id(here.side), place.weight, closing, fresh, place.free)
        if mark not in known:
            known[mark] = _harmony(ground, before.side, here.side, place, closing, fresh)
        edges.append(known[mark] + _outer(ground, t, before.side, here.side))
    return edges


def _harmony(ground: Ground, a: Side, b: Side, place: Place, closing: bool, fresh: bool) -> Floats:
    """Everything about a move but the tune: roots, basses, qualities, dominants, cadences, holding. `closing`: a phrase
    ends there, `fresh`: one begins."""
    w = ground.weights
    up = _between(a.bass, b.bass)
    root_up = _between(a.root, b.root)
    alike = a.quality[:, None] == b.quality[None, :]
    held = alike & (root_up == 0) & (up == 0)
    size = np.minimum(up, 12 - up)
    if ground.hymn:
        cost: Floats = hymn.moves(a.number, b.number, a.diminished, root_up)
        if place.free:
            cost = np.where(root_up == 0, 0.0, cost)
        return cost + w["bass motion"] * BASSES[size] + _bass_wish(ground.bass, up, root_up)
    moving = (
        w["root motion"] * ROOTS[root_up]
        + w["degree motion"]
        * (MINOR if ground.home.minor else MAJOR)[a.number[:, None], b.number[None, :]]
        + w["bass motion"] * BASSES[size]
        + w[CHANGES[place.weight]] * (1.0 if place.free else w["change asked"])
        + w["same quality"] * (alike & (root_up != 0))
        + _dominants(w, a.dominant, b.dominant, root_up)
        - w["prepares"] * (a.minor[:, None] & b.dominant[None, :] & (root_up == 5))
        + _bass_wish(ground.bass, up, root_up)
    )
    staying = _staying(ground, place, fresh) + _bass_wish(ground.bass, up, root_up)
    return np.where(held, staying, moving) + _cadences(w, a, b, held, closing, fresh)


def _cadences(
    w: Mapping[str, float], a: Side, b: Side, held: Flags, closing: bool, fresh: bool
) -> Floats:
    """The reward of a cadence where a phrase ends; elsewhere a full one is early, but where a phrase begins."""
    full = (b.above[None, :] == 0) & (a.above[:, None] == 7)
    half = ~held & (b.above[None, :] == 7) & (b.above_bass[None, :] == 7)
    early = 0.0 if closing or fresh else w["early close"]
    reward = w["cadence"] if closing else 0.0
    cost: Floats = early * (full & a.dominant[:, None]) - reward * (full | half)
    return cost


def _staying(ground: Ground, place: Place, fresh: bool) -> float:
    """What a chord that goes on costs. Where none was asked for it may, but a bar line asks in the richer manners, and
    the beginning of a phrase in all."""
    w = ground.weights
    if place.free and (place.weight < 2 or (ground.manner in BY_FAMILY and not fresh)):
        return w["two skips"] / 2
    return w["held over bar" if place.weight == 2 else "held"]


def _between(one: Ints, other: Ints) -> Ints:
    """Semitones up from each of one row to each of the other."""
    return (other[None, :] - one[:, None]) % 12


def _dominants(w: Mapping[str, float], a: Flags, b: Flags, root_up: Ints) -> Floats:
    """A dominant seventh falls a fifth or slides down a semitone, or evades by a step up; two running want a reason."""
    leads, moves = a[:, None], root_up != 0
    falls = (root_up == 5) | (root_up == 11)
    evades = ((root_up == 1) | (root_up == 2)) & ~b[None, :]
    cost: Floats = (
        -w["resolves"] * (leads & falls)
        + w["unresolved"] * (leads & ~falls & ~evades & moves)
        + w["two dominants"] * (leads & b[None, :] & moves)
    )
    return cost


def _bass_wish(wish: str, up: Ints, root_up: Ints) -> Floats:
    """What was asked of the bass: to fall or rise by step, to stay, or to go round the cycle of fifths."""
    asked = {
        "falling": (up == 10) | (up == 11),
        "rising": (up == 1) | (up == 2),
        "still": up == 0,
        "cycle": root_up == 5,
    }
    return -BASS_WISH * asked[wish] if wish in asked else np.zeros(up.shape)


def _outer(ground: Ground, t: int, a: Side, b: Side) -> Floats:
    """Tune and bass: against each other, with each other, in parallel."""
    w = ground.weights
    first, second = (ground.tops[t], ground.tops[t + 1])
    if first is None or second is None or first == second:
        return np.zeros((1, 1))
    direction = 1 if second > first else -1
    up = _between(a.bass, b.bass)
    bass = np.sign(np.where(up == 0, 0, 6 - up))
    before, here = (first - a.bass)[:, None] % 12, (second - b.bass)[None, :] % 12
    parallel = ((before == 0) & (here == 0)) | ((before == 7) & (here == 7))
    cost: Floats = w["contrary"] * direction * bass + w["parallel"] * (parallel & (up != 0))
    return cost
