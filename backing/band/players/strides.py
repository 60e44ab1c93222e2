"""A walking line or two-feel written out: anchors, the notes between them, and a skip now and then.

Conventions: notes last until the next one (long and even, as a walking bass sounds). The chance of every bar hangs on
its place. Of the steps into new chords about half are half steps: a line that had several of one kind turns to the
other where both are as good. Source: common practice.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

from backing.band.model import Kind, Note, Why
from backing.band.players.anchors import Stretch, route_key
from backing.band.players.bassline import Line, anchor_why, approach_why, free_why
from backing.band.players.pulses import off_beats, shift_q, velocity
from backing.band.players.walking import Route, routes
from backing.timeline.model import TimeFeel

WEAK_BEAT = 1.05  # the second and fourth beat lean a little
SKIP = 0.72
TOO_FAST_QPM = 240  # no skips above
BALANCE = (
    0.5  # by which each step of one kind too many makes the other kind likelier, as a power of e
)


class Shape(NamedTuple):
    """A way between two anchors as it was played; `step` is the one into a new chord, in semitones, else 0."""

    start: int
    offsets: tuple[int, ...]
    step: int

    @property
    def line(self) -> tuple[int, tuple[int, ...]]:
        """What is heard of it before its goal."""
        return self.start, self.offsets


def stride(line: Line, index: int, recent: list[Shape]) -> list[Note]:
    """The notes of one stretch. `recent` gathers the shapes taken so far, so that none comes three times running and steps balance."""
    stretch = line.stretches[index]
    start, goal = line.anchors[index], line.anchors[index + 1]
    free = len(stretch.slots) - 1
    pitches = [start]
    if free > 0:
        route = _route(line, index, start, goal if goal >= 0 else start, recent)
        pitches += [start + o for o in route.offsets] if route else [start] * free
    ends = [*stretch.slots[1:], stretch.end_q]
    target = line.target(index)
    made: list[Note] = []
    for n, (at, until, pitch) in enumerate(zip(stretch.slots, ends, pitches, strict=True)):
        if n == 0:
            why = anchor_why(stretch, pitch)
        elif n == free and goal >= 0:
            why = approach_why(stretch, pitch, goal, target)
        else:
            why = free_why(stretch, pitch, pitches[n - 1])
        weak = n > 0 and not stretch.strong[n - 1] and stretch.way == "walking"
        force = line.velocity(stretch, at, WEAK_BEAT if weak else 1.0)
        made.append(
            Note(at, until, pitch, force, why, stretch.tones.name(pitch), stretch.change.index)
        )
    if stretch.begun:  # its first note was struck before the border
        return made[1:]
    if index + 1 == len(line.stretches):
        made[-1] = line.over_border(index, made[-1])
    return _with_skip(line, stretch, made)


def _route(line: Line, index: int, start: int, goal: int, recent: list[Shape]) -> Route | None:
    """One of the best routes: chance decides between near-ties."""
    stretch = line.stretches[index]
    found = routes(*route_key(stretch, start, goal, line.low, line.high, line.leads(index)))
    if not found:
        return None
    place = line.brief.place.at(line.brief.style.name, stretch.bar, str(stretch.start_q))
    shapes = {r: _shape(line, index, start, goal, r) for r in found}
    lean = sum((s.step == 2) - (s.step == 1) for s in recent)
    weights = {r: r.weight * exp(BALANCE * lean * _kind(shapes[r])) for r in found}
    route = place.pick(found, [weights[r] for r in found], "route")
    if [s.line for s in recent[-2:]] == [shapes[route].line] * 2 and len(found) > 1:
        others = [r for r in found if r is not route]
        route = place.pick(others, [weights[r] for r in others], "another route")
    recent.append(shapes[route])
    return route


def _shape(line: Line, index: int, start: int, goal: int, route: Route) -> Shape:
    """A route as it would be remembered."""
    step = abs(goal - start - route.offsets[-1]) if line.leads(index) else 0
    return Shape(start, route.offsets, step)


def _kind(shape: Shape) -> int:
    """1 for a half step into a new chord, -1 for a whole step, 0 for neither."""
    return (shape.step == 1) - (shape.step == 2)


def _with_skip(line: Line, stretch: Stretch, notes: list[Note]) -> list[Note]:
    """Now and then an eighth between two beats: the note again, or dropped an octave."""
    brief = line.brief
    bar, plan = brief.bars[stretch.bar], brief.plans[stretch.bar]
    if stretch.way != "walking" or len(notes) < 3 or brief.qpm > TOO_FAST_QPM:
        return notes
    place = brief.place.at(stretch.bar)
    skips = brief.part.number("skips") * (0.5 + plan.busy)
    if bar.time_feel is TimeFeel.DOUBLE or not place.chance(skips, "skip"):
        return notes
    at = int(place.roll("skip place") * (len(notes) - 1))
    note, after = notes[at], notes[at + 1]
    places = [shift_q(bar) + p for p in off_beats(bar.meter)]
    middle = next((p for p in places if note.start_q < p < note.end_q), None)
    if middle is None or note.pitch == after.pitch:
        return notes
    pitch, words = note.pitch, "skip: the note again before the beat"
    if place.chance(0.35, "drop") and line.low <= note.pitch - 12 >= after.pitch - 12:
        pitch, words = note.pitch - 12, "drop: an octave down before the beat"
    skip = note._replace(
        start_q=middle,
        pitch=pitch,
        velocity=velocity(note.velocity * SKIP),
        why=Why(Kind.SKIP, words),
    )
    return [*notes[:at], note._replace(end_q=middle), skip, *notes[at + 1 :]]
