"""What a style is: who plays, on what, how, and the patterns they know.

Conventions: a style file is TOML and runs no code. Tempos count the beat of the style's first meter. Levels are those
of `timebase.DYNAMICS`; a pattern's level says from where on it is chosen: `p` up to mp, `mf` for mp to mf, `f` above.

The marks of cells (`cells.py` reads them). `=` and `.` never reach a `Cell`: they are its length and the rests.
    drums, percussion  g ghost · x normal · X accent · f flam · d drag · r roll · z buzz, as long as the cell ·
          s sweep of a brush · c choked at the end of the cell
    chord (keys, horns, strings, guitar)  g, x, X and 1-6, the voice of the chord from the bottom, alone
    chord, guitar only  d u down and up stroke · D U accented · m muted stroke · 1-6 are strings, 6 the lowest
    bass  a degree 1-9 with b or # before it, - before that for the octave below, n at the front for the next chord's;
          a an approach to the next chord · x a dead note; ! behind it accents
    bass of guitar and keys (thumb, left hand)  g x X the lowest note of the chord, or a degree as above
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from fractions import Fraction
from typing import NamedTuple, cast

from backing.chart.ast import Ending
from backing.ground.instruments import Instrument
from backing.ground.roles import COMPING, Role, role_of
from backing.ground.source import Shown
from backing.ground.timebase import Feel, Meter
from backing.styles.algorithms import SETTINGS

SECTION = 1 << 16  # bars for which something is held that is held for a section: more than any has

Value = bool | int | float | str | tuple["Value", ...]


class Where(Enum):
    """The place in a section that a pattern is for."""

    OPENING = "opening"  # the first bar of a section after a change of section
    TIME = "time"
    PHRASE_END = "phrase-end"  # the last bar of a phrase; for drums a fill
    CLOSE = "close"  # the last bar of the last section before the final chord
    TURNAROUND = (
        "turnaround"  # the last two bars of a section that leads into another playing or section
    )
    BUILD = (
        "build"  # the last four bars before a louder section, and bars that grow louder as written
    )
    BREAK = "break"  # the last bars, as many as are written, before a section that brings more
    ENDING = "ending"  # a section after the last chorus
    COUNT_IN = (
        "count-in"  # the last bars of the count-in, in place of the click; drums and percussion
    )


class Energy(Enum):
    """What a section is for in the course of a track, beside how loud it is; the leader's plan gives it out."""

    CALM = "calm"  # soft, or the first of many choruses
    LIFT = "lift"  # more than what came before
    PEAK = "peak"  # the top of the track
    FEATURE = "feature"  # choruses in the middle of many, where somebody is heard alone


ENERGIES = tuple(energy.value for energy in Energy)
SIDES = ("two", "three")  # of a clave: the bar with two strokes, the bar with three


# Places in a beat of a quarter, as players count sixteenths.
PLACES = {"beat": Fraction(0), "e": Fraction(1, 4), "and": Fraction(1, 2), "a": Fraction(3, 4)}
BEATS = tuple("123456789")  # the beats of a bar by number, as far as `timing` knows them


class Cell(NamedTuple):
    """One stroke: `mark` as written (`x`, `X`, `g`, `b7`, `d` …), place and length in quarters from its pulse."""

    at_q: Fraction
    length_q: Fraction
    mark: str


class Pulse(NamedTuple):
    """One beat of a line: its length in the pattern's own meter and the cells that begin in it.

    A cell held with `=` has its full `length_q`, which may reach beyond the pulse.
    """

    length_q: Fraction
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Pattern(Shown):
    """One or more bars of a player's idea. `lines` maps a name (a drum, `chord`, `bass`) to pulses, bar after bar.

    `hold` is for how many bars it stays once it has begun, 0 as long as the player likes. Of drums and percussion:
    `vary` is the chance that a bar is changed a little (None: the player's), `ghosts` that its soft strokes are played.
    `idea` is the idea of the whole band that it belongs to ("" for none), `energies` are those of the sections that it is
    for (none: for any), `side` the side of the clave (one of `SIDES`, "" for both). `timing` is added to the player's.
    `into` are the strokes that it leads to, by line: marks for the first beat of what comes after it.
    """

    name: str
    meter: Meter
    bars: int
    level: str  # "p", "mf", "f"
    where: Where
    weight: float
    lines: Mapping[str, tuple[tuple[Pulse, ...], ...]] = field(hash=False)  # line -> bar -> pulse
    swung: bool = False  # written for swung eighths: off-beats stand at the half
    hold: int = 0
    vary: float | None = None
    ghosts: float = 1.0
    idea: str = ""
    energies: tuple[str, ...] = ()
    side: str = ""
    timing: Mapping[str, float] = field(default_factory=dict, hash=False)
    into: Mapping[str, str] = field(default_factory=dict, hash=False)

    def __hash__(self) -> int:
        """Of what hashes fast and tells patterns apart: pools of them are looked up several times a bar."""
        return hash((self.name, self.level, self.bars, self.weight, *self.lines))

    @property
    def anywhere(self) -> bool:
        """Whether it asks for nothing beside meter, level and place."""
        return not (self.idea or self.energies or self.side or self.where is Where.BREAK)


