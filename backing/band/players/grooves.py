"""Which pattern stands in which bar, and its strokes there.

Conventions: strokes count quarters from their bar line. A pattern of several bars is entered at the bar of the phrase
(with a clave: of the piece), so that it is never turned round by a section of odd length. A drummer keeps time on one
voice through a section and changes it with the section or the level; a player holds one idea for eight bars and answers
it now and then with a second one; no pattern fills three bars running where there is another one, unless the style
lives on repetition (common practice).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from backing.band.players.common import BarPlan, Brief, band
from backing.ground.timebase import Meter
from backing.styles.grid import choices
from backing.styles.model import Pattern, Where
from backing.timeline.model import PlayedBar, TimeFeel

HELD = 8  # bars for which an idea is held
STRAY = 0.3  # chance that a bar, or two for an idea of two, is played with the idea's answer


class Beat(NamedTuple):
    """One stroke of a pattern in a bar: place and length in quarters from the bar line, and its mark."""

    at_q: Fraction
    length_q: Fraction
    mark: str


Lines = Mapping[str, tuple[Beat, ...]]


class Chosen(NamedTuple):
    """The pattern of a bar, fitted to its meter, and which of its bars stands there."""

    pattern: Pattern
    bar: int

    @property
    def lines(self) -> Lines:
        return strokes(self.pattern, self.bar)


@lru_cache(maxsize=4096)
def strokes(pattern: Pattern, bar: int) -> Lines:
    """The strokes of one bar of a pattern, line by line."""
    lines: dict[str, tuple[Beat, ...]] = {}
    for name, line in pattern.lines.items():
        start = Fraction(0)
        beats: list[Beat] = []
        for pulse in line[bar % len(line)]:
            beats += [Beat(start + c.at_q, c.length_q, c.mark) for c in pulse.cells]
            start += pulse.length_q
        lines[name] = tuple(beats)
    return lines


def choose(brief: Brief, *, fills: bool = False) -> list[Chosen | None]:
    """The pattern of every bar of a section; None where the part has none.

    With `fills` the patterns for phrase ends stand where the plan asks for a fill, otherwise at every phrase end.
    """
    found: list[Chosen | None] = []
    clave = brief.style.clave is not None
    pools: dict[tuple[Meter, str, Where], tuple[Pattern, ...]] = {}
    for index, (bar, plan) in enumerate(zip(brief.bars, brief.plans, strict=True)):
        key = (bar.meter, band(plan.level), _where(plan, fills))
        pool = pools.get(key)
        if pool is None:
            pool = pools[key] = _pool(brief, *key)
        if not pool:
            found.append(None)
            continue
        before = found[-1] if found else None
        phase = _clave_bar(brief, bar) if clave else plan.phrase_bar
        if (
            before is not None
            and before.pattern.bars > 1
            and any(p is before.pattern for p in pool)
            and phase % before.pattern.bars == before.bar + 1
        ):
            found.append(Chosen(before.pattern, before.bar + 1))
            continue
        found.append(_pick(brief, index, plan, pool, phase, found))
    return found


def _pool(brief: Brief, meter: Meter, level: str, where: Where) -> tuple[Pattern, ...]:
    """What may stand at a place of this section: the patterns that keep time as its groove does.

    The groove is chosen for all playings of the section in a chorus or two; other places keep its cymbal where they can.
    """
    time = choices(brief.part.patterns, meter, level, Where.TIME)
    if brief.part.role == "bass" or not time:
        return choices(brief.part.patterns, meter, level, where)
    groove = timekeeping(brief.groove.pick(time, [p.weight for p in time], "groove", level))
    pool = choices(brief.part.patterns, meter, level, where)
    if any(p.where is Where.TIME for p in pool):
        return tuple(p for p in pool if groove.goes_with(timekeeping(p)))
    same = tuple(p for p in pool if timekeeping(p).voice in ("", groove.voice))
    return same or tuple(_kept_on(p, groove.voice) for p in pool)


@lru_cache(maxsize=1024)
def _kept_on(pattern: Pattern, voice: str) -> Pattern:
    """A fill with the time on the groove's own cymbal."""
    own = timekeeping(pattern).voice
    if {own, voice} != {"hat", "ride"} or voice in pattern.lines:
        return pattern
    return replace(pattern, lines={voice if n == own else n: v for n, v in pattern.lines.items()})


