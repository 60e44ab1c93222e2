"""Values of MusicXML elements: numbers, durations, pitches, meters, keys, verses.

*Source*: MusicXML 4.0 (W3C Community Group report).
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from backing.ground.pitch import MODES, Interval, Key, NoteName, Pitch
from backing.ground.timebase import UNITS, Meter
from backing.reading.musicxml_kinds import Change
from backing.reading.musicxml_words import syllable_of
from backing.reading.xml_tree import Node

ZERO = Fraction(0)
TONICS = "FCGDAEB"
HIGHEST_DEGREE = 14


def printed(kind: Node | None) -> str | None:
    return kind.attributes.get("text") if kind is not None else None


@lru_cache(maxsize=1024)
def quarters(text: str, divisions: int) -> Fraction | None:
    """A duration in quarters, None for none."""
    try:
        return _decimal(text or "0") / divisions
    except (ValueError, ZeroDivisionError):
        return None


@lru_cache(maxsize=1024)
def sounding(step: str, octave: str, alter: str, moved: Interval | None) -> Pitch | None:
    """A pitch as it sounds, None for what nobody can play."""
    sharps = number(alter) if alter else ZERO
    if len(step) != 1 or step not in TONICS or abs(sharps) > 3:
        return None
    pitch = Pitch(NoteName(step, int(sharps)), int(number(octave or "4")))
    pitch = pitch.up(moved) if moved else pitch
    plain = 12 <= pitch.midi <= 127 and 0 <= pitch.octave <= 9 and abs(pitch.note.alter) <= 2
    return pitch if plain else None


@lru_cache(maxsize=1024)
def number(text: str) -> Fraction:
    """A decimal number, 0 for what is none."""
    try:
        return _decimal(text)
    except ValueError:
        return ZERO


def _decimal(text: str) -> Fraction:
    """A number as the standard has them: figures and a point. Raises `ValueError`; an exponent would fill the memory."""
    plain = text.strip()
    if len(plain) >= 16 or not plain.strip("+-").replace(".", "", 1).isdecimal():
        raise ValueError(f"{plain[:16]!r} is no decimal number")
    return Fraction(plain)


def change_of(node: Node) -> Change | None:
    """A `<degree>`, None for one that no chord has."""
    value = number(node.value("degree-value", "1"))
    alter = number(node.value("degree-alter", "0"))
    if not 1 <= value <= HIGHEST_DEGREE or abs(alter) > 2:
        return None
    return Change(int(value), int(alter), node.value("degree-type", "add"))


def verses(lyrics: tuple[Node, ...]) -> tuple[str, ...]:
    """The syllables of a note, one a verse, in the order of their numbers."""
    found: dict[int, str] = {}
    for i, lyric in enumerate(lyrics):
        number = lyric.get("number")
        verse = int(number) if number.isdigit() and len(number) < 3 else i + 1
        found.setdefault(max(verse, 1), syllable_of(lyric))
    return tuple(found.get(i, "") for i in range(1, max(found, default=0) + 1))[:20]


def meter_of(node: Node) -> Meter | None:
    """`2+3` over 8, or several pairs in turn."""
    beats, units = [], []
    for child in node.children:
        if child.name == "beats":
            beats.append(child.text.strip())
        elif child.name == "beat-type":
            units.append(child.text.strip())
    if (
        not beats
        or len(beats) != len(units)
        or not all(u.isdigit() and int(u) in UNITS for u in units)
    ):
        return None
    smallest = max(map(int, units))
    groups = [
        int(b) * smallest // int(u)
        for one, u in zip(beats, units, strict=True)
        for b in one.split("+")
        if b.strip().isdigit() and len(b) < 4
    ]
    if not groups or min(groups) < 1 or sum(groups) > 32:
        return None
    return Meter.of(sum(groups), smallest, groups if len(groups) > 1 else ())


def key_of(fifths: int, mode: str) -> Key | None:
    """The key of a signature in a mode; what is no mode counts as major."""
    place = (
        fifths - MODES[mode].fifths
        if mode in MODES and mode not in ("ionian", "aeolian")
        else fifths
    )
    place += 3 if mode in ("minor", "aeolian") else 0
    if abs(place) > 14:
        return None
    tonic = NoteName(TONICS[(place + 1) % 7], (place + 1) // 7)
    return Key.of(tonic, mode if mode in MODES or mode == "minor" else "")
