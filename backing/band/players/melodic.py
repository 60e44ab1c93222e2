"""Lines by degree: riffs, backgrounds, a right hand's line, a fiddle's double stops.

A *figure* is what a line plays under chords of one root. Its degrees are counted from one root, so that a riff keeps
its shape; in which octave that lies is the best path over the section: near the middle of the register, by small steps
from figure to figure. Two lines of a pattern are two parts of one figure and share its root.

Conventions: pitches are MIDI notes; a degree means the chord's own (3 is its third), else that of the scale; one with an
accidental is as written. Degrees are counted from the root, whatever the bass is. Source: common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby, pairwise
from typing import NamedTuple

from backing.band.model import Kind, Note, Why
from backing.band.players.common import Brief
from backing.band.players.rhythm import Event
from backing.band.players.tones import Tones, tones
from backing.band.players.touch import sounding_end, velocity
from backing.ground.pitch import Degree, Key
from backing.harmony.search import best_path
from backing.harmony.symbol import Chord
from backing.styles.marks import APPROACH, LINES, Mark, Told, told

HIGH_UP = (
    0.6  # share of the register under the middle of a line, which is heard better high than low
)
OFF_CENTRE = 0.12  # points a semitone between the middle of a figure and that place
LEAP, FREE_LEAP = 0.1, 4  # points a semitone for a leap into a figure over a third
WORDS = {LINES[0]: "line", LINES[1]: "second part"}


class Sung(NamedTuple):
    """One stroke of a line with the pitches that it brings, and their degrees."""

    event: Event
    mark: Mark
    pitches: tuple[int, ...]
    degrees: tuple[str, ...]

    @property
    def why(self) -> Why:
        """What the style has here: the pattern, and which of its parts."""
        return Why(Kind.LINE, f"{self.event.why.words}, {WORDS[self.event.line]}")


class Figure(NamedTuple):
    """Strokes under chords of one root, the lowest and highest of their degrees in semitones above it."""

    events: tuple[Event, ...]
    root_pc: int
    lowest: int
    highest: int


@lru_cache(maxsize=2048)
def _tones(chord: Chord, key: Key, colours: tuple[Degree, ...] = ()) -> Tones:
    return tones(replace(chord, bass=None) if chord.bass else chord, key, None, colours)


def semitones(chord: Chord, key: Key, degree: Told, colours: tuple[Degree, ...] = ()) -> int:
    """Semitones above the chord's root to a degree.

    A sixth is that of the chord or scale (`tones` lets a boogie climb to the seventh in its place).
    """
    t = _tones(chord, key, colours)
    rel = t.semitones(degree.name)
    if degree.name == "6" and not any(d.number in (6, 13) for d in chord.degrees):
        rel = 8 if t.scale_rel >> 8 & 1 and not t.scale_rel >> 9 & 1 else 9
    return rel + 12 * degree.octaves


def figures(brief: Brief, events: Sequence[Event]) -> list[Figure]:
    """The figures of a section in order; what is told of the next chord does not count in their range."""
    found = []
    for pc, run in groupby(events, key=lambda e: e.chord.root.pc):
        inside = tuple(run)
        rels = [
            semitones(event.chord, brief.bars[event.bar].key, degree, event.colours)
            for event in inside
            for degree in told(event.mark).degrees
            if not degree.ahead
        ] or [0]
        found.append(Figure(inside, pc, min(rels), max(rels)))
    return found


def roots(brief: Brief, found: Sequence[Figure], low: int, high: int) -> list[int]:
    """Where the root of every figure lies, so that the figure fits between `low` and `high` where it can."""
    if not found:
        return []
    centre = low + HIGH_UP * (high - low)
    offers = [_octaves(figure, low, high) for figure in found]
    nodes = [
        [OFF_CENTRE * abs(root + (f.lowest + f.highest) / 2 - centre) for root in offer]
        for f, offer in zip(found, offers, strict=True)
    ]
    edges = []
    for (a, from_), (b, to) in pairwise(zip(found, offers, strict=True)):
        last, first = _edge(brief, a, -1), _edge(brief, b, 0)
        edges.append([[_leap(q + first - p - last) for p in from_] for q in to])
    return [offer[at] for offer, at in zip(offers, best_path(nodes, edges), strict=True)]


def _octaves(figure: Figure, low: int, high: int) -> list[int]:
    """Roots over which a figure fits; where none does, those that leave least of it outside."""
    every = range(figure.root_pc, 128, 12)
    outside = {
        root: max(0, low - root - figure.lowest) + max(0, root + figure.highest - high)
        for root in every
    }
    least = min(outside.values())
    return [root for root in every if outside[root] == least]


def _edge(brief: Brief, figure: Figure, at: int) -> int:
    """The first or last note of a figure's first part, in semitones above its root."""
    upper = [event for event in figure.events if event.line == LINES[0]]
    event = (upper or figure.events)[at]
    degrees = [d for d in told(event.mark).degrees if not d.ahead]
    key = brief.bars[event.bar].key
    return semitones(event.chord, key, degrees[-1], event.colours) if degrees else 0


