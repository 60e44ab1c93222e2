"""A filter applied to an endless sound a hop at a time, without delay.

Conventions: an impulse response is cut into partitions of one hop; each hop is transformed once and meets every
partition in the frequency domain (uniformly partitioned overlap-save).
Source: Gardner, "Efficient convolution without input-output delay", JAES 43 (1995), with partitions of one size.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Spectra = NDArray[np.complex64]


def partitions(response: NDArray[np.float64], hop: int) -> Spectra:
    """An impulse response of shape (frames, channels) as (parts, channels, bins)."""
    count = -(-len(response) // hop)
    padded = np.zeros((count * hop, response.shape[1]))
    padded[: len(response)] = response
    blocks = padded.reshape(count, hop, -1).transpose(0, 2, 1)
    return np.fft.rfft(blocks, 2 * hop).astype(np.complex64)


class Convolver:
    """One sound through one response; both may have one channel or several, one of them standing for all."""

    __slots__ = ("_before", "_heard", "_hop", "_quiet", "response")

    def __init__(self, response: Spectra, channels: int) -> None:
        self.response = response
        self._hop = response.shape[2] - 1
        self._before = np.zeros((channels, self._hop), np.float32)
        self._heard = np.zeros((len(response), channels, self._hop + 1), np.complex64)
        self._quiet = len(response)

    def __call__(self, sound: NDArray[np.float32]) -> Spectra | None:
        """The transform of the next hop, of shape (channels, bins), None when it is silent; see `heard`.

        `sound` has the shape (channels, hop).
        """
        self._quiet = 0 if sound.any() else self._quiet + 1
        if self._quiet > len(self.response):
            return None
        both = np.concatenate([self._before, sound], axis=1)
        self._before = np.ascontiguousarray(sound)
        self._heard[1:] = self._heard[:-1].copy()
        self._heard[0] = np.fft.rfft(both, axis=1)
        return np.asarray((self._heard * self.response).sum(axis=0))


def heard(spectra: Spectra, hop: int) -> NDArray[np.float32]:
    """A transform as sound of shape (hop, channels)."""
    return np.fft.irfft(spectra, 2 * hop, axis=1)[:, hop:].T.astype(np.float32)
