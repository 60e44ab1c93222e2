"""Every instrument that a band may have, struck once: `python -m backing.output.sound.striking FONT`.

A synthesiser may die of a damaged font, so `trial` has this done in a process of its own.
"""

from __future__ import annotations

import sys
from pathlib import Path

from backing.ground.errors import AudioUnavailable
from backing.ground.instruments import DRUM_KEYS, INSTRUMENTS
from backing.output.sound.synth import OFF, ON, PROGRAM, Synth, event_of


def strike(path: Path) -> None:
    """Strike every instrument once. Raises `AudioUnavailable`."""
    import numpy as np

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
