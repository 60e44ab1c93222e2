"""Channel strips: filters against their formulae, compression, drive, fold and width against their definitions."""

from __future__ import annotations

from collections.abc import Generator
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from backing.ground.instruments import INSTRUMENTS
from backing.ground.roles import ROLES
from backing.output.sound import mix, strip
from backing.output.sound.dynamics import COMMON_PEAK_DB, Dynamics, treated
from backing.output.sound.strip import Strip, strip_of
from backing.output.sound.synth import BLOCK, RATE
from backing.performance.model import PerformedPlayer, Voice

Sound = NDArray[np.float32]
PLAIN = strip_of("click", INSTRUMENTS["click"])
SECOND = RATE // 64 * 64


def tone(hz: float, peak_db: float, frames: int = SECOND) -> Sound:
    wave = 10 ** (peak_db / 20) * np.sin(2 * np.pi * hz * np.arange(frames) / RATE)
    return np.repeat(wave.astype(np.float32)[:, None], 2, axis=1)


def level_db(sound: Sound) -> float:
    return float(10 * np.log10(np.mean(sound.astype(float) ** 2) + 1e-20))


def gain_db(row: Strip, hz: float) -> float:
    found = np.abs(strip.response(row, 0.0, mix.SPAN))
    return float(20 * np.log10(np.interp(hz, np.fft.rfftfreq(mix.SPAN, 1 / RATE), found)))


def test_every_role_has_a_strip_and_every_row_its_reason() -> None:
    for role in ROLES:
        assert role in strip._TABLE
    for name, row in strip._TABLE.items():
        assert name in ROLES or name in INSTRUMENTS
        assert len(row.why) > 15
        assert len(row.bells) <= 2


def test_bells_and_shelves_have_their_gain_where_they_are_said_to() -> None:
    """Bristow-Johnson's cookbook: a bell has its gain at its frequency and none far off; a shelf half of it there."""
    bell = PLAIN._replace(bells=((1000, 4.0, 0.7),))
    assert gain_db(bell, 1000) == pytest.approx(4.0, abs=0.01)
    assert abs(gain_db(bell, 30)) < 0.1
    assert abs(gain_db(bell, 20_000)) < 0.2
    shelf = PLAIN._replace(bells=((2000, -3.0, 0),))
    assert gain_db(shelf, 2000) == pytest.approx(-1.5, abs=0.01)
    assert gain_db(shelf, 18_000) == pytest.approx(-3.0, abs=0.05)
    assert abs(gain_db(shelf, 100)) < 0.05


def test_a_compressor_takes_half_of_what_is_above() -> None:
    """Two to one: 8 dB above the threshold come out 4 dB above it; what is under it stays as it is."""
    row = PLAIN._replace(above_db=-26.0)
    loud, soft = tone(200, -18.0), tone(200, -27.0)
    before = level_db(loud[-8192:]), soft.copy()
    dynamics = Dynamics(row, 1.0)
    dynamics.apply(loud)
    assert level_db(loud[-8192:]) - before[0] == pytest.approx(-4.0, abs=0.1)
    Dynamics(row, 1.0).apply(soft)
    assert np.array_equal(soft, before[1])


def test_a_compressor_lets_the_attack_through_and_comes_back() -> None:
    """It follows within tens of milliseconds and lets go within a few tenths of a second (common practice)."""
    sound = np.concatenate([tone(500, -18.0, 64 * 345), tone(500, -40.0, 64 * 345)])
    before = sound.copy()
    Dynamics(PLAIN._replace(above_db=-26.0), 1.0).apply(sound)

    def taken_db(ms: float) -> float:
        at = slice(round(ms * RATE / 1000), round(ms * RATE / 1000) + 256)
        return level_db(sound[at]) - level_db(before[at])

    assert taken_db(0) > -0.8
    assert taken_db(60) < -3.5
    assert taken_db(540) < -2.0
    assert taken_db(990) > -0.3


def test_the_threshold_belongs_to_the_common_measure() -> None:
    """An instrument that is trimmed by 6 dB is compressed as one that was so loud by itself."""
    row = PLAIN._replace(above_db=-26.0)
    a, b = tone(200, -18.0), tone(200, -18.0) / np.float32(2)
    Dynamics(row, 1.0).apply(a)
    Dynamics(row, 2.0).apply(b)
    assert np.allclose(a, 2 * b, atol=1e-6)


