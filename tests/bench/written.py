"""A sheet and a chart of a hundred choruses against those of one, by processor time: `python -m tests.bench.written`."""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from tests.bench.common import DEMO

RUNS = 5
HUNDRED = "choruses: 100"


def spent_s(chart: Path, target: Path) -> float:
    """Processor seconds of one run of the command."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-m", "backing", "make", str(chart), "-o", str(target), "--force"],
        check=True,
        capture_output=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    lines = (DEMO / "blues.txt").read_text("utf-8").splitlines()
    text = "\n".join(line for line in lines if not line.startswith("choruses:")) + "\n"
    with TemporaryDirectory() as folder:
        one, hundred = Path(folder, "one.txt"), Path(folder, "hundred.txt")
        one.write_text(text, "utf-8")
        hundred.write_text(f"{HUNDRED}\n{text}", "utf-8")
        for ending in (".pdf", ".txt"):
            rows = [
                (
                    spent_s(one, Path(folder, f"a{ending}")),
                    spent_s(hundred, Path(folder, f"b{ending}")),
                )
                for _ in range(RUNS)
            ]
            once, often = (median(column) for column in zip(*rows, strict=True))
            print(
                f"{ending}: one chorus {once:.3f} s, a hundred {often:.3f} s, ratio {often / once:.2f}"
            )


if __name__ == "__main__":
    main()
