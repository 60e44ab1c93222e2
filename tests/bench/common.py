"""What the benches share: a track of a given length from a demo chart, and runs that are timed in turn."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from backing.performance import Performance

DEMO = Path(__file__).parents[2] / "demo"


def track(minutes: float, chart: str = "blues.txt") -> Performance:
    """A demo chart, played for so many minutes."""
    from backing.app import band, prepare
    from backing.chart.parse import parse
    from backing.options import Options

    path = DEMO / chart
    wish = Options(length_s=60.0 * minutes)
    return band(prepare(parse(path.read_text("utf-8"), str(path)), wish), wish)


def synthesiser() -> str:
    """The plain synthesiser program to compare with."""
    found = shutil.which("fluidsynth")
    if found is None:
        sys.exit("this bench needs the program `fluidsynth` (apt install fluidsynth)")
    return found


def plain(midi: Path, soundfont: Path, wav: Path) -> None:
    """What the plain synthesiser makes of a MIDI file."""
    command = [
        synthesiser(),
        "-q",
        "-n",
        "-i",
        "-r",
        "44100",
        "-F",
        str(wav),
        str(soundfont),
        str(midi),
    ]
    subprocess.run(command, check=True, capture_output=True)


def in_turn(runs: Sequence[tuple[str, Callable[[], None]]], times: int = 3) -> dict[str, float]:
    """The best of several runs of each, in seconds, one after the other so that a busy machine is fair to all."""
    best = {name: float("inf") for name, _ in runs}
    for _ in range(times):
        for name, run in runs:
            began = time.perf_counter()
            run()
            best[name] = min(best[name], time.perf_counter() - began)
    return best
