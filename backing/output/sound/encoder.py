"""The ffmpeg program as an encoder: where it is, what it said when it failed, and when it is given up.

Conventions: an encoder that takes no sample, or does not finish, for `SILENCE_S` seconds is ended.
"""

from __future__ import annotations

import errno
import shutil
import subprocess
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread
from typing import TypeVar

from backing.ground.errors import AudioUnavailable, OutputError

T = TypeVar("T")
SILENCE_S = 60.0  # a block is encoded within a tenth of a second; a slow disk may hold one up for much longer


_CHUNK = 1 << 14  # bytes of an encoded sound at a time


def encoder_path() -> str:
    """The ffmpeg program that imageio-ffmpeg brings (or that `IMAGEIO_FFMPEG_EXE` names). Raises `AudioUnavailable`."""
    try:
        import imageio_ffmpeg

        path = str(imageio_ffmpeg.get_ffmpeg_exe())
    except (ImportError, RuntimeError) as error:
        raise AudioUnavailable(
            "there is no encoder: install it with pip install imageio-ffmpeg"
        ) from error
    if shutil.which(path) is None:
        raise AudioUnavailable(f"the encoder cannot be started: there is no program {path}")
    return path


def failure(report: bytes) -> Exception:
    """What ended an encoder, from what it said."""
    said = report.decode("utf-8", "replace").strip().splitlines()
    if any("No space left" in line for line in said):
        return OSError(errno.ENOSPC, "the disk is full")
    return OutputError(
        f"the encoder stopped before the end: {said[-1] if said else 'it was ended'}"
    )


def hung() -> OutputError:
    """The sentence about an encoder that was given up."""
    return OutputError(
        f"the encoder gave no sign of life for {SILENCE_S:g} seconds and was ended; try again, "
        "or write .wav, which needs no encoder"
    )


def started(arguments: Sequence[str], source: int, into: int) -> subprocess.Popen[bytes]:
    """The encoder at work, with its standard input and output as `subprocess` knows them. Raises `AudioUnavailable`."""
    try:
        return subprocess.Popen(
            [encoder_path(), "-hide_banner", "-loglevel", "error", *arguments],
            stdin=source,
            stdout=into,
            stderr=subprocess.PIPE,
        )
    except OSError as error:
        raise AudioUnavailable(f"the encoder cannot be started: {error.strerror}") from error


class _Watch:
    """Ends a program once it has been waited for so long that it must hang."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.given_up = False
        self._process = process
        self._waiting = False
        self._sign = Event()
        self._over = Event()
        self._thread = Thread(target=self._look, daemon=True)
        self._thread.start()

    def waited(self, call: Callable[[], T]) -> T:
        """What `call` returns, which waits for the program."""
        self._sign.set()
        self._waiting = True
        try:
            return call()
        finally:
            self._waiting = False

    def end(self) -> None:
        """Look no longer."""
        self._over.set()
        self._sign.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._over.is_set():
            if self._sign.wait(SILENCE_S):
                self._sign.clear()
            elif self._waiting:
                self.given_up = True
                self._process.kill()
                return


class Encoder:
    """One ffmpeg that takes raw samples and writes `part`. Raises `AudioUnavailable`."""

    def __init__(self, part: Path, arguments: Sequence[str]) -> None:
        self._process = started(["-y", *arguments, str(part)], subprocess.PIPE, subprocess.DEVNULL)
        self._watch = _Watch(self._process)

    def write(self, samples: memoryview) -> None:
        """Hand over raw samples. Raises OSError, `OutputError`."""
        assert self._process.stdin is not None
        stdin = self._process.stdin
        try:
            self._watch.waited(lambda: stdin.write(samples))
        except BrokenPipeError:
            self.close()

    def close(self) -> None:
        """Wait until all is written. Raises OSError, `OutputError`."""
        _, report = self._watch.waited(self._process.communicate)
        self._watch.end()
        if self._watch.given_up:
            raise hung()
        if self._process.returncode:
            raise failure(report)

    def kill(self) -> None:
        """End the program, from any thread, so that nobody waits for it any longer."""
        self._process.kill()

    def abandon(self) -> None:
        """End it where it is; what it wrote is of no use."""
        if self._process.poll() is None:
            self._process.kill()
        with suppress(OSError, ValueError):  # what it did not take yet is not wanted
            self._process.communicate()
        self._watch.end()


def taken(
    arguments: Sequence[str],
    begun: Callable[[subprocess.Popen[bytes]], None] = lambda process: None,
) -> bytes:
    """What an ffmpeg that reads a file writes to its standard output; `begun` is given the program, which may end it.

    Raises OSError, `OutputError`, `AudioUnavailable`.
    """
    process = started([*arguments, "pipe:1"], subprocess.DEVNULL, subprocess.PIPE)
    watch = _Watch(process)
    found = []
    try:
        begun(process)
        sound, words = process.stdout, process.stderr
        assert sound is not None
        assert words is not None
        while data := watch.waited(lambda: sound.read(_CHUNK)):
            found.append(data)
        report = watch.waited(words.read)
        code = watch.waited(process.wait)
    finally:
        process.kill()
        process.__exit__(None, None, None)
        watch.end()
    if watch.given_up:
        raise hung()
    if code:
        raise failure(report)
    return b"".join(found)
