"""How long the desk takes to see what is typed, as a ratio to a bare echo of the same server: what it takes to answer that
it knows nothing of an ask.

    python -m tests.bench.desk
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.desks import asked, desk

DEMO = Path(__file__).parent.parent.parent / "demo"
ROUNDS = 40


def median_ms(act: Callable[[int], object]) -> float:
    """The median of some rounds, in milliseconds, after one that does not count."""
    act(0)
    took = []
    for n in range(1, ROUNDS + 1):
        start = time.perf_counter()
        act(n)
        took.append(1000 * (time.perf_counter() - start))
    return statistics.median(took)


def main() -> None:
    waltz = (DEMO / "waltz.txt").read_text("utf-8")
    wrong = waltz.replace("| Gmaj9 Am7 Bm7 |", "| Gmaj9 Am7 |", 1).replace("tempo:", "tmepo:", 1)
    with tempfile.TemporaryDirectory() as folder, desk(Path(folder)) as one, one.line() as line:
        echo = median_ms(lambda n: asked(line, "echo"))
        rows = {
            "a chart of 18 bars": lambda n: asked(line, "look", text=f"{waltz}# {n}\n"),
            "with two mistakes": lambda n: asked(line, "look", text=f"{wrong}# {n}\n"),
            "its sheet": lambda n: asked(line, "draw", text=f"{waltz}# {n}\n"),
            "notes of a chord": lambda n: asked(line, "chord", symbol="Cmaj9"),
            "saved": lambda n: one.post("/charts/save", name="tune.txt", text=waltz, revision=""),
        }
        print(f"{'a bare echo':24}{echo:10.2f} ms")
        for name, act in rows.items():
            took = median_ms(act)
            print(f"{name:24}{took:10.2f} ms, {took / echo:6.1f} echoes")


if __name__ == "__main__":
    main()
