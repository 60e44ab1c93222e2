"""Jobs done on a Dask cluster: the same tasks as on this machine, sent as data; their files come back and are checked.

Conventions: a window of tasks is under way at any time, each under the key of what shapes it; a result comes straight
from the worker that has it, and is let go of at once. A lost worker's tasks are done again by others (Dask's doing); a
task that ends worker after worker is given up and named when the scheduler's `allowed-failures` is reached. Dask only warns of
versions that differ, so we compare our own list: whatever could change a byte. Every result tells its worker's list
too, for a worker may join at any time.
Whoever can reach a scheduler can run any program on its workers, and results are unpickled here: a network that is
trusted, or TLS with certificates of your own (`tls://`, set in Dask's configuration), and nothing else.
"""

from __future__ import annotations

import logging
import platform
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

from backing.ground.errors import BackingError, OutputError
from backing.ground.version import VERSION
from backing.output.crew import AHEAD, KILLED, Crew, Done, Task, do
from backing.output.digest import digest_of, fingerprint

ANSWER_S = 10.0  # until somebody must have answered
PATIENCE_S = 20.0  # without a result, until it is asked whether there are workers at all
_LIBRARIES = ("numpy", "mido", "typst", "verovio", "pygame-ce", "pyfluidsynth", "imageio-ffmpeg")


class Brought(NamedTuple):
    """What a worker sends back: what the task told or why it failed, its files with their hashes, and the worker's list."""

    told: object
    failure: BaseException | None
    files: Mapping[str, tuple[str, bytes]]
    versions: Mapping[str, str]


@contextmanager
def connected(address: str, soundfont: Path | None) -> Iterator[Crew]:
    """A crew that is the cluster at `address`, whose workers are all like this machine.

    Raises `OutputError` where Dask is not installed, nobody answers, or versions differ.
    """
    try:
        distributed: Any = import_module("distributed")  # whose functions have no types
    except ImportError as missing:
        raise OutputError(
            "--scheduler needs Dask: install it with pip install 'backing[cluster]', here and on every worker"
        ) from missing
    quieted("distributed")
    try:
        client: Any = distributed.Client(
            address, timeout=ANSWER_S, set_as_default=False, direct_to_workers=True
        )
    except (OSError, ValueError, ImportError) as wrong:
        raise OutputError(f"--scheduler {address}: nobody answers there: {wrong}") from wrong
    with client:
        if not client.nthreads():
            raise OutputError(f"--scheduler {address}: the cluster has no workers")
        here = versions(soundfont)
        for worker, there in sorted(client.run(versions, soundfont).items()):
            alike(worker, here, there)
        yield lambda tasks: _done(distributed, client, tasks, soundfont, here)


def quieted(name: str) -> None:
    """Let a library log nothing; what matters is told by us."""
    logging.getLogger(name).setLevel(logging.CRITICAL)


def _done(
    distributed: Any,
    client: Any,
    tasks: Iterable[Task],
    soundfont: Path | None,
    here: Mapping[str, str],
) -> Iterator[Done]:
    """Send a window of tasks, and another whenever one is done."""
    waiting = iter(tasks)
    under_way: dict[Any, Task] = {}
    more = True
    while True:
        most = AHEAD * max(1, sum(client.nthreads().values()))
        while more and len(under_way) < most:
            task = next(waiting, None)
            if task is None:
                more = False
            else:
                paths = sorted(task.wanted)
                key = f"backing-{task.key}"
                under_way[
                    client.submit(at_work, task.name, task.make, paths, soundfont, key=key)
                ] = task
        if not under_way:
            return
        try:
            with client.as_current():
                ready = distributed.wait(
                    list(under_way), timeout=PATIENCE_S, return_when="FIRST_COMPLETED"
                ).done
        except distributed.TimeoutError:
            if not client.nthreads():
                raise OutputError(
                    "the cluster has lost all its workers; start some, and run this again"
                ) from None
            continue
        for future in ready:
            yield _brought(distributed, future, under_way.pop(future), here)
            future.release()


def _brought(distributed: Any, future: Any, task: Task, here: Mapping[str, str]) -> Done:
    """The files of a result in their folder, each as its worker wrote it."""
    if future.status != "finished":
        wrong = future.exception()
        killed = isinstance(wrong, distributed.KilledWorker)
        return Done(task, failure=OutputError(KILLED) if killed else wrong)
    result: Brought = future.result()
    alike("a worker that came later", here, result.versions)
    if result.failure is not None:
        return Done(task, failure=result.failure)
    for path, (digest, data) in result.files.items():
        target = task.folder / path
        if path not in task.wanted:
            raise OutputError(f"a worker sent {path}, which nobody has asked for")
        target.write_bytes(data)
        if digest_of(target) != digest:
            return Done(task, failure=OutputError(f"{path} did not come back as it was sent"))
    return Done(task, result.told)


def at_work(
    name: str, make: Callable[..., object], paths: list[str], soundfont: Path | None
) -> Brought:
    """On a worker: do a task in a folder of its own."""
    with TemporaryDirectory(prefix="backing-") as place:
        folder = Path(place)
        for path in paths:
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
        done = do(Task(name, "", make, folder, frozenset(paths)))
        files = {
            path: (digest_of(folder / path), (folder / path).read_bytes())
            for path in (paths if done.failure is None else ())
        }
    return Brought(done.told, done.failure, files, versions(soundfont))


def alike(worker: str, here: Mapping[str, str], there: Mapping[str, str]) -> None:
    """Raises `OutputError` where a worker has something else than this machine, with everything that differs."""
    differ = [
        f"{name} {there.get(name, 'none')} (here {here.get(name, 'none')})"
        for name in sorted({*here, *there})
        if here.get(name) != there.get(name)
    ]
    if differ:
        raise OutputError(
            f"{worker} would make other files than this machine: it has {', '.join(differ)}; "
            "install the same there as here"
        )


@lru_cache(maxsize=4)
def versions(soundfont: Path | None) -> dict[str, str]:
    """Whatever could change a byte of a file, by name."""
    from importlib.metadata import PackageNotFoundError, version

    found = {
        "program": f"{VERSION} {sources()}",
        "Python": ".".join(map(str, sys.version_info[:2])),
        "machine": platform.machine(),
        "soundfont": _font(soundfont),
        "synthesiser": _engine(),
    }
    for name in _LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "none"
    return found


def sources() -> str:
    """A short hash of the program itself: the same version may lie on two machines in two states."""
    root = Path(__file__).parent.parent
    kinds = (".py", ".typ", ".js", ".css", ".html")
    files = sorted(p for p in root.rglob("*") if p.suffix in kinds)
    return fingerprint(*(part for p in files for part in (p.name, p.read_bytes())))[:8]


def _font(soundfont: Path | None) -> str:
    from backing.output.sound.digests import digest_of_font
    from backing.output.sound.soundfont import find

    try:
        path = find(soundfont)
        return f"{path.name} {digest_of_font(path)[:8]}"
    except BackingError:
        return "none"


def _engine() -> str:
    from backing.output.sound.engine import engine_path

    try:
        path = Path(engine_path())
    except BackingError:
        return "none"
    return digest_of(path)[:8] if path.is_file() else path.name
