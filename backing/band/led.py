"""What a leader may decide, as types: moves with their reasons, and the plan of a section and of a track.

Conventions: sections and bars of a section count from 0; places in a section are quarters from its end, counted back, so
that an excerpt that holds the end holds them too. Source of the reasons: common practice.
"""

from __future__ import annotations

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from backing.band.course import USUAL, Stand
from backing.ground.pitch import NoteName


class Move(Enum):
    """What a leader may decide, as it is called to the players whom it concerns."""

    GROWS = "louder"
    WAITS = "wait"
    ENTERS = "come in"
    RESTS = "rest"
    DOUBLES = "play together"
    DROPS = "drop out"
    HALF_TIME = "half time"
    TWO = "in two"
    PEDAL = "pedal"
    RIDE = "on the ride"
    HIGHER = "higher"
    SHORT = "short notes"
    LIGHT = "light: short, and high"
    HIT = "strike together"
    BACKGROUND = "background"
    RIFF = "riff"
    SHOUT = "shout"
    BREAK = "break"


class Reason(Enum):
    """Why a leader decides so, as it is told."""

    # how loud
    RETURNS = "the section returns after another one"
    ANSWERS = "it answers the first section"
    # who plays
    SIMPLE = "one chord player is enough before the tune is known"
    LATER = "something is kept for later"
    LAST = "horns come last"
    FULLER = "a section that returns may be fuller"
    HORNS = "the tune has been heard, now it may be answered"
    VERSE = "one chord player leaves room for the words"
    TURNS = "the chord players take turns behind whoever is heard alone"
    BREATHES = "horns leave the bridge to the rhythm section"
    HALVES = "horns answer in the second half"
    TOP = "the top of the track has everybody"
    DROP = "bass and drums alone after the middle of the track, so that what follows is heard to come in"
    THIN = "what makes the style goes on alone after the middle of the track, so that what follows is heard to come in"
    AIR = "nobody can be left out after the middle of the track, so what follows is heard to come down to the ground"
    BUILDS = "the vamp builds: bass, then drums, then chords"
    # how they play
    HALF = "half as fast after the middle of the track, so that what follows is heard to move"
    OTHER_GROUND = "the bridge stands on other ground"
    LEADS_HOME = "the chords move over the fifth of the key, which leads home"
    CONTRAST = "it is to be heard that another section has begun"
    CLIMBS = "the register climbs from chorus to chorus"
    LAST_CHORUS = "the last chorus lies highest"
    HELD_BACK = "the first section is held back, so that the next one opens"
    # what the band plays at seams and behind others
    SEAM = "the band leads into a section that brings more"
    BEHIND = "long notes behind the second time through"
    GOES_ON = "a riff behind the third time through"
    SHOUTS = "the last section is the loudest"
    CLOSE        = "a break makes the last note"  # fmt: skip


class Decision(NamedTuple):
    """One move of the leader: whom it concerns, why, and what it is about where the move does not say it."""

    move: Move
    players: tuple[str, ...]
    why: Reason
    about: str = ""

    @property
    def told(self) -> str:
        """The decision and its reason in words."""
        about = f" {self.about}" if self.about else ""
        return f"{', '.join(self.players)}: {self.move.value}{about} ({self.why.value})"


class Rest(NamedTuple):
    """A player who leaves bars `first` to `last` of a section to the others, and why."""

    player: str
    first: int
    last: int
    why: Reason


class Pedal(NamedTuple):
    """One note of the bass under the chords of bars `first` to `last` of a section; `rhythm` is how often it is struck."""

    note: NoteName
    first: int
    last: int
    rhythm: str

    @property
    def told(self) -> str:
        """The note, and for how long."""
        count = self.last - self.first + 1
        return f"on {self.note.name} {f'through the last {count} bars' if self.first else 'throughout'}"


class Backing(Enum):
    """What horns play behind the rest of the band."""

    NONE = ""
    BACKGROUND = "background"  # long notes
    RIFF = "riff"
    SHOUT = "shout"


class SectionPlan(NamedTuple):
    """What the leader decided for one playing of a section.

    `level` is how loud it is where nothing is written, `opens` how loud it begins; `energy` is a value of `Energy`, "" for
    nothing in particular. `arrives` where it is a new section to the ear and no ending, `first_of_many` in the first of
    three choruses and more. `leads` is who of those who comp states the chords, "" where they take turns.
    `time` is the cymbal that keeps time, "" for the style's; `keys_up` and `bass_up` are semitones above the usual
    register; `short` is who plays short notes, `light` where they play high; `two` asks for two beats a bar, `pedal` for one note of the bass. `half` are the
    first and last bar in half time. `backing` is what horns play. `hits` are strokes of the whole band in the last bar:
    quarters before its end and length; `breaks` where the band breaks off before the last chord.
    """

    level: float = USUAL
    opens: float = USUAL
    energy: str = ""
    stand: Stand = Stand.HOME
    arrives: bool = False
    first_of_many: bool = False
    leads: str = ""
    rests: tuple[Rest, ...] = ()
    time: str = ""
    keys_up: int = 0
    bass_up: int = 0
    short: tuple[str, ...] = ()
    light: bool = False
    two: bool = False
    pedal: Pedal | None = None
    half: tuple[int, int] | None = None
    backing: Backing = Backing.NONE
    hits: tuple[tuple[Fraction, Fraction], ...] = ()
    breaks: bool = False
    decisions: tuple[Decision, ...] = ()

    def and_so(
        self, move: Move, players: tuple[str, ...], why: Reason, about: str = ""
    ) -> SectionPlan:
        """The same with one decision more to tell."""
        return self._replace(decisions=(*self.decisions, Decision(move, players, why, about)))

    def resting(
        self, players: tuple[str, ...], bars: range, move: Move, why: Reason
    ) -> SectionPlan:
        """The same with some players silent in some bars."""
        if not players:
            return self
        more = tuple(Rest(player, bars[0], bars[-1], why) for player in players)
        return self._replace(rests=(*self.rests, *more)).and_so(move, players, why)

    def rests_at(self, player: str, bar: int) -> Rest | None:
        """Why a player rests in a bar of the section, None where it plays."""
        return next(
            (r for r in self.rests if r.player == player and r.first <= bar <= r.last), None
        )

    def cut(self, first: int, bars: int, of: int) -> SectionPlan:
        """What holds of it in so many of its `of` bars, from one of them on."""
        last = first + bars - 1
        half = self.half and _inside(*self.half, first, last)
        under = self.pedal and _inside(self.pedal.first, self.pedal.last, first, last)
        rests = [(r, _inside(r.first, r.last, first, last)) for r in self.rests]
        return self._replace(
            rests=tuple(r._replace(first=at[0], last=at[1]) for r, at in rests if at),
            half=half or None,
            pedal=self.pedal._replace(first=under[0], last=under[1])
            if self.pedal and under
            else None,
            hits=self.hits if last == of - 1 else (),
        )


def _inside(begin: int, end: int, first: int, last: int) -> tuple[int, int] | None:
    """What of some bars lies in others, counted from the first of those."""
    if begin > last or end < first:
        return None
    return max(begin, first) - first, min(end, last) - first


class Plan(NamedTuple):
    """The plan of a track, section by section; `after` is that of what comes behind an excerpt (None at the end).

    `track` is that of the whole track, section by section of it.
    """

    sections: tuple[SectionPlan, ...] = ()
    after: SectionPlan | None = None
    track: tuple[SectionPlan, ...] = ()

    def next_to(self, number: int) -> SectionPlan | None:
        """The plan of what follows a section."""
        return self.sections[number + 1] if number + 1 < len(self.sections) else self.after
