"""Words, signs, tempos and jumps over the measures of a MusicXML score, and the words that are sung.

Conventions: a jump written in `<words>`, in `<sound>` or in both is one jump. A coda sign is the place where the band
leaves where it, or a later one, is the coda itself. *Source*: MusicXML 4.0, `direction-type`, `sound`, `lyric`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from backing.ground.source import Span
from backing.reading.abc_fields import NOTE_WORDS
from backing.reading.findings import Findings
from backing.reading.lead import Measure, Said
from backing.reading.symbols import is_direction
from backing.reading.xml_tree import Node, span_of

Setter = Callable[[str, str, Span], None]
# attribute of <sound>: direction
SOUNDS = {
    "segno": "Segno",
    "coda": "Coda",
    "tocoda": "To Coda",
    "dalsegno": "D.S.",
    "dacapo": "D.C.",
    "fine": "Fine",
}
# <direction-type>s that a chart has no place for
LEFT = {
    "dynamics": "a dynamic", "wedge": "a hairpin", "pedal": "a pedal mark", "octave-shift": "an octave sign",
    "harp-pedals": "a harp pedal", "damp": "a damping sign", "percussion": "a sign for percussion",
}  # fmt: skip
UNITS: dict[str, int | Fraction] = {
    "long": 16, "breve": 8, "whole": 4, "half": 2, "quarter": 1, "eighth": Fraction(1, 2), "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8),
}  # fmt: skip
FERMATA = "fermata"


class Directions:
    """Reads what stands over the music; `settle` ends it, when all jumps are known."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.bare: list[tuple[Measure, Said]] = []  # jumps that only <sound> tells of
        self.signs: list[tuple[Measure, Said]] = []  # coda signs of which nobody says what they are

    def read(self, node: Node, measure: Measure, at: Fraction, put: Setter) -> None:
        """A `<direction>`."""
        span = span_of(node)
        said: list[str] = []
        sound = node.child("sound")
        names = _sounds(sound) if sound is not None else []
        tempo = ""
        for kind in (k for t in node.all("direction-type") for k in t.children):
            if kind.name == "words":
                said.append(" ".join(kind.text.split()))
            elif kind.name == "rehearsal":
                measure.opened, measure.opened_at = kind.text.strip(), span
            elif kind.name in ("segno", "coda"):
                if not names:
                    self._sign(kind.name, measure, at, span)
            elif kind.name == "metronome":
                tempo = _metronome(kind) or tempo
            elif kind.name in LEFT:
                self.findings.add("W710", span_of(kind), found=LEFT[kind.name], hint="")
        text = " ".join(w for w in said if w)
        steers = bool(text) and is_direction(text)
        if text:
            measure.said.append(Said(at, text, span))
        if sound is not None and not tempo:
            tempo = _sound_tempo(sound)
        if tempo:
            put("tempo", tempo, span)
        if sound is not None:
            _swing(sound, put, span)
        if names and not steers:
            for name in names:
                self._bare(name, measure, at, span)

    def sound(self, node: Node, measure: Measure, at: Fraction, put: Setter) -> None:
        """A `<sound>` that stands alone."""
        span = span_of(node)
        tempo = _sound_tempo(node)
        if tempo:
            put("tempo", tempo, span)
        _swing(node, put, span)
        for name in _sounds(node):
            self._bare(name, measure, at, span)

    def note(self, node: Node, measure: Measure, at: Fraction) -> None:
        """What stands over a note: a fermata."""
        for notations in node.all("notations"):
            fermata = notations.child("fermata")
            if fermata is not None and all(s.text != FERMATA or s.at_q != at for s in measure.said):
                measure.said.append(Said(at, FERMATA, span_of(fermata)))

    def barline(self, node: Node, measure: Measure, at: Fraction) -> None:
        """A segno or coda sign at a bar line."""
        for name in ("segno", "coda"):
            if node.child(name) is not None or node.get(name):
                self._sign(name, measure, at, span_of(node))

    def _sign(self, name: str, measure: Measure, at: Fraction, span: Span) -> None:
        said = Said(at, "Segno" if name == "segno" else "Coda", span)
        measure.said.append(said)
        if name == "coda":
            self.signs.append((measure, said))

    def _bare(self, name: str, measure: Measure, at: Fraction, span: Span) -> None:
        if any(s.text == name for s in measure.said):
            return
        said = Said(at, name, span)
        measure.said.append(said)
        if name in ("D.S.", "D.C."):
            self.bare.append((measure, said))

    def settle(self, measures: Sequence[Measure]) -> None:
        """Say what jumps and coda signs mean, now that all of them are known."""
        texts = {s.text.casefold() for m in measures for s in m.said}
        unsure = [(m, s) for m, s in self.signs if s in m.said]
        if len(unsure) > 1 or (
            unsure
            and "coda"
            in {s.text.casefold() for m in measures for s in m.said if s is not unsure[0][1]}
        ):
            first = unsure[0]
            _rename(*first, "To Coda")
            texts.add("to coda")
        for measure, said in self.bare:
            if "to coda" in texts:
                _rename(measure, said, f"{said.text} al Coda")
            elif "fine" in texts:
                _rename(measure, said, f"{said.text} al Fine")


def _rename(measure: Measure, said: Said, text: str) -> None:
    measure.said[measure.said.index(said)] = said._replace(text=text)


def _sounds(sound: Node) -> list[str]:
    return [name for attribute, name in SOUNDS.items() if sound.get(attribute)]


def _sound_tempo(sound: Node) -> str:
    """The tempo of a `<sound>`, in quarters a minute."""
    try:
        bpm = Fraction(sound.get("tempo") or "0")
    except (ValueError, ZeroDivisionError):
        return ""
    return f"quarter = {_figure(bpm)}" if 10 <= bpm <= 600 else ""


def _metronome(node: Node) -> str:
    """`quarter = 120`, "" where it is no figure."""
    unit = Fraction(UNITS.get(node.value("beat-unit"), 0))
    dots = sum(1 for _ in node.all("beat-unit-dot"))
    unit *= 2 - Fraction(1, 2**dots)
    digits = "".join(c for c in node.value("per-minute") if c in "0123456789.")
    try:
        bpm = Fraction(digits or "0")
    except ValueError:
        return ""
    if unit and unit not in NOTE_WORDS:
        unit, bpm = Fraction(1), bpm * unit
    return f"{NOTE_WORDS[unit]} = {_figure(bpm)}" if unit and 10 <= bpm <= 600 else ""


def _figure(number: Fraction) -> str:
    return f"{float(number):.3f}".rstrip("0").rstrip(".")


def _swing(sound: Node, put: Setter, span: Span) -> None:
    swing = sound.child("swing")
    if swing is None:
        return
    if swing.child("straight") is not None:
        put("feel", "straight", span)
        return
    first, second = swing.value("first"), swing.value("second")
    if first.isdigit() and second.isdigit() and len(first + second) < 5:
        unit = " 16" if swing.value("swing-type") == "16th" else ""
        put(
            "feel",
            f"swing{unit}" if (first, second) == ("2", "1") else f"swing{unit} {first}:{second}",
            span,
        )


def syllable_of(lyric: Node) -> str:
    """A syllable as `words:` types it."""
    texts = [t.text.strip() for t in lyric.all("text")]
    text = " ".join(t for t in texts if t)
    if not text:
        return "_" if lyric.child("extend") is not None else ""
    syllabics = [s.text.strip() for s in lyric.all("syllabic")]
    more = bool(syllabics) and syllabics[-1] in ("begin", "middle")
    return text + "-" * more
