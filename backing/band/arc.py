"""The arc of a track: what is played grows from chorus to chorus, how loud it is grows less.

The plan's levels choose patterns, registers and fills, which already make a track grow. Were its strokes as much louder
as its levels say, the first chorus of many would lie ten decibels and more under the last, and whoever practises would
turn the volume up and then down. So strokes do not follow the plan's arc. Dynamics that the chart writes are the
writer's own: they hold as written.

Source: a span of 3 to 4 LU between the choruses of a practice track (common practice).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from backing.band.course import USUAL
from backing.band.leader import whole_of
from backing.band.model import Note
from backing.band.players.common import Brief
from backing.band.players.pulses import loudness, velocity

SHARE = -0.05  # of the arc that is heard as loudness: fuller patterns grow by 2 to 4 LU, and strokes lean against that


def evened(brief: Brief, line: Sequence[Note]) -> list[Note]:
    """A player's notes of a section with most of the plan's arc taken back where the chart gives no dynamics.

    The swell of a section stays; with fewer than three choruses there is no arc.
    """
    scale = _scale(brief.led.level)
    if whole_of(brief.timeline).choruses < 3 or scale == 1.0:
        return list(line)
    heard = {loud: velocity(loud * scale) for loud in {note.velocity for note in line}}
    written = [bar.dynamic is not None for bar in brief.bars]
    if not any(written):
        return [note._replace(velocity=heard[note.velocity]) for note in line]
    starts = [bar.start_q for bar in brief.bars]
    return [
        note
        if written[max(0, bisect_right(starts, note.start_q) - 1)]
        else note._replace(velocity=heard[note.velocity])
        for note in line
    ]


def _scale(level: float) -> float:
    return loudness(USUAL + (level - USUAL) * SHARE) / loudness(level)
