"""What the reporting commands say: mistakes and form, every note in words, chords, styles. Nothing here prints."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.commands.reading import called, read_chart
from backing.ground.errors import ChartError, RequestError, StyleError
from backing.ground.instruments import STANDARD_TUNING

if TYPE_CHECKING:
    from backing.ground.source import Diagnostic
    from backing.harmony.grip import Grip
    from backing.harmony.symbol import Chord
    from backing.performance.model import Performance
    from backing.timeline.model import Timeline

GRIPS_SHOWN = 3
GRIPS_TOLD = 6


@dataclass(frozen=True, slots=True)
class Checked:
    """What is to be said of one chart."""

    name: str
    diagnostics: tuple[Diagnostic, ...]
    timeline: Timeline | None
    performance: Performance | None
    understood: str = ""  # of a file in another format

    @property
    def wrong(self) -> bool:
        return any(d.severity.value == "error" for d in self.diagnostics)

    def as_json(self, with_plan: bool = False) -> dict[str, object]:
        from backing.output.timeline_json import as_json
        from backing.performance.plan_told import plan_json

        planned = plan_json(self.performance.arrangement) if self.performance else None
        return {
            "file": self.name,
            "diagnostics": [d.as_json() for d in self.diagnostics],
            "form": [s.name for s in self.timeline.sections] if self.timeline else [],
            "timeline": as_json(self.performance) if self.performance else None,
            **({"plan": planned} if with_plan else {}),
        }


def check(path: Path, wish: Options) -> Checked:
    """Every mistake of a chart, and what it plays when it has none.

    Raises `OutputError` for an unreadable file, `RequestError` for what the chart does not have.
    """
    from backing.reading.opened import understood
    from backing.styles.find import unknown

    told = ""
    try:
        chart = read_chart(path, wish.reading, unknown_style=unknown)
        told = understood(chart)
        prepared = prepare(chart, wish)
        performance = band(prepared, wish)
    except (ChartError, StyleError) as wrong:
        if any(d.code == "E703" for d in wrong.diagnostics):  # a melody, which is worth telling of
            told = understood(read_chart(path, wish.reading, wanted=True))
        return Checked(called(path), wrong.diagnostics, None, None, told)
    return Checked(called(path), prepared.warnings, prepared.timeline, performance, told)


def check_report(checked: Checked) -> str:
    """The form as played, bars, length, what was decided for the writer, and the chord of every bar."""
    from backing.performance.explain import timeline_text

    assert checked.performance is not None
    return timeline_text(checked.name, checked.performance, foreign_meters(checked.performance))


def plan_report(checked: Checked) -> str:
    """The leader's plan: who enters where, what each section is for, what was decided and why."""
    from backing.performance.plan_told import plan_text

    assert checked.performance is not None
    return plan_text(checked.name, checked.performance.arrangement)


def best_keys(path: Path, wish: Options) -> str:
    """In which keys the solo guitar's piece lies best. Raises `RequestError` where the chart asks for none."""
    from backing.commands.lying import lying, report

    return report(called(path), lying(read_chart(path, wish.reading), wish))


def foreign_meters(performance: Performance) -> list[str]:
    """A sentence for every meter that a style of the track has no patterns for."""
    from backing.styles.grid import telling

    timeline = performance.arrangement.timeline
    styles = {
        p.style.name: p.style for player in performance.arrangement.players for p in player.parts
    }
    said = []
    for meter in dict.fromkeys(bar.meter for bar in timeline.bars):
        for name, style in sorted(styles.items()):
            written = {pattern.meter for part in style.parts for pattern in part.patterns}
            if words := telling([*style.meters, *sorted(written, key=str)], meter):
                said.append(f"{name} in {meter.full_name}: {words}")
    return said


def explain(path: Path, wish: Options, as_json: bool) -> object:
    """Every note in words, or as a list of objects."""
    from backing.performance.explain import explain as in_words
    from backing.performance.explain import explain_json

    prepared = prepare(read_chart(path, wish.reading), wish.changed(bars=None))
    arrangement = band(prepared, wish).arrangement
    return (
        explain_json(arrangement, wish.form.bars)
        if as_json
        else in_words(arrangement, wish.form.bars)
    )


def chords(
    symbols: Sequence[str], german: bool, tuning: str = "", near: int | None = None
) -> tuple[list[dict[str, object]], str, bool]:
    """Reports on chord symbols: objects, text, and whether any was refused.

    `tuning` names the guitar's open strings as a chart does, "" for the usual ones; `near` is a fret about which grips are asked for.
    Raises `RequestError`.
    """
    from backing.harmony.report import report, text

    strings = _strings(tuning, german)

    reports = [report(symbol, german) for symbol in symbols]
    read = [r for r in reports if "error" not in r]
    for told in read:
        told["grips"] = grip_rows(str(told["symbol"]), strings, near)
    diagrams = {str(r["symbol"]): grips(str(r["symbol"]), strings, near) for r in read}
    return reports, text(reports, diagrams), any("error" in r for r in reports)


