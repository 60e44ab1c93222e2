"""The printed sheet: a chart as written becomes PDF, SVG or PNG, set by typst.

Conventions: the look is in `sheet.typ`; here the chart is put into the numbers and words that it needs. Lengths are
quarters; `share` and ticks run from 0 to 1 over their segment, which reaches from one chord to the next.
Sources: rhythm slashes, simile signs, repeat signs and endings as any manual of notation has them (common practice).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, cast

from backing.chart.ast import LAST, Bar, Chart, LineNote, Slot
from backing.errors import OutputError
from backing.harmony.symbol import Chord
from backing.out.files import claim, whole
from backing.out.symbols import note, parts, pieces
from backing.pitch import Key
from backing.timebase import EIGHTH, FOUR_FOUR, QUARTER, Meter

TEMPLATE = Path(__file__).parent / "sheet.typ"
FONTS = Path(__file__).parent.parent / "fonts"
Kind = Literal["pdf", "svg", "png"]
PNG_PPI = 200.0
RESTS: dict[Fraction, str] = {
    Fraction(4): "𝄻",
    Fraction(2): "𝄼",
    Fraction(1): "𝄽",
    EIGHTH: "𝄾",
    Fraction(1, 4): "𝄿",
}
NOTE_SIGNS = {Fraction(2): "𝅗𝅥", Fraction(3, 2): "♩.", Fraction(1): "♩", EIGHTH: "♪"}


def set_sheet(
    chart: Chart,
    *,
    kind: Kind = "pdf",
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: str = "a4",
    signs: bool = False,
    grips: Sequence[tuple[Chord, tuple[int | None, ...], int]] = (),
    scale: float = 1.0,
) -> list[bytes]:
    """The sheet, one item a page (a PDF is one item whatever its pages).

    `style` and `tempo` (note value in quarters, beats a minute) are shown in the title block; `grips` are chords with
    frets from the lowest string (None not played, 0 open) and the first fret shown; `signs` writes △ – ° ø.
    """
    import typst

    data = sheet_data(
        chart, style=style, tempo=tempo, paper=paper, signs=signs, grips=grips, scale=scale
    )
    result = cast(
        "bytes | list[bytes]",
        typst.compile(
            str(TEMPLATE),
            format=kind,
            ppi=PNG_PPI,
            font_paths=[str(FONTS)],
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        ),
    )
    return list(result) if isinstance(result, list) else [result]


def write(chart: Chart, path: Path, *, force: bool = False, **look: Any) -> list[Path]:
    """Write the sheet; SVG and PNG of several pages become `NAME-1.png`, `NAME-2.png` …. Raises `OutputError`."""
    kinds: dict[str, Kind] = {".pdf": "pdf", ".svg": "svg", ".png": "png"}
    kind = kinds.get(path.suffix.lower())
    if kind is None:
        raise OutputError(f"{path}: a sheet ends in .pdf, .svg or .png")
    pages = set_sheet(chart, kind=kind, **look)
    paths = (
        [path]
        if len(pages) == 1
        else [path.with_stem(f"{path.stem}-{n}") for n in range(1, len(pages) + 1)]
    )
    for target in paths:
        claim(target, force=force)
    for target, page in zip(paths, pages, strict=True):
        with whole(target, force=force) as beside:
            beside.write_bytes(marked(page, kind))
    return paths


def marked(page: bytes, kind: str) -> bytes:
    """The page with the mark by which this program knows its own files (a PDF has it in its keywords)."""
    if kind == "svg":
        return page + b"\n<!-- made by backing -->\n"
    if kind == "png":
        return png_text(page, "Software", "backing")
    return page


def png_text(page: bytes, key: str, value: str) -> bytes:
    """A PNG with a tEXt chunk after its header (PNG specification, third edition, 11.3.3.2)."""
    import zlib

    body = b"tEXt" + key.encode("latin-1") + b"\0" + value.encode("latin-1")
    chunk = (len(body) - 4).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")
    header_end = 8 + 25  # signature and IHDR
    return page[:header_end] + chunk + page[header_end:]


def sheet_data(
    chart: Chart,
    *,
    style: str = "",
    tempo: tuple[Fraction, Fraction] | None = None,
    paper: str = "a4",
    signs: bool = False,
    grips: Sequence[tuple[Chord, tuple[int | None, ...], int]] = (),
    scale: float = 1.0,
) -> dict[str, Any]:
    """Everything that `sheet.typ` needs, as plain JSON values."""
    lines: list[dict[str, Any]] = []
    meter: Meter | None = chart.settings.meter or FOUR_FOUR
    for section in chart.sections:
        for i, line in enumerate(section.lines):
            bars: list[dict[str, Any]] = []
            for bar in line.bars:
                shown = bar.meter if bar.meter != meter or (not lines and not bars) else None
                meter = bar.meter
                bars.append(bar_data(bar, shown, signs))
            lines.append(
                {
                    "section": (section.name or None) if i == 0 else None,
                    "length": float(sum((b.length_q for b in line.bars), Fraction(0))),
                    "bars": bars,
                }
            )
    longest = max((line["length"] for line in lines), default=1.0)
    return {
        "title": chart.header.title or "Untitled",
        "by": chart.header.by,
        "notes": chart.header.notes,
        "line": pieces(", ".join(words_of(chart, style, tempo))),
        "form": form_words(chart),
        "keywords": ["made by backing"],
        "paper": paper,
        "scale": scale,
        "longest": longest,
        "lines": lines,
        "grips": [
            {"chord": symbol_data(chord, "", signs), "frets": list(frets), "first": first}
            for chord, frets, first in grips
        ],
    }


def words_of(chart: Chart, style: str, tempo: tuple[Fraction, Fraction] | None) -> list[str]:
    """The one plain line under the title: style, tempo, key, and what a guitar has to know."""
    words = [style] if style else []
    if tempo is not None:
        unit, bpm = tempo
        shown = f"{float(bpm):g}"
        words.append(f"{NOTE_SIGNS.get(unit, '♩')} = {shown}")
    if chart.settings.key is not None:
        words.append(key_words(chart.settings.key))
    if chart.header.capo:
        words.append(f"capo {chart.header.capo}")
    if chart.header.tuned:
        words.append(
            f"guitar tuned {'down' if chart.header.tuned < 0 else 'up'} {abs(chart.header.tuned)}"
        )
    return words


def key_words(key: Key) -> str:
    """`B♭ major`."""
    return f"{note(key.tonic)} {'minor' if key.minor else 'major'}"


def form_words(chart: Chart) -> str:
    """The order of play in words, "" for a chart of one section."""
    if chart.header.form is not None:
        names = []
        inside = False
        for item in chart.header.form:
            moved = f" {item.transpose:+d}" if item.transpose else ""
            opening = "(" if item.in_chorus and not inside and chart.header.form_repeats > 1 else ""
            inside = item.in_chorus
            names.append(f"{opening}{item.section}{moved}")
        if chart.header.form_repeats > 1:
            last = max(i for i, item in enumerate(chart.header.form) if item.in_chorus)
            names[last] += f") ×{chart.header.form_repeats}"
    else:
        names = [n for n in chart.order if n]
    times = chart.header.choruses or 1
    again = f" · {times} choruses" if times > 1 else ""
    return " – ".join(names) + again if len(names) > 1 or again else ""


def bar_data(bar: Bar, meter: Meter | None, signs: bool) -> dict[str, Any]:
    """One bar; `meter` is shown where it is given."""
    segments = simile_segment(bar) if bar.simile else chord_segments(bar, signs)
    ticks = tick_places(bar)
    for segment in segments:
        start, length = segment.pop("start_q"), segment["length_q"]
        end = start + length

        def share(at: Fraction, start: Fraction = start, length: Fraction = length) -> float:
            return float((at - start) / length)

        segment["ticks"] = [share(t) for t in ticks if start <= t < end]
        segment["texts"] = [
            t.text for t in bar.texts if start <= t.at_q < end or (t.at_q >= bar.length_q <= end)
        ]
        segment["melody"] = [
            {"share": share(n.start_q), "parts": pieces(f"{note(n.pitch.note)}{n.pitch.octave}")}
            for n in bar.melody or ()
            if n.pitch is not None and not n.held and start <= n.start_q < end
        ]
        segment["rhythm"] = [
            {"share": share(n.start_q)} | stroke(n)
            for n in rhythm(bar)
            if start <= n.start_q < end and not n.held
        ]
        segment["words"] = list(bar.words) if start == 0 else []
        segment["length"] = float(segment.pop("length_q"))
    return {
        "number": str(bar.number) if bar.number else "",
        "length": float(bar.length_q),
        "meter": meter.name if meter else "",
        "segments": segments,
        "simile": bar.simile,
        "repeat-start": bar.repeat_start,
        "times": bar.times,
        "ending": ending_words(bar.ending),
        "line-after": bar.line_after.value,
        "rhythm": [1] if rhythm(bar) else [],
        "verses": len(bar.words),
    }


def tick_places(bar: Bar) -> list[Fraction]:
    """Where the counted beats of a bar lie, in quarters from its bar line."""
    beat = bar.meter.beat_q
    return [beat * i for i in range(int(bar.length_q / beat))]


def segment(
    start_q: Fraction, length_q: Fraction, chord: dict[str, Any] | None, simile: bool = False
) -> dict[str, Any]:
    return {
        "start_q": start_q,
        "length_q": length_q,
        "chord": chord,
        "simile": simile,
        "text-after": "",
    }


def simile_segment(bar: Bar) -> list[dict[str, Any]]:
    """A bar that repeats what went before has one sign in its middle (the second of two bars has none)."""
    return [segment(Fraction(0), bar.length_q, None, simile=bar.simile != 3)]


def chord_segments(bar: Bar, signs: bool) -> list[dict[str, Any]]:
    """A segment a chord, from its place to the next one's."""
    return [
        segment(slot.start_q, slot.length_q, None if slot.held else slot_data(slot, signs))
        for slot in bar.slots
        if slot.length_q
    ]


