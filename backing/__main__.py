"""`python -m backing` and the `backing` command."""

from __future__ import annotations

import gc
import sys

RARELY = 100_000  # new objects; a track is tens of thousands of records, and none of them refers to itself


def main() -> None:
    """Run the command line and leave with its exit code.

    What a command makes lives until it ends, so the collector of cycles looks for garbage rarely, and not once more
    at the end (together a sixth of the time from a chart to a MIDI file).
    """
    gc.set_threshold(RARELY)
    from backing.commands.cli import run

    code = run(sys.argv[1:])
    gc.freeze()
    sys.exit(code)


if __name__ == "__main__":
    main()
