"""A stop after any file operation loses nothing: old files are whole, and the next run ends what was begun.

The stops are made as SQLite makes its own (see `tests/stopping.py`): the process ends at once, and what was not synced
is spoiled. "Whole" is byte for byte the old file or the new one.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.stopping import STOPPED, command, digests, in_process, report

# All stops of a lesson take minutes: `STOP_EVERY=1 pytest -m slow tests/test_stops.py` makes every one of them.
EVERY = int(os.environ.get("STOP_EVERY", "41"))

TUNE = "title: Kettle\nkey: C major\ntempo: 300\nstyle: straight-ahead swing\n[A]\n| C6 | G7 |\n"
OTHER = TUNE.replace("C6", "F6")
FORM = "--only bass --count-in off --ending short"
CHOICES = "[lesson]\nspeeds = [100]\nwithout = false\nstems = false\nloops = false\npage = false\n"

# what is run, and what lies there before beside the charts
COMMANDS = {
    "lesson, new folder": ("lesson tune.txt -o L --choices c.toml", ""),
    "lesson, renewed folder": ("lesson tune.txt -o L --choices c.toml", "lesson other.txt -o L --choices c.toml"),
    "lesson, new ZIP": ("lesson tune.txt -o l.zip --choices c.toml", ""),
    "lesson, renewed ZIP": ("lesson tune.txt -o l.zip --choices c.toml", "lesson other.txt -o l.zip --choices c.toml"),
    "book, renewed": ("book b.list -o B --make book,mid --workers 1", "book b.list -o B --make book,mid --workers 1"),
    "make": ("make tune.txt -o t.mp3 -o t.wav -o t.mid -o t.pdf -o t.json", "make other.txt -o t.mp3 -o t.wav -o t.mid -o t.pdf -o t.json"),
    "rehearse": ("rehearse tune.txt -o p.ogg -o p.mid --ladder 100:100:5 --split", "rehearse other.txt -o p.ogg -o p.mid --ladder 100:100:5 --split"),
}  # fmt: skip


@pytest.fixture
def before(tmp_path: Path) -> Path:
    folder = tmp_path / "before"
    folder.mkdir()
    (folder / "tune.txt").write_text(TUNE, "utf-8")
    (folder / "other").mkdir()
    (folder / "other.txt").write_text(OTHER, "utf-8")
    (folder / "c.toml").write_text(CHOICES, "utf-8")
    (folder / "b.list").write_text("tune.txt\n", "utf-8")
    return folder


def arguments(line: str) -> list[str]:
    return f"{line} {FORM} --quiet".split()


@pytest.mark.slow
def test_a_stop_of_a_small_command_loses_nothing(before: Path, tmp_path: Path) -> None:
    line = "make tune.txt -o t.mid -o t.wav"
    assert not tried(line, line.replace("tune.txt", "other.txt"), before, tmp_path, 1)


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_a_stop_after_any_file_operation_loses_nothing(
    name: str, before: Path, tmp_path: Path
) -> None:
    assert not tried(*COMMANDS[name], before, tmp_path, EVERY)


def tried(line: str, earlier: str, before: Path, folder: Path, step: int) -> list[str]:
    """What went wrong in any stop of a command; `earlier` has made the old files, from another chart of that name."""
    folder.mkdir(exist_ok=True)
    if earlier:
        shutil.copy(before / "other.txt", before / "tune.txt")
        again = earlier.replace("other.txt", "tune.txt")
        assert in_process(command(arguments(again), before)) == 0
        (before / "tune.txt").write_text(TUNE, "utf-8")
    old = digests(before)
    shutil.copytree(before, folder / "new")
    assert in_process(command(arguments(line), folder / "new")) == 0
    new = digests(folder / "new")
    found = report(before, folder / "work", arguments(line), step)
    assert [told["code"] for told in found] == [STOPPED] * (len(found) - 1) + [0]
    assert len(found) * step > 10
    print(f"{line}: {len(found) - 1} stops")
    return [
        f"{line}, stop {told['stop']}: {fault}"
        for told in found
        for fault in faults(told, old, new)
    ]


def faults(told: dict[str, Any], old: dict[str, str], new: dict[str, str]) -> list[str]:
    """What is wrong after a stop, and after the next run."""
    wrong = []
    stopped, after = seen(told["stopped"]), told["after"]
    for path, digest in seen(old).items():
        if stopped.get(path) not in (digest, new.get(path)):
            wrong.append(f"{path} is lost")
    for path, digest in stopped.items():
        if digest not in (old.get(path), new.get(path), "/"):
            wrong.append(f"{path} is half")
    if told["again"] != 0:
        wrong.append("the next run failed")
    if seen(after) != seen(new) or after.keys() != new.keys():
        wrong.append(f"the next run did not end it: {sorted(after.keys() ^ new.keys())}")
    return wrong


def seen(files: dict[str, str]) -> dict[str, str]:
    """Without what is hidden: the log, whose rows tell times, and work folders."""
    return {p: d for p, d in files.items() if not any(n.startswith(".") for n in p.split("/"))}
