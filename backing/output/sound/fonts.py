"""What is known of a soundfont beyond its own data: how its keys are tuned, how forte sounds in it, how loud it is.

Presets of a free soundfont are out of tune by up to a third of a tone on some keys or silent on one, and in many fonts
forte is only louder than piano. All is mended at the synth: a key is tuned back by what was measured, a neighbour plays
in place of a silent one, and a softer stroke lowers the cutoff of the filter that every SoundFont voice has.

Conventions: `cents` is what was measured, above equal temperament at A 440, of sounding keys from `low` to `high`;
`cutoff_cents` is how much lower the filter would lie at velocity 0 than at 127, in between in proportion.
Sources: the tables are measured with the default soundfont (transform of 2 and 4 s of a note, mean of its harmonics by
their energy; brightness as the centroid of the power spectrum, chosen to rise by about 0.45 octaves from velocity 50 to
110), and tests measure them again; SoundFont technical specification 2.04, 8.4.2 for the modulator and the amount that
other fonts get. What is known of two more fonts stands in `measured/`, and of others in the user's cache, as
`measuring` finds it; a file is known by the digest of its content.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from backing.ground.instruments import INSTRUMENTS
from backing.output.sound import choice

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
    ("choir",       40, 42,  -9), ("choir",       50, 50, -16), ("choir",       51, 52,  -9), ("choir",       53, 53,  -8),
    ("choir",       54, 55, -15), ("choir",       59, 61, -14), ("choir",       70, 81,  10),
    ("synth lead",  36, 41,  -7), ("synth lead",  42, 54,  -9),
    ("french horn", 53, 59,   9), ("french horn", 61, 63,  -8),
    ("warm pad",    74, 92,   9),
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


class Measured(NamedTuple):
    """What was measured of a font: LUFS by instrument, rows of tuning, cutoff in cents by instrument."""

    levels: dict[str, float]
    tuning: tuple[tuple[str, int, int, int], ...]
    cutoff: dict[str, int]


class Font(NamedTuple):
    """What is known of a font, by General MIDI program of what is pitched; `levels` by instrument, where measured."""

    tuning: dict[int, tuple[float, ...]]  # cents a key, 128 of them
    cutoff: dict[int, int]
    silent: dict[int, dict[int, int]]  # keys without a sample, and the key that plays each
    levels: Mapping[str, float] = {}

    def cents(self, program: int, key: int) -> float:
        """How far above its pitch a key sounds."""
        return self.tuning[program][key] if program in self.tuning else 0.0

    def cutoff_cents(self, program: int, *, pitched: bool) -> int:
        """By how much the softest stroke closes the filter."""
        if not pitched:
            return KITS_CUTOFF_CENTS
        return self.cutoff.get(program, USUAL_CUTOFF_CENTS)


AS_IT_IS = Font({}, {i.program: 0 for i in INSTRUMENTS.values()}, {})  # to be measured
_DIGEST_BYTES = 16
_BIG = (
    16_000_000  # bytes: from here on reading a font through takes longer than starting to play it
)
OWN = Path(__file__).parent / "measured"


def known(path: Path) -> Font:
    """What is known of the font at a path, by its content; a font that nobody measured is taken to be in tune."""
    stat = path.stat()
    return _known(os.path.realpath(path), stat.st_size, stat.st_mtime_ns)


def is_default(path: Path) -> bool:
    """Whether a file is the font that comes with pip."""
    return path.stat().st_size == _DEFAULT[0] and digest(path) == _DEFAULT[1]


def digest(path: Path) -> str:
    """The digest by which a font is known; of a big one it is kept, by path, size and time. Raises OSError."""
    stat = path.stat()
    return _digest(os.path.realpath(path), stat.st_size, stat.st_mtime_ns)


@lru_cache(maxsize=64)
def _digest(path: str, size: int, changed_ns: int) -> str:
    place = hashlib.blake2b(os.fsencode(path), digest_size=8).hexdigest()
    kept = choice.cache_folder() / f"{place}-{size}-{changed_ns}.digest"
    if size >= _BIG:
        with suppress(OSError, UnicodeDecodeError):
            found = kept.read_text("ascii")
            if len(found) == 2 * _DIGEST_BYTES:
                return found
    with Path(path).open("rb") as file:
        found = hashlib.file_digest(
            file, lambda: hashlib.blake2b(digest_size=_DIGEST_BYTES)
        ).hexdigest()
    if size >= _BIG:
        with suppress(OSError):  # then it is worked out again next time
            kept.parent.mkdir(parents=True, exist_ok=True)
            part = kept.with_suffix(f".{os.getpid()}.part")
            part.write_text(found, "ascii")
            part.replace(kept)
    return found


def altered(path: Path) -> bool:
    """Whether a file is as long as a font that is known, to the byte, and is not that font. Raises OSError."""
    size = path.stat().st_size
    stems = [f"{_DEFAULT[0]}-{_DEFAULT[1]}", *(file.stem for file in OWN.glob("*.json"))]
    alike = [stem for stem in stems if stem.split("-")[0] == str(size)]
    return bool(alike) and f"{size}-{digest(path)}" not in alike


def where(path: Path) -> Path | None:
    """The file that holds what was measured of a font, None where there is none."""
    size = path.stat().st_size
    files = [file for file in _files() if file.stem.split("-")[0] == str(size)]
    if not files:
        return None
    own = digest(path)
    return next((file for file in files if file.stem == f"{size}-{own}"), None)


def keep(path: Path, measured: Measured, name: str) -> Path:
    """Keep what was measured of a font in the user's cache. Raises OSError."""
    folder = choice.cache_folder()
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / f"{path.stat().st_size}-{digest(path)}.json"
    part = file.with_suffix(".part")
    part.write_text(written(measured, name), "utf-8")
    part.replace(file)
    return file


