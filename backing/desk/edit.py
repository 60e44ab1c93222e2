"""One editor's line to the desk: what is asked while somebody types, answered as it is known.

Asks are JSON with an `id` and what to `do`; answers carry the same `id` and `answer`, `failed`, or `share` and `words`
while a job is under way. Of the asks to look at a text, and of those to draw it, only the newest is answered: a text that
has been typed over meanwhile is nobody's concern.
"""

from __future__ import annotations

import asyncio
import json
from contextlib import suppress
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from backing.desk.jobs import Jobs
from backing.desk.workers import Worker
from backing.ground.errors import BackingError

QUICK = ("chord", "words")
SLOW = ("answers",)


class Edit:
    """Serves editors; `reader` looks at texts, `drawer` draws them, `thinker` has what takes longer, `jobs` make files."""

    def __init__(self, reader: Worker, drawer: Worker, thinker: Worker, jobs: Jobs) -> None:
        self.reader, self.thinker, self.jobs = reader, thinker, jobs
        self.newest = {"look": reader, "draw": drawer}  # what only the newest text is asked for

    async def serve(self, socket: WebSocket) -> None:
        """Answer one editor until it goes."""
        await socket.accept()
        line = _Line(socket, self)
        try:
            while True:
                line.take(json.loads(await socket.receive_text()))
        except (WebSocketDisconnect, RuntimeError, ValueError, KeyError, TypeError):
            pass
        finally:
            await line.close()


class _Line:
    def __init__(self, socket: WebSocket, edit: Edit) -> None:
        self.socket, self.edit = socket, edit
        self.tasks: set[asyncio.Task[None]] = set()
        self.jobs: dict[int, int] = {}  # ask: job
        self.newest: dict[str, dict[str, Any]] = {}
        self.busy: set[str] = set()

    def take(self, asked: dict[str, Any]) -> None:
        """Begin to answer. Raises KeyError, TypeError for what is no ask."""
        do, number = str(asked.pop("do")), int(asked.pop("id"))
        if do in self.edit.newest:
            self.newest[do] = {**asked, "id": number}
            if do not in self.busy:
                self.busy.add(do)
                self._begin(self._newest(do))
        elif do == "stop":
            self._begin(self._stop(int(asked["job"])))
        else:
            self._begin(self._answer(number, do, asked))

    def _begin(self, work: Any) -> None:
        task = asyncio.create_task(work)
        self.tasks.add(task)
        task.add_done_callback(self.tasks.discard)

    async def _newest(self, do: str) -> None:
        while (asked := self.newest.pop(do, None)) is not None:
            number = asked.pop("id")
            await self._told(number, self.edit.newest[do].ask(do, **asked))
        self.busy.discard(do)

    async def _answer(self, number: int, do: str, asked: dict[str, Any]) -> None:
        if do in QUICK:
            await self._told(number, self.edit.reader.ask(do, **asked))
        elif do in SLOW:
            await self._told(number, self.edit.thinker.ask(do, **asked))
        elif do == "make":
            job = self.jobs[number] = self.edit.jobs.number()

            def told(share: float, words: str) -> None:
                self._begin(self._send({"id": number, "share": share, "words": words}))

            await self._told(number, self._made(job, told, asked))
            self.jobs.pop(number, None)
        else:
            await self._send({"id": number, "failed": f"nothing is known of {do[:40]!r}"})

    async def _made(self, job: int, told: Any, asked: dict[str, Any]) -> dict[str, Any]:
        names = await self.edit.jobs.make(job, told, **asked)
        return {"job": job, "files": names}

    async def _stop(self, ask: int) -> None:
        if ask in self.jobs:
            await self.edit.jobs.stop(self.jobs[ask])

    async def _told(self, number: int, work: Any) -> None:
        try:
            await self._send({"id": number, "answer": await work})
        except BackingError as wrong:
            await self._send({"id": number, "failed": str(wrong)})

    async def _send(self, said: dict[str, Any]) -> None:
        with suppress(WebSocketDisconnect, RuntimeError):  # it has gone meanwhile
            await self.socket.send_text(json.dumps(said, ensure_ascii=False))

    async def close(self) -> None:
        """Nobody waits for what is under way any more; its jobs end."""
        for job in list(self.jobs.values()):
            await self.edit.jobs.stop(job)
        for task in list(self.tasks):
            task.cancel()
