"""What reading and unrolling long charts costs, in CPU time: `python -m tests.bench.unroll`."""

from __future__ import annotations

from collections.abc import Callable
from time import process_time
from typing import TypeVar

from backing.chart.parse import parse
from backing.timeline.unroll import unroll

T = TypeVar("T")


def least(call: Callable[[], T]) -> tuple[float, T]:
    """The least of five runs, in seconds, and the result."""
    best, result = float("inf"), None
    for _ in range(5):
        start = process_time()
        result = call()
        best = min(best, process_time() - start)
    assert result is not None
    return best, result


def main() -> None:
    """Print the cost of charts of one and of four chords a bar, and of a form that repeats a short text."""
    for bars in (250, 500, 1000, 2000):
        for bar in ("Cmaj7", "Cmaj7 Am7 Dm7 G7"):
            text = "key: C\n" + f"| {bar} | {bar} | {bar} | {bar} |\n" * (bars // 4)
            reading, chart = least(lambda text=text: parse(text))  # type: ignore[misc]
            playing, timeline = least(lambda chart=chart: unroll(chart))  # type: ignore[misc]
            print(
                f"{bars:5} bars, {len(timeline.chords):5} chords: read {reading:.3f} s, unroll {playing:.3f} s,"
                f" together {reading + playing:.3f} s (1,000 bars: at most 0.15)"
            )
    for choruses in (1, 5, 10):
        playing, timeline = least(
            lambda n=choruses: unroll(parse(f"choruses: {n}\n" + "[A]\n|: " + "C | " * 49 + "C :| x40\n"))  # type: ignore[misc]
        )  # fmt: skip
        print(f"{len(timeline.bars):5} bars played from 50 written: {playing:.3f} s")


if __name__ == "__main__":
    main()
