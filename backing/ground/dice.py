"""Chance as a function of a place.

A number depends on what it is for (seed, part, section, pass, bar, decision) and on nothing else: not on how many
numbers were asked for before, not on the Python version or the machine. Editing one bar therefore leaves every other
bar's choices alone. BLAKE2b (RFC 7693) hashes the key.
"""

from __future__ import annotations

from collections.abc import Sequence
from struct import iter_unpack
from typing import NamedTuple, TypeVar

try:  # what hashlib hands on, without the cryptographic library that hashlib loads first (3 ms)
    from _blake2 import blake2b
except ImportError:
    from hashlib import blake2b

T = TypeVar("T")

_SCALE = 1 / 2**53


def at(*key: object) -> float:
    """A number in [0, 1) for a key of strings and whole numbers.

    >>> at(1, "bass", "A", 1, 4, "approach") == at(1, "bass", "A", 1, 4, "approach")
    True
    >>> at(1, "bass", "A", 1, 4, "approach") == at(2, "bass", "A", 1, 4, "approach")
    False
    """
    digest = blake2b("\x1f".join(map(str, key)).encode(), digest_size=8).digest()
    return (int.from_bytes(digest, "big") >> 11) * _SCALE


def row(count: int, *key: object) -> list[float]:
    """`count` numbers in [0, 1) for a key, as from a row of dice; a longer row begins like a shorter one.

    >>> row(40, 1, "bass")[:3] == row(3, 1, "bass")
    True
    """
    stem = "\x1f".join(map(str, key)).encode()
    numbers: list[float] = []
    block = 0
    while len(numbers) < count:
        digest = blake2b(stem + b"\x1e%d" % block, digest_size=64).digest()
        numbers.extend(n / 65536 for (n,) in iter_unpack(">H", digest))
        block += 1
    return numbers[:count]


class Place(NamedTuple):
    """A stem of a key; `roll(decision)` draws there.

    The usual stem is (seed, part, section name, pass, bar within the section).
    """

    key: tuple[object, ...]

    def roll(self, *decision: object) -> float:
        """A number in [0, 1)."""
        return at(*self.key, *decision)

    def pick(self, items: Sequence[T], weights: Sequence[float], *decision: object) -> T:
        """One of `items`, by weight; weights need not add up to 1 but must not all be 0."""
        return self.by_turns(items, weights, 0, 0.0, *decision)

    def by_turns(
        self,
        items: Sequence[T],
        weights: Sequence[float],
        number: int,
        step: float,
        *decision: object,
    ) -> T:
        """One of `items` for each number in turn, so that among few of them each comes about as often as it weighs.

        `step` is an irrational share of 1 (a Kronecker sequence): what two decisions have in common falls apart where
        their steps differ.
        """
        mark = (self.roll(*decision) + number * step) % 1 * sum(weights)
        for item, weight in zip(items, weights, strict=True):
            mark -= weight
            if mark < 0:
                return item
        return items[-1]

    def chance(self, probability: float, *decision: object) -> bool:
        """True with the given probability."""
        return self.roll(*decision) < probability

    def spread(self, *decision: object) -> float:
        """A number in (-1, 1), denser near 0 (the mean of three), standard deviation 1/3."""
        return (
            self.roll(*decision, 0) + self.roll(*decision, 1) + self.roll(*decision, 2)
        ) * 2 / 3 - 1

    def at(self, *more: object) -> Place:
        """A longer stem."""
        return Place(self.key + more)
