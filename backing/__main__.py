"""`python -m backing` and the `backing` command: the outermost floor, where nothing is left that is no sentence.

Exit codes beside those of the commands: 129 and 143 when a signal (SIGHUP, SIGTERM) ended it, as 130 after SIGINT.
With `python -X dev -m backing` an error that is the program's own fault shows its traceback.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Callable
from types import FrameType
from typing import Any

RARELY = 100_000  # new objects; a track is tens of thousands of records, and none of them refers to itself
READ_OR_WRITE = 4


def main() -> None:
    """Run the command line and leave with its exit code.

    What a command makes lives until it ends, so the collector of cycles looks for garbage rarely, and not once more
    at the end (together a sixth of the time from a chart to a MIDI file).
    """
    gc.set_threshold(RARELY)
    stand()
    listen()
    code = guarded(command_line)
    if not flushed() and not code:
        code = READ_OR_WRITE
    told()
    gc.freeze()
    sys.exit(code)


def command_line() -> int:
    """Run what was typed."""
    from backing.commands.cli import run

    return run(sys.argv[1:])


def stand() -> None:
    """Give the standard streams something to stand on, and let them write any name that a file can have.

    Where one was closed, the next file to be opened would be taken for it, and messages would land in that file.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            import codecs

            codecs.register_error("backing", as_bytes)
            reconfigure: Callable[..., None] | None = getattr(stream, "reconfigure", None)
            if reconfigure is not None:
                reconfigure(errors="backing")


def as_bytes(wrong: UnicodeError) -> tuple[bytes | str, int]:
    """What an encoding lacks: bytes of a file name as they were, other characters by their numbers."""
    if not isinstance(wrong, UnicodeEncodeError):
        raise wrong
    text = wrong.object[wrong.start : wrong.end]
    told = b"".join(
        bytes([ord(c) - 0xDC00])
        if 0xDC80 <= ord(c) <= 0xDCFF
        else c.encode("ascii", "backslashreplace")
        for c in text
    )
    return told, wrong.end


def listen() -> None:
    """Let SIGTERM and SIGHUP end the program as SIGINT does, with everything put away; the next one ends it at once."""
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:  # not under nohup
            signal.signal(number, ended)


def ended(number: int, _frame: FrameType | None) -> Any:
    """Leave, from wherever the program is, through everything that has to be put away."""
    signal.signal(number, signal.SIG_DFL)
    raise SystemExit(128 + number)


def guarded(run: Callable[[], int]) -> int:
    """What `run` returns; what nobody below has answered becomes a sentence and an exit code."""
    try:
        return run()
    except KeyboardInterrupt:
        tell("interrupted")
        return 130
    except OSError as wrong:
        where = wrong.filename  # a stream has none
        place = "standard output" if where is None else os.fsdecode(where)
        tell(f"{place} cannot be used: {wrong.strerror or wrong}")
        return READ_OR_WRITE
    except MemoryError:
        tell("there is not enough memory for this; ask for less at once (--choruses, --length)")
        return READ_OR_WRITE
    except RecursionError:
        tell("this is nested too deeply to be read")
        return 1
    except Exception as wrong:  # nobody above could tell it without a traceback
        if sys.flags.dev_mode:
            raise
        tell(f"a fault of the program itself, please report it: {fault(wrong)}")
        return 1


def fault(wrong: BaseException) -> str:
    """An error and the innermost place of this program where it came up."""
    place, trace = "", wrong.__traceback__
    while trace is not None:
        code = trace.tb_frame.f_code
        if "backing" in code.co_filename:
            place = f"{os.path.basename(code.co_filename)}:{trace.tb_lineno}"  # noqa: PTH119
        trace = trace.tb_next
    return f"{type(wrong).__name__}: {wrong} ({place})"


def tell(words: str) -> None:
    """A line on standard error, where there is one."""
    try:
        if sys.stderr is not None:
            sys.stderr.write(f"backing: {words}\n")
            sys.stderr.flush()
    except OSError:
        pass


def flushed() -> bool:
    """Write out what waits for standard output; False, with a message, where it cannot take it."""
    if sys.stdout is None:
        return True
    try:
        sys.stdout.flush()
    except OSError as wrong:
        # What still waits would be tried again at the end, with a message of the interpreter's own.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(wrong, BrokenPipeError):  # the reader has seen enough
            return True
        tell(f"standard output cannot be used: {wrong.strerror}")
        return False
    return True


def told() -> None:
    """Let go of what standard error cannot take: there is nowhere to say so, and the exit code stays."""
    try:
        if sys.stderr is not None:
            sys.stderr.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())


if __name__ == "__main__":
    main()
