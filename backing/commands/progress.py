"""How far a piece of work has come, and what is worth a warning on the way."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from backing.ground.source import Diagnostic

Progress = Callable[[float, str], None]  # the share that is done, 0 to 1, and what is being done
Warn = Callable[["Diagnostic"], None]


def silent(share: float, words: str) -> None:
    """No progress is shown."""


def part(progress: Progress, index: int, count: int) -> Progress:
    """The progress of piece `index` of `count` equal pieces as progress of the whole."""
    return lambda share, words: progress((index + share) / count, words)