class Idea(NamedTuple):
    """An idea of the whole band: patterns of several players that are chosen together.

    `weight` says how often it comes beside the other ideas, and beside playing on as usual, which weighs 1. It stays for
    `hold` bars where it keeps time. Players who `rest` leave it to the others.
    """

    name: str
    weight: float = 1.0
    hold: int = 4
    rest: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class Part(Shown):
    """One player of a style.

    `plays` names the algorithm for each level ("p", "mf", "f"); `settings` are that algorithm's. `level_db` is the
    level in the mix, `pan` -1 left to 1 right, `room` the share sent to the room (0 to 1). `late_ms` is the mean
    distance behind the grid (on-beats only), `spread_ms` the standard deviation around it; `timing` is how much later
    still some strokes come in ms, by drum, by place in the beat (`PLACES`), or by both ("snare and"). `hold` is for how many bars it stays with
    a pattern, 0 as long as players of its sort do. `instruments` are its instruments by level, where it changes them with
    the level of the section; `instrument` is then the one for "mf".
    """

    role: str
    instrument: Instrument
    plays: Mapping[str, str] = field(hash=False)
    settings: Mapping[str, Value] = field(default_factory=dict, hash=False)
    patterns: tuple[Pattern, ...] = ()
    level_db: float = 0.0
    pan: float = 0.0
    room: float = 0.2
    late_ms: float = 0.0
    spread_ms: float = 6.0
    low: int = 0
    high: int = 127
    hold: int = 0
    timing: Mapping[str, float] = field(default_factory=dict, hash=False)
    instruments: Mapping[str, Instrument] = field(default_factory=dict, hash=False)

    def at(self, level: str) -> Part:
        """The player with what it takes up in a section of that level; its own range where the style gives none."""
        instrument = self.instruments.get(level, self.instrument)
        if instrument == self.instrument:
            return self
        low = instrument.low if self.low == self.instrument.low else self.low
        high = instrument.high if self.high == self.instrument.high else self.high
        return replace(self, instrument=instrument, low=low, high=high)

    @property
    def kind(self) -> Role:
        """What the players of its role have in common; `role` itself is the player's name, `guitar 2` for a second one."""
        return role_of(self.role)

    def has(self, idea: str) -> bool:
        """Whether it has patterns of an idea of the band."""
        return bool(idea) and any(p.idea == idea for p in self.patterns)

    def flag(self, setting: str) -> bool:
        """A setting of kind "flag"; like those below, as the style writes it or else as the table of settings has it."""
        return bool(self._value(setting))

    def number(self, setting: str) -> float:
        """A setting of kind "number"."""
        return float(cast(float, self._value(setting)))

    def word(self, setting: str) -> str:
        """A setting of kind "choice"."""
        return str(self._value(setting))

    def _value(self, setting: str) -> Value:
        return self.settings.get(setting, SETTINGS[self.kind.name][setting].default)


class Style(NamedTuple):
    """A style, complete. `repeats` is true where a bar is never played with a small change (a machine-like groove)."""

    name: str
    about: str
    source: str
    meters: tuple[Meter, ...]
    low_bpm: float
    usual_bpm: float
    high_bpm: float
    feel: Feel
    grid_q: Fraction  # the smallest note it thinks in: an eighth, a sixteenth, or 1/3 for triplets
    colour: bool
    repeats: bool
    clave: str | None
    parts: tuple[Part, ...]
    runs: bool = (
        False  # a groove of two bars runs on through sections of odd length, as a clave does
    )
    ideas: tuple[Idea, ...] = ()
    ending: Ending | None = None  # how it stops and how many bars are counted in where nobody says,
    count_in: int | None = None  # 0 for none
    core: tuple[str, ...] = ()  # players without whom it is not itself: they never wait or rest
    last_chord: Pattern | None = None  # the rhythm in which the band strikes it
    altered: bool = True  # whether colours may be altered tones (b9, #11, b13)
    doubles: bool = False  # whether those who comp may strike the same notes together
    hold: int = 8  # bars for which players keep to a figure; up to four end within a phrase

    def part(self, role: str) -> Part | None:
        """The player of that name, None where the style has none."""
        return next((p for p in self.parts if p.role == role), None)

    @property
    def side(self) -> str | None:
        """The side of its clave, "" where grooves of two bars run on without one, None where sections begin them anew."""
        return self.clave or ("" if self.runs else None)

    @property
    def runs_on(self) -> bool:
        """Whether grooves of two bars run on through sections of odd length."""
        return self.side is not None

    @property
    def fretted(self) -> tuple[Part, ...]:
        """The players whose chords are grips on strings."""
        return tuple(p for p in self.parts if p.kind.strings)

    @property
    def comping(self) -> tuple[Part, ...]:
        """The players who comp, in the order in which they are called."""
        return tuple(p for role in COMPING for p in self.parts if p.kind.name == role)

    @property
    def strummed(self) -> bool:
        """Whether a guitar strums open chords, over which the bass keeps low."""
        return any(part.word("voicing") == "open" for part in self.fretted)

    @property
    def in_fifths(self) -> bool:
        """Whether a guitar plays fifths alone, an octave over the bass."""
        return any(part.word("voicing") == "power" for part in self.fretted)

    @property
    def low_strings(self) -> bool:
        """Whether a guitar's chords begin on its low strings, where they meet the bass."""
        return any(part.word("voicing") in ("open", "power") for part in self.fretted)

    @property
    def roles(self) -> tuple[str, ...]:
        return tuple(p.role for p in self.parts)
