"""What stands over the measures of a MusicXML part: chords, words and signs, tempos."""

from __future__ import annotations

from fractions import Fraction
from xml.etree import ElementTree as ET

from backing.chart.ast import Slot, Text
from backing.ground.pitch import NoteName
from backing.ground.timebase import EIGHTH, Feel, Meter, Tempo
from backing.harmony.symbol import Chord, SymbolError, read
from backing.reading.musicxml_kinds import kind_of

# direction: attribute of <sound> and its value
SOUNDS = {
    "Segno": ("segno", "1"), "Coda": ("coda", "1"), "To Coda": ("tocoda", "1"), "Fine": ("fine", "yes"),
    "D.C.": ("dacapo", "yes"), "D.C. al Fine": ("dacapo", "yes"), "D.C. al Coda": ("dacapo", "yes"),
    "D.S.": ("dalsegno", "1"), "D.S. al Fine": ("dalsegno", "1"), "D.S. al Coda": ("dalsegno", "1"),
}  # fmt: skip
SIGNS = {"Segno": "segno", "Coda": "coda"}
UNITS: dict[int | Fraction, str] = {4: "whole", 2: "half", 1: "quarter", EIGHTH: "eighth", Fraction(1, 4): "16th", Fraction(1, 8): "32nd", Fraction(1, 16): "64th", Fraction(1, 32): "128th"}  # fmt: skip


def add(parent: ET.Element, tag: str, content: object = "", /, **attributes: str) -> ET.Element:
    """A child with its text; `_` in the names of attributes is a dash."""
    child = ET.SubElement(parent, tag, {k.replace("_", "-"): v for k, v in attributes.items()})
    if content != "":
        child.text = str(content)
    return child


def harmony(parent: ET.Element, slot: Slot, offset: int, printed: bool) -> None:
    """A chord: root, kind, bass and degrees; `printed` has everything in the text, which is drawn as it is."""
    made = add(parent, "harmony")
    chord = slot.chord
    if chord is None:
        add(add(made, "root"), "root-step", "C", text="")
        add(made, "kind", "none", text="?" if slot.wanted else "N.C.")
    else:
        _name(add(made, "root"), "root", chord.root)
        kind, changes = kind_of(chord.degrees)
        typed = quality_typed(slot.text, chord)
        if printed:
            kind, changes = "other" if changes else kind, []
        add(made, "kind", kind, text=typed)
        if chord.bass:
            _name(add(made, "bass"), "bass", chord.bass)
        for number, alter, way in changes:
            degree = add(made, "degree", print_object="no")
            add(degree, "degree-value", number)
            add(degree, "degree-alter", alter)
            add(degree, "degree-type", way)
    if slot.grip:
        _frame(add(made, "frame"), slot.grip)
    if offset:
        add(made, "offset", offset)


def _frame(parent: ET.Element, frets: tuple[int, ...]) -> None:
    """A grip as a chord diagram; strings are numbered from the highest."""
    held = [f for f in frets if f > 0]
    first = min(held, default=1) if max(held, default=1) > 4 else 1
    add(parent, "frame-strings", len(frets))
    add(parent, "frame-frets", max(4, max(held, default=1) - first + 1))
    if first > 1:
        add(parent, "first-fret", first)
    for string, fret in zip(range(len(frets), 0, -1), frets, strict=True):
        if fret >= 0:
            note = add(parent, "frame-note")
            add(note, "string", string)
            add(note, "fret", fret)


def quality_typed(typed: str, chord: Chord) -> str:
    """What stands between root and bass of a symbol as typed; in our own spelling where that cannot be told."""
    slash = f"/{chord.bass.name}" if chord.bass else ""
    found = typed
    for written in (chord.root.name, _signed(chord.root.name)):
        found = found.removeprefix(written)
    for written in (slash, _signed(slash)):
        found = found.removesuffix(written)
    try:
        same = read(chord.root.name + found + slash) == chord
    except SymbolError:
        same = False
    return found if same else chord.quality


def _signed(name: str) -> str:
    return name.replace("b", "♭").replace("#", "♯")


def _name(parent: ET.Element, kind: str, note: NoteName) -> None:
    add(parent, f"{kind}-step", note.letter)
    if note.alter:
        add(parent, f"{kind}-alter", note.alter)


def words(parent: ET.Element, text: Text, offset: int) -> None:
    """Words or a sign, with what a player program does at them."""
    name = text.direction.name if text.direction else ""
    made = add(parent, "direction", placement="above")
    kind = add(made, "direction-type")
    if name in SIGNS:
        add(kind, SIGNS[name])
    else:
        add(kind, "words", text.text)
    if offset:
        add(made, "offset", offset)
    if name in SOUNDS:
        attribute, value = SOUNDS[name]
        add(made, "sound", **{attribute: value})


def rehearsal(parent: ET.Element, name: str) -> None:
    """The name of a section in its box."""
    add(add(add(parent, "direction", placement="above"), "direction-type"), "rehearsal", name)


def tempo(parent: ET.Element, value: Tempo, meter: Meter, word: str = "") -> None:
    """A metronome mark, behind a word."""
    unit = value.unit(meter)
    made = add(parent, "direction", placement="above")
    if word:
        add(add(made, "direction-type"), "words", f"{word}  ")
    mark = add(add(made, "direction-type"), "metronome")
    dotted = unit not in UNITS
    add(mark, "beat-unit", UNITS.get(unit * Fraction(2, 3) if dotted else unit, "quarter"))
    if dotted:
        add(mark, "beat-unit-dot")
    add(mark, "per-minute", f"{float(value.bpm):g}")
    add(made, "sound", tempo=f"{float(value.qpm(meter)):g}")


def feel(parent: ET.Element, value: Feel) -> None:
    """Swing as the standard has it; a ratio that the tempo decides is two to one."""
    swing = add(add(parent, "sound"), "swing")
    if value.straight:
        add(swing, "straight")
        return
    ratio = value.ratio or Fraction(2)
    add(swing, "first", ratio.numerator)
    add(swing, "second", ratio.denominator)
    add(swing, "swing-type", "eighth" if value.unit_q == EIGHTH else "16th")
