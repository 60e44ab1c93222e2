"""What a strip does to a sound in time, before its filters: fold, drive and compression, block after block.

Everything is made of sums, products, quotients and square roots, which are exact to the last bit on every machine:
that is why the ratio is 2 to 1 and the bend is x / sqrt(1 + x²).

Conventions: a compressor looks at the peak of every grain, reaches most of its gain within `ATTACK_MS` and gives it back
within `RELEASE_MS`; its curve has a value at each border of a grain and runs straight between them (as in `limit`).
Sources: feed-forward compression and these times are common practice for bass, drums, horns and voices.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Mapping
from typing import TYPE_CHECKING

from backing.ground.instruments import Instrument
from backing.output.sound import limit
from backing.output.sound.balance import UNMEASURED, trim_db
from backing.output.sound.strip import RATE, Strip, strip_of
from backing.performance.model import PerformedPlayer

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

ATTACK_MS, RELEASE_MS = 12.0, 120.0
GRAIN_MS = 1000 * limit.GRAIN / RATE
_ATTACK, _RELEASE = GRAIN_MS / (ATTACK_MS + GRAIN_MS), GRAIN_MS / (RELEASE_MS + GRAIN_MS)
# A note at its common measure peaks here; drive 1 bends it as far as `_BENT` of where the curve is flat.
COMMON_PEAK_DB = -22.0
_BENT = 0.8
_LEAN = 0.4  # off the middle of the curve: even overtones too, as of a string against a board


class Dynamics:
    """The state of one player's fold, drive and compression. `trim` is the factor to its common measure."""

    __slots__ = ("_full", "_gain", "_heard", "_lean", "_strip", "_threshold")

    def __init__(self, strip: Strip, trim: float) -> None:
        self._strip = strip
        self._threshold = 10 ** (strip.above_db / 20) / trim
        self._full = 10 ** (COMMON_PEAK_DB / 20) / trim / (_BENT * (strip.drive or 1.0))
        # strokes of a drum reach as far down as up, and are rounded alike
        self._lean = _LEAN if strip.fold else 0.0
        self._gain = 1.0
        self._heard = 1.0

    def apply(self, sound: Samples) -> None:
        """Treat the next block in place."""
        heard = _middle(sound) if self._strip.fold else sound
        if self._strip.drive:
            _bend(heard, self._full, self._lean)
        if self._strip.above_db:
            limit.apply(heard, self._curve(limit.sample_peaks(heard)), 0)
        if self._strip.fold:
            sound[:] = heard

    def rest(self) -> None:
        """A block was silent, which is longer than anything is remembered."""
        self._gain = self._heard = 1.0

    def _curve(self, peaks: NDArray[np.float32]) -> NDArray[np.float32]:
        """The gain at the borders of the grains."""
        import numpy as np

        gain, heard, threshold = self._gain, self._heard, self._threshold
        wanted = np.sqrt(threshold / np.maximum(peaks.astype(np.float64), threshold)).tolist()
        found = [gain]
        for goal in wanted:
            # the lowest gain that was wanted is let go of slowly, and followed softly
            heard = goal if goal < heard else heard + (1.0 - heard) * _RELEASE
            gain += (heard - gain) * _ATTACK
            found.append(gain)
        self._gain, self._heard = gain, heard
        return np.array(found, np.float32)


def treated(
    player: PerformedPlayer,
    blocks: Generator[Samples, None, None],
    levels: Mapping[str, float] = UNMEASURED,
) -> Generator[Samples, None, None]:
    """A player's sound block after block, treated as the instrument asks that is in its hands; in place."""
    starts: list[tuple[int, Instrument]] = [(0, player.voices[0].instrument)]
    for voice in player.voices[1:]:
        if voice.instrument != starts[-1][1]:
            starts.append((limit.GRAIN * round(voice.at_s * RATE / limit.GRAIN), voice.instrument))
    pending = [
        (start, Dynamics(strip_of(player.role, i), 10 ** (trim_db(player.role, i, levels) / 20)))
        for start, i in starts
    ]
    at = 0
    try:
        for block in blocks:
            end = at + len(block)
            while pending:
                start, dynamics = pending[0]
                until = min(end, pending[1][0]) if len(pending) > 1 else end
                piece = block[max(start, at) - at : max(until, at) - at]
                if piece.any():
                    dynamics.apply(piece)
                else:
                    dynamics.rest()
                if len(pending) == 1 or pending[1][0] > end:
                    break
                pending.pop(0)
            at = end
            yield block
    finally:
        blocks.close()


def _middle(sound: Samples) -> Samples:
    """The middle of both sides, shape (n, 1)."""
    middle = sound[:, :1] + sound[:, 1:]
    middle *= sound.dtype.type(0.5)
    return middle


def _bend(sound: Samples, full: float, lean: float) -> None:
    """Round what is loud: x / sqrt(1 + x²) off its middle, as loud as before where it is soft."""
    import numpy as np

    one = sound.dtype.type(1.0)
    leaned = sound * sound.dtype.type(1 / full)
    leaned += sound.dtype.type(lean)
    leaned /= np.sqrt(one + leaned * leaned)
    leaned -= sound.dtype.type(lean / math.sqrt(1 + lean**2))
    level = 1 + lean**2
    leaned *= sound.dtype.type(full * level * math.sqrt(level))
    sound[:] = leaned
