"""Reading a lead sheet of 64 bars with a melody in other formats, against the same chart as text.

Run as `python -m tests.bench.reading`.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from time import process_time

from backing.chart.parse import parse
from backing.output import abc, musicxml, words
from backing.reading.opened import opened

CHORDS = ("Dm7 G7", "Cmaj7", "Am7b5 D7b9", "Gm9")
NOTES = ("D5 (C5 B4) A4 G4", "E5 / / G5", "(A4 B4) (C5 D5) E5 /", "F5 (E5 D5) C5 r")


def lead_sheet() -> str:
    """Sixteen lines of four bars."""
    line = f"| {' | '.join(CHORDS)} |\n  melody: | {' | '.join(NOTES)} |\n"
    return "title: Bench\nkey: C\nmeter: 4/4\ntempo: 120\n\n" + line * 16


def best(run: Callable[[], object], times: int = 15) -> float:
    """The CPU seconds of the fastest of some runs."""
    found = []
    for _ in range(times):
        start = process_time()
        run()
        found.append(process_time() - start)
    return min(found)


def main() -> None:
    text = lead_sheet()
    chart = parse(text)
    assert sum(len(s.bars) for s in chart.sections) == 64
    reference = best(lambda: parse(text))
    print(f"text: {reference * 1000:.1f} ms")
    for name, data in (
        ("a.musicxml", musicxml.text(chart).encode()),
        ("a.abc", abc.text(chart).encode()),
        ("a.cho", words.text(chart).encode()),
    ):
        taken = best(lambda data=data, name=name: opened(data, name, wanted=True))  # type: ignore[misc]
        print(f"{name[1:]}: {taken * 1000:.1f} ms, {taken / reference:.2f} times the text")
    heavy = {"music21", "lxml", "numpy", "mido"} & set(sys.modules)
    assert not heavy, heavy


if __name__ == "__main__":
    main()
