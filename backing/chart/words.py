"""The words over the music that the band obeys: one table, from which everything else about them is derived.

Conventions: a word does what its effects say. An effect on the order of play belongs to the bar that carries the word;
a `Switch` holds from its bar to the end of the section; a `Bend` begins where it stands. The reader knows a word by its
name and its other spellings, whatever their capitals, dots and blanks; the timeline obeys the effects; the sheet prints
`printed` in its manner; the manual shows the last column. *Sources*: the Italian terms and signs as every primer of
music theory lists them; the shares of `rit.` and `accel.` without a figure are common practice.
"""

from __future__ import annotations

from enum import Enum
from fractions import Fraction
from typing import NamedTuple


class TimeFeel(Enum):
    """The pulse that the band feels; bars keep their length."""

    NORMAL = "normal"
    IN_TWO = "in 2"
    IN_FOUR = "in 4"
    HALF = "half time"
    DOUBLE = "double time"


class Mark(NamedTuple):
    """A place in the order of play; `where` says over which bar it stands."""

    where: str


class Jump(NamedTuple):
    """The band goes back to the mark `to` ("" the beginning) and plays on to the mark `until` ("" the end)."""

    to: str = ""
    until: str = ""


class Once(Enum):
    """What is done once, to the chord or the bar that the word stands over."""

    FERMATA = "its chord lasts twice as long"
    BREAK = "the band rests, or stops on the chord before"
    FILL = "the drums play a fill"
    BEAT_KEPT = "the counted beat keeps its length at this change of meter"


class Bend(NamedTuple):
    """The tempo moves to `share` of what it was, or to the figure that is written; None is back to the tempo."""

    share: Fraction | None


class Switch(NamedTuple):
    """What holds from here on; None leaves it as it is.

    `tacet` adds the player who is named to those who rest, `position` is the fret that is named for the guitar's hand.
    """

    time_feel: TimeFeel | None = None
    rubato: bool | None = None
    tacet: bool = False
    position: bool = False


Effect = Mark | Jump | Once | Bend | Switch


class Held(NamedTuple):
    """What switches have put in force."""

    time_feel: TimeFeel = TimeFeel.NORMAL
    rubato: bool = False
    tacet: frozenset[str] = frozenset()
    position: int = 0  # of a guitar's hand, 0 for none

    def after(self, switch: Switch, role: str | None, fret: int = 0) -> Held:
        """What holds after one more switch, which names `role` where it is about a player, and a fret about the hand."""
        return Held(
            switch.time_feel or self.time_feel,
            self.rubato if switch.rubato is None else switch.rubato,
            self.tacet | {role} if switch.tacet and role else self.tacet,
            fret if switch.position else self.position,
        )


class Takes(Enum):
    """What may stand behind a word."""

    NOTHING = ""
    FIGURE = "to 96"  # a tempo
    PLAYER = "guitar"  # must stand there
    FRET = "5"  # likewise


class Manner(Enum):
    """How a word is set on the sheet."""

    SIGN = "sign"  # large, at the start of its bar
    CHORD = "fermata"  # over its chord
    JUMP = "jump"  # upright, at the start of its bar
    END = "jump at the end"  # upright, at the end of its bar
    WORDS = "words"  # italic, where it stands
    BEATS = "beats"  # the two notes that last equally long


class Word(NamedTuple):
    """One direction.

    `bare` words are known without their quotes; of `longer` ones a text that merely begins with them is reported,
    for it is hardly ever meant as anything else.
    """

    name: str
    effects: tuple[Effect, ...]
    printed: str
    manner: Manner
    manual: str
    takes: Takes = Takes.NOTHING
    bare: bool = False
    longer: bool = False
    sign: str = ""
    also: tuple[str, ...] = ()


HIGHEST = 14  # fret at which a hand may be asked to lie
_RIT, _ACCEL = Fraction(8, 10), Fraction(12, 10)
_S, _M, _T = Switch, Manner, TimeFeel

