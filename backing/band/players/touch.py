"""How a chordal player touches a stroke: how loud, how long each note, and what of a broken chord must be heard.

Conventions: as in `rhythm`, whose events these are. Source: common practice.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction

from backing.band.model import Note, Shape
from backing.band.players.rhythm import Event
from backing.harmony.symbol import Chord
from backing.styles.marks import voices
from backing.styles.model import Part

ACCENT = 13
_TOUCH = {"X": ACCENT, "D": 13, "U": 11, "g": -20, "u": -5, "m": -14, "r": 10}


def velocity(event: Event, base: int = 36, step: float = 11.5) -> int:
    """Velocity 1 to 127 from the bar's level and the mark."""
    accent = ACCENT if event.mark.endswith("!") else 0
    loud = base + step * event.plan.level + _TOUCH.get(event.mark, accent)
    return max(12, min(120, round(loud)))


def sounding_end(event: Event, pitch: int) -> Fraction:
    """Where a note of the event ends: with its harmony, unless the next chord holds it too."""
    if event.end_q <= event.harmony_q:
        return event.end_q
    if event.following is not None and pitch % 12 in event.following.pitch_classes:
        return event.end_q
    return event.harmony_q


_STEPS = {1: "a half step", 2: "a whole step"}


def moved(event: Event, notes: Sequence[Note], part: Part) -> list[Note]:
    """The notes of a stroke with what it says beside its chord: moved in parallel, swelling or dying away.

    A shape that cannot be moved that way, for the neck or the range ends, comes from the other side.
    """
    shift = next((s for s in (event.shift, -event.shift) if s and _reaches(notes, s, part)), 0)
    if not shift:
        return (
            [n._replace(shape=event.shape) for n in notes]
            if event.shape is not Shape.EVEN
            else list(notes)
        )
    side = "above" if shift > 0 else "below"
    told = f", the same shape {_STEPS[abs(shift)]} {side}"
    return [
        note._replace(
            pitch=note.pitch + shift,
            fret=note.fret + shift if note.string else note.fret,
            degree="",
            why=note.why.also(told),
            shape=event.shape,
        )
        for note in notes
    ]


def _reaches(notes: Sequence[Note], shift: int, part: Part) -> bool:
    low, high = part.instrument.low, part.instrument.high
    return all(
        low <= note.pitch + shift <= high and (not note.string or note.fret + shift >= 0)
        for note in notes
    )


def broken(events: Sequence[Event]) -> dict[int, frozenset[str]]:
    """For every change that is only broken, never struck whole: the single voices that are heard of it."""
    singles: dict[int, set[str]] = {}
    struck: set[int] = set()
    for event in events:
        if event.line != "chord":
            continue
        if voices(event.mark):
            singles.setdefault(event.change.index, set()).update(event.mark.split("+"))
        elif event.mark not in ("m", "k"):
            struck.add(event.change.index)
    return {i: frozenset(marks) for i, marks in singles.items() if i not in struck}


def unheard(chord: Chord, heard: Collection[str]) -> frozenset[str]:
    """Degrees that must be heard of a chord and are not among `heard`; of every `any_of` group all, where none is."""
    missing = {d.name for d in chord.must_sound} - set(heard)
    for group in chord.any_of:
        names = {d.name for d in group}
        if not names & set(heard):
            missing |= names
    return frozenset(missing)


def unrepeated(notes: list[Note]) -> list[Note]:
    """Notes in order of time; a pitch that is struck again ends first, and is struck once at a time."""
    following: dict[int, Fraction] = {}
    made = []
    for note in reversed(notes):
        after = following.get(note.pitch)
        if after is not None and after <= note.start_q:
            continue
        following[note.pitch] = note.start_q
        made.append(
            note._replace(end_q=after) if after is not None and after < note.end_q else note
        )
    made.reverse()
    return made
