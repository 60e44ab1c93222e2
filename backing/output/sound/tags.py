"""What a sound file says about itself.

Sources: ID3v2.3 (TBPM holds digits only, TKEY at most three characters); RIFF INFO (INAM, IART, ICMT, ISFT); Vorbis
comments by their usual names.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from backing.ground.timebase import Tempo
from backing.output.files import MADE_BY, MARK
from backing.performance.model import Performance


@dataclass(frozen=True, slots=True)
class Tags:
    """`chapters` are milliseconds and names, in order."""

    title: str
    by: str
    bpm: int
    key: str
    comment: str
    chapters: tuple[tuple[int, str], ...] = ()
    maker: str = MADE_BY


def tags_of(performance: Performance, player: str = "") -> Tags:
    """The tags of a mix or, with `player`, of a stem or of a mix for that player."""
    arrangement = performance.arrangement
    timeline = arrangement.timeline
    us = performance.tempo.us_at(timeline.bars[0].start_q)
    beat_q = Tempo(Fraction(1)).unit(timeline.bars[0].meter)
    return Tags(
        title=timeline.title + (f" ({player})" if player else ""),
        by=timeline.by,
        bpm=round(60_000_000 / us / float(beat_q)),
        key=timeline.bars[0].key.short_name,
        comment=f"{MARK}; style {arrangement.style.name}, seed {arrangement.seed}",
        chapters=tuple((round(m.at_s * 1000), m.text) for m in performance.markers),
    )
