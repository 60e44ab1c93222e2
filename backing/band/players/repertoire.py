"""Which pattern a chordal player takes in each bar, and the strokes of a bar of it.

Conventions: places and lengths in quarters from the bar line. A pattern of several bars runs with the bars of its
phrase, or of the clave, so that neither is ever turned round; a bar in half time holds half a bar of the pattern, one in
double time two.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import chain

from backing.band.players.common import BarPlan, Brief, band
from backing.ground.timebase import EIGHTH, Meter
from backing.styles.grid import part_choices
from backing.styles.model import Pattern, Style, Where
from backing.timeline.model import PlayedBar, TimeFeel

FOLLOWS = 0.3  # who may do less than this leaves room for another
HELD = 8  # bars for which the answer to an idea is held


def where(plan: BarPlan) -> Where:
    """The place that a bar's patterns are for."""
    if plan.close:
        return Where.CLOSE
    if plan.opening:
        return Where.OPENING
    return Where.PHRASE_END if plan.phrase_end else Where.TIME


def _strokes(pattern: Pattern) -> int:
    return sum(len(p.cells) for line in pattern.lines.values() for bar in line for p in bar)


def chosen(brief: Brief) -> list[tuple[Pattern, int] | None]:
    """For every bar a pattern and which of its bars is played; None where the part has no patterns.

    In the swung styles that add colours, chance and weight choose bar by bar, and nearness to the wanted density helps;
    every other groove holds one idea and answers it in the third bar of a phrase. A pattern of several bars is
    finished, and always begun on the grid of its bars. Neither a pattern nor the rhythm of a bar comes three times
    running, unless the style is one that `repeats`: where its own level has nothing else, a pattern of another level is
    taken.
    """
    made: list[tuple[Pattern, int] | None] = []
    kept: dict[object, tuple[Pattern, ...]] = {}
    names: list[str] = []
    bars: list[object] = []
    current: Pattern | None = None
    came: object = None
    held = holds_ideas(brief.style)
    for number, (bar, plan) in enumerate(zip(brief.bars, brief.plans, strict=True)):
        key = (bar.meter, band(plan.level), where(plan), plan.busy < FOLLOWS)
        options = kept.get(key)
        if options is None:
            options = kept[key] = _in_hand(brief, *key)
        if not options:
            made.append(None)
            continue
        phase = _phase(brief, bar, plan)
        last = key[2] is Where.PHRASE_END and brief.style.clave is None
        if current is None or phase % current.bars == 0 or key != came:
            fresh = options
            if not brief.style.repeats:
                for offer in chain([options], _others(brief, key, technique(options[0]))):
                    fresh = _fresh(offer, phase, last, names, bars)
                    if fresh:
                        break
            if held:
                current = _idea(brief, options, fresh or options, number, plan)
            else:
                current = _choice(brief, fresh or options, plan.busy, number)
            names.append(current.name)
        came = key
        index = _index(current, phase, last)
        made.append((current, index))
        bars.append(_rhythm(current, index))
    return made


def holds_ideas(style: Style) -> bool:
    """Whether comping keeps to an idea: all but the styles in swung eighths that add colours."""
    return not style.colour or style.feel.straight or style.feel.unit_q != EIGHTH


def leader(style: Style) -> str:
    """Who of keys and guitar always leads: whose patterns are clearly denser; "" where neither's are."""
    counts = {}
    for role in ("keys", "guitar"):
        part = style.part(role)
        time = part_choices(part, style.meters[0], "mf", Where.TIME) if part else ()
        if time:
            counts[role] = sum(_strokes(p) / p.bars for p in time) / len(time)
    if len(counts) < 2 or not holds_ideas(style):
        return ""
    more, less = sorted(counts, key=lambda role: -counts[role])
    return more if counts[more] >= 1.2 * counts[less] else ""


