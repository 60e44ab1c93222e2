"""Peak memory of long renders, over this process and its encoders, beyond the soundfont.

    python -m tests.bench.memory [MINUTES:MEGABYTES …]

Without arguments: ten minutes as WAV in 150 MB, sixty minutes as MP3 in 250 MB.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from backing.out.audio import write_audio
from backing.out.soundfont import find
from tests.bench.common import track

CASES = (("10", ".wav", 150.0), ("60", ".mp3", 250.0))


def highest(process: int | str) -> float:
    """The peak memory of a process so far, in megabytes (Linux); 0 once it is gone."""
    try:
        text = Path(f"/proc/{process}/status").read_text("ascii")
    except OSError:
        return 0.0
    found = re.search(r"VmHWM:\s+(\d+) kB", text)
    return int(found[1]) / 1000 if found else 0.0


def measured(minutes: float, ending: str) -> tuple[float, float]:
    """Peak megabytes of a render in this process with its encoders, and of the process before it."""
    performance = track(minutes)
    before = highest("self")
    children = 0.0

    def look(share: float, words: str) -> None:
        nonlocal children
        ids = " ".join(p.read_text("ascii") for p in Path("/proc/self/task").glob("*/children"))
        children = max(children, sum(highest(i) for i in ids.split()))

    with tempfile.TemporaryDirectory() as folder:
        write_audio(performance, [Path(folder) / f"a{ending}"], progress=look)
    return highest("self") + children, before


def main() -> int:
    font = find().stat().st_size / 1e6
    over = 0
    for minutes, ending, most in CASES:
        command = [sys.executable, "-m", "tests.bench.memory", minutes, ending]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        peak, before = (float(v) for v in done.stdout.split())
        beyond = peak - font
        over += beyond > most
        print(
            f"{minutes} minutes as {ending}: {beyond:.0f} MB beyond the soundfont (at most {most:.0f}); "
            f"{before:.0f} MB of it before rendering"
        )
    return over


if __name__ == "__main__":
    if len(sys.argv) == 3:
        print(*measured(float(sys.argv[1]), sys.argv[2]))
    else:
        raise SystemExit(main())