def written(measured: Measured, name: str) -> str:
    """Measurements as they are kept, a row a line."""
    tuning = ",\n  ".join(json.dumps(row) for row in measured.tuning)
    levels, cutoff = (json.dumps(table, sort_keys=True) for table in measured[::2])
    return (
        f'{{"name": {json.dumps(name)},\n "levels": {levels},\n "cutoff": {cutoff},\n'
        f' "tuning": [\n  {tuning}]}}\n'
    )


def _files() -> Iterator[Path]:
    for folder in (OWN, choice.cache_folder()):
        if folder.is_dir():
            yield from sorted(folder.glob("*.json"))


@lru_cache(maxsize=8)
def _known(path: str, size: int, changed_ns: int) -> Font:
    if size == _DEFAULT[0] and digest(Path(path)) == _DEFAULT[1]:
        silent: dict[int, dict[int, int]] = {}
        for name, key, stand_in in _DEFAULT_SILENT:
            silent.setdefault(INSTRUMENTS[name].program, {})[key] = stand_in
        return _font(Measured({}, _DEFAULT_TUNING, _DEFAULT_CUTOFF))._replace(silent=silent)
    file = where(Path(path))
    found = None if file is None else _read(file)
    return Font({}, {}, {}) if found is None else _font(found)


def _read(file: Path) -> Measured | None:
    """Measurements that were kept; None where the file is not whole, so that they are made again."""
    try:
        data: dict[str, Any] = json.loads(file.read_text("utf-8"))
        return Measured(
            {name: float(data["levels"][name]) for name in data["levels"]},
            tuple((n, int(low), int(high), int(cents)) for n, low, high, cents in data["tuning"]),
            {name: int(data["cutoff"][name]) for name in data["cutoff"]},
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _font(measured: Measured) -> Font:
    tuning: dict[int, list[float]] = {}
    for name, low, high, cents in measured.tuning:
        if name in INSTRUMENTS:
            keys = tuning.setdefault(INSTRUMENTS[name].program, [0.0] * 128)
            keys[low : high + 1] = [float(cents)] * (high + 1 - low)
    cutoff = {
        INSTRUMENTS[name].program: cents
        for name, cents in measured.cutoff.items()
        if name in INSTRUMENTS
    }
    return Font(
        {program: tuple(keys) for program, keys in tuning.items()}, cutoff, {}, measured.levels
    )
