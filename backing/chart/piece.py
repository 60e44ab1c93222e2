"""What all sections of a chart share while they are read."""

from __future__ import annotations

from fractions import Fraction

from backing.chart.codes import Faults
from backing.chart.steering import Seen
from backing.chart.symbols import Symbols
from backing.harmony.symbol import Chord


class Piece:
    """The text, its symbols, and what the next bar has to know: its number, and the chord before it."""

    __slots__ = (
        "bars",
        "chord",
        "faults",
        "german",
        "latin",
        "number",
        "pickup",
        "plain",
        "seen",
        "symbols",
        "typed",
    )

    def __init__(
        self,
        plain: str,
        typed: str,
        faults: Faults,
        german: bool,
        pickup: Fraction | None,
        wanted: bool = False,
        latin: bool = False,
    ):
        self.plain, self.typed, self.faults, self.german = plain, typed, faults, german
        self.symbols = Symbols(faults, german, wanted, latin)
        self.latin = latin
        self.pickup = pickup
        self.number = 0 if pickup else 1
        self.bars = 0
        self.chord: tuple[Chord | None, str] | None = None  # the last of the section before
        self.seen: list[Seen] = []  # directions for the order of play