def _in_hand(
    brief: Brief, meter: Meter, level: str, place: Where, follows: bool
) -> tuple[Pattern, ...]:
    """The patterns of a place in the section's own technique, where there are such; who follows takes the sparse ones."""
    options = part_choices(brief.part, meter, level, place)
    time = part_choices(brief.part, meter, level, Where.TIME)
    if not time or brief.style.repeats:
        return options
    if follows:
        whole = tuple(p for p in time if technique(p) != "picked")
        time = _sparse(whole or time)
        if place is Where.TIME:
            options = time
    wanted = technique(brief.groove.pick(time, [p.weight for p in time], "technique", level))
    return tuple(p for p in options if technique(p) == wanted) or options


def held_back(brief: Brief, pattern: Pattern, plan: BarPlan) -> bool:
    """Whether a chord is held in place of a pattern: who follows breaks no chords while another player leads."""
    follows = plan.busy < FOLLOWS and brief.style.clave is None and not brief.style.repeats
    return follows and technique(pattern) == "picked" and _begins_alone(pattern)


@lru_cache(maxsize=4096)
def _begins_alone(pattern: Pattern) -> bool:
    """Whether the first stroke of the chord is a single voice."""
    marks = (c.mark for bar in pattern.lines["chord"] for pulse in bar for c in pulse.cells)
    return next(marks, "x").isdigit()


