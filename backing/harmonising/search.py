"""The cheapest ways through the candidates of every place, and others that really differ.

*Conventions*: a state is a candidate chord and how its bass came (held, or by which size and way), so that a line, a
turn, two skips running and a way back are exact in the search. Arrays are indexed [arrival, candidate]. Ties go to the candidate
that stands first in the palette, so that a transposed tune gets the same degrees.

*Sources*: dynamic programming (Bellman 1957, from memory). Results after the first come from searching again with the
chords already used made dearer: small edits of one path are no second opinion.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

NONE, STEP_UP, STEP_DOWN, THIRD_UP, THIRD_DOWN, FOURTH_UP, FOURTH_DOWN, TRITONE = ARRIVALS = range(
    8
)
ARRIVAL = np.array([NONE, STEP_UP, STEP_UP, THIRD_UP, THIRD_UP, FOURTH_UP, TRITONE,
                    FOURTH_DOWN, THIRD_DOWN, THIRD_DOWN, STEP_DOWN, STEP_DOWN])  # fmt: skip
FAR = 1e9


class Column(NamedTuple):
    """The candidates of one place: what each costs by itself, and its bass as a pitch class."""

    nodes: Floats  # (n,)
    bass: Ints  # (n,)


class Lattice(NamedTuple):
    """Columns, what each move between neighbours costs (edges[t][i, j]), and the cost of two arrivals running.

    Where `keeps[t]` is set, a bass that stays over that move goes on being heard as it came.
    """

    columns: Sequence[Column]
    edges: Sequence[Floats]
    turns: Floats  # (8, 8): arrival at the chord before, arrival here
    keeps: Sequence[bool]


def cheapest(lattice: Lattice, extra: Sequence[Floats] | None = None) -> list[int]:
    """The best candidate of every place; `extra` is added to the nodes."""
    columns = lattice.columns
    nodes = [c.nodes if extra is None else c.nodes + extra[t] for t, c in enumerate(columns)]
    reached = np.full((len(ARRIVALS), len(nodes[0])), FAR)
    reached[NONE] = nodes[0]
    trace: list[tuple[Ints, Ints, Ints]] = []
    for t, edge in enumerate(lattice.edges):
        arrival = _arrival(columns[t], columns[t + 1])
        onward = reached[:, None, :] + lattice.turns[:, :, None]  # (before, here, i)
        came = np.argmin(onward, axis=0)  # (here, i): arrival before
        best = np.min(onward, axis=0)
        moves = best[arrival, np.arange(len(best[0]))[:, None]] + edge  # (i, j)
        stays = np.where(arrival == NONE, edge, FAR) if lattice.keeps[t] else None
        before, reached = reached, np.full((len(ARRIVALS), len(nodes[t + 1])), FAR)
        origin = np.zeros((len(ARRIVALS), len(nodes[t + 1])), dtype=np.int64)
        for kind in ARRIVALS:
            masked = np.where(arrival == kind, moves, FAR)
            if stays is not None:
                kept = before[kind][:, None] + stays
                masked = kept if kind == NONE else np.minimum(masked, kept)
            origin[kind] = np.argmin(masked, axis=0)
            reached[kind] = np.min(masked, axis=0)
        reached = reached + nodes[t + 1]
        trace.append((origin, came, arrival))
    kind, at = divmod(int(np.argmin(reached)), reached.shape[1])
    path = [at]
    for t in reversed(range(len(trace))):
        origin, came, arrival = trace[t]
        i = int(origin[kind, at])
        arrived = int(arrival[i, at])
        if arrived != NONE or not lattice.keeps[t]:
            kind = int(came[arrived, i])
        at = i
        path.append(at)
    path.reverse()
    return path


def _arrival(before: Column, here: Column) -> Ints:
    """How the bass of each candidate comes from each one before it."""
    found: Ints = ARRIVAL[(here.bass[None, :] - before.bass[:, None]) % 12]
    return found


def cost_of(lattice: Lattice, path: Sequence[int]) -> float:
    """What a way costs without any extras."""
    columns = lattice.columns
    total = float(columns[0].nodes[path[0]])
    before = NONE
    for t, edge in enumerate(lattice.edges):
        i, j = path[t], path[t + 1]
        total += float(edge[i, j] + columns[t + 1].nodes[j])
        here = int(ARRIVAL[(columns[t + 1].bass[j] - columns[t].bass[i]) % 12])
        if here != NONE or not lattice.keeps[t]:
            total += float(lattice.turns[before, here])
            before = here
    return total


def varied(
    lattice: Lattice, first: Sequence[int], count: int, share: float = 0.25, step: float = 0.35
) -> list[list[int]]:
    """Up to `count` ways, `first` before others that differ from every one taken in at least `share` of the places."""
    taken = [list(first)]
    extra = [np.zeros(len(c.nodes)) for c in lattice.columns]
    free = [t for t, c in enumerate(lattice.columns) if len(c.nodes) > 1]
    for _ in range(6 * count):
        if len(taken) >= count or not free:
            break
        for t in free:
            extra[t][taken[-1][t]] += step / len(taken)
        path = cheapest(lattice, extra)
        if all(_differ(path, other, free) >= share for other in taken):
            taken.append(path)
        else:
            for t in free:
                extra[t][path[t]] += step
    return taken


def _differ(one: Sequence[int], other: Sequence[int], places: Sequence[int]) -> float:
    return sum(one[t] != other[t] for t in places) / max(1, len(places))
