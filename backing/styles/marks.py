"""What the marks of pattern cells say of pitch: voices or strings by number, notes by degree.

    3  5+4          voices of a chord from the bottom, strings of a guitar; + joins what sounds together
    1 b3 5 8 9      degrees of the chord: 3 is its third, whatever that is, 8 and 9 lie in the next octave
    -5  3'  1''     an octave lower, an octave higher, two octaves
    n3              of the chord that comes next
    a               a step into what comes next
    h3 p1 /5        of a guitar: hammered on, pulled off, slid into, on the string of the note before
    5!              accented
    5+3             two degrees together
    x^ dvv          the shape of the chord that is struck next, a half step above; a whole step below
    x< x>           grows, or dies away, while it is held; of what sounds as long as it is held

Source: h, p and / are the usual signs of tablature (common practice).
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

LINES = ("line", "line 2")  # of a pattern, told by degrees; the second one is a second part
DEGREE = r"n?-?[b#]?[1-9]'*"
APPROACH = "a"
SLURS = {"h": "hammer-on", "p": "pull-off", "/": "slide"}

SHIFTS = {"^": 1, "v": -1}  # half steps
SWELLS = "<>"
PARALLEL = r"(?:\^{1,2}|v{1,2})?"

_VOICES = re.compile(r"[1-6](?:\+[1-6])*")
_TOLD = re.compile(r"(n?)(-?)([b#]?[1-9])('*)")


class Told(NamedTuple):
    """A note by degree: `name` without octave signs ("b7", "9"), `octaves` above or below it; `ahead`: of the next chord."""

    name: str
    octaves: int = 0
    ahead: bool = False


class Mark(NamedTuple):
    """A mark of a line: what sounds together (nothing for an approach), how the first note is slurred, and the accent."""

    degrees: tuple[Told, ...]
    slur: str = ""
    accent: bool = False


class Bare(NamedTuple):
    """A mark without what is said behind it: half steps from the shape that is struck next, and "<" or ">"."""

    mark: str
    shift: int = 0
    swell: str = ""


@lru_cache(maxsize=1024)
def bare(mark: str) -> Bare:
    """What a mark of a chord or a line says beside which notes it brings.

    >>> bare("d^^"), bare("xv").shift, bare("5!<")
    (Bare(mark='d', shift=2, swell=''), -1, Bare(mark='5!', shift=0, swell='<'))
    """
    plain = mark.rstrip(SWELLS)
    rest = plain.rstrip("".join(SHIFTS))
    moved = plain[len(rest) :]
    return Bare(rest, sum(SHIFTS[sign] for sign in moved), mark[len(plain) :])


def voices(mark: str) -> tuple[int, ...]:
    """The voices or strings that a mark of a `chord` line names; none for a stroke of the whole chord.

    >>> voices("3"), voices("5+4"), voices("x")
    ((3,), (5, 4), ())
    """
    return tuple(map(int, mark.split("+"))) if _VOICES.fullmatch(mark) else ()


@lru_cache(maxsize=1024)
def told(mark: str) -> Mark:
    """What a mark of a line by degrees says.

    >>> told("h-b3!")
    Mark(degrees=(Told(name='b3', octaves=-1, ahead=False),), slur='h', accent=True)
    >>> told("1+5'").degrees[1].octaves, told("a").degrees
    (1, ())
    """
    plain = mark.rstrip("!")
    slur = plain[0] if plain[0] in SLURS else ""
    found = [_TOLD.fullmatch(one) for one in plain[len(slur) :].split("+")]
    degrees = tuple(Told(m[3], len(m[4]) - len(m[2]), bool(m[1])) for m in found if m is not None)
    return Mark(degrees, slur, mark.endswith("!"))
