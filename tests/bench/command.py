"""CPU seconds of a whole command: `python -m tests.bench.command [CHART]`.

The budget: from a 32-bar chart (straight-ahead swing, one chord a bar) to a MIDI file in at most 2.5 times what it costs to
start Python and import mido and typer. Runs take turns so that a busy machine is fair to both, and modules are compiled
before, as they are where the package is installed.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from statistics import median

from tests.generated import ii_v_i

BARS = 32
BUDGET = 2.5
RUNS = 15
SCRIPT = "from backing.__main__ import main; main()"  # what the installed command runs
Command = Sequence[str]


def chart() -> str:
    """32 bars, a chord each, for the usual band of the style."""
    cells = ii_v_i().replace("%", "C6").split(" | ")
    rows = [cells[i : i + 4] for i in range(0, BARS, 4)]
    head = "title: Thirty-two\nstyle: straight-ahead swing\nmeter: 4/4\ntempo: 140\nkey: C\n\n"
    return head + "".join(f"| {' | '.join(row)} |\n" for row in rows)


def cpu_s(command: Command, compiled: str) -> float:
    """User and system seconds of one run; compiled modules are kept in the folder `compiled`."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = compiled
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, capture_output=True, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def medians(commands: Sequence[Command], compiled: str, runs: int = RUNS) -> list[float]:
    """The middle of several runs of each; one run ahead of them compiles."""
    for command in commands:
        cpu_s(command, compiled)
    turns = [[cpu_s(command, compiled) for command in commands] for _ in range(runs)]
    return [median(times) for times in zip(*turns, strict=True)]


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder, "chart.txt")
        if len(sys.argv) < 2:
            path.write_text(chart(), "utf-8")
        python = [sys.executable, "-c"]
        commands = (
            [*python, "import mido, typer"],
            [*python, "import backing.commands.cli"],
            [*python, SCRIPT, "make", str(path), "-o", f"{folder}/x.mid"],
        )
        bare, start, whole = medians(commands, f"{folder}/compiled")
    print(
        f"python, mido and typer {1000 * bare:.0f} ms; backing's command line {1000 * start:.0f} ms"
    )
    print(f"chart to MIDI {1000 * whole:.0f} ms of CPU: {whole / bare:.2f} times (budget {BUDGET})")
