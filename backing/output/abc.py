"""A chart as a tune in ABC: melody, chords in quotes, repeats, endings, parts and words.

Conventions: lengths count eighths; a bar without melody rests where its chords stand. What ABC has no sign for (style,
players, pushes, stops, hits) is named in a comment at the head. *Source*: the abc music standard 2.1.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from backing.chart.ast import LAST, Bar, BarLine, Chart, LineNote, Section, Settings, Slot
from backing.ground.pitch import Key, Pitch
from backing.ground.timebase import FOUR_FOUR, Meter, Tempo
from backing.output.files import MARK, write_text
from backing.output.left_out import marks
from backing.output.words_sung import syllables
from backing.reading.abc_fields import signature_alters

UNIT_Q = Fraction(1, 2)
# direction of a chart -> decoration
DECORATIONS = {
    "Segno": "segno", "Coda": "coda", "To Coda": "dacoda", "Fine": "fine", "D.C.": "D.C.", "D.S.": "D.S.",
    "D.C. al Fine": "D.C.alfine", "D.C. al Coda": "D.C.alcoda", "D.S. al Fine": "D.S.alfine",
    "D.S. al Coda": "D.S.alcoda", "fermata": "fermata",
}  # fmt: skip
_SIGNS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}
LEFT = (
    "style",
    "feel",
    "push",
    "clave",
    "dynamics",
    "players",
    "colour",
    "choruses",
    "ending",
    "count-in",
    "intro",
    "plan",
    "tuned",
    "capo",
    "tuning",
    "language",
)


def write(chart: Chart, path: str | os.PathLike[str], *, force: bool = False) -> None:
    """Write the tune. Raises `OutputError`."""
    write_text(path, text(chart), force=force)


def text(chart: Chart) -> str:
    """The tune as text."""
    lines = ["%abc-2.1", f"% {MARK}", *_head(chart)]
    state = _State(chart)
    for section in _in_order(chart):
        if section.name:
            lines.append(f"P:{section.name}")
        lines += state.changes(section)
        for line in section.lines:
            bars = line.bars
            lines.append(state.music(bars))
            for verse in range(max(len(b.words) for b in bars)):
                lines.append("w: " + " | ".join(_sung(b, verse) for b in bars) + " |")
    return "\n".join(lines) + "\n"


def _in_order(chart: Chart) -> list[Section]:
    return [chart.section(name) for name in dict.fromkeys(chart.order)]


def _head(chart: Chart) -> Iterator[str]:
    header, settings = chart.header, chart.settings
    left = [f"{w.name} {w.value}" for w in chart.written if w.name in LEFT]
    left += marks(chart)
    if left:
        yield "% not in this format: " + "; ".join(left)
    yield "X:1"
    yield f"T:{header.title or 'Untitled'}"
    if header.by:
        yield f"C:{header.by}"
    meter = settings.meter or FOUR_FOUR
    yield f"M:{_meter(meter)}"
    yield "L:1/8"
    if settings.tempo:
        yield f"Q:{_tempo(settings.tempo, meter)}"
    played = [i.section for i in header.form or ()] or list(chart.order)
    if len(played) > 1 and all(len(name) == 1 and name.isalpha() for name in played):
        yield f"P:{''.join(played)}"
    yield f"K:{_key(settings.key)}"


def _key(key: Key | None) -> str:
    return (
        "none"
        if key is None
        else key.tonic.name + {"minor": "m", "major": ""}.get(key.mode_name, key.mode_name[:3])
    )


def _meter(meter: Meter) -> str:
    if len(meter.groups) > 1 and not meter.compound:
        return f"({'+'.join(map(str, meter.groups))})/{meter.unit}"
    return meter.name


def _tempo(tempo: Tempo, meter: Meter) -> str:
    return f"{tempo.unit(meter) / 4}={float(tempo.bpm):g}"


class _State:
    """What holds while the lines are written: key, meter, and the chord that was written last."""

    def __init__(self, chart: Chart) -> None:
        self.home = chart.settings
        self.meter = self.home.meter or FOUR_FOUR
        self.key = self.home.key
        self.tempo = self.home.tempo
        self.accidentals: dict[str, int] = {}

    def changes(self, section: Section) -> Iterator[str]:
        own: Settings = section.settings
        meter = own.meter or self.home.meter or FOUR_FOUR
        tempo = own.tempo or self.home.tempo
        if tempo and (tempo, meter) != (self.tempo, self.meter):
            yield f"Q:{_tempo(tempo, meter)}"
        if meter != self.meter and not section.bars[0].meter_written:
            yield f"M:{_meter(meter)}"
            self.meter = meter
        key = own.key or self.home.key
        if key != self.key:
            yield f"K:{_key(key)}"
        self.key, self.tempo = key, tempo

    def music(self, bars: tuple[Bar, ...]) -> str:
        out = ""
        for i, bar in enumerate(bars):
            left = bars[i - 1] if i else None
            out += _between(left, bar) + self._bar(bar) + " "
        return (out + _between(bars[-1], None)).strip()

    def _bar(self, bar: Bar) -> str:
        self.accidentals = {}
        out = ""
        if bar.meter != self.meter:
            self.meter = bar.meter
            out = f"[M:{_meter(bar.meter)}]"
        pieces = _pieces(bar)
        over: dict[Fraction, list[str]] = {}
        for said in bar.texts:
            name = said.direction.name if said.direction else ""
            sign = f"!{DECORATIONS[name]}!" if name in DECORATIONS else f'"^{said.text}"'
            over.setdefault(said.at_q, []).append(sign)
        for slot in bar.slots:
            if not slot.held:
                over.setdefault(slot.start_q, []).append(f'"{_symbol(slot)}"')
        left = 0
        for i, (start, length, note, tied) in enumerate(pieces):
            out += "".join(over.get(start, ()))
            if not left:
                left, sign, factor = _tuplet(pieces[i:])
                out += sign
            out += self._note(note, length * factor, tied)
            left -= 1
            out += " " if not left else ""
        return out.strip()

    def _note(self, note: LineNote | None, length_q: Fraction, tied: bool) -> str:
        length = length_q / UNIT_Q
        figure = "" if length == 1 else str(length)
        if note is None or note.pitch is None:
            return f"z{figure}"
        return f"{self._pitch(note.pitch)}{figure}{'-' if tied else ''}"

    def _pitch(self, pitch: Pitch) -> str:
        letter, alter = pitch.note.letter, pitch.note.alter
        usual = signature_alters(self.key.fifths).get(letter, 0) if self.key else 0
        sign = ""
        if self.accidentals.get(letter, usual) != alter or letter in self.accidentals:
            sign = _SIGNS.get(alter, "")
            self.accidentals[letter] = alter
        if pitch.octave >= 5:
            return sign + letter.lower() + "'" * (pitch.octave - 5)
        return sign + letter + "," * (4 - pitch.octave)


Piece = tuple[Fraction, Fraction, LineNote | None, bool]  # start, length, note, tied to the next


def _pieces(bar: Bar) -> list[Piece]:
    """The notes and rests of a bar, cut where a chord or words stand."""
    notes = bar.melody or ()
    cuts = {Fraction(0), *(s.start_q for s in bar.slots), *(t.at_q for t in bar.texts)}
    edges = sorted({*cuts, *(n.start_q for n in notes), bar.length_q})
    pieces: list[Piece] = []
    for start, end in pairwise(edges):
        note = next((n for n in notes if n.start_q <= start < n.start_q + n.length_q), None)
        goes_on = note is not None and note.pitch is not None and end < note.start_q + note.length_q
        pieces.append((start, end - start, note, goes_on))
    return pieces


def _tuplet(pieces: list[Piece]) -> tuple[int, str, Fraction]:
    """How many of the next pieces go together, their sign, and by what their lengths are multiplied."""
    for odd, time in ((3, 2), (5, 4), (7, 4)):
        total = Fraction(0)
        if pieces[0][1].denominator % odd == 0:
            count = 0
            for piece in pieces:
                total += piece[1]
                count += 1
                if total.denominator % odd:
                    break
            return count, f"({odd}:{time}:{count}", Fraction(odd, time)
    return 1, "", Fraction(1)


def _symbol(slot: Slot) -> str:
    if slot.wanted:
        return "^?"
    return slot.chord.symbol if slot.chord else "N.C."


def _between(left: Bar | None, right: Bar | None) -> str:
    """The bar line between two bars."""
    closes = left is not None and left.times > 0
    opens = right is not None and right.repeat_start
    plain = {BarLine.SINGLE: "|", BarLine.DOUBLE: "||", BarLine.FINAL: "|]"}
    mark = plain[left.line_after] if left else ""
    if closes and left:
        mark = "::" if opens and left.times == 2 else ":" * (left.times - 1) + "|"
        mark += " |:" if opens and left.times > 2 else ""
    elif opens:
        mark = "|:" if mark in ("", "|") else f"{mark} |:"
    if right is not None and right.ending:
        numbers = "last" if LAST in right.ending else f"{right.ending[0]}-{right.ending[-1]}"
        numbers = (
            str(right.ending[0]) if len(right.ending) == 1 and LAST not in right.ending else numbers
        )
        mark += f' ["{numbers}"' if numbers == "last" else f" [{numbers}"
    return f"{mark} " if mark else ""


def _sung(bar: Bar, verse: int) -> str:
    """The words of a bar for `w:`, one a note."""
    sung = sum(1 for _, _, note, _ in _pieces(bar) if note and note.pitch)
    begun = [n.start_q for n in bar.melody or () if n.pitch and not n.held]
    given = iter(syllables(bar.words[verse] if verse < len(bar.words) else "", len(begun)))
    out: list[str] = []
    for start, _, note, _ in _pieces(bar):
        if note is None or note.pitch is None:
            continue
        if start != note.start_q or note.held:
            out.append("_" if out or note.held else "*")
            continue
        one = next(given)
        word = one.text.replace(" ", "~") + ("-" if one.more else "")
        out.append("_" if one.held else word or "*")
    return " ".join(out[:sung])
