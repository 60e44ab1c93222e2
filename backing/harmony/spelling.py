"""Moving chords and keys, with spellings that a player can read.

*Conventions*: a chord moves by letter steps, root and bass by the same interval, so functions keep their letters. What
comes out hard to read is respelled whole: a root with a double accidental, a B#, E#, Cb or Fb that the key does not
hold, any note with three accidentals. A moved chord remembers where it came from, so moving it back restores what was
typed. Keys have six accidentals at most, where the choice is ours.

*Sources*: letter-step transposition and enharmonic choice by key signature are common practice.
"""

from __future__ import annotations

from functools import lru_cache
from typing import overload

from backing.ground.pitch import FIFTHS_OF_LETTER, UNISON, Degree, Interval, Key, NoteName
from backing.harmony.chord import Chord

WHITE = frozenset({"B#", "E#", "Cb", "Fb"})  # white keys under another letter


@overload
def transpose(chord: Chord, interval: Interval, key: Key | None = None) -> Chord: ...
@overload
def transpose(chord: None, interval: Interval, key: Key | None = None) -> None: ...
def transpose(chord: Chord | None, interval: Interval, key: Key | None = None) -> Chord | None:
    """A chord moved by `interval`, spelled for `key`, the key that it arrives in. N.C. (None) stays as it is.

    Moving by steps adds up: a chord that returns to where it was typed is spelled as it was typed.
    """
    if chord is None:
        return None
    origin = chord.origin or chord
    return _moved(origin, _plus(chord.shift, interval), key)


@lru_cache(maxsize=8192)
def _moved(origin: Chord, shift: Interval, key: Key | None) -> Chord:
    if shift == UNISON:
        return origin
    root = origin.root.up(shift)
    bass = origin.bass.up(shift) if origin.bass else None
    if _hard(root, key) or any(abs(d.of(root).alter) > 2 for d in origin.degrees):
        better = _respelled(origin, root, key)
        if bass is not None and better != root:
            bass = bass.up(_difference(root, better))
        root = better
    if bass is not None and (abs(bass.alter) > 2 or _hard(bass, key)):
        bass = _spelled_bass(origin.degrees, root, bass, key)
    return Chord(
        root,
        origin.quality,
        origin.family,
        origin.degrees,
        origin.must_sound,
        origin.omit,
        origin.any_of,
        bass,
        "",
        origin,
        shift,
    )


def _plus(first: Interval, second: Interval) -> Interval:
    """The sum of two moves, folded to less than an octave up."""
    octaves, steps = divmod(first.steps + second.steps, 7)
    return Interval(steps, first.semitones + second.semitones - 12 * octaves)


def _difference(old: NoteName, new: NoteName) -> Interval:
    """The way between two spellings of one pitch."""
    interval = old.interval_to(new)
    return Interval(interval.steps - 7, interval.semitones - 12) if interval.steps > 3 else interval


@lru_cache(maxsize=64)
def _scale(key: Key) -> frozenset[NoteName]:
    """The notes of a key; of a minor key with both sevenths."""
    return frozenset(degree.of(key.tonic) for degree in key.degrees)


def _hard(note: NoteName, key: Key | None) -> bool:
    if abs(note.alter) >= 2:
        return True
    return note.name in WHITE and (key is None or note not in _scale(key))


def spellings(pc: int) -> list[NoteName]:
    """The ways to write a pitch class with at most one accidental, plainest first."""
    found = [
        NoteName(letter, alter)
        for letter in FIFTHS_OF_LETTER
        for alter in (0, -1, 1)
        if NoteName(letter, alter).pc == pc
    ]
    return sorted(
        found, key=lambda n: (abs(n.alter), n.name in WHITE, abs(n.fifths - 2), n.alter > 0)
    )


def note_in_key(pc: int, key: Key | None) -> NoteName:
    """A pitch class spelled for a key: a note of its scale, else with the accidentals of its signature."""
    notes = spellings(pc)
    if key is None:
        return notes[0]
    scale = _scale(key)
    sharp = key.fifths > 0
    return min(
        notes,
        key=lambda n: (
            n not in scale,
            n.name in WHITE,
            n.alter != 0 and (n.alter > 0) != sharp,
            abs(n.fifths - key.fifths),
        ),
    )


def _respelled(origin: Chord, root: NoteName, key: Key | None) -> NoteName:
    """Another spelling of the root: first by its notes' accidentals, then by the key."""
    wanted = note_in_key(root.pc, key)
    return min(
        spellings(root.pc),
        key=lambda n: (
            any(abs(d.of(n).alter) > 2 for d in origin.degrees),
            _hard(n, key),
            n != wanted,
            sum(abs(d.of(n).alter) for d in origin.degrees),
        ),
    )


def _spelled_bass(
    degrees: tuple[Degree, ...], root: NoteName, bass: NoteName, key: Key | None
) -> NoteName:
    """A bass that is a note of the chord keeps its degree's letter; another is spelled for the key."""
    member = any(d.of(root) == bass for d in degrees)
    return bass if member and abs(bass.alter) <= 2 else note_in_key(bass.pc, key)


def interval_to_key(old: Key, new: Key) -> Interval:
    """The nearest way from one key to another: at most six semitones up, five down.

    Where the mode differs only the tonic counts; a key that would need more than seven accidentals is respelled.
    """
    tonic = new.tonic
    if abs(old.at(tonic).fifths) > 7:
        tonic = _plain_tonic(tonic.pc, old)
    return _nearest(old.tonic.interval_to(tonic))


def interval_for_semitones(key: Key, semitones: int) -> Interval:
    """The way from a key by a number of semitones, up or down, into the key of that pitch with fewest accidentals."""
    tonic = _plain_tonic((key.tonic.pc + semitones) % 12, key)
    if semitones % 12 == 0:
        tonic = key.tonic
    interval = key.tonic.interval_to(tonic)
    octaves = (semitones - interval.semitones) // 12
    return Interval(interval.steps + 7 * octaves, interval.semitones + 12 * octaves)


def _plain_tonic(pc: int, key: Key) -> NoteName:
    """The tonic with fewest accidentals in its signature; six are sharps or flats as in the key before,
    from no accidentals F# major and Eb minor."""
    return min(
        spellings(pc),
        key=lambda n: (
            abs(key.at(n).fifths),
            (key.at(n).fifths > 0) != (key.fifths >= key.minor),
        ),
    )


def _nearest(interval: Interval) -> Interval:
    """An interval upwards, less than an octave, taken downwards where that is nearer."""
    if interval.semitones > 6:
        return Interval(interval.steps - 7, interval.semitones - 12)
    return interval
