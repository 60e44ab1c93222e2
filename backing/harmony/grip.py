"""A grip: where the fingers stand, what sounds, and whether a hand can hold it.

Conventions: `frets` run from the lowest string to the highest, 0 is the open string, -1 a string that is not played;
frets are counted above the capo and `tuning` holds what the open strings sound (MIDI), capo and retuning included.
Sources: span of four frets (counts over printed chord shapes); four fingers with a barre counted once, five frets high
on the neck (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from operator import itemgetter

from backing.ground.source import Shown

SPAN = 4  # frets under the hand
WIDE_SPAN, WIDE_FROM = 5, 8  # high on the neck, where frets are narrow
HIGHEST_FRET = 14
OPEN_FRETS = 4  # open strings go with frets up to here

# What the searches find, lighter than a grip: cost, frets, degrees, shape.
Candidate = tuple[float, tuple[int, ...], tuple[str, ...], str]
COST_THEN_FRETS = itemgetter(0, 1)


@dataclass(frozen=True, slots=True, repr=False)
class Grip(Shown):
    """A chord in the hand. `degrees` names each string's note ("" where it is not played); `cost` is its own.

    Derived: `pitches`, sounding MIDI notes from the lowest string up; `position`, where the hand is: the lowest fret
    held down, 1 where all strings are open.
    """

    frets: tuple[int, ...]
    tuning: tuple[int, ...]
    degrees: tuple[str, ...]
    shape: str
    cost: float = 0.0
    capo: int = 0
    pitches: tuple[int, ...] = field(init=False, compare=False, repr=False)
    position: int = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(
            self,
            "pitches",
            tuple([t + f for t, f in zip(self.tuning, self.frets, strict=True) if f >= 0]),
        )
        object.__setattr__(self, "position", min((f for f in self.frets if f > 0), default=1))

    @property
    def strings(self) -> tuple[int, ...]:
        """The strings that sound, lowest first, counted from 1 (highest) as players do."""
        return tuple(6 - i for i, fret in enumerate(self.frets) if fret >= 0)

    @property
    def name(self) -> str:
        """`x32010`, with hyphens where a fret has two figures."""
        marks = ["x" if f < 0 else str(f) for f in self.frets]
        return ("-" if max(self.frets) > 9 else "").join(marks)

    def diagram(self) -> str:
        """The strings as lines, highest above, with degrees where the fingers stand.

        Open strings show their degree beside the nut, strings that are not played an x.
        """
        held = [f for f in self.frets if f > 0]
        first = 1 if not held or max(held) <= OPEN_FRETS + 1 else min(held)
        last = max(first + 3, *held) if held else first + 3
        edge = "‖" if first == 1 else "┊"
        names = _string_names(tuple(t - self.capo for t in self.tuning))
        lines = ["       " + "".join(f"{fret:^5}" for fret in range(first, last + 1)).rstrip()]
        if self.capo:
            lines.insert(0, f"capo {self.capo}")
        for i in range(5, -1, -1):
            fret = self.frets[i]
            beside = "x" if fret < 0 else self.degrees[i] if fret == 0 else ""
            cells = [
                f"{self.degrees[i]:─^4}" if at == fret else "────" for at in range(first, last + 1)
            ]
            lines.append(f"{names[i]:<2} {beside:>3}{edge}" + "┼".join(cells) + "┤")
        return "\n".join(lines)


def _string_names(tuning: tuple[int, ...]) -> tuple[str, ...]:
    names = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
    return tuple(names[t % 12] for t in tuning)


def fingers(frets: Sequence[int]) -> int:
    """How many fingers a grip takes; strings stopped at its lowest fret can share a barre, but not over an open string.

    >>> fingers((1, 3, 3, 2, 1, 1)), fingers((-1, 3, 2, 0, 1, 0)), fingers((3, 2, 0, 0, 0, 3))
    (4, 3, 3)
    """
    held = [f for f in frets if f > 0]
    if not held:
        return 0
    lowest = min(held)
    at = [i for i, f in enumerate(frets) if f == lowest]
    if 0 in frets[at[0] : at[-1] + 1]:
        return len(held)
    return 1 + sum(f > lowest for f in held)


def reach(fret: int) -> int:
    """How many frets lie under a hand that begins at a fret, counted from the nut."""
    return WIDE_SPAN if fret >= WIDE_FROM else SPAN


def playable(frets: Sequence[int], capo: int = 0) -> bool:
    """Whether a hand can hold it: at most four fingers, and a span of four frets, five from the eighth on.

    >>> playable((-1, 3, 2, 0, 1, 0)), playable((3, -1, -1, -1, -1, 8))
    (True, False)
    """
    held = [f for f in frets if f > 0]
    if not held:
        return 0 in frets
    low = min(held)
    span = max(held) - low + 1
    if span > reach(low + capo):
        return False
    return len(held) <= 4 or fingers(frets) <= 4
