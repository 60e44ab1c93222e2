"""The same chart and options give the same bytes: in two runs, folders and locales, on one core and on all."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import backing
from backing.commands.planned import ENDINGS
from backing.output.jobs import digest_of

TUNE = (
    "title: Kettle ♭ é\nkey: C major\ntempo: 300\nstyle: straight-ahead swing\n[A]\n| C6 | G7 |\n"
)
CHOICES = "[lesson]\nspeeds = [100]\nloops = false\n"


@pytest.mark.slow
def test_every_kind_of_file_has_the_same_bytes_everywhere(tmp_path: Path) -> None:
    runs = {}
    cores = sorted(os.sched_getaffinity(0))
    for name, locale, used in (
        ("one", "C", cores[:1]),
        ("a second folder", "C.UTF-8", cores),
        ("a third one, é", "POSIX", cores),
    ):
        runs[name] = made(tmp_path / name, locale, set(used))
    first = runs["one"]
    assert len(first) == len(ENDINGS) + 1
    wrong = [(n, f) for n, files in runs.items() for f in first if files.get(f) != first[f]]
    assert not wrong


def made(folder: Path, locale: str, cores: set[int]) -> dict[str, str]:
    """Every kind of file, made in a process of its own, by name and digest."""
    folder.mkdir()
    (folder / "tune.txt").write_text(TUNE, "utf-8")
    (folder / "c.toml").write_text(CHOICES, "utf-8")
    home = str(Path(backing.__file__).parent.parent)
    environment = {
        **os.environ,
        "LC_ALL": locale,
        "PYTHONPATH": home,
        "PYTHONHASHSEED": str(len(locale)),
    }
    outputs = [part for ending in ENDINGS for part in ("-o", f"made{ending}")]
    for arguments in (
        ["make", "tune.txt", *outputs],
        ["lesson", "tune.txt", "-o", "made.zip", "--choices", "c.toml"],
    ):
        subprocess.run(
            [sys.executable, "-m", "backing", *arguments, "-q"],
            cwd=folder, env=environment, check=True, stdout=subprocess.DEVNULL,
            preexec_fn=lambda: os.sched_setaffinity(0, cores),
        )  # fmt: skip
    return {p.name: digest_of(p) for p in folder.glob("made*")}
