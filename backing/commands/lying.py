"""In which keys a solo guitar's piece lies best under the hand, and why.

Conventions: the piece as the guitar plays it alone; ways of the hand in frets a stroke.
Source: open strings, a hand that stays, notes low on the neck make a key lie well (common practice).
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from backing.band.model import Note
from backing.chart.ast import Chart
from backing.commands.options import Options
from backing.commands.preparing import prepare
from backing.ground.errors import RequestError
from backing.output.symbols import note

SHIFTS = range(-5, 7)
WAY, HEIGHT, OPEN = (
    1.0,
    0.12,
    2.0,
)  # points a fret of way, a fret of height; off for a share of open strings
BEST = 3  # keys that are named


class Lying(NamedTuple):
    """How a piece lies in one key: semitones from where it is written, ways and places in frets, share of open strings."""

    key: str
    shift: int
    way: float
    highest: int
    mean: float
    open_share: float

    @property
    def cost(self) -> float:
        return WAY * self.way + HEIGHT * self.mean - OPEN * self.open_share

    @property
    def words(self) -> str:
        """As a guitarist reads it."""
        return (
            f"{self.key}: {self.open_share:.0%} of the notes on open strings, the hand moves {self.way:.1f} frets a"
            f" stroke, highest fret {self.highest}"
        )


def lying(chart: Chart, wish: Options) -> list[Lying]:
    """The piece in twelve keys, as it lies best first. Raises `RequestError` where no solo guitar is asked for."""
    from backing.band.arrange import arrange

    found = []
    for shift in SHIFTS:
        moved = wish.changed(key=None, transpose=shift or None, choruses=1, length_s=None)
        made = prepare(chart, moved)
        line = made.timeline
        if not (line.chord_melody and line.melody):
            raise RequestError(
                "--best-key: the chart asks for no solo guitar; add --chord-melody full, and a melody: line"
            )
        music = arrange(line, made.style, wish.band.seed, made.styles, only=frozenset({"solo"}))
        notes = next(p for p in music.players if p.role == "solo").notes
        found.append(_lies(note(line.key.tonic) + _mode(line.key.mode_name), shift, notes))
    return sorted(found, key=lambda one: (one.cost, abs(one.shift)))


def _mode(name: str) -> str:
    return "" if name == "major" else f" {name}"


def _lies(key: str, shift: int, notes: tuple[Note, ...]) -> Lying:
    hands: list[int] = []
    for start in sorted({n.start_q for n in notes}):
        held = [n.fret for n in notes if n.start_q == start and n.fret > 0]
        if held:
            hands.append(min(held))
    ways = [abs(a - b) for a, b in pairwise(hands)]
    frets = [n.fret for n in notes] or [0]
    return Lying(
        key,
        shift,
        sum(ways) / max(1, len(ways)),
        max(frets),
        sum(frets) / len(frets),
        sum(f == 0 for f in frets) / len(frets),
    )


def report(name: str, found: list[Lying]) -> str:
    """The best keys in words, and where the written one stands."""
    own = next(one for one in found if one.shift == 0)
    lines = [f"{name}: the piece lies best in"]
    lines += [f"  {one.words}{_how(one)}" for one in found[:BEST]]
    if own not in found[:BEST]:
        lines.append(f"as written, in {own.words}")
    return "\n".join(lines)


def _how(one: Lying) -> str:
    return f"  (--transpose {one.shift:+d})" if one.shift else "  (as written)"
