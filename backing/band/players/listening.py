"""What those who play later hear of those who comp: where they strike, with which notes, how densely.

Two who comp never strike the same three notes together, unless the style wants them to: the second voices its chord
otherwise, and leaves out what is doubled all the same.

Conventions: pitches are MIDI notes. Source: keys and guitar keep out of each other's register and rhythm (common
practice).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from fractions import Fraction
from itertools import groupby

from backing.band.model import Kind, Note
from backing.band.players.common import Brief
from backing.ground.roles import COMPING, role_of
from backing.timeline.model import PlayedBar

DENSE = Fraction(3, 2)  # strokes a quarter from which comping is busy
SHARED = 3  # equal notes struck together that make two chords one

DOUBLED = 0.3  # points against each note that another strikes too
SAME_CHORD = 7.0  # against three of them
INSIDE = 0.15  # against each note that lies among the other's: the second chord lies above

Struck = Mapping[Fraction, frozenset[int]]
Beside = Mapping[
    int, Sequence[frozenset[int]]
]  # by the index of a change, what others strike together with it


def others(brief: Brief) -> list[tuple[Note, ...]]:
    """The notes of each other player who comps and has been called before."""
    return [
        notes
        for player, notes in brief.heard.items()
        if role_of(player).name in COMPING and player != brief.part.role
    ]


def struck(brief: Brief) -> dict[Fraction, frozenset[int]]:
    """The notes that others who comp strike together, by their place; nothing in a style that doubles."""
    found: dict[Fraction, frozenset[int]] = {}
    if brief.style.doubles:
        return found
    for notes in others(brief):
        for note in notes:
            found[note.start_q] = found.get(note.start_q, frozenset()) | {note.pitch}
    return found


def taken(brief: Brief) -> frozenset[Fraction]:
    """The places at which others who comp strike, in styles whose players leave each other the gaps.

    A clave and a machine-like groove keep every stroke.
    """
    style = brief.style
    if style.doubles or style.repeats or style.clave is not None:
        return frozenset()
    return frozenset(
        n.start_q for notes in others(brief) for n in notes if n.why.kind is not Kind.THUMB
    )


def chords_struck(brief: Brief) -> dict[Fraction, int]:
    """Which chord, by its index, others who comp strike at each place of theirs."""
    return {
        n.start_q: n.chord for notes in others(brief) for n in notes if n.why.kind is not Kind.THUMB
    }


def with_chords(
    places: Iterable[tuple[Fraction, int]], chords: Struck
) -> dict[int, tuple[frozenset[int], ...]]:
    """By the index of a change: what others strike together with this player's strokes of it, given as (place, index)."""
    found: dict[int, set[frozenset[int]]] = {}
    for at, index in places:
        if len(chords.get(at, ())) >= SHARED:
            found.setdefault(index, set()).add(chords[at])
    return {index: tuple(sorted(rows, key=sorted)) for index, rows in found.items()}


def doubling(pitches: Collection[int], chords: Sequence[frozenset[int]]) -> float:
    """What speaks against a chord that others strike some `chords` with: notes in common, most of all three, and notes among them."""
    shared = max(len(chord.intersection(pitches)) for chord in chords)
    inside = max(sum(min(chord) < pitch < max(chord) for pitch in pitches) for chord in chords)
    return DOUBLED * shared + INSIDE * inside + (SAME_CHORD if shared >= SHARED else 0.0)


def undoubled(notes: Sequence[Note], chords: Struck) -> list[Note]:
    """The notes of a player without those that make a stroke the same as another's.

    The lowest of them go, thirds and sevenths last.
    """
    if not chords:
        return list(notes)
    made: list[Note] = []
    for at, row in groupby(notes, key=lambda n: n.start_q):
        stroke = list(row)
        same = sorted((_guides(n), n.pitch) for n in stroke if n.pitch in chords.get(at, ()))
        gone = {pitch for _, pitch in same[: max(0, len(same) - SHARED + 1)]}
        made += [n for n in stroke if n.pitch not in gone]
    return made


def _guides(note: Note) -> bool:
    return note.degree.lstrip("b#") in ("3", "7")


def strokes_in(brief: Brief, bar: PlayedBar) -> frozenset[Fraction]:
    """Where others who comp strike in a bar; a thumb is a bass."""
    found: set[Fraction] = set()
    for notes in others(brief):
        first = bisect_left(notes, bar.start_q, key=lambda n: n.start_q)
        last = bisect_left(notes, bar.end_q, key=lambda n: n.start_q)
        found.update(n.start_q for n in notes[first:last] if n.why.kind is not Kind.THUMB)
    return frozenset(found)


def dense(brief: Brief, number: int) -> bool:
    """Whether others who comp are busy in a bar of the section."""
    bar = brief.bars[number]
    return len(strokes_in(brief, bar)) >= DENSE * bar.length_q


def room(brief: Brief, number: int) -> float:
    """How much those who comp leave to others in a bar: 1 as usual, less where they are busy, more where they rest."""
    if dense(brief, number):
        return 0.6
    return 1.0 if strokes_in(brief, brief.bars[number]) or not others(brief) else 1.6
