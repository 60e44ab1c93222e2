"""How loud the instruments of a General MIDI soundfont are, and what brings them to a common measure.

A style says how loud its players are meant to be. Presets differ by ten decibels and more for the same velocity, so
each stem first gets a trim that takes that difference out: an electric piano in place of a piano, or another guitar,
then sounds as loud as meant. Hats and ride cymbals of a kit have a microphone of their own, as on a stage.

Conventions: loudness in LUFS as the loudest 400 ms of a half-second note at velocity 80, mean of three pitches (A3 D4
G4; G1 C2 F2 for basses), of the default soundfont at the synth's own gain.
Sources: the table is measured with the default soundfont, and a test measures it again; ITU-R BS.1770-4 for the
weighting; the common measure of each role stands with its role (`ground/roles.py`).
"""

from __future__ import annotations

from collections.abc import Mapping

from backing.ground.instruments import DRUM_KEYS, Instrument
from backing.ground.roles import role_of

UNMEASURED: Mapping[
    str, float
] = {}  # levels of a font that nobody measured, and of the default one

# instrument, LUFS of a note
_MEASURED: dict[str, float] = {
    "acoustic piano": -34.3, "electric piano": -27.2, "bright electric piano": -31.6,
    "clavinet": -29.6, "vibraphone": -25.0, "marimba": -33.4, "organ": -28.6, "rock organ": -29.3,
    "accordion": -28.7, "harmonica": -28.4, "nylon guitar": -30.6, "steel guitar": -33.4,
    "jazz guitar": -29.7, "clean guitar": -34.8, "muted guitar": -33.1, "overdriven guitar": -30.4,
    "distorted guitar": -26.5, "acoustic bass": -30.0, "finger bass": -28.8, "pick bass": -30.8,
    "fretless bass": -28.7, "slap bass": -28.8, "synth bass": -30.0, "violin": -26.2, "cello": -25.1,
    "bowed bass": -28.0, "string ensemble": -30.9, "warm pad": -35.1, "trumpet": -29.9,
    "trombone": -30.4, "tuba": -33.1, "brass section": -33.9, "alto saxophone": -28.4,
    "tenor saxophone": -29.5, "clarinet": -28.9, "flute": -28.1, "banjo": -30.3, "fiddle": -27.5,
    "steel drums": -30.9, "bandoneon": -31.1, "pizzicato strings": -31.2, "harp": -25.2, "choir": -30.9,
    "synth lead": -28.0, "french horn": -25.5, "whistle": -25.8,
}  # fmt: skip

# dB for the kits, more dB for their hats and rides, voices of the synth in a stroke on these
_KITS: dict[str, tuple[float, float, int]] = {
    "drum kit":   (1.0, 7.0, 1),
    "brush kit":  (4.0, 3.0, 2),
    "electronic kit": (-4.0, 3.0, 1),
    "analog kit": (-2.0, 1.0, 1),
    "percussion": (2.0, 0.0, 1),
    "click":      (0.0, 0.0, 1),
}  # fmt: skip
# LUFS of the main strokes of the kits of the default font, as `measuring` takes them
_KIT_LUFS = {
    "drum kit": -40.7, "brush kit": -39.7, "electronic kit": -35.4, "analog kit": -36.3, "percussion": -35.4,
    "click": -36.2,
}  # fmt: skip
# A ride rings for ten seconds; after so many strokes the first is far below what has sounded since. Measured on five
# tracks against 32: no band of it changes by more than 0.02 dB, and rides cost half of what they do with 16.
_STROKES = 8

CLOSE_KEYS = frozenset(
    DRUM_KEYS[name] for name in ("hat", "pedal hat", "open hat", "ride", "ride 2", "bell")
)


def trim_db(role: str, instrument: Instrument, levels: Mapping[str, float] = UNMEASURED) -> float:
    """What brings a player's instrument to the common measure of its role; `levels` were measured of its font."""
    if instrument.name in _KITS:
        usual = _KIT_LUFS[instrument.name]
        return _KITS[instrument.name][0] + usual - levels.get(instrument.name, usual)
    measured = levels.get(instrument.name, _MEASURED.get(instrument.name, -30.0))
    return role_of(role).common_lufs - measured


def of_a_note(instrument: Instrument, levels: Mapping[str, float] = UNMEASURED) -> float:
    """LUFS of a note, or of the main strokes of a kit."""
    usual = _KIT_LUFS.get(instrument.name, _MEASURED.get(instrument.name, -30.0))
    return levels.get(instrument.name, usual)


def close_db(instrument: Instrument) -> float:
    """How much closer the microphone stands at hats and rides, 0 for what is no kit."""
    return _KITS.get(instrument.name, (0.0, 0.0, 1))[1]


def close_voices(instrument: Instrument) -> int:
    """How many voices of the synth hats and rides are given."""
    return _STROKES * _KITS.get(instrument.name, (0.0, 0.0, 1))[2]
