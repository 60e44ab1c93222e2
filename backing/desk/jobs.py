"""What is made to be taken away: each job in a program of its own, its files in a folder that goes with the desk."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from backing.desk.workers import Told, Worker

AT_ONCE = 2


class Jobs:
    """The jobs of one desk. Files are fetched by the number of their job and their own."""

    def __init__(self, worker: Callable[[], Worker]) -> None:
        self._worker = worker
        self._numbers = itertools.count(1)
        self._files: dict[int, list[Path]] = {}
        self._running: dict[int, Worker] = {}
        self._room = asyncio.Semaphore(AT_ONCE)
        self._folder: TemporaryDirectory[str] | None = None

    def number(self) -> int:
        """The number of a new job."""
        return next(self._numbers)

    async def make(self, number: int, told: Told, **what: Any) -> list[str]:
        """Do a job; the names of what was made. Raises `RequestError`."""
        async with self._room:
            if self._folder is None:
                self._folder = TemporaryDirectory(prefix="backing-desk-")
            place = Path(self._folder.name) / str(number)
            place.mkdir()
            worker = self._running[number] = self._worker()
            try:
                made = await worker.ask("make", told, place=str(place), **what)
            finally:
                del self._running[number]
                await worker.close()
        self._files[number] = [place / name for name in made]
        return [str(name) for name in made]

    async def stop(self, number: int) -> None:
        """End a job that is under way."""
        if number in self._running:
            await self._running[number].close()

    def file(self, job: int, number: int) -> Path | None:
        """A file of a job that is done, counted from 0."""
        files = self._files.get(job, [])
        return files[number] if number < len(files) and files[number].is_file() else None

    async def close(self) -> None:
        """End what is under way and remove everything."""
        await asyncio.gather(*(worker.close() for worker in list(self._running.values())))
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None
