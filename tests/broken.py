"""Broken files of every format: cut, doubled, crossed, with anything in between.

Conventions: every mutation follows from its format and number. A format is named as one would say it, and its files are
read under the name in `FILES`; of `mxl` every other mutation is inside of the packed file.
"""

from __future__ import annotations

import contextlib
import io
import random
import signal
import sys
import time
from collections.abc import Iterator
from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree as ET

import mido

from backing.chart.notation import written_as
from backing.chart.parse import parse
from backing.chart.write import write
from backing.ground.errors import BackingError, ChartError
from backing.output import abc, musicxml, words
from backing.reading.asked import Reading
from backing.reading.opened import opened, understood
from backing.timeline.unroll import unroll
from tests.test_reading_midi import LINES, TUNE, line, midi, played
from tests.test_reading_words import HABITS, SONGS

DEMOS = sorted((Path(__file__).parent.parent / "demo").glob("*.txt"))[::4]
FILES = {
    "musicxml": "a.musicxml", "mxl": "a.mxl", "words": "a.txt", "chordpro": "a.cho", "abc": "a.abc", "midi": "a.mid",
    "numbers": "a.txt", "numerals": "a.txt",
}  # fmt: skip
SIGNS = (
    b"|", b":|", b"[1", b"(3", b"{", b"}", b'"', b"\n", b"<", b">", b"/", b"-", b"%", b"K:", b"+:x", b"M:0/0", b"999999999", b"1/0", b"\0",
    b"\xff", b"<backup><duration>99999999</duration></backup>", b"<divisions>0</divisions>", b"</measure>", b"<alter>99</alter>", b"Z999",
    b"C9999/9999", b"x9", b"{soc}", b"\xf0\x9f\x8e\xb5", b"&lt;", b"&a;", b"-1", b"1e9", b"N.C.", b"bVII7", b"5/7", b"1 4 5", b"V7/V", b"?",
    b"key: H\n", b"chords: numerals\n", b"w: la-la_*|\n", b"V:2\n", b"P:ABA\n", b"[K:G clef=bass]", b"\x7f\x7f\x7f\x7f", b"MTrk",
    b"<measure number='1'>", b"<repeat direction='backward' times='9999'/>", b"<sound dalsegno='x'/>", b"[Chorus]\n", b"Am    G\n",
)  # fmt: skip
VALUES = ("", "0", "-1", "1", "2", "16", "99999999", "1e9", "0.5", "C", "Hb", "none", "major-sixth", "7", "start", "stop", "yes", "no",
          "3+2", "quarter", "Em7b5", "D.S. al Coda", "Fine", "\u266d", " ")  # fmt: skip
ODD_EVENTS = (
    mido.MetaMessage("time_signature", numerator=0, denominator=4), mido.MetaMessage("time_signature", numerator=255, denominator=1),
    mido.MetaMessage("time_signature", numerator=7, denominator=8), mido.MetaMessage("set_tempo", tempo=0),
    mido.MetaMessage("set_tempo", tempo=16_777_215), mido.MetaMessage("key_signature", key="Gb"), mido.MetaMessage("marker", text="Z#9"),
    mido.MetaMessage("text", text="Dm7"), mido.MetaMessage("lyrics", text="la-"), mido.MetaMessage("smpte_offset"),
    mido.Message("note_on", note=127), mido.Message("note_on", note=0, channel=9), mido.Message("pitchwheel", pitch=8191),
    mido.Message("program_change", program=127), mido.Message("sysex", data=(1, 2, 3)),
)  # fmt: skip
MOST_CPU_S, MOST_MB = 10, 200  # of one case, and of the process that reads them all


@cache
def seeds(name: str) -> tuple[bytes, ...]:
    """Whole files of a format."""
    charts = [parse(path.read_text("utf-8"), path.name) for path in DEMOS]
    if name == "midi":
        return (midi(more=TUNE), *(played(parse(line(*LINES[n]))) for n in (0, 2, 3)))
    if name == "words":
        return tuple(typed(song).encode() for typed in HABITS.values() for song in SONGS.values())
    if name in ("numbers", "numerals"):
        keyed = [c for c in charts if c.settings.key is not None]
        return tuple(write(written_as(c, name)).encode() for c in keyed)
    if name == "mxl":
        return tuple(musicxml.packed_file(data) for data in seeds("musicxml"))
    writer = {"abc": abc.text, "musicxml": musicxml.text, "chordpro": words.text}[name]
    return tuple(writer(c).encode() for c in charts)


