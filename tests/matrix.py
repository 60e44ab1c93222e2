"""Every style in every meter, for one and two choruses, to MIDI: no gap, nothing out of range.

    python -m tests.matrix            the whole matrix on two processes, with the time that it took
    python -m tests.matrix --short    one chorus, every sixth style

Ranges are those of the instruments (`backing.ground.instruments`, from orchestration handbooks); the rest is what a track
owes: every bar is heard, the bass plays each chord's bass, notes end after they begin.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from itertools import product

from backing.band.model import Kind
from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.ground.roles import UNPITCHED
from backing.output.midi import midi_bytes
from backing.styles.find import names

METERS = (
    "2/4", "3/4", "4/4", "5/4", "6/4", "7/4", "5/8", "6/8", "7/8", "9/8", "10/8", "11/8", "12/8", "changing",
)  # fmt: skip
SYMBOLS = ("Cmaj7", "A7b9", "Dm7", "G7/B", "Em7b5", "F6", "Dm9", "G13")
CHANGING = ("4/4", "3/4", "5/8", "2/4", "6/8", "7/8", "5/4", "12/8")


def chart(style: str, meter: str, choruses: int) -> str:
    """Eight bars with a chord each; `changing` has a new meter in every bar."""
    if meter == "changing":
        head = "meter: 4/4"
        bars = [f"{m} {s}" for m, s in zip(CHANGING, SYMBOLS, strict=True)]
    else:
        head, bars = f"meter: {meter}", list(SYMBOLS)
    return f"style: {style}\nchoruses: {choruses}\n{head}\nending: as written\n| {' | '.join(bars)} |\n"


def faults(style: str, meter: str, choruses: int) -> list[str]:
    """What is wrong with a style in a meter, in words; empty when nothing is."""
    prepared = prepare(parse(chart(style, meter, choruses)), Options())
    performance = band(prepared, Options())
    found = [] if midi_bytes(performance).startswith(b"MThd") else ["no MIDI file"]
    timeline = prepared.timeline
    heard: set[int] = set()
    bass: set[int] = set()
    for player in performance.arrangement.players:
        low, high = player.parts[0].part.low, player.parts[0].part.high
        for note in player.notes:
            if note.end_q <= note.start_q:
                found.append(f"{player.role}: a note without length at {note.start_q}")
            left = (
                player.role == "keys" and note.why.kind is Kind.THUMB
            )  # the left hand's own register
            if player.role not in UNPITCHED and not left and not low <= note.pitch <= high:
                found.append(f"{player.role}: {note.pitch} is outside {low} to {high}")
            if note.start_q >= 0:
                index = timeline.bar_at(note.start_q).index
                heard.add(index)
                if player.role == "bass" and note.chord >= 0:
                    span = timeline.chords[note.chord]
                    if span.chord is not None and note.pitch % 12 == span.chord.lowest.pc:
                        bass.add(note.chord)
    found += [f"bar {b.index} is empty" for b in timeline.bars if b.index not in heard]
    if any(p.role == "bass" for p in performance.arrangement.players):
        found += [
            f"the bass leaves out {timeline.chords[i].symbol}"
            for i in range(len(timeline.chords))
            if i not in bass
        ]
    return found


def case(place: tuple[str, str, int]) -> tuple[tuple[str, str, int], list[str]]:
    return place, faults(*place)


def main() -> int:
    """Print what is wrong, and how long it took; 1 when anything is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    short = parser.parse_args().short
    styles = names()[::6] if short else names()
    places = list(product(styles, METERS, (1,) if short else (1, 2)))
    begun = time.perf_counter()
    wrong = 0
    with ProcessPoolExecutor(2) as pool:
        for (style, meter, choruses), found in pool.map(case, places, chunksize=8):
            for fault in found[:3]:
                print(f"{style} in {meter}, {choruses} chorus(es): {fault}")
            wrong += bool(found)
    print(
        f"{len(places)} tracks, {wrong} with faults, {time.perf_counter() - begun:.1f} s on two processes"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
