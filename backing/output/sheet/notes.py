"""Notes drawn: rhythm above the beat rule, and a melody on a small staff below it.

Conventions: `u` is the height of a staff of five lines, four spaces, in chord sizes; y down. Hits have slash heads,
kicks small round ones; stems of a rhythm go up.
Sources: engravers' proportions (stem of three and a half spaces, beams half a space thick; common practice); glyphs of
the music face stand with the lowest line of their staff at y = 0 and are one em high.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from backing.output.sheet.beams import End, beams, stem_ends
from backing.output.sheet.marks import (
    ITALIC,
    MUSIC,
    SILENT,
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
    middle: float | None = None,
) -> list[Mark]:
    """Heads, rests, stems, flags, beams, ties and tuplets; `ys` are the centres of the heads, `middle` is the middle
    line of a staff."""
    marks: list[Mark] = []
    wide = (SLASH if slashes else HEAD) * u
    ends: dict[int, End] = {}  # by figure
    i = 0
    while i < len(found):
        j = i + 1
        while found[i].beam and j < len(found) and found[j].beam == found[i].beam:
            j += 1
        for k in range(i, j):
            if found[k].rest:
                marks += rest(found[k], xs[k], ys[k], u)
            else:
                marks += head(found[k], xs[k], ys[k], u, slashes)
        stemmed = [k for k in range(i, j) if not found[k].rest and found[k].value < 4]
        if stemmed:
            upward = up(ys[i:j])
            aside = (wide if upward else 0.0) - (0.02 * u if upward else -0.02 * u)
            stems = [xs[k] + aside for k in stemmed]
            heads = [ys[k] for k in stemmed]
            flags = max(found[k].flags for k in stemmed)
            stops = stem_ends(stems, heads, flags, u, upward, middle)
            for k, x, y in zip(stemmed, stems, stops, strict=True):
                foot = 0.17 if slashes and upward else 0.04
                ends[k] = (x, y, upward)
                marks.append(Line(x, ys[k] + (-foot if upward else foot) * u, x, y, 0.032 * u))
                if not found[k].beam:
                    marks += flag_marks(x, y, found[k].flags, u, upward)
            if j - i > 1:
                marks += beams([ends[k] for k in stemmed], [found[k] for k in stemmed], u)
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
        marks.append(Text(x - 0.05 * u, y + 0.134 * u, u, MUSIC, glyph, said=SILENT))
    if f.dotted:
        marks.append(Dot(x + (wide + 0.12) * u, y - 0.06 * u, 0.045 * u))
    return marks


def rest(f: Figure, x: float, y: float, u: float) -> list[Mark]:
    """A rest in the middle of the staff; its glyph's staff has its middle at half an em."""
    lift = (
        0.25 * u if f.value >= 2 else 0.0
    )  # a half rest lies on the middle line, a whole one hangs above
    marks: list[Mark] = [
        Text(x - 0.05 * u, y + 0.5 * u - lift, u, MUSIC, RESTS.get(f.value, "𝅀"), said=SILENT)
    ]
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


def flag_marks(x: float, y: float, count: int, u: float, up: bool) -> list[Mark]:
    """The flags of a note alone, from the end of its stem inwards."""
    turn = u if up else -u
    return [
        Shape(tuple((x - 0.016 * u + px * u, y + (py + 0.2 * k) * turn) for px, py in FLAG))
        for k in range(count)
    ]


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
    ends: dict[int, End],
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


def note_room(f: Figure, sign: str, u: float) -> float:
    """The least distance from a note to the next."""
    room = HEAD + 0.16 + (0.16 if f.dotted else 0.0) + (0.16 if f.flags and not f.beam else 0.0)
    return (room + (0.3 if sign else 0.0)) * u


def label(text: str, u: float) -> tuple[list[Mark], float]:
    """A small word before a rhythm, right aligned to x = 0."""
    one = run(text, 0.46 * u, ITALIC)
    return [placed(m, -one.width, 0.0) for m in one.marks], one.width


__all__ = ["HEAD", "At", "label", "last_head", "note_room", "places", "rhythm", "voice"]
