"""Grips over the slashes of a part that strums: the strings that are held down, above the names of the chords.

Conventions: lengths in verovio's units, 180 a space of the staff; the lowest string is on the left, the nut or the first
fret shown above. verovio draws no chord diagrams, so they are added to what it draws.
Source: chord diagrams as in any book of grips.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain
from xml.etree import ElementTree as ET

from backing.band.model import Note
from backing.timeline.model import Timeline

STRING, FRET, ROWS = 165, 190, 4
WIDE, HIGH = 5 * STRING, ROWS * FRET
MARKS = 190  # over the nut, for open strings and those that are not played
OVER = 500  # from the base of a chord's name up to the foot of its diagram
ROOM = HIGH + MARKS + 220  # that a system wants more
LEAST_STRINGS = 3
APART = 1.4  # of its width, nearer than which two diagrams do not stand
_SVG = "{http://www.w3.org/2000/svg}"

Frets = tuple[int, ...]


def held(timeline: Timeline, notes: Sequence[Note]) -> list[Frets]:
    """What the hand holds at every chord that is written, from the lowest string, -1 for none; () where too little."""
    found: dict[int, dict[int, int]] = {}
    for note in notes:
        if note.chord >= 0 and note.string:
            found.setdefault(note.chord, {}).setdefault(note.string, note.fret)
    grips = [found.get(i, {}) for i, span in enumerate(timeline.chords) if not span.held]
    return [
        tuple(grip.get(string, -1) for string in range(6, 0, -1))
        if len(grip) >= LEAST_STRINGS
        else ()
        for grip in grips
    ]


def draw(root: ET.Element, grips: Sequence[Frets]) -> int:
    """Draw the grips over the names of a page, each once a system; how many names the page has."""
    at = 0
    for system in [g for g in root.iter(f"{_SVG}g") if g.get("class") == "system"]:
        shown: set[tuple[str, Frets]] = set()
        right = float("-inf")
        for name in [g for g in system.iter(f"{_SVG}g") if g.get("class") == "harm"]:
            text = name.find(f"{_SVG}text")
            frets, at = (grips[at] if at < len(grips) else ()), at + 1
            if text is None or not frets or (text.text or "", frets) in shown:
                continue
            x, y = float(text.get("x", 0)), float(text.get("y", 0)) - OVER
            if x < right:
                continue
            shown.add((text.text or "", frets))
            right = x + APART * WIDE
            name.append(_diagram(frets, x + STRING / 2, y))
    return at


def _diagram(frets: Frets, x: float, y: float) -> ET.Element:
    """One grip, from its lower left corner."""
    pressed = [f for f in frets if f > 0]
    first = 1 if max(pressed, default=0) <= ROWS else min(pressed)
    top = y - HIGH
    made = ET.Element(f"{_SVG}g", {"class": "diagram", "stroke": "currentColor", "fill": "none"})
    lines = chain(
        (f"M{x + i * STRING:.0f} {top:.0f} V{y:.0f}" for i in range(6)),
        (f"M{x:.0f} {top + i * FRET:.0f} H{x + WIDE:.0f}" for i in range(ROWS + 1)),
    )
    ET.SubElement(made, f"{_SVG}path", {"d": " ".join(lines), "stroke-width": "13"})
    if first == 1:
        ET.SubElement(
            made, f"{_SVG}path", {"d": f"M{x:.0f} {top:.0f} H{x + WIDE:.0f}", "stroke-width": "50"}
        )
    else:
        _text(made, str(first), x + WIDE + 80, top + FRET * 0.75, "start")
    for i, fret in enumerate(frets):
        across = x + i * STRING
        if fret <= 0:
            _sign(made, across, top - MARKS / 2, open_=fret == 0)
        else:
            middle = {"cx": f"{across:.0f}", "cy": f"{top + (fret - first + 0.5) * FRET:.0f}"}
            ET.SubElement(
                made,
                f"{_SVG}circle",
                {**middle, "r": "66", "fill": "currentColor", "stroke": "none"},
            )
    return made


def _sign(made: ET.Element, x: float, y: float, *, open_: bool) -> None:
    """A ring for an open string, a cross for one that is not played."""
    if open_:
        ET.SubElement(
            made,
            f"{_SVG}circle",
            {"cx": f"{x:.0f}", "cy": f"{y:.0f}", "r": "46", "stroke-width": "13"},
        )
        return
    d = f"M{x - 42:.0f} {y - 42:.0f} l84 84 M{x + 42:.0f} {y - 42:.0f} l-84 84"
    ET.SubElement(made, f"{_SVG}path", {"d": d, "stroke-width": "13"})


def _text(made: ET.Element, words: str, x: float, y: float, anchor: str) -> None:
    place = {"x": f"{x:.0f}", "y": f"{y:.0f}", "font-size": "260px", "text-anchor": anchor}
    ET.SubElement(
        made, f"{_SVG}text", {**place, "fill": "currentColor", "stroke": "none"}
    ).text = words
