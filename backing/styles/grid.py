"""Every style plays in every meter: patterns fitted to a meter they were not written for, and which to choose.

Conventions: a *beat* is a pulse of a meter (`timebase.Meter.pulses_q`); groups of four and more eighths are taken as
twos and threes, halves as two quarters. What a beat of a pattern becomes:

    quarter → quarter            as it is
    quarter → dotted quarter     off-beats fall on the third eighth; a line that runs evenly keeps its note value
    dotted quarter → quarter     triplets (6/8, 9/8 and 12/8 in meters of quarters)
    three eighths → two          eighths keep their value, one goes (7/8, 11/8 …)

Which beats of the pattern are taken: all of them where there are as many; bars of three take the first, a middle and
the last; longer bars join cells of two and three beats along the meter's groups, but a phrase's end keeps its last
beats together. In a meter with half as many beats a pattern runs over twice as many bars, each of which strikes its first note; and the other way round.
Source: common practice; the reading of unequal meters by groups follows what is written about aksak rhythm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from backing.ground.timebase import Meter
from backing.styles.beats import THREEFOLD, Kind, beats_of, joined_of
from backing.styles.cells import Beat, Line, Segment, join, take_apart
from backing.styles.model import Part, Pattern, Where

# A place in a quarter beat -> in a dotted-quarter beat, as parts of the beat.
_LONGER = {
    Fraction(0): Fraction(0),
    Fraction(1, 4): Fraction(1, 3),
    Fraction(1, 2): Fraction(2, 3),
    Fraction(3, 4): Fraction(5, 6),
    Fraction(1): Fraction(1),
}


@lru_cache(maxsize=4096)
def fit(pattern: Pattern, meter: Meter) -> Pattern:
    """The pattern in another meter: every bar filled exactly; name, level, place and weight stay.

    The number of bars changes where two bars of one make one bar of the other. Pure.
    """
    if pattern.meter == meter:
        return pattern
    plan = _plan(pattern, meter)
    lines = {name: _fitted(line, pattern, meter, plan) for name, line in pattern.lines.items()}
    return replace(pattern, meter=meter, bars=len(plan), lines=lines)


class Asked(NamedTuple):
    """What a bar asks of a pattern beside meter, level and place.

    `energy` and `side` of the clave are the bar's, `ideas` the band's, those for its place before the one that keeps
    time, `left` is the number of bars up to the end of the section, for what ends with it.
    """

    energy: str = ""
    ideas: tuple[str, ...] = ()
    side: str = ""
    left: int = 0

    def suits(self, pattern: Pattern) -> bool:
        """Whether a pattern, fitted to the bar's meter, may stand in such a bar."""
        if pattern.where is Where.BREAK and pattern.bars < self.left:
            return False
        return (
            (not pattern.idea or pattern.idea in self.ideas)
            and pattern.side in ("", self.side)
            and (not pattern.energies or self.energy in pattern.energies)
        )


@lru_cache(maxsize=4096)
def choices(
    patterns: tuple[Pattern, ...],
    meter: Meter,
    level: str,
    where: Where,
    asked: Asked | None = None,
) -> tuple[Pattern, ...]:
    """The patterns that serve a bar, fitted to its meter; never empty where there are any patterns, or any that suit.

    Those written for the meter come first, then those for the same figures in other groups, then those of as many
    beats, then those of the first meter. A place without patterns of its own is played as `time`; a level without any
    takes the nearest one. Of those that suit what is `asked` (None: anything does) those of the band's ideas come
    first, then those for the energy of the section.
    """
    if not patterns:
        return ()
    here = _for_meter(patterns, meter)
    if asked is not None:
        here = [p for p in here if asked.suits(fit(p, meter))]
    at = [p for p in here if p.where is where] or [p for p in here if p.where is Where.TIME]
    if asked is None:
        at = at or here
    else:
        for idea in asked.ideas:
            at = [p for p in at if p.idea == idea] or at
        at = [p for p in at if p.energies] or at
    for wanted in NEAREST[level]:
        found = [p for p in at if p.level == wanted]
        if found:
            return tuple(fit(p, meter) for p in found)
    return tuple(fit(p, meter) for p in at)


NEAREST = {"p": ("p", "mf", "f"), "mf": ("mf", "p", "f"), "f": ("f", "mf", "p")}


def part_choices(
    part: Part, meter: Meter, level: str, where: Where, asked: Asked | None = None
) -> tuple[Pattern, ...]:
    """`choices` of a player."""
    return choices(part.patterns, meter, level, where, asked)


