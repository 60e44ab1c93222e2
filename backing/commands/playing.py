"""A track while it is heard: what is asked of it now, and the takes that follow from that.

A key or a saved text changes what is asked; a thread arranges and performs anew, and the session goes on with the new
take at its next bar. What is asked next while that is under way takes the place of what has not begun.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from threading import Condition, Thread
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.options import Options
from backing.commands.practice import Practice
from backing.commands.preparing import Prepared, band, moved_by, prepare
from backing.ground.errors import BackingError

if TYPE_CHECKING:
    from backing.chart.ast import Chart
    from backing.live.take import Take
    from backing.performance.model import Performance
    from backing.timeline.model import Timeline

LEAST_PERCENT, MOST_PERCENT, STEP_PERCENT = 25, 200, 5
MOST_SHIFT = 12
SILENT_DB = -120.0
MOST_GAIN_DB = 40.0
MOST_AT_ONCE, WINDOW, AHEAD = (
    512,
    256,
    48,
)  # bars: of a form arranged whole, of a window, left of one when the next is asked for
OPENING = 8  # bars, at least, that are arranged before the rest


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
    window: int = 0  # the first bar that is arranged of a very long form
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


def prepared_take(wanted: Wanted, soundfont: Path | None) -> tuple[Prepared, Take]:
    """Arrange, perform and foresee the level; a take without a soundfont is for MIDI and has none.

    Of a very long form only a window is arranged, so that it is heard as soon as a short one. Raises `BackingError`.
    """
    from backing.live.take import take_of, windowed

    wish = wanted.options()
    prepared = prepare(wanted.chart, wish)
    whole = prepared.timeline
    if wanted.practice is not None:
        return prepared, _with_level(take_of(_practised(prepared, wanted, wish)), soundfont, wish)
    if len(whole.bars) <= MOST_AT_ONCE:
        return prepared, _with_level(take_of(band(prepared, wish)), soundfont, wish)
    part = prepared._replace(timeline=_window(whole, wanted.window))
    take = _with_level(take_of(band(part, wish)), soundfont, wish)
    return prepared, windowed(take, whole, min(wanted.window, len(whole.bars) - 1))


def opening_take(wanted: Wanted, soundfont: Path | None) -> tuple[Prepared, Take]:
    """The first sections of what `prepared_take` makes, at a level by the table: enough to begin with.

    What takes long is left for later: the sections that follow, the level by struck notes, and looking for cycles among
    a million short-lived objects. Raises `BackingError`.
    """
    gc.disable()
    try:
        return _opening(wanted, soundfont)
    finally:
        gc.enable()


def _opening(wanted: Wanted, soundfont: Path | None) -> tuple[Prepared, Take]:
    from backing.live.foreseen import by_table
    from backing.live.take import take_of

    wish = wanted.options()
    prepared = prepare(wanted.chart, wish)
    bars = len(prepared.timeline.bars)
    if wanted.practice is not None or wanted.loop or bars > MOST_AT_ONCE:
        return prepared_take(wanted, soundfont)
    sections = prepared.timeline.sections
    count = next((i for i, s in enumerate(sections, 1) if s.last >= OPENING), len(sections))
    take = take_of(band(prepared, wish, count))
    if soundfont is not None:
        take = take._replace(gain_db=_gain_db(by_table(take, soundfont), wish))
    return prepared, take._replace(last=sections[count - 1].last - 1, opening=True)


def _practised(prepared: Prepared, wanted: Wanted, wish: Options) -> Performance:
    """All passes of a practice track as one."""
    from backing.commands.practice import practised
    from backing.performance.session import joined

    assert wanted.practice is not None
    return joined(*practised(prepared, wish, wanted.practice))


def _window(whole: Timeline, first: int) -> Timeline:
    from backing.timeline.reshape import slice_bars

    last = min(len(whole.bars), first + WINDOW)
    part = slice_bars(whole, min(first + 1, last), last)
    if first:
        part = part._replace(count_in=0)
    if last == len(whole.bars):
        part = part._replace(ending=whole.ending, fade_bars=whole.fade_bars)
    return part


def _with_level(take: Take, soundfont: Path | None, wish: Options) -> Take:
    if soundfont is None:
        return take
    from backing.live.foreseen import loudness

    return take._replace(gain_db=_gain_db(loudness(take, soundfont, wish.sound.a4), wish))


def _gain_db(lufs: float, wish: Options) -> float:
    return min(MOST_GAIN_DB, wish.sound.loudness - lufs) if lufs > -70 else 0.0


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


class Planner:
    """Makes takes in a thread of its own, the newest wish first; hands each to `ready`, what is wrong to `wrong`."""

    def __init__(
        self,
        make: Callable[[Wanted], tuple[Prepared, Take]],
        ready: Callable[[Wanted, Prepared, Take], None],
        wrong: Callable[[BackingError], None],
    ) -> None:
        self._make, self._ready, self._wrong = make, ready, wrong
        self._asked: Wanted | None = None
        self._busy = self._ended = False
        self._changed = Condition()
        self._thread = Thread(target=self._run, name="planner", daemon=True)
        self._thread.start()

    def ask(self, wanted: Wanted) -> None:
        with self._changed:
            self._asked = wanted
            self._changed.notify_all()

    def settle(self) -> None:
        """Wait until nothing is asked and nothing under way."""
        with self._changed:
            self._changed.wait_for(lambda: self._asked is None and not self._busy)

    def stop(self) -> None:
        with self._changed:
            self._ended = True
            self._changed.notify_all()
        self._thread.join()

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._asked is not None or self._ended)
                if self._ended:
                    return
                wanted, self._asked, self._busy = self._asked, None, True
            try:
                assert wanted is not None
                self._ready(wanted, *self._make(wanted))
            except BackingError as wrong:
                self._wrong(wrong)
            finally:
                with self._changed:
                    self._busy = False
                    self._changed.notify_all()


__all__ = [
    "Planner",
    "Wanted",
    "count_of",
    "faster",
    "higher",
    "opening_take",
    "prepared_take",
    "wanted_of",
]
