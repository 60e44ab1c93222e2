"""What the desk sees in a text while it is typed: mistakes with their mends, colours, who plays; and its bars on the sheet.

Conventions: places in the text are UTF-16 units; places on the sheet are points of its picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from backing.commands.preparing import available, prepare
from backing.commands.writing import shown_tempo
from backing.desk.fixes import fixes
from backing.desk.highlight import tokens
from backing.desk.units import Units
from backing.ground.errors import ChartError, OutputError, RequestError, StyleError

if TYPE_CHECKING:
    from backing.chart.ast import Chart
    from backing.commands.preparing import Prepared
    from backing.desk.fixes import Fix
    from backing.ground.source import Diagnostic

MOST_MENDED = 12  # mistakes whose mends are looked for
MOST_READ = 20_000  # characters that are read for them: of a long text mends are looked for at fewer mistakes


def look(text: str, name: str = "tune.txt", revision: int = 0) -> dict[str, Any]:
    """What is known at once: mistakes, colours, whether chords are wanted, the track; `revision` is handed back."""
    found = said(text, name)
    chart = read(text, name)
    prepared, more = _prepared(chart)
    units = Units.of(text)
    told = [*found, *(d for d in more if d.source.text == text and d not in found)]
    return {
        "revision": revision,
        "marks": [_mark(d, units, i, told, name) for i, d in enumerate(told)],
        "tokens": [
            (units.of_character(a), units.of_character(b), kind) for a, b, kind in tokens(text)
        ],
        "wanted": chart is not None and _wants(chart),
        "track": _track(prepared) if prepared else None,
    }


def draw(
    text: str, name: str = "tune.txt", wide: float = 560.0, revision: int = 0
) -> dict[str, Any]:
    """The bars and their sheet, which takes longer; it is None where the text is no chart."""
    chart = read(text, name)
    units = Units.of(text)
    return {
        "revision": revision,
        "bars": _bars(chart, units) if chart else [],
        "sheet": _sheet(chart, _prepared(chart)[0], wide, units) if chart else None,
    }


def said(text: str, name: str) -> list[Diagnostic]:
    """What is wrong with a text or worth a warning; a `?` is neither here."""
    from backing.chart.parse import parse_all
    from backing.styles.find import unknown

    return list(parse_all(text, name, wanted=True, unknown_style=unknown)[1])


def read(text: str, name: str) -> Chart | None:
    """The chart of a text, None where it is none."""
    from backing.chart.parse import parse_all
    from backing.styles.find import unknown

    return parse_all(text, name, wanted=True, unknown_style=unknown)[0]


def _wants(chart: Chart) -> bool:
    return any(slot.wanted for s in chart.sections for bar in s.bars for slot in bar.slots)


def _prepared(chart: Chart | None) -> tuple[Prepared | None, Sequence[Diagnostic]]:
    """The chart as it would be played, and what comes to light then."""
    if chart is None or _wants(chart):
        return None, ()
    try:
        prepared = prepare(chart)
    except (ChartError, StyleError) as wrong:
        return None, wrong.diagnostics
    except RequestError:
        return None, ()
    return prepared, prepared.warnings


def _mark(
    one: Diagnostic, units: Units, number: int, told: Sequence[Diagnostic], name: str
) -> dict[str, Any]:
    """A diagnostic as the editor shows it."""
    text = one.source.text
    start = min(one.span.start, len(text))
    end = min(max(one.span.end, start), len(text))
    mends: tuple[Fix, ...] = ()
    if one.hint and number < min(MOST_MENDED, MOST_READ // (len(text) + 1)):
        mends = fixes(one, lambda changed: said(changed, name), told)
    return {
        "from": units.of_character(start),
        "to": units.of_character(end),
        "severity": one.severity.value,
        "code": one.code,
        "message": one.message,
        "hint": one.hint,
        "fixes": [
            {
                "label": fix.label,
                "from": units.of_character(fix.start),
                "to": units.of_character(min(fix.end, len(text))),
                "insert": fix.text,
            }
            for fix in mends
        ],
    }


def _bars(chart: Chart, units: Units) -> list[dict[str, Any]]:
    """Every written bar: where it stands, its number, its section, its chords."""
    return [
        {
            "at": units.of_character(bar.span.start),
            "to": units.of_character(bar.span.end),
            "number": bar.number,
            "section": section.name,
            "chords": bar.items_text,
        }
        for section in chart.sections
        for bar in section.bars
    ]


def _sheet(
    chart: Chart, prepared: Prepared | None, wide: float, units: Units
) -> dict[str, Any] | None:
    """The picture of the sheet with its bars, or why there is none."""
    from backing.commands.options import Options
    from backing.output.sheet.screen import on_screen

    style = prepared.style.name if prepared else chart.settings.style or ""
    tempo = shown_tempo(prepared, Options()) if prepared else None
    try:
        screen = on_screen(chart, wide, style=style, tempo=tempo)
    except OutputError as wrong:
        return {"failed": str(wrong)}
    return {
        "svg": screen.svg,
        "wide": screen.wide,
        "high": screen.high,
        "bars": [
            [units.of_character(z.at), *(round(v, 2) for v in (z.x1, z.y1, z.x2, z.y2))]
            for z in screen.zones
        ],
    }


def _track(prepared: Prepared) -> dict[str, Any]:
    """What can be asked of the band: players, key, tempo, style, length."""
    from backing.timeline.unroll import first_key

    timeline = prepared.timeline
    quarters_a_minute = 60_000_000 / timeline.tempo[0].us
    return {
        "players": list(available(timeline, (prepared.style, *prepared.styles.values()))),
        "key": first_key(prepared.chart).name,
        "bpm": round(quarters_a_minute / float(timeline.bars[0].meter.beat_q), 1),
        "style": prepared.style.name,
        "bars": len(timeline.bars),
        "melody": bool(timeline.melody),
    }
