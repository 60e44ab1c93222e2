"""Tracks to practise with: a chart as a series of passes, every one arranged and performed anew."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from backing.commands.naming import Words, changes, file_stem
from backing.commands.options import Options
from backing.commands.planned import NOTES, SHEET, SOUND, claim_all, stem_of, stems_of, targets
from backing.commands.preparing import Prepared, band, prepare
from backing.commands.progress import Progress, Warn, part, silent
from backing.commands.reading import read_chart
from backing.commands.writing import recorded, unseen, write_all
from backing.ground.errors import RequestError
from backing.ground.roles import ROLES
from backing.output.names import worded

if TYPE_CHECKING:
    from backing.output.sound.tags import Label
    from backing.performance.model import Performance
    from backing.timeline.model import Timeline
    from backing.timeline.passes import Pass


@dataclass(frozen=True, slots=True)
class Practice:
    """How a chart is to be practised, as typed on the command line."""

    ladder: str | None = None
    passes: int = 2
    through: str | None = None
    gap: str | None = None
    gap_plays: str = "nothing"
    split: bool = False


def rehearse(
    chart_path: Path,
    out: Sequence[Path],
    wish: Options,
    practice: Practice,
    progress: Progress = silent,
    warn: Warn = lambda d: None,
    tell: Callable[[str], None] = lambda line: None,
) -> list[Path]:
    """Write a track to practise with: every pass arranged and performed anew at its tempo, in its key.

    `tell` is given a line for each pass before anything is written.
    """

    paths = targets(chart_path, out, wish) if out else (_usual(chart_path, wish, practice),)
    tunes, title = tunes_of(chart_path, wish)
    if title:
        heard_alone(paths)
    tracks = _tracks(tunes, title, wish, practice, paths)
    planned = [
        p for performance, files, _ in tracks for p in (*files, *stems_of(performance, files, wish))
    ]
    claim_all(planned, [chart_path, *(tune.path for tune in tunes)], wish)
    drawn = any(path.suffix.lower() in SHEET for path in paths)
    for tune in tunes:
        for diagnostic in (*tune.prepared.warnings, *unseen(tune.prepared, [wish] * drawn)):
            warn(diagnostic)
    starts_s = () if practice.split else tracks[0][0].passes_s
    for line in told_tunes(tunes, practice, starts_s):
        tell(line)

    def write() -> list[Path]:
        written: list[Path] = []
        for i, (performance, files, label) in enumerate(tracks):
            own = part(progress, i, len(tracks))
            written += write_all(tunes[0].prepared, performance, files, wish, own, label)
        return written

    return recorded(planned, write)


class Rehearsed(NamedTuple):
    """A tune that is practised: its chart, ready, and how it is played."""

    path: Path
    prepared: Prepared
    wish: Options

    @property
    def title(self) -> str:
        return self.prepared.timeline.title or stem_of(self.path)


def tunes_of(path: Path, wish: Options) -> tuple[list[Rehearsed], str]:
    """The tune of a chart and no title, or the tunes of a list or a folder and its title. Raises as `prepare` does."""
    from backing.commands.book.listing import is_list, listing

    if not is_list(path):
        return [Rehearsed(path, prepare(read_chart(path, wish.reading), wish), wish)], ""
    found = listing(path, wish, "rehearse")
    tunes = [
        Rehearsed(t.path, prepare(read_chart(t.path, t.wish.reading), t.wish), t.wish)
        for t in found.tunes
    ]
    return tunes, found.title


def heard_alone(paths: Sequence[Path]) -> None:
    """Refuse files of a set that are read. Raises `RequestError`."""
    for path in paths:
        if path.suffix.lower() not in (*SOUND, *NOTES):
            raise RequestError(
                f"-o {path}: several charts are practised as sound and MIDI; backing book prints them"
            )


def _usual(chart_path: Path, wish: Options, practice: Practice) -> Path:
    """Where a track to practise with goes that was given no name: it says what is practised and how."""
    how = [name for _, name in asked(practice)]
    return Path(file_stem("-".join([stem_of(chart_path), "practice", *how]), wish) + ".mp3")


def asked(practice: Practice) -> list[Words]:
    """How a chart is practised, where it is not as usual: as a title says it, and as part of a name.

    >>> asked(Practice(ladder="80:120:5bpm", passes=1, gap="4:4", gap_plays="drums"))
    [('80 to 120 bpm by 5', '80-120-5bpm'), ('1 pass', '1-pass'), ('gaps 4:4 with drums', 'gaps-4-4-with-drums')]
    """
    found: list[Words] = []

    def add(words: str) -> None:
        found.append((words, worded(words.replace("#", " sharp"), "x")))

    if practice.ladder is not None:
        ladder = "".join(practice.ladder.split())
        steps = re.fullmatch(r"(\d+):(\d+):(\d+)(bpm)?", ladder)
        told = f"{steps[1]} to {steps[2]} {steps[4] or '%'} by {steps[3]}" if steps else ladder
        found.append(
            ("slow and full in turn" if ladder == "alternate" else told, worded(ladder, "x"))
        )
    if practice.passes != Practice().passes:
        add(f"{practice.passes} passes" if practice.passes != 1 else "1 pass")
    if practice.through is not None:
        add(f"through {practice.through}")
    if practice.gap is not None:
        plays = "" if practice.gap_plays == "nothing" else f" with {practice.gap_plays}"
        add(f"gaps {practice.gap}{plays}")
    return found


def _tracks(
    tunes: Sequence[Rehearsed],
    title: str,
    wish: Options,
    practice: Practice,
    paths: Sequence[Path],
) -> list[tuple[Performance, list[Path], Label]]:
    """What to write where, and what it is called; every pass apart is a track of the tune's album, or the set's.

    The passes by themselves are forgotten here once they are joined: an hour of them is big.
    """
    from backing.output.sound.tags import Label
    from backing.performance.session import joined

    performances: list[Performance] = []
    labels: list[str] = []
    for tune in tunes:
        played, own = practised(tune.prepared, tune.wish, practice)
        performances += played
        labels += [f"{tune.title}, {label}" if title else label for label in own]
    said = ["practice", *(words for words, _ in asked(practice)), *changes(wish)]
    album = f"{title or tunes[0].prepared.timeline.title or 'Untitled'} (practice)"
    if not practice.split:
        whole = joined(performances, labels)
        if title:
            whole = entitled(whole, title)
        return [(whole, list(paths), Label(changed=", ".join(said), album=album))]
    return [
        (
            performance,
            [path.with_stem(f"{path.stem}-{file_name(n, label, title)}") for path in paths],
            Label(changed=", ".join([label, *changes(wish)]), album=album, track=n, tracks=len(labels)),
        )
        for n, (performance, label) in enumerate(zip(performances, labels, strict=True), 1)
    ]  # fmt: skip


def entitled(performance: Performance, title: str) -> Performance:
    """A performance of several tunes, called as their set is."""
    arrangement = performance.arrangement
    timeline = arrangement.timeline._replace(title=title)
    return performance._replace(arrangement=arrangement._replace(timeline=timeline))


def file_name(number: int, label: str, title: str) -> str:
    """A pass as part of a file name; of a set with its number and its tune."""
    tune, _, own = label.rpartition(", ")
    return f"{number:02}-{worded(tune, 'tune')}-{file_label(own)}" if title else file_label(label)


def told_tunes(
    tunes: Sequence[Rehearsed], practice: Practice, starts_s: Sequence[float]
) -> list[str]:
    """The passes of every tune, under its title where there are several."""
    lines: list[str] = []
    at = 0
    for tune in tunes:
        found = passes_of(tune.prepared, practice)
        lines += [tune.title] if len(tunes) > 1 else []
        lines += told_passes(found, starts_s[at : at + len(found)])
        at += len(found)
    return lines


def told_passes(found: Sequence[Pass], starts_s: Sequence[float] = ()) -> list[str]:
    """A line for each pass: number, percentage, beats a minute, its key where keys go in turn, and where it starts."""
    from backing.timeline.passes import counted_bpm

    keyed = len({one.key for one in found}) > 1
    rows = [
        ("pass", "tempo", "bpm", *(["key"] if keyed else []), *(["starts"] if starts_s else []))
    ]
    for i, one in enumerate(found):
        percent = f"{round(float(one.tempo_percent), 1):g} %"
        bpm = f"{round(float(counted_bpm(one.timeline)), 1):g}"
        minutes, seconds = divmod(int(starts_s[i]) if starts_s else 0, 60)
        start = [f"{minutes}:{seconds:02d}"] if starts_s else []
        rows.append((f"{one.number}", percent, bpm, *([one.key.name] if keyed else []), *start))
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(c.rjust(w) for c, w in zip(row, widths, strict=True)) for row in rows]


def passes_of(prepared: Prepared, practice: Practice) -> tuple[Pass, ...]:
    """The passes that are asked for. Raises `RequestError`."""
    from backing.timeline.passes import passes, read_plan

    plan = read_plan(
        prepared.timeline.key,
        ladder=practice.ladder,
        times=practice.passes,
        through=practice.through,
        gap=practice.gap,
        gap_plays=practice.gap_plays,
    )
    return passes(prepared.timeline, plan)


def practised(
    prepared: Prepared, wish: Options, practice: Practice
) -> tuple[list[Performance], list[str]]:
    """Every pass performed, and its label. A pass has a seed of its own, so that no two are played alike.

    The arrangements of the passes hold no players.
    """
    found = passes_of(prepared, practice)
    in_gaps = (
        practice.gap is not None and practice.gap_plays == "click" and wish.band.click == "off"
    )
    performances = []
    for one in found:
        timeline = clicked_gaps(one.timeline) if in_gaps else one.timeline
        own = wish.changed(seed=wish.band.seed + one.number - 1)
        own = own.changed(click="beats") if in_gaps else own
        played = band(prepared._replace(timeline=timeline), own)
        # what each note was written for is no longer needed, and an hour of it is big
        performances.append(played._replace(arrangement=played.arrangement._replace(players=())))
    return performances, [one.label for one in found]


def clicked_gaps(timeline: Timeline) -> Timeline:
    """The click only where the band rests."""
    band_roles = frozenset(ROLES) - {"click"}
    return timeline._replace(
        bars=tuple(
            b._replace(players=band_roles) if b.players is None else b for b in timeline.bars
        ),
    )


def file_label(label: str) -> str:
    """A pass label as part of a file name: `3: 70 %` is `03-70`."""
    words = re.findall(r"[A-Za-z#]+|\d+(?:\.\d+)?", label)
    return "-".join([words[0].zfill(2), *words[1:]])
