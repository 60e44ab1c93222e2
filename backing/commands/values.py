"""Option values, read from text.

Conventions: lengths in seconds, bars by the number on the sheet, percentages as fractions of the written tempo. A
reader of a text that is no value raises `RequestError` with what to type instead; the caller puts the option in front.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from backing.ground.errors import RequestError
from backing.ground.levels import HIGHEST_DB, LOWEST_DB, Levels
from backing.ground.manners import CHORD_MELODIES, OFF
from backing.ground.pitch import Key
from backing.ground.roles import PLAYERS, ROLES, in_score_order
from backing.ground.source import nearest

if TYPE_CHECKING:
    from backing.chart.ast import Ending

CLICKS = ("off", "beats", "backbeat", "downbeat", "eighths", "triplets", "offbeats", "groups")
TRANSPOSING = ("Bb", "Eb", "F")  # instruments that a sheet can be written for
PAPERS = ("a4", "letter")
GRIPS = ("foot", "above")  # where a sheet has its grips; the first is meant by --grips alone
STEM_KINDS = ("wav", "flac", "ogg", "mp3", "m4a")
ENDINGS = ("ring", "short", "tag", "rit", "fade 4", "as written")
MIN_PERCENT, MAX_PERCENT = 10, 400


def near(word: str, names: Sequence[str]) -> str:
    """` Did you mean …?` for a near name, otherwise nothing."""
    found = nearest(word, names)
    return f" Did you mean {found!r}?" if found else ""


def tempo(text: str) -> tuple[Fraction | None, Fraction | None]:
    """`96` is (96, None), `75%` is (None, 3/4)."""
    found = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,3})?)\s*(%?)\s*", text)
    if not found or not Fraction(found[1]):
        raise RequestError("write beats a minute or a percentage, such as 96 or 75%")
    value = Fraction(found[1])
    if found[2]:
        if not MIN_PERCENT <= value <= MAX_PERCENT:
            raise RequestError(f"a percentage from {MIN_PERCENT}% to {MAX_PERCENT}%")
        return None, value / 100
    return value, None


def key(text: str) -> Key:
    """`Eb`, `F# minor`, `Cm`."""
    try:
        return Key.parse(text)
    except ValueError:
        raise RequestError("write a key such as Eb, F# minor or Cm") from None


def bars(text: str) -> tuple[int, int]:
    """`9-16` or `9`: the first and the last bar number of the sheet."""
    found = re.fullmatch(r"\s*(\d{1,5})(?:\s*[-–]\s*(\d{1,5}))?\s*", text)
    if not found or (found[2] and int(found[2]) < int(found[1])):
        raise RequestError("write the first and the last bar, such as 9-16")
    return int(found[1]), int(found[2] or found[1])


def length(text: str) -> float:
    """`10:00`, `1:30:00` or seconds."""
    found = re.fullmatch(r"\s*(?:(?:(\d+):)?(\d+):)?(\d+(?:\.\d+)?)\s*", text)
    seconds = 0.0
    if found:
        seconds = int(found[1] or 0) * 3600 + int(found[2] or 0) * 60 + float(found[3])
    if not 0 < seconds <= 4 * 3600:
        raise RequestError("write minutes and seconds, such as 10:00 (at most 4 hours)")
    return seconds


def count_in(text: str) -> int:
    """Bars, or `off`."""
    if text.strip().lower() in ("off", "none", "no"):
        return 0
    if not re.fullmatch(r"\s*\d\s*", text):
        raise RequestError("write a number of bars up to 9, or off")
    return int(text)


def ending(text: str) -> Ending:
    """The words of the chart's `ending` setting."""
    from backing.chart.ast import Ending, EndingKind  # loads the symbols of chords

    typed = " ".join(text.lower().split())
    fade = re.fullmatch(r"fade(?: (\d{1,2}))?", typed)
    if fade and fade[1] != "0":
        return Ending(EndingKind.FADE, int(fade[1] or 4))
    for kind in EndingKind:
        if kind is not EndingKind.FADE and kind.value == typed:
            return Ending(kind)
    raise RequestError(f"choose one of {', '.join(ENDINGS)}.{near(typed, ENDINGS)}")


def roles(text: str) -> tuple[str, ...]:
    """Players by role; `bass,drums` counts as two."""
    found = [role.strip().lower() for role in text.split(",") if role.strip()]
    for role in found:
        if role not in PLAYERS:
            raise RequestError(
                f"there is no such player; choose among {', '.join(ROLES)}.{near(role, ROLES)}"
            )
    return in_score_order(found)


def levels(text: str) -> Levels:
    """`bass=-3` or `bass=-3,drums=2`: players with the dB by which they are louder or softer than the style has them."""
    found = []
    for item in filter(None, map(str.strip, text.split(","))):
        role, equals, figure = item.partition("=")
        if not equals:
            raise RequestError(
                "write a player and by how many dB it is louder or softer, such as bass=-3"
            )
        (player,) = roles(role) or roles("?")
        found.append((player, number(LOWEST_DB, HIGHEST_DB)(figure)))
    if not found:
        raise RequestError(
            "write a player and by how many dB it is louder or softer, such as bass=-3"
        )
    return tuple(found)


def words(text: str) -> str:
    """Any words."""
    return text


def name(text: str) -> tuple[str, ...]:
    """One name of several."""
    return (text,)


def flag(text: str) -> bool:
    """A flag that is there is true."""
    return bool(text)


def grips(text: str) -> str:
    """Where grips stand; in Python `True` is as `--grips` alone."""
    return GRIPS[0] if text == str(True) else choice(*GRIPS)(text)


def path(text: str) -> Path:
    """A file."""
    return Path(text)


def whole(low: int, high: int) -> Callable[[str], int]:
    """A whole number inside its limits."""

    def read(text: str) -> int:
        if not re.fullmatch(r"\s*[-+]?\d{1,18}\s*", text) or not low <= int(text) <= high:
            raise RequestError(f"choose a number from {low} to {high}")
        return int(text)

    return read


def number(low: float, high: float) -> Callable[[str], float]:
    """A number inside its limits."""

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise RequestError(f"choose a number from {low:g} to {high:g}")
        return value

    return read


def choice(*choices: str) -> Callable[[str], str]:
    """One of a few words."""

    def read(text: str) -> str:
        found = {word.lower(): word for word in choices}.get(text.strip().lower())
        if found is None:
            raise RequestError(f"choose one of {', '.join(choices)}.{near(text, choices)}")
        return found

    return read


def chord_melody(text: str) -> str:
    """How full a solo guitar plays; `off` for none."""
    found = choice(*CHORD_MELODIES, OFF)(text)
    return "" if found == OFF else found


def parts(text: str) -> tuple[str, ...]:
    """Players whose parts are wanted; `all` for the score."""
    return ("all",) if text.strip().lower() == "all" else roles(text)


def bits(text: str) -> int:
    """Bits a sample."""
    return int(choice("16", "24")(text))


def seed(text: str) -> int:
    """Any whole number."""
    if not re.fullmatch(r"\s*[-+]?\d{1,18}\s*", text):
        raise RequestError("write a whole number, such as 7")
    return int(text)
