"""The band of one page of the desk: what the page asks goes to a thread that plays, sound and places come back.

The page says how much it wants (`{"do": "want", "generation", "frames"}`, a count from the beginning of a generation), and
no more than that is made. A new generation begins where what was sent and not heard yet is of no use any more: at a stop
and at a jump. Sound is sent as a header (generation u32, number of its first frame u64, count of frames u32) and float32
in pairs, all little-endian, at 44.1 kHz; everything else is JSON: `{"at": {"generation", "frame", "bar", "beat",
"line"}}` for what is heard at a frame, `{"playing"}`, `{"rest": generation}` when nothing sounds any more, `{"tempo"}` in
quarters a minute, `{"failed": sentence}`.

Nothing of this waits for the server's loop, nor the loop for it: the thread alone touches the music.
"""

from __future__ import annotations

import asyncio
import json
import struct
from collections.abc import Callable, Mapping
from contextlib import suppress
from queue import Empty, SimpleQueue
from threading import Thread
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from starlette.concurrency import run_in_threadpool
from starlette.websockets import WebSocket, WebSocketDisconnect

from backing.ground.errors import BackingError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

HEADER = struct.Struct("<IQI")
CHUNK = 1024  # frames sent at a time, 23 ms
AHEAD = 8 * CHUNK  # frames that a page gets before it says how much it wants, 186 ms
MOST_AHEAD = 44_100  # frames that a page may have waiting on its way, 1 s
MOST_ASKED = 4096  # asks that wait; a page that asks more is none of ours
STILL = 1e-5  # below -100 dB nothing is heard
STILL_FRAMES = 16 * CHUNK  # 0.4 s
ROOM: Mapping[str, Any] = {}  # what wakes the thread when something has been sent


class Where(NamedTuple):
    """Where the music is: a number on the sheet (0 beside it), a beat from 1, a line of the text from 1."""

    bar: int
    beat: int
    line: int


class Music(Protocol):
    """What plays for one page; all of it is called from one thread."""

    @property
    def playing(self) -> bool: ...

    @property
    def where(self) -> Where | None:
        """What will have been heard when the frames pulled so far have; None where nothing plays."""

    def do(self, told: Mapping[str, Any]) -> None:
        """Do what is asked. Raises `BackingError`, and KeyError, TypeError, ValueError for what is no ask."""

    def pull(self, frames: int) -> NDArray[np.float32]: ...
    def close(self) -> None: ...


class Desk(Protocol):
    """What music may ask of whom it plays for."""

    def tell(self, said: Mapping[str, object]) -> None:
        """Tell the page."""

    def soon(self, act: Callable[[], object]) -> None:
        """Do something in the thread of the music; this may come from any thread."""

    def anew(self) -> None:
        """What was sent and not heard yet is not to be heard any more."""

    def wake(self) -> None:
        """There is something to hear."""


class Sound:
    """Serves pages; `music` makes a band for each."""

    def __init__(self, music: Callable[[Desk], Music]) -> None:
        self._music = music

    async def serve(self, socket: WebSocket) -> None:
        """Play for one page until it goes."""
        await socket.accept()
        await Player(socket, self._music).talk()


class Player:
    """The band of one page."""

    def __init__(self, socket: WebSocket, music: Callable[[Desk], Music]) -> None:
        self._socket = socket
        self._open = music
        self._loop = asyncio.get_running_loop()
        self._out: asyncio.Queue[bytes | str] = asyncio.Queue()
        self._asked: SimpleQueue[Mapping[str, Any] | Callable[[], object] | None] = SimpleQueue()
        self._generation = 0
        self._wanted = AHEAD
        self._sent = 0  # frames of this generation
        self._handed = self._gone = 0  # frames that were made and sent, each counted by one thread
        self._still = 0
        self._resting = True
        self._playing = False
        self._where: Where | None = None

    async def talk(self) -> None:
        """Take asks until the page goes, then end the music."""
        thread = Thread(target=self._run, name="sound", daemon=True)
        thread.start()
        sender = asyncio.create_task(self._send())
        try:
            while self._asked.qsize() < MOST_ASKED:
                told = json.loads(await self._socket.receive_text())
                if isinstance(told, dict):
                    self._asked.put(told)
        except (
            WebSocketDisconnect,
            RuntimeError,
            ValueError,
            KeyError,
        ):  # it may have gone while sound was sent
            pass
        finally:
            sender.cancel()
            self._asked.put(None)
            await asyncio.shield(run_in_threadpool(thread.join))

    async def _send(self) -> None:
        with suppress(WebSocketDisconnect, RuntimeError):  # the page has gone
            while True:
                said = await self._out.get()
                if isinstance(said, bytes):
                    await self._socket.send_bytes(said)
                    self._gone += CHUNK
                    self._asked.put(ROOM)
                else:
                    await self._socket.send_text(said)

    # what music may ask

    def tell(self, said: Mapping[str, object]) -> None:
        self._hand(json.dumps(said, ensure_ascii=False))

    def soon(self, act: Callable[[], object]) -> None:
        self._asked.put(act)

    def anew(self) -> None:
        self._generation += 1
        self._sent, self._wanted, self._where = 0, AHEAD, None
        self.tell({"generation": self._generation})
        self.wake()

    def wake(self) -> None:
        self._resting, self._still = False, 0

    def _hand(self, said: bytes | str) -> None:
        with suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._out.put_nowait, said)

    # the thread

    def _run(self) -> None:
        music = self._open(self)
        try:
            while True:
                try:
                    told = self._asked.get(block=not self._due())
                except Empty:
                    self._make(music)
                    continue
                if told is None:
                    return
                self._do(music, told)
        except Exception as wrong:  # told to the page, and not lost with the thread
            self.tell({"failed": f"the band has stopped: {wrong}", "playing": False})
            raise
        finally:
            music.close()

    def _due(self) -> bool:
        """Whether there is something to make and somebody who wants it."""
        room = self._handed - self._gone + CHUNK <= MOST_AHEAD
        return room and not self._resting and self._sent + CHUNK <= self._wanted

    def _do(self, music: Music, told: Mapping[str, Any] | Callable[[], object]) -> None:
        try:
            if told is ROOM:
                return
            if callable(told):
                told()
            elif told.get("do") == "want":
                if int(told["generation"]) == self._generation:
                    self._wanted = int(told["frames"])
            else:
                music.do(told)
            self._see(music)
        except BackingError as wrong:
            self.tell({"failed": str(wrong)})
        except (KeyError, TypeError, ValueError) as wrong:
            self.tell({"failed": f"the band does not understand this: {wrong}"})

    def _see(self, music: Music) -> None:
        if music.playing != self._playing:
            self._playing = music.playing
            self.tell({"playing": self._playing})
        if self._playing:
            self.wake()

    def _make(self, music: Music) -> None:
        """A chunk, and where it is."""
        sound = music.pull(CHUNK)
        where = music.where
        if where is not None and where != self._where:
            frame = self._sent + CHUNK
            at = {"generation": self._generation, "frame": frame, **where._asdict()}
            self.tell({"at": at})
            self._where = where
        self._handed += CHUNK
        header = HEADER.pack(self._generation, self._sent, CHUNK)
        self._hand(header + sound.astype("<f4").tobytes())
        self._sent += CHUNK
        self._see(music)
        self._still = self._still + CHUNK if abs(sound).max() < STILL else 0
        if not self._playing and self._still >= STILL_FRAMES:
            self._resting = True
            self.tell({"rest": self._generation})
