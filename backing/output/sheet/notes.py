"""Notes drawn: rhythm above the beat rule, and a melody on a small staff below it.

Conventions: `u` is the height of a staff of five lines, four spaces, in chord sizes; y down. Hits have slash heads,
kicks small round ones; stems of a rhythm go up.
Sources: engravers' proportions (stem of three and a half spaces, beams half a space thick; common practice); glyphs of
the music face stand with the lowest line of their staff at y = 0 and are one em high.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from backing.ground.pitch import LETTERS, Key, Pitch
from backing.output.sheet.marks import (
    ITALIC,
    MUSIC,
    Arc,
    Dot,
    Line,
    Mark,
    Shape,
    Text,
    placed,
    run,
)
from backing.output.sheet.values import Figure
from backing.output.symbols import SIGNS

STEM = 0.85
HEAD = 0.297  # width of a round head at u = 1
SLASH = 0.4  # of a slash
RESTS = {
    Fraction(4): "𝄻",
    Fraction(2): "𝄼",
    Fraction(1): "𝄽",
    Fraction(1, 2): "𝄾",
    Fraction(1, 4): "𝄿",
    Fraction(1, 8): "𝅀",
}
SHARPS, FLATS = "FCGDAEB", "BEADGCF"
SHARP_STEPS, FLAT_STEPS = (
    (8, 5, 9, 6, 3, 7, 4),
    (4, 7, 3, 6, 2, 5, 1),
)  # of signatures in the treble
SCALE = {
    "♭": (1.0, 0.125),
    "♯": (0.86, 0.153),
    "♮": (0.95, 0.09),
    "𝄫": (0.9, 0.125),
    "𝄪": (1.0, 0.131),
}

At = Callable[[Fraction], float]


def rhythm(
    found: Sequence[Figure], at: At, u: float, slashes: bool, before: float | None = None
) -> list[Mark]:
    """A rhythm whose heads are centred on y = 0; `before` is the x of the last head of the bar before."""
    ys = [0.0] * len(found)
    return voice(found, places(found, at, u), ys, u, slashes, lambda group: True, before)


def places(found: Sequence[Figure], at: At, u: float) -> list[float]:
    """The x of each figure; the rest of a whole bar stands in its middle."""
    if len(found) == 1 and found[0].rest:
        one = found[0]
        return [(at(one.start_q) + at(one.start_q + one.length_q)) / 2 - 0.45 * u]
    return [at(f.start_q) for f in found]


def voice(
    found: Sequence[Figure],
    xs: Sequence[float],
    ys: Sequence[float],
    u: float,
    slashes: bool,
    up: Callable[[Sequence[float]], bool],
    before: float | None,
) -> list[Mark]:
    """Heads, rests, stems, flags, beams, ties and tuplets; `ys` are the centres of the heads."""
    marks: list[Mark] = []
    wide = (SLASH if slashes else HEAD) * u
    ends: dict[int, tuple[float, float, bool]] = {}  # figure: x and y of its stem's end
    i = 0
    while i < len(found):
        j = i + 1
        while found[i].beam and j < len(found) and found[j].beam == found[i].beam:
            j += 1
        upward = up(ys[i:j])
        beam_y = min(ys[i:j]) - STEM * u if upward else max(ys[i:j]) + STEM * u
        for k in range(i, j):
            f = found[k]
            if f.rest:
                marks += rest(f, xs[k], ys[k], u)
                continue
            marks += head(f, xs[k], ys[k], u, slashes)
            if f.value < 4:
                x = xs[k] + (wide if upward else 0.0) - (0.02 * u if upward else -0.02 * u)
                y0 = ys[k] - (0.17 * u if slashes and upward else 0.04 * u if upward else -0.04 * u)
                ends[k] = (x, beam_y, upward)
                marks.append(Line(x, y0, x, beam_y, 0.032 * u))
                if not f.beam:
                    marks += flags(x, beam_y, f.flags, u, upward)
        if j - i > 1:
            marks += beams([ends[k] for k in range(i, j)], found[i:j], u)
        i = j
    marks += ties(found, xs, ys, u, wide, up, before)
    return marks + tuplets(found, xs, ys, ends, u, wide)


def head(f: Figure, x: float, y: float, u: float, slashes: bool) -> list[Mark]:
    marks: list[Mark] = []
    wide = SLASH if slashes else HEAD
    if slashes:
        h, w, t = 0.19 * u, SLASH * u, 0.17 * u
        corners = ((x, y + h), (x + t, y + h), (x + w, y - h), (x + w - t, y - h))
        marks.append(Shape(corners, 0.05 * u if f.value >= 2 else 0.0))
    else:
        glyph = "𝅝" if f.value >= 4 else "𝅗" if f.value >= 2 else "𝅘"
        marks.append(Text(x - 0.05 * u, y + 0.134 * u, u, MUSIC, glyph))
    if f.dotted:
        marks.append(Dot(x + (wide + 0.12) * u, y - 0.06 * u, 0.045 * u))
    return marks


def rest(f: Figure, x: float, y: float, u: float) -> list[Mark]:
    """A rest in the middle of the staff; its glyph's staff has its middle at half an em."""
    lift = (
        0.25 * u if f.value >= 2 else 0.0
    )  # a half rest lies on the middle line, a whole one hangs above
    marks: list[Mark] = [Text(x - 0.05 * u, y + 0.5 * u - lift, u, MUSIC, RESTS.get(f.value, "𝅀"))]
    if f.dotted:
        wide = 0.75 if f.value >= 2 else 0.4
        marks.append(Dot(x + wide * u, y - 0.12 * u, 0.045 * u))
    return marks


