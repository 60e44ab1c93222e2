"""What the players can be asked to do: for each role its algorithms, and for each algorithm its settings.

Data only. The loader checks style files against these tables and the players read their settings by these names.

Conventions: a setting has a kind (`flag`, `number`, `choice`, `words`), a range or a list of choices, and the value
that holds when a style says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting: `about` is shown to writers of styles; numbers lie in `low`..`high`."""

    kind: str  # "flag", "number", "choice", "words" (a list of choices)
    about: str
    default: bool | float | str | tuple[str, ...]
    choices: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 1.0


@dataclass(frozen=True, slots=True)
class Algorithm:
    """One way to play: what it is, and its settings by name."""

    about: str
    settings: Mapping[str, Setting]


VOICINGS = (
    "shells", "rootless", "drop 2", "drop 3", "quartal", "triads", "spread", "power", "close", "open",
)  # fmt: skip

_VOICING = Setting("choice", "family of voicings that the search draws from", "rootless", VOICINGS)
_GRIPS = Setting("choice", "family of grips that the search draws from", "drop 2", VOICINGS)
_MUTED = Setting("flag", "strings damped at once: every stroke is short", False)

_BASS_PATTERN = Algorithm("patterns by degree, as the style writes them", {})

ALGORITHMS: Mapping[str, Mapping[str, Algorithm]] = {
    "bass": {
        "walking": Algorithm("a quarter-note line found by search", {}),
        "two-feel": Algorithm("half notes, root and fifth, with pickups at phrase ends", {}),
        "pattern": _BASS_PATTERN,
    },
    "keys": {
        "pattern": Algorithm("chords in the rhythm of the style's patterns", {"voicing": _VOICING}),
    },
    "guitar": {
        "pattern": Algorithm(
            "strokes or plucked strings as the style's patterns write them",
            {"voicing": _GRIPS, "muted": _MUTED},
        ),
    },
    "strings": {"pad": Algorithm("held chords, voice by voice", {"voicing": _VOICING})},
    "horns": {
        "pattern": Algorithm("chords in the rhythm of the style's patterns", {"voicing": _VOICING}),
    },
    "melody": {"melody": Algorithm("the written melody", {})},
    "drums": {"pattern": Algorithm("patterns by level and place, with fills", {})},
    "percussion": {"pattern": Algorithm("patterns by level and place", {})},
}
