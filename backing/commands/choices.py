"""What goes into a lesson, as typed on the command line and read from a file of choices."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path

from backing.commands.values import STEM_KINDS, TRANSPOSING, choice, near
from backing.ground.errors import OutputError, RequestError

SHEETS = ("concert", *TRANSPOSING)
MOST_BYTES = 100_000


@dataclass(frozen=True, slots=True)
class Choices:
    """What goes into a lesson. `speeds` are percentages; `sheets` name the instruments that the chart is printed for."""

    speeds: tuple[int, ...] = (100, 85, 70)
    without: bool = True
    bass_and_drums: bool = True
    click: bool = False
    ladder: bool = False
    stems: bool = True
    stems_as: str = "mp3"
    loops: bool = True
    sheets: tuple[str, ...] = ("concert",)
    page: bool = True
    video: bool = False
    midi: bool = True
    captions: bool = True
    timeline: bool = True
    chart: bool = True


def read_speeds(text: str) -> tuple[int, ...]:
    """`100,85,70`. Raises `RequestError`."""
    try:
        speeds = tuple(int(p.strip().rstrip("%")) for p in text.split(","))
    except ValueError:
        raise RequestError(f"--speeds {text}: write percentages, such as 100,85,70") from None
    if not all(10 <= s <= 200 for s in speeds):
        raise RequestError(f"--speeds {text}: percentages go from 10 to 200")
    return tuple(dict.fromkeys(speeds))


def read_sheets(text: str) -> tuple[str, ...]:
    """`concert,Bb`. Raises `RequestError`."""
    try:
        return tuple(dict.fromkeys(choice(*SHEETS)(part) for part in text.split(",")))
    except RequestError as wrong:
        raise RequestError(f"--sheets {text}: {wrong}") from None


def read_choices(path: Path, choices: Choices) -> Choices:
    """The `[lesson]` table of a TOML file on top of `choices`. Raises `OutputError`, `RequestError`."""
    given = {
        name: _choice(path, name, value, getattr(choices, name))
        for name, value in read_table(path, "lesson", [f.name for f in fields(Choices)]).items()
    }
    return replace(choices, **given)  # type: ignore[arg-type]


def read_table(path: Path, title: str, names: Sequence[str]) -> dict[str, object]:
    """A table of a TOML file that may hold these names; empty where the file has none. Raises `OutputError`, `RequestError`."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            raise RequestError(f"{path} is no file of choices: it is longer than 100 kB")
        table = tomllib.loads(data.decode("utf-8-sig").replace("\r\n", "\n")).get(title, {})
    except OSError as wrong:
        raise OutputError(f"{path} could not be read: {wrong.strerror}") from None
    except (
        ValueError,
        RecursionError,
    ) as wrong:  # not UTF-8, not TOML, or a number of endless digits
        raise RequestError(f"{path} is no TOML file: {wrong}") from None
    if not isinstance(table, dict):
        raise RequestError(f"{path}: [{title}] is a table, not {table!r}")
    for name in table:
        if name not in names:
            raise RequestError(
                f"{path}: [{title}] has no {name!r}; it may hold {', '.join(names)}.{near(name, names)}"
            )
    return table


def _choice(path: Path, name: str, value: object, usual: object) -> object:
    """A value of the table in the type that the choice has."""
    if name in ("speeds", "sheets") and value == []:  # none of them
        return ()
    if name == "speeds" and isinstance(value, list):
        return read_speeds(",".join(map(str, value)))
    if name == "sheets" and isinstance(value, list):
        return read_sheets(",".join(map(str, value)))
    if name == "stems_as" and isinstance(value, str):
        try:
            return choice(*STEM_KINDS)(value)
        except RequestError as wrong:
            raise RequestError(f"{path}: [lesson] stems_as {value}: {wrong}") from None
    if isinstance(usual, bool) and isinstance(value, bool):
        return value
    kind = (
        "true or false"
        if isinstance(usual, bool)
        else "a list"
        if isinstance(usual, tuple)
        else "a word"
    )
    raise RequestError(f"{path}: [lesson] {name} is {kind}, not {value!r}")
