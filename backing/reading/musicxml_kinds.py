"""Kinds of chords of MusicXML and the degrees that are added to them, to and from chord symbols.

*Sources*: `kind-value` and `degree` of MusicXML 4.0 (W3C Community Group report): degrees of each kind; an added degree
is altered against the major, perfect or, for the seventh, minor interval, a changed one against the kind's own.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from backing.ground.pitch import Degree, NoteName
from backing.harmony.qualities import quality
from backing.harmony.symbol import SymbolError, read

# kind: degrees. The kinds without degrees of their own (Neapolitan, Italian, French, German, pedal, Tristan, other) are
# not here: what they sound like depends on more than a root.
KINDS = {
    "major":              "1 3 5",
    "minor":              "1 b3 5",
    "augmented":          "1 3 #5",
    "diminished":         "1 b3 b5",
    "dominant":           "1 3 5 b7",
    "major-seventh":      "1 3 5 7",
    "minor-seventh":      "1 b3 5 b7",
    "diminished-seventh": "1 b3 b5 bb7",
    "augmented-seventh":  "1 3 #5 b7",
    "half-diminished":    "1 b3 b5 b7",
    "major-minor":        "1 b3 5 7",
    "major-sixth":        "1 3 5 6",
    "minor-sixth":        "1 b3 5 6",
    "dominant-ninth":     "1 3 5 b7 9",
    "major-ninth":        "1 3 5 7 9",
    "minor-ninth":        "1 b3 5 b7 9",
    "dominant-11th":      "1 3 5 b7 9 11",
    "major-11th":         "1 3 5 7 9 11",
    "minor-11th":         "1 b3 5 b7 9 11",
    "dominant-13th":      "1 3 5 b7 9 11 13",
    "major-13th":         "1 3 5 7 9 11 13",
    "minor-13th":         "1 b3 5 b7 9 11 13",
    "suspended-second":   "1 2 5",
    "suspended-fourth":   "1 4 5",
    "power":              "1 5",
}  # fmt: skip
# spellings that older programs wrote
OLD_KINDS = {
    "major-minor-seventh": "dominant", "dominant-seventh": "dominant", "minor-major": "major-minor",
    "maj7": "major-seventh", "min7": "minor-seventh", "7": "dominant",
}  # fmt: skip
NONE = "none"


class Change(NamedTuple):
    """A `<degree>`: `way` is add, alter or subtract."""

    number: int
    alter: int
    way: str


class Read(NamedTuple):
    """The symbol of a `<harmony>` as a chart types it, and what had to be assumed for it ("" for nothing)."""

    symbol: str
    assumed: str = ""


@lru_cache(maxsize=4096)
def symbol_of(
    root: NoteName, kind: str, text: str | None, changes: tuple[Change, ...], bass: NoteName | None
) -> Read:
    """The symbol of a chord; its printed text is kept where it says the same.

    >>> c = NoteName("C")
    >>> symbol_of(c, "dominant", None, (Change(9, -1, "add"),), None).symbol
    'C7b9'
    >>> symbol_of(c, "major-seventh", "Δ", (), NoteName("G")).symbol
    'CΔ/G'
    """
    slash = f"/{bass.name}" if bass else ""
    kind = OLD_KINDS.get(kind, kind)
    base = KINDS.get(kind)
    printed = _printed(root.name, text, slash)
    if base is None:
        if printed:
            return Read(printed, f"its text, {printed}")
        return Read(root.name + slash, f"a major triad, {root.name}{slash}")
    degrees = degrees_of(base.split(), changes)
    if printed and _degrees(printed) == degrees:
        return Read(printed)
    try:
        name = quality(degrees).name
    except KeyError:
        return Read(root.name + slash, f"a major triad, {root.name}{slash}")
    made = root.name + name + slash
    if _degrees(made) != degrees:
        made = printed or root.name + slash
        return Read(made, made)
    return Read(made)


def degrees_of(base: Iterable[str], changes: Iterable[Change]) -> frozenset[str]:
    """The degrees of a kind with those that are added, altered and taken away."""
    found = {Degree.parse(d).number: Degree.parse(d) for d in base}
    more: list[Degree] = []
    for number, alter, way in changes:
        if way == "subtract":
            found.pop(number, None)
        elif way == "alter" and number in found:
            found[number] = Degree(number, found[number].alter + alter)
        else:
            minor = -1 if number == 7 else 0
            degree = Degree(number, minor + alter)
            if number in found and found[number] != degree:
                more.append(degree)
            else:
                found[number] = degree
    return frozenset(d.name for d in (*found.values(), *more))


def kind_of(degrees: Iterable[Degree]) -> tuple[str, list[Change]]:
    """The kind nearest to a set of degrees, and the changes that make up the difference."""
    return _kind_of(frozenset(degrees))


@lru_cache(maxsize=1024)
def _kind_of(degrees: frozenset[Degree]) -> tuple[str, list[Change]]:
    best: tuple[int, str, list[Change]] | None = None
    for kind, base in KINDS.items():
        changes = _difference({Degree.parse(d) for d in base.split()}, set(degrees))
        cost = sum(2 if c.way == "subtract" else 1 for c in changes)
        if best is None or cost < best[0]:
            best = cost, kind, changes
    assert best is not None
    return best[1], best[2]


def _difference(base: set[Degree], degrees: set[Degree]) -> list[Change]:
    missing, extra = sorted(base - degrees), sorted(degrees - base)
    changes: list[Change] = []
    for degree in list(missing):
        other = next((d for d in extra if d.number == degree.number), None)
        if other:
            extra.remove(other)
            changes.append(Change(degree.number, other.alter - degree.alter, "alter"))
        else:
            changes.append(Change(degree.number, 0, "subtract"))
    changes += [Change(d.number, d.alter + (d.number == 7), "add") for d in extra]
    return sorted(changes)


def _printed(root: str, text: str | None, slash: str) -> str | None:
    """The symbol that a printed text makes, None where it makes none."""
    if text is None:
        return None
    for tried in ("".join(text.split()), f"({text})"):
        symbol = root + tried + slash
        if len(symbol) < 60 and not set(symbol) & set('|"<!=?') and _degrees(symbol) is not None:
            return symbol
    return None


@lru_cache(maxsize=4096)
def _degrees(symbol: str) -> frozenset[str] | None:
    try:
        chord = read(symbol)
    except SymbolError:
        return None
    return None if chord is None else frozenset(d.name for d in chord.degrees)
