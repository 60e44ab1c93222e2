"""A listener that knows nothing but where chords begin, and names them from the sound.

It is a plain matcher of chroma: energy near the frequencies of equally tempered pitches, folded into twelve classes,
compared with the degrees of each chord by angle; what the lowest octaves hold counts for the root.

Sources: matching of chroma with templates (Fujishima 1999) that hold overtones falling by 0.6 (Gómez 2006), from memory.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Sound = npt.NDArray[np.float64]
RATE = 44_100
# Class and degrees in semitones; several templates may stand for one class.
TEMPLATES = (
    ("major", (0, 4, 7)), ("major", (0, 4, 7, 11)), ("major", (0, 4, 7, 9)), ("major", (0, 2, 4, 7, 11)),
    ("minor", (0, 3, 7)), ("minor", (0, 3, 7, 10)), ("minor", (0, 2, 3, 7, 10)),
    ("dominant", (0, 4, 7, 10)), ("dominant", (0, 2, 4, 7, 10)), ("dominant", (0, 2, 4, 9, 10)),
    ("dominant", (0, 4, 9, 10)), ("dominant", (0, 1, 4, 7, 10)),
    ("half-diminished", (0, 3, 6, 10)), ("diminished", (0, 3, 6, 9)), ("augmented", (0, 4, 8, 10)),
)  # fmt: skip
# A string or reed sounds overtones: fifth and third of each note belong to its template, by a usual decay of 0.6.
OVERTONES = ((0, 1.0), (0, 0.6), (7, 0.36), (0, 0.22), (4, 0.13), (7, 0.08))
ROOT = 0.2  # what a strong bass counts for, against 1 for chroma that fit exactly


@cache
def templates() -> list[tuple[str, Sound]]:
    """Class and unit vector of every template on C."""
    found = []
    for kind, degrees in TEMPLATES:
        row = np.zeros(12)
        for degree in degrees:
            for up, strength in OVERTONES:
                row[(degree + up) % 12] += strength
        found.append((kind, row / np.linalg.norm(row)))
    return found


def spectrum(sound: Sound) -> tuple[Sound, Sound]:
    """Frequencies and magnitudes, finely interpolated."""
    size = 1 << (4 * len(sound) - 1).bit_length()
    return np.fft.rfftfreq(size, 1 / RATE), np.abs(
        np.fft.rfft(sound * np.hanning(len(sound)), size)
    )


def chroma(sound: Sound) -> Sound:
    """Twelve classes from the fundamentals between C3 and C6, compressed so that loud notes do not hide soft ones."""
    hz, strength = spectrum(sound)
    found = np.zeros(12)
    for pitch in range(48, 85):
        centre = 440 * 2 ** ((pitch - 69) / 12)
        near = slice(*np.searchsorted(hz, (centre * 2 ** (-1 / 36), centre * 2 ** (1 / 36))))
        found[pitch % 12] += strength[near].max() ** 0.5
    found -= np.percentile(found, 25)
    found = np.maximum(found, 0)
    return np.asarray(found / (np.linalg.norm(found) + 1e-12))


def bass(sound: Sound) -> Sound:
    """How strongly each class sounds below C3, low notes counting for more; the strongest 1."""
    hz, strength = spectrum(sound)
    found = np.zeros(12)
    for pitch in range(28, 48):
        centre = 440 * 2 ** ((pitch - 69) / 12)
        near = slice(*np.searchsorted(hz, (centre * 2 ** (-1 / 36), centre * 2 ** (1 / 36))))
        level = strength[near].max() * 2 ** ((28 - pitch) / 24)
        found[pitch % 12] = max(found[pitch % 12], level)
    return np.asarray(found / (found.max() + 1e-12))


class Heard(NamedTuple):
    """A chord as it was heard: the class of its root, its sort, its degrees in semitones."""

    root: int
    kind: str
    degrees: tuple[int, ...]


def heard(sound: Sound, first: Sound) -> Heard:
    """The chord in a stretch of sound; `first` is its beginning, which holds the first note of the bass."""
    classes, low = chroma(sound), bass(first)
    scores = {
        (root, i): float(classes @ np.roll(row, root)) + ROOT * low[root]
        for root in range(12)
        for i, (_, row) in enumerate(templates())
    }
    root, i = max(scores, key=lambda name: scores[name])
    return Heard(root, *TEMPLATES[i])
