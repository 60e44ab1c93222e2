"""A soundfont measured: how loud its instruments are, how its keys are tuned, whether forte is brighter.

Conventions: as in `balance` (loudest 400 ms of half a second at velocity 80, mean of three keys; of a kit, the mean of
its main strokes) and `fonts` (cents above equal temperament, keys from the lowest to the highest that the band plays).
A key whose harmonics lie within `TUNED_CENTS` is left alone. Tuning and touch are measured as they are, levels with
the touch that is then given.
Sources: ITU-R BS.1770-4 for loudness; pitch from the lines of a long transform, the mean of each harmonic's by their
power, six harmonics by their energy; brightness as the centroid of the power spectrum.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from backing.ground.instruments import DRUM_KEYS, INSTRUMENTS, Instrument
from backing.output.sound.fonts import AS_IT_IS, Measured
from backing.output.sound.loudness import SLICE, Meter, lufs_of
from backing.output.sound.synth import OFF, ON, PROGRAM, RATE, VOICES, Synth, event_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Mono = NDArray[np.float64]
    Stereo = NDArray[np.float32]

Tell = Callable[[float, str], None]

TUNED_CENTS = 6.0
FARTHEST_CENTS = 90.0  # beyond it a partial belongs to another key
LEAST_OCTAVES, GOAL_OCTAVES = 0.22, 0.3  # brighter from velocity 50 to 110
CUTOFFS = (1800, 3000, 4200, 5400, 6800, 8200, 9600)
_TRANSFORM = 1 << 17
_LINE = 1e-3  # of the power of the highest line of a harmonic: below it is noise
_HELD_S = 1.5
FAINT = 1e-4  # of full scale: a key that no sample serves
_STROKES = {
    "percussion": ("tambourine", "cabasa", "open conga", "claves"),
    "click": ("high block", "low block"),
}
_NO_TOUCH = ("organ", "rock organ")  # a pipe sounds or is silent
_KIT = ("kick", "snare", "hat", "ride")
_UNPITCHED = ("drum kit", "brush kit", "electronic kit", "analog kit", *_STROKES)


def measure(path: Path, tell: Tell) -> Measured:
    """Measure a font: minutes of work. Raises `AudioUnavailable`."""
    levels: dict[str, float] = {}
    tuning: list[tuple[str, int, int, int]] = []
    cutoff: dict[str, int] = {}
    for done, (name, instrument) in enumerate(INSTRUMENTS.items()):
        tell(done / len(INSTRUMENTS), name)
        hand = _Hand(path, instrument)
        if name not in _UNPITCHED:
            tuning += runs(name, list(off(hand)))
            cutoff[name] = touch(hand)
            hand.synth.soften(cutoff[name])
        levels[name] = round(level(hand), 1)
        hand.close()
    tell(1.0, "done")
    return Measured(levels, tuple(tuning), cutoff)


class _Hand:
    """An instrument of a font, note by note."""

    def __init__(self, path: Path, instrument: Instrument) -> None:
        role = "drums" if instrument.name in _UNPITCHED else "keys"
        self.instrument = instrument
        self.synth = Synth(path, role, 440.0, VOICES, font=AS_IT_IS)
        self.synth.do(event_of(0, PROGRAM, instrument.program))

    def note(self, key: int, held_s: float, length_s: float, velocity: int = 80) -> Stereo:
        """A note, and what rings of it; the next one begins in silence."""
        import numpy as np

        out = np.zeros((round(length_s * RATE), 2), np.float32)
        held = round(held_s * RATE)
        self.synth.do(event_of(0, ON, key, velocity))
        self.synth.write(out, 0, held)
        self.synth.do(event_of(0, OFF, key))
        self.synth.write(out, held, len(out) - held)
        self.synth.hush()
        return out

    def close(self) -> None:
        self.synth.close()


def level(hand: _Hand) -> float:
    """LUFS of a note, or of a stroke."""
    import numpy as np

    return float(np.mean([_loudest(hand.note(key, 0.5, 1.0)) for key in _keys(hand.instrument)]))


def off(hand: _Hand) -> Iterator[tuple[int, float]]:
    """Key and cents of every key of an instrument that sounds."""
    for key in range(hand.instrument.low, hand.instrument.high + 1):
        note = hand.note(key, _HELD_S, _HELD_S).mean(axis=1)[round(0.15 * RATE) :]
        if abs(note).max() > FAINT:
            yield key, cents_off(note.astype(float), key)


def runs(
    name: str, found: Sequence[tuple[int, float]], most: float = TUNED_CENTS
) -> list[tuple[str, int, int, int]]:
    """Neighbouring keys that are off alike as rows: instrument, lowest and highest key, cents."""
    rows: list[tuple[str, int, int, int]] = []
    for key, cents in found:
        if abs(cents) < most:
            continue
        last = rows[-1] if rows else None
        if last and last[2] == key - 1 and abs(last[3] - cents) <= 2:
            rows[-1] = (name, last[1], key, last[3])
        else:
            rows.append((name, key, key, round(cents)))
    return rows


def touch(hand: _Hand) -> int:
    """The cutoff in cents that makes forte bright enough: 0 where it is by itself, or where nothing does."""
    if hand.instrument.name in _NO_TOUCH:
        return 0
    nearest = (0.0, 0)
    for cutoff in (0, *CUTOFFS):
        hand.synth.soften(cutoff)
        octaves = brighter(hand)
        if octaves >= (GOAL_OCTAVES if cutoff else LEAST_OCTAVES):
            return cutoff
        nearest = max(nearest, (octaves, cutoff))
    return nearest[1]


def brighter(hand: _Hand) -> float:
    """Octaves that the centroid rises by from velocity 50 to 110."""
    import numpy as np

    found = []
    hz = np.fft.rfftfreq(RATE // 2, 1 / RATE)
    for velocity in (50, 110):
        sound = hand.note(_keys(hand.instrument)[1], 0.5, 0.5, velocity).mean(axis=1)
        power = np.abs(np.fft.rfft(sound.astype(float))) ** 2
        found.append(float((power * hz).sum() / max(power.sum(), 1e-30)))
    return float(np.log2(found[1] / found[0])) if min(found) > 0 else 0.0


def cents_off(sound: Mono, key: int) -> float:
    """How far six harmonics lie from those of a key, by their energy.

    Of voices that are tuned against each other, as in a choir, each harmonic is several lines, and which one is the
    highest changes from key to key; what is heard lies between them (the mean of their power).
    """
    import numpy as np

    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), _TRANSFORM)) ** 2
    found, weights = [], []
    for harmonic in range(1, 7):
        expected = 440 * 2 ** ((key - 69) / 12) * harmonic * _TRANSFORM / RATE
        low, high = (round(expected * 2 ** (side * FARTHEST_CENTS / 1200)) for side in (-1, 1))
        if high + 2 > len(power):
            break
        lines = power[low : high + 1]
        lines = np.where(lines > _LINE * lines.max(), lines, 0.0)
        cents = 1200 * np.log2(np.arange(low, high + 1) / expected)
        found.append(np.average(cents, weights=lines + 1e-30))
        weights.append(lines.sum() + 1e-20)
    return float(np.average(found, weights=weights))


def _keys(instrument: Instrument) -> list[int]:
    if instrument.name in _UNPITCHED:
        return [DRUM_KEYS[name] for name in _STROKES.get(instrument.name, _KIT)]
    low = "bass" in instrument.name or instrument.name == "tuba"
    wanted = (31, 36, 41) if low else (57, 62, 67)
    return [min(max(key, instrument.low), instrument.high) for key in wanted]


def _loudest(sound: NDArray[np.float32]) -> float:
    """The loudest 400 ms in LUFS."""
    import numpy as np

    meter = Meter()
    meter.feed(sound)
    energies = np.concatenate([[0.0], np.cumsum(meter.energies(), dtype=np.float64)])
    count = round(0.4 * RATE / SLICE)
    most = float((energies[count:] - energies[:-count]).max()) / (count * SLICE)
    return lufs_of(max(1e-12, most))
