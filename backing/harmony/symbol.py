"""Chord symbols: text to `Chord`."""

from __future__ import annotations

from dataclasses import dataclass

from backing.pitch import Degree, Interval, NoteName


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord as its symbol says it, complete: what to leave out is decided when voicing.

    `quality` is the one spelling of everything after the root that this project writes ("m7b5", "" for a major
    triad); `family` is its broad kind: "major", "minor", "dominant", "half-diminished", "diminished", "augmented",
    "suspended" or "power". `degrees` is the full set, `must_sound` must be heard from some player, `omit` is left out
    by convention when voicing; of each group in `any_of` at least one must sound (altered dominants). `bass` is the
    written bass, None without a slash. `written` is the symbol as typed.
    """

    root: NoteName
    quality: str
    family: str
    degrees: tuple[Degree, ...]
    must_sound: tuple[Degree, ...]
    omit: tuple[Degree, ...] = ()
    any_of: tuple[tuple[Degree, ...], ...] = ()
    bass: NoteName | None = None
    written: str = ""

    @property
    def symbol(self) -> str:
        """The symbol in this project's one spelling."""
        return self.root.name + self.quality + (f"/{self.bass.name}" if self.bass else "")

    @property
    def notes(self) -> tuple[NoteName, ...]:
        """Spelled notes, one a degree."""
        return tuple(d.of(self.root) for d in self.degrees)

    @property
    def pitch_classes(self) -> tuple[int, ...]:
        """One a degree, in the order of `degrees`."""
        return tuple((self.root.pc + d.semitones) % 12 for d in self.degrees)

    @property
    def lowest(self) -> NoteName:
        """What the bass plays: the written bass, else the root."""
        return self.bass or self.root

    def up(self, interval: Interval) -> Chord:
        """The chord moved; root and bass by the same interval."""
        return Chord(
            self.root.up(interval), self.quality, self.family, self.degrees, self.must_sound, self.omit, self.any_of,
            self.bass.up(interval) if self.bass else None, "",
        )  # fmt: skip
