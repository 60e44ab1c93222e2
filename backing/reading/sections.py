"""Measures parted into the sections of a chart.

Conventions: a section begins where the file names one, and where key, tempo or feel change. Names are unique; a section
that has none among others that do is `Intro` at the start, elsewhere the next free letter. Nothing begins inside a repeat.
"""

from __future__ import annotations

import re
from string import ascii_uppercase
from typing import NamedTuple

from backing.ground.source import Span
from backing.reading.findings import Findings
from backing.reading.lead import Lead, Measure, Said, Set

LONGEST_NAME = 60


class Part(NamedTuple):
    """A section: its name, "" where a chart has one only, and its settings."""

    name: str
    span: Span
    settings: list[Set]
    measures: list[Measure]


def parts_of(lead: Lead, findings: Findings) -> list[Part]:
    """The sections of a file; repeats that never close are taken away."""
    _close_repeats(lead.measures, findings)
    groups: list[list[Measure]] = []
    inside = False  # a repeat
    for measure in lead.measures:
        opens = measure.opened is not None or bool(measure.settings)
        free = not inside and not measure.ending
        if not groups or (opens and free):
            groups.append([])
        elif opens:
            _inside(measure, findings)
        groups[-1].append(measure)
        inside = (inside or measure.repeat_start) and not measure.times
    return _named(groups)


def _inside(measure: Measure, findings: Findings) -> None:
    """A section that would begin inside a repeat: its name stays as words, its settings cannot."""
    if measure.opened:
        measure.said.insert(0, Said(measure.length_q * 0, measure.opened, measure.opened_at))
    for one in measure.settings:
        findings.add("W708", one.span, found=f"{one.name}: {one.value}")


def _close_repeats(measures: list[Measure], findings: Findings) -> None:
    opened: Measure | None = None
    for measure in measures:
        if measure.repeat_start:
            if opened:
                opened.repeat_start = False
                findings.add("W705", opened.span)
            opened = measure
        if measure.times:
            opened = None
    if opened:
        opened.repeat_start = False
        findings.add("W705", opened.span)


def _named(groups: list[list[Measure]]) -> list[Part]:
    several = len(groups) > 1
    names = [clean_name(g[0].opened or "") for g in groups]
    taken = {n.casefold() for n in names if n}
    letters = (c for c in ascii_uppercase if c.casefold() not in taken)
    used: set[str] = set()
    parts = []
    for i, (name, group) in enumerate(zip(names, groups, strict=True)):
        if not name and several:
            named_next = i == 0 and bool(names[1])
            name = "Intro" if named_next and "intro" not in taken else next(letters, "Part")
        name = _free(name, used)
        used.add(name.casefold())
        settings = group[0].settings
        parts.append(
            Part(name, group[0].opened_at if group[0].opened else group[0].span, settings, group)
        )
    return parts


def _free(name: str, used: set[str]) -> str:
    number, free = 2, name
    while free and free.casefold() in used:
        free, number = f"{name} {number}", number + 1
    return free


def clean_name(name: str) -> str:
    """A name as a heading can hold it."""
    plain = "".join(c if c.isprintable() else " " for c in name)
    return " ".join(re.sub(r'[()\[\]|"<]', " ", plain).split())[:LONGEST_NAME].strip()
