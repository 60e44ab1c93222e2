"""What a sheet of thirty-two bars costs beyond Python's own start: `python -m tests.bench.sheet`.

Processor time of the whole process, so that a busy machine is fair.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile

from tests.bench.common import DEMO

LIMIT_S = 0.3
SHEET = """
import sys
from pathlib import Path
from backing.chart.parse import parse
from backing.output.sheet.write import write
path = Path(sys.argv[1])
write(parse(path.read_text("utf-8"), path.name), Path(sys.argv[2]), force=True)
"""


def processor_s(*arguments: str, times: int = 7) -> float:
    """The least processor time that a Python process takes, in seconds."""
    best = float("inf")
    for _ in range(times):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *arguments], check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        best = min(best, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return best


def main() -> None:
    """Print the cost of each format over that of a process that does nothing."""
    start = processor_s("-c", "")
    with tempfile.TemporaryDirectory() as folder:
        for ending in ("pdf", "svg", "png"):
            cost = processor_s("-c", SHEET, str(DEMO / "bossa.txt"), f"{folder}/sheet.{ending}")
            print(f"{ending}  {cost - start:.3f} s  (at most {LIMIT_S})")


if __name__ == "__main__":
    main()