def slot_data(slot: Slot, signs: bool) -> dict[str, Any]:
    mark = "push" if slot.pushed else "stop" if slot.stop else "ring" if slot.ring else ""
    return symbol_data(slot.chord, mark, signs)


def symbol_data(chord: Chord | None, mark: str, signs: bool) -> dict[str, Any]:
    """A chord symbol in pieces; N.C. is text."""
    if chord is None:
        return {"root": None, "text": "N.C.", "mark": mark}
    p = parts(chord, signs)
    return {
        "root": p.root,
        "accidental": p.accidental,
        "quality": p.quality,
        "extension": p.extension,
        "word": pieces(p.word) if p.word else "",
        "alterations": [pieces(a) for a in p.alterations],
        "bass": p.bass,
        "bass-accidental": p.bass_accidental,
        "mark": mark,
        "text": "",
    }


def rhythm(bar: Bar) -> tuple[LineNote, ...]:
    """The hits or kicks that stand above a bar."""
    return bar.hits or bar.kicks or ()


def stroke(n: LineNote) -> dict[str, Any]:
    """How a stroke of a rhythm is drawn: head, stem, flags, dot; or the sign of a rest."""
    length = n.length_q
    if not n.hit:
        sign = next((s for q, s in RESTS.items() if q <= length), "𝄿")
        return {"rest": True, "glyph": sign, "open": False, "stem": False, "flags": 0, "dot": False}
    dotted = length in (Fraction(3), Fraction(3, 2), Fraction(3, 4))
    plain = length * 2 / 3 if dotted else length
    flags = 0 if plain >= QUARTER else 1 if plain >= EIGHTH else 2
    return {
        "rest": False,
        "glyph": "",
        "open": plain >= 2,
        "stem": plain < 4,
        "flags": flags,
        "dot": dotted,
    }


def ending_words(numbers: Sequence[int]) -> str:
    """`1.`, `1.–3.`, `last.`"""
    if not numbers:
        return ""
    if numbers[0] == LAST:
        return "last."
    if len(numbers) > 1 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]}.–{numbers[-1]}."
    return " ".join(f"{n}." for n in numbers)
