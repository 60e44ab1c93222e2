"""Between a session and a device: one thread makes sound a little ahead, the device only takes it away.

Conventions: `AHEAD` is what lies ready, so a command is heard that much later at the earliest; a device that asks for
more than is ready gets silence, and that is counted.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Generator
from threading import Event, Thread

import numpy as np
from numpy.typing import NDArray

from backing.live.session import HOP, Session

AHEAD = 4 * HOP  # frames, 93 ms
PATIENCE_S = 0.01
FADE = 256  # frames over which the sound ends where it is hushed, 6 ms


class Pump:
    """Keeps `AHEAD` frames ready. `taken` counts frames that a device took, `missing` those that were not there."""

    def __init__(self, session: Session, ahead: int = AHEAD) -> None:
        self._session = session
        self._ahead = ahead
        self._ready: deque[NDArray[np.float32]] = deque()
        self._made = 0
        self._wanted = Event()
        self._ended = self._hushed = self._still = False
        self._thread = Thread(target=self._run, name="pump", daemon=True)
        self.taken = 0
        self.missing = 0
        self.failure: Exception | None = None

    def start(self) -> None:
        self.fill()
        self._thread.start()

    def fill(self) -> None:
        """Make what is missing to have `AHEAD` frames ready."""
        while self.short():
            self.make()

    def short(self) -> bool:
        """Whether less than `AHEAD` frames are ready."""
        return self._made - self.taken < self._ahead

    def make(self) -> None:
        """One hop more."""
        self._ready.append(self._session.pull(HOP))
        self._made += HOP

    def _run(self) -> None:
        try:
            while not self._ended:
                self._wanted.clear()
                while self.short() and not self._ended:
                    self.make()
                self._wanted.wait(PATIENCE_S)
        except (
            Exception
        ) as wrong:  # told by whoever waits for the sound, and not lost with the thread
            self.failure = wrong

    def take(self, frames: int) -> NDArray[np.float32]:
        """The next frames, for the device: it copies and never waits."""
        out = np.zeros((frames, 2), np.float32)
        if self._still:
            return out
        hushed = self._hushed
        at = 0
        while at < frames and self._ready:
            chunk = self._ready.popleft()
            part = chunk[: frames - at]
            out[at : at + len(part)] = part
            at += len(part)
            if len(part) < len(chunk):
                self._ready.appendleft(chunk[len(part) :])
        self.taken += at
        if hushed:
            self._still = True
            fade = min(FADE, frames)
            out[:fade] *= np.linspace(1, 0, fade, dtype=np.float32)[:, None]
            out[fade:] = 0
            return out
        self.missing += frames - at
        self._wanted.set()
        return out

    def frames(self) -> Generator[NDArray[np.float32], int, None]:
        """For a device that sends how many frames it wants; started and endless."""
        frames = yield np.zeros((0, 2), np.float32)
        while True:
            frames = yield self.take(frames)

    def hush(self) -> None:
        """From the next frames on a device gets a short fade and then silence, and nothing more is made; this never waits."""
        self._hushed = self._ended = True
        self._wanted.set()

    def stop(self) -> None:
        """End the thread; what is ready is thrown away."""
        self.hush()
        if self._thread.is_alive():
            self._thread.join()
        self._ready.clear()
