"""`backing play`: a chart is heard at once, and follows keys and the file that it stands in.

Chart ─first_take─▶ Take ─Session─▶ hops ─Pump─▶ the speaker, or ─Sender─▶ a MIDI port
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from backing.commands import screen
from backing.commands.keyboard import Keyboard, one_at_a_time
from backing.commands.live import Live
from backing.commands.options import Options
from backing.commands.playing import wanted_of
from backing.commands.practice import Practice
from backing.commands.progress import Warn
from backing.commands.reading import read_bytes, read_chart
from backing.commands.takes import first_take
from backing.ground.errors import (
    AudioUnavailable,
    BackingError,
    ChartError,
    RequestError,
    StyleError,
)

if TYPE_CHECKING:
    from backing.chart.ast import Chart

TURN_S = 0.05  # between two looks at keys, file and device
SWITCH_S = 0.0005  # after which the thread that plans lets the one that sounds go on; Python's own 5 ms are a fifth of a hop
LOST_TURNS = 30  # in which a device takes nothing


@dataclass(frozen=True, slots=True)
class How:
    """How it is played, as typed on the command line."""

    watch: bool = False
    to: str | None = None
    device: str | None = None
    practice: Practice | None = None


def play(
    chart_path: Path,
    wish: Options,
    how: How,
    warn: Warn = lambda d: None,
) -> None:
    """Play a chart until it ends or somebody ends it. Raises `BackingError`."""
    if how.watch and str(chart_path) == "-":
        raise RequestError("--watch follows a file; name the chart in place of -")
    chart = read_chart(chart_path, wish.reading)
    play_chart(chart, wish, how, Follower(chart_path) if how.watch else None, warn)


def play_chart(
    chart: Chart,
    wish: Options,
    how: How,
    follower: Follower | None = None,
    warn: Warn = lambda d: None,
) -> None:
    """Play a chart that was read until it ends or somebody ends it. Raises `BackingError`."""
    sys.setswitchinterval(SWITCH_S)
    wanted = wanted_of(chart, round_and_round(wish))._replace(practice=how.practice)
    soundfont, band = _band(wish, how)
    prepared, take = first_take(wanted, soundfont)
    for diagnostic in prepared.warnings:
        warn(diagnostic)
    if wish.sound.loop:
        wanted = wanted._replace(loop=(0, len(take.bars) - 2))
    live = Live(wanted, take, band, soundfont)
    try:
        with _heard(live, band, how) as sound:
            _run(live, sound, follower, sys.stdout)
    finally:
        live.planner.stop()
        if hasattr(band, "close"):
            band.close()


def round_and_round(wish: Options) -> Options:
    """A loop ends as written; the session goes round, and nothing has to be played three times for it."""
    from backing.chart.ast import Ending, EndingKind

    if not wish.sound.loop:
        return wish
    return wish.changed(loop=False, ending=Ending(EndingKind.AS_WRITTEN))


def _band(wish: Options, how: How) -> tuple[Path | None, Any]:
    """The soundfont and the band: synthesisers, or instruments behind a MIDI port."""
    if how.to is not None:
        from backing.live.midi_out import Instruments

        return None, Instruments()
    from backing.live.desk import Desk
    from backing.output.sound.soundfont import find

    soundfont = find(wish.sound.soundfont)
    return soundfont, Desk(soundfont, wish.sound.a4)


@contextmanager
def _heard(live: Live, band: Any, how: How) -> Iterator[Any]:
    """The thread that pulls, and the device or port that it pulls for."""
    from backing.live.asked import Border, Play

    live.session.command(Play(0), Border.NOW)
    if how.to is not None:
        from backing.live.midi_out import Sender, open_port

        port = open_port(how.to)
        sender = Sender(live.session, band, port)
        sender.start()
        try:
            yield Sounding(sender, None)
        finally:
            sender.stop()
            port.close()
        return
    from backing.live.device import Speaker
    from backing.live.pump import Pump

    pump = Pump(live.session)
    pump.start()
    speaker = None
    try:
        speaker = Speaker(pump, how.device)
        yield Sounding(pump, speaker)
    finally:
        pump.hush()  # a device may take its time to close
        if speaker is not None:
            speaker.close()
        pump.stop()


class Sounding:
    """What pulls and where it goes to: whether it is well is asked every turn."""

    def __init__(self, pump: Any, speaker: Any) -> None:
        self.pump, self.speaker = pump, speaker
        self._still = 0

    def news(self) -> str | None:
        """What to say of the device: that it is lost or back, None for nothing. Raises what ended the sound."""
        if self.pump.failure is not None:
            raise AudioUnavailable(f"the sound ended: {self.pump.failure}") from self.pump.failure
        if self.speaker is None:
            return None
        if self.speaker.moved():
            back, self._still = self._still > LOST_TURNS, 0
            return "" if back else None
        self._still += 1
        if self._still == LOST_TURNS:
            return "the sound device is gone; playing goes on when it is back"
        if self._still > LOST_TURNS and self._still % LOST_TURNS == 0:
            self._again()
        return None

    def _again(self) -> None:
        try:
            self.speaker.close()
            self.speaker.open()
        except BackingError:  # still gone
            return


class Follower:
    """A chart's file: whether it has been saved with something else in it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._stamp = self._look()
        self._held = read_bytes(path)

    def _look(self) -> tuple[int, int] | None:
        try:
            found = self.path.stat()
        except OSError:  # between two steps of an editor that saves
            return None
        return found.st_mtime_ns, found.st_size

    def saved(self) -> bool:
        """Whether it holds something else than when this was last asked. Raises `OutputError`."""
        stamp = self._look()
        if stamp is None or stamp == self._stamp:
            return False
        self._stamp = stamp
        before, self._held = self._held, read_bytes(self.path)
        return self._held != before


