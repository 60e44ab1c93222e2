"""The cheapest path through columns of candidates (dynamic programming; Bellman 1957, from memory).

Conventions: `nodes[t][j]` is what candidate j of step t costs by itself, `edges[t][j][i]` what it costs to come to
candidate j of step t + 1 from candidate i of step t. Ties go to the candidate that stands first.
"""

from __future__ import annotations

from collections.abc import Sequence
from operator import add

Matrix = Sequence[Sequence[float]]


def best_path(nodes: Sequence[Sequence[float]], edges: Sequence[Matrix]) -> list[int]:
    """One index a step; empty for no steps. Every step needs at least one candidate.

    >>> best_path([[0, 1], [5, 0], [0, 0]], [[[0, 9], [9, 0]], [[0, 9], [9, 0]]])
    [1, 1, 1]
    """
    if not nodes:
        return []
    total = list(nodes[0])
    came: list[list[int]] = []
    for own, columns in zip(nodes[1:], edges, strict=True):
        reached, origin = [], []
        for cost, column in zip(own, columns, strict=True):
            sums = list(map(add, total, column))
            least = min(sums)
            reached.append(least + cost)
            origin.append(sums.index(least))
        total = reached
        came.append(origin)
    at = total.index(min(total))
    path = [at]
    for origin in reversed(came):
        at = origin[at]
        path.append(at)
    path.reverse()
    return path


def jitter(roll: float, count: int, size: float) -> list[float]:
    """`count` numbers in [0, size) from one roll: chance that breaks near-ties at the cost of one draw."""
    return [(roll * 7919.0 * (i + 1) + i * 0.6180339887) % 1.0 * size for i in range(count)]