def last_head(found: Sequence[Figure], at: At, u: float) -> float | None:
    """The x of the last figure of a bar where that is a note."""
    return places(found, at, u)[-1] if found and not found[-1].rest else None


def bent(points: Sequence[tuple[float, float]], steps: int = 8) -> list[tuple[float, float]]:
    """Points along a cubic curve with four control points."""
    found = []
    for k in range(steps + 1):
        t = k / steps
        weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
        found.append(
            (
                sum(w * x for w, (x, _) in zip(weights, points, strict=True)),
                sum(w * y for w, (_, y) in zip(weights, points, strict=True)),
            )
        )
    return found


# Outline of a flag that hangs from a stem at (0, 0): outwards and back, in heights of a staff.
FLAG = (
    *bent(((0.0, 0.0), (0.03, 0.20), (0.36, 0.28), (0.20, 0.66))),
    *bent(((0.20, 0.66), (0.27, 0.42), (0.10, 0.28), (0.0, 0.25))),
)


def flags(x: float, y: float, count: int, u: float, up: bool) -> list[Mark]:
    """The flags of a note alone, from the end of its stem inwards."""
    turn = u if up else -u
    return [
        Shape(tuple((x - 0.016 * u + px * u, y + (py + 0.2 * k) * turn) for px, py in FLAG))
        for k in range(count)
    ]


def beams(
    ends: Sequence[tuple[float, float, bool]], group: Sequence[Figure], u: float
) -> list[Mark]:
    """Level beams: one over all, the next over neighbours that share it, stubs where one stands alone."""
    marks: list[Mark] = []
    thick = 0.12 * u
    for level in range(1, max(f.flags for f in group) + 1):
        i = 0
        while i < len(group):
            if group[i].flags < level:
                i += 1
                continue
            j = i
            while j + 1 < len(group) and group[j + 1].flags >= level:
                j += 1
            x0, y, up = ends[i]
            x1 = ends[j][0]
            if i == j:
                x0, x1 = (x0, x0 + 0.25 * u) if i == 0 else (x0 - 0.25 * u, x0)
            y += (level - 1) * 0.19 * u * (1 if up else -1)
            lower = y + thick if up else y - thick
            marks.append(Shape(((x0, y), (x1, y), (x1, lower), (x0, lower))))
            i = j + 1
    return marks


def ties(
    found: Sequence[Figure],
    xs: Sequence[float],
    ys: Sequence[float],
    u: float,
    wide: float,
    up: Callable[[Sequence[float]], bool],
    before: float | None,
) -> list[Mark]:
    """Ties on the side of the heads; one from the line before begins a little left of its note."""
    marks: list[Mark] = []
    for k, f in enumerate(found):
        if not f.tied:
            continue
        turn = u if up([ys[k]]) else -u
        y = ys[k] + 0.2 * turn
        end = xs[k] + wide * 0.3
        last = xs[k - 1] if k else before
        start = end - 0.7 * u if last is None else last + wide * 0.7
        marks.append(Arc(start, y, end, y, -0.15 * turn, -0.08 * turn))
    return marks


