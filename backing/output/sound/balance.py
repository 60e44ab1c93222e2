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

from backing.ground.instruments import DRUM_KEYS, Instrument
from backing.ground.roles import role_of

# instrument, LUFS of a note
_MEASURED: dict[str, float] = {
    "acoustic piano": -33.6, "electric piano": -27.2, "bright electric piano": -31.4,
    "clavinet": -29.0, "vibraphone": -24.9, "marimba": -33.1, "organ": -28.6, "rock organ": -29.3,
    "accordion": -28.2, "harmonica": -27.6, "nylon guitar": -29.2, "steel guitar": -31.7,
    "jazz guitar": -29.1, "clean guitar": -33.6, "muted guitar": -32.3, "overdriven guitar": -29.5,
    "distorted guitar": -25.6, "acoustic bass": -29.9, "finger bass": -28.6, "pick bass": -30.0,
    "fretless bass": -28.6, "slap bass": -28.7, "synth bass": -29.3, "violin": -26.0, "cello": -24.5,
    "bowed bass": -28.0, "string ensemble": -30.2, "warm pad": -34.1, "trumpet": -29.4,
    "trombone": -29.2, "tuba": -32.9, "brass section": -32.6, "alto saxophone": -28.2,
    "tenor saxophone": -28.7, "clarinet": -28.3, "flute": -28.0, "banjo": -28.6, "fiddle": -27.1,
    "steel drums": -30.6,
}  # fmt: skip

# dB for the kits, more dB for their hats and rides, voices of the synth in a stroke on these
_KITS: dict[str, tuple[float, float, int]] = {
    "drum kit":   (1.0, 7.0, 1),
    "brush kit":  (4.0, 3.0, 2),
    "percussion": (2.0, 0.0, 1),
    "click":      (0.0, 0.0, 1),
}  # fmt: skip
# A ride rings for ten seconds; after so many strokes the first is far below what has sounded since.
_STROKES = 16

CLOSE_KEYS = frozenset(
    DRUM_KEYS[name] for name in ("hat", "pedal hat", "open hat", "ride", "ride 2", "bell")
)


def trim_db(role: str, instrument: Instrument) -> float:
    """What brings a player's instrument to the common measure of its role."""
    if instrument.name in _KITS:
        return _KITS[instrument.name][0]
    return role_of(role).common_lufs - _MEASURED.get(instrument.name, -30.0)


def close_db(instrument: Instrument) -> float:
    """How much closer the microphone stands at hats and rides, 0 for what is no kit."""
    return _KITS.get(instrument.name, (0.0, 0.0, 1))[1]


def close_voices(instrument: Instrument) -> int:
    """How many voices of the synth hats and rides are given."""
    return _STROKES * _KITS.get(instrument.name, (0.0, 0.0, 1))[2]
