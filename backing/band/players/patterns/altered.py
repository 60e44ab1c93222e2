"""Patterns with a stroke more or less: what keeps a held figure alive, and one fill from being the other.

A hand leaves out a stroke off the beat or adds one behind a beat; accents, the figures of a clave or of two bars that
run on, and rows without a gap stay as they are. A fill that comes again lacks one of its strokes.

Conventions: as in `styles.model`; a changed pattern says so in its name. Source: common practice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from backing.band.players.common import Brief
from backing.band.players.patterns.lay import Chosen
from backing.band.players.patterns.traits import unbroken
from backing.ground.timebase import EIGHTH
from backing.styles.model import Cell, Pattern, Pulse, Where
from backing.timeline.model import TimeFeel

ALTERED, AT_AN_END = 0.15, 0.45  # chance in a bar, and in the last bar of a phrase
FEWEST, SPARSE = 4, 3  # strokes of a bar from which one may be left out, or added
MORE, LESS = ", a stroke more", ", a stroke less"

_SOFT = frozenset("xdug")  # marks of a chord that may be left out
_AFTER = {"x": "x", "d": "u", "D": "u"}  # mark: that of the stroke that may follow it
_BEAT = Fraction(3, 2)  # the longest pulse that is a beat

Bar = tuple[Pulse, ...]


class _Place(NamedTuple):
    """A stroke of a bar: its pulse, its place among that one's cells, and where it stands in the bar."""

    pulse: int
    cell: int
    at_q: Fraction


def one_more_or_less(brief: Brief, found: Sequence[Chosen | None]) -> list[Chosen | None]:
    """What stands in the bars of a section, now and then with a stroke added or left out, but not in two bars running."""
    if brief.style.repeats or brief.style.runs_on:
        return list(found)
    made: list[Chosen | None] = []
    for number, here in enumerate(found):
        plain = number > 0 and made[-1] is found[number - 1]
        if here is not None and plain and _may(brief, number, here):
            offers = _offers(here.pattern, here.bar % here.pattern.bars)
            if offers:
                pattern = brief.place.pick(offers, [1.0] * len(offers), "altered", number)
                here = here._replace(pattern=pattern)
        made.append(here)
    return made


def _may(brief: Brief, number: int, here: Chosen) -> bool:
    bar, pattern = brief.bars[number], here.pattern
    if pattern.where is not Where.TIME or pattern.idea or bar.time_feel is not TimeFeel.NORMAL:
        return False
    chance = AT_AN_END if brief.plans[number].phrase_end else ALTERED
    return brief.place.chance(chance, "alters", number)


@lru_cache(maxsize=2048)
def _offers(pattern: Pattern, bar: int) -> tuple[Pattern, ...]:
    """A pattern of one line with one of a bar's strokes left out, or with one more behind a beat."""
    if len(pattern.lines) > 1:
        return ()
    (name, bars), *_ = pattern.lines.items()
    pulses = bars[bar % len(bars)]
    places = list(_places(pulses))
    offers = []
    if len(places) >= FEWEST and not unbroken([p.at_q for p in places], pattern.meter.length_q):
        loose = [p for p in places[1:-1] if _loose(name, pulses, p)]
        offers += [_with(pattern, name, bar, _without(pulses, p), LESS) for p in loose]
    pulses_to_follow = range(len(pulses)) if len(places) >= SPARSE else ()
    added = (_followed(name, pulses, i) for i in pulses_to_follow)
    offers += [_with(pattern, name, bar, one, MORE) for one in added if one is not None]
    return tuple(offers)


def _places(pulses: Bar) -> Iterator[_Place]:
    start_q = Fraction(0)
    for i, pulse in enumerate(pulses):
        for j, cell in enumerate(pulse.cells):
            yield _Place(i, j, start_q + cell.at_q)
        start_q += pulse.length_q


def _loose(name: str, pulses: Bar, place: _Place) -> bool:
    """Whether a stroke off the beat may be left out: a soft one of the whole chord, or a degree of the bass."""
    cell = pulses[place.pulse].cells[place.cell]
    if cell.at_q == 0:
        return False
    return cell.mark in _SOFT if name == "chord" else cell.mark.lstrip("-b#").isdigit()


def _without(pulses: Bar, place: _Place) -> Bar:
    """A bar without a stroke; what sounded up to it goes on through it."""
    gone = pulses[place.pulse].cells[place.cell]
    kept: list[Pulse] = []
    start_q = Fraction(0)
    for i, pulse in enumerate(pulses):
        cells = []
        for j, cell in enumerate(pulse.cells):
            if (i, j) == place[:2]:
                continue
            reaches = start_q + cell.at_q + cell.length_q == place.at_q
            longer = gone.length_q if reaches else Fraction(0)
            cells.append(cell._replace(length_q=cell.length_q + longer))
        kept.append(pulse._replace(cells=tuple(cells)))
        start_q += pulse.length_q
    return tuple(kept)


def _followed(name: str, pulses: Bar, number: int) -> Bar | None:
    """A bar with one more stroke behind a beat that has but one; None where nothing may follow it."""
    pulse = pulses[number]
    if len(pulse.cells) != 1 or not 1 <= pulse.length_q <= _BEAT:
        return None
    (cell,) = pulse.cells
    mark = _AFTER.get(cell.mark) if name == "chord" else cell.mark.removesuffix("!")
    if name != "chord" and not cell.mark.lstrip("-b#").isdigit():
        return None
    if mark is None or cell.at_q or cell.length_q > pulse.length_q:
        return None
    at_q = pulse.length_q - EIGHTH
    first = cell._replace(length_q=min(cell.length_q, at_q))
    more = Cell(at_q, EIGHTH, mark)
    return (*pulses[:number], pulse._replace(cells=(first, more)), *pulses[number + 1 :])


def _with(pattern: Pattern, name: str, bar: int, pulses: Bar, words: str) -> Pattern:
    """A pattern with one of its bars played otherwise."""
    bars = pattern.lines[name]
    at = bar % len(bars)
    lines = {**pattern.lines, name: (*bars[:at], pulses, *bars[at + 1 :])}
    return replace(pattern, name=pattern.name + words, lines=lines)


@lru_cache(maxsize=512)
def without_one(pattern: Pattern, which: int) -> Pattern:
    """A fill without one of the strokes of its last bar, another one for each number; as it is where it has but one.

    Feet and cymbals go on as they do.
    """
    offers = [pattern]
    for name, bars in pattern.lines.items():
        places = list(_places(bars[-1])) if name not in _GO_ON else []
        for place in places[:-1]:
            pulses = _without(bars[-1], place)
            offers.append(_with(pattern, name, len(bars) - 1, pulses, LESS))
    return offers[which % len(offers)]


_GO_ON = frozenset(("kick", "pedal hat", "hat", "open hat", "ride", "bell", "crash"))
