"""What may be asked of the reading of a file in another format."""

from __future__ import annotations

from typing import NamedTuple


class Reading(NamedTuple):
    """`tune_number` is the `X:` of a tune in a file of several, None the first."""

    tune_number: int | None = None


PLAIN = Reading()
