"""Whatever is typed ends in a sentence and a documented exit code, never in a traceback.

The codes are this program's own list: 1 the chart or style is wrong, 2 the command is wrong, 4 a file could not be read
or written, 129 and 143 ended by SIGHUP and SIGTERM (128 and the signal's number, as shells say it).
"""

from __future__ import annotations

import os
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from backing import __main__ as outermost

TUNE = "title: Kettle\nkey: C major\ntempo: 150\nstyle: straight-ahead swing\n| C6 | G7 |\n"
BYTES = b"caf\xe9.txt"  # Latin-1, and no UTF-8


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(TUNE, "utf-8")
    Path(os.fsdecode(BYTES)).write_text(TUNE, "utf-8")
    Path("deep.toml").write_text("a = " + "[" * 20_000 + "]" * 20_000, "utf-8")
    Path("tables.toml").write_text("a = " + "{b=" * 20_000 + "1" + "}" * 20_000, "utf-8")
    Path("digits.toml").write_text("a = " + "1" * 200_000, "utf-8")
    Path("huge.toml").write_text("[tempo]\nlow = " + "9" * 4000, "utf-8")
    Path("long.toml").write_text("# \n" * 400_000, "utf-8")
    Path("styles").mkdir()
    Path("styles/zero.toml").symlink_to("/dev/zero")
    monkeypatch.setenv("BACKING_STYLES", str(tmp_path / "styles"))
    monkeypatch.setenv("PYTHONPATH", str(Path(outermost.__file__).parent.parent))


def shell(command: str) -> subprocess.CompletedProcess[bytes]:
    """A line of a shell in which `backing` is the program."""
    program = f'backing() {{ {shlex.quote(sys.executable)} -m backing "$@"; }}\n'
    return subprocess.run(["bash", "-c", program + command], capture_output=True, check=False, timeout=120)  # fmt: skip


@pytest.mark.parametrize(
    ("command", "code", "words"),
    [
        (r"backing make $'caf\xe9.txt' -o a.mid", 0, b"a.mid\n"),
        (r"backing make $'caf\xe9.txt' -o $'\xe9.mid'", 0, b"\xe9.mid\n"),
        (r"backing check $'\xe8.txt'", 4, b"there is no such file"),
        (r"backing check --json $'caf\xe9.txt'", 0, rb"caf\udce9.txt"),
        ("backing check - <&-", 4, b"standard input is closed"),
        ("backing check tune.txt >/dev/full", 4, b"standard output cannot be used: No space left"),
        ("backing styles >/dev/full", 4, b"standard output cannot be used: No space left"),
        ("backing check none.txt 2>&-", 4, b""),
        ("backing check none.txt 2>/dev/full", 4, b""),
        ("backing check tune.txt 2>&-", 0, b"C major"),
        ("backing make tune.txt -o a.mid <&- >&- 2>&-", 0, b""),
        ("backing styles | head -n 1; exit ${PIPESTATUS[0]}", 0, b""),
        ("backing styles --check deep.toml", 1, b"nested too deeply"),
        ("backing styles --check tables.toml", 1, b"nested too deeply"),
        ("backing styles --check digits.toml", 1, b"too many digits"),
        ("backing styles --check huge.toml", 1, b"far too big"),
        ("backing styles --check long.toml", 4, b"longer than 1 MB"),
        ("backing styles --check /dev/zero", 4, b"this is no plain file"),
        ("backing styles --check .", 4, b"this is a folder"),
        ("backing styles zero", 2, b"there is no style 'zero'; did you mean 'bolero'"),
        ("backing make tune.txt --style styles/zero.toml", 4, b"this is no plain file"),
        ("backing check /dev/zero", 1, b"not a chart in plain text"),
        ("ulimit -v 300000; backing make tune.txt -o a.wav", 4, b"may take 307 MB of memory"),
        ("ulimit -v 300000; backing make tune.txt -o a.pdf", 4, b"raise the limit, or make .mid"),
        ("ulimit -v 300000; backing make tune.txt -o a.mid", 0, b"a.mid"),
    ],
)  # fmt: skip
def test_it_ends_in_a_sentence_and_its_exit_code(command: str, code: int, words: bytes) -> None:
    done = shell(command)
    said = done.stdout + done.stderr
    assert done.returncode == code, said
    assert words in said
    assert b"Traceback" not in said
    assert b"fault of the program" not in said


def test_a_closed_stream_is_not_taken_for_a_file() -> None:
    """With 0, 1 and 2 closed the first file opened would be number 0, and messages would land in one of them."""
    assert shell("backing make tune.txt -o a.mid <&- >&- 2>&-").returncode == 0
    assert Path("a.mid").read_bytes().startswith(b"MThd")


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (OSError(28, "No space left on device"), 4, "standard output cannot be used: No space"),
        (OSError(5, "Input/output error", "a.wav"), 4, "a.wav cannot be used: Input/output error"),
        (MemoryError(), 4, "not enough memory"),
        (RecursionError(), 1, "nested too deeply"),
        (KeyboardInterrupt(), 130, "interrupted"),
        (KeyError("x"), 1, "a fault of the program itself, please report it: KeyError: 'x' ("),
    ],
)
def test_what_nobody_answers_below_is_answered_at_the_outermost_floor(
    error: BaseException, code: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    def failing() -> int:
        raise error

    assert outermost.guarded(failing) == code
    assert words in capsys.readouterr().err


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_puts_everything_away(number: signal.Signals) -> None:
    """As Ctrl-C does; the old file is whole."""
    Path("a.mp3").write_bytes(b"made earlier")
    command = [sys.executable, "-m", "backing", "make", "tune.txt", "-o", "a.mp3", "--force"]
    process = subprocess.Popen([*command, "--length", "3:00"], stderr=subprocess.PIPE)
    held = f"{Path.cwd()}/"
    while not any(  # until it works beside the target
        str(link.readlink()).startswith(held)
        for link in Path(f"/proc/{process.pid}/fd").iterdir()
        if link.is_symlink()
    ):
        assert process.poll() is None
        time.sleep(0.05)
    process.send_signal(number)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 128 + number
    assert b"ended by a signal; every file is whole" in said
    assert b"Traceback" not in said
    assert Path("a.mp3").read_bytes() == b"made earlier"
    assert not [p.name for p in Path().iterdir() if p.name.startswith(".")]


def test_under_nohup_a_hangup_is_not_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        outermost.listen()
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
