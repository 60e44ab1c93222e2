"""Players louder or softer than their style has them: by the chart, section by section, or as asked for.

Conventions: a level changes at the bar line of its section; before the first bar that of the first bar holds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby

from backing.ground.levels import Levels, level_db, over
from backing.performance.model import Performance, PerformedPlayer, Voice


def with_levels(performance: Performance, asked: Levels = ()) -> Performance:
    """The performance with the levels of its bars in the players' voices; those that are `asked` for go before them."""
    bars = performance.arrangement.timeline.bars
    changes = [
        (next(alike).start_q, over(levels, asked))
        for levels, alike in groupby(bars, key=lambda bar: bar.levels)
    ]
    if not any(levels for _, levels in changes):
        return performance
    players = (
        player._replace(voices=tuple(_voices(performance, player, changes)))
        for player in performance.players
    )
    return performance._replace(players=tuple(players))


def _voices(
    performance: Performance, player: PerformedPlayer, changes: list[tuple[Fraction, Levels]]
) -> Iterator[Voice]:
    """The player's voices, each begun anew where its level changes."""
    if not player.voices:
        return
    starts = [voice.at_q for voice in player.voices]
    steps: list[tuple[Fraction, float]] = []
    for at_q, levels in changes:
        db = level_db(player.role, levels)
        if not steps or db != steps[-1][1]:
            steps.append((at_q, db))
    places = {*starts, *(at_q for at_q, _ in steps[1:] if at_q > starts[0])}
    for place in sorted(places):
        voice = player.voices[max(0, bisect_right(starts, place) - 1)]
        _, db = steps[max(0, bisect_right(steps, place, key=lambda step: step[0]) - 1)]
        at_s = voice.at_s if voice.at_q == place else round(performance.tempo.seconds(place), 6)
        yield voice._replace(at_s=at_s, at_q=place, level_db=voice.level_db + db)
