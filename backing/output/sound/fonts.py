"""What is known of a soundfont beyond its own data: how its keys are tuned and how forte sounds in it.

Presets of a free soundfont are out of tune by up to a third of a tone on some keys or silent on one, and in many fonts
forte is only louder than piano. All is mended at the synth: a key is tuned back by what was measured, a neighbour plays
in place of a silent one, and a softer stroke lowers the cutoff of the filter that every SoundFont voice has.

Conventions: `cents` is what was measured, above equal temperament at A 440, of sounding keys from `low` to `high`;
`cutoff_cents` is how much lower the filter would lie at velocity 0 than at 127, in between in proportion.
Sources: the tables are measured with the default soundfont (transform of 2 and 4 s of a note, mean of its harmonics by
their energy; brightness as the centroid of the power spectrum, chosen to rise by about 0.45 octaves from velocity 50 to
110), and tests measure them again; SoundFont technical specification 2.04, 8.4.2 for the modulator and the amount that
other fonts get.
"""

from __future__ import annotations

import hashlib
import os
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from backing.ground.instruments import INSTRUMENTS

USUAL_CUTOFF_CENTS = (
    2400  # of a font that nothing is known of; its own modulators of this kind go before it
)
KITS_CUTOFF_CENTS = 1900
# bytes and BLAKE2b of the default soundfont
_DEFAULT = (5_994_284, "6894675458a6a3cb9237338407825070")

# instrument, lowest key, highest key, cents
_DEFAULT_TUNING = (
    ("accordion",   61, 61, -28), ("accordion",   62, 64, -12), ("accordion",   65, 68, -22),
    ("accordion",   69, 72, -24), ("accordion",   73, 76, -51), ("accordion",   77, 79, -57),
    ("accordion",   80, 93, -67),
    ("harmonica",   65, 70, -29), ("harmonica",   71, 73, -36),
    ("violin",      91, 94,   7),
    ("trumpet",     76, 81, -11),
    ("brass section", 43, 69, 7), ("brass section", 76, 84, 8),
    ("alto saxophone", 49, 53, 6), ("alto saxophone", 80, 81, -9),
    ("flute",       60, 60,   7), ("flute",       61, 65,  16), ("flute",       69, 71,  13), ("flute", 72, 76, -6),
    ("steel drums", 52, 88,  16),
    ("bandoneon",   36, 47, -14), ("bandoneon",   53, 56, -21), ("bandoneon",   57, 58, -24),
    ("bandoneon",   59, 61, -27), ("bandoneon",   73, 76, -42), ("bandoneon",   77, 79, -54),
    ("bandoneon",   80, 95, -67),
    ("choir",       40, 42,  -9), ("choir",       50, 50, -16), ("choir",       51, 52,  -9),
    ("choir",       54, 55, -15), ("choir",       59, 61, -14), ("choir",       70, 81,  10),
    ("synth lead",  36, 41,  -7), ("synth lead",  42, 54,  -9),
    ("french horn", 53, 59,   9), ("french horn", 61, 63,  -8),
)  # fmt: skip

# instrument, key that no sample of the font serves, key that plays it, tuned there
_DEFAULT_SILENT = (("alto saxophone", 64, 63),)

# instrument, cutoff in cents; organs answer no touch, and an electric piano or a pad hardly has overtones to take
_DEFAULT_CUTOFF = {
    "acoustic piano": 3800, "electric piano": 5000, "bright electric piano": 2600, "clavinet": 2800,
    "vibraphone": 5000, "marimba": 5000, "organ": 0, "rock organ": 0, "accordion": 6000, "harmonica": 6200,
    "nylon guitar": 6500, "steel guitar": 5600, "jazz guitar": 6000, "clean guitar": 2200,
    "muted guitar": 6800, "overdriven guitar": 2600, "distorted guitar": 3200, "acoustic bass": 9600,
    "finger bass": 7400, "pick bass": 5700, "fretless bass": 8600, "slap bass": 3800, "synth bass": 4900,
    "violin": 6000, "cello": 9000, "bowed bass": 9600, "string ensemble": 8700, "warm pad": 1800,
    "trumpet": 8200, "trombone": 5500, "tuba": 7800, "brass section": 4500, "alto saxophone": 6500,
    "tenor saxophone": 2700, "clarinet": 3500, "flute": 9600, "banjo": 5400, "fiddle": 5300, "steel drums": 5600,
    "bandoneon": 6100, "pizzicato strings": 9400, "harp": 2400, "choir": 9400, "synth lead": 4600, "french horn": 8200,
    "whistle": 2400,
}  # fmt: skip


class Font(NamedTuple):
    """What is known of a font, by General MIDI program of what is pitched."""

    tuning: dict[int, tuple[float, ...]]  # cents a key, 128 of them
    cutoff: dict[int, int]
    silent: dict[int, dict[int, int]]  # keys without a sample, and the key that plays each

    def cents(self, program: int, key: int) -> float:
        """How far above its pitch a key sounds."""
        return self.tuning[program][key] if program in self.tuning else 0.0

    def cutoff_cents(self, program: int, *, pitched: bool) -> int:
        """By how much the softest stroke closes the filter."""
        if not pitched:
            return KITS_CUTOFF_CENTS
        return self.cutoff.get(program, USUAL_CUTOFF_CENTS)


def known(path: Path) -> Font:
    """What is known of the font at a path, by its content; a font that nobody measured is taken to be in tune."""
    stat = path.stat()
    return _known(os.path.realpath(path), stat.st_size, stat.st_mtime_ns)


@lru_cache(maxsize=8)
def _known(path: str, size: int, changed_ns: int) -> Font:
    if size != _DEFAULT[0]:
        return Font({}, {}, {})
    with Path(path).open("rb") as file:
        digest = hashlib.file_digest(file, lambda: hashlib.blake2b(digest_size=16)).hexdigest()
    return _default() if digest == _DEFAULT[1] else Font({}, {}, {})


def _default() -> Font:
    tuning: dict[int, list[float]] = {}
    for name, low, high, cents in _DEFAULT_TUNING:
        keys = tuning.setdefault(INSTRUMENTS[name].program, [0.0] * 128)
        keys[low : high + 1] = [float(cents)] * (high + 1 - low)
    cutoff = {INSTRUMENTS[name].program: cents for name, cents in _DEFAULT_CUTOFF.items()}
    silent: dict[int, dict[int, int]] = {}
    for name, key, stand_in in _DEFAULT_SILENT:
        silent.setdefault(INSTRUMENTS[name].program, {})[key] = stand_in
    return Font({program: tuple(keys) for program, keys in tuning.items()}, cutoff, silent)