def _leap(size: int) -> float:
    return LEAP * max(0, abs(size) - FREE_LEAP)


def sung(
    brief: Brief, found: Sequence[Figure], where: Sequence[int], low: int, high: int
) -> list[Sung]:
    """Every stroke with its pitches, an octave away where the range ends, in order of time.

    `where` holds the roots of the figures.
    """
    made: list[Sung] = []
    for number, (figure, root) in enumerate(zip(found, where, strict=True)):
        coming = where[number + 1] if number + 1 < len(where) else None
        for event in figure.events:
            mark = told(event.mark)
            rels = [_pitch(brief, event, degree, root, coming) for degree in mark.degrees]
            pitches = tuple(sorted({_folded(pitch, low, high) for pitch in rels}))
            made.append(_named(brief, event, mark, pitches))
    return _approached(brief, made, where)


def _pitch(brief: Brief, event: Event, degree: Told, root: int, coming: int | None) -> int:
    """A degree above the root of its figure; one of the next chord above that of the next figure."""
    key = brief.bars[event.bar].key
    chord = event.chord
    if degree.ahead and event.following is not None:
        chord = event.following
        if coming is None or coming % 12 != chord.root.pc:
            coming = root + (chord.root.pc - root + 5) % 12 - 5  # the nearest way
        return coming + semitones(chord, key, degree)
    return root + semitones(chord, key, degree, event.colours)


def _folded(pitch: int, low: int, high: int) -> int:
    while pitch > high:
        pitch -= 12
    while pitch < low:
        pitch += 12
    return pitch


def _named(brief: Brief, event: Event, mark: Mark, pitches: tuple[int, ...]) -> Sung:
    t = _tones(event.chord, brief.bars[event.bar].key)
    return Sung(event, mark, pitches, tuple(t.name(pitch) for pitch in pitches))


def _approached(brief: Brief, made: Sequence[Sung], where: Sequence[int]) -> list[Sung]:
    """The strokes with approaches filled in: a step into the next note of the line, from the side it comes from.

    From below by half step, from above by a step of the scale (common practice).
    """
    found = list(made)
    for line in LINES:
        mine = [i for i, note in enumerate(found) if note.event.line == line]
        for place, i in reversed(list(enumerate(mine))):
            note = found[i]
            if note.event.mark.rstrip("!") != APPROACH:
                continue
            before = found[mine[place - 1]].pitches[-1:] if place else where[:1]
            last = place + 1 == len(mine)
            goal = (
                _beyond(brief, note.event, before[0])
                if last
                else found[mine[place + 1]].pitches[-1]
            )
            pitch = _step_into(brief, note.event, goal, before[0])
            found[i] = _named(brief, note.event, note.mark, (pitch,))
    return found


def _beyond(brief: Brief, event: Event, before: int) -> int:
    """What the last note of a section leads to: the root of what follows, where it lies nearest."""
    coming = brief.ahead.span.chord if brief.ahead else None
    return before + ((coming or event.chord).root.pc - before + 6) % 12 - 6


def _step_into(brief: Brief, event: Event, goal: int, before: int) -> int:
    if before <= goal:
        return goal - 1
    t = _tones(event.chord, brief.bars[event.bar].key)
    return goal + (1 if t.is_scale_tone(goal + 1) else 2)


def melodic(events: Sequence[Event]) -> tuple[Event, ...]:
    """The strokes that are told by degree."""
    return tuple(event for event in events if event.line in LINES)


def line_notes(
    brief: Brief, events: Sequence[Event], low: int, high: int, octaves: bool = False
) -> list[Note]:
    """The notes of a player's lines within a register, with `octaves` doubled an octave above where there is room."""
    found = figures(brief, melodic(events))
    made = []
    for note in sung(brief, found, roots(brief, found, low, high), low, high):
        rows = list(zip(note.pitches, note.degrees, strict=True))
        if octaves:
            rows += [(p + 12, d) for p, d in rows if p + 12 <= brief.part.instrument.high]
        why = note.why.also(_ahead(note) + (", in octaves" if octaves else ""))
        event = note.event
        made += [
            Note(
                event.start_q, sounding_end(event, pitch), pitch, velocity(event), why, degree,
                event.change.index, strict=event.strict, shape=event.shape,
            )
            for pitch, degree in rows
        ]  # fmt: skip
    return made


def _ahead(note: Sung) -> str:
    if note.event.mark.rstrip("!") == APPROACH:
        return ", approach"
    return ", of the next chord" if any(d.ahead for d in note.mark.degrees) else ""
