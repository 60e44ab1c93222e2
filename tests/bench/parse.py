"""What reading a chart costs: `python -m tests.bench.parse`.

The budget for reading and unrolling 1,000 bars is 0.15 s of CPU, linear in the length.
"""

from __future__ import annotations

from time import process_time

from backing.chart.parse import parse, parse_all
from backing.chart.write import write
from backing.harmony.reader import read_with_warnings
from backing.timeline.unroll import unroll

LINE = "| Cmaj7 Am7 | Dm7 G7 | Em7 / A7b9 D13 | Fmaj9 | Bm7b5 E7#9 | Am9 | (D7 D7b9) G13 | C6/9 |"
UNDER = "melody: | E5 / G5 A5 | % | (F5 E5) / D5 r | C5 | % | E5 | D5 B4 | C5 |"


def chart(bars: int, melody: bool = False) -> str:
    """A chart of so many bars, eight a line, four lines a section."""
    lines = ["title: Long", "key: C"]
    for i in range(bars // 8):
        if i % 4 == 0:
            lines.append(f"\n[Part {i // 4 + 1}]")
        lines += [LINE, UNDER] if melody else [LINE]
    return "\n".join(lines) + "\n"


def cost(text: str) -> tuple[float, float, float]:
    """CPU seconds for reading, unrolling and writing."""
    start = process_time()
    read = parse(text)
    parsed = process_time()
    unroll(read)
    unrolled = process_time()
    write(read)
    return parsed - start, unrolled - parsed, process_time() - unrolled


def main() -> None:
    cost(chart(8))
    for bars in (500, 1000, 2000):
        read_with_warnings.cache_clear()
        read, played, written = cost(chart(bars))
        total = read + played
        print(
            f"{bars:5} bars: read {read:.3f} s + unroll {played:.3f} s = {total:.3f} s"
            f"  ({total / bars * 1e6:.0f} µs a bar; budget 150), write {written:.3f} s"
        )
    read, played, _ = cost(chart(1000, melody=True))
    print(f" 1000 bars with a melody: read {read:.3f} s + unroll {played:.3f} s")
    for name, text in (
        ("one line", "| " + "C " * 50_000 + "|"),
        ("brackets", "| " + "(" * 100_000),
    ):
        start = process_time()
        parse_all(text)
        print(f"100,000 characters of {name}: {process_time() - start:.3f} s")


if __name__ == "__main__":
    main()
