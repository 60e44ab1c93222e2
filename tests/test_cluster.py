"""Books on a Dask cluster: a real scheduler and two workers on this machine; bytes as from this machine alone.

Marked `libraries`: the cluster takes seconds to start.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from backing.commands.cli import run
from backing.ground.errors import OutputError
from backing.output import cluster
from backing.output.crew import KILLED, Task
from tests.books import ends, leaves, library, seen
from tests.each import each

pytestmark = pytest.mark.libraries


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    """A scheduler and two workers with a nurse each; gone after the tests, with all their processes."""
    import dask
    from distributed import LocalCluster

    calm = {"distributed.scheduler.allowed-failures": 1}
    with (
        dask.config.set(calm),
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            silence_logs=50,
        ) as started,
    ):
        yield started.scheduler_address


def test_the_bytes_are_those_of_this_machine_alone(
    scheduler: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    source = library(Path("charts"), 5, 1)
    Path("charts/tune004.txt").write_text("title: Broken\n| Xyz |\n", "utf-8")
    line = f"book {source} --make book,mid --sheets concert,Bb --quiet".split()
    assert run([*line, "-o", "here", "--workers", "1"]) == 1
    said = capsys.readouterr().err
    assert run([*line, "-o", "there", "--scheduler", scheduler]) == 1
    assert capsys.readouterr().err == said
    assert said.count("E505") == 1
    assert "album/tune000.mp3" in seen(Path("here"))
    assert seen(Path("there")) == seen(Path("here"))


class Gate:
    """A task that says which process does it, and waits to be let on, through two pipes."""

    def __init__(self, place: Path) -> None:
        self.place = str(place)

    def __call__(self, folder: Path, wanted: frozenset[str], progress: object) -> int:
        with Path(self.place, "pid").open("w") as pipe:
            pipe.write(str(os.getpid()))
        with Path(self.place, "gate").open() as pipe:
            pipe.read()
        return os.getpid()


def test_a_lost_worker_s_task_is_done_again(scheduler: str, tmp_path: Path) -> None:
    """The worker is killed while it waits inside the task; another one takes it over."""
    from threading import Thread

    os.mkfifo(tmp_path / "pid")
    os.mkfifo(tmp_path / "gate")
    killed: list[int] = []

    def kill_the_first() -> None:
        killed.append(int((tmp_path / "pid").read_text("ascii")))
        os.kill(killed[0], signal.SIGKILL)
        killed.append(int((tmp_path / "pid").read_text("ascii")))
        (tmp_path / "gate").write_text("on", "ascii")

    killer = Thread(target=kill_the_first, daemon=True)
    killer.start()
    with cluster.connected(scheduler, None) as crew:
        (done,) = crew([Task("one", "waits", Gate(tmp_path), tmp_path, frozenset())])
    killer.join()
    assert done.failure is None
    assert done.told == killed[1]
    assert killed[0] != killed[1]


def test_a_task_that_ends_its_workers_is_named_and_the_others_are_done(
    scheduler: str, tmp_path: Path
) -> None:
    tasks = [
        Task(f"{n}", f"ends-{n}", ends if n == 1 else leaves, tmp_path, frozenset())
        for n in range(3)
    ]
    with cluster.connected(scheduler, None) as crew:
        done = {one.task.name: one for one in crew(tasks)}
    assert [done[n].told for n in ("0", "2")] == ["done", "done"]
    assert str(done["1"].failure) == KILLED


@each(
    ("name", "value", "words"),
    [("numpy", "1.0", "numpy 1.0 (here "), ("soundfont", "other", "soundfont other (here "), ("program", "0.0", "program 0.0")],
)  # fmt: skip
def test_a_worker_with_another_version_is_refused(name: str, value: str, words: str) -> None:
    here = cluster.versions(None)
    cluster.alike("tcp://a:1", here, dict(here))
    with pytest.raises(OutputError) as wrong:
        cluster.alike("tcp://a:1", here, {**here, name: value})
    assert str(wrong.value).startswith(
        "tcp://a:1 would make other files than this machine: it has "
    )
    assert words in str(wrong.value)
    assert str(wrong.value).endswith("install the same there as here")


def test_a_cluster_of_other_versions_is_refused_before_any_work(
    scheduler: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    source = library(Path("charts"), 2)
    monkeypatch.setattr(cluster, "VERSION", "0.0.1")
    cluster.versions.cache_clear()
    try:
        assert run(["book", str(source), "-o", "out", "--scheduler", scheduler]) == 4
    finally:
        cluster.versions.cache_clear()
    assert "(here 0.0.1 " in capsys.readouterr().err
    assert not Path("out").exists()


def test_an_address_where_nobody_answers_is_one_sentence(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "ANSWER_S", 0.2)
    source = library(tmp_path / "charts", 1)
    out = str(tmp_path / "out")
    assert run(["book", str(source), "-o", out, "--scheduler", "tcp://127.0.0.1:1"]) == 4
    said = capsys.readouterr().err
    assert said.startswith("backing: --scheduler tcp://127.0.0.1:1: nobody answers there")
    assert said.count("\n") == 1
