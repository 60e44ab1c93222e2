"""One form becomes a series of passes to practise with: tempos, keys in turn, repeated parts, gaps.

Conventions: every pass is a timeline of its own, with a count-in, to be arranged and played anew at its tempo; nothing
is stretched. Percentages are of the tempo written, beats a minute are counted as the chart counts them, at the start. A gap counts full bars from the start of each pass. Sources: slow
first, then faster by small steps, common practice; a long session wants breaks, and loud headphones harm.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate

from backing.ground.errors import RequestError
from backing.ground.pitch import Key
from backing.harmony.spelling import interval_for_semitones, interval_to_key
from backing.timeline.model import Timeline
from backing.timeline.reshape import at_tempo, counted_bpm, slice_bars, transposed

__all__ = [
    "Gap",
    "Ladder",
    "Pass",
    "Plan",
    "at_tempo",
    "counted_bpm",
    "passes",
    "read_gap",
    "read_ladder",
    "read_plan",
    "read_through",
    "sample_starts",
    "slice_bars",
    "transposed",
]

ALTERNATE = "alternate"
LOW_PERCENT, HIGH_PERCENT = 10, 400
LOW_BPM, HIGH_BPM = 20, 400
PASSES_MAX = 500
TIMES_MAX = 50
BREATH_BARS = 1  # of count-in before a pass at a tempo and in a key that were heard before
GAP_PLAYS = {
    "nothing": frozenset[str](),
    "click": frozenset({"click"}),
    "drums": frozenset({"drums"}),
}


@dataclass(frozen=True, slots=True)
class Ladder:
    """Tempos in percent, in order, with `bpm` in beats a minute; `alternating` goes through all of them and begins again."""

    steps: tuple[Fraction, ...]
    alternating: bool = False
    bpm: bool = False


USUAL_LADDER = Ladder(tuple(Fraction(p) for p in range(60, 101, 5)))
SLOW_AND_FULL = Ladder((Fraction(60), Fraction(100)), alternating=True)
FULL = Ladder((Fraction(100),))


@dataclass(frozen=True, slots=True)
class Gap:
    """The band plays `on` bars, then rests for `off`, in which `plays` goes on (a key of `GAP_PLAYS`)."""

    on: int
    off: int
    plays: str = "nothing"


@dataclass(frozen=True, slots=True)
class Plan:
    """What to practise. `ladder` None is the usual one, or full tempo where keys go in turn.

    `through` names the keys in turn; empty is the chart's own.
    """

    ladder: Ladder | None = None
    times: int = 2
    through: tuple[Key, ...] = ()
    gap: Gap | None = None


@dataclass(frozen=True, slots=True)
class Pass:
    """One time through: `timeline` has the tempo, key, count-in and gaps in it already.

    `muted` holds the indices of the bars in which the band rests; `label` names the pass for markers and file names.
    """

    timeline: Timeline
    number: int
    tempo_percent: Fraction
    key: Key
    count_in_bars: int | None  # None: as usual for meter and tempo
    label: str
    muted: frozenset[int] = frozenset()
    gap_plays: str = "nothing"


def passes(timeline: Timeline, plan: Plan) -> tuple[Pass, ...]:
    """The passes in order: keys in turn, in each of them the tempos, each so many times.

    The first pass in a new key or at a new tempo has the usual count-in, the others one bar; none where the count-in
    is off. Raises `RequestError` for more than `PASSES_MAX` passes.
    """
    ladder = plan.ladder or (FULL if plan.through else USUAL_LADDER)
    keys = plan.through or (timeline.key,)
    written_bpm = counted_bpm(timeline)
    tempos = _tempos(ladder, plan.times, written_bpm)
    if len(keys) * len(tempos) > PASSES_MAX:
        raise RequestError(
            f"that makes {len(keys) * len(tempos)} passes, and {PASSES_MAX} is the limit; "
            "ask for fewer tempos, keys or passes"
        )
    muted = gap_bars(timeline, plan.gap) if plan.gap else frozenset[int]()
    plays = plan.gap.plays if plan.gap else "nothing"
    rested = with_gaps(timeline, muted, plays)
    found: list[Pass] = []
    before: tuple[Key, Fraction] | None = None
    for key in keys:
        interval = interval_to_key(timeline.key, key)
        moved = transposed(rested, interval)
        played: dict[Fraction, Timeline] = {}
        for percent in tempos:
            if percent not in played:
                played[percent] = at_tempo(moved, percent)
            bars = timeline.count_in
            if bars != 0 and before == (moved.key, percent):
                bars = BREATH_BARS
            before = (moved.key, percent)
            number = len(found) + 1
            found.append(
                Pass(
                    played[percent]._replace(count_in=bars),
                    number,
                    percent,
                    moved.key,
                    bars,
                    _label(
                        number,
                        f"{float(percent * written_bpm / 100):g} bpm"
                        if ladder.bpm
                        else f"{float(percent):g} %",
                        moved.key if len(keys) > 1 else None,
                    ),
                    muted,
                    plays,
                )
            )
    return tuple(found)


def _tempos(ladder: Ladder, times: int, written_bpm: Fraction) -> list[Fraction]:
    """The percentage of every pass in one key."""
    percents = [s / written_bpm * 100 if ladder.bpm else s for s in ladder.steps]
    if ladder.alternating:
        return percents * times
    return [percent for percent in percents for _ in range(times)]


def _label(number: int, tempo: str, key: Key | None) -> str:
    """`3: 70 %`, `3: 84 bpm`, `5: Bb major, 100 %`."""
    return f"{number}: {f'{key.name}, ' if key else ''}{tempo}"


def gap_bars(timeline: Timeline, gap: Gap) -> frozenset[int]:
    """The indices of the bars that fall in a gap; a pickup is played and not counted."""
    first = 1 if timeline.pickup else 0
    return frozenset(
        bar.index
        for count, bar in enumerate(timeline.bars[first:])
        if count % (gap.on + gap.off) >= gap.on
    )


def with_gaps(timeline: Timeline, muted: frozenset[int], plays: str) -> Timeline:
    """The timeline with only the players of `plays` in the muted bars."""
    if not muted:
        return timeline
    heard = GAP_PLAYS[plays]
    bars = tuple(
        b._replace(players=heard if b.players is None else heard & b.players)
        if b.index in muted
        else b
        for b in timeline.bars
    )
    return timeline._replace(bars=bars)


def sample_starts(lengths_s: Sequence[Fraction], rate: int = 44100) -> tuple[int, ...]:
    """The sample at which each pass begins, and the one after the last.

    Lengths are exact seconds, so rounding never adds up: every start is within half a sample of its place.
    """
    return tuple(round(s * rate) for s in accumulate(lengths_s, initial=Fraction(0)))


def read_plan(
    key: Key,
    *,
    ladder: str | None = None,
    times: int = 2,
    through: str | None = None,
    gap: str | None = None,
    gap_plays: str = "nothing",
) -> Plan:
    """A plan from options as typed; `key` is the key of the tune. Raises `RequestError`."""
    if not 1 <= times <= TIMES_MAX:
        raise RequestError(f"--passes {times}: choose a number from 1 to {TIMES_MAX}")
    return Plan(
        ladder=read_ladder(ladder) if ladder else None,
        times=times,
        through=read_through(through, key) if through else (),
        gap=read_gap(gap, gap_plays) if gap else None,
    )


_STEP = r"(\d{1,3})(?:\s*(?:%|bpm))?"


def read_ladder(text: str) -> Ladder:
    """`60:100:5` (percent from, to, step), a single `80`, `80:120:5bpm` (beats a minute) or `alternate`.

    Raises `RequestError`.
    """
    word = text.strip().lower()
    if word == ALTERNATE:
        return SLOW_AND_FULL
    found = re.fullmatch(rf"{_STEP}(?::{_STEP}(?::{_STEP})?)?", word)
    if not found or ("bpm" in word and "%" in word):
        raise RequestError(
            f"--ladder {text}: write percent from, to and step, such as 60:100:5, "
            "beats a minute, such as 80:120:5bpm, or alternate"
        )
    bpm = "bpm" in word
    what, example = ("beats a minute", "80:120:5bpm") if bpm else ("percentages", "60:100:5")
    lowest, highest = (LOW_BPM, HIGH_BPM) if bpm else (LOW_PERCENT, HIGH_PERCENT)
    low = int(found[1])
    high, step = int(found[2] or low), int(found[3] or 5)
    if not all(lowest <= p <= highest for p in (low, high)):
        raise RequestError(
            f"--ladder {text}: {what} go from {lowest} to {highest}, such as {example}"
        )
    if step < 1:
        raise RequestError(f"--ladder {text}: a step is at least 1, such as {example}")
    way = step if high >= low else -step
    return Ladder(tuple(Fraction(p) for p in (*range(low, high, way), high)), bpm=bpm)


def read_gap(text: str, plays: str = "nothing") -> Gap:
    """`4:4`: bars with the band, bars without. Raises `RequestError`."""
    found = re.fullmatch(r"\s*(\d{1,3})\s*:\s*(\d{1,3})\s*", text)
    if not found or not int(found[1]) or not int(found[2]):
        raise RequestError(f"--gap {text}: write bars with and bars without the band, such as 4:4")
    if plays not in GAP_PLAYS:
        raise RequestError(f"--gap-plays {plays}: choose one of {', '.join(GAP_PLAYS)}")
    return Gap(int(found[1]), int(found[2]), plays)


def read_through(text: str, key: Key) -> tuple[Key, ...]:
    """Keys in turn from `key` on: `fourths` and `semitones` are all twelve, `"C F Bb"` a list. Raises `RequestError`.

    In a list a name without a mode has the chart's mode.
    """
    word = text.strip().lower()
    step = {"fourths": 5, "semitones": 1}.get(word)
    if step is not None:
        return tuple(key.up(interval_for_semitones(key, n * step % 12)) for n in range(12))
    keys = []
    for name in re.split(r"[\s,]+", text.strip()):
        try:
            found = Key.parse(name)
        except ValueError:
            raise RequestError(
                f'--through {text}: write fourths, semitones, or keys such as "C F Bb"'
            ) from None
        keys.append(key.up(interval_to_key(key, found)))
    return tuple(keys)
