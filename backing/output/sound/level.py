"""How loud a tape is played back: one gain for the whole band, and a limiter's curve for the peaks.

Conventions: gains are factors; the curve has a value at each border of a grain (see `limit`).
Sources: loudness and true peak by ITU-R BS.1770-4.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from backing.output.sound import limit
from backing.output.sound.loudness import SILENCE_LUFS, SLICE, integrated
from backing.output.sound.synth import BLOCK
from backing.output.sound.tape import MIX, Tape

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
NEAR_LU = 0.05
MOST_DB = 6.0  # of a step
LEAST_ANSWER = 0.1  # LU that a decibel of gain must bring


@dataclass(frozen=True, slots=True)
class Recording:
    """What is known of a tape: frames, where its loop runs, the whole band's peaks and weighted energies, and the font."""

    frames: int
    loop: tuple[int, int] | None
    roles: tuple[str, ...]
    peaks: NDArray[
        np.float32
    ]  # a grain: of its samples, and where the level hangs on it, between them
    energies: NDArray[np.float32]  # a slice, as a loudness meter weights them
    soundfont: str = ""


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
    """The level that brings a tape to a loudness in LUFS; the limiter comes in where peaks would pass the ceiling.

    What the limiter takes is given back, as far as it can be, so that the loudness stays.
    """
    import numpy as np

    lufs = integrated(recording.energies)
    if lufs <= SILENCE_LUFS:
        return Level(1.0, None)
    plain_db = min(HIGHEST_GAIN_DB, loudness - lufs)
    peaks = recording.peaks
    true = np.zeros(len(peaks), bool)
    ceiling = 10 ** (limit.CEILING_DBTP / 20)
    nearest = np.arange(len(recording.energies), dtype=np.int32)  # border to the middle of a slice
    nearest *= SLICE
    nearest += (SLICE + limit.GRAIN) // 2
    nearest //= limit.GRAIN
    gain: float = 10 ** (plain_db / 20)
    curve: NDArray[np.float32] | None = None
    for release_db in RELEASES_DB:
        gain_db, answer = plain_db, 1.0
        before: tuple[float, float] | None = None
        for _ in range(MOST_STEPS):
            gain = 10 ** (gain_db / 20)
            curve = None  # an hour of it is big: the last one goes before the next one comes
            _true_peaks(tape, peaks, true, ceiling / gain)
            curve = limit.curve(peaks, gain, release_db)
            if curve is None:
                return Level(gain, None)
            taken = curve[nearest]
            taken *= taken
            taken *= recording.energies
            heard = integrated(taken) + gain_db
            missing = lufs + plain_db - heard
            if abs(missing) < NEAR_LU or (missing < 0 and gain_db == plain_db):
                return Level(gain, curve)
            if before:  # the louder, the more the limiter takes back
                answer = min(1.0, (heard - before[1]) / (gain_db - before[0]))
            if answer < LEAST_ANSWER:
                break
            before = gain_db, heard
            gain_db = max(plain_db, gain_db + min(MOST_DB, missing / answer))
    return Level(gain, curve)


def _true_peaks(
    tape: Tape, peaks: NDArray[np.float32], true: NDArray[np.bool_], ceiling: float
) -> None:
    """Put true peaks in place of sample peaks for the grains that may pass the ceiling between samples.

    `true` marks those that were replaced.
    """
    import numpy as np

    suspects = np.flatnonzero((peaks > ceiling / limit.OVER_SAMPLE_PEAK) & ~true)
    true[suspects] = True
    per_block = BLOCK // limit.GRAIN
    borders = np.arange(per_block, len(peaks), per_block)
    for grains in np.split(suspects, np.searchsorted(suspects, borders)):
        if not len(grains):
            continue
        first, last = int(grains[0]) * limit.GRAIN, int(grains[-1] + 1) * limit.GRAIN
        (sound,) = tape.span(first - limit.CONTEXT, last + limit.CONTEXT, (MIX,))
        peaks[grains] = limit.true_peaks(sound, grains - grains[0])
