"""A soundfont tried in a process of its own, because a synthesiser may die of a damaged one.

    python -m backing.output.sound.trial FONT

Every instrument that a band may have is struck once. What came through is remembered by its content; the fonts whose
tables come with this package need no trial.
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
    command = [sys.executable, "-m", __name__, str(path)]
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


def strike(path: Path) -> None:
    """Strike every instrument once. Raises `AudioUnavailable`."""
    import numpy as np

    from backing.ground.instruments import DRUM_KEYS, INSTRUMENTS
    from backing.output.sound.synth import OFF, ON, PROGRAM, Synth, event_of

    out = np.zeros((64, 2), np.float32)
    for role in ("keys", "drums"):
        synth = Synth(path, role, 440.0, 64)
        for instrument in INSTRUMENTS.values():
            synth.do(event_of(0, PROGRAM, instrument.program))
            middle = (instrument.low + instrument.high) // 2
            keys = DRUM_KEYS.values() if role == "drums" else (instrument.low, middle)
            for key in keys:
                synth.do(event_of(0, ON, key, 100))
            synth.write(out, 0, len(out))
            for key in keys:
                synth.do(event_of(0, OFF, key))
        synth.close()


def main(arguments: list[str]) -> int:
    try:
        strike(Path(arguments[0]))
    except AudioUnavailable:
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