def _sparse(patterns: tuple[Pattern, ...]) -> tuple[Pattern, ...]:
    """The half with the fewest strokes, two at least."""
    counts = sorted(_strokes(p) / p.bars for p in patterns)
    most = counts[min(len(counts) - 1, max(1, (len(counts) - 1) // 2))]
    return tuple(p for p in patterns if _strokes(p) / p.bars <= most)


@lru_cache(maxsize=4096)
def technique(pattern: Pattern) -> str:
    """Picked or broken, strummed, or struck whole: what a hand does not change from bar to bar."""
    marks = [c.mark for bar in pattern.lines.get("chord", ()) for pulse in bar for c in pulse.cells]
    picked = sum(mark.isdigit() for mark in marks)
    if picked and 2 * picked >= len(marks):
        return "picked"
    return "strummed" if any(mark in "dDuUm" for mark in marks) else "struck"


def _phase(brief: Brief, bar: PlayedBar, plan: BarPlan) -> int:
    """Where a bar stands in a row of bars: of the clave where there is one, otherwise of its phrase."""
    if brief.style.clave is None:
        return plan.phrase_bar
    asked = bar.clave or brief.style.clave
    return bar.clave_half + (asked != brief.style.clave)


def _idea(
    brief: Brief,
    options: tuple[Pattern, ...],
    fresh: tuple[Pattern, ...],
    number: int,
    plan: BarPlan,
) -> Pattern:
    """The idea that the section holds, the one that answers it, or where neither may come, another."""
    idea = _choice(brief._replace(place=brief.groove), options, plan.busy, "idea")
    rest = tuple(p for p in options if p is not idea)
    wanted = [idea]
    if rest:
        phrases = (number - plan.phrase_bar) // HELD
        answer = _choice(brief, rest, plan.busy, "answer", phrases)
        wanted.insert(0 if plan.phrase_bar % 4 == 2 and not brief.style.repeats else 1, answer)
    for pattern in wanted:
        if any(p is pattern for p in fresh):
            return pattern
    return _choice(brief, fresh, plan.busy, number)


def _index(pattern: Pattern, phase: int, last: bool) -> int:
    """Which bar of a pattern stands in a bar of the section; a phrase ends with its last."""
    return pattern.bars - 1 if last else phase % pattern.bars


def _others(
    brief: Brief, key: tuple[Meter, str, Where, bool], wanted: str
) -> Iterator[tuple[Pattern, ...]]:
    """The patterns of the other levels, those of the same technique first."""
    meter, level, place, _ = key
    found = [
        p
        for other in ("mf", "p", "f")
        if other != level
        for p in part_choices(brief.part, meter, other, place)
    ]
    if key[3]:  # more of the level's own for one who follows
        yield tuple(
            p for p in part_choices(brief.part, meter, level, place) if not _begins_alone(p)
        )
    yield tuple(p for p in found if technique(p) == wanted)
    yield tuple(found)


_QUIET = {"X": "x", "g": "x", "D": "d", "U": "u"}


def _rhythm(pattern: Pattern, index: int) -> object:
    """What is heard of a bar, loudness apart."""
    return tuple(
        (at_q, length_q, _QUIET.get(mark, mark))
        for line in pattern.lines
        for at_q, length_q, mark in _flat(pattern, line, index)
    )


def _fresh(
    options: tuple[Pattern, ...],
    number: int,
    last: bool,
    names: Sequence[str],
    bars: Sequence[object],
) -> tuple[Pattern, ...]:
    """Those that would make nothing come a third time running."""
    if len(names) > 1 and names[-1] == names[-2]:
        options = tuple(p for p in options if p.name != names[-1])
    if len(bars) > 1 and bars[-1] == bars[-2]:
        options = tuple(p for p in options if _rhythm(p, _index(p, number, last)) != bars[-1])
    return options


def _choice(brief: Brief, options: tuple[Pattern, ...], busy: float, *decision: object) -> Pattern:
    """One of some patterns by weight, and by how near it comes to the wanted density."""
    if len(options) == 1:
        return options[0]
    counts = [_strokes(p) / p.bars for p in options]
    most, least = max(counts), min(counts)
    weights = []
    for pattern, count in zip(options, counts, strict=True):
        density = 0.5 if most == least else (count - least) / (most - least)
        weights.append(pattern.weight * max(0.15, 1.25 - 1.2 * abs(density - busy)))
    return brief.place.pick(options, weights, "pattern", *decision)


def thinned(mark: str, at_q: Fraction, busy: float) -> bool:
    """Whether a player asked to do less leaves this stroke out."""
    if mark == "g":
        return busy < 0.35
    return busy < 0.2 and mark in "xum" and at_q.denominator > 1


def cells(
    bar: PlayedBar, pattern: Pattern, line: str, index: int, number: int
) -> Iterator[tuple[Fraction, Fraction, str]]:
    """Strokes of a bar of a pattern, in quarters from the bar line, as the time felt and a pickup's length have it."""
    length = bar.meter.length_q
    if bar.time_feel is TimeFeel.HALF:
        half = number % 2 * length
        for at_q, long_q, mark in _flat(pattern, line, index):
            if half <= at_q * 2 < half + length:
                yield at_q * 2 - half, long_q * 2, mark
        return
    if bar.time_feel is TimeFeel.DOUBLE:
        for second in (0, 1):
            for at_q, long_q, mark in _flat(pattern, line, (index + second) % pattern.bars):
                yield at_q / 2 + second * length / 2, long_q / 2, mark
        return
    if bar.length_q < length:
        cut = length - bar.length_q
        for at_q, long_q, mark in _flat(pattern, line, index):
            if at_q >= cut:
                yield at_q - cut, long_q, mark
        return
    yield from _flat(pattern, line, index)


_FLAT: dict[tuple[int, str, int], tuple[Pattern, tuple[tuple[Fraction, Fraction, str], ...]]] = {}


def _flat(pattern: Pattern, line: str, index: int) -> tuple[tuple[Fraction, Fraction, str], ...]:
    """Cells of a bar from its bar line; kept by identity, since patterns are compared cell by cell."""
    key = (id(pattern), line, index)
    known = _FLAT.get(key)
    if known is not None and known[0] is pattern:
        return known[1]
    found, at = [], Fraction(0)
    for pulse in pattern.lines[line][index]:
        found += [(at + c.at_q, c.length_q, c.mark) for c in pulse.cells]
        at += pulse.length_q
    if len(_FLAT) > 4096:
        _FLAT.clear()
    _FLAT[key] = (pattern, tuple(found))
    return _FLAT[key][1]
