"""What stands at the notes of a part: ties, beams and tuplets, slashes, the accidentals of a key.

Conventions: elements of MusicXML 4.0, changed in place; their order is that of the standard.
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

from backing.ground.pitch import Key
from backing.output.musicxml_marks import add
from backing.output.parts.written import Written
from backing.output.sheet.values import Figure


def slashed(made: ET.Element, shape: str) -> None:
    """A note as a head without a pitch on the middle line."""
    for tag in ("accidental", "notehead"):
        for child in made.findall(tag):
            made.remove(child)
    pitch = made.find("pitch")
    if pitch is not None:
        for child in list(pitch):
            pitch.remove(child)
        add(pitch, "step", "B")
        add(pitch, "octave", 3)  # on the middle line under a clef that reads an octave up
    after = next(
        (i for i, c in enumerate(made) if c.tag in ("staff", "beam", "notations")), len(made)
    )
    head = ET.Element("notehead")
    head.text = shape
    made.insert(after, head)


def altered(key: Key) -> dict[str, int]:
    """How a key signature alters each letter.

    >>> [letter for letter, alter in altered(Key.parse("D")).items() if alter]
    ['F', 'C']
    """
    order = "FCGDAEB"
    fifths = key.fifths
    return {
        letter: (1 if i < fifths else 0) - (1 if 6 - i < -fifths else 0)
        for i, letter in enumerate(order)
    }


def notations(made: ET.Element) -> ET.Element:
    """What is told at a note's head, made where it is not there."""
    found = made.find("notations")
    return add(made, "notations") if found is None else found


def in_tuplet(made: ET.Element, figure: Figure) -> None:
    """How many notes stand in the time of how many."""
    add(made, "actual-notes", figure.number)
    add(made, "normal-notes", 1 << ((figure.number - 1).bit_length() - 1))


def ties(written: Written) -> list[str]:
    """How a figure is tied to those before and after it."""
    if written.struck is None:
        return []
    return [*([] if written.first else ["stop"]), *(["start"] if written.goes_on else [])]


def grouped(
    made: ET.Element,
    written: Written,
    before: Written | None,
    after: Written | None,
    *,
    shown: bool = True,
) -> None:
    """Beams and the brackets of tuplets; where they are not `shown` the tuplet only, for its values."""
    figure = written.figure
    if figure.beam and not figure.rest and shown:
        here = before is not None and before.figure.beam == figure.beam
        there = after is not None and after.figure.beam == figure.beam
        beam = ET.Element("beam", number="1")
        beam.text = "continue" if here and there else "end" if here else "begin"
        made.insert(next((i for i, c in enumerate(made) if c.tag == "notations"), len(made)), beam)
    if not figure.tuplet:
        return
    if figure.rest:
        changed = ET.Element("time-modification")
        in_tuplet(changed, figure)
        made.insert(next((i for i, c in enumerate(made) if c.tag == "staff"), len(made)), changed)
    begins = before is None or before.figure.tuplet != figure.tuplet
    ends = after is None or after.figure.tuplet != figure.tuplet
    if begins or ends:
        found = notations(made)
        at = sum(child.tag == "tied" for child in found)
        for way in [*(["start"] if begins else []), *(["stop"] if ends else [])]:
            bracket = {"bracket": "yes"} if shown else {"bracket": "no", "show-number": "none"}
            found.insert(at, ET.Element("tuplet", {"type": way, **bracket}))
            at += 1
