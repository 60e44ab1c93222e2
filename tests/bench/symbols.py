"""What reading and analysing chord symbols costs: `python -m tests.bench.symbols`."""

from __future__ import annotations

from time import perf_counter

from backing.ground.pitch import Key
from backing.harmony.colours import colours
from backing.harmony.function import _function, analyse
from backing.harmony.qualities import quality
from backing.harmony.reader import read_with_warnings
from backing.harmony.spelling import interval_for_semitones, transpose
from backing.harmony.symbol import read
from tests.chord_tables import symbols

ROOTS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def microseconds(start: float, count: int) -> float:
    return (perf_counter() - start) / count * 1e6


def main() -> None:
    """Print the cost a symbol, first and later, of moving it, and of analysing 1,000 different chords."""
    texts = [
        root + s[1:]
        for root in ROOTS
        for s in symbols()
        if s.startswith("C") and s[1:2] not in "b#♭♯"
    ]
    read_with_warnings.cache_clear()
    quality.cache_clear()
    start = perf_counter()
    chords = [read(t) for t in texts]
    print(f"reading a symbol the first time   {microseconds(start, len(texts)):8.2f} µs")
    start = perf_counter()
    for text in texts:
        read(text)
    print(
        f"reading it again                  {microseconds(start, len(texts)):8.2f} µs  (at most 20)"
    )
    key = Key.parse("C")
    interval = interval_for_semitones(key, 3)
    start = perf_counter()
    for chord in chords:
        transpose(chord, interval, key.up(interval))
    print(f"moving it to another key          {microseconds(start, len(texts)):8.2f} µs")
    line = (chords * 2)[:4000:4][:1000]
    _function.cache_clear()
    start = perf_counter()
    functions = analyse(line, [1] * len(line), key)
    print(
        f"analysing {len(line)} chords           {microseconds(start, 1) / 1000:8.2f} ms  (at most 50)"
    )
    start = perf_counter()
    analyse(line, [1] * len(line), key)
    print(f"analysing them again              {microseconds(start, 1) / 1000:8.2f} ms")
    start = perf_counter()
    for chord, function in zip(line, functions, strict=True):
        if chord is not None and function is not None:
            colours(chord, function, key)
    print(f"colours of a chord                {microseconds(start, len(line)):8.2f} µs")


if __name__ == "__main__":
    main()
