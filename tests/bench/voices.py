"""How far the tune of the solo guitar stands over its other voices: `python -m tests.bench.voices [CHART…]`.

By default the demos with a tune. The guitar plays alone, once through; loudness is integrated after BS.1770 (by
pyloudnorm, over stems of the voices). A tune 4 to 8 dB over the inner voices sings and is still accompanied (common
practice); the whole is -16 LUFS as every track.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import pyloudnorm
import soundfile

import tests.bench.common  # noqa: F401  one soundfont for all
from backing.band.arrange import arrange
from backing.band.model import Arrangement, Kind, Note
from backing.chart.parse import parse
from backing.commands.cli import run
from backing.commands.options import Options
from backing.commands.preparing import prepare
from backing.output.sound.synth import render
from backing.performance.perform import perform
from tests.band import DEMOS

RATE = 44100
VOICES = {"tune": (Kind.MELODY,), "inner": (Kind.PLUCKED,), "bass": (Kind.THUMB,)}


def of(music: Arrangement, kinds: tuple[Kind, ...]) -> Arrangement:
    """The solo guitar's notes of some kinds alone."""

    def kept(notes: tuple[Note, ...]) -> tuple[Note, ...]:
        return tuple(n for n in notes if n.why.kind in kinds)

    players = (p._replace(notes=kept(p.notes)) for p in music.players if p.role == "solo")
    return music._replace(players=tuple(players))


def loudness(music: Arrangement) -> float:
    """Integrated loudness of what is played, in LUFS."""
    stems = render(perform(music))
    mixed = np.sum([np.asarray(stem) for stem in stems.values()], axis=0)
    return float(pyloudnorm.Meter(RATE).integrated_loudness(mixed))


def whole(text: str) -> float:
    """Loudness of the file that `make` writes of the guitar alone."""
    with tempfile.TemporaryDirectory() as folder:
        chart, wav = Path(folder, "tune.txt"), Path(folder, "tune.wav")
        chart.write_text(text, "utf-8")
        assert run(["make", str(chart), "--only", "solo", "--choruses", "1", "-o", str(wav)]) == 0
        sound, rate = soundfile.read(wav)
    return float(pyloudnorm.Meter(rate).integrated_loudness(sound))


def main(*paths: str) -> None:
    given = [Path(p) for p in paths] or [p for p in DEMOS if "melody:" in p.read_text("utf-8")]
    for path in given:
        text = f"chord-melody: full\n{path.read_text('utf-8')}"
        made = prepare(parse(text), Options().changed(choruses=1))
        music = arrange(made.timeline, made.style, styles=made.styles, only=frozenset({"solo"}))
        level = {name: loudness(of(music, kinds)) for name, kinds in VOICES.items()}
        print(
            f"{path.stem:<14} {whole(text):6.1f} LUFS   tune over the inner voices {level['tune'] - level['inner']:4.1f} dB"
            f" (4 to 8), over the bass {level['tune'] - level['bass']:4.1f} dB"
        )


if __name__ == "__main__":
    main(*sys.argv[1:])
