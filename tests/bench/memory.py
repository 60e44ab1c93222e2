"""Peak memory of long renders, over this process and its encoders, beyond the soundfont.

    python -m tests.bench.memory [make MINUTES ENDING | rehearse MINUTES ENDING]

Without arguments: ten minutes as WAV in 150 MB; a practice track of sixty minutes, eighteen passes at nine tempos, as
MP3 in 250 MB.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from backing.commands.app import make
from backing.commands.options import Options
from backing.commands.practice import Practice, rehearse
from backing.output.sound.soundfont import find
from tests.bench.common import DEMO

CASES = (("make", "10", ".wav", 150.0), ("rehearse", "60", ".mp3", 250.0))
PASSES = Practice(ladder="60:100:5", passes=2)
SLOWER = 2 * sum(100 / percent for percent in range(60, 101, 5))  # all passes against one in tempo


def highest(process: int | str) -> float:
    """The peak memory of a process so far, in megabytes (Linux); 0 once it is gone, or while it still is a copy of us."""
    place = Path("/proc", str(process))
    try:
        if process != "self" and (place / "exe").readlink() == Path("/proc/self/exe").readlink():
            return 0.0
        text = (place / "status").read_text("ascii")
    except OSError:
        return 0.0
    found = re.search(r"VmHWM:\s+(\d+) kB", text)
    return int(found[1]) / 1000 if found else 0.0


def measured(what: str, minutes: float, ending: str) -> tuple[float, float, float]:
    """Peak megabytes of this process, of its encoders, and of this process before rendering."""
    children = before = 0.0

    def look(share: float, words: str) -> None:
        nonlocal children, before
        before = before or highest("self")
        ids = " ".join(p.read_text("ascii") for p in Path("/proc/self/task").glob("*/children"))
        children = max(children, sum(highest(i) for i in ids.split()))

    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / f"a{ending}"
        if what == "make":
            make(DEMO / "blues.txt", [target], Options().changed(length_s=60 * minutes), look)
        else:
            wish = Options().changed(length_s=60 * minutes / SLOWER)
            rehearse(DEMO / "blues.txt", [target], wish, PASSES, look)
    return highest("self"), children, before


def main() -> int:
    font = find().stat().st_size / 1e6
    over = 0
    for what, minutes, ending, most in CASES:
        command = [sys.executable, "-m", "tests.bench.memory", what, minutes, ending]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        own, children, before = (float(v) for v in done.stdout.split())
        beyond = own + children - font
        over += beyond > most
        print(
            f"{what}, {minutes} minutes as {ending}: {beyond:.0f} MB beyond the soundfont (at most {most:.0f}); "
            f"{children:.0f} MB of it in encoders, {before:.0f} MB when rendering began"
        )
    return over


if __name__ == "__main__":
    if len(sys.argv) == 4:
        print(*measured(sys.argv[1], float(sys.argv[2]), sys.argv[3]))
    else:
        raise SystemExit(main())
