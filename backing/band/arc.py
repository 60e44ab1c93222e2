"""The arc of a track: what is played grows from chorus to chorus, how loud it is grows less.

The plan's levels choose patterns, registers and fills, which already make a track grow. Were its strokes as much louder
as its levels say, the first chorus of many would lie ten decibels and more under the last, and whoever practises would
turn the volume up and then down. So strokes do not follow the plan's arc. Nor do those who come in add all that they
have: where fewer play, each plays out more, and gives way when others join. A drop and a vamp that builds are meant to
be heard as such. Dynamics that the chart writes are the writer's own: they hold as written.

Source: a span of 3 to 4 LU between the choruses of a practice track; players who give way to those who come in (common
practice).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from backing.band.course import USUAL
from backing.band.leader import whole_of
from backing.band.led import Reason, SectionPlan
from backing.band.model import Note
from backing.band.players.common import Brief
from backing.band.players.pulses import loudness, velocity

SHARE = -0.17  # of the arc that is heard as loudness: fuller patterns grow by 2 to 4 LU, and strokes lean against that
ROOM = 0.1  # stronger strokes for each share of the band that rests: a third of what those add who come in
MEANT = (Reason.DROP, Reason.THIN, Reason.BUILDS)  # rests that are to be heard as fewer players


def evened(brief: Brief, line: Sequence[Note], seated: int) -> list[Note]:
    """A player's notes of a section with most of the plan's arc taken back where the chart gives no dynamics.

    `seated` is how many the band has in it. The swell of a section stays; with fewer than three choruses there is no arc.
    """
    if whole_of(brief.timeline).choruses < 3:
        return list(line)
    scale, bars = _scale(brief.led.level), range(len(brief.bars))
    scales = [
        1.0 if brief.bars[bar].dynamic is not None else scale * room(brief.led, bar, seated)
        for bar in bars
    ]
    if len(set(scales)) == 1:
        heard = {loud: velocity(loud * scales[0]) for loud in {note.velocity for note in line}}
        return [note._replace(velocity=heard[note.velocity]) for note in line]
    starts = [bar.start_q for bar in brief.bars]
    at = (max(0, bisect_right(starts, note.start_q) - 1) for note in line)
    return [
        note._replace(velocity=velocity(note.velocity * scales[bar]))
        for note, bar in zip(line, at, strict=True)
    ]


def _scale(level: float) -> float:
    return loudness(USUAL + (level - USUAL) * SHARE) / loudness(level)


def room(led: SectionPlan, bar: int, seated: int) -> float:
    """How much more each plays out in a bar for those of the band who rest in it."""
    resting = {r.player for r in led.rests if r.first <= bar <= r.last and r.why not in MEANT}
    return 1 + ROOM * len(resting) / seated
