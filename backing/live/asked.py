"""What is asked of a session, when it takes effect, and where the session is."""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple

from backing.live.take import Take


class Border(Enum):
    """When a command takes effect."""

    NOW = "now"
    BEAT = "beat"
    BAR = "bar"
    ROUND = "round"  # at the seam of the loop, or where the track begins again


class Play(NamedTuple):
    """Play from a bar, after a take of a count where one is given."""

    bar: int
    count_in: Take | None = None


class Stop(NamedTuple):
    """Stop; the place is kept."""


class Change(NamedTuple):
    """Go on with another take: another tempo, key, style, band or text."""

    take: Take


class Loop(NamedTuple):
    """Play bars `first` to `last` over and over; with None go on to the end."""

    first: int | None = None
    last: int | None = None


Command = Play | Stop | Change | Loop


class Place(NamedTuple):
    """Where the session is. `frame` is of its take; `counting` while a count is heard; `rounds` of the loop so far."""

    take: Take
    bar: int
    frame: int
    playing: bool
    counting: bool = False
    rounds: int = 0


class Cut(NamedTuple):
    """A jump that was made: at a frame of the session the music went on at a bar of a take."""

    frame: int
    bar: int
