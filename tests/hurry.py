"""Hurried hands on the practice page: `python -m tests.hurry [--count 500] [--rates 1,4,20] [--first 1] [--hands 1]`.

Runs so many random sequences of keys and taps at each rate and prints those after which the page did not rest. Each hand
has a browser of its own, in which the page is opened once; a sequence can be run again by its number.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parent))

from test_page_holds import hand

from tests.practice import build


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=500)
    asked.add_argument("--rates", default="1,4,20")
    asked.add_argument("--first", type=int, default=1)
    asked.add_argument("--hands", type=int, default=1)
    wish = asked.parse_args()
    end, hands = wish.first + wish.count, min(wish.hands, wish.count)
    failed = 0
    with TemporaryDirectory() as folder, ThreadPoolExecutor(hands) as pool:
        made = build(Path(folder))
        for rate in (int(r) for r in wish.rates.split(",")):
            began = time.monotonic()
            shares = [range(wish.first + n, end, hands) for n in range(hands)]
            tasks = [pool.submit(hand, made, rate, share) for share in shares]
            bad = [fault for task in tasks for fault in task.result()]
            failed += len(bad)
            took = time.monotonic() - began
            print(f"rate {rate}: {wish.count} sequences in {took:.0f} s, {len(bad)} faults")
            for one in bad:
                print("  ", one)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