# name, effects, printed, manner, manual line; then what may stand behind it, and how else it is typed
_TABLE = (
    Word("Segno", (Mark("to which the band goes back"),), "𝄋", _M.SIGN, "the bar to which D.S. goes back", bare=True, longer=True, sign="𝄋"),
    Word("Coda", (Mark("after those that are left out, or name its section [Coda]"),), "𝄌 Coda", _M.JUMP, "the bar at which the coda begins; a section named [Coda] needs no mark", bare=True, longer=True, sign="𝄌"),
    Word("To Coda", (Mark("after which the band leaves for the Coda"),), "To Coda 𝄌", _M.END, "the bar after which the band leaves for the coda, after a D.C. or D.S.", bare=True, longer=True, also=("tocoda",)),
    Word("Fine", (Mark("with which the tune ends"),), "Fine", _M.END, "the bar with which the tune ends, after a D.C. or D.S.", bare=True, longer=True),
    Word("D.C.", (Jump(),), "D.C.", _M.END, "back to the beginning, in the last chorus", bare=True, longer=True, also=("da capo",)),
    Word("D.C. al Fine", (Jump("", "Fine"),), "D.C. al Fine", _M.END, "back to the beginning and on to the bar marked Fine", bare=True, longer=True, also=("da capo al fine",)),
    Word("D.C. al Coda", (Jump("", "To Coda"),), "D.C. al Coda", _M.END, "back to the beginning, on to the bar marked To Coda, and from there to the coda", bare=True, longer=True, also=("da capo al coda",)),
    Word("D.S.", (Jump("Segno"),), "D.S.", _M.END, "back to the Segno, in the last chorus", bare=True, longer=True, also=("dal segno", "al segno")),
    Word("D.S. al Fine", (Jump("Segno", "Fine"),), "D.S. al Fine", _M.END, "back to the Segno and on to the bar marked Fine", bare=True, longer=True, also=("dal segno al fine",)),
    Word("D.S. al Coda", (Jump("Segno", "To Coda"),), "D.S. al Coda", _M.END, "back to the Segno, on to the bar marked To Coda, and from there to the coda", bare=True, longer=True, also=("dal segno al coda",)),
    Word("fermata", (Once.FERMATA,), "𝄐", _M.CHORD, "its chord lasts twice as long; the beat after it is cued", bare=True, sign="𝄐"),
    Word("break", (Once.BREAK,), "break", _M.WORDS, "the band rests for the bar; after a chord it stops on that chord", bare=True),
    Word("fill", (Once.FILL,), "fill", _M.WORDS, "the drums fill", bare=True),
    Word("rit.", (Bend(_RIT),), "rit.", _M.WORDS, "slower, to the figure or to 80 % by the end of the section", Takes.FIGURE, bare=True, also=("ritard", "ritardando")),
    Word("accel.", (Bend(_ACCEL),), "accel.", _M.WORDS, "faster, to the figure or to 120 % by the end of the section", Takes.FIGURE, also=("accelerando",)),
    Word("a tempo", (Bend(None), _S(rubato=False)), "a tempo", _M.WORDS, "back to the tempo, after rit., accel. or rubato", bare=True),
    Word("rubato", (_S(rubato=True),), "rubato", _M.WORDS, "no time is kept: drums and click rest, each chord is struck once", bare=True),
    Word("in 2", (_S(_T.IN_TWO),), "in 2", _M.WORDS, "two beats are felt in a bar", also=("in two",)),
    Word("in 4", (_S(_T.IN_FOUR),), "in 4", _M.WORDS, "four beats are felt in a bar", also=("in four",)),
    Word("half time", (_S(_T.HALF),), "half time", _M.WORDS, "the beat goes half as fast; the bars keep their length", longer=True, also=("half-time",)),
    Word("double time", (_S(_T.DOUBLE),), "double time", _M.WORDS, "the beat goes twice as fast; the bars keep their length", longer=True, also=("double-time",)),
    Word("tacet", (_S(tacet=True),), "tacet", _M.WORDS, "the player who is named rests until the section ends", Takes.PLAYER),
    Word("at", (_S(position=True),), "at", _M.WORDS, "the solo guitar's hand stays near this fret until the section ends", Takes.FRET),
    Word("beat = beat", (Once.BEAT_KEPT,), "", _M.BEATS, "the counted beat keeps its length at this change of meter", also=("beat=beat",)),
)  # fmt: skip
WORDS: dict[str, Word] = {word.name: word for word in _TABLE}

MARKS: dict[str, Mark] = {w.name: e for w in _TABLE for e in w.effects if isinstance(e, Mark)}
JUMPS: dict[str, Jump] = {w.name: e for w in _TABLE for e in w.effects if isinstance(e, Jump)}
ORDER = frozenset({*MARKS, *JUMPS})  # those that direct the order of play
