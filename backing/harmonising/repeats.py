"""Equal bars get equal chords: what one playing of a bar chose is cheaper in the others.

*Sources*: a repeated bar keeps its chords (common practice).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from backing.harmonising.candidates import Candidate
from backing.harmonising.melody import Melody, Place, alike
from backing.harmonising.search import Floats, Lattice, cheapest

Chosen = tuple[int, str, int]  # root, quality, bass


def agreed(
    lattice: Lattice,
    chords: Sequence[Sequence[Candidate]],
    melody: Melody,
    places: Sequence[Place],
    reward: float,
) -> tuple[Lattice, list[int]]:
    """The lattice with the chords that equal bars agree on made cheaper, and the cheapest way through it."""
    path = cheapest(lattice)
    groups = _groups(melody, places)
    if not groups or not reward:
        return lattice, path
    for _ in range(2):
        extra: list[Floats] = [np.zeros(len(c.nodes)) for c in lattice.columns]
        for group in groups:
            votes = Counter(_chosen(chords[t][path[t]]) for t in group)
            wanted = votes.most_common(1)[0][0]  # of equally many the first in time
            for t in group:
                for j, candidate in enumerate(chords[t]):
                    if _chosen(candidate) == wanted:
                        extra[t][j] -= reward
        path = cheapest(lattice, extra)
    columns = [c._replace(nodes=c.nodes + e) for c, e in zip(lattice.columns, extra, strict=True)]
    return lattice._replace(columns=columns), path


def _chosen(candidate: Candidate) -> Chosen:
    return candidate.root, candidate.colour.quality, candidate.bass


def _groups(melody: Melody, places: Sequence[Place]) -> list[list[int]]:
    """Places at the same offset of equal bars, the last bar of the tune apart."""
    of_bar: dict[int, list[int]] = {}
    for t, place in enumerate(places):
        of_bar.setdefault(place.bar, []).append(t)
    found: list[list[int]] = []
    for bars in alike(melody):
        by_offset: dict[tuple[Fraction, Fraction], list[int]] = {}
        for bar in bars:
            if bar == len(melody.bars) - 1:
                continue
            for t in of_bar.get(bar, ()):
                offset = places[t].start_q - melody.bars[bar].start_q
                by_offset.setdefault((offset, places[t].length_q), []).append(t)
        found.extend(group for group in by_offset.values() if len(group) > 1)
    return found