def telling(meters: Sequence[Meter], meter: Meter) -> str:
    """What is done for a style written in `meters` when a chart is in `meter`, in words; "" when it is at home."""
    if meter in meters:
        return ""
    source = _nearest_meter(meters, meter)
    mine, theirs = len(beats_of(meter)), len(beats_of(source))
    if meter.name == source.name:
        return (
            f"its {source.full_name} patterns are regrouped as {'+'.join(map(str, meter.groups))}"
        )
    if mine == theirs:
        text = f"its {source.full_name} patterns are played beat by beat"
    elif mine * 2 == theirs:
        text = f"each bar of its {source.full_name} patterns fills two bars"
    elif theirs * 2 == mine:
        text = f"two bars of its {source.full_name} patterns fill one bar"
    elif mine == 3:
        text = f"its {source.full_name} patterns give their first, a middle and their last beat"
    else:
        text = f"beats of its {source.full_name} patterns are joined along the groups"
    if meter.compound and not source.compound:
        return text + ", off-beats on the third eighth"
    if source.compound and not meter.compound and not meter.counted_in_eighths:
        return text + ", in triplets"
    return text


def _for_meter(patterns: Sequence[Pattern], meter: Meter) -> list[Pattern]:
    source = _nearest_meter(
        [p.meter for p in patterns if p.where is Where.TIME] or [patterns[0].meter], meter
    )
    same = [p for p in patterns if p.meter == source]
    places = {p.where for p in same}
    return same + [
        p for p in patterns if p.meter == patterns[0].meter != source and p.where not in places
    ]


