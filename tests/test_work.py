"""Work folders belong to whoever holds their lock, and to nobody else's process number."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from backing.output import work
from backing.output.work import LOCK, remove_stale, work_folder

LEFT = """\
import os, sys
from pathlib import Path
from backing.output.work import work_folder
with work_folder(Path(sys.argv[1])) as folder:
    (folder / "half").write_text("half")
    (folder / "more").mkdir()
    (folder / "more" / "quarter").write_text("")
    os._exit(9)
"""


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def left_behind(target: Path) -> Path:
    """A work folder of a process that was killed in it."""
    before = set(target.parent.iterdir())
    home = str(Path(work.__file__).parents[2])
    environment = {**os.environ, "PYTHONPATH": home}
    done = subprocess.run([sys.executable, "-c", LEFT, str(target)], check=False, env=environment)
    assert done.returncode == 9
    (left,) = set(target.parent.iterdir()) - before
    return left


def test_a_folder_lasts_as_long_as_the_block(tmp_path: Path) -> None:
    with work_folder(tmp_path / "a.mid") as folder:
        (folder / "b").write_text("x")
        assert folder.parent == tmp_path
        assert folder.name.startswith(".")
    assert names(tmp_path) == []


def test_what_a_killed_process_left_goes_with_the_next_work_on_the_same_file(
    tmp_path: Path,
) -> None:
    left_behind(tmp_path / "a.mid")
    with work_folder(tmp_path / "other.mid"):
        assert len(names(tmp_path)) == 2
    with work_folder(tmp_path / "a.mid"):
        assert len(names(tmp_path)) == 1
    assert names(tmp_path) == []


def test_a_folder_in_use_is_left_alone_whatever_its_number(tmp_path: Path) -> None:
    with work_folder(tmp_path / "a.mid") as one, work_folder(tmp_path / "a.mid") as two:
        assert one != two
        assert remove_stale(tmp_path / "a.mid") == []
        assert one.is_dir()


def test_somebody_elses_folder_of_such_a_name_stays(tmp_path: Path) -> None:
    """A process number is used again; only our lock in it makes a folder ours."""
    foreign = tmp_path / f".a.mid.{os.getpid()}-1.part"
    foreign.mkdir()
    (foreign / "diary").write_text("mine")
    locked = tmp_path / ".a.mid.77-1.part"
    locked.mkdir()
    (locked / LOCK).write_text("a lock of another program")
    link = tmp_path / ".a.mid.78-1.part"
    link.symlink_to(foreign)
    with work_folder(tmp_path / "a.mid") as folder:
        assert folder not in (foreign, locked, link)
    assert names(tmp_path) == sorted([foreign.name, locked.name, link.name])
    assert (foreign / "diary").read_text() == "mine"


def test_a_stop_before_the_lock_was_made_or_written_leaves_nothing_for_ever(tmp_path: Path) -> None:
    (tmp_path / ".a.mid.1-1.part").mkdir()
    (tmp_path / ".a.mid.1-2.part").mkdir()
    (tmp_path / ".a.mid.1-2.part" / LOCK).write_bytes(b"")
    with work_folder(tmp_path / "a.mid"):
        pass
    assert names(tmp_path) == []


@pytest.mark.parametrize("number", [errno.ENOLCK, errno.ENOTSUP, errno.ENOSYS])
def test_a_disk_without_locks_works_and_nothing_on_it_is_called_left_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    left = left_behind(tmp_path / "a.mid")

    def no_locks(file: int, kind: int) -> None:
        raise OSError(number, os.strerror(number))

    import fcntl

    monkeypatch.setattr(fcntl, "flock", no_locks)
    with work_folder(tmp_path / "a.mid") as folder:
        assert folder.is_dir()
    assert names(tmp_path) == [left.name]


def test_a_system_without_the_modules_for_locks_falls_back_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "fcntl", None)
    monkeypatch.setitem(sys.modules, "msvcrt", None)
    with work_folder(tmp_path / "a.mid") as folder, (folder / LOCK).open("rb") as lock:
        assert work.held(lock.fileno()) is None
    assert names(tmp_path) == []


def test_the_locks_of_windows_are_used_where_there_are_no_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Against a stand-in with the documented interface of `msvcrt`: locking(fd, mode, nbytes), OSError when held."""

    class Standin:
        LK_NBLCK = 2
        held = False

        @classmethod
        def locking(cls, file: int, mode: int, count: int) -> None:
            assert (mode, count) == (cls.LK_NBLCK, 1)
            if cls.held:
                raise PermissionError(errno.EACCES, "locked")
            cls.held = True

    monkeypatch.setitem(sys.modules, "fcntl", None)
    monkeypatch.setitem(sys.modules, "msvcrt", Standin)
    assert work.held(3) is True
    assert work.held(3) is False


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(NotADirectoryError), work_folder(tmp_path / "none" / "a.mid"):
        pass


@pytest.mark.parametrize("full", ["open", "write"])
def test_a_full_disk_leaves_no_work_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, full: str
) -> None:
    """Its lock is the first file that does not fit."""

    def no_space(*_: object) -> int:
        raise OSError(errno.ENOSPC, "no space left")

    with monkeypatch.context() as patch:
        patch.setattr(os, full, no_space)
        with pytest.raises(OSError, match="no space left"), work_folder(tmp_path / "a.mid"):
            pass
    assert list(tmp_path.iterdir()) == []
