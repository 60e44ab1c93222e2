"""A player's settings, with the usual value where a style says nothing."""

from __future__ import annotations

from backing.styles.algorithms import ALGORITHMS
from backing.styles.model import Part


def number(part: Part, algorithm: str, name: str) -> float:
    """A setting of kind "number"."""
    value = part.settings.get(name, ALGORITHMS[part.kind.name][algorithm].settings[name].default)
    return float(value) if isinstance(value, (int, float)) else 0.0


def word(part: Part, algorithm: str, name: str) -> str:
    """A setting of kind "choice"."""
    return str(
        part.settings.get(name, ALGORITHMS[part.kind.name][algorithm].settings[name].default)
    )
