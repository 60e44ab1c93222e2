"""`backing play` against its parts, and against its device: `python -m tests.bench.live [SECONDS]`.

First sound, in processor seconds of whole processes: from the start of Python to the first samples that are not
silence, against a process that loads the soundfont for the same players and computes one block; and the same for a form
of 10,000 bars. Modules are compiled before, as an installer compiles them. Then so many seconds (60) on the device that swallows sound in real time, while another process
keeps one processor busy: how many frames were missing, alone and while keys are
pressed two or three times a second.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import threading
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import backing
from backing.commands.live import Live
from backing.commands.options import Options
from backing.commands.playing import wanted_of
from backing.commands.takes import first_take
from backing.ground import dice
from backing.live.asked import Border, Play
from backing.live.desk import Desk
from backing.live.device import NULL, Speaker
from backing.live.pump import Pump
from backing.output.sound.soundfont import find
from backing.output.sound.synth import RATE
from tests.bench.common import DEMO

RUNS = 5
BUSY = "while True: pass"


FIRST = """
import sys
from pathlib import Path
import backing
from backing.commands.options import Options
from backing.commands.playing import wanted_of
from backing.commands.takes import first_take
from backing.live.desk import Desk
from backing.live.asked import Border, Play
from backing.live.session import HOP, Session
from backing.output.sound.soundfont import find
font = find(None)
_, take = first_take(wanted_of(backing.parse(Path(sys.argv[1]).read_text('utf-8')), Options()), font)
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


def spent_s(script: str, compiled: str, *arguments: str) -> float:
    """Processor seconds of a process; compiled modules lie in a folder."""
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": compiled}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-c", script, *arguments], check=True, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


KEYS = (
    *(" ", " ", "left", "right", "right", "n", "n", "p", "up", "down", "up", "down", "+", "-", "[", "]"),
    *("0", "0", "c", "t", "s", "1", "1", "<", ">", "home"),
)  # fmt: skip


def missing(seconds: float, restless: bool) -> tuple[int, int, int]:
    """Frames that were missing and taken on the null device, one processor kept busy, and keys that were pressed."""
    font = find(None)
    wanted = wanted_of(backing.parse((DEMO / "bossa.txt").read_text("utf-8")), Options())
    _, take = first_take(wanted, font)
    desk = Desk(font)
    live = Live(wanted._replace(loop=(0, len(take.bars) - 2)), take, desk, font)
    live.session.command(Play(0), Border.NOW)
    other = subprocess.Popen([sys.executable, "-c", BUSY])
    pump = Pump(live.session)
    pump.start()
    speaker = Speaker(pump, NULL)
    pressed = 0
    while pump.taken + pump.missing < seconds * RATE:
        one, two = dice.row(2, "keys", pressed)
        threading.Event().wait(0.05 + one / 2)
        if restless:
            live.press(KEYS[int(two * len(KEYS))])
            if not live.session.place.playing:
                live.toggle()
        live.turn()
        pressed += restless
    speaker.close()
    pump.stop()
    other.kill()
    other.wait()
    live.planner.stop()
    desk.close()
    return pump.missing, pump.taken, pressed


def main() -> None:
    waltz = DEMO / "waltz.txt"
    text = waltz.read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("choruses:")]
    with TemporaryDirectory() as folder:
        long = Path(folder, "long.txt")
        long.write_text("choruses: 312\n" + "\n".join(lines) + "\n", "utf-8")
        rows = [
            (
                spent_s(FIRST, folder, str(waltz)),
                spent_s(BLOCK_ALONE, folder),
                spent_s(FIRST, folder, str(long)),
            )
            for _ in range(RUNS + 1)
        ][1:]
    whole, part, far = (median(column) for column in zip(*rows, strict=True))
    print(
        f"first sound {whole:.2f} s, soundfont and one block {part:.2f} s, ratio {whole / part:.2f}"
    )
    print(f"of 10,000 bars {far:.2f} s, ratio {far / whole:.2f}")
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    for restless in (False, True):
        lost, taken, pressed = missing(seconds, restless)
        print(
            f"{seconds:.0f} s on the null device, {pressed} keys: {taken} frames taken, {lost} missing"
        )


if __name__ == "__main__":
    main()