def tuplets(
    found: Sequence[Figure],
    xs: Sequence[float],
    ys: Sequence[float],
    ends: dict[int, tuple[float, float, bool]],
    u: float,
    wide: float,
) -> list[Mark]:
    """The number of each tuplet, in a bracket where no beam holds it together."""
    marks: list[Mark] = []
    for group in sorted({f.tuplet for f in found} - {0}):
        of = [k for k, f in enumerate(found) if f.tuplet == group]
        tops = [ends[k][1] if k in ends and ends[k][2] else ys[k] - 0.3 * u for k in of]
        y = min(tops) - 0.14 * u
        x0, x1 = xs[of[0]], xs[of[-1]] + wide
        number = run(str(found[of[0]].number), 0.4 * u, ITALIC)
        middle = (x0 + x1) / 2 + (0.1 * u if of[0] in ends else 0.0)
        marks += [placed(m, middle - number.width / 2, y) for m in number.marks]
        if len({found[k].beam for k in of}) > 1 or not found[of[0]].beam:
            line = 0.03 * u
            mid = y - 0.14 * u
            marks.append(Line(x0, mid + 0.12 * u, x0, mid, line))
            marks.append(Line(x0, mid, middle - number.width, mid, line))
            marks.append(Line(middle + number.width, mid, x1, mid, line))
            marks.append(Line(x1, mid + 0.12 * u, x1, mid, line))
    return marks


# ------------------------------------------------------------------------------------------------ the staff


def step(pitch: Pitch) -> int:
    """Diatonic steps above C0."""
    return pitch.octave * 7 + LETTERS.index(pitch.note.letter)


def bass_clef(pitches: Sequence[Pitch]) -> bool:
    """Whether a melody lies low enough for a bass clef: its middle note is below middle C."""
    low = sorted(p.midi for p in pitches)
    return bool(low) and low[len(low) // 2] < 57


def clef(low: bool, key: Key, u: float) -> tuple[list[Mark], float]:
    """The clef and the signature of a staff whose lowest line is y = 0; and their width."""
    marks: list[Mark] = []
    size = u
    if low:
        marks.append(Text(0.0, 0.0, size, MUSIC, "𝄢"))
    else:
        marks.append(Text(0.0, 0.0, size, MUSIC, "𝄞"))
    x = 0.78 * u
    sign = "♯" if key.fifths > 0 else "♭"
    steps = SHARP_STEPS if key.fifths > 0 else FLAT_STEPS
    for k in range(abs(key.fifths)):
        y = -(steps[k] - (2 if low else 0)) * u / 8
        marks.append(accidental(sign, x, y, u))
        x += (0.27 if sign == "♯" else 0.22) * u
    return marks, x + 0.12 * u


def accidental(sign: str, x: float, y: float, u: float) -> Text:
    """An accidental centred on the height of a head."""
    scale, middle = SCALE[sign]
    return Text(x - 0.05 * u, y + middle * u, u * scale, MUSIC, sign)


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


def staff_notes(
    found: Sequence[Figure], at: At, key: Key, low: bool, u: float, before: float | None = None
) -> list[Mark]:
    """The notes of a bar on a staff whose lowest line is y = 0."""
    bottom = 18 if low else 30  # G2 and E4 stand on the lowest lines
    steps = [step(f.pitch) - bottom if f.pitch else 4 for f in found]
    ys = [-s * u / 8 for s in steps]
    xs = places(found, at, u)
    middle = -u / 2
    marks = voice(
        found, xs, ys, u, False, lambda group: sum(group) / len(group) > middle + 0.01, before
    )
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


def note_room(f: Figure, sign: str, u: float) -> float:
    """The least distance from a note to the next."""
    room = HEAD + 0.16 + (0.16 if f.dotted else 0.0) + (0.16 if f.flags and not f.beam else 0.0)
    return (room + (0.3 if sign else 0.0)) * u


def label(text: str, u: float) -> tuple[list[Mark], float]:
    """A small word before a rhythm, right aligned to x = 0."""
    one = run(text, 0.46 * u, ITALIC)
    return [placed(m, -one.width, 0.0) for m in one.marks], one.width


__all__ = [
    "accidentals", "bass_clef", "clef", "label", "last_head", "note_room", "rhythm", "staff_notes",
]  # fmt: skip