def _run(live: Live, sound: Sounding, follower: Follower | None, out: TextIO) -> None:
    keyboard = Keyboard()
    drawn = _Drawn(out) if keyboard.there and out.isatty() else None
    with one_at_a_time(keyboard):
        begun = False
        while not live.ended:
            for key in keyboard.read(TURN_S):
                live.press(key)
            live.turn()
            if follower is not None:
                _follow(live, follower, drawn)
            said = sound.news()
            if said is not None:
                live.news(said)
                if drawn is None and said:
                    print(f"backing: {said}", file=sys.stderr)
            place = live.session.place
            if drawn is not None:
                drawn.show(screen.lines(place, live.wanted, live.shown, drawn.width))
            begun = begun or place.playing
            if begun and not place.playing and drawn is None and follower is None:
                return


def _follow(live: Live, follower: Follower, drawn: _Drawn | None) -> None:
    """Take over what was saved; a mistake is told, and the old version plays on."""
    from backing.commands.command import coloured, rendered

    try:
        if not follower.saved():
            return
        chart = read_chart(follower.path, live.wanted.wish.reading)
        live.ask(live.wanted._replace(chart=chart))
        live.planner.settle()
    except (ChartError, StyleError) as wrong:
        said = [rendered(d, coloured(sys.stderr)) for d in wrong.diagnostics]
    except BackingError as wrong:
        said = [f"backing: {wrong}"]
    else:
        return
    if drawn is not None:
        drawn.leave()
    print("\n".join(said), file=sys.stderr, flush=True)


class _Drawn:
    """Lines of text that are written over each other, cut to the width of the terminal."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._last: list[str] = []
        self.width = 80

    def show(self, lines: Sequence[str]) -> None:
        from shutil import get_terminal_size

        from rich.cells import set_cell_size

        width, height = get_terminal_size()
        self.width = width
        cut = [set_cell_size(line, width - 1).rstrip() for line in lines][: max(1, height - 1)]
        if cut == self._last:
            return
        back = f"\x1b[{len(self._last)}A" if self._last else ""
        self._out.write(back + "\r\x1b[J" + "".join(line + "\n" for line in cut))
        self._out.flush()
        self._last = cut

    def leave(self) -> None:
        """What is printed next stands below, and the screen below that."""
        self._last = []


__all__ = ["How", "play"]