def _nearest_meter(meters: Sequence[Meter], meter: Meter) -> Meter:
    """The meter to fit from: the earliest in `meters` of the best kind."""

    def distance(other: Meter) -> int:
        mine, theirs = len(beats_of(meter)), len(beats_of(other))
        if other == meter:
            return 0
        if other.name == meter.name and not (other.compound or meter.compound):
            return 1
        if other.counted_in_eighths:
            return 5 if mine == theirs else 6
        if mine == theirs:
            return 2
        return 3 if mine in (2 * theirs, theirs // 2) and mine != 3 else 4

    return min(meters, key=distance)


Taken = tuple[int, int]  # bar and beat of the pattern


def _plan(pattern: Pattern, meter: Meter) -> list[list[Taken]]:
    """For every bar that is made, which beats of the pattern it takes."""
    theirs, mine = len(beats_of(pattern.meter)), len(beats_of(meter))
    bars = range(pattern.bars)
    whole = pattern.where not in (Where.PHRASE_END, Where.CLOSE)
    if mine == theirs:
        return [[(b, i) for i in range(mine)] for b in bars]
    if mine * 2 == theirs and mine != 1:
        halves = [[(b, i + h) for i in range(mine)] for b in bars for h in (0, mine)]
        if pattern.where is Where.OPENING:
            return halves[::2]
        return halves if whole else halves[1::2]
    if mine > theirs and not whole:
        return [_ending(pattern.bars - 1, theirs, mine)]
    if theirs * 2 == mine:
        pairs = (
            zip(bars[::2], bars[1::2], strict=True)
            if len(bars) % 2 == 0
            else zip(bars, bars, strict=True)
        )
        return [[(b, i) for b in pair for i in range(theirs)] for pair in pairs]
    return [_joined(b, theirs, joined_of(meter), whole) for b in bars]


def _ending(bar: int, theirs: int, mine: int) -> list[Taken]:
    """A whole bar of the pattern at the end, its first half as often as needed before."""
    before = [i % max(1, theirs // 2) for i in range(mine - theirs)]
    return [(bar, i) for i in (*before, *range(theirs))]


def _joined(bar: int, theirs: int, cells: Sequence[int], whole: bool) -> list[Taken]:
    """Beats of one bar of the pattern for cells of two, three and four beats in a row."""
    taken: list[int] = []
    for number, size in enumerate(cells):
        taken += _cell(theirs, size, first=number == 0)
    if not whole:
        taken[-1] = theirs - 1
    return [(bar, i) for i in taken]


# (beats of the pattern, beats of the cell): the beats taken by the first cell of a bar, and by a later one.
_CELLS: dict[tuple[int, int], tuple[tuple[int, ...], tuple[int, ...]]] = {
    (2, 1): ((0,), (1,)),
    (2, 2): ((0, 1), (0, 1)),
    (2, 3): ((0, 0, 1), (0, 0, 1)),
    (2, 4): ((0, 1, 0, 1), (0, 1, 0, 1)),
    (3, 1): ((0,), (2,)),
    (3, 2): ((0, 1), (0, 1)),
    (3, 3): ((0, 1, 2), (0, 1, 2)),
    (3, 4): ((0, 1, 0, 1), (0, 1, 0, 1)),
    (4, 1): ((0,), (3,)),
    (4, 2): ((0, 1), (2, 3)),
    (4, 3): ((0, 2, 3), (2, 2, 3)),
    (4, 4): ((0, 1, 2, 3), (0, 1, 2, 3)),
}  # fmt: skip


def _cell(theirs: int, size: int, *, first: bool) -> list[int]:
    known = _CELLS.get((theirs, size))
    if known:
        return list(known[0] if first else known[1])
    if theirs >= size:
        return list(range(size) if first else range(theirs - size, theirs))
    return [i if i < theirs else theirs - 1 - (i - theirs) % 2 for i in range(size)]


def _fitted(line: Line, pattern: Pattern, meter: Meter, plan: Sequence[Sequence[Taken]]) -> Line:
    source, target = beats_of(pattern.meter), beats_of(meter)
    beats = take_apart(line, [length for length, _ in source])
    flat = [segments for bar in beats for _, segments in bar]
    straight = not pattern.swung and not pattern.meter.compound
    runs = straight and 2 * sum(map(_even, flat)) >= len(flat)
    made = [
        [
            (length, _moved(beats[b][i][1], source[i][1], kind, straight, runs))
            for (b, i), (length, kind) in zip(bar, target, strict=True)
        ]
        for bar in plan
    ]
    if len(plan) == 2 * pattern.bars:
        made = _struck_anew(made)
    return join(made)


def _struck_anew(bars: Sequence[Sequence[Beat]]) -> list[list[Beat]]:
    """Bars cut in half strike again what the second half would only hold: it may be played without the first."""
    made: list[list[Beat]] = []
    sounds = "."
    for number, bar in enumerate(bars):
        length, segments = bar[0]
        start, end, mark = segments[0]
        if number % 2 and mark == "=" and sounds != ".":
            bar = [(length, ((start, end, sounds), *segments[1:])), *bar[1:]]
        made.append(list(bar))
        for _, row in bar:
            for _, _, mark in row:
                sounds = sounds if mark == "=" else mark
    return made


def _moved(
    segments: tuple[Segment, ...], was: Kind, becomes: Kind, straight: bool, runs: bool
) -> tuple[Segment, ...]:
    """The segments of a beat in a beat of another kind."""
    if becomes is Kind.ONE:
        return _first(segments, Fraction(1, 3 if was in THREEFOLD else 2))
    if was in THREEFOLD:
        if becomes in THREEFOLD or (was is Kind.COMPOUND and becomes is Kind.SIMPLE):
            return segments
        return _two_of_three(segments)
    if becomes not in THREEFOLD:
        return segments
    if straight and _even(segments) and (runs or len(segments) == 4):
        return _longer_row(segments)
    moved = ((_LONGER.get(a, a), _LONGER.get(b, b), mark) for a, b, mark in segments)
    return tuple((a, b, mark) for a, b, mark in moved if a < b)


def _first(segments: tuple[Segment, ...], share: Fraction) -> tuple[Segment, ...]:
    """The first part of a beat, stretched to be the whole."""
    return tuple((a / share, min(b, share) / share, mark) for a, b, mark in segments if a < share)


def _two_of_three(segments: tuple[Segment, ...]) -> tuple[Segment, ...]:
    """Three eighths as two: the second stroke of the beat is kept, wherever it stands."""
    third = Fraction(1, 3)
    if all((a / third).denominator == 1 for a, _, _ in segments):
        late = [(a, mark) for a, _, mark in segments if a > 0 and mark != "."]
        first = segments[0][2]
        if late:
            return (
                (Fraction(0), Fraction(1, 2), first),
                (Fraction(1, 2), Fraction(1), late[0][1]),
            )
    return _first(segments, 2 * third)


def _even(segments: tuple[Segment, ...]) -> bool:
    """True for two or four strokes of the same length and no gap."""
    count = len(segments)
    return count in (2, 4) and all(
        mark not in ".=" and b - a == Fraction(1, count) for a, b, mark in segments
    )


def _longer_row(segments: tuple[Segment, ...]) -> tuple[Segment, ...]:
    """An even row, half as long again in the same note value."""
    marks = [mark for _, _, mark in segments]
    if len(marks) == 4:
        marks += marks[2:]
    elif marks[0][0] in "dDuU":  # a strumming hand goes on down and up
        marks.append(_SOFTER.get(marks[0], marks[0]))
    elif marks[0] in "gxX":
        marks.append(marks[1])
    else:  # what leads on stays last
        marks.insert(1, marks[0].rstrip("!"))
    count = len(marks)
    return tuple((Fraction(i, count), Fraction(i + 1, count), m) for i, m in enumerate(marks))


_SOFTER = {"D": "d", "U": "u"}