def mutated(name: str, number: int) -> bytes:
    """Mutation number `number`: one to five cuts, insertions, deletions, doublings or crossings."""
    if name == "mxl" and number % 2:
        return musicxml.packed_file(mutated("musicxml", number // 2 + 1_000_000))
    chance = random.Random(f"{name} {number}")
    if name in BY_PARTS and number % 4:
        return BY_PARTS[name](chance.choice(seeds(name)), chance)
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


def _elements_moved(data: bytes, chance: random.Random) -> bytes:
    """XML that is whole, with elements and values where they do not belong."""
    root = ET.fromstring(data)
    for _ in range(chance.choice((1, 2, 3, 8, 30))):
        every = list(root.iter())
        parents = [e for e in every if len(e)]
        parent, other, way = chance.choice(parents), chance.choice(every), chance.randrange(7)
        child = chance.choice(list(parent)) if len(parent) else None
        if way == 0 and child is not None:
            parent.remove(child)
        elif way == 1 and child is not None:
            parent.insert(chance.randrange(len(parent) + 1), deepcopy(child))
        elif way == 2 and child is not None and sum(1 for _ in other.iter()) < 60:
            parent.insert(chance.randrange(len(parent) + 1), deepcopy(other))
        elif way == 3:
            other.text = chance.choice(VALUES)
        elif way == 4 and other.attrib:
            other.set(chance.choice(list(other.attrib)), chance.choice(VALUES))
        elif way == 5:
            other.tag = chance.choice(every).tag
        elif len(parent) > 1:
            row = list(parent)
            chance.shuffle(row)
            parent[:] = row
    return ET.tostring(root)


def _messages_moved(data: bytes, chance: random.Random) -> bytes:
    """A MIDI file that is whole, with events and times that nobody plays."""
    file = mido.MidiFile(file=io.BytesIO(data))
    if chance.random() < 0.2:
        file.ticks_per_beat = chance.choice((1, 7, 24, 960, 32767))
    for _ in range(chance.choice((1, 2, 5, 20, 200))):
        track = chance.choice(file.tracks)
        if not track:
            continue
        at, way = chance.randrange(len(track)), chance.randrange(6)
        if way == 0:
            del track[at]
        elif way == 1:
            track.insert(chance.randrange(len(track) + 1), track[at].copy())
        elif way == 2:
            track[at] = track[at].copy(time=chance.choice((0, 1, 3, 500, 99_999, 2**27)))
        elif way == 3 and track[at].type in ("note_on", "note_off"):
            track[at] = track[at].copy(note=chance.randrange(128))
        elif way == 4:
            track.insert(at, chance.choice(ODD_EVENTS))
        elif way == 5 and track[at].type == "note_off":
            del track[at]
    made = io.BytesIO()
    file.save(file=made)
    return made.getvalue()


BY_PARTS = {"musicxml": _elements_moved, "midi": _messages_moved}  # three of four mutations


def survives(name: str, data: bytes) -> bool:
    """Whether a file is read; then its chart is told of, unrolled, written and read again.

    Anything but an answer (`BackingError`) to the file goes through, and so does a chart that cannot be read again.
    """
    asked = Reading(read_as=name) if name in ("words", "numbers", "numerals") else Reading()
    try:
        chart = opened(data, FILES[name], asked, wanted=True)
    except BackingError as wrong:
        str(wrong)
        return False
    for diagnostic in chart.warnings:
        diagnostic.render()
    understood(chart)
    with contextlib.suppress(ChartError):
        unroll(chart)
    parse(write(chart), wanted=True)
    return True


class Run(NamedTuple):
    """How many cases were tried and read, which failed, the slowest in CPU seconds, the peak of memory in MB."""

    name: str
    cases: int
    read: int
    failed: tuple[str, ...]
    slowest_s: float
    slowest: int
    peak_mb: float

    def __str__(self) -> str:
        return (
            f"{self.name}: {self.cases} broken files, {self.read} read and the others answered; {len(self.failed)} failed; "
            f"the slowest {self.slowest_s:.2f} s (number {self.slowest}); {self.peak_mb:.0f} MB at most"
        )


class Hung(BaseException):
    """A case took longer than `MOST_CPU_S`."""


def tried(name: str, first: int, count: int | None = None, seconds: float | None = None) -> Run:
    """Mutations from number `first` on: so many, or for so many CPU seconds."""
    end = None if seconds is None else time.process_time() + seconds
    number, read, failed, slowest, at = first, 0, [], 0.0, first
    while (count is None or number < first + count) and (end is None or time.process_time() < end):
        data = mutated(name, number)
        began = time.process_time()
        try:
            with _limited(MOST_CPU_S):
                read += survives(name, data)
        except (Exception, Hung) as wrong:
            failed.append(f"{name} {number}: {type(wrong).__name__}: {wrong}")
            print(failed[-1], file=sys.stderr, flush=True)
        took = time.process_time() - began
        if took > slowest:
            slowest, at = took, number
        number += 1
    return Run(name, number - first, read, tuple(failed), slowest, at, peak_mb())


@contextlib.contextmanager
def _limited(cpu_s: float) -> Iterator[None]:
    def stop(*_: object) -> None:
        raise Hung(f"over {cpu_s} s")

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, cpu_s)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def peak_mb() -> float:
    """The most memory that this process has held (`VmHWM` of Linux: `ru_maxrss` counts the one that began it too)."""
    status = Path("/proc/self/status").read_text("utf-8")
    row = next(line for line in status.splitlines() if line.startswith("VmHWM"))
    return int(row.split()[1]) / 1024
