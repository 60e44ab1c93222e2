"""The staff of a melody: clef, signatures of key and meter, accidentals, notes on their lines.

Conventions: as in `notes`; the lowest line of the staff is y = 0.
Sources: places of the signs of a signature, order of clef, key and meter, accidentals that hold for a bar, the stem
that follows the note farthest from the middle line, naturals before a signature without signs (common practice, as any
manual of notation has it).
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.ground.pitch import LETTERS, Key, Pitch
from backing.ground.timebase import Meter
from backing.output.sheet.marks import (
    BOLD,
    CAP,
    MUSIC,
    SILENT,
    Line,
    Mark,
    Text,
    placed,
    spoken,
    width,
)
from backing.output.sheet.notes import HEAD, At, places, voice
from backing.output.sheet.values import Figure
from backing.output.symbols import SIGNS

SHARPS, FLATS = "FCGDAEB", "BEADGCF"
SHARP_STEPS, FLAT_STEPS = (
    (8, 5, 9, 6, 3, 7, 4),
    (4, 7, 3, 6, 2, 5, 1),
)  # of signatures in the treble
FILLED = 0.92  # of half a staff that the figure of a meter is high
STEP_ASIDE = {"♯": 0.27, "♭": 0.22, "♮": 0.22}  # from sign to sign
SCALE = {
    "♭": (1.0, 0.125),
    "♯": (0.86, 0.153),
    "♮": (0.95, 0.09),
    "𝄫": (0.9, 0.125),
    "𝄪": (1.0, 0.131),
}


def step(pitch: Pitch) -> int:
    """Diatonic steps above C0."""
    return pitch.octave * 7 + LETTERS.index(pitch.note.letter)


def bass_clef(pitches: Sequence[Pitch]) -> bool:
    """Whether a melody lies low enough for a bass clef: its middle note is below middle C."""
    low = sorted(p.midi for p in pitches)
    return bool(low) and low[len(low) // 2] < 57


def clef(low: bool, key: Key, u: float) -> tuple[list[Mark], float]:
    """The clef and the signature of a staff; and their width."""
    marks: list[Mark] = [Text(0.0, 0.0, u, MUSIC, "𝄢" if low else "𝄞", said=SILENT)]
    signs, wide = key_signature(key.fifths, low, u)
    return marks + [placed(m, 0.78 * u, 0.0) for m in signs], 0.9 * u + wide


def key_signature(
    fifths: int, low: bool, u: float, natural: bool = False
) -> tuple[list[Mark], float]:
    """The signs of a key, or the naturals that take them back; and their width."""
    own = "♯" if fifths > 0 else "♭"
    sign = "♮" if natural else own
    steps = SHARP_STEPS if fifths > 0 else FLAT_STEPS
    marks: list[Mark] = []
    for k in range(abs(fifths)):
        y = -(steps[k] - (2 if low else 0)) * u / 8
        marks.append(accidental(sign, k * STEP_ASIDE[own] * u, y, u))
    return marks, abs(fifths) * STEP_ASIDE[own] * u


def meter_figures(meter: Meter, u: float) -> tuple[list[Mark], float]:
    """The figures of a meter, each over half of the staff; and their width."""
    size = u / 2 / CAP * FILLED
    rows = [str(meter.count), str(meter.unit)]
    widths = [width(row, BOLD, size) for row in rows]
    wide = max(widths)
    marks: list[Mark] = [
        Text((wide - w) / 2, -u * middle + CAP * size / 2, size, BOLD, row)
        for row, w, middle in zip(rows, widths, (0.75, 0.25), strict=True)
    ]
    return spoken(marks, meter.name), wide


def cautionary(
    before: Key, key: Key | None, meter: Meter | None, low: bool, u: float
) -> tuple[list[Mark], float]:
    """What the next system changes, behind the last bar line of this one: its key, its meter; and the width of both."""
    marks: list[Mark] = []
    x = 0.0
    if key is not None and key.fifths != before.fifths:
        back = key.fifths == 0
        signs, wide = key_signature(before.fifths if back else key.fifths, low, u, natural=back)
        marks += [placed(m, 0.2 * u, 0.0) for m in signs]
        x = wide + 0.3 * u
    if meter is not None:
        figures, wide = meter_figures(meter, u)
        marks += [placed(m, x + 0.22 * u, 0.0) for m in figures]
        x += wide + 0.3 * u
    return marks, x


def accidental(sign: str, x: float, y: float, u: float) -> Text:
    """An accidental centred on the height of a head."""
    scale, middle = SCALE[sign]
    return Text(x - 0.05 * u, y + middle * u, u * scale, MUSIC, sign, said=SILENT)


def accidentals(bars: Sequence[Figure], key: Key) -> list[str]:
    """The sign before each note of a bar, "" where signature or bar have said it already."""
    order = SHARPS if key.fifths > 0 else FLATS
    signed = dict.fromkeys(order[: abs(key.fifths)], 1 if key.fifths > 0 else -1)
    heard: dict[tuple[str, int], int] = {}
    found = []
    for f in bars:
        if f.pitch is None:
            found.append("")
            continue
        letter, alter = f.pitch.note.letter, f.pitch.note.alter
        here = (letter, f.pitch.octave)
        known = heard.get(here, signed.get(letter, 0))
        found.append("" if f.tied or alter == known else (SIGNS.get(alter) or "♮"))
        if not f.tied:
            heard[here] = alter
    return found


def stem_up(ys: Sequence[float], middle: float) -> bool:
    """Whether the stems of a group point up: its note farthest from the middle line lies under it."""
    far = max(ys, key=lambda y: (round(abs(y - middle), 6), -y))
    return far > middle + 1e-6


def staff_notes(
    found: Sequence[Figure], at: At, key: Key, low: bool, u: float, before: float | None = None
) -> list[Mark]:
    """The notes of a bar on a staff."""
    bottom = 18 if low else 30  # G2 and E4 stand on the lowest lines
    steps = [step(f.pitch) - bottom if f.pitch else 4 for f in found]
    ys = [-s * u / 8 for s in steps]
    xs = places(found, at, u)
    middle = -u / 2
    marks = voice(found, xs, ys, u, False, lambda ys: stem_up(ys, middle), before, middle)
    for f, s, x, y, sign in zip(found, steps, xs, ys, accidentals(found, key), strict=True):
        if f.pitch is None:
            continue
        if sign:
            marks += [
                accidental(one, x - (0.34 + 0.2 * i) * u, y, u)
                for i, one in enumerate(reversed(list(sign)))
            ]
        lines = [*range(-2, s - 1, -2), *range(10, s + 1, 2)]
        marks += [
            Line(x - 0.1 * u, -k * u / 8, x + (HEAD + 0.1) * u, -k * u / 8, 0.03 * u) for k in lines
        ]
    return marks


__all__ = [
    "accidentals", "bass_clef", "cautionary", "clef", "meter_figures", "staff_notes", "step",
]  # fmt: skip
