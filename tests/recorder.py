"""A band that writes down what it is told to do, and takes of charts, for tests of the running session."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

import backing
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.live.session import HOP, Events
from backing.live.take import Take, take_of
from backing.output.sound.synth import OFF, ON

WALTZ = """title: Round
key: G
meter: 3/4
tempo: 180
style: jazz waltz
count-in: 1

[A]
| G6 | Am7 D7 D7 | Gmaj7 | E7 | Am7 | D7 | G6 | D7 |
[B]
| Cmaj7 | Bm7 | Am7 | D7 |
"""


class Done(NamedTuple):
    """A note that was begun (or ended, with velocity 0), at a frame of the session."""

    frame: int
    role: str
    pitch: int
    velocity: int


class Recorder:
    """Silence, and everything in the order in which it was told."""

    def __init__(self) -> None:
        self.done: list[Done] = []
        self.hops = 0
        self.seated: list[Take] = []

    def seat(self, take: Take) -> None:
        self.seated.append(take)

    def hop(self, events: Events, take: Take, at: int) -> NDArray[np.float32]:
        start = self.hops * HOP
        self.hops += 1
        for (role, _), row in events.items():
            assert [offset for offset, _ in row] == sorted(offset for offset, _ in row)
            for offset, event in row:
                assert 0 <= offset < HOP
                kind, pitch, velocity = event >> 16 & 3, event >> 8 & 255, event & 255
                if kind in (ON, OFF):
                    self.done.append(
                        Done(start + offset, role, pitch, velocity if kind == ON else 0)
                    )
        return np.zeros((HOP, 2), np.float32)

    def struck(self) -> list[Done]:
        return [d for d in self.done if d.velocity]

    def held(self) -> set[tuple[str, int]]:
        """What was begun and has not ended."""
        held: set[tuple[str, int]] = set()
        for d in self.done:
            (held.add if d.velocity else held.discard)((d.role, d.pitch))
        return held


def take(text: str = WALTZ, **wishes: object) -> Take:
    wish = Options().changed(**wishes)
    return take_of(band(prepare(backing.parse(text), wish), wish))
