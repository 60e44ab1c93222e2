"""What the players can be asked to do: for each role its algorithms, and for each algorithm its settings.

Data only. The loader checks style files against these tables and the players read their settings by these names.

Conventions: a setting has a kind (`flag`, `number`, `choice`, `words`, `degrees`), a range or a list of choices, and the
value that holds when a style says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class Setting(NamedTuple):
    """One setting: `about` is shown to writers of styles; numbers lie in `low`..`high`."""

    kind: str  # "flag", "number", "choice", "words" (a list of choices), "degrees" (of the key, in a text)
    about: str
    default: bool | float | str | tuple[str, ...]
    choices: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 1.0


class Algorithm(NamedTuple):
    """One way to play: what it is, and its settings by name."""

    about: str
    settings: Mapping[str, Setting]


VOICINGS = (
    "shells", "rootless", "drop 2", "drop 3", "quartal", "triads", "spread", "rhythm", "power", "close", "open",
)  # fmt: skip

_VOICING = Setting("choice", "family of voicings that the search draws from", "rootless", VOICINGS)
_GRIPS = Setting("choice", "family of grips that the search draws from", "drop 2", VOICINGS)
_OWN = ("same", *VOICINGS)
_SOFT_VOICING = Setting("choice", "family of voicings up to mp", "same", _OWN)
_SHELLS_SOFT = Setting(
    "choice",
    "family of voicings up to mp; for rootless ones that stay the same, shells",
    "same",
    _OWN,
)
_LOUD_VOICING = Setting("choice", "family of voicings above mf", "same", _OWN)
_VOICES = Setting("number", "notes in a chord, 0 for what the family usually has", 0, low=0, high=6)
_OCTAVES = Setting("flag", "single notes of chords and lines doubled an octave above", False)
_PEDAL = Setting("flag", "single notes of broken chords ring until the chord changes", True)
_SPREAD = Setting(
    "number",
    "ms between neighbouring strings of a stroke, 0 for what the level asks",
    0,
    low=0,
    high=25,
)
_ROCKS = Setting("flag", "root and fifth rock to root and sixth on every other beat", False)
_CAPO = Setting(
    "choice",
    "a capo of this player's own; auto is the fret over which the chart's chords lie in open shapes",
    "off",
    ("off", "auto"),
)
_DRONE = Setting("degrees", "degrees of the key, as 1 5, whose open strings ring on", "")
_MUTED = Setting("flag", "strings damped at once: every stroke is short", False)

_PADS = Setting("choice", "family of voicings that the search draws from", "spread", VOICINGS)
_SECTION = Setting("choice", "family of voicings that the search draws from", "close", VOICINGS)
_VOICED = {"voicing_soft": _SOFT_VOICING, "voicing_loud": _LOUD_VOICING, "voices": _VOICES}
_HELD = {"voicing": _VOICING, **_VOICED, "voicing_soft": _SHELLS_SOFT}
_KEYS = {**_HELD, "octaves": _OCTAVES, "pedal": _PEDAL}

_APPROACH = Setting(
    "choice", "steps by which `a` leads to the next chord", "both", ("both", "scale", "chromatic")
)
_BASS_PATTERN = Algorithm("patterns by degree, as the style writes them", {"approach": _APPROACH})
_SKIPS = Setting("number", "chance of an eighth between the beats of a bar", 0.12)
_PICKUPS = Setting("number", "chance of a note on the last beat of a bar", 0.2)
_WALK_UPS = Setting("number", "chance of walking into the next chord", 0.3)
_PEDAL_RHYTHM = Setting(
    "choice", "how often the bass is struck", "bar", ("bar", "strong", "beat", "eighths")
)
_COMPING = Setting("number", "how much snare and kick talk between the beats of swing", 0.0)
_KICK_WITH_BASS = Setting("number", "chance that a kick follows the bass off the beat", 0.0)
_SOFT = Setting(
    "choice", "what takes the place of the snare when it is soft", "snare", ("snare", "rim")
)
_VARY = Setting("number", "chance that a bar is played with a small change", 0.4)
_COMES_AND_GOES = Setting("number", "chance that a soft stroke is left out", 0.4)
_FILLS = Setting(
    "choice",
    "fills where the style has no patterns of its own for phrase ends",
    "toms",
    ("toms", "snare", "none"),
)
_CRASH = Setting("flag", "crash cymbals where sections begin and after fills", True)

ALGORITHMS: Mapping[str, Mapping[str, Algorithm]] = {
    "bass": {
        "walking": Algorithm("a quarter-note line found by search", {"skips": _SKIPS}),
        "two-feel": Algorithm(
            "half notes, root and fifth, with pickups at phrase ends", {"pickups": _PICKUPS}
        ),
        "tumbao": Algorithm(
            "the off-beat before the middle, and the last beat with the next chord", {}
        ),
        "root-fifth": Algorithm(
            "root and fifth on the strong beats, now and then a walk up", {"walk_ups": _WALK_UPS}
        ),
        "pedal": Algorithm("the bass of the chord, held or repeated", {"rhythm": _PEDAL_RHYTHM}),
        "octaves": Algorithm("low on the beats, an octave higher on the off-beats", {}),
        "pattern": _BASS_PATTERN,
    },
    "keys": {
        "pattern": Algorithm("chords in the rhythm of the style's patterns", _KEYS),
        "pad": Algorithm("held chords", _HELD),
    },
    "guitar": {
        "pattern": Algorithm(
            "strokes or plucked strings as the style's patterns write them",
            {
                "voicing": _GRIPS,
                "voicing_soft": _SOFT_VOICING,
                "voicing_loud": _LOUD_VOICING,
                "muted": _MUTED,
                "rocks": _ROCKS,
                "spread_ms": _SPREAD,
                "capo": _CAPO,
                "drone": _DRONE,
            },
        ),
    },
    "strings": {
        "pad": Algorithm("held chords, voice by voice", {"voicing": _PADS, **_VOICED}),
        "guide tones": Algorithm("one line of thirds and sevenths", {}),
        "pattern": Algorithm(
            "chords in the rhythm of the style's patterns, and lines by degree",
            {"voicing": _PADS, **_VOICED, "octaves": _OCTAVES},
        ),
    },
    "horns": {
        "pattern": Algorithm(
            "chords in the rhythm of the style's patterns, and lines by degree",
            {"voicing": _SECTION, **_VOICED, "octaves": _OCTAVES},
        ),
        "pad": Algorithm("held chords, voice by voice", {"voicing": _SECTION, **_VOICED}),
        "guide tones": Algorithm("one line of thirds and sevenths", {}),
    },
    "melody": {"melody": Algorithm("the written melody", {})},
    "solo": {"chord melody": Algorithm("tune and chords on one guitar", {})},
    "drums": {
        "pattern": Algorithm(
            "patterns by level and place, with fills",
            {
                "comping": _COMPING,
                "kick_with_bass": _KICK_WITH_BASS,
                "soft": _SOFT,
                "vary": _VARY,
                "fills": _FILLS,
                "crash": _CRASH,
            },
        ),
    },
    "percussion": {"pattern": Algorithm("patterns by level and place", {"vary": _COMES_AND_GOES})},
}

SETTINGS: Mapping[str, Mapping[str, Setting]] = {
    role: {name: setting for way in ways.values() for name, setting in way.settings.items()}
    for role, ways in ALGORITHMS.items()
}  # of all ways in which a role can play; a name means the same in each
