"""Styles for people: the list, one style as grids that a player can read, and rows for programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from math import lcm

from backing.ground.timebase import Meter
from backing.styles.algorithms import SETTINGS
from backing.styles.cells import Beat, take_apart, write
from backing.styles.model import SECTION, Part, Pattern, Style, Value, Where

ROOM, SPREAD_MS = 0.2, 6.0  # what holds where a style says nothing
_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_GRIDS = {Fraction(1, 2): "eighths", Fraction(1, 4): "sixteenths"}


def row(style: Style) -> dict[str, object]:
    """What a program may want to know about a style; `players` maps each role to its instrument."""
    return {
        "name": style.name,
        "about": style.about,
        "meters": [meter.full_name for meter in style.meters],
        "tempo": {"low": style.low_bpm, "usual": style.usual_bpm, "high": style.high_bpm},
        "feel": style.feel.name,
        "players": {part.role: part.instrument.name for part in style.parts},
    }


def listing(known: Sequence[Style]) -> str:
    """Styles, a line each, under headings of meter and subdivision where these follow one another."""
    width = max((len(s.name) for s in known), default=0)
    lines: list[str] = []
    before = ""
    for style in known:
        here = heading(style)
        if here != before:
            lines += [*([""] if lines else []), here]
            before = here
        lines.append(f"  {style.name:{width}}  {tempos(style):12}  {style.about}".rstrip())
    return "\n".join(lines)


def heading(style: Style) -> str:
    """What a style stands under in lists: its meter and subdivision."""
    return f"{style.meters[0].full_name}, {_subdivision(style)}"


def _subdivision(style: Style) -> str:
    if style.meters[0].compound:
        return "dotted beats"
    grid = _GRIDS.get(style.grid_q, "triplets")
    if style.feel.straight:
        return grid
    word = "uneven" if style.feel.shares else "shuffled" if style.feel.ratio == 2 else "swung"
    return f"{word} {grid}"


def tempos(style: Style) -> str:
    """The tempos that suit a style, from and to."""
    return f"{style.low_bpm:g}-{style.high_bpm:g}"


def page(style: Style) -> str:
    """One style: what it is, its meters and tempos, and every player's patterns as grids."""
    beat = {Fraction(1): "quarter", Fraction(3, 2): "dotted quarter", Fraction(2): "half"}
    meter = style.meters[0]
    counted = Fraction(1) if meter.counted_in_eighths else meter.beat_q
    lines = [
        style.name,
        f"  {style.about}",
        f"  meters  {', '.join(m.full_name for m in style.meters)}; any other is fitted to these",
        f"  tempo   {beat.get(counted, 'beat')} = {style.low_bpm:g} to {style.high_bpm:g}, usually {style.usual_bpm:g}",
        f"  feel    {style.feel.name}, thinking in {_GRIDS.get(style.grid_q, 'triplets')}",
    ]
    if style.clave:
        lines.append(f"  clave   {style.clave} unless the chart says otherwise")
    if style.colour:
        lines.append("  colour  players may add ninths and thirteenths that are not written")
        if not style.altered:
            lines.append("  altered no altered tones among them")
    if style.doubles:
        lines.append("  doubles those who comp may strike the same notes together")
    if style.repeats:
        lines.append("  repeats bars are played as they are written, without small changes")
    lines.append(f"  holds   a figure for {'up to ' if style.hold <= 4 else ''}{_bars(style.hold)}")
    if style.runs:
        lines.append("  runs on grooves of two bars run on through sections of odd length")
    if style.core:
        lines.append(
            f"  core    {', '.join(style.core)}: they never wait or rest in the plan of a track"
        )
    if style.count_in is not None:
        lines.append(
            f"  count-in {_bars(style.count_in) if style.count_in else 'none'}, unless asked otherwise"
        )
    if style.ending is not None:
        lines.append(f"  ending  {style.ending.name}, unless asked otherwise")
    if style.last_chord is not None:
        lines.append(f"  last chord in the rhythm {write(style.last_chord.lines['chord'])}")
    for idea in style.ideas:
        rest = f", without {', '.join(idea.rest)}" if idea.rest else ""
        lines.append(f"  idea    {idea.name}: weight {idea.weight:g}, for {_bars(idea.hold)}{rest}")
    lines.append(f"  source  {style.source}")
    for part in style.parts:
        lines += ["", *_part(part)]
    return "\n".join(lines)


