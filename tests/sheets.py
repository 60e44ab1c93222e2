"""What tests look at on a sheet: inked boxes, what overlaps, which chords stand there."""

from __future__ import annotations

from backing.chart.ast import Chart
from backing.ground.dice import Place
from backing.output.sheet.chord import symbol
from backing.output.sheet.marks import BOLD, MUSIC, Line, Mark, Text, box
from backing.output.sheet.page import PAPERS
from backing.output.symbols import Spelling

NEAR = 0.55  # points that signs may reach into each other: an accidental nestles against its letter
STAFF = frozenset("𝅘𝅗𝅝𝄻𝄼𝄽𝄾𝄿𝅀𝄞𝄢")  # what stands on lines


def texts(page: list[Mark]) -> list[Text]:
    return [m for m in page if isinstance(m, Text)]


def overlaps(page: list[Mark]) -> list[tuple[str, str]]:
    """Pairs of texts whose ink overlaps, notes and accidentals on a staff aside."""
    found = []
    boxes = sorted(((box(m), m) for m in texts(page) if m.text not in STAFF), key=lambda b: b[0][0])
    for i, ((x0, y0, x1, y1), one) in enumerate(boxes):
        for (u0, v0, u1, v1), other in boxes[i + 1 :]:
            if u0 > x1 - NEAR:
                break
            if one.face == MUSIC and other.face == MUSIC:
                continue  # a signature
            if one.text == "/" and u0 > x0 + one.size * 0.2:
                continue  # the bass stands under the slope of its stroke
            if min(x1, u1) - max(x0, u0) > NEAR and min(y1, v1) - max(y0, v0) > NEAR:
                found.append((one.text, other.text))
    return found


def crossed(page: list[Mark]) -> list[tuple[str, Line]]:
    """Texts that a bar line, rule, bracket or staff line runs through, the figures of a meter on a staff aside."""
    lines = [(box(m), m) for m in page if isinstance(m, Line)]
    found = []
    for one in texts(page):
        if one.face == MUSIC:
            continue
        x0, y0, x1, y1 = box(one)
        for (u0, v0, u1, v1), line in lines:
            half = line.width / 2
            flat, steep = v1 - v0 < 0.01, u1 - u0 < 0.01
            if flat and one.face == BOLD and one.text.isdigit():
                continue  # the figures of a meter on their staff
            if (flat or steep) and (
                min(x1, u1 + (half if steep else 0)) - max(x0, u0 - (half if steep else 0)) > NEAR
                and min(y1, v1 + (half if flat else 0)) - max(y0, v0 - (half if flat else 0)) > NEAR
            ):
                found.append((one.text, line))
    return found


def outside(page: list[Mark], paper: str = "a4", margin: float = 24.0) -> list[Mark]:
    """What leaves the printable part of the paper."""
    wide, high = PAPERS[paper]
    found = []
    for mark in page:
        x0, y0, x1, y1 = box(mark)
        if x0 < margin or y0 < margin - 10 or x1 > wide - margin or y1 > high - margin + 6:
            found.append(mark)
    return found


def symbols(chart: Chart, signs: bool = False) -> list[str]:
    """Every chord of a chart as its symbol reads on the sheet, in order."""
    found = []
    for section in chart.sections:
        for bar in section.bars:
            if not bar.simile:
                found += [
                    "".join(
                        m.text
                        for m in symbol(s.chord, Spelling(signs, chart.header.german)).marks
                        if isinstance(m, Text)
                    )
                    for s in bar.slots
                    if not s.held and s.length_q
                ]
    return found


def read_in_order(text: str, wanted: list[str]) -> list[str]:
    """The symbols that are not found in the text after those before them."""
    at = 0
    missing = []
    for one in wanted:
        place = text.find(one, at)
        if place < 0:
            missing.append(one)
        else:
            at = place + len(one)
    return missing


