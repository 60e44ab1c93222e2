"""Keys of a terminal, one at a time, and the terminal left as it was."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

# what a terminal sends for a key that has no letter
NAMES = {
    "\x1b[A": "up", "\x1b[B": "down", "\x1b[C": "right", "\x1b[D": "left", "\x1b[H": "home", "\x1b[1~": "home",
    "\x1bOA": "up", "\x1bOB": "down", "\x1bOC": "right", "\x1bOD": "left", "\x1bOH": "home",
    "\xe0H": "up", "\xe0P": "down", "\xe0M": "right", "\xe0K": "left", "\xe0G": "home",  # Windows
}  # fmt: skip


def split(text: str) -> list[str]:
    """What was read from a terminal as names of keys, letters in lower case.

    >>> split("\\x1b[AkK "), split("\\x1b[99~+")
    (['up', 'k', 'k', ' '], ['+'])
    """
    keys = []
    while text:
        found = next((code for code in NAMES if text.startswith(code)), None)
        if found:
            keys.append(NAMES[found])
            text = text[len(found) :]
        elif text[0] == "\x1b":
            text = text[_sequence(text) :]
        else:
            keys.append(text[0].lower())
            text = text[1:]
    return keys


def _sequence(text: str) -> int:
    """The length of a sequence that no key here sends; a lone escape is one sign."""
    if len(text) < 2 or text[1] not in "[O":
        return 1
    for i, sign in enumerate(text[2:], 2):
        if sign.isalpha() or sign == "~":
            return i + 1
    return len(text)


class Keyboard:
    """Reads keys as they are pressed; none where standard input is no terminal."""

    def __init__(self) -> None:
        self.there = sys.stdin is not None and sys.stdin.isatty()

    def read(self, wait_s: float) -> list[str]:
        """The keys that were pressed, waiting so long for the first."""
        if not self.there:
            from time import sleep

            sleep(wait_s)
            return []
        if os.name == "nt":
            return _windows(wait_s)
        import select

        ready, _, _ = select.select([sys.stdin], [], [], wait_s)
        if not ready:
            return []
        data = os.read(sys.stdin.fileno(), 1024)
        if not data:  # the terminal is gone
            self.there = False
        return split(data.decode("utf-8", "ignore"))


def _windows(wait_s: float) -> list[str]:  # pragma: no cover - on Windows alone
    import msvcrt
    from time import sleep

    sleep(wait_s)
    text = ""
    while msvcrt.kbhit():  # type: ignore[attr-defined]
        text += msvcrt.getwch()  # type: ignore[attr-defined]
    return split(text.replace("\x00", "\xe0"))


@contextmanager
def one_at_a_time(keyboard: Keyboard) -> Iterator[None]:
    """Keys arrive at once and are not printed; afterwards the terminal is as it was."""
    if not keyboard.there or os.name == "nt":
        yield
        return
    import termios
    import tty

    before = termios.tcgetattr(sys.stdin)
    tty.setcbreak(sys.stdin)
    try:
        yield
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)
