"""`backing play` against its parts, and against its device: `python -m tests.bench.live [SECONDS]`.

First sound, in processor seconds of whole processes: from the start of Python to the first samples that are not
silence, against a process that loads the soundfont for the same players and computes one block; and the same for forty
times as many choruses. Then so many seconds (60) on the device that swallows sound in real time, while another process
keeps one processor busy: how many frames were missing.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import threading
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import backing
from backing.commands.options import Options
from backing.commands.playing import prepared_take, wanted_of
from backing.live.asked import Border, Loop, Play
from backing.live.desk import Desk
from backing.live.device import NULL, Speaker
from backing.live.pump import Pump
from backing.live.session import Session
from backing.output.sound.soundfont import find
from tests.bench.common import DEMO

RUNS = 5
BUSY = "while True: pass"


FIRST = """
import sys
from pathlib import Path
import backing
from backing.commands.options import Options
from backing.commands.playing import opening_take, wanted_of
from backing.live.desk import Desk
from backing.live.asked import Border, Play
from backing.live.session import HOP, Session
from backing.output.sound.soundfont import find
font = find(None)
_, take = opening_take(wanted_of(backing.parse(Path(sys.argv[1]).read_text('utf-8')), Options()), font)
session = Session(Desk(font), take)
session.command(Play(0), Border.NOW)
while not session.pull(HOP).any():
    pass
"""
BLOCK_ALONE = """
import numpy as np
from backing.output.sound.soundfont import find
from backing.output.sound.synth import BLOCK, ON, PROGRAM, VOICES, Synth, event_of
font = find(None)
for role in ('guitar', 'keys', 'bass', 'drums', 'drums', 'click'):
    synth = Synth(font, role, 440.0, VOICES)
    synth.do(event_of(0, PROGRAM, 0))
    synth.do(event_of(0, ON, 60, 90))
    synth.write(np.zeros((BLOCK, 2), np.float32), 0, BLOCK)
"""


def spent_s(script: str, *arguments: str) -> float:
    """Processor seconds of a process."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-c", script, *arguments], check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def missing(seconds: float) -> tuple[int, int]:
    """Frames that were missing and frames that were taken on the null device, one processor kept busy."""
    font = find(None)
    _, take = prepared_take(
        wanted_of(backing.parse((DEMO / "bossa.txt").read_text("utf-8")), Options()), font
    )
    desk = Desk(font)
    session = Session(desk, take)
    session.command(Play(0), Border.NOW)
    session.command(Loop(0, len(take.bars) - 2), Border.NOW)
    other = subprocess.Popen([sys.executable, "-c", BUSY])
    pump = Pump(session)
    pump.start()
    speaker = Speaker(pump, NULL)
    threading.Event().wait(seconds)
    speaker.close()
    pump.stop()
    other.kill()
    other.wait()
    desk.close()
    return pump.missing, pump.taken


def main() -> None:
    waltz = DEMO / "waltz.txt"
    text = waltz.read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("choruses:")]
    with TemporaryDirectory() as folder:
        long = Path(folder, "long.txt")
        long.write_text("choruses: 160\n" + "\n".join(lines) + "\n", "utf-8")
        rows = [
            (spent_s(FIRST, str(waltz)), spent_s(BLOCK_ALONE), spent_s(FIRST, str(long)))
            for _ in range(RUNS)
        ]
    whole, part, far = (median(column) for column in zip(*rows, strict=True))
    print(
        f"first sound {whole:.2f} s, soundfont and one block {part:.2f} s, ratio {whole / part:.2f}"
    )
    print(f"of 160 choruses {far:.2f} s, ratio {far / whole:.2f}")
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    lost, taken = missing(seconds)
    print(f"{seconds:.0f} s on the null device: {taken} frames taken, {lost} missing")


if __name__ == "__main__":
    main()
