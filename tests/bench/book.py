"""A library of two hundred charts as a book: first run, second, one chart changed, one broken, killed, two workers.

Run: `python -m tests.bench.book [COUNT] [first|killed|workers|cluster …]`; figures are ratios to the first run of the same process, and seconds
beside them. MIDI and a sheet for every tune, MP3 for a tenth of them, and the printed book.
"""

from __future__ import annotations

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.books import library, seen

ROOT = Path(__file__).parent.parent.parent
KILLS = 20


def started(folder: Path, *more: str) -> subprocess.Popen[str]:
    """The command at work."""
    command = [sys.executable, "-m", "backing", "book", "charts/book.list", "-o", "out", *more]
    own = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "BACKING_SOUNDFONT": os.environ.get("BACKING_SOUNDFONT", ""),
    }
    return subprocess.Popen(
        command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=own,
        start_new_session=True,
    )  # fmt: skip


def worked() -> float:
    """Seconds that processors have worked for what was started here."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def run(folder: Path, *more: str) -> tuple[float, int, str, str]:
    """Seconds, exit code and what was said."""
    begun = time.perf_counter()
    work = started(folder, *more)
    out, err = work.communicate()
    return time.perf_counter() - begun, work.returncode, out.strip(), err.strip()


def times(place: Path) -> dict[str, int]:
    """When every file was last written."""
    return {
        str(p.relative_to(place)): p.stat().st_mtime_ns for p in place.rglob("*") if p.is_file()
    }


def first(folder: Path, count: int) -> None:
    """First run, second, one chart changed, one broken."""
    at = worked()
    once, code, out, err = run(folder)
    first_cpu = worked() - at
    print(f"first run: {once:.1f} s ({first_cpu:.1f} s of processors), exit {code}: {out} {err}")
    before = times(folder / "out")
    at = worked()
    again, code, out, _ = run(folder)
    cpu = worked() - at
    wrote = [p for p, t in times(folder / "out").items() if before.get(p) != t]
    print(
        f"second run: {again:.2f} s, {100 * again / once:.2f} % of the first; {cpu:.2f} s of processors, {100 * cpu / first_cpu:.2f} %; exit {code}, wrote {wrote}: {out}"
    )
    chart = folder / "charts" / f"tune{count // 2:03}.txt"
    chart.write_text(chart.read_text("utf-8").replace("ending: short", "ending: ring"), "utf-8")
    before = times(folder / "out")
    changed, code, out, _ = run(folder)
    wrote = sorted(p for p, t in times(folder / "out").items() if before.get(p) != t)
    print(f"one chart changed: {changed:.2f} s, exit {code}, wrote {wrote}")
    good = chart.read_text("utf-8")
    chart.write_text(good + "| Xyz |\n", "utf-8")
    shutil.rmtree(folder / "out")
    _, code, out, err = run(folder)
    print(f"one broken of {count}: exit {code}: {out}\n{err}")
    print(f"sheets: {len(list((folder / 'out' / 'sheets').iterdir()))}")
    chart.write_text(good, "utf-8")


def killed(folder: Path, count: int) -> None:
    """Killed at random moments, the whole group of processes; then run to the end, and compared with a run by itself."""
    shutil.rmtree(folder / "out", ignore_errors=True)
    once, *_ = run(folder)
    whole = seen(folder / "out")
    shutil.rmtree(folder / "out")
    dice = random.Random(1)
    moments = sorted(dice.uniform(0.3, once / 2) for _ in range(KILLS))
    half = 0
    for moment in dice.sample(moments, KILLS):
        work = started(folder)
        try:
            work.communicate(timeout=moment)
        except subprocess.TimeoutExpired:
            os.killpg(work.pid, signal.SIGKILL)
            work.communicate()
        there = seen(folder / "out") if (folder / "out").exists() else {}
        composed = ("index.html", "contents.json")
        half += sum(data != whole.get(path) for path, data in there.items() if path not in composed and not path.startswith("album/By"))  # fmt: skip
    _, code, out, err = run(folder)
    lost = {p for p, data in whole.items() if seen(folder / "out").get(p) != data}
    left = [p.name for p in (folder / "out").iterdir() if p.name.endswith(".part")]
    print(
        f"killed {KILLS} times: {half} files half, exit {code}, differ {sorted(lost)}, left over {left}: {out} {err}"
    )


def workers(folder: Path, count: int) -> None:
    """One worker and two, three times in turn."""
    figures: dict[str, list[float]] = {"1": [], "2": []}
    for _ in range(3):
        for number, found in figures.items():
            shutil.rmtree(folder / "out", ignore_errors=True)
            found.append(run(folder, "--workers", number)[0])
    one, two = (min(found) for found in figures.values())
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
    print(
        f"1 worker {one:.1f} s, 2 workers {two:.1f} s: ratio {two / one:.2f}; the largest process {most} MB"
    )


def cluster(folder: Path, count: int) -> None:
    """All tunes in three keys through a scheduler and two workers on this machine, and the same bytes from one process."""
    listed = folder / "charts" / "book.list"
    listed.write_text("\n".join(f"tune{n:03}.txt" for n in range(count)) + "\n", "utf-8")
    more = ("--make", "mid,pdf", "--keys", "C F Bb")
    own = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
    }
    file = str(folder / "scheduler.json")
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": own}
    dask = [sys.executable, "-m", "dask"]
    places = ["--scheduler-file", file, "--no-dashboard"]
    with subprocess.Popen([*dask, "scheduler", "--port", "0", *places], **quiet) as scheduler:  # type: ignore[call-overload]
        with subprocess.Popen(
            [*dask, "worker", "--nworkers", "2", "--nthreads", "1", *places], **quiet
        ) as crew:  # type: ignore[call-overload]
            from distributed import Client

            with Client(scheduler_file=file) as client:
                client.wait_for_workers(2)
                address = client.scheduler_info()["address"]
            shutil.rmtree(folder / "out", ignore_errors=True)
            far, code, out, err = run(folder, *more, "--scheduler", address)
            there = seen(folder / "out")
            crew.terminate()
        scheduler.terminate()
    shutil.rmtree(folder / "out")
    near, *_ = run(folder, *more, "--workers", "2")
    same = seen(folder / "out") == there
    print(
        f"cluster: {far:.1f} s, two processes {near:.1f} s, ratio {far / near:.2f}, exit {code}: {out} {err}; same bytes: {same}"
    )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with TemporaryDirectory() as place:
        folder = Path(place)
        library(folder / "charts", count, count // 10)
        for name in sys.argv[2:] or ("first", "killed", "workers"):
            {"first": first, "killed": killed, "workers": workers, "cluster": cluster}[name](
                folder, count
            )
