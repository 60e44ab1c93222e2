"""Chord symbols: text to `Chord`.

    >>> chord = read("F#m7b5/C")
    >>> chord.symbol, [n.name for n in chord.notes]
    ('F#m7b5/C', ['F#', 'A', 'C', 'E'])

The class lives in `chord`, the grammar in `reader`, characters and note names in `letters`, the table in `qualities`.
"""

from backing.harmony.chord import Chord
from backing.harmony.letters import SymbolError, SymbolWarning
from backing.harmony.reader import read, read_with_warnings

__all__ = ["Chord", "SymbolError", "SymbolWarning", "read", "read_with_warnings"]
