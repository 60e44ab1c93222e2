"""The program that works for a desk: asks come in as lines of JSON, answers go out as such (`backing.desk.workers`).

It ends when its input ends. What it prints by the way goes to standard error, for standard output holds answers alone.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TextIO

from backing.ground.errors import BackingError, ChartError, StyleError

NICE = 5  # what sounds in the desk goes first

Told = Callable[[float, str], None]


def main(folder: str) -> None:
    """Answer until the input ends."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    os.chdir(folder)  # a style beside a chart is named from there
    if hasattr(os, "nice"):
        os.nice(NICE)
    for line in sys.stdin.buffer:
        asked = json.loads(line)
        number = asked.pop("id")
        write(answers, answered(number, asked, answers))


def answered(number: int, asked: dict[str, Any], answers: TextIO) -> dict[str, Any]:
    """What is said to one ask at its end."""
    shown = -1.0

    def told(share: float, words: str) -> None:
        nonlocal shown
        if share - shown >= 0.01 or share == 1.0:
            shown = share
            write(answers, {"id": number, "share": share, "words": words})

    try:
        return {"id": number, "answer": TASKS[asked.pop("do")](told, **asked)}
    except (ChartError, StyleError) as wrong:
        first = wrong.diagnostics[0]
        hint = f" ({first.hint})" if first.hint else ""
        return {"id": number, "failed": f"line {first.line}: {first.message}{hint}"}
    except BackingError as wrong:
        return {"id": number, "failed": str(wrong)}
    except (
        Exception
    ) as wrong:  # the outermost floor of this program: no ask may end it for the others
        fault = f"{type(wrong).__name__}: {wrong}"
        words = f"a fault of the program itself, please report it: {fault}"
        return {"id": number, "failed": words}


def write(answers: TextIO, said: dict[str, Any]) -> None:
    answers.write(json.dumps(said, ensure_ascii=True) + "\n")
    answers.flush()


def look(_: Told, **asked: Any) -> object:
    from backing.commands.desk_look import look

    return look(**asked)


def draw(_: Told, **asked: Any) -> object:
    from backing.commands.desk_look import draw

    return draw(**asked)


def chord(_: Told, symbol: str, german: bool = False, tuning: str = "") -> object:
    from backing.commands.reports import chords

    return chords([symbol], german, tuning)[0][0]


def words(_: Told) -> object:
    from backing.commands.desk_words import words

    return words()


def answers(_: Told, **asked: Any) -> object:
    from backing.commands.desk_answers import answers

    return answers(**asked)


def make(told: Told, **asked: Any) -> object:
    from backing.commands.desk_make import make

    return make(told, **asked)


TASKS: dict[str, Callable[..., object]] = {
    "look": look,
    "draw": draw,
    "chord": chord,
    "words": words,
    "answers": answers,
    "make": make,
}


if __name__ == "__main__":
    main(Path(sys.argv[1]).as_posix() if len(sys.argv) > 1 else ".")
