"""`Chord`: what a symbol says, spelled and complete.

*Conventions*: degrees are counted in the major scale of the root; semitones above the root are not folded; a bass that
is not written is the root. Two chords are equal when root, quality and bass are, however they were typed.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from backing.ground.pitch import UNISON, Degree, Interval, NoteName
from backing.ground.source import Shown


@dataclass(frozen=True, slots=True, repr=False)
class Chord(Shown):
    """A chord as its symbol says it, complete: what to leave out is decided when voicing.

    `quality` is the one spelling of everything after the root that this project writes ("m7b5", "" for a major
    triad); `family` is its broad kind: "major", "minor", "dominant", "half-diminished", "diminished", "augmented",
    "suspended" or "power". `degrees` is the full set, `must_sound` must be heard from some player, `omit` is left out
    by convention when voicing; of each group in `any_of` at least one must sound (altered dominants). `bass` is the
    written bass, None without a slash. `written` is the symbol as typed. A chord that was moved remembers `origin`,
    the chord as typed, and `shift`, the way from there, so that moving it back restores the spelling.

    Derived once: `symbol` in this project's one spelling; `notes`, spelled, one a degree; `pitch_classes`, one a
    degree in the order of `degrees`; `lowest`, what the bass plays: the written bass, else the root.
    """

    root: NoteName
    quality: str
    family: str
    degrees: tuple[Degree, ...]
    must_sound: tuple[Degree, ...]
    omit: tuple[Degree, ...] = ()
    any_of: tuple[tuple[Degree, ...], ...] = ()
    bass: NoteName | None = None
    written: str = field(default="", compare=False)
    origin: Chord | None = field(default=None, compare=False, repr=False)
    shift: Interval = field(default=UNISON, compare=False, repr=False)
    symbol: str = field(init=False, compare=False, repr=False)
    notes: tuple[NoteName, ...] = field(init=False, compare=False, repr=False)
    pitch_classes: tuple[int, ...] = field(init=False, compare=False, repr=False)
    lowest: NoteName = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        root, root_pc = self.root, self.root.pc
        derive = object.__setattr__
        slash = f"/{self.bass.name}" if self.bass else ""
        derive(self, "symbol", root.name + self.quality + slash)
        derive(self, "notes", tuple([d.of(root) for d in self.degrees]))
        derive(self, "pitch_classes", tuple([(root_pc + d.semitones) % 12 for d in self.degrees]))
        derive(self, "lowest", self.bass or root)

    def __hash__(self) -> int:
        return hash(self.symbol)

    def up(self, interval: Interval) -> Chord:
        """The chord moved by letter steps, root and bass by the same interval, whatever accidentals come of it."""
        return Chord(
            self.root.up(interval),
            self.quality,
            self.family,
            self.degrees,
            self.must_sound,
            self.omit,
            self.any_of,
            self.bass.up(interval) if self.bass else None,
        )
