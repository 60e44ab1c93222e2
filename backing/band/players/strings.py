"""The strings of a grip under the hand: which ones sound over the bass, and which one the thumb takes.

Conventions: strings count from 1 (highest) to 6, frets above the nut or capo. Source: alternating thumb and runs of a
flat-picking guitar, on strings under the hand that holds the chord (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from backing.band.players.lowline import asked, degree_of
from backing.band.players.rhythm import Event
from backing.ground.pitch import Degree, Key
from backing.harmony.grip import HIGHEST_FRET, OPEN_FRETS, Grip, playable, reach

LOW_STRINGS = (6, 5, 4)  # those of the thumb


class Stopped(NamedTuple):
    """One string with the finger on it."""

    string: int
    fret: int
    pitch: int
    degree: str


def strings_over(grip: Grip, bass: int, least: int) -> list[int]:
    """The strings, lowest first, that do not sound under the bass; all of them where these are fewer than `least`."""
    strings = [s for s in grip.strings if on_string(grip, s)[0] >= bass]
    return strings if len(strings) >= least else list(grip.strings)


def on_string(grip: Grip, string: int) -> tuple[int, str, int]:
    """Pitch, degree and fret of a string, counted from 1 (highest)."""
    i = 6 - string
    return grip.tuning[i] + grip.frets[i], grip.degrees[i], grip.frets[i]


def guiding(grip: Grip, strings: Sequence[int]) -> list[int]:
    """Those of some strings that hold third and seventh, or what stands for them; all where there are not two."""
    found = [s for s in strings if on_string(grip, s)[1].lstrip("b#") in ("3", "4", "6", "7")]
    return found if len(found) > 1 else list(strings)


def nearest_string(grip: Grip, string: int) -> int:
    """The string that is plucked for `string`: itself where it sounds, else the nearest that does."""
    return nearest(grip.strings, string)


def nearest(strings: Sequence[int], wanted: int) -> int:
    """The nearest of some strings, the higher of two."""
    return min(strings, key=lambda s: (abs(s - wanted), s))


def thumbed(
    event: Event, grip: Grip, first: bool, bass: int, key: Key, colours: Sequence[Degree] = ()
) -> Stopped:
    """The thumb's note: the grip's lowest over `bass` first, then what the pattern asks for on a low string.

    A finger leaves the grip for a note that it does not hold, but for one a half step under a colour that the band may
    add: no fifth under a flat thirteenth. What no low string under the hand has, the thumb replaces
    by the next string up, or stays where that holds a seventh or a colour (common practice).
    """
    strings = strings_over(grip, bass, 2)
    string, fret = strings[0], on_string(grip, strings[0])[2]
    steps = 0 if first else asked(event, key)[0]
    if steps:
        above = (event.chord.lowest.pc - event.chord.root.pc + steps + 1) % 12
        rubs = steps % 12 and any(colour.semitones % 12 == above for colour in colours)
        found = None if rubs else _stopped(event, grip, steps, bass)
        if found is None and on_string(grip, strings[1])[1].lstrip("b#") in "135":
            found = strings[1], on_string(grip, strings[1])[2]
        string, fret = found or (string, fret)
    pitch = grip.tuning[6 - string] + fret
    held = grip.frets[6 - string] == fret
    degree = on_string(grip, string)[1] if held else degree_of(event, key, pitch)
    return Stopped(string, fret, pitch, degree)


def _stopped(event: Event, grip: Grip, steps: int, bass: int) -> tuple[int, int] | None:
    """String and fret of a note so many semitones from the chord's bass: on a low string, under the hand, over `bass`.

    One that the grip holds comes first, unless an octave is asked for by sign; then one that an open string has.
    """
    lowest = grip.pitches[0]
    wanted = lowest - (lowest - event.chord.lowest.pc) % 12 + steps
    found = []
    for string in LOW_STRINGS:
        open_ = grip.tuning[6 - string]
        for fret in range((wanted - open_) % 12, HIGHEST_FRET + 1, 12):
            held = grip.frets[6 - string] == fret
            if open_ + fret >= bass and (held or _held_too(grip, string, fret)):
                off = abs(open_ + fret - wanted)
                found.append(((not held and steps > 0, off, fret > 0, -string), (string, fret)))
    return min(found)[1] if found else None


def _held_too(grip: Grip, string: int, fret: int) -> bool:
    """Whether the hand that holds a grip can stop one of its strings elsewhere."""
    frets = list(grip.frets)
    frets[6 - string] = fret
    return _under(grip, fret) and playable(frets, grip.capo)


def _under(grip: Grip, fret: int) -> bool:
    """Whether a fret lies under the hand that holds a grip, or the string is open within its reach."""
    if fret == 0:
        return grip.position <= OPEN_FRETS
    return grip.position <= fret < grip.position + reach(grip.position + grip.capo)
