"""Places in a text as a browser counts them: in UTF-16 units, of which a character beyond U+FFFF has two."""

from __future__ import annotations

import re
from bisect import bisect_left
from typing import NamedTuple

_WIDE = re.compile(r"[\U00010000-\U0010ffff]")


class Units(NamedTuple):
    """The way between characters and units of one text.

    >>> units = Units.of("a𝄪b")
    >>> [units.of_character(n) for n in (0, 1, 2, 3)], [units.character(n) for n in (0, 1, 3, 4)]
    ([0, 1, 3, 4], [0, 1, 2, 3])
    """

    wide: tuple[int, ...]  # characters that count twice, in order

    @classmethod
    def of(cls, text: str) -> Units:
        return cls(() if text.isascii() else tuple(found.start() for found in _WIDE.finditer(text)))

    def of_character(self, at: int) -> int:
        """The unit at which character number `at` begins."""
        return at + bisect_left(self.wide, at)

    def character(self, unit: int) -> int:
        """The character that a unit belongs to."""
        low, high = max(0, unit - len(self.wide)), unit
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self.of_character(middle) <= unit else (low, middle - 1)
        return low
