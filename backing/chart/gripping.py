"""A grip typed behind a chord: `Am[x02210]`, from fret 10 on with blanks `C[8 x 8 9 8 x]`.

Conventions: frets from the lowest string up, 0 is the open string, -1 (typed x) one that is not played; above the capo.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from backing.chart.codes import Faults, quoted
from backing.chart.symbols import no_chord
from backing.ground.tunings import STRINGS

HIGHEST = 20  # fret
OPEN = "["
_HINT = "write six frets from the lowest string, x for one that is not played:  Am[x02210]  or  Am[8 x 8 10 9 8]"

_CLOSED = re.compile(r"[0-9]|[xX]")


def read(text: str) -> tuple[int, ...] | None:
    """The frets between the brackets, None where they are no grip.

    >>> read("x02210"), read("8 x 8 9 8 x"), read("x0221")
    ((-1, 0, 2, 2, 1, 0), (8, -1, 8, 9, 8, -1), None)
    """
    signs = text.split() if " " in text.strip() else _CLOSED.findall(text)
    if len(signs) != STRINGS or "".join(signs) != "".join(text.split()):
        return None
    if not all(sign in "xX" or sign.isdecimal() for sign in signs):
        return None
    frets = tuple(-1 if sign in "xX" else int(sign) for sign in signs)
    return frets if 0 <= max(frets) <= HIGHEST else None


def taken(word: str, start: int, faults: Faults) -> tuple[str, tuple[int, ...]]:
    """A word of a bar at `start` as its symbol and the grip behind it; says what is no grip."""
    symbol, bracket, inside = word.partition(OPEN)
    if not bracket or not symbol:
        return word, ()
    frets = read(inside[:-1]) if inside.endswith("]") else None
    if frets is None or no_chord(symbol):
        at = start + len(symbol)
        hint = _HINT if frets is None else "a grip stands behind a chord, such as  Am[x02210]"
        faults.add("E131", at, at + 1 + len(inside), found=quoted(OPEN + inside), hint=hint)
    return symbol, frets or ()


def apart(word: str, start: int, before: Sequence[str], faults: Faults) -> bool:
    """Whether a word is a grip that does not stand right behind its chord, which is said."""
    if word[:1] != OPEN or word[-1:] != "]" or not read(word[1:-1]):
        return False
    hint = (
        f"type it right behind its chord, without a blank:  {before[-1] if before else 'Am'}{word}"
    )
    faults.add("E131", start, start + len(word), found=quoted(word), hint=hint)
    return True


def written(frets: tuple[int, ...]) -> str:
    """The grip as it is typed, "" for none.

    >>> written((-1, 0, 2, 2, 1, 0)), written((8, -1, 8, 10, 8, -1)), written(())
    ('[x02210]', '[8 x 8 10 8 x]', '')
    """
    signs = ["x" if fret < 0 else str(fret) for fret in frets]
    return f"[{(' ' if max(frets) > 9 else '').join(signs)}]" if frets else ""


def moved(frets: tuple[int, ...], semitones: int) -> tuple[int, ...]:
    """The grip of a chord that is moved; () where open strings hold it to its place, or the neck ends.

    >>> moved((1, 3, 3, 2, 1, 1), 2), moved((-1, 0, 2, 2, 1, 0), 2), moved((8, 10, 10, 9, 8, 8), 9)
    ((3, 5, 5, 4, 3, 3), (), (5, 7, 7, 6, 5, 5))
    """
    up = semitones % 12
    if not frets or not up:
        return frets
    if 0 in frets:
        return ()
    lowest = min(fret for fret in frets if fret > 0)
    way = up - 12 if lowest + up - 12 >= 1 else up
    there = tuple(fret if fret < 0 else fret + way for fret in frets)
    return there if max(there) <= HIGHEST else ()