QUALITIES = (
    "", "m", "7", "maj7", "m7b5", "13#11", "7alt", "dim7", "mMaj7", "7(b9,#9,b13)", "maj9#11", "m11", "9sus4", "add9",
    "6/9", "7b5b9", "13b9", "7(b9,#11,b13)", "maj7#5", "7sus4b9",
)  # fmt: skip
ROOTS = ("C", "Db", "D#", "Eb", "E", "F#", "Gb", "G", "Ab", "A", "Bb", "Cb")
OVER = (
    "",
    "",
    "",
    '"rit." ',
    '"a longer remark over the bar" ',
    '"fermata" ',
    '"fill" ',
    '"break" ',
)
NOTES = (
    "D5",
    "F5 r",
    "(G5 F5) D5",
    "(Eb5 D5 C5) / r",
    "r (A4 (Bb4 C5))",
    "r (r C#5) /",
    "C6 / / A3",
)
STROKES = ("x", "x / (r x) /", "(x x x) r x /", "(x (x x)) / / (r x)", "r x r x")
WORDS = (
    "la",
    "a line of words",
    "well - come home",
    "many more words than a bar of music has room for, I fear",
)
METERS = ("4/4", "3/4", "7/8", "6/8", "5/4", "12/8")


def busy(number: int) -> str:
    """A chart with everything at once, by chance but always the same one for a number."""
    place = Place(("busy", number))

    def one(of: tuple[str, ...], *key: object) -> str:
        return of[int(place.roll(*key) * len(of))]

    lines = [
        f"title: Busy Number {number}",
        "by: Demo songbook",
        "key: " + one(("C", "Eb", "F# minor", "Ab"), "key"),
    ]
    for s, name in enumerate(("Intro", "A", "Bridge of Sighs and Whispers", "B2")):
        meter = one(METERS, s, "meter") if s % 2 else "4/4"
        lines += [f"[{name}]", f"meter: {meter}", "tempo: 120 -> 96", "dynamics: p -> f"]
        for row in range(2):
            count = 2 + int(place.roll(s, row, "bars") * 5)
            bars, extra = [], place.roll(s, row, "extra")
            for b in range(count):
                k = (s, row, b)
                many = 4 if meter == "4/4" and place.roll(*k, "many") < 0.4 else 1
                chords = [
                    one(ROOTS, *k, c, "root")
                    + one(QUALITIES, *k, c, "quality")
                    + ("/" + one(ROOTS, *k, c, "bass") if place.roll(*k, c, "slash") < 0.2 else "")
                    for c in range(many)
                ]
                sign = one(("", "", "", "!", "="), *k, "sign") if many == 1 else ""
                push = "<" if place.roll(*k, "push") < 0.15 and b else ""
                bars.append(one(OVER, *k, "over") + push + " ".join(chords) + sign)
            music = " | ".join(bars)
            lines.append(
                f"|: {music} :|" + (" x4" if place.roll(s, row, "times") < 0.5 else "")
                if row
                else f"| {music} ||"
            )
            if extra < 0.5 and meter == "4/4":
                lines.append(
                    "  melody: | "
                    + " | ".join(four(one(NOTES, s, row, b, "notes")) for b in range(count))
                    + " |"
                )
            if extra > 0.3 and meter == "4/4":
                lines.append(
                    "  hits: | "
                    + " | ".join(four(one(STROKES, s, row, b, "strokes")) for b in range(count))
                    + " |"
                )
            for verse in range(int(extra * 3)):
                lines.append(
                    "  words: | "
                    + " | ".join(one(WORDS, s, row, b, verse) for b in range(count))
                    + " |"
                )
    return "\n".join(lines) + "\n"


def four(items: str) -> str:
    """The items of a bar, held to four beats where there is a `/` or more than one."""
    depth, count = 0, 0
    for word in items.split():
        count += depth == 0
        depth += word.count("(") - word.count(")")
    return items + " /" * (4 - count) if count > 1 else items
