"""Takes are planned in a process of their own, so that what sounds never waits for what is planned.

A thread of this process would hold the interpreter for milliseconds at a time, and a block of sound lasts 23 of them.
What is asked goes over a pipe, with a number; takes come back as they are made, the one that is needed first before
the whole. What is asked next ends the work on what was asked before.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from contextlib import suppress
from threading import Condition, Lock, Thread
from typing import TYPE_CHECKING, Any

from backing.ground.errors import BackingError
from backing.live.take import Take

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from backing.timeline.model import Timeline

Between = Callable[[], object]  # called from time to time; what it raises ends the work
Make = Callable[[Any, Between], Iterator[Take]]
KINDNESS = 5  # by which the process gives way: what sounds comes first
PIECE = 512  # bars or chords that come at a time: what is read from a pipe holds the interpreter meanwhile
PART, TAKE, WRONG, DONE = range(4)
ENDED = "what plans the music has ended; play it again"


class Abandoned(Exception):
    """Something newer is asked."""


class Planner:
    """Hands each take of the newest wish to `ready`, what is wrong with it to `wrong`, both in a thread of its own.

    `make` and what is asked must be such as can be pickled; without `apart` they run in a thread.
    """

    def __init__(
        self,
        make: Make,
        ready: Callable[[Any, Take], None],
        wrong: Callable[[str], None],
        *,
        apart: bool = True,
    ) -> None:
        self._make, self._ready, self._wrong = make, ready, wrong
        self._apart = apart
        self._number = self._done = 0
        self._asked: Any = None
        self._ended = False
        self._changed = Condition()
        self._sending = Lock()
        self._pipe: Connection | None = None
        self._worker: Any = None
        self._thread: Thread | None = None

    def ask(self, asked: Any) -> None:
        """Ask for takes; what was asked before is not made any more."""
        with self._changed:
            self._number += 1
            self._asked = asked
            if self._thread is None:  # nothing is started before something is asked
                self._thread = Thread(target=self._run, name="planner", daemon=True)
                self._thread.start()
                return
        self._send()

    @property
    def busy(self) -> bool:
        """Whether something that was asked is not there yet."""
        return self._done < self._number

    def settle(self) -> None:
        """Wait until nothing is asked and nothing under way."""
        with self._changed:
            self._changed.wait_for(lambda: not self.busy or self._ended)

    def stop(self) -> None:
        """End the work, the process and the thread."""
        with self._changed:
            self._ended = True
            self._changed.notify_all()
        self._end_work()
        if self._thread is not None:
            self._thread.join()

    def _send(self) -> None:
        with self._sending, suppress(OSError):  # where it has ended, the thread asks anew
            if self._pipe is not None:
                self._pipe.send((self._number, self._asked))

    def _run(self) -> None:
        while not self._ended:
            pipe = self._begin()
            self._send()
            with suppress(EOFError, OSError):
                self._read(pipe)
            with self._sending:
                worker, self._worker, self._pipe = self._worker, None, None
            pipe.close()
            if worker is not None:
                worker.join()
                worker.close()  # else it holds its pipes until somebody collects garbage
            if not self._apart:
                break
            self._apart = False  # a process that has ended is not to be had: a thread goes on
        if not self._ended:
            self._wrong(ENDED)
        with self._changed:
            self._ended = True
            self._changed.notify_all()

    def _begin(self) -> Connection:
        from multiprocessing import Pipe, get_context

        here, there = Pipe()
        self._worker = None
        if self._apart:
            worker = get_context("spawn").Process(
                target=_work_apart, args=(self._make, there), name="planner", daemon=True
            )
            with _deaf():
                worker.start()
            there.close()
            self._worker = worker
        else:
            Thread(target=_work, args=(self._make, there), name="planning", daemon=True).start()
        with self._sending:
            self._pipe = here
        if self._ended:  # told so meanwhile
            self._end_work()
        return here

    def _end_work(self) -> None:
        """Have whoever makes takes end, which closes its end of the pipe."""
        with self._sending, suppress(OSError):
            if self._worker is not None:
                self._worker.terminate()
            elif self._pipe is not None:
                self._pipe.send(None)

    def _read(self, pipe: Connection) -> None:
        parts: dict[str, list[Any]] = {}
        known: Timeline | None = None
        while True:
            number, kind, what = pipe.recv()
            newest = number == self._number
            if kind == PART:
                field, items = what
                parts.setdefault(field, []).extend(items)
            elif kind == TAKE:
                take, timeline = what
                if timeline is not None:
                    known = timeline._replace(**{f: tuple(items) for f, items in parts.items()})
                    parts = {}
                if newest and not self._ended and known is not None:
                    self._ready(self._asked, _with_timeline(take, known))
            elif kind == WRONG and newest:
                self._wrong(what)
            elif kind == DONE:
                with self._changed:
                    self._done = max(self._done, number)
                    self._changed.notify_all()


class _deaf:
    """What is started meanwhile does not hear Ctrl-C, which is for this process."""

    def __enter__(self) -> None:
        if hasattr(signal, "pthread_sigmask"):
            from multiprocessing import resource_tracker

            resource_tracker.ensure_running()  # which would let Ctrl-C through again when it starts
            self._before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})

    def __exit__(self, *_: object) -> None:
        if hasattr(signal, "pthread_sigmask"):
            signal.pthread_sigmask(signal.SIG_SETMASK, self._before)


def _work_apart(make: Make, pipe: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(KINDNESS)
    _work(make, pipe)


def _work(make: Make, pipe: Connection) -> None:
    """Make what is asked until nobody can ask any more."""

    begun = False

    def between() -> None:
        if begun and pipe.poll():  # whoever asks faster than this makes still hears something
            raise Abandoned

    known: Timeline | None = None
    try:
        while True:
            told = pipe.recv()
            while told is not None and pipe.poll():
                told = pipe.recv()  # the newest
            if told is None:
                return
            number, asked = told
            try:
                begun = False
                for take in make(asked, between):
                    for kind, what in parcels(take, known):
                        pipe.send((number, kind, what))
                    known, begun = take.timeline, True
                    between()
            except Abandoned:
                pass
            except BackingError as wrong:
                pipe.send((number, WRONG, str(wrong)))
            pipe.send((number, DONE, None))
    except (EOFError, OSError):
        return
    finally:
        pipe.close()


def parcels(take: Take, known: Timeline | None) -> Iterator[tuple[int, Any]]:
    """A take as what is sent of it: its strokes, and its timeline in pieces unless that is `known`."""
    performance = take.performance
    arrangement = performance.arrangement
    timeline = arrangement.timeline
    plain = type(arrangement)(None, arrangement.style, arrangement.seed, ())  # type: ignore[arg-type]
    bare = take._replace(performance=performance._replace(arrangement=plain, players=()))
    if timeline is known:
        yield TAKE, (bare, None)
        return
    emptied: dict[str, tuple[()]] = {}
    for field, held in timeline._asdict().items():
        if isinstance(held, tuple) and len(held) > PIECE:
            emptied[field] = ()
            for at in range(0, len(held), PIECE):
                yield PART, (field, held[at : at + PIECE])
    yield TAKE, (bare, timeline._replace(**emptied))  # type: ignore[arg-type]


def _with_timeline(take: Take, timeline: Timeline) -> Take:
    performance = take.performance
    arrangement = performance.arrangement._replace(timeline=timeline)
    return take._replace(performance=performance._replace(arrangement=arrangement))


__all__ = ["Abandoned", "Planner"]
