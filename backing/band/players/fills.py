"""Fills and set-ups on the drums, made from small sticking cells that fit any meter.

Conventions: strokes count quarters from the bar line; `force` multiplies the velocity of the level. A fill grows
towards its end, stays on the snare or travels down the toms, and never sounds into a stop or a break (the plan sees to
that). Source: lengths of a beat, half a bar and a bar, from sparse to dense with the level, and a pick-up on snare and
toms in the space before a hit: common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from backing.band.model import Kind, Why
from backing.band.players.pulses import beats
from backing.ground.dice import Place
from backing.ground.timebase import Meter

APART = 4  # fills after which one may come again: sixteen bars of sections of four
TRIES = 24
LEVELS = 0.5  # steps of loudness in which made-up fills differ


class Hit(NamedTuple):
    """One stroke: place from the bar line, drum, and how much louder than the level."""

    at_q: Fraction
    drum: str
    force: float
    why: Why


# Sticking for one beat, by kind of beat, from sparse to dense; `x` stroke, `X` accent, `.` nothing.
_CELLS: dict[str, tuple[str, ...]] = {
    "straight": ("xx", "x.xx", "xx.x", "Xxxx", "xxxx"),
    "swung": ("xx", ".x", "x.x", "xxx", "Xxx"),
    "dotted": ("x.x", "xxx", "Xxx", "x.xxxx", "xxxxxx"),
    "short": ("x", "x", "xx", "xx", "xx"),
}
# Where a fill travels: the drum of each stroke by its place in the fill, from first to last.
_WAYS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("toms", "round the toms", ("snare", "high tom", "mid tom", "floor tom")),
    ("toms", "down the toms", ("high tom", "mid tom", "floor tom")),
    ("toms", "snare and floor tom", ("snare", "snare", "floor tom")),
    ("snare", "on the snare", ("snare",)),
)  # fmt: skip
_KITS = {"toms": ("toms", "snare"), "snare": ("snare",), "toms alone": ("toms",)}
_COUNTS = ("", "one beat", "two beats", "three beats", "four beats", "five beats", "six beats")


def fresh_fill(
    meter: Meter, level: float, swung: bool, kit: str, key: tuple[object, ...], number: int
) -> tuple[Hit, ...]:
    """The fill of a track (its `key`) with that number, from 0, unlike the `APART` ones before it."""
    step = round(level / LEVELS) * LEVELS
    for earlier in range(max(0, number - APART), number):
        _numbered(meter, step, swung, kit, key, earlier)
    return _numbered(meter, step, swung, kit, key, number)


@lru_cache(maxsize=2048)
def _numbered(
    meter: Meter, level: float, swung: bool, kit: str, key: tuple[object, ...], number: int
) -> tuple[Hit, ...]:
    lately = [
        _shape(_numbered(meter, level, swung, kit, key, earlier))
        for earlier in range(max(0, number - APART), number)
    ]
    place = Place((*key, "fill", number))
    tries = (fill(meter, level, swung, kit, place.at(n)) for n in range(TRIES))
    return next(
        (made for made in tries if _shape(made) not in lately),
        fill(meter, level, swung, kit, place),
    )


def _shape(made: Sequence[Hit]) -> frozenset[tuple[Fraction, str]]:
    return frozenset((hit.at_q, hit.drum) for hit in made)


def fill(meter: Meter, level: float, swung: bool, kit: str, place: Place) -> tuple[Hit, ...]:
    """A fill at the end of a bar; the time-keeping rests from its first stroke on.

    `kit` is "toms", "snare" for fills that stay on the snare, or "toms alone" for those that leave it. Longer and denser with the level (0 to 5).
    """
    starts = [s for s, _ in beats(meter)]
    count = len(starts)
    lengths = sorted({1, max(1, count // 2), count})
    weights = [(4.0, 2.5, 0.8), (1.0, 3.0, 1.5), (0.2, 1.6, 3.0)]
    by_length = [w[min(2, int(level / 1.7))] for w in weights][: len(lengths)]
    beats_long = place.pick(lengths, by_length, "fill length")
    ways = [w for w in _WAYS if w[0] in _KITS[kit]]
    _, words, route = place.pick(ways, [1.0] * len(ways), "fill way")
    first = count - beats_long
    strokes: list[tuple[Fraction, bool]] = []
    for index in range(first, count):
        start = starts[index]
        end = starts[index + 1] if index + 1 < count else meter.length_q
        strokes += _cell(start, end - start, level, swung, place, index)
    if not strokes:
        strokes = [(starts[-1], True)]
    spoken = _COUNTS[beats_long] if beats_long < len(_COUNTS) else f"{beats_long} beats"
    why = Why(Kind.FILL, f"fill: {spoken} {words}")
    made = []
    for number, (at, accent) in enumerate(strokes):
        share = number / max(1, len(strokes) - 1)
        drum = route[min(len(route) - 1, int(share * len(route)))]
        force = 0.82 + 0.28 * share + (0.1 if accent else 0.0)
        made.append(Hit(at, drum, force, why))
    return tuple(made)


def _cell(
    start: Fraction, length: Fraction, level: float, swung: bool, place: Place, index: int
) -> list[tuple[Fraction, bool]]:
    """The strokes of one beat, with whether each is accented."""
    if length < 1:
        kind = "short"
    elif length == Fraction(3, 2):
        kind = "dotted"
    else:
        kind = "swung" if swung else "straight"
    middle = level / 5 * 4
    cells = _CELLS[kind]
    weights = [1 / (0.4 + abs(i - middle)) for i in range(len(cells))]
    text = place.pick(cells, weights, "fill cell", index)
    part = length / len(text)
    return [(start + part * i, mark == "X") for i, mark in enumerate(text) if mark != "."]


def set_up(at_q: Fraction, room_q: Fraction, level: float, starts: Sequence[Fraction]) -> list[Hit]:
    """A pick-up into a hit: the beat before a hit off the beat, the eighths before one on it.

    `room_q` is the time free before the hit; `starts` are the beats near it, all in the same count.
    """
    why = Why(Kind.SET_UP, "set-up before the hit")
    eighth = Fraction(1, 2)
    on_beat = at_q in starts
    made: list[Hit] = []
    if on_beat and room_q >= eighth:
        made.append(Hit(at_q - eighth, "snare", 0.9, why))
        if level >= 3.75 and room_q >= 2 * eighth:
            made.insert(0, Hit(at_q - 2 * eighth, "high tom", 0.85, why))
    elif not on_beat:
        before = max((s for s in starts if s < at_q), default=None)
        if before is not None and at_q - before <= room_q:
            made.append(Hit(before, "snare", 0.95, why))
            made.append(Hit(before, "kick", 0.85, why))
            if level >= 3.75 and room_q - (at_q - before) >= eighth:
                made.insert(0, Hit(before - eighth, "floor tom", 0.85, why))
    return made
