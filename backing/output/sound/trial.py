"""A soundfont tried in a process of its own, because a synthesiser may die of a damaged one.

The process is `striking`. What came through is remembered by its content; the fonts whose tables come with this package
need no trial.
"""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

from backing.ground.errors import AudioUnavailable
from backing.output.sound import choice, fonts

LONGEST_S = 300.0  # a big font with compressed samples on a slow machine
_PASSED = ".passed"
_STRIKING = "backing.output.sound.striking"


def passed(path: Path) -> Path:
    """The path of a font that the sound engine lives through. Raises `AudioUnavailable`."""
    if fonts.altered(path):
        raise AudioUnavailable(
            f"{path} is damaged: it is as long as a font that is known, and differs from it; fetch it again"
        )
    if fonts.is_default(path) or fonts.where(path) is not None:
        return path
    mark = choice.cache_folder() / f"{path.stat().st_size}-{fonts.digest(path)}{_PASSED}"
    if mark.is_file():
        return path
    # the package that runs now, wherever it lies
    places = [str(Path(__file__).resolve().parents[3]), *filter(None, sys.path)]
    command = [sys.executable, "-m", _STRIKING, str(path)]
    try:
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=LONGEST_S,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(places)},
        )
    except subprocess.TimeoutExpired as late:
        raise AudioUnavailable(
            f"the sound engine hangs on {path}: it is damaged; fetch it again"
        ) from late
    if done.returncode:
        raise AudioUnavailable(
            f"the sound engine cannot play {path}: it is damaged; fetch it again"
        )
    with suppress(OSError):  # then it is tried again next time
        mark.parent.mkdir(parents=True, exist_ok=True)
        mark.touch()
    return path
