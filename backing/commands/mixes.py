"""More that a lesson may hold: bass and drums, a ladder of tempos; and what is said beside every file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from backing.commands.options import Options
from backing.commands.practice import Practice, practised
from backing.commands.preparing import Prepared

if TYPE_CHECKING:
    from backing.performance.model import Performance

DUO = frozenset({"bass", "drums"})
LADDER = "60:100:10"  # percent: five tempos
SLOW_TO_FAST = "Slow to fast, from 60 to 100 %"


def rising(prepared: Prepared, wish: Options) -> Performance:
    """The tune at rising tempos, a pass at each, every one played anew."""
    from backing.performance.session import joined

    return joined(*practised(prepared, wish, Practice(ladder=LADDER, passes=1)))


def about(performance: Performance, loop: bool = False) -> str:
    """Key, tempo and length in words."""
    from backing.output.sound.tags import tags_of

    timeline = performance.arrangement.timeline
    length_s = performance.duration_s
    if loop:
        length_s = float(performance.tempo.exact_s(timeline.length_q))
    minutes, seconds = divmod(round(length_s), 60)
    return f"{timeline.bars[0].key.name}, {tags_of(performance).bpm} bpm, {minutes}:{seconds:02d}"
