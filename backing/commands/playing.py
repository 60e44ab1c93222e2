"""What is asked of a track while it is heard. A key or a saved text changes it, and takes follow from it (`takes`)."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.options import Options
from backing.commands.practice import Practice
from backing.commands.preparing import moved_by, prepare

if TYPE_CHECKING:
    from backing.chart.ast import Chart
    from backing.live.take import Take
    from backing.timeline.model import Timeline

LEAST_PERCENT, MOST_PERCENT, STEP_PERCENT = 25, 200, 5
MOST_SHIFT = 12
SILENT_DB = -120.0


class Wanted(NamedTuple):
    """What is asked of the track: its chart, the options as typed, and what keys have changed since.

    `typed_percent` of the chart's tempo and `typed_shift` in semitones from its key are what the options ask for;
    `percent` and `shift` are None until a key changes them. `loop` holds bars from 0, both included.
    """

    chart: Chart
    wish: Options
    typed_percent: Fraction
    typed_shift: int
    percent: Fraction | None = None
    shift: int | None = None
    loop: tuple[int, int] | None = None
    silent: frozenset[str] = frozenset()
    climbing: int = 0  # per cent more after every round, 0 for a steady tempo
    practice: Practice | None = None

    @property
    def at_percent(self) -> Fraction:
        return self.typed_percent if self.percent is None else self.percent

    @property
    def at_shift(self) -> int:
        return self.typed_shift if self.shift is None else self.shift

    def options(self) -> Options:
        """As the commands take them."""
        wish = self.wish
        if self.percent is not None:
            share = None if self.percent == 100 else self.percent / 100
            wish = wish.changed(tempo_percent=share, tempo_bpm=None)
        if self.shift is not None:
            wish = wish.changed(key=None, transpose=self.shift or None)
        return wish


def wanted_of(chart: Chart, wish: Options) -> Wanted:
    """What is asked at the start."""
    percent = Fraction(100)
    if wish.form.tempo_percent is not None:
        percent = wish.form.tempo_percent * 100
    elif wish.form.tempo_bpm is not None:
        percent = _share(chart, wish)
    return Wanted(chart, wish, percent, moved_by(chart, wish).semitones)


def _share(chart: Chart, wish: Options) -> Fraction:
    """A tempo in beats a minute as a share of the chart's, in per cent and hundredths of it."""
    plain = prepare(chart, wish.changed(tempo_bpm=None)).timeline.tempo[0].us
    asked = prepare(chart, wish).timeline.tempo[0].us
    return Fraction(round(10_000 * plain / asked), 100)


def faster(wanted: Wanted, steps: int) -> Wanted:
    """So many steps of 5 % up (down where negative), on to the next multiple of 5 %."""
    at = wanted.at_percent / STEP_PERCENT
    whole = at.__floor__() if steps > 0 else at.__ceil__()
    percent = min(MOST_PERCENT, max(LEAST_PERCENT, (whole + steps) * STEP_PERCENT))
    return wanted._replace(percent=Fraction(percent))


def higher(wanted: Wanted, semitones: int) -> Wanted:
    """In another key; an octave either way at most."""
    shift = max(-MOST_SHIFT, min(MOST_SHIFT, wanted.at_shift + semitones))
    return wanted._replace(shift=shift)


def changed(wanted: Wanted, **fields: object) -> Wanted:
    """With other options."""
    return wanted._replace(wish=wanted.wish.changed(**fields))


def count_of(timeline: Timeline, bar: int, wish: Options, soundfont_gain_db: float) -> Take | None:
    """A count before a bar in the middle, as a take of its own; None where the count is off."""
    from backing.commands.preparing import arranged
    from backing.live.take import take_of
    from backing.performance.perform import perform
    from backing.styles.find import find
    from backing.timeline.reshape import slice_bars

    if wish.form.count_in == 0 or timeline.count_in == 0:
        return None
    one = slice_bars(timeline, bar + 1, bar + 1)._replace(melody=(), hits=(), rhythms=())
    style = find(one.bars[0].style or timeline.style)
    plain = Options().changed(only=("click",))
    return take_of(perform(arranged(one, style, plain)))._replace(gain_db=soundfont_gain_db)
