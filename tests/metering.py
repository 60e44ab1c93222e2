"""Loudness and true peak of a sound file, measured by ffmpeg's filter `ebur128`, which knows nothing of the program's own."""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

from backing.output.sound.encoder import encoder_path


@dataclass(frozen=True)
class Loudness:
    """Integrated loudness in LUFS, -70 for silence, and true peak in dBTP."""

    lufs: float
    peak_dbtp: float


def measure(path: Path) -> Loudness:
    """Loudness and true peak of a sound file (ITU-R BS.1770-4)."""
    command = [encoder_path(), "-hide_banner", "-nostats", "-i", str(path)]
    command += ["-af", "ebur128=framelog=quiet:peak=true", "-f", "null", "-"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=True)
    report = done.stderr.decode("utf-8", "replace")
    summary = report[report.rindex("Summary:") :]
    lufs = re.search(r"I:\s+(-?[\d.]+|-inf|nan) LUFS", summary)
    peak = re.search(r"Peak:\s+(-?[\d.]+|-inf) dBFS", summary)
    assert lufs is not None
    assert peak is not None
    return Loudness(max(-70.0, float(lufs[1])) if lufs[1] != "nan" else -70.0, float(peak[1]))
