"""The band of the desk: a text as it is typed, what is asked of it, and the running session that follows from that.

The planner's process reads the text, so that neither the sound nor the page waits for it; a text with a mistake is told,
and what was played goes on.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from backing.commands.options import options
from backing.commands.playing import SILENT_DB, Wanted, wanted_of
from backing.commands.preparing import prepare
from backing.commands.takes import Asked, Between, Making
from backing.desk.sound import Desk, Where
from backing.ground.errors import ChartError, RequestError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from backing.live.take import Take
    from backing.timeline.model import Timeline

SWITCH_S = 0.0005  # after which other threads of the server let the one that sounds go on
LEAST_PERCENT, MOST_PERCENT = 25, 200
LOUDEST_DB = 12.0
TASTE = 8  # bars of a style that are heard, unless more are asked for
MOST_TASTE = 64


class Wish(NamedTuple):
    """What is asked of a text; `style` None is its own. `bars` are so many from the first on, 0 for all of it.

    Where it `loops` the band does not end with the last bar.
    """

    text: str
    name: str
    percent: int = 100
    key: str | None = None
    seed: int = 1
    style: str | None = None
    bars: int = 0
    loops: bool = False


class Heard(NamedTuple):
    """A wish, and the bar from which it is heard: by its number on the sheet, or by its index where it goes on."""

    wish: Wish
    number: int | None = None
    bar: int = 0


class Reading:
    """Makes takes of texts, in the process that plans."""

    def __init__(self, soundfont: Path | None) -> None:
        self._making = Making(soundfont)
        self._known: tuple[Wish, Wanted] | None = None

    def __call__(self, heard: Heard, between: Between) -> Iterator[Take]:
        """The takes of a wish, the nearest first. Raises `BackingError`."""
        if self._known is None or self._known[0] != heard.wish:
            self._known = heard.wish, wanted(heard.wish)
        asked = self._known[1]
        bar = heard.bar
        if heard.number is not None:
            bar = index_of(prepare(asked.chart, asked.options()).timeline, heard.number)
        return self._making(Asked(asked, bar), between)


def wanted(wish: Wish) -> Wanted:
    """A wish as the commands take it. Raises `BackingError`."""
    from backing.chart.ast import Ending, EndingKind
    from backing.chart.parse import parse
    from backing.styles.find import unknown

    try:
        chart = parse(wish.text, wish.name, unknown_style=unknown)
    except ChartError as wrong:
        raise RequestError(said(wrong)) from None
    tempo = None if wish.percent == 100 else f"{wish.percent}%"
    asked = options("make", tempo=tempo, key=wish.key, seed=str(wish.seed), style=wish.style)
    if wish.bars or wish.loops:
        asked = asked.changed(ending=Ending(EndingKind.AS_WRITTEN))
    if wish.bars:
        asked = asked.changed(count_in=0, choruses=1)
        numbers = [bar.number for bar in prepare(chart, asked).timeline.bars]
        first = next((number for number in numbers if number), 1)
        last = min(first + wish.bars - 1, max(numbers, default=1))
        asked = asked.changed(bars=(first, last), choruses=None)
    return wanted_of(chart, asked)


def said(wrong: ChartError) -> str:
    """The first mistake in a text as one sentence; the page marks all of them at their places."""
    one = wrong.diagnostics[0]
    line = one.source.text.count("\n", 0, one.span.start) + 1
    return f"line {line}: {one.message}"


def index_of(timeline: Timeline, number: int, after: int = 0) -> int:
    """The first bar that is played with a number of the sheet, `after` where there is none."""
    bars = timeline.bars
    return next((i for i in range(after, len(bars)) if bars[i].number == number), after)


def number_at(text: str, name: str, offset: int) -> int:
    """The number of the bar that stands at a place (in UTF-16 units) or is the next one, the first behind the last."""
    from backing.chart.parse import parse_all
    from backing.desk.units import Units
    from backing.styles.find import unknown

    at = Units.of(text).character(offset)
    chart = parse_all(text, name, wanted=True, unknown_style=unknown)[0]
    bars = [bar for section in chart.sections for bar in section.bars] if chart else []
    return next((bar.number for bar in bars if at <= bar.span.end), bars[0].number if bars else 0)


class DeskBand:
    """Music for a page of the desk (`desk.sound.Music`)."""

    def __init__(
        self,
        desk: Desk,
        soundfont: Path | None = None,
        band: Callable[[], Any] | None = None,
        *,
        apart: bool = True,
    ) -> None:
        """`band` makes what sounds in place of the mix of a soundfont; `apart` says whether takes are made in another process."""
        from backing.live.planner import Planner
        from backing.output.sound.soundfont import find

        sys.setswitchinterval(SWITCH_S)
        self._desk = desk
        found = None if band else find(soundfont)
        self._new_band = band or (lambda: _mix(found))
        self._band: Any = None
        self._session: Any = None
        self._take: Take | None = None  # the newest; the session is on its way to it
        self._struck: Any = None  # a session for single chords
        self._wish = Wish("", "tune.txt")
        self._current: Wish | None = None  # of the take that is played
        self._due: Wish | None = None  # what takes were last asked for
        self._goal: int | None = None  # the bar, by number, that is played as soon as it can be
        self._loop: tuple[int, int] | None = None  # by numbers
        self._called = False  # the band has come, and what plans for it
        self._levels: dict[str, float] = {}
        self._planner = Planner(
            Reading(found),
            lambda heard, take: desk.soon(lambda: self._ready(heard, take)),
            lambda words: desk.soon(lambda: self._wrong(words)),
            apart=apart,
        )

    # what the desk asks of music

    @property
    def playing(self) -> bool:
        return self._session is not None and self._session.place.playing

    @property
    def where(self) -> Where | None:
        if not self.playing:
            return None
        place = self._session.place
        bar = place.take.timeline.bars[place.bar]
        beats = sum(place.take.frame(q) <= place.frame for q in place.take.beats(place.bar))
        counting = place.counting or place.frame < place.take.bars[0]
        return Where(bar.number, 0 if counting else beats, bar.line)

    def do(self, told: Mapping[str, Any]) -> None:
        act = ACTS.get(str(told["do"]))
        if act is None:
            raise RequestError(f"the band knows nothing of {str(told['do'])[:40]!r}")
        act(self, told)

    def pull(self, frames: int) -> NDArray[np.float32]:
        import numpy as np

        sessions = [s for s in (self._session, self._struck) if s is not None]
        if not sessions:
            return np.zeros((frames, 2), np.float32)
        sound = sum(session.pull(frames) for session in sessions)
        if self.playing:
            self._ask_for_bars()
        return np.asarray(sound, np.float32)

    def close(self) -> None:
        self._planner.stop()
        for band in (self._band, self._struck and self._struck.band):
            if hasattr(band, "close"):
                band.close()

    # what is asked

    def _ask(self, heard: Heard) -> None:
        self._due = heard.wish
        self._planner.ask(heard)

    def _load(self, told: Mapping[str, Any]) -> None:
        text, name = told["text"], told.get("name") or "tune.txt"
        if not isinstance(text, str) or not isinstance(name, str):
            raise TypeError("a text has a name")
        self._change(text=text, name=name)

    def _change(self, **fields: object) -> None:
        """Ask for something else; what plays goes on until its next bar."""
        self._wish = self._wish._replace(**fields)  # type: ignore[arg-type]
        if self._goal is not None:
            self._ask(Heard(self._wish, self._goal))
        elif self.playing and self._current is not None and not self._current.bars:
            self._ask(Heard(self._wish, None, self._session.place.bar))
        elif not self._called and self._wish.text:  # whoever opens a chart will want to hear it
            self._ask(Heard(self._wish))
        self._called = self._called or bool(self._wish.text)

    def _play(self, told: Mapping[str, Any]) -> None:
        if "bar" in told:
            number = int(told["bar"])
        else:
            number = number_at(self._wish.text, self._wish.name, int(told.get("offset", 0)))
        self._goal = self._loop[0] if self._loop else number
        if self._current == self._wish and self._go():
            return
        self._ask(Heard(self._wish, self._goal))

    def _go(self) -> bool:
        """Play from the goal if it is arranged."""
        from backing.live.asked import Border, Change, Play

        take = self._take
        if take is None or self._goal is None:
            return False
        bar = index_of(take.timeline, self._goal)
        if not take.has(bar):
            return False
        self._goal = None
        if self._session.place.take is not take:
            self._session.command(Change(take), Border.NOW)
        self._round(take)
        self._session.command(Play(bar), Border.NOW)
        self._desk.anew()
        return True

    def _stop(self, _: Mapping[str, Any]) -> None:
        from backing.live.asked import Border, Stop

        self._goal = None
        if self.playing:
            self._session.command(Stop(), Border.NOW)
            self._desk.anew()

    def _loop_bars(self, told: Mapping[str, Any]) -> None:
        bars = told.get("bars")
        self._loop = None if bars is None else (int(bars["from"]), int(bars["to"]))
        if self._take is not None:
            self._round(self._take)
        self._change(loops=self._loop is not None)

    def _round(self, take: Take) -> None:
        """Have the session go round the bars that are asked for, or on to the end; a taste has an end."""
        from backing.live.asked import Border, Loop

        loop = Loop()
        if self._loop is not None and not (self._current and self._current.bars):
            first = index_of(take.timeline, self._loop[0])
            loop = Loop(first, max(first, index_of(take.timeline, self._loop[1], first)))
        self._session.command(loop, Border.NOW)

    def _tempo(self, told: Mapping[str, Any]) -> None:
        percent = min(MOST_PERCENT, max(LEAST_PERCENT, round(float(told["percent"]))))
        self._change(percent=percent)

    def _level(self, told: Mapping[str, Any]) -> None:
        db = told["dB"]
        level = SILENT_DB if db is None else max(SILENT_DB, min(LOUDEST_DB, float(db)))
        self._levels[str(told["player"])] = level
        if self._band is not None:
            self._band.levels = dict(self._levels)

    def _hear(self, told: Mapping[str, Any]) -> None:
        """Some bars of the chart in another style, and then nothing."""
        bars = min(MOST_TASTE, max(1, int(told.get("bars", TASTE))))
        taste = self._wish._replace(style=str(told["style"]), bars=bars)
        self._goal = 1
        self._ask(Heard(taste))

    def _chord(self, told: Mapping[str, Any]) -> None:
        from backing.commands.desk_chord import strike

        self._struck = strike(str(told["symbol"]), self._struck, self._new_band)
        self._desk.wake()

    # what the planner tells

    def _ready(self, heard: Heard, take: Take) -> None:
        from backing.live.asked import Border, Change
        from backing.live.session import Session

        if heard.wish != self._due:
            return  # something else was asked while it was on its way
        if self._session is None:
            self._band = self._new_band()
            self._band.levels = dict(self._levels)
            self._session = Session(self._band, take)
        else:
            self._band.seat(take)
            if self._goal is None and self.playing:
                self._session.command(Change(take), Border.BAR)
        self._current, self._take = heard.wish, take
        self._desk.tell({"tempo": round(60_000_000 / take.timeline.tempo[0].us, 2)})
        if self._goal is not None:
            if heard.wish.bars:
                self._goal = take.timeline.bars[0].number
            self._go()

    def _wrong(self, words: str) -> None:
        if self.playing or self._goal is not None:  # else nobody has asked to hear it yet
            self._desk.tell({"failed": words, "playing": self.playing})
        self._goal = None

    def _ask_for_bars(self) -> None:
        """The next window of a very long form, before the one that is arranged ends."""
        take, bar = self._session.place.take, self._session.place.bar
        near = take.last < len(take.bars) - 1 and bar + NEXT >= take.last
        if (near or bar < take.first) and not self._planner.busy and self._current is not None:
            self._ask(Heard(self._current, None, bar))


NEXT = 48  # bars that are left of a window when the next one is asked for

ACTS: dict[str, Callable[[DeskBand, Mapping[str, Any]], None]] = {
    "load": DeskBand._load,
    "play": DeskBand._play,
    "stop": DeskBand._stop,
    "loop": DeskBand._loop_bars,
    "tempo": DeskBand._tempo,
    "key": lambda band, told: band._change(key=None if told["to"] is None else str(told["to"])),
    "style": lambda band, told: band._change(style=told["name"]),
    "seed": lambda band, told: band._change(seed=max(1, int(told["n"]))),
    "level": DeskBand._level,
    "hear": DeskBand._hear,
    "chord": DeskBand._chord,
}


def _mix(soundfont: Path | None) -> Any:
    from backing.live.desk import Desk as Mix

    assert soundfont is not None
    return Mix(soundfont)
