"""Two hands on a drum kit: of more strokes at one place the ones that matter most are played.

Conventions: strokes are in order of place. The feet (kick, pedal hat) are free, and so is what a drum machine or a
second player adds (claps, shakers). Source: common practice; an accent goes to crash and snare before time-keeping.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

# What the hands strike, what is let go first last.
HANDS = (
    "crash", "crash 2", "china", "splash", "snare", "electric snare", "rim", "floor tom", "high floor tom", "low tom",
    "mid tom", "high mid tom", "high tom", "low timbale", "high timbale", "bell", "cowbell", "ride", "ride 2",
    "open hat", "hat",
)  # fmt: skip
_RANK = {drum: rank for rank, drum in enumerate(HANDS)}

Key = tuple[Fraction, str]


def two_hands(strokes: Sequence[Key]) -> list[Key]:
    """The strokes that two hands and two feet can play.

    >>> at = Fraction(1)
    >>> two_hands([(at, "hat"), (at, "high tom"), (at, "kick"), (at, "snare")])
    [(Fraction(1, 1), 'high tom'), (Fraction(1, 1), 'kick'), (Fraction(1, 1), 'snare')]
    """
    kept: list[Key] = []
    first = 0
    for after in range(1, len(strokes) + 1):
        if after < len(strokes) and strokes[after][0] == strokes[first][0]:
            continue
        here = strokes[first:after]
        hands = sorted((drum for _, drum in here if drum in _RANK), key=_RANK.__getitem__)
        kept += [key for key in here if key[1] not in hands[2:]]
        first = after
    return kept
