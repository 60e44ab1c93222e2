"""What the desk answers: its page, the folder over HTTP, and over a WebSocket whatever is asked while typing.

Conventions: offsets count UTF-16 units and lines end in one sign, as in the editor. Refusals are JSON
`{"failed": sentence}` with status 400; the door's own are 403.
"""

from __future__ import annotations

import asyncio
import json
import mimetypes
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, NamedTuple

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles

from backing.desk.edit import Edit
from backing.desk.folder import Folder
from backing.desk.jobs import Jobs
from backing.desk.sound import Desk as Heard
from backing.desk.sound import Music, Sound
from backing.desk.workers import Worker
from backing.ground.errors import BackingError, ChartError

WEB = Path(__file__).parent / "web"
PAGE = (
    WEB.parent.parent / "output" / "page" / "web"
)  # the practice page's own parts: faces of type, chords, grips
FONTS = WEB.parent.parent / "output" / "fonts"
MOST_BYTES = 8_000_000
for kind, endings in {
    "text/javascript": (".js", ".mjs"),
    "font/woff2": (".woff2",),
    "font/ttf": (".ttf",),
}.items():
    for ending in endings:
        mimetypes.add_type(kind, ending)  # what a system has noted down is not always right


class Asked(NamedTuple):
    """What a desk needs: its folder, how its workers are started, how a chart is begun, the pages of the guide, how it is told to end, and a band for each page."""

    folder: Folder
    worker: Callable[[], Worker]
    starter: Callable[[str], str]
    guide: Callable[[str], str | None]
    end: Callable[[], None]
    music: Callable[[Heard], Music]


class Desk:
    """The routes of one desk."""

    def __init__(self, asked: Asked, jobs: Jobs) -> None:
        self.asked, self.folder, self.jobs = asked, asked.folder, jobs
        self.reader, self.drawer, self.thinker = (asked.worker() for _ in range(3))

    def routes(self) -> Sequence[BaseRoute]:
        posts: dict[str, Callable[[dict[str, Any]], object]] = {
            "save": lambda told: self.folder.save(
                _word(told, "name"), _word(told, "text"), _word(told, "revision")
            )._asdict(),
            "new": self._new,
            "rename": lambda told: {"name": self.folder.rename(_word(told, "name"), _word(told, "to"))},
            "delete": lambda told: {"name": self.folder.delete(_word(told, "name"))},
            "restore": lambda told: {"name": self.folder.restore(_word(told, "name"))},
        }  # fmt: skip
        return [
            Route("/", self._page),
            Route("/charts", self._charts),
            Route("/charts/open", self._open),
            *(
                Route(f"/charts/{name}", self._post(act), methods=["POST"])
                for name, act in posts.items()
            ),
            Route("/taken/{job:int}/{number:int}", self._taken),
            Route("/guide/{topic}", self._guide),
            Route("/end", self._end, methods=["POST"]),
            WebSocketRoute("/edit", Edit(self.reader, self.drawer, self.thinker, self.jobs).serve),
            WebSocketRoute("/sound", Sound(self.asked.music).serve),
            Mount("/web", StaticFiles(directory=WEB)),
            Mount("/page", StaticFiles(directory=PAGE)),
            Mount("/fonts", StaticFiles(directory=FONTS)),
        ]

    async def close(self) -> None:
        workers = (self.reader, self.drawer, self.thinker, self.jobs)
        await asyncio.gather(*(one.close() for one in workers))

    async def _page(self, _: Request) -> Response:
        return FileResponse(WEB / "desk.html")

    async def _charts(self, _: Request) -> Response:
        def listed() -> dict[str, object]:
            return {
                "folder": str(self.folder.path),
                "sound": (WEB / "player.js").is_file(),
                "charts": [one._asdict() for one in self.folder.charts()],
                "bin": [one._asdict() for one in self.folder.deleted()],
            }

        return await _answer(listed)

    async def _open(self, request: Request) -> Response:
        name = request.query_params.get("name", "")
        return await _answer(lambda: self.folder.open(name)._asdict())

    def _new(self, told: dict[str, Any]) -> object:
        name = _word(told, "name").strip() or "New tune"
        text = _word(told, "text") if "text" in told else self.asked.starter(name)
        return self.folder.new(name, text)._asdict()

    def _post(
        self, act: Callable[[dict[str, Any]], object]
    ) -> Callable[[Request], Awaitable[Response]]:
        async def post(request: Request) -> Response:
            told = await _told(request)
            if told is None:
                return _failed("this could not be read")
            return await _answer(lambda: act(told))

        return post

    async def _taken(self, request: Request) -> Response:
        path = self.jobs.file(request.path_params["job"], request.path_params["number"])
        if path is None:
            return _failed("this file is gone; make it again", 404)
        return FileResponse(
            path, filename=path.name, headers={"content-security-policy": "sandbox"}
        )

    async def _guide(self, request: Request) -> Response:
        page = await run_in_threadpool(self.asked.guide, request.path_params["topic"])
        return HTMLResponse(page) if page else _failed("the guide has no such page", 404)

    async def _end(self, _: Request) -> Response:
        asyncio.get_running_loop().call_later(0.05, self.asked.end)  # once this is answered
        return JSONResponse({"ended": True})


def application(asked: Asked) -> Starlette:
    """The desk without its door."""
    jobs = Jobs(asked.worker)
    desk = Desk(asked, jobs)

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        try:
            yield
        finally:
            await desk.close()

    return Starlette(routes=desk.routes(), lifespan=lifespan)


def _word(told: dict[str, Any], name: str) -> str:
    """A text of what was told. Raises `BackingError`."""
    found = told.get(name)
    if not isinstance(found, str):
        raise BackingError(f"{name} is missing")
    return found


async def _told(request: Request) -> dict[str, Any] | None:
    """The object that a request holds, None for anything else."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        return None
    data = b""
    try:
        async for part in request.stream():
            data += part
            if len(data) > MOST_BYTES:
                return None
        told = json.loads(data)
    except (ClientDisconnect, ValueError, RecursionError):
        return None
    return told if isinstance(told, dict) else None


async def _answer(act: Callable[[], object]) -> Response:
    """What a call finds, or why it could not; it runs beside the server, since disks take their time."""
    try:
        return JSONResponse(await run_in_threadpool(act))
    except ChartError as wrong:
        return _failed("; ".join(d.message for d in wrong.diagnostics))
    except BackingError as wrong:
        return _failed(str(wrong))


def _failed(words: str, status: int = 400) -> Response:
    return JSONResponse({"failed": words}, status)
