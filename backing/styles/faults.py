"""What is wrong with a style file, and a table of it that is read with checks.

Codes: S101 not TOML · S102 something missing · S103 unknown key · S104 wrong kind of value or out of range · S105
unknown name · S106 a pattern's text · S107 the style that this one is like.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from backing.ground.instruments import ALSO_CALLED
from backing.ground.source import Diagnostic, Source, Span, nearest
from backing.ground.timebase import Meter
from backing.styles.model import SECTION

if TYPE_CHECKING:
    from backing.styles.places import Path, Places

MOST_HELD = 64  # bars, beside a whole section


def meter_of(text: str) -> Meter | None:
    """A meter as styles and charts write it, None when it is none.

    >>> meter_of("7/8 (2+2+3)").groups
    (2, 2, 3)
    """
    found = re.fullmatch(r"\s*(\d{1,2})/(\d{1,2})\s*(?:\((\d+(?:\+\d+)*)\))?\s*", text)
    if not found:
        return None
    groups = tuple(int(g) for g in found[3].split("+")) if found[3] else ()
    try:
        return Meter.of(int(found[1]), int(found[2]), groups)
    except ValueError:
        return None


class Faults:
    """The diagnostics of one file, in the order of its text."""

    def __init__(self, source: Source, known: Sequence[Diagnostic] = ()) -> None:
        self.source = source
        self._found = list(known)
        self._places: Places | None = None

    @property
    def places(self) -> Places:
        """Where everything stands; found when first asked for."""
        if self._places is None:
            from backing.styles.places import Places

            self._places = Places(self.source.text)
        return self._places

    @property
    def found(self) -> tuple[Diagnostic, ...]:
        return tuple(sorted(self._found, key=lambda d: (d.span.start, d.code)))

    def add(self, code: str, path: Path, message: str, hint: str, span: Span | None = None) -> None:
        """Note a mistake at the value of `path`, or at `span`."""
        place = span or self.places.value(path)
        self._found.append(Diagnostic(code, message, hint, place, self.source))


class Table:
    """A table of the file; every reader notes what is wrong and answers with the default."""

    def __init__(self, data: Mapping[str, object], path: Path, faults: Faults) -> None:
        self.data = data
        self.path = path
        self.faults = faults

    def fault(self, code: str, key: str | None, message: str, hint: str) -> None:
        """Note a mistake at the value of a key, or at the table itself."""
        path = self.path if key is None else (*self.path, key)
        if key is not None and code == "S103":
            self.faults.add(code, path, message, hint, self.faults.places.key(path))
        else:
            self.faults.add(code, path, message, hint)

    def only(self, known: Sequence[str]) -> None:
        """Note every key that is not known."""
        for key in self.data:
            if key not in known:
                near = nearest(key, known)
                hint = f"did you mean '{near}'?" if near else f"known here: {', '.join(known)}"
                self.fault("S103", key, f"'{key}' is not a key of {self._title()}", hint)

    def missing(self, key: str) -> None:
        """Note that a key must be there."""
        self.fault("S102", None, f"{self._title()} has no '{key}'", f"add a line: {key} = …")

    def _title(self) -> str:
        names = [str(p) for p in self.path if isinstance(p, str)]
        return f"[{'.'.join(names)}]" if names else "a style"

    def _kind(self, key: str, expected: str) -> None:
        self.fault(
            "S104", key, f"'{key}' should be {expected}", f"write {key} = …, with {expected}"
        )

    def text(self, key: str, default: str | None) -> str:
        """A text."""
        value = self.data.get(key, default or "")
        if not isinstance(value, str):
            self._kind(key, "text in double quotes")
            return default or ""
        return value

    def flag(self, key: str, default: bool) -> bool:
        """true or false."""
        value = self.data.get(key, default)
        if not isinstance(value, bool):
            self._kind(key, "true or false")
            return default
        return value

    def number(self, key: str, default: float, low: float, high: float) -> float:
        """A number in a range."""
        value = self.data.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            self._kind(key, "a number")
            return default
        if not low <= value <= high:
            said = f"{value:g}" if abs(value) < 1e15 or value != value else "far too big"
            self.fault(
                "S104", key, f"'{key}' is {said}", f"write a number from {low:g} to {high:g}"
            )
            return default
        return float(value)

    def bars(self, key: str, default: int) -> int:
        """A whole number of bars, or "section"."""
        value = self.data.get(key, default)
        if value == "section":
            return SECTION
        if isinstance(value, bool) or not isinstance(value, int):
            self._kind(key, 'a whole number of bars, or "section"')
            return default
        if key in self.data and not 1 <= value <= MOST_HELD:
            hint = f'write a number from 1 to {MOST_HELD}, or "section"'
            self.fault("S104", key, f"'{key}' is {value}", hint)
            return default
        return value

    def choice(self, key: str, names: Sequence[str], default: str | None) -> str | None:
        """One of some names."""
        if key not in self.data:
            return default
        value = self.data[key]
        if value in names:
            return str(value)
        self.unknown((*self.path, key), key, value, names)
        return default

    def unknown(self, path: Path, what: str, value: object, names: Sequence[str]) -> None:
        """Note a name that is not in a list, with the nearest one that is."""
        near = nearest(value, names) if isinstance(value, str) else None
        if "instrument" in self.path or what == "instrument":
            near = ALSO_CALLED.get(str(value).casefold(), near)
        hint = f"did you mean '{near}'?" if near else f"write one of: {', '.join(names)}"
        self.faults.add("S105", path, f"there is no {what} '{value}'", hint)

    def list_of_text(self, key: str) -> tuple[str, ...] | None:
        """A list of texts, None when it is not there."""
        if key not in self.data:
            return None
        value = self.data[key]
        if isinstance(value, list) and all(isinstance(v, str) for v in value):
            return tuple(value)
        self._kind(key, 'a list such as ["a", "b"]')
        return None

    def words(self, key: str, names: Sequence[str]) -> tuple[str, ...]:
        """A list of some names."""
        known = []
        for i, word in enumerate(self.list_of_text(key) or ()):
            if word in names:
                known.append(word)
            else:
                self.unknown((*self.path, key, i), key, word, names)
        return tuple(known)

    def one_or_more(self, key: str, names: Sequence[str]) -> tuple[str, ...]:
        """One of some names, or a list of them."""
        if isinstance(self.data.get(key), str):
            chosen = self.choice(key, names, None)
            return (chosen,) if chosen else ()
        return self.words(key, names)

    def table(self, key: str) -> Table:
        """A table inside this one."""
        value = self.data.get(key, {})
        if not isinstance(value, dict):
            self._kind(key, "a table")
            value = {}
        return Table(value, (*self.path, key), self.faults)

    def tables(self, key: str) -> list[Table]:
        """An array of tables inside this one."""
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            self._kind(key, f"tables headed [[{'.'.join(map(str, (*self.path, key)))}]]")
            return []
        return [Table(v, (*self.path, key, i), self.faults) for i, v in enumerate(value)]
