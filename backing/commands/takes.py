"""The takes of what is asked of a track: first what is heard next, then all of it.

The first sounds come from as few bars as possible; the whole takes their place without a cut, since they are the same
notes. Of a very long form only a window is ever arranged.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.options import Options
from backing.commands.playing import Wanted
from backing.commands.preparing import Prepared, band, once, prepare

if TYPE_CHECKING:
    from backing.live.take import Take
    from backing.performance.model import Performance
    from backing.timeline.model import Timeline

Between = Callable[[], object]

# bars
MOST_AT_ONCE = 512  # of a form that is arranged whole
WINDOW = 256  # of a longer one
BEFORE = 4  # of a window before the bar that it is asked for
OPENING = 8  # at least, that are arranged before the rest
NEAR = 24  # of a window that is arranged before the rest
FAR = 64  # arranged on the way to the whole, where that takes long
MOST_GAIN_DB = 40.0


class Asked(NamedTuple):
    """What is asked, the bar from which it is heard, and how many bars from the first on are there already."""

    wanted: Wanted
    bar: int = 0
    there: int = 0


class Making:
    """Makes takes, one wish after the other; a take without a soundfont is for MIDI and has no level."""

    def __init__(self, soundfont: Path | None) -> None:
        self._soundfont = soundfont
        self._known: tuple[Wanted, Prepared] | None = None
        self._beyond_db = (
            0.0  # what the table of levels left out of the last take that was measured
        )

    def __call__(self, asked: Asked, between: Between = lambda: None) -> Iterator[Take]:
        """The takes of a wish in the order in which they are needed, the whole last. Raises `BackingError`."""
        from backing.live.take import take_of

        wanted, wish = asked.wanted, asked.wanted.options()
        prepared = self._prepared(wanted, wish)
        whole = prepared.timeline
        if wanted.practice is not None:
            yield self._measured(take_of(_practised(prepared, wanted, wish)), wish, between)
            return
        bars = len(whole.bars)
        bar = min(asked.bar, bars - 1)
        if bars > MOST_AT_ONCE:
            for length in (NEAR, WINDOW):
                first, part = _window(prepared, bar, length)
                take = take_of(band(part, wish, between=between))
                yield _within(self._levelled(take, wish, between, length == WINDOW), whole, first)
            return
        if bar >= FAR:
            first, part = _window(prepared, bar, NEAR)
            near = take_of(band(part, wish, between=between))
            yield _within(self._levelled(near, wish, between, measured=False), whole, first)
        elif not wish.sound.loop:
            for until in (bar + OPENING, bar + FAR):
                if max(until, asked.there + 1) < bars - OPENING and until > asked.there:
                    yield self._opening(prepared, wish, until, between)
        take = take_of(band(prepared, wish, between=between))
        if self._soundfont is not None and not asked.there and bars <= FAR:
            yield self._levelled(take, wish, between, measured=False)._replace(opening=True)
        yield self._measured(take, wish, between)

    def _prepared(self, wanted: Wanted, wish: Options) -> Prepared:
        if self._known is None or self._known[0] != wanted:
            self._known = wanted, prepare(wanted.chart, wish)
        return self._known[1]

    def _opening(self, prepared: Prepared, wish: Options, until: int, between: Between) -> Take:
        take = opening(prepared, wish, until, between)
        return self._levelled(take, wish, between, measured=False)

    def _levelled(self, take: Take, wish: Options, between: Between, measured: bool) -> Take:
        from backing.live.foreseen import by_table

        if measured:
            return self._measured(take, wish, between)
        if self._soundfont is None:
            return take
        lufs = by_table(take, self._soundfont) + self._beyond_db
        return take._replace(gain_db=_gain_db(lufs, wish))

    def _measured(self, take: Take, wish: Options, between: Between) -> Take:
        from backing.live.foreseen import by_table, loudness

        if self._soundfont is None:
            return take
        lufs = loudness(take, self._soundfont, wish.sound.a4, between)
        self._beyond_db = lufs - by_table(take, self._soundfont)
        return take._replace(gain_db=_gain_db(lufs, wish))


def first_take(wanted: Wanted, soundfont: Path | None) -> tuple[Prepared, Take]:
    """The first sections of the track, at a level by the table: enough to begin with. Raises `BackingError`.

    What takes long is left for later: the sections that follow, the level by struck notes, and looking for cycles among
    a million short-lived objects. A very long form is begun as one of two choruses.
    """
    from backing.live.foreseen import by_table

    gc.disable()
    try:
        wish = wanted.options()
        prepared = _begun(wanted, wish)
        if wanted.practice is not None or wish.sound.loop:
            return prepared, next(Making(soundfont)(Asked(wanted)))
        take = opening(prepared, wish, OPENING, lambda: None)
        if soundfont is None:
            return prepared, take
        return prepared, take._replace(gain_db=_gain_db(by_table(take, soundfont), wish))
    finally:
        gc.enable()


def whole_take(wanted: Wanted, soundfont: Path | None) -> Take:
    """The last of all takes of a wish. Raises `BackingError`."""
    *_, last = Making(soundfont)(Asked(wanted, 0, MOST_AT_ONCE))
    return last


def opening(prepared: Prepared, wish: Options, until: int, between: Between) -> Take:
    """The sections up to a bar; note for note what the whole begins with."""
    from backing.live.take import take_of

    sections = prepared.timeline.sections
    count = next((i for i, s in enumerate(sections, 1) if s.last >= until), len(sections))
    take = take_of(band(prepared, wish, count, between))
    return take._replace(last=sections[count - 1].last - 1, opening=True)


def _begun(wanted: Wanted, wish: Options) -> Prepared:
    """The track, or a short one that begins as it does where the track is very long."""
    asked = wish.form.choruses or wanted.chart.header.choruses or wanted.chart.header.form_repeats
    if asked <= 2 and wish.form.length_s is None:
        return prepare(wanted.chart, wish)
    short = prepare(wanted.chart, once(wish).changed(choruses=2))
    seconds = wish.form.length_s or 0.0
    if wish.form.length_s is not None:
        from backing.timeline.unroll import duration_s

        asked = round(2 * seconds / duration_s(short.timeline))
    return (
        short
        if asked * len(short.timeline.bars) > 2 * MOST_AT_ONCE
        else prepare(wanted.chart, wish)
    )


def _practised(prepared: Prepared, wanted: Wanted, wish: Options) -> Performance:
    """All passes of a practice track as one."""
    from backing.commands.practice import practised
    from backing.performance.session import joined

    assert wanted.practice is not None
    return joined(*practised(prepared, wish, wanted.practice))


def _window(prepared: Prepared, bar: int, length: int) -> tuple[int, Prepared]:
    """Bars of a form, from a little before one on, and which is the first of them."""
    from backing.timeline.reshape import slice_bars

    whole = prepared.timeline
    first = max(0, bar - BEFORE)
    last = min(len(whole.bars), first + length)
    part = slice_bars(whole, first + 1, last)
    if first:
        part = part._replace(count_in=0)
    if last == len(whole.bars):
        part = part._replace(ending=whole.ending, fade_bars=whole.fade_bars)
    return first, prepared._replace(timeline=part)


def _within(take: Take, whole: Timeline, first: int) -> Take:
    from backing.live.take import windowed

    return windowed(take, whole, first)


def _gain_db(lufs: float, wish: Options) -> float:
    return min(MOST_GAIN_DB, wish.sound.loudness - lufs) if lufs > -70 else 0.0
