"""The work for one tune, wherever it is done: from its chart and styles, sent along as data, to its files.

Conventions: what is sent knows nothing of the disk that it came from, but for the soundfont's place. Every version of a
tune (a key, a tempo) is played once, for all of its files. Beside those there are hidden ones, from which the books are
put together: what is told of the tune (`facts`), and its sheet laid out (`marks`), as JSON.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.options import Options
from backing.commands.planned import SOUND
from backing.commands.preparing import Prepared, band, moved_chart, prepare
from backing.commands.progress import Progress
from backing.commands.writing import shown_tempo, write_all, write_sheet, write_written

if TYPE_CHECKING:
    from backing.chart.ast import Chart
    from backing.ground.source import Diagnostic
    from backing.output.sheet.write import Laid
    from backing.output.sound.tags import Label
    from backing.performance.model import Performance
    from backing.styles.model import Style

PLAYED = (*SOUND, ".mid", ".json", ".vtt", ".html")


class Work(NamedTuple):
    """A version of a tune by content: the bytes of its chart and their name, its styles by the names that it has for them.

    `sheets` are the instruments of printed files by path, `facts` and `marks` hidden files by path, `lesson` a lesson's;
    `long` is whether the facts tell its length.
    """

    data: bytes
    name: str
    styles: Mapping[str, Style]
    wish: Options
    label: Label
    sheets: Mapping[str, str]
    facts: str = ""
    marks: Mapping[str, str] = {}
    lesson: str = ""
    long: bool = False

    def chart(self) -> Chart:
        """The chart, read anew. Raises `ChartError`, `RequestError`."""
        from backing.reading.opened import opened

        return opened(self.data, self.name, self.wish.reading)


def make_tune(
    work: Work, folder: Path, wanted: frozenset[str], progress: Progress
) -> tuple[Diagnostic, ...]:
    """Make the files that are wanted; returns the warnings. Raises `BackingError`."""
    from backing.styles.find import lent

    with lent(work.styles):
        prepared = prepare(work.chart(), work.wish)
        hidden = {work.facts, work.lesson, *work.marks, *work.sheets}
        paths = [folder / path for path in sorted(wanted - hidden)]
        played = None
        if (work.long and (work.facts in wanted)) or any(path.suffix in PLAYED for path in paths):
            played = band(prepared, work.wish)
        if work.facts in wanted:
            _put(folder / work.facts, facts(prepared, played if work.long else None))
        for name, sheet in work.marks.items():
            if name in wanted:
                _put(folder / name, marks(prepared, for_sheet(work.wish, sheet)))
        for name, sheet in work.sheets.items():
            if name in wanted:
                write_sheet(prepared, folder / name, for_sheet(work.wish, sheet))
        if played is not None:
            write_all(prepared, played, paths, work.wish, progress, work.label)
        else:
            for path in paths:
                write_written(prepared, path, work.wish)
        for path in paths:
            if path.suffix == ".mp3":
                number(path, work.label)
        if work.lesson in wanted:
            make_lesson(work, prepared, folder / work.lesson, progress)
    return prepared.warnings


def number(path: Path, label: Label) -> None:
    """Say in an MP3 where in the album it stands."""
    from backing.output.sound.id3 import numbered

    numbered(path, label.album, f"{label.track}/{label.tracks}")


def renumber(
    old: Path, label: Label, folder: Path, wanted: frozenset[str], progress: Progress
) -> None:
    """Make an MP3 of the one that is there, with another place in the album."""
    (path,) = wanted
    (folder / path).write_bytes(old.read_bytes())
    number(folder / path, label)


def make_lesson(work: Work, prepared: Prepared, place: Path, progress: Progress) -> None:
    """A lesson with what is usual in it, as a ZIP."""
    from backing.commands.choices import Choices
    from backing.commands.lesson import fill_lesson
    from backing.output import bundle

    stem = Path(work.lesson).stem
    with bundle.opened(place, force=False) as store:
        fill_lesson(store, prepared, stem, work.wish, Choices(), (), progress)


def for_sheet(wish: Options, sheet: str) -> Options:
    """The options of a sheet for an instrument."""
    return wish.changed(transposing=None if sheet == "concert" else sheet)


def facts(prepared: Prepared, played: Performance | None) -> dict[str, object]:
    """What the lists of a book tell of a tune; `bpm` as it is counted, the length where its sound is made."""
    from backing.timeline.passes import counted_bpm

    timeline = prepared.timeline
    return {
        "title": timeline.title, "by": timeline.by, "key": timeline.bars[0].key.name,
        "style": prepared.style.name, "bpm": round(float(counted_bpm(timeline))),
        "length_s": None if played is None else round(played.duration_s, 3),
    }  # fmt: skip


def marks(prepared: Prepared, wish: Options) -> Laid:
    """The sheet of a tune laid out: every mark of each page, and the letters that are in them."""
    from backing.output.sheet.write import laid_out

    return laid_out(
        moved_chart(prepared.chart, wish),
        style=prepared.style.name,
        tempo=shown_tempo(prepared, wish),
        paper=wish.paper,
    )


def _put(path: Path, told: object) -> None:
    text = json.dumps(told, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    path.write_text(text + "\n", "utf-8")


__all__ = ["Work", "make_tune", "renumber"]
