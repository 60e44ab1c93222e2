"""The signs of the music lines of an ABC tune.

*Source*: the abc music standard 2.1, section 4 (the tune body).
"""

from __future__ import annotations

import re
from fractions import Fraction

# decoration: the direction of a chart that it is
STEERING = {
    "segno": "Segno", "coda": "Coda", "dacoda": "To Coda", "tocoda": "To Coda", "D.S.": "D.S.", "D.C.": "D.C.", "fine": "Fine",
    "dacapo": "D.C.", "D.S.alcoda": "D.S. al Coda", "D.S.alfine": "D.S. al Fine", "D.C.alcoda": "D.C. al Coda",
    "D.C.alfine": "D.C. al Fine", "fermata": "fermata",
}  # fmt: skip
SHORT = {"S": "segno", "O": "coda", "H": "fermata"}  # letters that stand for a decoration
_LENGTH = r"(?P<{0}>[0-9]{{0,4}}(?:/+[0-9]{{0,4}})*)"
TOKEN = re.compile(
    r"""(?P<blank>[\s`\\$*]+)
    | (?P<comment>%.*)
    | (?P<quoted>"[^"\n]*"?)
    | (?P<decoration>![^!\n|]{1,40}!|\+[A-Za-z.()<>]{1,30}\+)
    | (?P<inline>\[[A-Za-z]:[^\]\n]*\]?)
    | (?P<bar>(?:\.?:*\[?\|[|\]:]*|::+)(?:\|*:*)?)
    | (?P<ending>\[(?=\s*[0-9"]))
    | (?P<chord>\[[^\]\n|]*\])
    | (?P<grace>\{[^}\n]*\}?)
    | (?P<tuplet>\((?P<p>[2-9])(?::(?P<q>[0-9]?))?(?::(?P<r>[0-9]?))?)
    | (?P<note>(?P<sign>\^{1,2}/?|_{1,2}/?|=)?(?P<letter>[A-Ga-g])(?P<octave>[,']*)"""
    + _LENGTH.format("length")
    + r""")
    | (?P<rest>[zxy]"""
    + _LENGTH.format("silence")
    + r""")
    | (?P<bars>[ZX][0-9]{0,3})
    | (?P<tie>-)
    | (?P<broken><+|>+)
    | (?P<slur>\.?[()])
    | (?P<overlay>&)
    | (?P<short>[~.HJLMOPSTUuvRW])""",
    re.X,
)
ALTER = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
TWOS = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}  # notes of a tuplet: the time of how many


def numbers_of(text: str) -> range:
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def factor(text: str | None) -> Fraction:
    """The figure behind a note: `3`, `/`, `//`, `3/2`, `/4`."""
    if not text:
        return Fraction(1)
    over, slash, under = text.partition("/")
    factor = Fraction(int(over) if over else 1)
    if slash:
        figures = under.strip("/")
        figure = int(figures) if figures.isdigit() else 0
        factor /= figure or 2 ** (1 + under.count("/"))
    return factor or Fraction(1)
