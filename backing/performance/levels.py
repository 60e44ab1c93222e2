"""Players louder or softer than their style has them."""

from __future__ import annotations

from collections.abc import Mapping

from backing.ground.roles import role_of
from backing.performance.model import Performance, PerformedPlayer


def with_levels(performance: Performance, levels: Mapping[str, float]) -> Performance:
    """The performance with these dB added to the players' levels; a role counts for all of its players.

    A player's own name goes before its role's.
    """

    def moved(player: PerformedPlayer) -> PerformedPlayer:
        added = levels.get(player.role, levels.get(role_of(player.role).name, 0.0))
        voices = (voice._replace(level_db=voice.level_db + added) for voice in player.voices)
        return player._replace(voices=tuple(voices))

    return performance._replace(players=tuple(map(moved, performance.players)))
