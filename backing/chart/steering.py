"""Whether the directions for the order of play belong together and come to an end.

Conventions: marks and jumps are those of the table `words`, each with its place in the text; a section named Coda
serves as the mark of that name.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from backing.chart.codes import Faults
from backing.chart.words import JUMPS, MARKS

BARE = ("E123", "E128", "E330")  # a direction without its quotes, or outside its bar


class Seen(NamedTuple):
    """A direction and where it stands in the text; `name` is "" for a section that serves as a Coda."""

    name: str
    start: int
    end: int


def check(seen: Sequence[Seen], form: bool, faults: Faults, coda_section: int = -1) -> None:
    """Report what does not belong together; `coda_section` is where a section named Coda begins, -1 for none."""
    if form:
        for one in seen:
            faults.add("E333", one.start, one.end, name=one.name)
        return
    first = _once(seen, faults)
    if coda_section >= 0:
        first.setdefault("Coda", Seen("", coda_section, coda_section))
    for one in seen:
        if one.name in JUMPS:
            _check_jump(one, first, faults)
    _check_coda(first, faults)
    _check_unneeded(first, faults)


def _once(seen: Sequence[Seen], faults: Faults) -> dict[str, Seen]:
    """The first of every name; what stands twice is reported, and so is a second jump of any kind."""
    first: dict[str, Seen] = {}
    jump: Seen | None = None
    for one in seen:
        code, before = ("E338", jump) if one.name in JUMPS else ("E332", first.get(one.name))
        if before:
            faults.add(code, one.start, one.end, name=one.name, line=faults.line(before.start))
        if one.name in JUMPS:
            jump = jump or one
        first.setdefault(one.name, one)
    return first


def _check_jump(one: Seen, first: dict[str, Seen], faults: Faults) -> None:
    """The marks that a jump goes to must be there, and before it."""
    jump = JUMPS[one.name]
    missing = [jump.to] if jump.to and jump.to not in first else []
    if jump.to in first and first[jump.to].start > one.start:
        faults.add("E334", one.start, one.end, name=one.name)
    if jump.until and jump.until not in first:
        missing += [jump.until]
        missing += ["Coda"] if jump.until == "To Coda" and "Coda" not in first else []
    _missing(one, missing, faults)


def _check_coda(first: dict[str, Seen], faults: Faults) -> None:
    to_coda, coda = first.get("To Coda"), first.get("Coda")
    if to_coda and not coda:
        _missing(to_coda, ["Coda"], faults)
    if to_coda and coda and coda.start < to_coda.start:
        faults.add("E335", to_coda.start, to_coda.end)


# mark: the mark that jumps name on their way to it, and what to do where none does
_LED_TO = {
    "Segno": ("Segno", 'write "D.S." where the band goes back to it'),
    "Coda":  ("To Coda", 'write "To Coda" where the band leaves for it'),
    "Fine":  ("Fine", 'write "D.C. al Fine" where the band goes back'),
}  # fmt: skip


def _check_unneeded(first: dict[str, Seen], faults: Faults) -> None:
    """Warn of marks that nothing leads to."""
    sought = {mark for name in first if name in JUMPS for mark in JUMPS[name]}
    sought |= {"To Coda"} & first.keys()
    for mark, (through, hint) in _LED_TO.items():
        one = first.get(mark)
        if one and one.name and through not in sought and not _told(one, faults):
            faults.add("W304", one.start, one.end, name=mark, hint=hint)


def _missing(one: Seen, marks: Sequence[str], faults: Faults) -> None:
    """Say once which marks a direction needs."""
    if not marks or _told(one, faults):
        return
    names = " and ".join(
        ", ".join(f"a {mark}" for mark in part) for part in (marks[:-1], marks[-1:]) if part
    )
    places = ", and ".join(f'"{mark}" over the bar {MARKS[mark].where}' for mark in marks)
    faults.add("E331", one.start, one.end, name=one.name, marks=names, places=places)


def _told(one: Seen, faults: Faults) -> bool:
    """Whether a mistake is at the direction itself (its quotes), which is to be mended before it counts."""
    return any(d.code in BARE and d.span.start == one.start for d in faults.found)
