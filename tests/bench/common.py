"""What the benches share: a track of a given length from a demo chart, and runs that are timed in turn."""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from backing.performance.model import Performance

os.environ.setdefault("BACKING_SOUNDFONT", "default")  # figures hold for one font
DEMO = Path(__file__).parents[2] / "demo"


def track(minutes: float, chart: str = "blues.txt") -> Performance:
    """A demo chart, played for so many minutes."""
    from backing.chart.parse import parse
    from backing.commands.options import Options
    from backing.commands.preparing import band, prepare

    path = DEMO / chart
    wish = Options().changed(length_s=60.0 * minutes)
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


@dataclass(frozen=True, slots=True)
class Spent:
    """The quickest run of several, and the least processor time, children's included."""

    wall_s: float = float("inf")
    cpu_s: float = float("inf")

    def __str__(self) -> str:
        return f"{self.wall_s:.2f} s ({self.cpu_s:.2f} s of processors)"


def in_turn(runs: Sequence[tuple[str, Callable[[], None]]], times: int = 3) -> dict[str, Spent]:
    """The best of several runs of each, one after the other so that a busy machine is fair to all."""
    best = {name: Spent() for name, _ in runs}
    for _ in range(times):
        for name, run in runs:
            began, before = time.perf_counter(), _processors_s()
            run()
            wall_s, cpu_s = time.perf_counter() - began, _processors_s() - before
            best[name] = Spent(min(best[name].wall_s, wall_s), min(best[name].cpu_s, cpu_s))
    return best


def _processors_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)
