"""A chart as a MusicXML 4.0 lead sheet, plain (`.musicxml`) or packed (`.mxl`).

Conventions: one part; melody where there is one, slashes elsewhere. What the standard has no element for stands in
fields as `reading.musicxml_fields` lists them, so that the file comes back as the same chart. *Source*: MusicXML 4.0
(W3C Community Group report).
"""

from __future__ import annotations

import io
import os
import zipfile
from collections.abc import Iterator
from xml.etree import ElementTree as ET

from backing.chart.ast import Bar, Chart
from backing.chart.time import Space
from backing.chart.transpose import transpose_chart
from backing.ground.pitch import UNISON, Interval
from backing.ground.version import VERSION
from backing.output.files import MARK, write_bytes
from backing.output.musicxml_bars import Bars
from backing.output.musicxml_marks import add
from backing.reading.musicxml_fields import BETWEEN, MARKS, ORDER, PREFIX, RHYTHMS
from backing.reading.rhythm import as_text, shape_of, typed_shape

DOCTYPE = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    ' "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_INNER = "score.musicxml"
_CONTAINER = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
    f'<rootfile full-path="{_INNER}" media-type="application/vnd.recordare.musicxml+xml"/>'
    "</rootfiles></container>\n"
)
_IN_ELEMENTS = ("title", "by")


def write(
    chart: Chart,
    path: str | os.PathLike[str],
    *,
    transposing: str | None = None,
    force: bool = False,
) -> None:
    """Write the lead sheet; the ending `.mxl` packs it. Raises `OutputError`."""
    data = text(chart, transposing).encode("utf-8")
    packed = os.fspath(path).lower().endswith(".mxl")
    write_bytes(path, packed_file(data) if packed else data, force=force)


def text(chart: Chart, transposing: str | None = None) -> str:
    """The lead sheet as XML; `transposing` is the instrument that reads it (`Bb`, `Eb`, `F`)."""
    way = UNISON
    if transposing:
        from backing.output.sheet.write import TRANSPOSING

        way = TRANSPOSING[transposing]
    root = score(transpose_chart(chart, way) if transposing else chart, way)
    ET.indent(root, " ")
    body: str = ET.tostring(root, encoding="unicode")
    return f"{DOCTYPE}<!-- {MARK} -->\n{body}\n"


def score(chart: Chart, way: Interval = UNISON, *, printed: bool = False) -> ET.Element:
    """The score; `way` leads from what sounds to what is written. `printed` puts all of a chord into its text."""
    root = ET.Element("score-partwise", version="4.0")
    if chart.header.title:
        add(add(root, "work"), "work-title", chart.header.title)
    head = add(root, "identification")
    if chart.header.by:
        add(head, "creator", chart.header.by, type="composer")
    add(add(head, "encoding"), "software", f"backing {VERSION}")
    fields = list(_fields(chart))
    if fields:
        more = add(head, "miscellaneous")
        for name, value in fields:
            add(more, "miscellaneous-field", value, name=name)
    part = add(add(root, "part-list"), "score-part", id="P1")
    add(part, "part-name", "Lead")
    Bars(chart, way, printed).write(add(root, "part", id="P1"))
    return root


def _fields(chart: Chart) -> Iterator[tuple[str, str]]:
    """Settings, order and marks that have no element, by name."""
    german = ("key", "note-names", "chords") if chart.header.names != "english" else ("chords",)
    for one in chart.written:
        if one.name not in (*_IN_ELEMENTS, *german):
            yield PREFIX + one.name, one.value
    for number, section in enumerate(chart.sections, 1):
        for one in section.written:
            if one.name not in german:
                yield f"{PREFIX}section-{number}-{one.name}", one.value
    names = tuple(s.name for s in chart.sections)
    if chart.order != names:
        yield ORDER, BETWEEN.join(chart.order)
    bars = [bar for section in chart.sections for bar in section.bars]
    marks = [
        f"{bar.number}@{s.start_q} {'<' * s.pushed}{'!' * s.stop}{'=' * s.ring}"
        for bar in bars
        for s in bar.slots
        if (s.pushed or s.stop or s.ring) and not s.held
    ]
    if marks:
        yield MARKS, BETWEEN.join(marks)
    for name in RHYTHMS:
        cells = [
            (bar.number, cell) for bar in bars if (cell := _cell(chart, bar, name)) is not None
        ]
        if cells:
            yield PREFIX + name, BETWEEN.join(f"{number}: {cell}" for number, cell in cells)


def _cell(chart: Chart, bar: Bar, name: str) -> str | None:
    """What a field says of a bar, None for nothing."""
    if name != "beats":
        return None if getattr(bar, name) is None else str(getattr(bar, f"{name}_text"))
    space = Space(bar.meter, None if bar.number else chart.header.pickup_beats)
    typed = () if bar.simile else typed_shape(bar.items_text, _in_numbers(bar))
    usual = shape_of(space, [s.start_q for s in bar.slots if not s.held])
    return as_text(typed) if typed and typed != usual else None


def _in_numbers(bar: Bar) -> bool:
    """Whether the chords of a bar are typed as figures."""
    return any(s.text[:1] in "1234567b#" for s in bar.slots if s.text)


def packed_file(data: bytes) -> bytes:
    """The score as a packed file, with its container; the same bytes for the same score."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.comment = MARK.encode()
        for name, content in (("META-INF/container.xml", _CONTAINER.encode()), (_INNER, data)):
            packed.writestr(
                zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED
            )
    return made.getvalue()
