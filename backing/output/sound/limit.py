"""The gain of a mix: to its loudness, and down for the few peaks that would pass the ceiling.

The limiter is a gain curve, not a clipper: it is known for the whole track before a sample is written, bends down
ahead of a peak and comes back slowly, and is the same for the mix and for every stem, so that stems still add up.

Conventions: a *grain* is 64 frames; the curve has a value at each border of a grain and runs straight between them,
and no value lies above what either grain beside it allows. Peaks are true peaks, between the samples.
Sources: ITU-R BS.1770-4 annex 2 (true peak from fourfold oversampling); attack and release are common practice.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

GRAIN = 64
CONTEXT = 12  # frames on either side that a true peak depends on
CEILING_DBTP = -2.0  # below the -1 dBTP that is promised: MP3 and AAC add up to 0.7 dB to a peak
ATTACK_DB = 0.35  # a grain of 1.45 ms: 3 dB in 12 ms
RELEASE_DB = 0.03  # a grain: 3 dB in 145 ms
OVER_SAMPLE_PEAK = 1.5  # a true peak is taken to stay within 3.5 dB of the sample peak
_OVERSAMPLING = 4
_AT_ONCE = 256  # grains
_STRETCH = 65_536  # grains


def curve(
    peaks: NDArray[np.float32], gain: float, release_db: float = RELEASE_DB
) -> NDArray[np.float32] | None:
    """Values at the borders of the grains, None where the gain alone stays below the ceiling.

    `peaks` holds the true peak of every grain before `gain`.
    """
    import numpy as np

    ceiling = 10 ** (CEILING_DBTP / 20) / gain
    if not len(peaks) or peaks.max() <= ceiling:
        return None
    borders = np.zeros(len(peaks) + 1, np.float32)  # dB
    over = np.flatnonzero(peaks > ceiling)
    allowed = 20 * np.log10(ceiling / peaks[over])
    for side in (over, over + 1):
        borders[side] = np.minimum(borders[side], allowed)
    _slope(borders[::-1], ATTACK_DB)
    _slope(borders, release_db)
    borders *= np.float32(math.log(10) / 20)
    return np.exp(borders, out=borders)


def _slope(borders: NDArray[np.float32], step_db: float) -> None:
    """Let no value lie more than a step above the one before it; in place, a stretch at a time."""
    import numpy as np

    ramp = step_db * np.arange(1, _STRETCH + 1)
    last = 0.0
    for start in range(0, len(borders), _STRETCH):
        part = borders[start : start + _STRETCH]
        rise = ramp[: len(part)]
        part[:] = np.minimum(np.minimum.accumulate(part - rise), last) + rise
        last = float(part[-1])


def apply(sound: NDArray[np.float32], borders: NDArray[np.float32], at: int) -> None:
    """Multiply a block by the curve, in place; `at`, its first frame, is the border of a grain."""
    import numpy as np

    grains = -(-len(sound) // GRAIN)
    here = borders[at // GRAIN : at // GRAIN + grains + 1]
    if here.min() == 1.0:
        return
    slope = np.arange(GRAIN, dtype=np.float32) / GRAIN
    gains = (here[:-1, None] + np.diff(here)[:, None] * slope).reshape(-1)[: len(sound)]
    for side in range(sound.shape[1]):
        sound[:, side] *= gains


def sample_peaks(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """The highest sample of every grain; the last may be short."""
    import numpy as np

    return np.asarray(_grains(np.abs(sound)).max(axis=1))


def _grains(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """One row a grain, all sides; the last filled up with nothing."""
    import numpy as np

    flat, row = values.reshape(-1), GRAIN * values.shape[1]
    missing = -flat.size % row
    if missing:
        flat = np.append(flat, np.zeros(missing, np.float32))
    return flat.reshape(-1, row)


def true_peaks(sound: NDArray[np.float32], grains: NDArray[np.intp]) -> NDArray[np.float32]:
    """The true peak of some grains of a block that stands with `CONTEXT` frames before and after it."""
    import numpy as np

    found = np.empty(len(grains), np.float32)
    frames = np.arange(GRAIN + 2 * CONTEXT)
    padded = np.concatenate([sound, np.zeros((GRAIN, 2), np.float32)])
    for start in range(0, len(grains), _AT_ONCE):
        chosen = grains[start : start + _AT_ONCE]
        pieces = padded[chosen[:, None] * GRAIN + frames]  # (k, frames, 2)
        windows = np.lib.stride_tricks.sliding_window_view(pieces, 2 * CONTEXT, axis=1)
        between = np.abs(windows @ _phases()).max(axis=(1, 2, 3))
        at = np.abs(pieces[:, CONTEXT:-CONTEXT]).max(axis=(1, 2))
        found[start : start + _AT_ONCE] = np.maximum(between, at)
    return found


@lru_cache(maxsize=1)
def _phases() -> NDArray[np.float32]:
    """Windowed sinc for the three points between two samples, shape (2 * CONTEXT, 3)."""
    import numpy as np

    taps = np.arange(-CONTEXT + 1, CONTEXT + 1)[:, None]
    points = np.arange(1, _OVERSAMPLING)[None, :] / _OVERSAMPLING
    distance = taps - points
    window = np.i0(8.0 * np.sqrt(np.clip(1 - (distance / CONTEXT) ** 2, 0, 1))) / np.i0(8.0)
    weights = np.sinc(distance) * window
    return np.asarray(weights / weights.sum(axis=0), np.float32)
