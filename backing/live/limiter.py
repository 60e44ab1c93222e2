"""The limiter of a sound that is not known ahead: the curve of `output.sound.limit`, one hop behind.

Conventions: the curve has a value in dB at each border of a grain; what it needs is known one hop ahead, enough for
5.6 dB at the usual attack, and a harder peak bends the curve faster. Nothing passes the ceiling.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backing.live.session import HOP
from backing.output.sound import limit

GRAINS = HOP // limit.GRAIN
BETWEEN_DB = 0.5  # by how much a true peak usually passes the samples beside it
_DROP = limit.ATTACK_DB * np.arange(2 * GRAINS + 1)


class Limiter:
    """Hand it hop after hop; it gives back the hop before."""

    __slots__ = ("_held", "_last_db", "_need")

    def __init__(self) -> None:
        self._held = np.zeros((HOP, 2), np.float32)
        self._need = np.zeros(GRAINS)
        self._last_db = 0.0

    def __call__(self, sound: NDArray[np.float32]) -> NDArray[np.float32]:
        """The hop before this one, limited; shape (HOP, 2)."""
        peaks = np.maximum(limit.sample_peaks(sound), 1e-9)
        need = np.minimum(0.0, limit.CEILING_DBTP - BETWEEN_DB - 20 * np.log10(peaks))
        borders = np.zeros(2 * GRAINS + 1)
        both = np.concatenate([self._need, need])
        borders[:-1] = both
        borders[1:] = np.minimum(borders[1:], both)
        borders = np.minimum.accumulate((borders + _DROP)[::-1])[::-1] - _DROP  # ahead of a peak
        borders = self._released(borders)
        curve = (10 ** (borders[: GRAINS + 1] / 20)).astype(np.float32)
        self._last_db = float(borders[GRAINS])
        out, self._held, self._need = self._held, sound, need
        if curve.min() < 1:
            limit.apply(out, curve, 0)
        return out

    def _released(self, borders: NDArray[np.float64]) -> NDArray[np.float64]:
        """The curve begins where it was and comes back slowly."""
        rise = limit.RELEASE_DB * np.arange(len(borders))
        back = np.minimum(np.minimum.accumulate(borders - rise), self._last_db) + rise
        back[0] = self._last_db
        return np.asarray(np.minimum(back, 0.0))
