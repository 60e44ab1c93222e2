"""A chart with its chords written otherwise: in letters, numbers or numerals.

Conventions: each section is written in its key, one without a key of its own in the chart's. What neither numbers nor
numerals can say is refused with the chord.
"""

from __future__ import annotations

from dataclasses import replace

from backing.chart.ast import LETTERS, Bar, Chart, Section, Slot, Written
from backing.chart.naming import symbol_in
from backing.chart.numbers import in_notation
from backing.chart.transpose import spliced_chords
from backing.ground.errors import RequestError
from backing.ground.pitch import Key
from backing.ground.source import NOWHERE


def written_as(chart: Chart, notation: str) -> Chart:
    """The chart in a notation. Raises `RequestError` without a key, and for a chord that the notation cannot say."""
    home = chart.settings.chords or LETTERS
    if notation == home and all(s.settings.chords in (None, home) for s in chart.sections):
        return chart
    sections = tuple(_section(s, chart, notation) for s in chart.sections)
    return replace(told(chart, notation), sections=sections)


def told(chart: Chart, notation: str) -> Chart:
    """The chart with the setting that says how its chords are written; none for letters."""
    written = tuple(w for w in chart.written if w.name != "chords")
    if notation != LETTERS:
        at = next((i + 1 for i, w in enumerate(written) if w.name == "key"), len(written))
        place = written[at - 1].span if at else NOWHERE
        written = (*written[:at], Written("chords", notation, place, place), *written[at:])
    settings = chart.settings._replace(chords=None if notation == LETTERS else notation)
    return replace(chart, settings=settings, written=written)


def _section(section: Section, chart: Chart, notation: str) -> Section:
    key = section.settings.key or chart.settings.key
    german = chart.header.german
    if key is None and notation != LETTERS:
        raise RequestError(
            f"--write-as {notation}: the chart has no key; write one, such as  key: G major"
        )
    numbers = (section.settings.chords or chart.settings.chords or LETTERS) != LETTERS
    lines = tuple(
        replace(line, bars=tuple(_bar(b, key, notation, german, numbers) for b in line.bars))
        for line in section.lines
    )
    written = tuple(w for w in section.written if w.name != "chords")
    return replace(
        section, settings=section.settings._replace(chords=None), lines=lines, written=written
    )


def _bar(bar: Bar, key: Key | None, notation: str, german: bool, numbers: bool) -> Bar:
    names = {s.text: _text(s, key, notation, german, bar.number) for s in bar.slots if s.chord}
    slots = tuple(replace(s, text=names.get(s.text, s.text)) for s in bar.slots)
    return replace(bar, slots=slots, items_text=spliced_chords(bar.items_text, names, numbers))


def _text(slot: Slot, key: Key | None, notation: str, german: bool, bar: int) -> str:
    assert slot.chord is not None
    if notation == LETTERS or key is None:
        return symbol_in(slot.chord, german)
    text = in_notation(slot.chord, key, notation)
    if not text:
        raise RequestError(
            f"--write-as {notation}: bar {bar}: {slot.chord.symbol} in {key.name} cannot be written so"
        )
    return text
