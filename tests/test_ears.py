"""A listener that knows nothing but where chords begin names them from the sound of the band; the click is on time."""

from __future__ import annotations

import numpy as np
import pytest

from backing.ground.dice import Place
from backing.output.sound.synth import render
from backing.performance.model import Performance
from tests.band import chart, performed
from tests.generated import KEYS
from tests.listening import RATE, heard

STYLES = (
    "straight-ahead swing",
    "jazz waltz",
    "bossa nova",
    "rock eighths",
    "pop ballad",
    "slow blues",
)
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


def share_right(found: Performance, wanted: list[tuple[str, str]]) -> tuple[float, list[str]]:
    """Share of chords named right, and what the others were taken for."""
    sound = sum(s.astype(np.float64).mean(axis=1) for s in render(found).values())
    assert isinstance(sound, np.ndarray)
    wrong = []
    spans = found.arrangement.timeline.chords[: len(wanted)]
    for span, (root, quality) in zip(spans, wanted, strict=True):
        start, end = (found.tempo.seconds(q) for q in (span.start_q, span.end_q))
        inside = sound[int(start * RATE) : int(end * RATE)]
        name = heard(inside, inside[: int(BASS_S * RATE)])
        classes = {QUALITIES[quality]} | ({"augmented"} if quality == "7#5" else set())
        assert span.chord is not None
        if name.root != span.chord.root.pc or name.kind not in classes:
            wrong.append(f"{root}{quality} heard as {KEYS[(name.root * 5) % 12]} {name.kind}")
    return 1 - len(wrong) / len(wanted), wrong


def played(style: str, wanted: list[tuple[str, str]], a_bar: int) -> Performance:
    """Bass and comping alone, nothing added, at 120."""
    names = [root + quality for root, quality in wanted]
    bars = " | ".join(" ".join(names[i : i + a_bar]) for i in range(0, len(names), a_bar))
    text = chart(bars, meter="4/4", tempo=120, plan="flat", ending="as written", count_in="off")
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
    assert right >= 0.65, wrong  # one player states quick chords, some of them broken


def test_the_click_is_heard_where_the_timeline_says() -> None:
    """Onsets are found where the short-time energy first rises; within 10 ms of the beats."""
    text = chart("C | F | G7 | C", tempo=97)
    found = performed(text, "straight-ahead swing", click="beats", only=frozenset({"click"}))
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