class Timekeeping(NamedTuple):
    """What a groove is known by: the voice that keeps time, how densely, and whether snare or rim answers."""

    voice: str
    density: int  # 0 up to the beats, 1 up to the eighths, 2 denser
    answer: str

    def goes_with(self, other: Timekeeping) -> bool:
        """Whether a drummer passes from one to the other without changing the groove."""
        same = self.voice == other.voice and self.density == other.density
        return same and (self.answer == other.answer or "" in (self.answer, other.answer))


TIMEKEEPERS = (
    "ride",
    "ride 2",
    "bell",
    "hat",
    "shaker",
    "cabasa",
    "maracas",
    "guiro",
    "tambourine",
)


@lru_cache(maxsize=4096)
def timekeeping(pattern: Pattern) -> Timekeeping:
    """The voice with most strokes among those that keep time, and what answers it."""
    counts = {
        name: sum(len(pulse.cells) for bar in line for pulse in bar)
        for name, line in pattern.lines.items()
    }
    marks = {
        name: sum(c.mark != "g" for bar in line for pulse in bar for c in pulse.cells)
        for name, line in pattern.lines.items()
    }
    voices = [v for v in TIMEKEEPERS if counts.get(v)]
    voice = max(voices, key=lambda v: counts[v], default="")
    beats = len(pattern.meter.pulses_q) * pattern.bars
    density = 0 if counts.get(voice, 0) <= beats else 1 if counts[voice] <= 2 * beats else 2
    rim, snare = marks.get("rim", 0), marks.get("snare", 0)
    return Timekeeping(
        voice, density, "" if not rim + snare else "rim" if rim >= snare else "snare"
    )


def _pick(
    brief: Brief,
    index: int,
    plan: BarPlan,
    pool: Sequence[Pattern],
    phase: int,
    found: Sequence[Chosen | None],
) -> Chosen:
    """The idea of these eight bars, or now and then the one that answers it."""
    weights = [p.weight for p in pool]
    if len(pool) == 1:
        return Chosen(pool[0], phase % pool[0].bars)
    place = brief.place
    phrases = (index - plan.phrase_bar) // HELD
    idea = place.pick(pool, weights, "idea", phrases, plan.phrase_end)
    rest = [(p, w) for p, w in zip(pool, weights, strict=True) if p is not idea]
    answer = place.pick([p for p, _ in rest], [w for _, w in rest], "answer", phrases)
    unit = max(idea.bars, answer.bars)
    stray = place.chance(STRAY, index - phase % unit, "stray")
    pattern = answer if stray else idea
    chosen = Chosen(pattern, phase % pattern.bars)
    if not brief.style.repeats and len(found) > 1 and chosen == found[-1] == found[-2]:
        other = idea if stray else answer
        chosen = Chosen(other, phase % other.bars)
    return chosen


def _where(plan: BarPlan, fills: bool) -> Where:
    if plan.close:
        return Where.CLOSE
    if plan.fill if fills else plan.phrase_end:
        return Where.PHRASE_END
    return Where.OPENING if plan.opening else Where.TIME


def _clave_bar(brief: Brief, bar: PlayedBar) -> int:
    """Which bar of a two-bar clave this is: 0 where the style's own clave begins. It runs on through all sections."""
    asked = bar.clave or brief.style.clave
    return bar.clave_half + (asked != brief.style.clave)


def in_feel(lines: Lines, bar: PlayedBar, held: Sequence[str] = ()) -> Lines:
    """Lines in the time feel of a bar: half time spreads half a bar over the whole, double time plays it twice.

    The lines named in `held` (a cymbal that keeps the subdivision) go on as they are in half time.
    """
    if bar.time_feel is TimeFeel.HALF:
        return {n: b if n in held else _spread(b, bar) for n, b in lines.items()}
    if bar.time_feel is TimeFeel.DOUBLE:
        return {n: _twice(b, bar.meter) for n, b in lines.items()}
    return lines


def _spread(beats: Sequence[Beat], bar: PlayedBar) -> tuple[Beat, ...]:
    middle = bar.meter.length_q / 2
    start = middle if bar.index % 2 == 0 else Fraction(0)
    return tuple(
        Beat((b.at_q - start) * 2, b.length_q * 2, b.mark)
        for b in beats
        if start <= b.at_q < start + middle
    )


def _twice(beats: Sequence[Beat], meter: Meter) -> tuple[Beat, ...]:
    middle = meter.length_q / 2
    once = [Beat(b.at_q / 2, b.length_q / 2, b.mark) for b in beats]
    return tuple(once + [Beat(b.at_q + middle, b.length_q, b.mark) for b in once])
