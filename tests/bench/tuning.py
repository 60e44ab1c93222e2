"""Whether every key that a style may play is in tune, as it leaves the synthesiser: `python -m tests.bench.tuning [SOUNDFONT…]`.

Each pitched instrument of the styles, each key of its range, held for three seconds, since voices that beat against each
other need so long: the mean of six harmonics by their energy, lines that beat counted together, in a transform of 2**17 points (`measuring.cents_off`),
with what is known of the font already mended. Without arguments the default font. At most 8 cents are asked for.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from backing.ground.instruments import Instrument
from backing.output.sound.measuring import FAINT, cents_off
from backing.output.sound.soundfont import find
from backing.output.sound.synth import OFF, ON, PROGRAM, RATE, VOICES, Synth, event_of
from backing.styles.find import find as style
from backing.styles.shelf import own_folder

MOST_CENTS = 8.0
HELD_S, ATTACK_S = 3.0, 0.15


def instruments() -> list[Instrument]:
    """The pitched instruments of all styles, by name."""
    names = sorted(p.stem for p in own_folder().glob("[!_]*.toml"))
    found = {
        part.instrument.name: part.instrument
        for name in names
        for part in style(name.replace("-", " ")).parts
        if part.kind.pitched
    }
    return [found[name] for name in sorted(found)]


def off(path: Path, instrument: Instrument) -> Iterator[tuple[int, float]]:
    """Key and cents of every key that sounds."""
    synth = Synth(path, "keys", 440.0, VOICES)
    synth.do(event_of(0, PROGRAM, instrument.program))
    for key in range(instrument.low, instrument.high + 1):
        out = np.zeros((round(HELD_S * RATE), 2), np.float32)
        synth.do(event_of(0, ON, key, 90))
        synth.write(out, 0, len(out))
        synth.do(event_of(0, OFF, key))
        synth.hush()
        sound = out.mean(axis=1)[round(ATTACK_S * RATE) :]
        if abs(sound).max() > FAINT:
            yield key, cents_off(sound.astype(float), key)
    synth.close()


def main(*fonts: str) -> int:
    over = 0
    for font in fonts or ("default",):
        path = find(font)
        keys = 0
        for instrument in instruments():
            found = list(off(path, instrument))
            keys += len(found)
            wrong = [(key, round(cents)) for key, cents in found if abs(cents) > MOST_CENTS]
            over += len(wrong)
            worst = max((abs(cents) for _, cents in found), default=0.0)
            print(f"{path.stem:24} {instrument.name:24} {worst:5.1f}  {wrong or ''}", flush=True)
        print(f"{path.stem}: {keys} keys, {over} off by more than {MOST_CENTS:g} cents so far")
    return over


if __name__ == "__main__":
    raise SystemExit(min(1, main(*sys.argv[1:])))
