"""Who does jobs: this process, others on this machine, or (in `cluster`) other machines; one window of them at a time.

Conventions: a task is data that another process can be sent; it makes its files in a folder that nobody else uses. What a
task raises on purpose is its result, and stops no other. One that ends its process is tried once more by itself, so that
the right one is named; the others that were under way are done again.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import active_children, get_context, parent_process
from multiprocessing.connection import wait as ended
from pathlib import Path
from threading import Thread
from typing import NamedTuple

from backing.ground.errors import BackingError, OutputError

AHEAD = 2  # tasks a worker that are sent before the first is done
KILLED = "its work ended the process that did it"


class Task(NamedTuple):
    """Files to make in `folder`. `name` is what for, `key` is the same for the same work, `wanted` are the paths."""

    name: str
    key: str
    make: Callable[[Path, frozenset[str], Callable[[float, str], None]], object]
    folder: Path
    wanted: frozenset[str]


class Done(NamedTuple):
    """A task with what it told, or why it failed."""

    task: Task
    told: object = None
    failure: BaseException | None = None


Crew = Callable[[Iterable[Task]], Iterator[Done]]


def alone(tasks: Iterable[Task]) -> Iterator[Done]:
    """Do tasks here, one after the other."""
    return map(do, tasks)


def do(task: Task) -> Done:
    """Do a task here."""
    try:
        told = task.make(task.folder, task.wanted, lambda share, words: None)
    except (BackingError, OSError) as wrong:
        return Done(task, failure=wrong)
    return Done(task, told)


def processes(count: int) -> Crew:
    """A crew of `count` processes on this machine, each a fresh interpreter."""

    def crew(tasks: Iterable[Task]) -> Iterator[Done]:
        waiting = iter(tasks)
        suspects: list[Task] = []
        more = True
        while more:
            more = yield from _until_one_dies(waiting, count, suspects)
            for task in suspects:
                yield from _by_itself(task)
            suspects.clear()

    return crew


def _until_one_dies(
    waiting: Iterator[Task], count: int, suspects: list[Task]
) -> Generator[Done, None, bool]:
    """Do tasks until there are none (False) or a process has ended (True); then `suspects` are those under way."""
    with _pool(count) as pool:
        under_way: dict[Future[Done], Task] = {}
        full = True
        while True:
            while full and len(under_way) < AHEAD * count:
                task = next(waiting, None)
                if task is None:
                    full = False
                    break
                under_way[pool.submit(do, task)] = task
            if not under_way:
                return False
            done, _ = wait(under_way, return_when=FIRST_COMPLETED)
            for future in done:
                task = under_way.pop(future)
                if isinstance(future.exception(), BrokenProcessPool):
                    suspects.append(task)
                else:
                    yield _result(future, task)
            if suspects:
                suspects += under_way.values()
                return True


def _by_itself(task: Task) -> Iterator[Done]:
    """Do a task in a process that it does not share, and tell where that ends."""
    with _pool(1) as pool:
        yield _result(pool.submit(do, task), task)


def _result(future: Future[Done], task: Task) -> Done:
    wrong = future.exception()
    if wrong is None:
        return future.result()
    if isinstance(wrong, BrokenProcessPool):
        return Done(task, failure=OutputError(KILLED))
    return Done(task, failure=wrong)


class _pool:
    """Fresh processes, ended with the block and with this process, however either ends."""

    def __init__(self, count: int) -> None:
        self._pool = ProcessPoolExecutor(count, get_context("spawn"), initializer=_begun)

    def __enter__(self) -> ProcessPoolExecutor:
        return self._pool

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is not None:  # nobody waits for their work any longer
            for child in active_children():
                child.terminate()
        self._pool.shutdown(cancel_futures=True)


def _begun() -> None:
    """What a new process does first: leave interrupts to its parent, and end where that has ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    assert parent is not None

    def watch() -> None:
        ended([parent.sentinel])
        os._exit(1)

    Thread(target=watch, daemon=True).start()
