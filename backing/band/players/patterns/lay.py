"""A pattern laid into a bar: its strokes, in the time feel of the bar, as far as the bar has room for them.

Conventions: places and lengths in quarters from the bar line of a full bar; a shorter bar (a pickup) has the end of
them. In half time a bar holds half a bar of the pattern, in double time two bars, one after the other.
Source: common practice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from backing.band.players.common import Brief, Marks
from backing.styles.model import Pattern
from backing.timeline.model import PlayedBar, TimeFeel


class Beat(NamedTuple):
    """One stroke of a pattern in a bar: place and length in quarters from the bar line, and its mark."""

    at_q: Fraction
    length_q: Fraction
    mark: str


Lines = Mapping[str, tuple[Beat, ...]]


class Chosen(NamedTuple):
    """What stands in a bar: a pattern fitted to its meter, which of its bars, and in half time which half of that.

    `into` are marks by line that the pattern before it leads to, on the first beat of the bar.
    """

    pattern: Pattern
    bar: int
    half: int = 0
    into: Marks = ()


def leads_to(chosen: Chosen, bar: PlayedBar) -> Marks:
    """What a pattern leads to on the first beat of the next bar, where it ends with this one."""
    bars = chosen.pattern.bars
    reached = chosen.bar % bars + (bar.time_feel is TimeFeel.DOUBLE)
    ends = reached == bars - 1 and (bar.time_feel is not TimeFeel.HALF or chosen.half == 1)
    return tuple(chosen.pattern.into.items()) if ends else ()


@lru_cache(maxsize=4096)
def strokes(pattern: Pattern, bar: int) -> Lines:
    """The strokes of one bar of a pattern, line by line; behind its last bar it begins again."""
    lines: dict[str, tuple[Beat, ...]] = {}
    for name, line in pattern.lines.items():
        start = Fraction(0)
        beats: list[Beat] = []
        for pulse in line[bar % len(line)]:
            beats += [Beat(start + c.at_q, c.length_q, c.mark) for c in pulse.cells]
            start += pulse.length_q
        lines[name] = tuple(beats)
    return lines


def laid(chosen: Chosen, bar: PlayedBar, steady: Sequence[str] = ()) -> Lines:
    """The strokes of a bar, line by line, as its time feel and its length have them.

    `steady` lines (a cymbal that keeps the subdivision) go on in half time as they are.
    """
    lines = strokes(chosen.pattern, chosen.bar)
    middle_q = bar.meter.length_q / 2
    if bar.time_feel is TimeFeel.HALF:
        start_q = middle_q * chosen.half
        lines = {n: b if n in steady else _spread(b, start_q, middle_q) for n, b in lines.items()}
    elif bar.time_feel is TimeFeel.DOUBLE:
        after = strokes(chosen.pattern, chosen.bar + 1)
        lines = {
            n: _pressed(b, Fraction(0)) + _pressed(after[n], middle_q) for n, b in lines.items()
        }
    cut_q = bar.meter.length_q - bar.length_q
    if cut_q > 0:
        lines = {n: tuple(beat for beat in b if beat.at_q >= cut_q) for n, b in lines.items()}
    if chosen.into:
        lines = {**lines, **{n: _called(lines.get(n, ()), mark, bar) for n, mark in chosen.into}}
    return lines


def _called(beats: Sequence[Beat], mark: str, bar: PlayedBar) -> tuple[Beat, ...]:
    """The strokes of a line with the one that the bar before led to on the first beat."""
    rest = tuple(beat for beat in beats if beat.at_q > 0)
    length_q = min([bar.meter.pulses_q[0], *(beat.at_q for beat in rest)])
    return (Beat(Fraction(0), length_q, mark), *rest)


def _spread(beats: Sequence[Beat], start_q: Fraction, length_q: Fraction) -> tuple[Beat, ...]:
    """Half a bar at half the speed."""
    return tuple(
        Beat((b.at_q - start_q) * 2, b.length_q * 2, b.mark)
        for b in beats
        if start_q <= b.at_q < start_q + length_q
    )


def _pressed(beats: Sequence[Beat], start_q: Fraction) -> tuple[Beat, ...]:
    """A whole bar at twice the speed, from a place on."""
    return tuple(Beat(start_q + b.at_q / 2, b.length_q / 2, b.mark) for b in beats)


def vary_of(brief: Brief, chosen: Chosen | None, loops: bool = True) -> float:
    """The chance that a bar is changed a little: the pattern's, or else the player's; none where `loops` stand still.

    Nor is there one in an idea of the whole band.
    """
    if chosen is not None and chosen.pattern.vary is not None:
        return chosen.pattern.vary
    if chosen is not None and chosen.pattern.idea:
        return 0.0
    return 0.0 if loops and brief.style.repeats else brief.part.number("vary")


def soft_ones(brief: Brief, number: int, chosen: Chosen) -> bool:
    """Whether the soft strokes of a pattern are played in a bar of the section."""
    ghosts = chosen.pattern.ghosts
    return ghosts == 1 or brief.place.at(number).chance(ghosts, "ghosts")
