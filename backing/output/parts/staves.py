"""How each player's part stands on paper: staves, clefs, voices, and where every drum stands.

Conventions: octaves are scientific (C4 is middle C). A guitar and a bass read an octave above what sounds; their clef
says so, and pitches in the file are those that sound.
Sources: clefs and the octave of guitar and bass from any handbook of notation; drums as the Percussive Arts Society's
guide to drumset notation has them (Weinberg 1998, from memory): hands stem up, feet down, crosses for cymbals.
"""

from __future__ import annotations

from typing import NamedTuple

from backing.ground.instruments import DRUM_KEYS
from backing.ground.roles import role_of

ONE_HAND = 55  # G3: a part that lies over it is one hand's, or a banjo's
BASS_TUNING = (28, 33, 38, 43)  # E A D G, low string first


class Clef(NamedTuple):
    """Sign, line, and octaves by which what is written is above what sounds."""

    sign: str
    line: int
    octave: int = 0


TREBLE, BASS, GUITAR, LOW_BASS = Clef("G", 2), Clef("F", 4), Clef("G", 2, -1), Clef("F", 4, -1)
DRUMS, TAB = Clef("percussion", 2), Clef("TAB", 5)


class Layout(NamedTuple):
    """The staves of a part, upper first; `split` is the lowest pitch of the upper of two, `strings` its tab's."""

    staves: tuple[Clef, ...]
    split: int = 0
    strings: tuple[int, ...] = ()
    voices: bool = (
        False  # two on the first staff: the tune or the hands with stems up, the rest down
    )


class Drum(NamedTuple):
    """Where a drum stands on the staff, its note head, and whether a foot plays it."""

    step: str
    octave: int
    head: str = "normal"
    foot: bool = False


# drum, place on a staff with a percussion clef (as in a treble clef), head, foot
_DRUMS = {
    "kick": Drum("F", 4, foot=True), "acoustic kick": Drum("F", 4, foot=True), "pedal hat": Drum("D", 4, "x", True),
    "snare": Drum("C", 5), "electric snare": Drum("C", 5), "rim": Drum("C", 5, "x"), "clap": Drum("C", 5, "slash"),
    "hat": Drum("G", 5, "x"), "open hat": Drum("G", 5, "circle-x"), "ride": Drum("F", 5, "x"),
    "ride 2": Drum("F", 5, "x"), "bell": Drum("F", 5, "diamond"), "crash": Drum("A", 5, "x"),
    "crash 2": Drum("B", 5, "x"), "china": Drum("C", 6, "x"), "splash": Drum("B", 5, "diamond"),
    "floor tom": Drum("A", 4), "high floor tom": Drum("A", 4), "low tom": Drum("B", 4), "mid tom": Drum("D", 5),
    "high mid tom": Drum("E", 5), "high tom": Drum("E", 5), "cowbell": Drum("E", 5, "triangle"),
    "tambourine": Drum("B", 4, "triangle"),
}  # fmt: skip
_BY_KEY = {DRUM_KEYS[name]: drum for name, drum in _DRUMS.items()}
_SPREAD = ("E", "F", "G", "A", "B", "C", "D")  # of small percussion that has no place of its own


def drum_of(key: int) -> Drum:
    """The place of a drum by its key (General MIDI)."""
    own = _BY_KEY.get(key)
    if own is not None:
        return own
    step = _SPREAD[key % len(_SPREAD)]
    return Drum(step, 5 if step in "CD" else 4)


def layout_of(player: str, pitches: list[int], strings: tuple[int, ...], tab: str) -> Layout:
    """The staves of a player with these pitches; `strings` are a guitar's as tuned, `tab` is `on`, `off` or `only`."""
    role = role_of(player)
    if not role.pitched:
        return Layout((DRUMS,), voices=True)
    if role.name == "keys" and min(pitches, default=0) < ONE_HAND < max(pitches, default=127):
        return Layout((TREBLE, BASS), split=60)
    if role.strings or role.name == "bass":
        own = strings if role.strings else BASS_TUNING
        clef = GUITAR if role.strings else LOW_BASS
        staves = {"on": (clef, TAB), "off": (clef,), "only": (TAB,)}[tab]
        return Layout(staves, strings=own, voices=role.name == "solo")
    middle = sorted(pitches)[len(pitches) // 2] if pitches else 72
    return Layout((TREBLE if middle >= 57 else BASS,))
