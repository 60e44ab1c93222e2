"""Every player's notes on an exact grid, with the reason for each.

Conventions: quarters from the first bar played, the count-in before 0; pitches are MIDI notes derived from spelled
degrees, or General MIDI drum keys; velocity 1 to 127 as meant, before any human variation.
"""

from __future__ import annotations

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from backing.band.led import Plan
from backing.styles.model import Part, Style
from backing.timeline.model import Timeline


class Kind(Enum):
    """What sort of reason a note has; the value is what the machine-readable explanation calls it.

    Whoever has to know why a note is there asks its kind. The words beside it are for people, and no code reads them.
    """

    # any player
    PATTERN = "pattern"  # the style's pattern or figure has it there
    HELD = "held chord"  # one long stroke a chord
    ADDED = "added"  # a chord that the pattern would have left out
    MELODY = "melody"
    GUIDE_TONE = "guide tone"
    # a bass line
    ROOT = "root"  # the root or written bass that states a chord, or its note where a chord goes on
    TONE = "chord tone"
    SCALE = "scale step"
    PASSING = "passing note"
    STEP = "approach by step"  # into what follows, by half or whole step
    DOMINANT = "approach by fifth"
    NEXT = "next chord"  # of the chord to come, ahead of it
    PEDAL = "pedal"  # one note under chords that move
    OCTAVES = "octaves"  # of a figure that leaps between a note and its octave
    DEAD = "dead note"
    SKIP = "skip"
    # lines by degree
    LINE = "line"  # a riff, a background, a run: the style tells it by degree
    HAMMERED = "hammer-on"  # not struck anew: a finger comes down on the string that sounds
    PULLED = "pull-off"  # the other way round
    SLID = "slide"  # the finger slides along the string
    # hands
    PLUCKED = "plucked"  # strings one by one
    THUMB = "thumb"  # the guitar's bass strings, the left hand of the keys
    # drums
    FILL = "fill"
    SET_UP = "set-up"
    CRASH = "crash"
    COMPING = "comping"
    WITH_BASS = "with the bass"
    PUSHED = "pushed"  # moved ahead with its chord
    VARIED = "variation"
    # the whole band together
    HIT = "hit"
    KICK = "kick"
    STOP = "stop"
    RING = "left to ring"
    FERMATA = "fermata"
    RUBATO = "out of time"
    LAST_CHORD = "last chord"
    # before and beside the band
    COUNT_IN = "count-in"
    CLICK = "click"
    CUE = "cue"


class Why(NamedTuple):
    """Why a note is there: the sort of reason, and the rule or pattern in words as a player would tell it."""

    kind: Kind
    words: str

    def also(self, words: str) -> Why:
        """The same reason with something more to say."""
        return Why(self.kind, f"{self.words}{words}")


class Shape(Enum):
    """What becomes of a note while it sounds."""

    EVEN = "as it is struck"
    CHOKED = "stopped by hand at its end"
    SWELLS = "grows while it is held"
    FADES = "dies away while it is held"


class Note(NamedTuple):
    """One note. `degree` is its name in the chord ("b7"; of a drum "" but for a stroke that has a name of its own), `why` the rule or pattern that chose it.

    `chord` is the index of its chord in `Timeline.chords` (-1 for none; a pushed or anticipating note names the chord
    that it belongs to). `order` is the place of this note in a strum or roll, from 0, with
    `spread_ms` between neighbours. `strict` notes are never swung or humanised (count-in, click, stops, hits).
    `timing` is what its pattern adds to the timing of its player.
    `string` counts guitar strings from 1 (highest) to 6, `fret` above the nut or capo; 0 and -1 where not a guitar.
    """

    start_q: Fraction
    end_q: Fraction
    pitch: int
    velocity: int
    why: Why
    degree: str = ""
    chord: int = -1
    order: int = 0
    spread_ms: float = 0.0
    strict: bool = False
    string: int = 0
    fret: int = -1
    timing: tuple[tuple[str, float], ...] = ()
    shape: Shape = Shape.EVEN

    @property
    def length_q(self) -> Fraction:
        return self.end_q - self.start_q


def note_order(note: Note) -> tuple[float, int]:
    """Order of start, then pitch; a place as a float compares much faster, and no two places are that near."""
    return note.start_q.numerator / note.start_q.denominator, note.pitch


class PartStart(NamedTuple):
    """From `at_q` on the player plays `part` (a section may change the style, and with it instrument and mix)."""

    at_q: Fraction
    part: Part
    style: Style


class Player(NamedTuple):
    """One role with its notes in order of start, then pitch."""

    role: str
    parts: tuple[PartStart, ...]
    notes: tuple[Note, ...]


class Arrangement(NamedTuple):
    """Timeline and notes. `count_in_q` is the length of the count-in, which ends at 0; players in score order.

    `silent` holds the indices of bars in which nobody is meant to sound. `plan` is the leader's.
    """

    timeline: Timeline
    style: Style
    seed: int
    players: tuple[Player, ...]
    count_in_q: Fraction = Fraction(0)
    count_in_bars: int = 0
    silent: frozenset[int] = frozenset()
    plan: Plan = Plan()
