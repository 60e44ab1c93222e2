"""Soundfonts: keys that are in tune, and forte that is brighter."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from backing.ground.instruments import DRUM_KEYS, INSTRUMENTS
from backing.output.sound import fonts
from backing.output.sound.soundfont import default_soundfont
from backing.output.sound.synth import RATE, player_blocks
from backing.performance.model import PerformedNote, PerformedPlayer, Voice

Sound = NDArray[np.float64]
MOST_CENTS = 8.0  # common practice: what a listener begins to hear in a chord


def played(instrument: str, key: int, velocity: int = 80, seconds: float = 2.0) -> Sound:
    """A lone note, both sides together."""
    role = "drums" if instrument.endswith("kit") else "keys"
    voice = Voice(0.0, Fraction(0), INSTRUMENTS[instrument], 0.0, 0.0, 0.0)
    note = PerformedNote(0.0, seconds, 0.0, 1.0, key, velocity)
    player = PerformedPlayer(role, (voice,), (note,))
    blocks = list(player_blocks(player, default_soundfont(), round(seconds * RATE)))
    return np.concatenate(blocks).mean(axis=1).astype(float)


def cents_off(sound: Sound, key: int) -> float:
    """How far six harmonics lie from those of the key, by their energy: a long transform after the attack.

    Where several voices beat (a pad, a choir) a harmonic is several lines; the mean of their power is what counts.
    """
    size = 1 << 17
    inside = sound[int(0.15 * RATE) :]
    power = np.abs(np.fft.rfft(inside * np.hanning(len(inside)), size)) ** 2
    cents, weights = [], []
    for harmonic in range(1, 7):
        expected = 440 * 2 ** ((key - 69) / 12) * harmonic * size / RATE
        places = np.arange(int(expected * 2 ** (-90 / 1200)), int(expected * 2 ** (90 / 1200)) + 1)
        lines = power[places]
        loud = lines > lines.max() / 1000
        cents.append(np.average(1200 * np.log2(places[loud] / expected), weights=lines[loud]))
        weights.append(lines[loud].sum())
    return float(np.average(cents, weights=weights))


def centroid_hz(sound: Sound) -> float:
    power = np.abs(np.fft.rfft(sound)) ** 2
    hz = np.fft.rfftfreq(len(sound), 1 / RATE)
    return float((power * hz).sum() / power.sum())


def test_the_keys_of_the_default_soundfont_are_in_tune() -> None:
    """Both ends of every stretch that is tuned back, and one key beside it, measured by a long transform."""
    off = {}
    for name, low, high, cents in fonts._DEFAULT_TUNING:
        for key in {low, high}:
            found = cents_off(played(name, key), key)
            if abs(found) > MOST_CENTS:
                off[name, key] = (cents, round(found, 1))
    assert not off


def test_a_font_that_nobody_measured_is_left_as_it_is(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What the table says of the default font is what a transform finds once the table is set aside."""
    monkeypatch.setattr(fonts, "known", lambda path: fonts.Font({}, {}, {}))
    assert np.abs(played("alto saxophone", 64)).max() < 1e-4
    for name, key, cents in (
        ("accordion", 84, -67),
        ("harmonica", 67, -29),
        ("steel drums", 70, 16),
    ):
        assert cents_off(played(name, key), key) == pytest.approx(cents, abs=3)
    copy = tmp_path / "a.sf2"
    copy.write_bytes(default_soundfont().read_bytes()[:-1] + b"x")
    monkeypatch.undo()
    assert fonts.known(copy).cents(21, 84) == 0.0
    assert fonts.known(default_soundfont()).cents(21, 84) == -67.0


def test_a_neighbour_plays_a_key_that_the_font_lacks() -> None:
    """No sample of the default font serves E4 of the alto saxophone: silence is measured, then a tone in its place."""
    here = {key: np.abs(played("alto saxophone", key, 90, 0.5)).max() for key in (63, 64, 65)}
    assert here[64] == pytest.approx((here[63] + here[65]) / 2, rel=0.2)
    assert abs(cents_off(played("alto saxophone", 64), 64)) <= MOST_CENTS


def test_all_the_band_is_tuned_together() -> None:
    """A 442 moves a key that is tuned back as far as one that is not: 7.9 cents (1200 log2 442/440)."""
    for name, key in (("steel drums", 70), ("acoustic piano", 60)):
        voice = Voice(0.0, Fraction(0), INSTRUMENTS[name], 0.0, 0.0, 0.0)
        player = PerformedPlayer("keys", (voice,), (PerformedNote(0.0, 2.0, 0.0, 1.0, key, 80),))
        blocks = player_blocks(player, default_soundfont(), 2 * RATE, a4=442.0)
        sound = np.concatenate(list(blocks)).mean(axis=1).astype(float)
        assert cents_off(sound, key) == pytest.approx(7.9, abs=4)


BRIGHTENS = (
    ("acoustic piano", 60), ("bright electric piano", 60), ("clavinet", 60), ("nylon guitar", 55), ("steel guitar", 55),
    ("jazz guitar", 55), ("clean guitar", 55), ("muted guitar", 55), ("overdriven guitar", 55), ("finger bass", 36),
    ("acoustic bass", 36), ("pick bass", 36), ("brass section", 60), ("trumpet", 67), ("trombone", 55),
    ("tenor saxophone", 60), ("drum kit", DRUM_KEYS["snare"]), ("drum kit", DRUM_KEYS["ride"]), ("brush kit", DRUM_KEYS["snare"]),
)  # fmt: skip


def test_forte_is_brighter_than_piano() -> None:
    """By 0.2 to 0.8 octaves of the centroid from velocity 50 to 110 (common practice for played instruments)."""
    off = {}
    for name, key in BRIGHTENS:
        soft, loud = (centroid_hz(played(name, key, v, 0.5)) for v in (50, 110))
        octaves = float(np.log2(loud / soft))
        if not 0.2 <= octaves <= 0.8:
            off[name, key] = round(octaves, 2)
    assert not off


def test_an_organ_knows_no_touch() -> None:
    soft, loud = (centroid_hz(played("organ", 60, v, 0.5)) for v in (50, 110))
    assert soft == pytest.approx(loud, rel=0.01)


def test_the_digest_of_a_big_font_is_kept_by_path_size_and_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A font of 150 MB is read through once, not each time something is played."""
    from backing.output.sound import choice, fonts

    monkeypatch.setattr(fonts, "_BIG", 100)
    monkeypatch.setattr(choice, "cache_folder", lambda: tmp_path / "cache")
    font = tmp_path / "big.sf2"
    font.write_bytes(b"x" * 200)
    first = fonts.digest(font)
    (kept,) = (tmp_path / "cache").iterdir()
    assert kept.read_text("ascii") == first
    fonts._digest.cache_clear()
    kept.write_text("0" * 32, "ascii")
    assert fonts.digest(font) == "0" * 32  # what was kept is believed
    font.write_bytes(b"y" * 200)
    changed = fonts.digest(font)
    assert changed not in (first, "0" * 32)
    fonts._digest.cache_clear()
    for file in (tmp_path / "cache").iterdir():
        file.write_text("cut", "ascii")  # a file that was cut short is not
    assert fonts.digest(font) == changed
