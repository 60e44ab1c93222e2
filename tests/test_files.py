"""Files appear whole or not at all, and foreign ones stay."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest

from backing.ground.errors import OutputError
from backing.output import files
from backing.output.files import MARK, claim, made_here, whole, write_bytes, write_text


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_a_file_is_written_whole(tmp_path: Path) -> None:
    write_text(tmp_path / "a.vtt", "text ♭\n")
    assert (tmp_path / "a.vtt").read_bytes() == "text ♭\n".encode()
    assert names(tmp_path) == ["a.vtt"]


def test_an_interrupted_run_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    old = tmp_path / "a.json"
    old.write_text(MARK)

    def interrupted() -> None:
        with whole(old) as part:
            part.write_text("half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert old.read_text() == MARK
    assert names(tmp_path) == ["a.json"]


@pytest.mark.parametrize(
    "content",
    [
        MARK,
        f"<!-- {MARK} -->",
        '{"version": 1, "made_by": "backing 0.1.0"}',
        "x" * 3_000_000 + MARK,
    ],
)
def test_our_own_file_is_known_by_its_mark(tmp_path: Path, content: str) -> None:
    path = tmp_path / "a.html"
    path.write_text(content)
    assert made_here(path)
    claim(path)


def test_the_mark_is_found_in_utf_16(tmp_path: Path) -> None:
    """Older tags write text in sixteen bits (ID3v2.3)."""
    path = tmp_path / "a.mp3"
    path.write_bytes(b"ID3" + MARK.encode("utf-16"))
    assert made_here(path)


def test_a_foreign_file_is_refused_and_forced(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"RIFF somebody's recording")
    with pytest.raises(
        OutputError, match=r"is in the way and was not made by this program; .*--force"
    ):
        write_bytes(path, b"new")
    assert path.read_bytes() == b"RIFF somebody's recording"
    write_bytes(path, b"new", force=True)
    assert path.read_bytes() == b"new"


def test_a_text_file_is_always_somebodys_chart(tmp_path: Path) -> None:
    path = tmp_path / "tune.txt"
    path.write_text(f"# {MARK}\n| C |\n")
    with pytest.raises(OutputError, match="--force"):
        claim(path)
    claim(path, force=True)


def test_a_folder_in_the_way_is_named_as_one(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="is a folder"):
        claim(tmp_path, force=True)


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"there is no folder .*nowhere"):
        claim(tmp_path / "nowhere" / "a.mid")


def test_something_that_is_no_plain_file_is_refused() -> None:
    with pytest.raises(OutputError, match="is not a plain file"):
        claim(Path(os.devnull), force=True)


def test_a_folder_without_permission_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files.os, "access", lambda path, mode: False)
    with pytest.raises(OutputError, match="no permission to write"):
        claim(tmp_path / "a.mid")


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EDQUOT, "the disk is full"),
        (errno.EFBIG, "the disk is full"),
        (errno.EACCES, "no permission"),
        (errno.EROFS, "no permission"),
        (errno.ENAMETOOLONG, "the name is too long"),
        (errno.EIO, "Input/output error"),
    ],
)
def test_what_the_system_refuses_becomes_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, words: str
) -> None:
    def failing(self: Path, data: bytes) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(Path, "write_bytes", failing)
    with pytest.raises(OutputError, match=words) as caught:
        write_bytes(tmp_path / "a.mid", b"")
    assert caught.value.exit_code == 4
    assert names(tmp_path) == []


def test_a_full_device_is_noticed(tmp_path: Path) -> None:
    """`/dev/full` refuses every byte with "no space left on device" (Linux)."""
    full = Path("/dev/full")
    if not full.exists():
        assert os.name != "posix" or os.uname().sysname != "Linux"
        return
    with pytest.raises(OutputError, match="the disk is full"), whole(tmp_path / "a.mid"):
        full.write_bytes(b"x")


def test_a_folder_that_vanishes_meanwhile_is_named(tmp_path: Path) -> None:
    folder = tmp_path / "gone"
    folder.mkdir()

    def vanish() -> None:
        with whole(folder / "a.mid") as part:
            part.write_bytes(b"x")
            shutil.rmtree(folder)

    with pytest.raises(OutputError, match="there is no folder"):
        vanish()


def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    real = tmp_path / "real.mid"
    real.write_text(MARK)
    link = tmp_path / "link.mid"
    link.symlink_to(real)
    write_bytes(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
