"""The room that the band plays in, as two impulse responses: early reflections and a late tail.

A small, gentle room: a few early reflections that differ left and right, then a tail of noise that dies away faster
the higher it is. Low tones are kept out of it so that the bass stays clear. The response is linear and the same every
time: its noise comes from a hash.

Conventions: one channel in, two out; a share of 1 of both returns about as much energy as goes in.
Sources: exponential decay by 60 dB within the reverberation time, and shorter reverberation at high frequencies
through absorption by air and furnishings (room acoustics, common practice); times and levels chosen by ear and table.
"""

from __future__ import annotations

from hashlib import shake_128
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

RATE = 44_100
FRAMES = 20_480  # 0.46 s

# ms, gain to the left, gain to the right
_REFLECTIONS = (
    ( 7.3, 0.42, 0.18),
    (11.9, 0.16, 0.40),
    (17.1, 0.33, 0.21),
    (22.7, 0.19, 0.30),
    (29.3, 0.24, 0.15),
    (37.9, 0.12, 0.22),
)  # fmt: skip

# Hz up to which the band reaches, seconds to fall by 60 dB, gain
_TAIL = (
    (   250, 0.45, 0.25),
    (   700, 0.52, 0.80),
    (  2000, 0.50, 1.00),
    (  5000, 0.38, 0.80),
    ( 10000, 0.24, 0.45),
    ( 22050, 0.14, 0.20),
)  # fmt: skip
_TAIL_ONSET_MS = 14.0
_LOW_CUT_HZ = 180.0


def early() -> NDArray[np.float64]:
    """The reflections from walls and floor, shape (FRAMES, 2): three tenths of the energy of the whole."""
    import numpy as np

    sound = np.zeros((FRAMES, 2))
    for at_ms, left, right in _REFLECTIONS:
        sound[round(at_ms * RATE / 1000)] += (left, right)
    return _cut(sound, 0.3)


def late() -> NDArray[np.float64]:
    """The tail, shape (FRAMES, 2): seven tenths of the energy of the whole."""
    import numpy as np

    time_s = np.arange(FRAMES) / RATE
    tail = np.zeros((FRAMES, 2))
    hz = np.fft.rfftfreq(2 * FRAMES, 1 / RATE)
    noise = np.fft.rfft(_noise(2 * FRAMES), axis=0)
    low = 0.0
    for high, t60_s, gain in _TAIL:
        inside = ((hz >= low) & (hz < high))[:, None]
        band = np.fft.irfft(noise * inside, axis=0)[:FRAMES]
        tail += gain * band * 10 ** (-3 * time_s / t60_s)[:, None]
        low = high
    rise = np.clip(time_s * 1000 / _TAIL_ONSET_MS, 0, 1)
    return _cut(tail * rise[:, None] ** 2, 0.7)


def _cut(sound: NDArray[np.float64], energy: float) -> NDArray[np.float64]:
    """Low tones taken out, the end faded, brought to an energy in the mean of both sides."""
    import numpy as np

    hz = np.fft.rfftfreq(2 * FRAMES, 1 / RATE)
    ratio = (hz / _LOW_CUT_HZ) ** 2
    spectrum = np.fft.rfft(sound, 2 * FRAMES, axis=0)
    whole = np.fft.irfft(spectrum * (ratio / (1 + ratio))[:, None], axis=0)[:FRAMES]
    end = FRAMES // 8
    whole[-end:] *= (0.5 + 0.5 * np.cos(np.pi * np.arange(end) / end))[:, None]
    return np.asarray(whole * np.sqrt(energy / np.mean(np.sum(whole**2, axis=0))))


def _noise(count: int) -> NDArray[np.float64]:
    """Evenly spread numbers from -1 to 1, shape (count, 2), the same on every machine."""
    import numpy as np

    data = shake_128(b"room").digest(4 * count)
    return np.frombuffer(data, "<u2").reshape(count, 2) / 32767.5 - 1.0
