"""A settled bass line: its stretches, their first notes, and what is said about each note.

Conventions: `anchors` has one entry more than `stretches`: the first note of the next section, -1 where nothing follows.
The reason of a note is told as a player would tell it ("half step from below to F").
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.band.model import Kind, Note, Why
from backing.band.players.anchors import Stretch
from backing.band.players.common import Brief
from backing.band.players.patterns.lay import Chosen
from backing.band.players.pulses import loudness, velocity

_STEP_NAMES = ("", "root", "second", "third", "fourth", "fifth", "sixth", "seventh")


class Line(NamedTuple):
    """One section of a bass line before it is written out.

    `low` and `high` are the range; `kicks` the strokes that the band marks inside the time-keeping, in order; `chosen`
    the pattern of every bar (empty where no bar is played from patterns).
    """

    brief: Brief
    stretches: Sequence[Stretch]
    anchors: Sequence[int]
    low: int
    high: int
    kicks: Sequence[Fraction]
    marked: frozenset[Fraction]
    chosen: Sequence[Chosen | None]

    def following(self, index: int) -> Stretch | None:
        """The stretch after one, None beyond the section."""
        return self.stretches[index + 1] if index + 1 < len(self.stretches) else None

    def leads(self, index: int) -> bool:
        """Whether another bass follows a stretch, so that it is worth an approach."""
        after, goal = self.following(index), self.anchors[index + 1]
        new = goal >= 0 and (after is None or after.fresh)
        return new and goal % 12 != self.stretches[index].tones.bass

    def target(self, index: int) -> str:
        """The name of the bass that follows a stretch; "" where nothing does."""
        after = self.following(index)
        if after is not None:
            return after.tones.bass_name
        ahead = self.brief.ahead
        return ahead.span.chord.lowest.name if ahead and ahead.span.chord else ""

    def velocity(self, stretch: Stretch, at_q: Fraction, force: float = 1.0) -> int:
        """Velocity of a note by the level of its bar; first beats and marked strokes are a little louder."""
        bar, plan = self.brief.bars[stretch.bar], self.brief.plans[stretch.bar]
        base = loudness(plan.level) * force
        if at_q == bar.start_q:
            base *= 1.03
        if at_q in self.marked:
            base *= 1.12
        return velocity(base)

    def over_border(self, index: int, note: Note) -> Note:
        """The last note of a section: a chord that comes early sounds on through its first beat in the next one."""
        ahead, change = self.brief.ahead, self.stretches[index].change
        if ahead is None or ahead.index != change.index or change.span.push_q == 0:
            return note
        beat = self.brief.bars[-1].meter.pulses_q[0]
        return note._replace(end_q=min(ahead.end_q, change.span.start_q + beat))


def anchor_why(stretch: Stretch, pitch: int) -> Why:
    """Why a stretch begins as it does."""
    t, symbol = stretch.tones, stretch.change.span.symbol
    if pitch % 12 == t.bass:
        words = f"written bass {t.bass_name} of {symbol}" if t.slash else f"root of {symbol}"
        return Why(Kind.ROOT, words)
    return Why(Kind.ROOT, f"{step_name(t.name(pitch))} of {symbol}, which goes on")


def approach_why(stretch: Stretch, pitch: int, goal: int, target: str) -> Why:
    """How the last note before a chord leads into its bass."""
    distance = pitch - goal
    side = "above" if distance > 0 else "below"
    if abs(distance) == 1:
        kind = "half step" if stretch.tones.is_scale_tone(pitch) else "chromatic approach"
        return Why(Kind.STEP, f"{kind} from {side} to {target}")
    if abs(distance) == 2:
        return Why(Kind.STEP, f"step from {side} to {target}")
    if distance in (7, -5):
        way = "falls a fifth" if distance > 0 else "rises a fourth"
        return Why(Kind.DOMINANT, f"dominant of {target}, {way}")
    degree = step_name(stretch.tones.name(pitch))
    return Why(Kind.TONE, f"{degree} of {stretch.change.span.symbol}, leads to {target}")


def free_why(stretch: Stretch, pitch: int, before: int) -> Why:
    """What a note between two anchors is."""
    t, symbol = stretch.tones, stretch.change.span.symbol
    if t.is_chord_tone(pitch):
        if pitch % 12 == t.bass:
            return Why(Kind.TONE, f"{'written bass' if t.slash else 'root'} of {symbol}")
        return Why(Kind.TONE, f"{step_name(t.name(pitch))} of {symbol}")
    if t.is_scale_tone(pitch):
        return Why(Kind.SCALE, f"scale step {t.name(pitch)} of {symbol}")
    return Why(Kind.PASSING, f"chromatic passing note {'up' if pitch > before else 'down'}")


def step_name(degree: str) -> str:
    """A degree in words.

    >>> step_name("b3"), step_name("9"), step_name("13")
    ('third', 'second', 'sixth')
    """
    digits = degree.lstrip("b#")
    return _STEP_NAMES[(int(digits) - 1) % 7 + 1] if digits.isdigit() else ""
