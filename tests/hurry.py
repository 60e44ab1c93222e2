"""Hurried hands on the practice page: `python -m tests.hurry [--count 500] [--rates 1,4,20] [--first 1]`.

Opens the page once a rate, runs so many random sequences of keys and taps there and prints those after which the page
did not rest. A sequence can be run again by its number.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parent))

from browser import browser
from test_page_holds import hurried

from tests.practice import build


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=500)
    asked.add_argument("--rates", default="1,4,20")
    asked.add_argument("--first", type=int, default=1)
    wish = asked.parse_args()
    failed = 0
    for rate in (int(r) for r in wish.rates.split(",")):
        began = time.monotonic()
        with TemporaryDirectory() as folder, browser() as tab:
            made = build(Path(folder))
            tab.size(1280, 800)
            tab.open(made.path)
            tab.wait("window.practice && practice.studio?.took < 0.2")
            tab.slowed(rate)
            bad = []
            for seed in range(wish.first, wish.first + wish.count):
                bad += hurried(tab, range(seed, seed + 1))
            failed += len(bad) + len(tab.errors)
            took = time.monotonic() - began
            print(
                f"rate {rate}: {wish.count} sequences in {took:.0f} s, {len(bad)} at fault,"
                f" {len(tab.errors)} errors in the console"
            )
            for one in (*bad, *tab.errors):
                print("  ", one)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
