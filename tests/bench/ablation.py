"""What each cost of the harmoniser does: every one taken away in turn, over chorales and over invented lines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import pairwise
from typing import Any, NamedTuple
from unittest.mock import patch

from backing.harmonising import costs, harmonise, hymn
from backing.harmonising.wishes import Wishes
from tests.bench.harmonising import Chorale, measured
from tests.test_harmonising import faults, strange

LINES = 24
TABLES = ("TUNE", "NEXT", "BEFORE", "STRONG", "FIRST", "DEGREES", "ROOTS", "SAME")


class Heard(NamedTuple):
    """Shares in per cent over the places of invented lines, and faults in all."""

    faults: int
    bass: float  # moves by step, fourth or fifth
    dominants: float
    largest: float  # share of the commonest quality
    slash: float

    def __str__(self) -> str:
        return f"{self.faults:>8}{self.bass:>8.1f}{self.dominants:>11.1f}{self.largest:>10.1f}{self.slash:>8.1f}"


def heard(manner: str) -> Heard:
    """The figures of some invented lines in the manner."""
    wishes = Wishes(manner=manner, every="beat", results=1)
    wrong, moves, chords = 0, Counter[bool](), []
    for seed in range(LINES):
        tune = strange(seed)
        placed = harmonise.harmonise(tune, wishes)[0].chords
        wrong += sum(len(faults(p, tune)) for p in placed)
        chords += [p.chord for p in placed]
        for one, two in pairwise(placed):
            up = (two.chord.lowest.pc - one.chord.lowest.pc) % 12
            if up:
                moves[min(up, 12 - up) in (1, 2, 5)] += 1
    share = 100 / len(chords)
    return Heard(
        wrong,
        100 * moves[True] / moves.total(),
        share * sum(c.family in ("dominant", "suspended") for c in chords),
        share * Counter(c.quality for c in chords).most_common(1)[0][1],
        share * sum(c.bass is not None for c in chords),
    )


@contextmanager
def without(name: str) -> Iterator[None]:
    """A cost of the table has no weight."""

    def less(column: int) -> dict[str, float]:
        return costs.weights(column) | {name: 0.0}

    with patch.object(harmonise, "weights", less):
        yield


@contextmanager
def without_table(name: str) -> Iterator[None]:
    """A table of the hymn is all noughts."""
    hymn.chords.cache_clear()
    with patch.object(hymn, name, _noughts(getattr(hymn, name))):
        yield
    hymn.chords.cache_clear()


def _noughts(table: Any) -> Any:
    if isinstance(table, dict):
        return {key: _noughts(value) for key, value in table.items()}
    return tuple(map(_noughts, table)) if isinstance(table, tuple) else 0.0


def table(given: Sequence[Chorale]) -> Iterator[str]:
    """The lines of the report."""
    yield "chorales, diatonic, a chord a beat"
    yield f"{'all':<20}{measured(given, 'diatonic')[0]}"
    for name in TABLES:
        with without_table(name):
            yield f"- {name.lower():<18}{measured(given, 'diatonic')[0]}"
    for manner in ("colourful", "chromatic"):
        yield f"invented lines, {manner}, a chord a beat"
        yield f"{'':<20}{'faults':>8}{'bass':>8}{'dominants':>11}{'largest':>10}{'slash':>8}"
        yield f"{'all':<20}{heard(manner)}"
        for row in costs.TABLE:
            with without(row.name):
                yield f"- {row.name:<18}{heard(manner)}"
