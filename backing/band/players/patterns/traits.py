"""What a pattern is known by: who keeps its time, the hand's technique, how dense it is, what is heard of a bar."""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from backing.band.players.patterns.lay import Chosen, strokes
from backing.ground.timebase import EIGHTH
from backing.styles.marks import LINES, bare, voices
from backing.styles.model import Pattern

TIMEKEEPERS = (
    "ride", "ride 2", "bell", "hat", "shaker", "cabasa", "maracas", "guiro", "tambourine",
)  # fmt: skip

LINE = "line"  # the technique of a pattern that is told by degrees alone: a riff, a run


class Timekeeping(NamedTuple):
    """What a groove is known by: the voice that keeps time, how densely, and whether snare or rim answers."""

    voice: str
    density: int  # 0 up to the beats, 1 up to the eighths, 2 denser
    answer: str

    def goes_with(self, other: Timekeeping) -> bool:
        """Whether a drummer passes from one to the other without changing the groove."""
        same = self.voice == other.voice and self.density == other.density
        return same and (self.answer == other.answer or "" in (self.answer, other.answer))


@lru_cache(maxsize=4096)
def timekeeping(pattern: Pattern) -> Timekeeping:
    """The voice with most strokes among those that keep time, and what answers it."""
    marks = {name: _marks(pattern, name) for name in pattern.lines}
    counts = {name: len(found) for name, found in marks.items()}
    voice = max((v for v in TIMEKEEPERS if counts.get(v)), key=lambda v: counts[v], default="")
    beats = len(pattern.meter.pulses_q) * pattern.bars
    struck = counts.get(voice, 0)
    density = 0 if struck <= beats else 1 if struck <= 2 * beats else 2
    rim, snare = (sum(m != "g" for m in marks.get(drum, ())) for drum in ("rim", "snare"))
    answer = "" if not rim + snare else "rim" if rim >= snare else "snare"
    return Timekeeping(voice, density, answer)


def _marks(pattern: Pattern, line: str) -> list[str]:
    cells = (c for bar in pattern.lines.get(line, ()) for pulse in bar for c in pulse.cells)
    return [bare(cell.mark).mark for cell in cells]


@lru_cache(maxsize=4096)
def technique(pattern: Pattern) -> str:
    """Picked or broken, strummed, struck whole, or a line alone: what a hand does not change from bar to bar."""
    marks = _marks(pattern, "chord")
    if not marks and any(line in pattern.lines for line in LINES):
        return LINE
    picked = sum(bool(voices(mark)) for mark in marks)
    if picked and 2 * picked >= len(marks):
        return "picked"
    return "strummed" if any(mark in "dDuUmrk" for mark in marks) else "struck"


@lru_cache(maxsize=4096)
def begins_alone(pattern: Pattern) -> bool:
    """Whether the first stroke of the chord is a single voice."""
    return bool(voices(next(iter(_marks(pattern, "chord")), "x")))


@lru_cache(maxsize=4096)
def density(pattern: Pattern) -> float:
    """Strokes a bar, over all lines."""
    return sum(len(_marks(pattern, line)) for line in pattern.lines) / pattern.bars


LONGEST_REST = Fraction(3, 8)  # of a bar, in a row of strokes: what another drum may take


def unbroken(places_q: Collection[Fraction], length_q: Fraction) -> bool:
    """Whether the strokes of a drum go round a bar in eighths or faster, but for one rest: the hand is heard to go on.

    >>> eighths = [Fraction(i, 2) for i in range(8)]
    >>> unbroken(eighths[:6], Fraction(4)), unbroken(eighths[1::3], Fraction(4))
    (True, False)
    """
    row = sorted(places_q)
    if not row:
        return False
    *steps, rest = sorted(after - at for at, after in pairwise([*row, row[0] + length_q]))
    return rest <= LONGEST_REST * length_q and all(step <= EIGHTH for step in steps)


_QUIET = {"X": "x", "g": "x", "D": "d", "U": "u"}


def rhythm(chosen: Chosen) -> object:
    """What is heard of a bar, loudness apart: two bars with the same one sound alike."""
    lines = strokes(chosen.pattern, chosen.bar).values()
    heard = [(b.at_q, b.length_q, _QUIET.get(b.mark, b.mark)) for line in lines for b in line]
    return chosen.half, tuple(heard)
