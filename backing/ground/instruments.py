"""Instruments and drum keys.

Conventions: programs and keys are bytes from 0 as they stand in a file (printed General MIDI tables count programs
from 1); ranges are sounding MIDI notes, the lowest that the instrument has and the highest that a band player uses.
Sources: General MIDI level 1 sound set and percussion key map, General MIDI level 2 for the numbers of kits (24
electronic, 25 analog, 40 brush); ranges from orchestration handbooks and, where the trade has no fixed figure (organ,
synthesiser, pad), common practice. A whistle is one in D, which sounds from D5 (the nearest preset is the recorder); a bandoneon is of 142 tones, a harp of
47 strings, a choir of four voices (their ranges from memory).
"""

from __future__ import annotations

from typing import NamedTuple


class Instrument(NamedTuple):
    """A sound: General MIDI `program` (0-based), sounding range `low`..`high` as MIDI notes.

    `decays` is true where a held note dies away by itself (piano, plucked strings).
    `cut_hz` is a high-pass below the lowest fundamental, 0 for none.
    """

    name: str
    program: int
    low: int
    high: int
    decays: bool

    @property
    def cut_hz(self) -> float:
        """A high-pass frequency half an octave below the lowest fundamental."""
        return float(440.0 * 2.0 ** ((self.low - 69) / 12) / 2**0.5)


# name, program, low, high, decays
_TABLE = (
    ("acoustic piano",        0, 21, 108, True),
    ("electric piano",        4, 28, 103, True),
    ("bright electric piano", 5, 28, 103, True),
    ("clavinet",              7, 29,  89, True),
    ("vibraphone",           11, 53,  89, True),
    ("marimba",              12, 45,  96, True),
    ("organ",                16, 36,  96, False),
    ("rock organ",           18, 36,  96, False),
    ("accordion",            21, 53,  93, False),
    ("harmonica",            22, 60,  96, False),
    ("bandoneon",            23, 36,  95, False),
    ("nylon guitar",         24, 40,  83, True),
    ("steel guitar",         25, 40,  86, True),
    ("jazz guitar",          26, 40,  86, True),
    ("clean guitar",         27, 40,  88, True),
    ("muted guitar",         28, 40,  86, True),
    ("overdriven guitar",    29, 40,  88, False),
    ("distorted guitar",     30, 40,  88, False),
    ("acoustic bass",        32, 28,  62, True),
    ("finger bass",          33, 28,  63, True),
    ("pick bass",            34, 28,  63, True),
    ("fretless bass",        35, 28,  63, True),
    ("slap bass",            36, 28,  63, True),
    ("synth bass",           38, 24,  60, False),
    ("violin",               40, 55,  96, False),
    ("cello",                42, 36,  76, False),
    ("bowed bass",           43, 28,  55, False),
    ("pizzicato strings",    45, 36,  96, True),
    ("harp",                 46, 24, 103, True),
    ("string ensemble",      48, 36,  96, False),
    ("choir",                52, 40,  81, False),
    ("synth lead",           81, 36,  90, False),
    ("warm pad",             89, 36,  96, False),
    ("trumpet",              56, 54,  82, False),
    ("trombone",             57, 40,  72, False),
    ("tuba",                 58, 28,  58, False),
    ("french horn",          60, 41,  77, False),
    ("brass section",        61, 43,  84, False),
    ("alto saxophone",       65, 49,  81, False),
    ("tenor saxophone",      66, 44,  76, False),
    ("clarinet",             71, 50,  91, False),
    ("flute",                73, 60,  96, False),
    ("whistle",              74, 74,  98, False),
    ("banjo",               105, 48,  84, True),
    ("fiddle",              110, 55,  96, False),
    ("steel drums",         114, 52,  88, True),
    ("drum kit",              0,  0, 127, True),
    ("electronic kit",       24,  0, 127, True),
    ("analog kit",           25,  0, 127, True),
    ("brush kit",            40,  0, 127, True),
    ("percussion",            0,  0, 127, True),
    ("click",                 0,  0, 127, True),
)  # fmt: skip

INSTRUMENTS: dict[str, Instrument] = {row[0]: Instrument(*row) for row in _TABLE}

# what an instrument is called too (common practice) -> its name here
ALSO_CALLED = {
    "upright bass": "acoustic bass", "double bass": "acoustic bass", "contrabass": "acoustic bass", "string bass": "acoustic bass",
    "electric bass": "finger bass", "bass guitar": "finger bass", "bass": "finger bass",
    "piano": "acoustic piano", "grand piano": "acoustic piano", "upright piano": "acoustic piano",
    "acoustic guitar": "steel guitar", "classical guitar": "nylon guitar", "electric guitar": "clean guitar", "guitar": "steel guitar",
    "vibes": "vibraphone", "sax": "tenor saxophone", "saxophone": "tenor saxophone", "strings": "string ensemble",
    "brass": "brass section", "horns": "brass section", "drums": "drum kit", "drum set": "drum kit", "brushes": "brush kit",
}  # fmt: skip

# name as styles write it, key (General MIDI percussion key map, 35 to 81)
DRUM_KEYS: dict[str, int] = {
    "acoustic kick": 35, "kick": 36, "rim": 37, "snare": 38, "clap": 39, "electric snare": 40,
    "floor tom": 41, "hat": 42, "high floor tom": 43, "pedal hat": 44, "low tom": 45, "open hat": 46,
    "mid tom": 47, "high mid tom": 48, "crash": 49, "high tom": 50, "ride": 51, "china": 52, "bell": 53,
    "tambourine": 54, "splash": 55, "cowbell": 56, "crash 2": 57, "vibraslap": 58, "ride 2": 59,
    "high bongo": 60, "low bongo": 61, "muted conga": 62, "open conga": 63, "low conga": 64,
    "high timbale": 65, "low timbale": 66, "high agogo": 67, "low agogo": 68, "cabasa": 69, "maracas": 70,
    "short whistle": 71, "long whistle": 72, "short guiro": 73, "long guiro": 74, "claves": 75,
    "high block": 76, "low block": 77, "muted cuica": 78, "open cuica": 79,
    "muted triangle": 80, "open triangle": 81,
}  # fmt: skip

DRUM_NAMES = {key: name for name, key in DRUM_KEYS.items()}

# A stroke of one member silences the others that still ring (common practice in General MIDI kits).
CHOKE_GROUPS: tuple[frozenset[str], ...] = (
    frozenset({"hat", "pedal hat", "open hat"}),
    frozenset({"short guiro", "long guiro"}),
    frozenset({"muted cuica", "open cuica"}),
    frozenset({"muted triangle", "open triangle"}),
)

STANDARD_TUNING = (40, 45, 50, 55, 59, 64)  # guitar E A D G B E, low string first
