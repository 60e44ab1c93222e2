"""A video of a demo against its playing time: all of it, and what of that is sound.

    python -m tests.bench.video

With less than two processors free, the time of processors tells: half of it is what two would take.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.commands.reading import read_chart
from backing.commands.writing import write_all
from tests.bench.common import DEMO, in_turn

LIMIT = 1 / 3
MINUTES = 2.0


def main() -> float:
    wish = Options().changed(length_s=60.0 * MINUTES)
    prepared = prepare(read_chart(DEMO / "blues.txt", wish.reading), wish)
    performance = band(prepared, wish)

    def write(name: str) -> None:
        write_all(prepared, performance, [Path(folder) / name], own, lambda *_: None)

    with tempfile.TemporaryDirectory() as folder:
        for screen in ("720p", "upright", "1080p"):
            own = wish.changed(screen=screen, force=True)
            best = in_turn(
                (("wav", lambda: write("a.wav")), ("mp4", lambda: write("a.mp4"))), times=1
            )
            size = (Path(folder) / "a.mp4").stat().st_size
            ratio = best["mp4"].cpu_s / 2 / performance.duration_s
            print(f"{screen}: {performance.duration_s:.0f} s of music, {size / 1e6:.1f} MB")
            print(f"  sound alone  {best['wav']}")
            print(f"  video        {best['mp4']}")
            print(f"  on two free processors {ratio:.2f} of the playing time (at most {LIMIT:.2f})")
    return ratio


if __name__ == "__main__":
    main()