def _strings(tuning: str, german: bool) -> tuple[int, ...]:
    """What the open strings of a guitar sound."""
    from backing.chart.codes import CODES
    from backing.chart.values import Wrong
    from backing.chart.values import tuning as read
    from backing.ground.tunings import open_strings

    try:
        return open_strings(read(tuning, german) if tuning else ())
    except Wrong as wrong:
        message, hint = (text.format(**wrong.values) for text in CODES[wrong.code])
        hint = re.sub(r" tuning: ([A-G#b ]*[A-G#b])", r' --tuning "\1"', hint)
        raise RequestError(f"--tuning: {message}; {hint}") from wrong


def grip_rows(
    symbol: str, strings: tuple[int, ...] = STANDARD_TUNING, near: int | None = None
) -> list[dict[str, object]]:
    """Grips of a chord for programs, the first to learn first; strings from 6 to 1, None is not played, finger 0 open."""
    from backing.harmony.fingering import fingering
    from backing.harmony.symbol import read
    from backing.harmony.taught import rootless

    chord = read(symbol)
    return [
        {
            "frets": [None if fret < 0 else fret for fret in grip.frets],
            "fingers": list(fingering(grip.frets) or ()),
            "rootless": rootless(grip),
        }
        for grip in (_offered(chord, GRIPS_TOLD, strings, near) if chord is not None else ())
    ]


def _offered(
    chord: Chord, limit: int, strings: tuple[int, ...], near: int | None
) -> tuple[Grip, ...]:
    from backing.harmony.taught import grips_for, grips_near

    if near is None:
        return grips_for(chord, limit, strings)
    return grips_near(chord, near, limit, strings)


def grips(symbol: str, strings: tuple[int, ...] = STANDARD_TUNING, near: int | None = None) -> str:
    """A few grips of a chord side by side as diagrams, "" for N.C.; `strings` sound open."""
    from backing.harmony.symbol import read
    from backing.harmony.taught import rootless

    chord = read(symbol)
    if chord is None:
        return ""
    found = _offered(chord, GRIPS_SHOWN, strings, near)
    if not found:
        which = "the usual" if strings == STANDARD_TUNING else "this"
        return f"no grip holds this chord in {which} tuning"
    named = any(map(rootless, found))
    blocks = [
        [*(["rootless" if rootless(grip) else ""] if named else []), *grip.diagram().splitlines()]
        for grip in found
    ]
    height = max(len(b) for b in blocks)
    widths = [max(map(len, b)) for b in blocks]
    rows = [
        "   ".join(
            (b[i] if i < len(b) else "").ljust(w) for b, w in zip(blocks, widths, strict=True)
        )
        for i in range(height)
    ]
    if chord.bass is not None and found[0].pitches[0] % 12 != chord.bass.pc:
        rows.append(f"no hand holds the {chord.bass.name} below this chord: it is left to the bass")
    return "\n".join(row.rstrip() for row in rows)


def style_list(as_json: bool) -> object:
    """All styles by meter and subdivision."""
    from backing.styles.find import styles
    from backing.styles.show import listing, row

    return [row(style) for style in styles()] if as_json else listing(styles())


def style_pages(asked: Sequence[str], as_json: bool) -> list[object]:
    """For each name that style's players, meters, tempos and patterns, for another word the list of all that it fits.

    Words that make one style's name together (`slow blues`) are that style. Raises `RequestError` for what fits none.
    """
    from backing.styles.find import find, matching, order, unknown
    from backing.styles.show import listing, page, row

    together = " ".join(asked)
    if unknown(together) is None and any(map(unknown, asked)):
        asked = [together]
    told: list[object] = []
    for name in asked:
        fit = sorted(map(find, matching(name)), key=order) if unknown(name) else []
        if fit:
            told.append([row(style) for style in fit] if as_json else listing(fit))
        else:
            style = find(name)
            told.append(row(style) if as_json else page(style))
    return told


def check_styles(files: Sequence[str]) -> list[tuple[str, tuple[Diagnostic, ...]]]:
    """The mistakes of style files. Raises `RequestError` when none is named, `OutputError` when one is unreadable."""
    from backing.styles.load import check as check_style

    if not files:
        raise RequestError(
            "name the style files to check, such as: backing styles --check mine.toml"
        )
    return [(name, check_style(Path(name))) for name in files]
