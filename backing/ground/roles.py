"""The roles of a band: one row a role, and whatever else is known of a role is derived from it.

A style may name several players of one role: `guitar`, `guitar 2`, `guitar 3`. Where players are named in options and
charts, the name of a role means all of them.

Columns:
    channels    MIDI channels from 0, one a player, so as many as a role may have players; General MIDI keeps 9 for
                percussion, which all unpitched roles share
    pitched     whether keys are pitches (and not the drums of a kit)
    leads       how much a player who comps may do when it leads, and when another leads; None for who never leads
    steady      how much any other player may do
    yields      whether a written melody leaves it less room
    tune        whether it plays the chart's own melody, and nothing else
    strings     open strings as MIDI notes, low one first, of an instrument that capo and tuning change; () otherwise
    common      LUFS that a note gets when its style's level is 0 dB (-30 where no preset is measured)
Sources: General MIDI level 1 for channel 10; guitar tuning, amounts and levels are common practice.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import NamedTuple

from backing.ground.instruments import STANDARD_TUNING


class Role(NamedTuple):
    """What all players of one role have in common; the columns are told above."""

    name: str
    channels: tuple[int, ...]
    pitched: bool
    leads: tuple[float, float] | None
    steady: float
    yields: bool
    tune: bool
    strings: tuple[int, ...]
    common_lufs: float

    @property
    def players(self) -> tuple[str, ...]:
        """The names of all players that the role may have."""
        return tuple(
            self.name if n == 0 else f"{self.name} {n + 1}" for n in range(len(self.channels))
        )


# In score order, as players are always shown.
_TABLE = (
    # name          channels   pitched  leads         steady  yields  tune   strings          common
    Role("melody",     (0,),       True,  None,         0.5,  False,  True,  (),              -27.0),
    Role("solo",       (12,),      True,  None,         0.5,  False,  False, STANDARD_TUNING, -27.0),
    Role("horns",      (1, 10),    True,  None,         0.4,  True,   False, (),              -27.5),
    Role("strings",    (2, 11),    True,  None,         0.3,  False,  False, (),              -30.0),
    Role("guitar",     (3, 6, 7),  True,  (0.65, 0.2),  0.5,  True,   False, STANDARD_TUNING, -29.0),
    Role("keys",       (4, 8),     True,  (0.7, 0.25),  0.5,  True,   False, (),              -32.0),
    Role("bass",       (5,),       True,  None,         0.5,  False,  False, (),              -33.5),
    Role("drums",      (9,),       False, None,         0.45, False,  False, (),              -30.0),
    Role("percussion", (9, 9),     False, None,         0.5,  False,  False, (),              -30.0),
    Role("click",      (9,),       False, None,         0.5,  False,  False, (),              -30.0),
)  # fmt: skip

ROLES = tuple(role.name for role in _TABLE)
PLAYERS = tuple(player for role in _TABLE for player in role.players)
CHANNELS = {p: c for role in _TABLE for p, c in zip(role.players, role.channels, strict=True)}
_OF = {player: role for role in _TABLE for player in role.players}
UNPITCHED = tuple(player for player in PLAYERS if not _OF[player].pitched)
COMPING = tuple(
    role.name for role in reversed(_TABLE) if role.leads
)  # keys, guitar: who leads by turns


def role_of(player: str) -> Role:
    """The row of a player's role.

    >>> role_of("guitar 2").name, CHANNELS["guitar 2"]
    ('guitar', 6)
    """
    return _OF[player]


def pitched(player: str) -> bool:
    """Whether a player's keys are pitches."""
    return _OF[player].pitched


def named(player: str, names: Collection[str]) -> bool:
    """Whether some names of players and roles mean a player.

    >>> named("guitar 2", {"guitar"}), named("guitar", {"guitar 2"})
    (True, False)
    """
    return player in names or _OF[player].name in names


def file_part(player: str) -> str:
    """A player's name inside the name of a file.

    >>> file_part("guitar 2")
    'guitar-2'
    """
    return player.replace(" ", "-")


def in_score_order(players: Iterable[str]) -> tuple[str, ...]:
    """Players from the top of the score down."""
    wanted = set(players)
    return tuple(p for p in PLAYERS if p in wanted)
