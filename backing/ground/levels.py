"""Players louder or softer than their style has them: what stands in charts and options, and which of it holds.

Conventions: decibels beside the style's own level; a player that is named goes before the role that it belongs to.
"""

from __future__ import annotations

from backing.ground.roles import named, role_of

LOWEST_DB, HIGHEST_DB = -40, 12  # of a player beside its usual level, the range that styles have

Levels = tuple[tuple[str, float], ...]  # player or role, dB; the last one of a name holds


def over(usual: Levels, own: Levels) -> Levels:
    """`own` levels, and of the usual ones those of players that `own` does not name.

    >>> over((("bass", 3.0), ("guitar 2", 1.0)), (("guitar", -2.0),))
    (('bass', 3.0), ('guitar', -2.0))
    """
    names = {name for name, _ in own}
    return (*((name, db) for name, db in usual if not named(name, names)), *own)


def level_db(player: str, levels: Levels) -> float:
    """By how many dB a player is louder.

    >>> level_db("guitar 2", (("guitar", -2.0),)), level_db("bass", ())
    (-2.0, 0.0)
    """
    found = dict(levels)
    return found.get(player, found.get(role_of(player).name, 0.0))
