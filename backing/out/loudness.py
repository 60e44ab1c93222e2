"""Integrated loudness and true peak, measured by ffmpeg.

Source: ITU-R BS.1770-4 (K weighting, gates at -70 LUFS and 10 LU below) as ffmpeg's filter `ebur128` computes it.
"""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from backing.errors import AudioUnavailable, OutputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

RATE = 44_100
SILENCE_LUFS = -70.0  # what the absolute gate leaves of a silent track


@dataclass(frozen=True, slots=True)
class Loudness:
    """Integrated loudness in LUFS and, where it was asked for, true peak in dBTP."""

    lufs: float
    peak_dbtp: float | None


def encoder_path() -> str:
    """The ffmpeg program that imageio-ffmpeg brings (or that `IMAGEIO_FFMPEG_EXE` names). Raises `AudioUnavailable`."""
    try:
        import imageio_ffmpeg

        return str(imageio_ffmpeg.get_ffmpeg_exe())
    except (ImportError, RuntimeError) as error:
        raise AudioUnavailable(
            "there is no encoder: install it with pip install imageio-ffmpeg"
        ) from error


class Meter:
    """Measures a stream of float32 blocks."""

    def __init__(self, *, peak: bool = False) -> None:
        source = ("-f", "f32le", "-ar", str(RATE), "-ac", "2", "-i", "pipe:0")
        self._process = _started(source, peak, piped=True)

    def feed(self, sound: NDArray[np.float32]) -> None:
        """Take the next block, shape (n, 2)."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(sound.data.cast("B"))
        except BrokenPipeError as error:
            self.stop()
            raise OutputError(
                "the loudness could not be measured: ffmpeg stopped on its way"
            ) from error

    def result(self) -> Loudness:
        """The loudness of everything fed so far; ends the measurement."""
        _, report = self._process.communicate()
        return _read(report.decode("utf-8", "replace"), self._process.returncode)

    def stop(self) -> None:
        """Give up, if it still runs."""
        if self._process.poll() is None:
            self._process.kill()
        self._process.communicate()


def measure(path: Path) -> Loudness:
    """Loudness and true peak of a sound file. Raises `OutputError`, `AudioUnavailable`."""
    process = _started(("-i", str(path)), peak=True, piped=False)
    _, report = process.communicate()
    return _read(report.decode("utf-8", "replace"), process.returncode)


def _started(source: tuple[str, ...], peak: bool, *, piped: bool) -> subprocess.Popen[bytes]:
    measures = "ebur128=framelog=quiet" + (":peak=true" if peak else "")
    try:
        return subprocess.Popen(
            [
                encoder_path(),
                "-hide_banner",
                "-nostats",
                *source,
                "-af",
                measures,
                "-f",
                "null",
                "-",
            ],
            stdin=subprocess.PIPE if piped else subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )
    except OSError as error:
        raise AudioUnavailable(f"the encoder cannot be started: {error.strerror}") from error


def _read(report: str, code: int | None) -> Loudness:
    summary = report[report.rfind("Summary:") :]
    lufs = re.search(r"I:\s+(-?[\d.]+|-inf|nan) LUFS", summary)
    if code or not lufs:
        last = report.strip().splitlines()[-1:] or ["it said nothing"]
        raise OutputError(f"the loudness could not be measured: {last[0]}")
    peak = re.search(r"Peak:\s+(-?[\d.]+|-inf) dBFS", summary)
    return Loudness(
        max(SILENCE_LUFS, float(lufs[1])) if lufs[1] != "nan" else SILENCE_LUFS,
        float(peak[1]) if peak else None,
    )