def test_drive_adds_overtones_to_what_is_loud() -> None:
    """Second and third overtone of a note at its common measure, 12 to 40 dB under it; a soft one stays nearly pure."""
    hz = 60 * RATE / 44_100
    row = PLAIN._replace(drive=0.7)
    found = {}
    for peak_db in (COMMON_PEAK_DB, COMMON_PEAK_DB - 24):
        sound = tone(hz, peak_db, RATE)
        Dynamics(row, 1.0).apply(sound)
        spectrum = 20 * np.log10(np.abs(np.fft.rfft(sound[:, 0].astype(float))) + 1e-9)
        found[peak_db] = [spectrum[60 * n] - spectrum[60] for n in (2, 3)]
    assert all(-40 < over < -12 for over in found[COMMON_PEAK_DB])
    assert all(over < -36 for over in found[COMMON_PEAK_DB - 24])


def test_what_is_folded_stands_in_the_middle() -> None:
    sound = tone(1000, -20.0)
    sound[:, 1] = 0
    Dynamics(PLAIN._replace(fold=True), 1.0).apply(sound)
    assert np.array_equal(sound[:, 0], sound[:, 1])
    assert sound.max() == pytest.approx(0.05, abs=1e-3)


@pytest.mark.parametrize("name", ["acoustic bass", "choir"])
def test_blocks_of_any_length_are_treated_alike(name: str) -> None:
    row = strip_of("keys", INSTRUMENTS[name])
    dice = np.random.Generator(np.random.PCG64(3))
    whole = (0.2 * dice.standard_normal((64 * 900, 2))).astype(np.float32)
    parts = whole.copy()
    Dynamics(row, 1.0).apply(whole)
    dynamics = Dynamics(row, 1.0)
    for at in range(0, len(parts), 64 * 77):
        dynamics.apply(parts[at : at + 64 * 77])
    assert np.array_equal(whole, parts)


def test_another_instrument_is_treated_in_its_own_way_from_its_place_on() -> None:
    """An accordion and then a choir, which alone is compressed."""
    voices = tuple(
        Voice(at_s, Fraction(0), INSTRUMENTS[name], 0.0, 0.0, 0.0)
        for at_s, name in ((0.0, "accordion"), (1.0, "choir"))
    )
    player = PerformedPlayer("keys", voices, ())
    loud = tone(500, 0.0, 64 * 1400)
    before = loud.copy()

    def blocks() -> Generator[Sound, None, None]:
        for at in range(0, len(loud), 64 * 350):
            yield loud[at : at + 64 * 350]

    list(treated(player, blocks()))
    border = 64 * round(RATE / 64)
    assert np.array_equal(loud[:border], before[:border])
    assert level_db(loud[-8192:]) < level_db(before[-8192:]) - 6


def test_width_is_gone_when_the_sides_are_added() -> None:
    """A complementary delay: left and right together are exactly what they are without it, and the sides lie well under it."""
    voice = Voice(0.0, Fraction(0), INSTRUMENTS["string ensemble"], 0.0, 0.0, 0.0)
    noise = np.zeros((BLOCK, 2), np.float32)
    noise[: RATE // 2] = np.random.Generator(np.random.PCG64(1)).standard_normal((RATE // 2, 1))
    player = PerformedPlayer("strings", (voice,), ())
    wide = mix._Desk().sum([mix._part(player, noise, 0, {}, mix._Scratch())])
    assert wide is not None
    middle, side = wide.sum(axis=1) / 2, (wide[:, 0] - wide[:, 1]) / 2
    assert level_db(side) < level_db(middle) - 6
    assert level_db(side) > level_db(middle) - 20
    left, right = (level_db(wide[:, i]) for i in (0, 1))
    assert abs(left - right) < 1
    row = strip_of("strings", voice.instrument)
    spectrum = np.fft.rfft(noise[:, 0], mix.SPAN)
    spectrum *= strip.response(row, voice.instrument.cut_hz, mix.SPAN)
    alone = np.fft.irfft(spectrum, mix.SPAN)[:BLOCK] * mix.gains("strings", voice)[0]
    assert np.abs(middle - alone).max() < 1e-4 * np.abs(alone).max()