def _part(part: Part) -> list[str]:
    ways = list(dict.fromkeys(part.plays[level] for level in ("p", "mf", "f")))
    if len(ways) == 1:
        plays = ways[0]
    else:
        plays = ", ".join(f"{level} {part.plays[level]}" for level in ("p", "mf", "f"))
    pan = "centre" if not part.pan else f"{abs(part.pan):.0%} {'right' if part.pan > 0 else 'left'}"
    head = f"{part.role}: {_sound(part)}, {plays}; {part.level_db:+g} dB, {pan}"
    lines = [head, *_settings(part)]
    if (part.low, part.high) != (part.instrument.low, part.instrument.high):
        lines.append(f"  range {_note(part.low)} to {_note(part.high)}")
    if part.room != ROOM:
        lines.append(f"  room {part.room:g}")
    if (part.late_ms, part.spread_ms) != (0.0, SPREAD_MS):
        lines.append(f"  {part.late_ms:+g} ms behind the beat, within about {part.spread_ms:g} ms")
    if part.hold:
        lines.append(f"  holds a pattern for {_bars(part.hold)}")
    if part.timing:
        lines.append(f"  timing in ms: {_told(part.timing)}")
    for pattern in part.patterns:
        lines += grid(pattern, part.kind.pitched)
    return lines


def _note(midi: int) -> str:
    return f"{_NAMES[midi % 12]}{midi // 12 - 1}"


def _sound(part: Part) -> str:
    """Its instrument, or those of the levels."""
    if not part.instruments:
        return part.instrument.name
    return ", ".join(f"{level} {instrument.name}" for level, instrument in part.instruments.items())


def _settings(part: Part) -> list[str]:
    """What the style sets beside the table of settings, a line each, with what it does."""
    rows = [(f"{name} = {written(value)}", name) for name, value in part.settings.items()]
    width = max((len(row) for row, _ in rows), default=0)
    return [f"  {row:{width}}  {SETTINGS[part.kind.name][name].about}" for row, name in rows]


def _told(timing: Mapping[str, float]) -> str:
    return ", ".join(f"{name} {ms:+g}" for name, ms in timing.items())


def _bars(hold: int) -> str:
    return "the section" if hold == SECTION else f"{hold} bars" if hold > 1 else "one bar"


def written(value: Value) -> str:
    """A value as a style file has it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return f"[{', '.join(map(written, value))}]"
    return f"{value:g}"


def grid(pattern: Pattern, rings: bool = True) -> list[str]:
    """A pattern as a grid: a title, the count, then a row for each line; `rings` shows held notes as dashes."""
    place = "" if pattern.where is Where.TIME else f", {pattern.where.value}"
    place += f", for {' and '.join(pattern.energies)}" if pattern.energies else ""
    place += f", idea '{pattern.idea}'" if pattern.idea else ""
    place += f", the {pattern.side} side" if pattern.side else ""
    held = f", held for {_bars(pattern.hold)}" if pattern.hold else ""
    vary = f", vary {pattern.vary:g}" if pattern.vary is not None else ""
    soft = f", ghosts {pattern.ghosts:g}" if pattern.ghosts < 1 else ""
    late = f", timing in ms: {_told(pattern.timing)}" if pattern.timing else ""
    told = f"{pattern.level}{place}, weight {pattern.weight:g}{held}{vary}{soft}{late}"
    title = f"  {pattern.name}  ({pattern.meter.full_name}, {told})"
    cut = {name: take_apart(line) for name, line in pattern.lines.items()}
    beats = [beat for bars in cut.values() for bar in bars for beat in bar]
    starts = [start.denominator for _, row in beats for start, _, _ in row]
    count = lcm(1, *starts)
    width = max((len(mark) for _, row in beats for _, _, mark in row), default=1)
    label = max(map(len, cut))
    rule = _rule(next(iter(cut.values())), pattern.meter, count, width)
    lines = [title, f"    {'':{label}}  {rule}".rstrip()]
    for name, bars in cut.items():
        text = " | ".join(" ".join(_cells(b, count, width, rings) for b in bar) for bar in bars)
        leads = f" -> {pattern.into[name]}" if name in pattern.into else ""
        lines.append(f"    {name:{label}}  {text.rstrip()}{leads}".rstrip())
    return lines


def _cells(beat: Beat, count: int, width: int, rings: bool) -> str:
    cells = ["."] * count
    for start, end, mark in beat[1]:
        first, last = int(start * count), int(end * count)
        held = "-" if rings and mark != "." else "."
        cells[first:last] = [held if mark == "=" else mark] + [held] * (last - first - 1)
    return " ".join(f"{cell:{width}}" for cell in cells)


def _rule(bars: list[list[Beat]], meter: Meter, count: int, width: int) -> str:
    """The count over a grid: beats by number, what lies between as players say it."""
    between = {2: ["&"], 4: ["e", "&", "a"]}.get(count, [""] * (count - 1))
    eighths = meter.compound or meter.counted_in_eighths
    text = []
    for bar in bars:
        row, at = [], Fraction(0)
        for i, (length, _) in enumerate(bar):
            number = str(int(at / meter.unit_q) + 1 if eighths else i + 1)
            inner = [""] * (count - 1) if eighths else between
            row += [f"{word:{width}}" for word in (number, *inner)]
            at += length
        text.append(" ".join(row))
    return " | ".join(text).rstrip()
