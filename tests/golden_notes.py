"""The notes of every demo at seed 1, bar by bar: a check that a change meant to leave the music alone does.

A page holds a row a bar and a column a player; a cell is the number of notes that begin in the bar and a digest of all
that they are but the reason in words (empty where there are none). The last row is what is performed of each player, in
microseconds. Where the notes were changed on purpose, or two branches changed them,

    python -m tests.golden_notes

writes the pages anew and lists every bar that differs: read the list before keeping it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from hashlib import blake2b
from itertools import groupby
from pathlib import Path

from backing.band.model import Note
from backing.performance.perform import perform
from tests.band import DEMOS, demo

FOLDER = Path(__file__).parent / "golden" / "notes"
PERFORMED = "performed"

Page = dict[str, dict[str, str]]  # row -> player -> cell


def notes_path(name: str) -> Path:
    return FOLDER / f"{name}.tsv"


def _digest(things: Iterable[object]) -> str:
    return blake2b("\n".join(map(repr, things)).encode(), digest_size=3).hexdigest()


def _sounding(note: Note) -> tuple[object, ...]:
    """Everything about a note but why it is there and which chord of the timeline it counts to."""
    return (
        str(note.start_q), str(note.end_q), note.pitch, note.velocity, note.degree, note.order,
        f"{note.spread_ms:.3f}", note.strict, note.string, note.fret,
    )  # fmt: skip


def page(name: str) -> Page:
    """The cells of a demo; the row of a bar is its place in the order of play, 0 for what begins before the first."""
    arrangement = demo(name)
    starts = [bar.start_q for bar in arrangement.timeline.bars]
    found: Page = {str(row): {} for row in range(len(starts) + 1)}
    for player in arrangement.players:
        bars: dict[int, list[Note]] = defaultdict(list)
        for note in player.notes:
            bars[bisect_right(starts, note.start_q)].append(note)
        for bar, notes in bars.items():
            found[str(bar)][player.role] = f"{len(notes)} {_digest(map(_sounding, notes))}"
    found[PERFORMED] = {
        player.role: _digest(
            (round(n.onset_s * 1e6), round(n.release_s * 1e6), n.pitch, n.velocity)
            for n in player.notes
        )
        for player in perform(arrangement).players
    }
    return found


def written(found: Page) -> str:
    """A page as text, tab-separated."""
    roles = list(found[PERFORMED])
    rows = [["bar", *roles]]
    rows += [[bar, *(cells.get(role, "") for role in roles)] for bar, cells in found.items()]
    return "".join("\t".join(row) + "\n" for row in rows)


def kept(name: str) -> Page:
    """The page as it was written last; empty where there is none."""
    if not notes_path(name).exists():
        return {}
    head, *rows = [line.split("\t") for line in notes_path(name).read_text("utf-8").splitlines()]
    return {
        bar: {role: cell for role, cell in zip(head[1:], cells, strict=True) if cell}
        for bar, *cells in rows
    }


def changes(before: Page, after: Page) -> list[str]:
    """Every bar that differs, a line a player: `bass: bars 3-5, 17`; what changed in performance only is said so."""
    said = []
    for role in dict.fromkeys(
        role for page in (before, after) for cells in page.values() for role in cells
    ):
        rows = [
            bar
            for bar in dict.fromkeys([*before, *after])
            if before.get(bar, {}).get(role) != after.get(bar, {}).get(role)
        ]
        bars = [int(bar) for bar in rows if bar != PERFORMED]
        if bars:
            said.append(f"{role}: bars {_ranges(bars)}")
        elif rows:
            said.append(f"{role}: the same notes, performed otherwise")
    return said


def _ranges(numbers: list[int]) -> str:
    """`3-5, 17`."""
    runs = [
        [number for _, number in run]
        for _, run in groupby(enumerate(numbers), key=lambda item: item[1] - item[0])
    ]
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in runs)


def main() -> None:
    """Write every page and list what changed."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name in [path.stem for path in DEMOS]:
        found = page(name)
        for line in changes(kept(name), found):
            print(f"{name}: {line}")
        notes_path(name).write_text(written(found), "utf-8")


if __name__ == "__main__":
    main()
