"""Programs beside the server that do what takes time, so that nothing that is asked of the desk waits for it.

A worker reads asks and writes answers, one line of JSON each: `{"id", "do", …}` in, `{"id", "share", "words"}` while it
works and `{"id", "answer"}` or `{"id", "failed"}` at the end out. It ends when nobody can ask it any more: its input
closes when the server ends, however that comes about.
"""

from __future__ import annotations

import asyncio
import itertools
import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

from backing.ground.errors import RequestError

LONGEST = 64_000_000  # bytes of a line
PATIENCE_S = 3.0
Told = Callable[[float, str], None]  # the share that is done, 0 to 1, and what is being done


class Worker:
    """One program, started when it is first asked and anew where it has ended; asks are answered in order."""

    def __init__(self, command: Sequence[str], environment: dict[str, str]) -> None:
        self._command, self._environment = command, environment
        self._process: asyncio.subprocess.Process | None = None
        self._reading: asyncio.Task[None] | None = None
        self._waiting: dict[int, tuple[asyncio.Future[Any], Told | None]] = {}
        self._numbers = itertools.count(1)
        self._starting = asyncio.Lock()

    async def ask(self, do: str, told: Told | None = None, **what: object) -> Any:
        """The answer. Raises `RequestError` with the sentence of what was wrong."""
        async with self._starting:
            process = await self._running()
        number = next(self._numbers)
        answer: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
        self._waiting[number] = answer, told
        try:
            assert process.stdin is not None
            process.stdin.write(json.dumps({"id": number, "do": do, **what}).encode() + b"\n")
            await process.stdin.drain()
        except OSError:
            self._ended()
        try:
            return await answer
        finally:
            self._waiting.pop(number, None)

    async def close(self) -> None:
        """End the program and wait until it has ended."""
        process, self._process = self._process, None
        if process is None:
            return
        if process.stdin is not None:
            process.stdin.close()
        try:
            await asyncio.wait_for(process.wait(), 0.2 if self._waiting else PATIENCE_S)
        except TimeoutError:
            with suppress(ProcessLookupError):
                process.terminate()
            try:
                await asyncio.wait_for(process.wait(), PATIENCE_S)
            except TimeoutError:
                with suppress(ProcessLookupError):
                    process.kill()
                await process.wait()
        if self._reading is not None:
            await self._reading

    async def _running(self) -> asyncio.subprocess.Process:
        if self._process is None or self._process.returncode is not None:
            self._process = await asyncio.create_subprocess_exec(
                *self._command,
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                env=self._environment,
                limit=LONGEST,
                start_new_session=True,  # Ctrl-C is for the server, which ends it in its turn
            )
            self._reading = asyncio.create_task(self._read(self._process))
        return self._process

    async def _read(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdout is not None
        while line := await process.stdout.readline():
            said = json.loads(line)
            answer, told = self._waiting.get(said["id"], (None, None))
            if answer is None or answer.done():
                continue
            if "share" in said:
                if told is not None:
                    told(said["share"], said["words"])
            elif "failed" in said:
                answer.set_exception(RequestError(said["failed"]))
            else:
                answer.set_result(said["answer"])
        self._ended()

    def _ended(self) -> None:
        for answer, _ in list(self._waiting.values()):
            if not answer.done():
                answer.set_exception(RequestError("it ended before it was done; try again"))
