"""What a player plays, as it is written: chords of one voice with values that can be read, bar by bar.

A player's notes overlap, ring, stop short; on paper a voice is a row of chords, each as long as it is heard or up to the
next, and rests. What is struck early by a grace note's time stands before its stroke as a grace note.

Conventions: places in quarters from the bar line; the exact grid, swing written even.
Source: a note that rings to the next is written so; a detached one keeps its value where the rest after it is a sixteenth
or more (common practice).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from typing import NamedTuple

from backing.band.model import Kind, Note
from backing.chart.ast import LineNote
from backing.ground.pitch import Pitch
from backing.ground.source import NOWHERE
from backing.ground.timebase import EIGHTH
from backing.output.sheet.values import Figure, figures
from backing.timeline.model import PlayedBar

FINEST = 24  # parts of a quarter: triplets, sixteenths and their halves
CHUCK_Q = Fraction(1, 12)  # what is heard of damped strings, at most
DETACHED = Fraction(1, 2)  # of the way to the next, under which a chord is short
_SOME_PITCH = Pitch.parse("C4")


class Struck(NamedTuple):
    """Notes that begin together in one voice, and how long they are written; `graces` come before.

    `short` where they stop well before their written end, and have a dot; `dead` where nothing but a click is heard.
    """

    start_q: Fraction
    end_q: Fraction
    notes: tuple[Note, ...]
    graces: tuple[Note, ...] = ()
    short: bool = False

    @property
    def dead(self) -> bool:
        """Whether the strings are damped."""
        return all(
            n.why.kind is Kind.DEAD or (n.string and n.length_q <= CHUCK_Q) for n in self.notes
        )


class Written(NamedTuple):
    """One figure of a voice in a bar, and what is struck there (None for a rest).

    `at_q` is its place from the start of the track; `first` is the stroke itself and not what is tied to it.
    """

    figure: Figure
    at_q: Fraction
    struck: Struck | None = None
    first: bool = False

    @property
    def goes_on(self) -> bool:
        """Whether it is tied to what follows."""
        return self.struck is not None and self.at_q + self.figure.length_q < self.struck.end_q


def on_grid(q: Fraction) -> bool:
    """Whether a place can be written: on a grid of sixteenths' halves or of triplets."""
    return (q * FINEST).denominator == 1


def struck(notes: Sequence[Note], played: Sequence[PlayedBar], drums: bool = False) -> list[Struck]:
    """The notes of a voice as a row of chords, none over another; drums have no length, so up to a beat."""
    graces: list[Note] = []
    found: list[tuple[Fraction, list[Note], tuple[Note, ...]]] = []
    for start, together in groupby(sorted(notes, key=lambda n: n.start_q), key=lambda n: n.start_q):
        if not on_grid(start):
            graces += together
            continue
        own = sorted(together, key=lambda n: n.pitch)
        mine = tuple(g for g in graces if start - g.start_q < Fraction(1, 2))
        found.append((start, own, mine))
        graces = []
    made = []
    for i, (start, own, mine) in enumerate(found):
        after = found[i + 1][0] if i + 1 < len(found) else None
        end, short = (_beat_end(start, played), False) if drums else _end(start, own, after)
        if after is not None:
            end = min(end, after)
        made.append(Struck(start, end, tuple(own), mine, short))
    return made


def _beat_end(start: Fraction, played: Sequence[PlayedBar]) -> Fraction:
    """Where the beat of a stroke ends."""
    bar = played[max(0, bisect_right(played, start, key=lambda b: b.start_q) - 1)]
    lead = bar.meter.length_q - bar.length_q if bar.index == 1 else Fraction(0)
    beats = (bar.start_q - lead + q for q in bar.meter.pulse_starts_q)
    return next((q for q in beats if q > start), bar.end_q)


def _end(start: Fraction, notes: Sequence[Note], after: Fraction | None) -> tuple[Fraction, bool]:
    """Where a chord ends on paper, and whether it has a dot: a short one on an eighth is an eighth with a dot."""
    end = max(n.end_q for n in notes)
    if after is not None and end - start > DETACHED * (after - start):
        return after, False
    end, eighth = _rounded(start, end), start + EIGHTH
    if end < eighth and (start / EIGHTH).denominator == 1 and (after is None or after >= eighth):
        return eighth, True
    return end, False


