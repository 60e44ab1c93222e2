"""Integrated loudness of a stream.

It is weighted in the frequency domain, a block at a time, and its energy counted by slices of a few milliseconds, so
that what a gain curve makes of the loudness is known without another measurement.

Conventions: float32 at 44.1 kHz, shape (n, 2); LUFS.
Sources: ITU-R BS.1770-4 (annex 1: K weighting, blocks of 400 ms every 100 ms, gates at -70 LUFS and 10 LU below); its
two filters are given for 48 kHz and are here the analogue ones that they come from, taken to any rate through the
bilinear transform.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

RATE = 44_100
SLICE = 210  # frames, 4.8 ms
TENTH = RATE // 10  # frames, a whole number of slices
_SPAN, _STEP = (
    16_384,
    3 * TENTH,
)  # frames of a transform; the filters are at rest after the 71 ms between
SILENCE_LUFS = -70.0  # what the absolute gate leaves of a silent track


def weighting(rate: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The two second-order filters of the K weighting, each as b0 b1 b2 a1 a2 (a0 is 1)."""
    warped, q = math.tan(math.pi * 1681.974450955533 / rate), 0.7071752369554196
    high = 10 ** (3.999843853973347 / 20)
    middle = high**0.4996667741545416
    scale = 1 + warped / q + warped**2
    shelf = (
        (high + middle * warped / q + warped**2) / scale,
        2 * (warped**2 - high) / scale,
        (high - middle * warped / q + warped**2) / scale,
        2 * (warped**2 - 1) / scale,
        (1 - warped / q + warped**2) / scale,
    )
    warped, q = math.tan(math.pi * 38.13547087602444 / rate), 0.5003270373238773
    scale = 1 + warped / q + warped**2
    high_pass = (1.0, -2.0, 1.0, 2 * (warped**2 - 1) / scale, (1 - warped / q + warped**2) / scale)
    return shelf, high_pass


@lru_cache(maxsize=1)
def _weights() -> NDArray[np.complex64]:
    """The weighting on the frequencies of a transform, negative ones included."""
    import numpy as np

    z = np.exp(-2j * np.pi * np.fft.fftfreq(_SPAN))
    response = np.ones(_SPAN, complex)
    for b0, b1, b2, a1, a2 in weighting(RATE):
        response *= (b0 + b1 * z + b2 * z * z) / (1 + a1 * z + a2 * z * z)
    return response.astype(np.complex64)


class Meter:
    """Measures a stream of blocks. Left and right go through the transform as one complex signal."""

    def __init__(self) -> None:
        import numpy as np

        self._found: list[NDArray[np.float32]] = []
        self._frames = 0
        self._held = np.zeros(_SPAN - _STEP, np.complex64)  # the past, and what fills no step yet

    def feed(self, sound: NDArray[np.float32]) -> None:
        """Take the next block, shape (n, 2)."""
        import numpy as np

        self._frames += len(sound)
        both = np.ascontiguousarray(sound, np.float32).view(np.complex64)[:, 0]
        held = np.concatenate((self._held, both))
        steps = max(0, (len(held) - _SPAN) // _STEP + 1)
        self._held = held[steps * _STEP :].copy()
        if steps:
            spans = np.lib.stride_tricks.sliding_window_view(held, _SPAN)[::_STEP][:steps]
            # with a norm of both ways numpy stays with single precision, at half the time
            spectra = np.fft.fft(spans, norm="ortho")
            spectra *= _weights()
            weighted = np.fft.ifft(spectra, norm="ortho")[:, _SPAN - _STEP :]
            sides = np.ascontiguousarray(weighted, np.complex64).view(np.float32)
            sides = sides.reshape(-1, 2 * SLICE)
            self._found.append(np.einsum("ij,ij->i", sides, sides))

    def energies(self) -> NDArray[np.float32]:
        """The weighted energy of every whole slice, both sides together; ends the measurement."""
        import numpy as np

        whole = self._frames // SLICE
        self.feed(np.zeros((_STEP, 2), np.float32))
        found = np.concatenate(self._found)[:whole]
        self._found.clear()
        return found


def integrated(energies: NDArray[np.float32]) -> float:
    """The integrated loudness of weighted slices, in LUFS; `SILENCE_LUFS` for silence and for less than 400 ms."""
    import numpy as np

    count = TENTH // SLICE
    whole = len(energies) // count
    return gated(energies[: whole * count].reshape(-1, count).sum(axis=1, dtype=np.float64))


def gated(tenths: NDArray[np.float64]) -> float:
    """The integrated loudness of the weighted energies of tenths of a second, in LUFS."""
    tenths = tenths / TENTH
    if len(tenths) < 4:
        return SILENCE_LUFS
    blocks = (tenths[:-3] + tenths[1:-2] + tenths[2:-1] + tenths[3:]) / 4
    blocks = blocks[blocks > _energy(SILENCE_LUFS)]
    if not len(blocks):
        return SILENCE_LUFS
    gate = _energy(lufs_of(float(blocks.mean())) - 10)
    return lufs_of(float(blocks[blocks > gate].mean()))


def lufs_of(energy: float) -> float:
    """Loudness of a weighted mean square, both sides together."""
    return -0.691 + 10 * math.log10(energy)


def _energy(lufs: float) -> float:
    return float(10 ** ((lufs + 0.691) / 10))
