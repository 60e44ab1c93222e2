"""Runs a command once for every file operation that it makes, and stops the process there.

An audit hook counts what changes the disk (a file opened to be written, renamed or removed, a folder made or removed)
and the waits for the disk; at the wanted one the process ends at once, as when the plug is pulled: whatever was not
waited for may be lost, so of every file that was written and not synced the new half is cut off first.

Source: the method is that of SQLite's crash tests (src/test6.c: writes that were not synced may land, vanish or spoil).
Run as a program: `python -m tests.stopping BEFORE WORK STEP COMMAND…`; it prints a line of JSON a stop.
"""

# The hook does without pathlib, whose calls it would hear.
# ruff: noqa: PTH100, PTH113, PTH114, PTH115, PTH119, PTH123, PTH202
from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from itertools import count
from pathlib import Path
from typing import Any

STOPPED = 9
RENAMES = ("os.rename",)
CHANGES = ("os.remove", "os.mkdir", "os.rmdir", "os.truncate", "shutil.rmtree")
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC


class Plug:
    """Counts operations below a folder and ends the process before number `stop`."""

    def __init__(self, folder: Path, stop: int) -> None:
        self.process = os.getpid()
        self.folder = str(folder.resolve())
        self.stop = stop
        self.count = 0
        self.synced: set[str] = set()
        self.safe: dict[str, int] = {}  # bytes of a file that no stop can take
        self.written: set[str] = set()
        self._fsync = os.fsync

    def fit(self) -> None:
        """Listen from now on."""
        sys.addaudithook(self.hear)
        os.fsync = self.fsync

    def below(self, path: object) -> str | None:
        """The real path where it lies in the folder."""
        if not isinstance(path, str | bytes | os.PathLike):
            return None
        full = os.path.abspath(os.fsdecode(path))
        return full if full.startswith(self.folder + os.sep) else None

    def hear(self, event: str, given: tuple[Any, ...]) -> None:
        """One event of the interpreter (PEP 578)."""
        if event == "open":
            path, mode, flags = given
            full = self.below(path)
            writes = flags & WRITING if isinstance(flags, int) else "r" not in (mode or "r")
            if full is not None and writes and os.path.basename(full) != "lock":
                self.tick()
                self.written.add(full)
                self.synced.discard(full)
                emptied = isinstance(flags, int) and flags & os.O_TRUNC
                kept = not emptied and os.path.isfile(full)
                self.safe[full] = os.path.getsize(full) if kept else 0
        elif event in RENAMES:
            old, new = self.below(given[0]), self.below(given[1])
            if old is not None or new is not None:
                self.tick()
            if new is not None:
                (self.synced.add if old in self.synced else self.synced.discard)(new)
                self.written.add(new)
                self.written.discard(old or "")
                self.safe[new] = self.safe.get(old or "", 0)
        elif event in CHANGES and self.below(given[0]) is not None:
            self.tick()

    def fsync(self, file: int) -> None:
        """Wait for the disk, and note which file is safe."""
        path = os.readlink(f"/proc/self/fd/{file}")
        self.synced.discard(path)  # what was written since the last time
        self.tick()
        self._fsync(file)
        self.synced.add(path)
        self.safe[path] = os.fstat(file).st_size

    def tick(self) -> None:
        """One operation more; the last one pulls the plug."""
        self.count += 1
        if self.count == self.stop:
            self.stop = -1
            for path in self.written - self.synced:
                if os.path.isfile(path) and not os.path.islink(path):
                    with open(path, "r+b") as file:
                        safe = min(self.safe.get(path, 0), os.path.getsize(path))
                        file.truncate(safe + (os.path.getsize(path) - safe) // 2)
            os._exit(STOPPED)


def in_process(work: Callable[[], None]) -> int:
    """Run in a process of its own; returns its exit code."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def command(arguments: Sequence[str], folder: Path, plug: Plug | None = None) -> Callable[[], None]:
    """A command line of the program, run in a folder, quietly."""

    def work() -> None:
        os.chdir(folder)
        from backing.commands.cli import run

        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        if plug is not None:
            plug.fit()
        assert run(list(arguments)) == 0

    return work


def stops(
    before: Path, work: Path, step: int, arguments: Sequence[str]
) -> Iterator[dict[str, Any]]:
    """For each operation: what lies in the folder after a stop there, and after the next run of the same command.

    With a `step` above 1 only every so many are tried.
    """
    for stop in count(1, step):
        shutil.rmtree(work, ignore_errors=True)
        shutil.copytree(before, work, symlinks=True)
        code = in_process(command(arguments, work, Plug(work, stop)))
        stopped = digests(work)
        again = in_process(command(arguments, work))
        yield {
            "stop": stop,
            "code": code,
            "stopped": stopped,
            "again": again,
            "after": digests(work),
        }
        if code != STOPPED:
            return


def digests(folder: Path) -> dict[str, str]:
    """Every file below a folder and its bytes as a short hash; folders are `/`."""
    from backing.output.jobs import digest_of

    return {
        p.relative_to(folder).as_posix(): "/" if p.is_dir() else digest_of(p)
        for p in sorted(folder.rglob("*"))
    }


def report(
    before: Path, work: Path, arguments: Sequence[str], step: int = 1
) -> list[dict[str, Any]]:
    """The stops of a command, found in an interpreter without threads, which can fork safely."""
    root = Path(__file__).parent.parent
    done = subprocess.run(
        [sys.executable, "-m", "tests.stopping", str(before), str(work), str(step), *arguments],
        cwd=root, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def load() -> None:
    """Import what the commands need once, for all processes."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # a thread does not survive a fork
    import mido  # noqa: F401
    import typst  # noqa: F401

    import backing.commands.lesson
    import backing.commands.practice
    import backing.output.page.write
    import backing.output.sheet.write  # noqa: F401


if __name__ == "__main__":
    load()
    for told in stops(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]), sys.argv[4:]):
        print(json.dumps(told), flush=True)