def _rounded(start: Fraction, end: Fraction) -> Fraction:
    """The nearest eighth, or sixteenth for what is shorter, so long as it has a length."""
    grid = Fraction(1, 2) if end - start > Fraction(3, 8) else Fraction(1, 4)
    nearest = round(end / grid) * grid
    return (
        nearest
        if nearest > start
        else start + grid
        if (start / grid).denominator == 1
        else start + Fraction(1, 3)
    )


def bars(row: Sequence[Struck], played: Sequence[PlayedBar]) -> list[list[Written]]:
    """The figures of every bar of a voice; an empty bar is one rest."""
    starts = [s.start_q for s in row]
    made = []
    for bar in played:
        first = bisect_left(starts, bar.start_q)
        if first and row[first - 1].end_q > bar.start_q:
            first -= 1
        last = bisect_left(starts, bar.end_q)
        made.append(_bar(row[first:last], bar))
    return made


def _bar(inside: Sequence[Struck], bar: PlayedBar) -> list[Written]:
    short = bar.meter.length_q - bar.length_q  # a pickup fills the end of its bar
    lead = short if bar.index == 1 else Fraction(0)
    notes: list[LineNote] = []
    at = bar.start_q
    for one in inside:
        start, end = max(one.start_q, bar.start_q), min(one.end_q, bar.end_q)
        if start > at:
            notes.append(LineNote(at - bar.start_q + lead, start - at, NOWHERE))
        notes.append(
            LineNote(
                start - bar.start_q + lead,
                end - start,
                NOWHERE,
                _SOME_PITCH,
                held=start > one.start_q,
            )
        )
        at = end
    if at < bar.end_q or not notes:
        notes.append(LineNote(at - bar.start_q + lead, bar.end_q - at, NOWHERE))
    found = figures(notes, bar.meter)
    return [_with_stroke(figure, inside, bar.start_q - lead) for figure in found]


def _with_stroke(figure: Figure, inside: Sequence[Struck], zero_q: Fraction) -> Written:
    at = zero_q + figure.start_q
    if figure.rest:
        return Written(figure, at)
    own = next(s for s in inside if s.start_q <= at < s.end_q)
    return Written(figure, at, own, at == own.start_q)


def voices(notes: Sequence[Note], player: str) -> tuple[list[Note], list[Note]]:
    """Two voices of one staff: stems up and stems down."""
    if player == "solo":
        up = [n for n in notes if n.why.kind is Kind.MELODY]
    else:
        from backing.output.parts.staves import drum_of

        up = [n for n in notes if not drum_of(n.pitch).foot]
    kept = set(map(id, up))
    return up, [n for n in notes if id(n) not in kept]


def fingered(notes: Sequence[Note], tuning: Sequence[int]) -> dict[int, tuple[int, int]]:
    """String (1 highest) and fret of single notes on an instrument, by the note's place in the row: the hand moves least.

    A note that no string has gets none.
    """
    from backing.harmony.search import best_path

    offers = []
    places = []
    for i, note in enumerate(notes):
        own = [
            (len(tuning) - at, note.pitch - open_)
            for at, open_ in enumerate(tuning)
            if 0 <= note.pitch - open_ <= 20
        ]
        if own:
            offers.append(own)
            places.append(i)
    nodes = [[0.08 * fret for _, fret in own] for own in offers]
    edges = [[[_shift(a, b) for a in one] for b in other] for one, other in pairwise(offers)]
    path = best_path(nodes, edges)
    return {i: own[at] for i, own, at in zip(places, offers, path, strict=True)}


def _shift(a: tuple[int, int], b: tuple[int, int]) -> float:
    """An open string leaves the hand where it is."""
    if not a[1] or not b[1]:
        return 0.1 * abs(a[0] - b[0])
    far = abs(a[1] - b[1])
    return (0.05 * far if far < 4 else far - 3) + 0.1 * abs(a[0] - b[0])
