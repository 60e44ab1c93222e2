"""A library of short charts, made by rule, for tests and benchmarks of books."""

from __future__ import annotations

import os
from pathlib import Path

KEYS = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]
STYLES = ("straight-ahead swing", "bossa nova", "pop ballad", "rock eighths")
TURNS = (("1", "6m7", "2m7", "57"), ("1", "4", "57", "1"), ("6m7", "2m7", "57", "1"))
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def chart(number: int) -> str:
    """A chart of four bars: key, style, chords and tempo follow from its number."""
    from backing.chart.parse import parse
    from backing.chart.transpose import transpose_chart
    from backing.chart.write import write
    from backing.ground.pitch import Key
    from backing.harmony.spelling import interval_to_key

    key = KEYS[number % 12]
    one, two, three, four = (c.replace("1", "C").replace("6", "A").replace("2", "D").replace("57", "G7").replace("4", "F") for c in TURNS[number % 3])  # fmt: skip
    text = (
        f"title: Tune {number:03}\nby: The rule\nkey: C major\ntempo: {160 + number % 40}\n"
        f"style: {STYLES[number % 4]}\nending: short\n| {one} | {two} | {three} | {four} |\n"
    )
    plain = parse(text)
    return write(transpose_chart(plain, interval_to_key(Key.parse("C"), Key.parse(key))))


def library(folder: Path, count: int, heard: int = 0) -> Path:
    """Charts in a folder, and a list of them of which the first `heard` are made as MP3 too; returns the list."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = ["title: By rule", "by: The rule"]
    for number in range(count):
        (folder / f"tune{number:03}.txt").write_text(chart(number), "utf-8")
        lines.append(f"tune{number:03}.txt --make {'mid,pdf,mp3' if number < heard else 'mid,pdf'}")
    place = folder / "book.list"
    place.write_text("\n".join(lines) + "\n", "utf-8")
    return place


def seen(place: Path) -> dict[str, bytes]:
    """Every file of a book that people see, by its path."""
    return {
        path.relative_to(place).as_posix(): path.read_bytes()
        for path in sorted(place.rglob("*"))
        if path.is_file() and not any(p.startswith(".") for p in path.relative_to(place).parts)
    }


def ends(folder: Path, wanted: frozenset[str], progress: object) -> None:
    """A task that ends its process."""
    os._exit(3)


def leaves(folder: Path, wanted: frozenset[str], progress: object) -> str:
    """A task that does nothing."""
    return "done"
