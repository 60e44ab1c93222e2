"""What is made of the tunes of a book, as typed on the command line and read from a file of choices."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from backing.commands.choices import read_sheets, read_table
from backing.commands.planned import ENDINGS, PAGED, SOUND
from backing.commands.values import MAX_PERCENT, MIN_PERCENT, near
from backing.ground.errors import RequestError
from backing.ground.pitch import Key

WHOLE = ("book", "album")  # made of all tunes together
KINDS = (*WHOLE, "lesson", *(e[1:] for e in ENDINGS if e not in PAGED))
ALL_KEYS = {
    False: [
        "C",
        "Db",
        "D",
        "Eb",
        "E",
        "F",
        "Gb",
        "G",
        "Ab",
        "A",
        "Bb",
        "B",
    ],  # major: the spelling with the fewest signs
    True: ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"],  # minor
}
MOST_TEMPOS = 40


@dataclass(frozen=True, slots=True)
class BookChoices:
    """What a book holds. `make` are kinds of files; `keys` is `all` or names, `tempos` percentages; `gap` in seconds.

    `title` and `by` stand on the title page, the list's own where they are empty.
    """

    title: str = ""
    by: str = ""
    make: tuple[str, ...] = ("book", "mp3", "html")
    sheets: tuple[str, ...] = ("concert",)
    keys: tuple[str, ...] = ()
    tempos: tuple[int, ...] = ()
    gap: float = 2.0

    @property
    def sound(self) -> str:
        """The ending of the album's files: the first kind of sound that is made, else MP3."""
        return next((f".{kind}" for kind in self.make if f".{kind}" in SOUND), ".mp3")


def read_make(text: str) -> tuple[str, ...]:
    """`book,mp3,html`. Raises `RequestError`."""
    found = [kind.strip().lower().removeprefix(".") for kind in text.split(",") if kind.strip()]
    for kind in found:
        if kind not in KINDS:
            raise RequestError(
                f"--make {text}: choose among {', '.join(KINDS)}.{near(kind, KINDS)}"
            )
    return tuple(dict.fromkeys(found))


def read_keys(text: str) -> tuple[str, ...]:
    """`all`, or keys by their notes: `C F Bb`. Raises `RequestError`."""
    found = re.split(r"[\s,]+", text.strip())
    if [word.lower() for word in found] == ["all"]:
        return ("all",)
    try:
        keys = [Key.parse(word) for word in found]
    except ValueError:
        raise RequestError(f'--keys {text}: write all, or notes such as "C F Bb"') from None
    return tuple(dict.fromkeys(key.tonic.name for key in keys))


def read_tempos(text: str) -> tuple[int, ...]:
    """`60:100:10` (percent from, to, step) or `60,80,100`. Raises `RequestError`."""
    ladder = re.fullmatch(r"\s*(\d{1,3}):(\d{1,3}):(\d{1,3})\s*", text)
    listed = re.fullmatch(r"\s*\d{1,3}\s*%?(\s*,\s*\d{1,3}\s*%?)*\s*", text)
    found: list[int] = []
    if ladder and int(ladder[3]):
        first, last, step = map(int, ladder.groups())
        way = step if first <= last else -step
        found = list(range(first, last + (1 if way > 0 else -1), way))
    elif listed:
        found = [int(figure) for figure in re.findall(r"\d+", text)]
    if not found or len(found) > MOST_TEMPOS:
        raise RequestError(f"--tempos {text}: write percentages, such as 60:100:10 or 60,80,100")
    if not all(MIN_PERCENT <= percent <= MAX_PERCENT for percent in found):
        raise RequestError(f"--tempos {text}: percentages go from {MIN_PERCENT} to {MAX_PERCENT}")
    return tuple(dict.fromkeys(found))


def read_gap(text: str) -> float:
    """Seconds between the tunes of an album in one file. Raises `RequestError`."""
    found = re.fullmatch(r"\s*(\d{1,2}(?:\.\d{1,3})?)\s*", text)
    if not found or float(found[1]) > 60:
        raise RequestError(f"--gap {text}: write seconds from 0 to 60")
    return float(found[1])


READERS: dict[str, Callable[[str], object]] = {
    "make": read_make, "sheets": read_sheets, "keys": read_keys, "tempos": read_tempos, "gap": read_gap,
}  # fmt: skip


def read_book(path: Path, choices: BookChoices) -> BookChoices:
    """The `[book]` table of a TOML file on top of `choices`. Raises `OutputError`, `RequestError`."""
    table = read_table(path, "book", [f.name for f in fields(BookChoices)])
    return replace(choices, **{n: _choice(path, n, v) for n, v in table.items()})  # type: ignore[arg-type]


def _choice(path: Path, name: str, value: object) -> object:
    if isinstance(value, bool | dict):
        value = None
    if name in READERS and value == [] and name != "gap":
        return ()
    if isinstance(value, list) and name in READERS:
        value = ",".join(map(str, value))
    if name == "gap" and isinstance(value, int | float):
        value = str(value)
    if not isinstance(value, str):
        kind = "a number of seconds" if name == "gap" else "a list" if name in READERS else "a text"
        raise RequestError(f"{path}: [book] {name} is {kind}")
    try:
        return READERS[name](value) if name in READERS else value
    except RequestError as wrong:
        raise RequestError(f"{path}: [book] {wrong}") from None


class Version(NamedTuple):
    """A tune in another key, named by its note, and at a share of its tempo; None is as it stands."""

    note: str | None = None
    share: Fraction | None = None

    @property
    def tail(self) -> str:
        """What is added to the names of its files.

        >>> Version("F#", Fraction(3, 5)).tail, Version().tail
        ('-Fsharp-60', '')
        """
        note = f"-{self.note.replace('#', 'sharp')}" if self.note else ""
        return note + (f"-{round(self.share * 100)}" if self.share is not None else "")

    @property
    def words(self) -> str:
        """As a list of files has it: `F# 60 %`."""
        share = f"{round(self.share * 100)} %" if self.share is not None else ""
        return " ".join(filter(None, [self.note, share]))


def versions(keys: Sequence[str], tempos: Sequence[int], own: Key) -> list[Version]:
    """Every version of a tune in the key `own`: of each key one at the tune's own tempo, then one at each tempo.

    >>> [v.tail for v in versions(("C", "Bb"), (60,), Key.parse("C"))]
    ['-C', '-C-60', '-Bb', '-Bb-60']
    """
    notes: list[str | None] = [*(ALL_KEYS[own.minor] if tuple(keys) == ("all",) else keys)] or [
        None
    ]
    shares = [None, *(Fraction(percent, 100) for percent in tempos)]
    return [Version(note, share) for note in notes for share in shares]


def chosen(path: Path | None, **typed: str | None) -> BookChoices:
    """The choices of a file, with what is typed on top. Raises `OutputError`, `RequestError`."""
    found = read_book(path, BookChoices()) if path else BookChoices()
    own = {name: READERS[name](text) for name, text in typed.items() if text is not None}
    return replace(found, **own)  # type: ignore[arg-type]
