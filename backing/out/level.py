"""How loud a tape is played back: one gain for the whole band, and a limiter's curve for the peaks.

Conventions: gains are factors; the curve has a value at each border of a grain (see `limit`).
Sources: loudness and true peak by ITU-R BS.1770-4.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from backing.out import limit
from backing.out.loudness import SILENCE_LUFS, Meter
from backing.out.synth import BLOCK
from backing.out.tape import Tape, together

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

HIGHEST_GAIN_DB = 40.0
RELEASES_DB = (
    limit.RELEASE_DB,
    4 * limit.RELEASE_DB,
    16 * limit.RELEASE_DB,
)  # faster where that must be
MOST_STEPS = 10  # towards a loudness that the limiter holds back
NEAR = 1.006  # 0.05 dB
_NOTABLE = 1.12  # 1 dB that the limiter takes; below that the energies tell it to 0.3 LU
_CLOSE_LU = 0.1
_MOST_CORRECTIONS = 3


@dataclass(frozen=True, slots=True)
class Recording:
    """What is known of a tape: frames, where its loop runs, and the whole band's loudness, peaks and energies."""

    frames: int
    loop: tuple[int, int] | None
    roles: tuple[str, ...]
    lufs: float
    peaks: NDArray[np.float32]  # sample peak a grain
    energies: NDArray[np.float32]  # a grain


@dataclass(frozen=True, slots=True)
class Level:
    """A gain, and the limiter's curve where the gain alone would pass the ceiling."""

    gain: float
    curve: NDArray[np.float32] | None

    def apply(self, sound: NDArray[np.float32], at: int) -> None:
        """Bring a block to this level, in place; `at`, its first frame, is the border of a grain."""
        sound *= sound.dtype.type(self.gain)
        if self.curve is not None:
            limit.apply(sound, self.curve, at)


def level_for(tape: Tape, recording: Recording, loudness: float) -> Level:
    """The gain to the loudness and the limiter's curve; what the limiter takes is given back by the gain.

    Where that is more than a little, the limited sound is measured again, since the ear weighs what was taken.
    """
    if recording.lufs <= SILENCE_LUFS:
        return Level(1.0, None)
    plain = 10 ** (min(HIGHEST_GAIN_DB, loudness - recording.lufs) / 20)
    aim = plain
    for _ in range(_MOST_CORRECTIONS):
        level = _limited(tape, recording, aim)
        if level.curve is None or level.gain < plain * _NOTABLE:
            return level
        missing = loudness - _heard(tape, level)
        if abs(missing) < _CLOSE_LU:
            return level
        aim *= 10 ** (missing / 20)
    return _limited(tape, recording, aim)


def _heard(tape: Tape, level: Level) -> float:
    """The loudness of the tape at a level."""
    meter = Meter()
    at = 0
    for block in range(len(tape)):
        sound = together(tape.read(block), tape.frames(block))
        level.apply(sound, at)
        meter.feed(sound)
        at += len(sound)
    return meter.lufs()


def _limited(tape: Tape, recording: Recording, plain: float) -> Level:
    """A gain and a curve that leave as much energy as the gain `plain` alone would."""
    import numpy as np

    peaks = recording.peaks.copy()
    ceiling = 10 ** (limit.CEILING_DBTP / 20)
    total = float(np.sum(recording.energies))
    level = Level(plain, None)
    for release_db in RELEASES_DB:
        gain = plain
        for _ in range(MOST_STEPS):
            _true_peaks(tape, peaks, recording.peaks, ceiling / gain)
            curve = limit.curve(peaks, gain, release_db)
            if curve is None:
                return Level(gain, None)
            grains = (curve[:-1] + curve[1:]) / 2
            left = float(np.sum(recording.energies * grains**2)) / total
            level = Level(gain, curve)
            missing = plain / left**0.5 / gain
            if missing < NEAR:
                return level
            gain *= missing
    return level


def _true_peaks(
    tape: Tape, peaks: NDArray[np.float32], sampled: NDArray[np.float32], ceiling: float
) -> None:
    """Put true peaks in place of sample peaks for the grains that may pass the ceiling between samples."""
    import numpy as np

    suspects = np.flatnonzero((sampled * limit.OVER_SAMPLE_PEAK > ceiling) & (peaks == sampled))
    per_block = BLOCK // limit.GRAIN
    for block in np.unique(suspects // per_block):
        grains = suspects[suspects // per_block == block]
        first, last = int(grains[0]) * limit.GRAIN, int(grains[-1] + 1) * limit.GRAIN
        count = last - first + 2 * limit.CONTEXT
        sound = together(tape.span(first - limit.CONTEXT, last + limit.CONTEXT), count)
        peaks[grains] = limit.true_peaks(sound, grains - grains[0])
