"""Reading a chart takes time in proportion to its length: counted in operations, at sizes 1, 2, 4 and 8.

An operation is a call, of Python or of a built-in; a call that goes through a list counts as many as the list has items.
What is guessed from long texts goes through regular expressions, which this count does not see into: there the length
of what is guessed from is what is checked.
"""

from __future__ import annotations

import functools
import itertools
import sys
from collections.abc import Callable
from types import FrameType

import pytest

from backing.chart import habits
from backing.chart.alone import MOST_GUESSED
from backing.chart.parse import parse_all

SIZES = (1, 2, 4, 8)
UNIT = 300

# What is written n times in one place; all of it is refused or read, and neither may take more than its length.
LONG: dict[str, Callable[[int], str]] = {
    "slashes in a bar":        lambda n: f"| C {'/ ' * n}|\n",
    "chords in a bar":         lambda n: f"| {'C ' * n}|\n",
    "different chords":        lambda n: "| " + " ".join(f"C{i}" for i in range(n)) + " |\n",
    "bars":                    lambda n: "| " + "C | " * n + "\n",
    "bars on their own lines": lambda n: "| C |\n" * n,
    "brackets in brackets":    lambda n: f"| {'( ' * n}C{' )' * n} |\n",
    "brackets side by side":   lambda n: f"| {'(C F) ' * n}|\n",
    "chords in one bracket":   lambda n: f"| ({'C ' * n}) |\n",
    "blanks in symbols":       lambda n: f"| C {'b9 ' * n}|\n",
    "pushes":                  lambda n: f"| {'<' * n}C |\n",
    "stops":                   lambda n: f"| C{'!' * n} |\n",
    "symbol of brackets":      lambda n: f"| C{'(' * n} |\n",
    "symbol of sevens":        lambda n: f"| C{'7' * n} |\n",
    "repeats":                 lambda n: "|: C :| x2 " * n + "\n",
    "endings":                 lambda n: "|: C |1. F :|2. G || " * n + "\n",
    "bar lines":               lambda n: "| C " + "| " * n + "\n",
    "similes":                 lambda n: "| C " + "| % " * n + "|\n",
    "texts over a bar":        lambda n: "| " + '"hello" ' * n + "C |\n",
    "directions over a bar":   lambda n: "| " + '"Segno" ' * n + "C |\n",
    "quotes":                  lambda n: "| C " + '" ' * n + "|\n",
    "meters":                  lambda n: f"| {'3/4 ' * n}C |\n",
    "unknown settings":        lambda n: "".join(f"s{i}x: 1\n" for i in range(n)) + "| C |\n",
    "a setting again":         lambda n: "tempo: 100\n" * n + "| C |\n",
    "a long title":            lambda n: f"title: {'x ' * n}\n| C |\n",
    "a long value":            lambda n: f"tempo: {'1 ' * n}\n| C |\n",
    "groups of a meter":       lambda n: f"meter: 32/8 ({'1+' * n}1)\n| C |\n",
    "sections":                lambda n: "".join(f"[S{i}]\n| C |\n" for i in range(n)),
    "a section again":         lambda n: "[A]\n| C |\n" + "[A]\n" * n,
    "a form of letters":       lambda n: f"form: {'A' * n}\n[A]\n| C |\n",
    "a form with commas":      lambda n: f"form: {'A, ' * n}\n[A]\n| C |\n",
    "a form of counts":        lambda n: f"form: A {'x9 ' * n}\n[A]\n| C |\n",
    "a form in brackets":      lambda n: f"form: {'(' * n}A{')' * n}\n[A]\n| C |\n",
    "a form of no sections":   lambda n: f"form: {'Q ' * n}\n[A]\n| C |\n",
    "notes in a bar":          lambda n: f"| C |\nmelody: | {'C4 ' * n}|\n",
    "held notes":              lambda n: f"| C |\nmelody: | C4 {'/ ' * n}|\n",
    "bars of a melody":        lambda n: f"| C |\nmelody: {'| C4 ' * n}|\n",
    "bars of hits":            lambda n: "| C " * n + "|\nhits: " + "| x / r x " * n + "|\n",
    "verses":                  lambda n: "| C | F |\n" + "words: | a | b |\n" * n,
    "words of a bar":          lambda n: f"| C |\nwords: | {'la ' * n}|\n",
    "prose":                   lambda n: "somebody wrote this line\n" * n + "| C |\n",
    "a line of prose":         lambda n: "somebody " * n + "\n| C |\n",
    "comments":                lambda n: "# said\n" * n + "| C |\n",
    "blanks":                  lambda n: f"key{' ' * n}: C\n| C{' ' * n}|\n",
}  # fmt: skip


def operations(work: Callable[[], object]) -> int:
    """What a piece of work takes."""
    count = 0

    def one(frame: FrameType, event: str, argument: object) -> None:
        nonlocal count
        owner = getattr(argument, "__self__", None)
        if event == "c_call" and isinstance(owner, list):
            searched = getattr(argument, "__name__", "") in ("index", "insert", "copy")
            count += len(owner) if searched else 1
        elif event in ("call", "c_call"):
            count += 1

    sys.setprofile(one)
    try:
        work()
    finally:
        sys.setprofile(None)
    return count


@pytest.mark.slow
def test_twice_the_chart_takes_twice_the_operations() -> None:
    for text in LONG.values():
        parse_all(text(1))  # what is worked out once is not counted
    wrong = {}
    for name, text in LONG.items():
        counts = [operations(functools.partial(parse_all, text(UNIT * size))) for size in SIZES]
        steps = [b / a for a, b in itertools.pairwise(counts)]
        if max(steps) > 2.3:
            wrong[name] = counts
    assert not wrong


def _searched(items: list[str]) -> None:
    for item in items:
        items.index(item)


def test_the_count_sees_what_is_not_linear() -> None:
    """The measure itself: a list that is searched again for every item."""
    short, long = ([str(i) for i in range(n)] for n in (100, 200))
    counts = [operations(functools.partial(_searched, items)) for items in (short, long)]
    assert counts[1] > 3 * counts[0]


@pytest.mark.parametrize(
    "text",
    [
        f"key{' ' * 100_000}: C\n| C |\n",
        f"{'x ' * 100_000}\n| C |\n",
        f"| C | {'x' * 100_000}\n",
        f"| C | x{' ' * 100_000}3\n",
        f"| C |\n{'-' * 100_000}\n",
        f"key: {'C' * 100_000}\n| C |\n",
        f"meter: 4{' ' * 100_000}\n| C |\n",
        f"dynamics: p{' ' * 100_000}f\n| C |\n",
    ],
    ids=lambda text: text[:12].split("\n")[0],
)
def test_guesses_are_made_from_the_beginning_of_a_text(
    text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every function that guesses what was meant gets a text that a person may have typed on one line."""
    longest = 0

    def measured(guess: Callable[..., object]) -> Callable[..., object]:
        def call(*given: object) -> object:
            nonlocal longest
            longest = max(longest, *(len(g) for g in given if isinstance(g, str)))
            return guess(*given)

        return call

    for name in (
        "times",
        "without_count",
        "heading",
        "remark",
        "key",
        "tempo",
        "meter",
        "feel",
        "number",
    ):
        monkeypatch.setattr(habits, name, measured(getattr(habits, name)))
    parse_all(text)
    assert longest <= MOST_GUESSED
