"""The session on MIDI instruments: what would be synthesised is sent to a port, with a clock.

Conventions: messages of a hop are sent while the hop before it would be heard, so everything comes one hop (23 ms)
after its command; 24 clocks a quarter, start and stop as the music starts and stops. Every end, of a jump, a stop or
the program, ends every note that was begun.
Source: MIDI 1.0 detailed specification (system real time messages; controllers 120 and 123).
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from threading import Event, Thread
from time import perf_counter
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from backing.ground.errors import AudioUnavailable, RequestError
from backing.ground.roles import CHANNELS
from backing.ground.source import nearest
from backing.live.session import HOP, Events, Session
from backing.live.take import Take
from backing.output.midi import EXPRESSION, PAN, VOLUME, pan, volume
from backing.output.sound.synth import ALL_KEYS, GESTURE, OFF, ON, RATE

CLOCKS = 24  # a quarter
ALL_SOUND_OFF, ALL_NOTES_OFF = 120, 123


class Port(Protocol):
    """A port of mido, or anything that takes its messages."""

    def send(self, message: Any, /) -> None: ...


class Sent(NamedTuple):
    """A message and its frame within the hop."""

    offset: int
    message: Any


class Instruments:
    """A band for a `Session` that gathers messages in place of sound; `messages` are those of the last hop."""

    def __init__(self) -> None:
        self.messages: list[Sent] = []
        self.held: dict[tuple[int, int], int] = {}  # channel and note: how often it is on
        self.silent: frozenset[str] = frozenset()
        self._voices: dict[int, tuple[int, int, int]] = {}
        self._clocks = Clocks()
        self._ran_to = -1
        self._running = False

    def seat(self, take: Take) -> None:
        """Nothing has to be loaded."""

    def hop(self, events: Events, take: Take, at: int) -> NDArray[np.float32]:
        """Gather what a hop sends; silence is what it sounds like."""
        found: list[Sent] = []
        for stream in take.streams:
            channel = CHANNELS[stream.role]
            found += self._set(channel, stream.voice_at(at))
        for (role, _), row in events.items():
            for offset, event in row:
                found += self._message(role, offset, event)
        found += self._clock(take, at)
        found.sort(key=lambda s: s.offset)
        self.messages = found
        return np.zeros((HOP, 2), np.float32)

    def _set(self, channel: int, voice: Any) -> list[Sent]:
        from mido import Message

        wanted = voice.instrument.program, volume(voice.level_db), pan(voice.pan)
        if self._voices.get(channel) == wanted:
            return []
        self._voices[channel] = wanted
        program, level, side = wanted
        return [
            Sent(0, Message("program_change", channel=channel, program=program)),
            Sent(0, Message("control_change", channel=channel, control=VOLUME, value=level)),
            Sent(0, Message("control_change", channel=channel, control=PAN, value=side)),
        ]

    def _message(self, role: str, offset: int, event: int) -> list[Sent]:
        from mido import Message

        channel = CHANNELS[role]
        kind, pitch, velocity = event >> 16 & 3, event >> 8 & 255, event & 255
        key = channel, pitch
        if kind == ON and role not in self.silent:
            self.held[key] = self.held.get(key, 0) + 1
            return [
                Sent(offset, Message("note_on", channel=channel, note=pitch, velocity=velocity))
            ]
        if kind == GESTURE and pitch == ALL_KEYS:
            return [
                Sent(
                    offset,
                    Message("control_change", channel=channel, control=EXPRESSION, value=velocity),
                )
            ]
        if kind in (OFF, GESTURE) and key in self.held:  # a choked key ends
            del self.held[key]
            return [Sent(offset, Message("note_off", channel=channel, note=pitch, velocity=64))]
        return []

    def _clock(self, take: Take, end: int) -> list[Sent]:
        """Clocks of the frames since the last hop, start and stop where the music moves or stands."""
        from mido import Message

        moving = end != self._ran_to
        found: list[Sent] = []
        if moving and not self._running:
            found.append(Sent(0, Message("start")))
        elif self._running and not moving:
            found.append(Sent(0, Message("stop")))
        if moving:
            start = end - HOP
            clock = Message("clock")
            found += [Sent(f - start, clock) for f in self._clocks.between(take, start, end)]
        self._running, self._ran_to = moving, end
        return found

    def end(self) -> list[Any]:
        """Everything that has to be sent so that nothing goes on sounding."""
        from mido import Message

        found = [Message("note_off", channel=c, note=n, velocity=64) for c, n in self.held]
        for channel in self._voices:
            for control in (ALL_NOTES_OFF, ALL_SOUND_OFF):
                found.append(Message("control_change", channel=channel, control=control, value=0))
        if self._running:
            found.append(Message("stop"))
        self.held = {}
        return found


class Clocks:
    """Where the clocks of a take fall; those of the bar that is played are kept."""

    def __init__(self) -> None:
        self._take: Take | None = None
        self._bars: dict[int, list[int]] = {}

    def between(self, take: Take, start: int, end: int) -> list[int]:
        """The frames of a take from `start` to `end` at which a clock falls."""
        if take is not self._take or len(self._bars) > 8:
            self._take, self._bars = take, {}
        bars = range(take.bar_at(max(start, 0)), take.bar_at(max(end, 0)) + 1)
        return [f for bar in bars for f in self._of(take, bar) if start <= f < end]

    def _of(self, take: Take, bar: int) -> list[int]:
        if bar not in self._bars:
            played = take.timeline.bars[bar]
            first_q = take.performance.tempo.zero_q if bar == 0 else played.start_q
            count = int((played.end_q - first_q) * CLOCKS)
            self._bars[bar] = [take.frame(first_q + Fraction(i, CLOCKS)) for i in range(count)]
        return self._bars[bar]


class Sender:
    """Pulls hops in real time and sends their messages at their moments. `wait` may be replaced in tests."""

    def __init__(
        self, session: Session, band: Instruments, port: Port,
        now: Callable[[], float] = perf_counter,
        wait: Callable[[float], object] | None = None,
    ) -> None:  # fmt: skip
        self._session, self._band, self._port = session, band, port
        self._ended = Event()
        self._now, self._wait = now, wait or self._ended.wait
        self._thread = Thread(target=self._run, name="midi", daemon=True)
        self.failure: Exception | None = None
        self.taken = self.missing = 0

    def start(self) -> None:
        self._thread.start()

    def _run(self) -> None:
        begun = self._now()
        try:
            while not self._ended.is_set():
                self.one(begun + self.taken / RATE)
        except Exception as wrong:  # a port that is gone; told by whoever waits
            self.failure = wrong

    def one(self, at_s: float) -> None:
        """One hop, whose first frame is due at `at_s`."""
        self._session.pull(HOP)
        late_s = self._now() - at_s - HOP / RATE
        if late_s > 0:
            self.missing += round(late_s * RATE)
        for offset, message in self._band.messages:
            self._until(at_s + (offset + HOP) / RATE)
            self._port.send(message)
        self.taken += HOP
        self._until(at_s + HOP / RATE)

    def _until(self, due_s: float) -> None:
        left_s = due_s - self._now()
        if left_s > 0:
            self._wait(left_s)

    def stop(self) -> None:
        """End the thread, and every note."""
        self._ended.set()
        if self._thread.is_alive():
            self._thread.join()
        for message in self._band.end():
            self._port.send(message)


def open_port(name: str) -> Any:
    """A port by its name or a part of it. Raises `AudioUnavailable` without python-rtmidi, `RequestError` without the port."""
    import mido

    try:
        names = mido.get_output_names()
    except ImportError:
        raise AudioUnavailable("--to needs python-rtmidi: pip install 'backing[live]'") from None
    except (
        Exception
    ) as wrong:  # what rtmidi raises where the system has no MIDI at all has no common class
        raise AudioUnavailable(f"--to {name}: this machine has no MIDI ports ({wrong})") from None
    wanted = [n for n in names if n == name] or [
        n for n in names if name.casefold() in n.casefold()
    ]
    if len(wanted) != 1:
        there = f"there are {', '.join(names)}" if names else "there are none"
        near = nearest(name, names)
        hint = f" Did you mean {near!r}?" if near and not wanted else ""
        what = "several ports are called so" if wanted else "there is no such port"
        raise RequestError(f"--to {name}: {what}; {there}.{hint}")
    return mido.open_output(wanted[0])
