"""Case files, a readable dump of a chart, and generated charts, for the tests of the chart language."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from hypothesis import strategies as st

from backing.chart.ast import (
    LAST,
    Bar,
    Chart,
    Dynamics,
    Header,
    LineNote,
    PlayerSet,
    Settings,
    Slot,
    Text,
)
from backing.ground.timebase import Tempo

CASES = Path(__file__).parent / "cases"


def cases(kind: str) -> list[Path]:
    """The case files of one kind, by name."""
    return sorted((CASES / kind).glob("*.txt"))


def case_parts(path: Path) -> list[str]:
    """The parts of a case file: the chart, then what stands under each line `=== name`."""
    parts: list[list[str]] = [[]]
    for line in path.read_bytes().decode("utf-8").split("\n"):
        if line.startswith("=== "):
            parts.append([])
        else:
            parts[-1].append(line + "\n")
    parts[-1][-1] = parts[-1][-1][:-1]
    return ["".join(part) for part in parts]


# --- a chart in words


def dump(chart: Chart) -> str:
    """All that a chart says, a line a bar; settings that were not written are left out."""
    lines = [f"{name} = {value}" for name, value in _set(chart.header)]
    lines += [f"{name} = {value}" for name, value in _set(chart.settings)]
    if chart.order != tuple(s.name for s in chart.sections):
        lines.append("order = " + " ".join(f"[{n}]" for n in chart.order))
    for section in chart.sections:
        lines.append(f"[{section.name}]")
        lines += [f"  {name} = {value}" for name, value in _set(section.settings)]
        for line in section.lines:
            lines += [f"  {_bar(bar)}" for bar in line.bars]
            lines.append("  --")
        lines.pop()
    lines += [f"comment {c.text}" for c in chart.comments]
    return "\n".join(lines) + "\n"


def _set(settings: Settings | Header) -> list[tuple[str, str]]:
    found = []
    for name, value in settings._asdict().items():
        if value != settings._field_defaults[name]:
            found.append((name, _value(value)))
    return found


def _value(value: object) -> str:
    name = getattr(value, "full_name", None) or getattr(value, "name", None)
    if name:
        return str(name)
    if isinstance(value, PlayerSet | Dynamics | Tempo):
        return " ".join(",".join(sorted(i)) if isinstance(i, frozenset) else str(i) for i in value)
    if isinstance(value, tuple) and value and isinstance(value[0], tuple) and len(value[0]) == 2:
        return " ".join(f"{player} {db:+g}" for player, db in value)
    if isinstance(value, tuple):
        return " ".join(
            f"{'' if i.in_chorus else '~'}{i.section}{f'{i.transpose:+d}' if i.transpose else ''}"
            for i in value
        )
    return str(value)


def _bar(bar: Bar) -> str:
    words = [f"{bar.number} {bar.meter}"]
    words += ["changed"] * bar.meter_written + ["beat kept"] * bar.beat_kept
    words += ["|:"] * bar.repeat_start
    if bar.ending:
        words.append("ending " + ",".join("last" if n == LAST else str(n) for n in bar.ending))
    words += [f"simile {bar.simile}"] * bool(bar.simile)
    words.append("; ".join(_slot(s) for s in bar.slots))
    words += [_text(t) for t in bar.texts]
    words += [f":| x{bar.times}"] * bool(bar.times)
    words += [bar.line_after.value] * (bar.line_after.value != "|")
    for name in ("melody", "hits", "kicks"):
        notes = getattr(bar, name)
        if notes is not None:
            words.append(f"{name}: {'; '.join(_note(n) for n in notes)}")
    words += [f"words: {' // '.join(bar.words)}"] * bool(bar.words)
    return "  ".join(words)


def _slot(slot: Slot) -> str:
    symbol = slot.chord.symbol if slot.chord else "N.C."
    marks = "held " * slot.held + "<" * slot.pushed
    return f"{slot.start_q}+{slot.length_q} {marks}{symbol}{'!' * slot.stop}{'=' * slot.ring}"


def _text(text: Text) -> str:
    direction = text.direction
    obeyed = ""
    if direction:
        value = direction.value if direction.value is not None else direction.role or ""
        obeyed = f" obeyed {direction.name} {value}".rstrip()
    return f'"{text.text}" at {text.at_q}{obeyed}'


def _note(note: LineNote) -> str:
    what = note.pitch.name if note.pitch else "x" if note.hit else "r"
    return f"{note.start_q}+{note.length_q} {'held ' * note.held}{what}"


# --- generated charts

ROOTS = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B", "C#", "Gb", "G#"]
QUALITIES = ["", "m", "7", "maj7", "m7", "m7b5", "dim7", "9", "13", "7b9", "7#9", "6", "6/9", "sus4",
             "7sus4", "alt", "maj9", "m11", "add9", "7(b9,#11)", "ø", "+", "5", "mMaj7"]  # fmt: skip
METERS = ["4/4", "3/4", "2/4", "6/8", "7/8 (2+2+3)", "5/4 (3+2)", "12/8", "2/2", "7/8 (3+2+2)", "9/8",
          "10/8 (3+3+2+2)", "6/4"]  # fmt: skip
# meter: counted beats, and another number of items that its bars may hold with a '/'
BEATS = {"4/4": (4, 4), "3/4": (3, 3), "2/4": (2, 2), "6/8": (2, 6), "7/8 (2+2+3)": (7, 3),
         "5/4 (3+2)": (5, 2), "12/8": (4, 12), "2/2": (2, 4), "7/8 (3+2+2)": (7, 3), "9/8": (3, 9),
         "10/8 (3+3+2+2)": (10, 4), "6/4": (6, 2)}  # fmt: skip
TEXTS = ["Segno", "fermata", "break", "fill", "rit.", "rit. to 96", "accel.", "a tempo", "rubato", "in 2",
         "half time", "tacet guitar", "softly", "2nd time only", "Ünder, the | line"]  # fmt: skip
NOTES = ["C4", "D5", "Eb5", "F#4", "Bb3", "G5", "A4", "r"]
SETTINGS = ["feel: swing 3:2", "dynamics: p -> f", "players: all but drums", "colour: none", "push: 16",
            "tempo: dotted quarter = 66 -> 60", "clave: 3-2", "key: F# minor", "levels: bass +3, guitar 2 -1.5"]  # fmt: skip

symbols = st.builds(
    lambda root, quality, bass: root + quality + (f"/{bass}" if bass else ""),
    st.sampled_from(ROOTS),
    st.sampled_from(QUALITIES),
    st.sampled_from([None, None, None, *ROOTS]),
)


@st.composite
def chord_items(draw: st.DrawFn) -> str:
    """A chord with the marks that may stand at it, or N.C."""
    if draw(st.integers(0, 19)) == 0:
        return "N.C."
    push, mark = (
        draw(st.sampled_from(["", "", "", "<"])),
        draw(st.sampled_from(["", "", "", "!", "="])),
    )
    return push + draw(symbols) + mark


@st.composite
def shared(draw: st.DrawFn, item: st.SearchStrategy[str], depth: int = 2) -> str:
    """Items in brackets."""
    count = draw(st.integers(2, 3))
    inner = [item, st.just("/")] + ([shared(item, depth - 1)] if depth > 1 else [])
    parts = [draw(item)] + [draw(st.one_of(*inner)) for _ in range(count - 1)]
    return f"({' '.join(parts)})"


@st.composite
def bars(draw: st.DrawFn, meter: str, item: st.SearchStrategy[str], first: bool) -> str:
    """The items of one bar that fill `meter`."""
    beats, other = BEATS[meter]
    one = st.one_of(item, item, item, shared(item))
    way = draw(st.integers(0, 3))
    if way == 0:
        return draw(one)
    if way == 1:
        counts = [n for n in range(1, beats + 1) if beats % n == 0]
        return " ".join(draw(one) for _ in range(draw(st.sampled_from(counts))))
    count = draw(st.sampled_from([beats, other]))
    if count == 1:
        return draw(one)
    parts = [draw(st.one_of(one, st.just("/"))) for _ in range(count)]
    if first and parts[0] == "/":
        parts[0] = draw(item)
    if "/" not in parts:
        parts[-1] = "/"
    return " ".join(parts)


@st.composite
def music_lines(draw: st.DrawFn, meter: str, under: bool, opening: bool) -> list[str]:
    """A line of music, perhaps with lines under it, that is right in itself: repeats in it are closed."""
    count = draw(st.integers(1, 4))
    cells = []
    for i in range(count):
        first = opening and i == 0
        if not first and draw(st.integers(0, 9)) == 0:
            cells.append("%")
            continue
        text = draw(st.sampled_from([None, None, None, None, *TEXTS[1:]]))
        cell = draw(bars(meter, chord_items(), first))
        cells.append(f'"{text}" {cell}' if text else cell)
    marks = ["|"] * (count + 1)
    for i in range(1, count):
        marks[i] = draw(st.sampled_from(["|", "|", "|", "||"]))
    marks[count] = draw(st.sampled_from(["|", "|", "||", "|]"]))
    if draw(st.integers(0, 3)) == 0:
        marks[0] = "|:"
        marks[count] = draw(st.sampled_from([":|", ":| x3", ":||"]))
        if count > 2 and draw(st.booleans()):
            marks[count - 2], marks[count - 1] = "|1.", ":|2."
            marks[count] = "||"
    lines = [
        "".join(f"{mark} {cell} " for mark, cell in zip(marks, cells, strict=False)) + marks[count]
    ]
    if under and draw(st.booleans()):
        name = draw(st.sampled_from(["melody", "hits", "kicks", "words"]))
        if name == "words":
            parts = [draw(st.sampled_from(["", "night", "falls on the", "är, så"])) for _ in cells]
        else:
            sign = st.sampled_from(NOTES if name == "melody" else ["x", "x", "r"])
            parts = [draw(bars(meter, sign, i == 0)) for i in range(count)]
        lines.append(f"{name}: | {' | '.join(parts)} |")
    return lines


@st.composite
def charts(draw: st.DrawFn, sections: int = 3) -> str:
    """A chart without mistakes."""
    meter = draw(st.sampled_from(METERS))
    lines = ["title: Generated", f"meter: {meter}"]
    lines += sorted(set(draw(st.lists(st.sampled_from(SETTINGS), max_size=3))), key=SETTINGS.index)
    names = ["Intro", "A", "B", "Verse 2", "Ending"][: draw(st.integers(1, sections))]
    if draw(st.booleans()):
        played = [
            draw(st.sampled_from(names)) + draw(st.sampled_from(["", "", "+2", "-1"]))
            for _ in range(3)
        ]
        lines.append(f"form: {' '.join(names)} {' '.join(played)}")
    for name in names:
        lines += ["", f"[{name}]"]
        here = meter
        if draw(st.integers(0, 4)) == 0:
            here = draw(st.sampled_from(METERS))
            lines.append(f"meter: {here}")
        if draw(st.integers(0, 4)) == 0:
            lines.append(draw(st.sampled_from(SETTINGS)))
        for i in range(draw(st.integers(1, 3))):
            lines += draw(music_lines(here, True, i == 0))
            if draw(st.integers(0, 9)) == 0:
                lines.append("# a comment")
    if draw(st.integers(0, 5)) == 0:
        lines += ["", f"[{names[0]}]"]
    return "\n".join(lines) + "\n"


def quarters(bar: Bar) -> Fraction:
    """The time that the chords of a bar fill."""
    return sum((slot.length_q for slot in bar.slots), Fraction(0))
