"""Charts and files broken at random: whatever is given, the answer is a chart or an error.

    python -m tests.fuzz --count 100000      mutated charts, read, written, read again and unrolled
    python -m tests.fuzz --charts 10000      generated charts without mistakes, written and read again
    python -m tests.fuzz --format abc --seconds 600    broken files of a format, so many seconds of CPU (or --count)

Conventions: every mutation follows from its number, so a failure is repeated with `--first NUMBER --count 1`.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import sys
import time
from pathlib import Path

from hypothesis import HealthCheck, given, settings

from backing.chart.ast import Chart
from backing.chart.parse import decode, parse, parse_all
from backing.chart.write import transpose_chart, write
from backing.ground.errors import ChartError
from backing.ground.pitch import Interval
from backing.timeline.unroll import unroll
from tests.broken import FILES, MOST_MB, tried
from tests.charts import case_parts, cases, charts

DEMOS = Path(__file__).parent.parent / "demo"
SIGNS = [*"|:/%<>()[]!=\"#.,;x-+'*&^~0123456789ABCDEFGHabcdefghrx \n\t\r\0\\", "|:", ":|", "||", "|1.", ":|2.", "|last.",
         "%2", "N.C.", "x3", "3/4 ", "7/8 (2+2+3) ", "(/ ", "((", "))", '"D.C. al Coda" ', '"Segno" ', '"', "“", "”",
         "meter: 5/4\n", "form: A A\n", "melody: | C4 |\n", "words: | la |\n", "[A]\n", "pickup: 1\n", "key: Gb\n",
         "♭", "♯", "𝄋", "𝄌", "Δ", "ø", "\u0421", "\u200b", "\ufeff", "｜", "：", "（", "🎸", "\u0301", "\u2028", "\x1b[0m",
         "\ud800", "é", "ß", "H7 ", "Fis ", "C7(b9,#11) ", "note-names: german\n", "99999999999999999999 "]  # fmt: skip
MOVES = (Interval(1, 1), Interval(2, 3), Interval(-1, -2), Interval(3, 6))


def seeds() -> list[str]:
    """The charts of all cases and demos."""
    files = [*cases("parse"), *cases("errors"), *sorted(DEMOS.glob("*.txt"))]
    return [text for path in files for text in case_parts(path)[:1]] + [
        case_parts(path)[2] for path in cases("errors")
    ]


def mutated(texts: list[str], number: int) -> str:
    """Mutation number `number`: one to four cuts, insertions, deletions, doublings or crossings."""
    chance = random.Random(number)
    text = chance.choice(texts)
    for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 4))):
        at = chance.randint(0, len(text))
        to = min(len(text), at + chance.choice((1, 1, 2, 5, 20)))
        way = chance.randrange(7)
        if way == 0:
            text = text[:at]
        elif way in (1, 2):
            text = text[:at] + chance.choice(SIGNS) + text[at:]
        elif way == 3:
            text = text[:at] + text[to:]
        elif way == 4:
            text = text[:to] + text[at:]
        elif way == 5:
            text = text[:at] + chr(chance.randrange(1, 0x2FFF)) + text[at:]
        else:
            other = chance.choice(texts)
            text = text[:at] + other[chance.randint(0, len(other)) :]
    return text


def survives(text: str) -> bool:
    """Read a text; a chart is also written, read again, moved and unrolled. Returns whether it was a chart.

    Anything but a `ChartError` goes through, and so does a chart that does not come back as it was.
    """
    chart, found = parse_all(text, "fuzz.txt")
    for diagnostic in found:
        diagnostic.render()
        diagnostic.as_json()
        assert 0 <= diagnostic.span.start <= diagnostic.span.end <= len(diagnostic.source.text)
    if chart is None:
        assert found
        return False
    comes_back(chart)
    with contextlib.suppress(ChartError):
        unroll(chart)
    return True


def comes_back(chart: Chart) -> None:
    """Writing a chart and reading it gives the same chart, and writing that gives the same text."""
    text = write(chart)
    again = parse(text)
    assert again == chart
    assert write(again) == text


def moves(chart: Chart, interval: Interval) -> None:
    """A moved chart is written so that it reads as it is."""
    moved = transpose_chart(chart, interval)
    assert parse(write(moved)) == moved


def survives_bytes(data: bytes) -> None:
    """The same for the bytes of a file."""
    try:
        text = decode(data, "fuzz.txt")
    except ChartError:
        return
    survives(text)


def run(first: int, count: int) -> None:
    texts = seeds()
    right, started = 0, time.perf_counter()
    for number in range(first, first + count):
        text = mutated(texts, number)
        try:
            if survives(text):
                right += 1
                if number % 4 == 0:
                    moves(parse(text), MOVES[number // 4 % len(MOVES)])
            if number % 10 == 0:
                data = bytearray(text.encode("utf-8", "surrogatepass"))
                data.insert(number % (len(data) + 1), number // 10 % 256)
                survives_bytes(bytes(data))
        except BaseException:
            print(f"mutation {number} of {text!r}", file=sys.stderr)
            raise
    took = time.perf_counter() - started
    print(f"{count} mutated charts: {right} were charts, the others answered; {took:.1f} s")


def run_charts(count: int) -> None:
    @settings(
        max_examples=count,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    @given(charts())
    def property_(text: str) -> None:
        comes_back(parse(text))

    property_()
    print(f"{count} generated charts came back as they were")


def main() -> None:
    options = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    options.add_argument("--count", type=int, default=0, help="how many mutated charts")
    options.add_argument("--first", type=int, default=0, help="number of the first mutation")
    options.add_argument("--charts", type=int, default=0, help="how many generated charts")
    options.add_argument("--format", choices=FILES, help="broken files of this format")
    options.add_argument("--seconds", type=float, help="how long, in seconds of CPU")
    wish = options.parse_args()
    if wish.format:
        found = tried(wish.format, wish.first, wish.count or None, wish.seconds)
        print(found)
        sys.exit(bool(found.failed) or found.peak_mb > MOST_MB)
    if wish.count:
        run(wish.first, wish.count)
    if wish.charts:
        run_charts(wish.charts)


if __name__ == "__main__":
    main()
