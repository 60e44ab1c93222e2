"""Notes in seconds, swung and humanised: what is written to MIDI and rendered to sound.

Conventions: second 0 is the first sample of the sound and tick 0 of the MIDI file; the count-in comes first. `onset_s`
and `release_s` are where the note sounds; `start_q` and `end_q` are the same places on the tempo map's quarters (from
the first bar played), so that a file counted in ticks and one counted in samples agree.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Arrangement
from backing.ground.instruments import Instrument
from backing.ground.timebase import TempoMap

RING_S = 4.0  # after the end of the last note the sound rings and fades


class PerformedNote(NamedTuple):
    """A note as it sounds. `start_q` and `end_q` are performed places in quarters (swing and human timing included)."""

    onset_s: float
    release_s: float
    start_q: float
    end_q: float
    pitch: int
    velocity: int


class Voice(NamedTuple):
    """From `at_s` (`at_q`) on the player sounds `instrument` with this mix."""

    at_s: float
    at_q: Fraction
    instrument: Instrument
    level_db: float
    pan: float
    room: float


class Gesture(NamedTuple):
    """What is done to notes that sound, at `at_s` (`at_q`).

    `key` -1: all of them are as loud as `value` says (0 to 127, as a controller for expression has it; 127 is as
    struck). Any other key is choked.
    """

    at_s: float
    at_q: float
    key: int
    value: int


class PerformedPlayer(NamedTuple):
    """One role: voices in order (the first at or before its first note), notes by onset, gestures in order."""

    role: str
    voices: tuple[Voice, ...]
    notes: tuple[PerformedNote, ...]
    gestures: tuple[Gesture, ...] = ()


class Marker(NamedTuple):
    """A named place: a section, a pass, the count-in."""

    at_s: float
    at_q: Fraction
    text: str


class Performance(NamedTuple):
    """Everything that outputs need. `tempo.zero_q` is the start of the count-in, so `tempo.seconds(q)` is file time.

    `duration_s` includes the ring of the last chord. `fade_s` is where a fade-out begins, None without one; it reaches
    silence at the end of the last note, where the sound ends.
    `passes_s` are the starts of passes, at which the sound is exact to the sample. `feels` name the feel from each place
    on where the notes stand on the exact grid and do not sound it.
    """

    arrangement: Arrangement
    tempo: TempoMap
    players: tuple[PerformedPlayer, ...]
    markers: tuple[Marker, ...]
    count_in_s: float
    duration_s: float
    fade_s: float | None = None
    passes_s: tuple[float, ...] = ()
    feels: tuple[Marker, ...] = ()
