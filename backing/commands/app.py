"""The pipeline as one call: a chart in, files out. Nothing here prints.

text ─parse─▶ Chart ─unroll─▶ Timeline ─arrange─▶ Arrangement ─perform─▶ Performance ─▶ files
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from backing.commands.options import Options
from backing.commands.planned import CHARTS, SHEET, claim_all, stems_of, targets, unheard
from backing.commands.preparing import band, check_players, once, prepare
from backing.commands.progress import Progress, Warn, silent
from backing.commands.reading import read_chart
from backing.commands.writing import recorded, unseen, write_all, write_written

if TYPE_CHECKING:
    from backing.chart.ast import Chart


def make(
    chart_path: Path,
    out: Sequence[Path],
    wish: Options,
    progress: Progress = silent,
    warn: Warn = lambda d: None,
) -> list[Path]:
    """Write every file that is asked for; returns the paths in order."""
    paths = targets(chart_path, out, wish)
    wanted = unheard(paths, wish) and all(path.suffix.lower() in CHARTS for path in paths)
    chart = read_chart(chart_path, wish.reading, wanted=wanted)
    return make_chart(chart, paths, [chart_path], wish, progress, warn)


def make_chart(
    chart: Chart,
    paths: Sequence[Path],
    sources: Sequence[Path],
    wish: Options,
    progress: Progress,
    warn: Warn,
) -> list[Path]:
    """Write every file that is asked for of a chart that was read from `sources`; returns the paths in order."""
    claim_all(paths, sources, wish)
    quiet = unheard(paths, wish)
    prepared = prepare(chart, once(wish) if quiet else wish)
    sheets = [wish] if any(path.suffix.lower() in SHEET for path in paths) else []
    for diagnostic in (*prepared.warnings, *unseen(prepared, sheets)):
        warn(diagnostic)
    if quiet:
        check_players(prepared, wish)
        return recorded(
            paths, lambda: [page for path in paths for page in write_written(prepared, path, wish)]
        )
    performance = band(prepared, wish)
    planned = [*paths, *stems_of(performance, paths, wish)]
    claim_all(planned, sources, wish)
    return recorded(planned, lambda: write_all(prepared, performance, paths, wish, progress))
