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


class Encoder:
    """One ffmpeg that takes raw samples and writes `part`. Raises `AudioUnavailable`."""

    def __init__(self, part: Path, arguments: Sequence[str]) -> None:
        command = [encoder_path(), "-hide_banner", "-loglevel", "error", "-y", *arguments]
        try:
            self._process = subprocess.Popen(
                [*command, str(part)],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
            )
        except OSError as error:
            raise AudioUnavailable(f"the encoder cannot be started: {error.strerror}") from error
        self._waiting = False
        self._given_up = False
        self._sign = Event()
        self._over = Event()
        self._watch = Thread(target=self._look, daemon=True)
        self._watch.start()

    def write(self, samples: memoryview) -> None:
        """Hand over raw samples. Raises OSError, `OutputError`."""
        assert self._process.stdin is not None
        stdin = self._process.stdin
        try:
            self._waited(lambda: stdin.write(samples))
        except BrokenPipeError:
            self.close()

    def close(self) -> None:
        """Wait until all is written. Raises OSError, `OutputError`."""
        _, report = self._waited(self._process.communicate)
        self._end_watch()
        if self._given_up:
            raise OutputError(
                f"the encoder gave no sign of life for {SILENCE_S:g} seconds and was ended; try again, "
                "or write .wav, which needs no encoder"
            )
        if self._process.returncode:
            raise failure(report)

    def abandon(self) -> None:
        """End it where it is; what it wrote is of no use."""
        if self._process.poll() is None:
            self._process.kill()
        with suppress(OSError, ValueError):  # what it did not take yet is not wanted
            self._process.communicate()
        self._end_watch()

    def _waited(self, call: Callable[[], T]) -> T:
        self._sign.set()
        self._waiting = True
        try:
            return call()
        finally:
            self._waiting = False

    def _look(self) -> None:
        """End the program once it has been waited for so long that it must hang."""
        while not self._over.is_set():
            if self._sign.wait(SILENCE_S):
                self._sign.clear()
            elif self._waiting:
                self._given_up = True
                self._process.kill()
                return

    def _end_watch(self) -> None:
        self._over.set()
        self._sign.set()
        self._watch.join()
