"""Broken files of other formats: cut, doubled, crossed, with anything in between, the answer is a chart or an error.

Every mutation follows from its number. Whatever is read can be written as a chart and read again.
"""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

import pytest

from backing.chart.parse import parse
from backing.chart.write import write
from backing.ground.errors import BackingError
from backing.output import abc, musicxml, words
from backing.reading.opened import opened
from tests.test_reading_midi import LINES, TUNE, line, midi, played

DEMOS = sorted((Path(__file__).parent.parent / "demo").glob("*.txt"))[::4]
SIGNS = (
    b"|", b":|", b"[1", b"(3", b"{", b"}", b'"', b"\n", b"<", b">", b"/", b"-", b"%", b"K:", b"+:x", b"M:0/0", b"999999999", b"1/0", b"\0",
    b"\xff", b"<backup><duration>99999999</duration></backup>", b"<divisions>0</divisions>", b"</measure>", b"<alter>99</alter>", b"Z999",
    b"C9999/9999", b"x9", b"{soc}", b"\xf0\x9f\x8e\xb5", b"&lt;", b"&a;", b"-1", b"1e9", b"N.C.",
)  # fmt: skip
NAMES = ("a.abc", "a.musicxml", "a.mxl", "a.cho", "a.mid")


@cache
def seeds(name: str) -> tuple[bytes, ...]:
    """Whole files of a format."""
    charts = [parse(path.read_text("utf-8"), path.name) for path in DEMOS]
    if name == "a.mid":
        return (midi(more=TUNE), played(parse(line(*LINES[0]))))
    if name == "a.mxl":
        return tuple(musicxml.packed_file(musicxml.text(c).encode()) for c in charts)
    writer = {"a.abc": abc.text, "a.musicxml": musicxml.text, "a.cho": words.text}[name]
    return tuple(writer(c).encode() for c in charts)


def mutated(name: str, number: int) -> bytes:
    """Mutation number `number`: one to five cuts, insertions, deletions, doublings or crossings."""
    chance = random.Random(f"{name} {number}")
    data = bytearray(chance.choice(seeds(name)))
    for _ in range(chance.choice((1, 1, 2, 3, 5))):
        at, way = chance.randrange(len(data) + 1), chance.randrange(6)
        if way == 0 and at < len(data):
            data[at] = chance.randrange(256)
        elif way == 1:
            del data[at : at + chance.randrange(1, 40)]
        elif way == 2:
            data[at:at] = chance.choice(SIGNS)
        elif way == 3:
            start = chance.randrange(len(data) + 1)
            data[at:at] = data[start : start + chance.randrange(1, 200)]
        elif way == 4:
            data = data[:at]
        else:
            other = chance.choice(seeds(name))
            start = chance.randrange(len(other))
            data = data[:at] + other[start : start + chance.randrange(1, 2000)]
    return bytes(data)


def survives(name: str, data: bytes) -> bool:
    """Whether a file is read; then its chart can be written and read again."""
    try:
        chart = opened(data, name, wanted=True)
    except BackingError:
        return False
    parse(write(chart), wanted=True)
    return True


@pytest.mark.parametrize("name", NAMES)
def test_mutated_files_are_answered(name: str) -> None:
    assert sum(survives(name, mutated(name, number)) for number in range(60)) > 0


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_many_mutated_files_are_answered(name: str) -> None:
    assert sum(survives(name, mutated(name, number)) for number in range(60, 3000)) > 30
