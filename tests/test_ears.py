"""A listener that knows nothing but where chords begin names them from the sound of the band; the click is on time.

The listener is a plain matcher of chroma: energy near the frequencies of equally tempered pitches, folded into twelve
classes, compared with the degrees of each chord by angle; what the lowest octaves hold counts for the root.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from backing.ground.dice import Place
from backing.output.sound.synth import render
from backing.performance.model import Performance
from tests.band import chart, performed
from tests.generated import KEYS

Sound = npt.NDArray[np.float64]
RATE = 44_100
STYLES = ("medium swing", "jazz waltz", "bossa nova", "rock eighths", "pop ballad", "slow blues")
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
BASS_S = 0.45  # the first note of the bass lies in the first beat
QUALITIES = {
    "": "major", "maj7": "major", "6": "major", "maj9": "major", "m": "minor", "m7": "minor", "m9": "minor",
    "7": "dominant", "9": "dominant", "13": "dominant", "7b9": "dominant", "7#5": "dominant",
    "m7b5": "half-diminished", "dim7": "diminished",
}  # fmt: skip


def chords(count: int, seed: int) -> list[tuple[str, str]]:
    """Roots and qualities by chance, each quality as often as the others."""
    names = list(QUALITIES)
    place = Place(("ears", seed))
    return [
        (KEYS[int(place.roll(i, "root") * 12)], names[(i * 5 + seed) % len(names)])
        for i in range(count)
    ]


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
    """How strongly each class sounds below C3 in the first beat, low notes counting for more; the strongest 1."""
    hz, strength = spectrum(sound[: int(BASS_S * RATE)])
    found = np.zeros(12)
    for pitch in range(28, 48):
        centre = 440 * 2 ** ((pitch - 69) / 12)
        near = slice(*np.searchsorted(hz, (centre * 2 ** (-1 / 36), centre * 2 ** (1 / 36))))
        level = strength[near].max() * 2 ** ((28 - pitch) / 24)
        found[pitch % 12] = max(found[pitch % 12], level)
    return np.asarray(found / (found.max() + 1e-12))


def heard(sound: Sound) -> tuple[int, str]:
    """Root and class of the chord in a stretch of sound."""
    classes, low = chroma(sound), bass(sound)
    scores = {
        (root, i): float(classes @ np.roll(row, root)) + ROOT * low[root]
        for root in range(12)
        for i, (_, row) in enumerate(templates())
    }
    root, i = max(scores, key=lambda name: scores[name])
    return root, TEMPLATES[i][0]


def share_right(found: Performance, wanted: list[tuple[str, str]]) -> tuple[float, list[str]]:
    """Share of chords named right, and what the others were taken for."""
    sound = sum(s.astype(np.float64).mean(axis=1) for s in render(found).values())
    assert isinstance(sound, np.ndarray)
    wrong = []
    spans = found.arrangement.timeline.chords[: len(wanted)]
    for span, (root, quality) in zip(spans, wanted, strict=True):
        start, end = (found.tempo.seconds(q) for q in (span.start_q, span.end_q))
        name = heard(sound[int(start * RATE) : int(end * RATE)])
        classes = {QUALITIES[quality]} | ({"augmented"} if quality == "7#5" else set())
        assert span.chord is not None
        if name[0] != span.chord.root.pc or name[1] not in classes:
            wrong.append(f"{root}{quality} heard as {KEYS[(name[0] * 5) % 12]} {name[1]}")
    return 1 - len(wrong) / len(wanted), wrong


def played(style: str, wanted: list[tuple[str, str]], a_bar: int) -> Performance:
    """Bass and comping alone, nothing added, at 120."""
    names = [root + quality for root, quality in wanted]
    bars = " | ".join(" ".join(names[i : i + a_bar]) for i in range(0, len(names), a_bar))
    text = chart(bars, meter="4/4", tempo=120, ending="as written", count_in="off")
    comping = frozenset({"bass", "keys", "guitar", "strings", "horns"})
    return performed(text, style, only=comping, plain=True)


@pytest.mark.slow
@pytest.mark.parametrize("style", STYLES)
def test_chords_of_two_beats_are_recognised(style: str) -> None:
    wanted = chords(28, 1) + chords(28, 3)
    right, wrong = share_right(played(style, wanted, 2), wanted)
    assert right >= 0.9, wrong


@pytest.mark.slow
@pytest.mark.parametrize("style", STYLES)
def test_chords_of_one_beat_are_recognised(style: str) -> None:
    wanted = chords(28, 2) + chords(28, 4)
    right, wrong = share_right(played(style, wanted, 4), wanted)
    assert right >= 0.8, wrong


def test_the_click_is_heard_where_the_timeline_says() -> None:
    """Onsets are found where the short-time energy first rises; within 10 ms of the beats."""
    text = chart("C | F | G7 | C", tempo=97)
    found = performed(text, "medium swing", click="beats", only=frozenset({"click"}))
    sound = np.abs(render(found)["click"]).max(axis=1)
    envelope = np.maximum.reduceat(sound, np.arange(0, len(sound), 44))  # a value a millisecond
    onsets = []
    quiet = True
    for i, level in enumerate(envelope):
        if quiet and level > 0.2 * envelope.max():
            onsets.append(i * 44 / RATE)
            quiet = False
        elif not quiet and (i * 44 / RATE - onsets[-1]) > 0.25:
            quiet = True
    beats = [found.tempo.seconds(n.start_q) for p in found.arrangement.players for n in p.notes]
    assert len(onsets) == len(beats) == 6 + 16
    assert max(abs(a - b) for a, b in zip(onsets, beats, strict=True)) <= 0.01
