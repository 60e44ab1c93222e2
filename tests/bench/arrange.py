"""CPU seconds to arrange and perform: `python -m tests.bench.arrange [STYLE]`.

The budget: 1,000 bars of five players at one chord a bar in under 2 s of CPU, and 10,000 in ten times that.
"""

from __future__ import annotations

import sys
import time

from backing.band.arrange import arrange
from backing.performance.perform import perform
from tests.band import prepared
from tests.generated import KEYS, ii_v_i

SECTION = 32


def tune(bars: int) -> str:
    """Sections of 32 bars of ii-V-I, each its own, in turn."""
    cells = ii_v_i().replace("%", "C6").split(" | ")
    names = [f"S{i}" for i in range(min(20, bars // SECTION))]
    body = "".join(
        f"[{name}]\n| "
        + " | ".join(cells[(i * 4 + j) % len(cells)] for j in range(SECTION))
        + " |\n"
        for i, name in enumerate(names)
    )
    form = " ".join(names[i % len(names)] for i in range(bars // SECTION))
    return f"meter: 4/4\ntempo: 140\nkey: {KEYS[0]}\nform: {form}\nending: as written\n{body}"


def measured(bars: int, style: str) -> tuple[int, int, float, float]:
    """Bars, notes, and CPU seconds of arranging and of performing."""
    ready = prepared(tune(bars), style)
    started = time.process_time()
    music = arrange(ready.timeline, ready.style)
    arranged_at = time.process_time()
    perform(music)
    done = time.process_time()
    notes = sum(len(p.notes) for p in music.players)
    return len(ready.timeline.bars), notes, arranged_at - started, done - arranged_at


if __name__ == "__main__":
    name = sys.argv[1] if len(sys.argv) > 1 else "bossa nova"
    whole = {}
    for size in (1_024, 10_240):
        bars, notes, arranging, performing = measured(size, name)
        whole[size] = arranging + performing
        print(
            f"{name}, {bars} bars, {notes} notes: arrange {arranging:.2f} s, perform {performing:.2f} s of CPU"
        )
    print(
        f"budget 2 s for 1,000 bars; growth from 1,024 to 10,240 bars: {whole[10_240] / whole[1_024]:.1f} times"
    )
