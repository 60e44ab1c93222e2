"""The folder of a desk: only its charts, each file whole, and nothing of anybody's lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from backing.desk.folder import BIN, Folder, revision
from backing.ground.errors import ChartError, OutputError
from tests.each import each

TUNE = "title: Nine Lamps\n| C | F | G7 | C |\n"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    place = tmp_path / "charts"
    place.mkdir()
    (place / "tune.txt").write_text(TUNE, "utf-8")
    return Folder(place)


def contents(folder: Folder) -> dict[str, bytes]:
    return {
        str(p.relative_to(folder.path)): p.read_bytes()
        for p in sorted(folder.path.rglob("*"))
        if p.is_file()
    }


def test_its_charts_are_plain_files_that_end_in_txt(folder: Folder, tmp_path: Path) -> None:
    (folder.path / "notes.md").write_text("x")
    (folder.path / ".hidden.txt").write_text("x")
    (folder.path / "inner.txt").mkdir()
    (folder.path / "A second.TXT").write_text("\ufeffTitle : Two  \n| C |", "utf-8")
    (tmp_path / "outside.txt").write_text("secret")
    (folder.path / "link.txt").symlink_to(tmp_path / "outside.txt")
    assert [(one.name, one.title) for one in folder.charts()] == [
        ("A second.TXT", "Two"),
        ("tune.txt", "Nine Lamps"),
    ]


@each(
    "name",
    [
        "../outside.txt",
        "/etc/passwd",
        "inner/x.txt",
        "..\\outside.txt",
        "",
        ".txt",
        "..txt",
        "x",
        "tune.txt\0",
        ".bin/tune.txt",
        "con.txt",
        "a\n.txt",
        "x" * 300 + ".txt",
    ],
)
def test_a_name_leads_nowhere_else(folder: Folder, tmp_path: Path, name: str) -> None:
    (tmp_path / "outside.txt").write_text("secret")
    before = contents(folder)
    for act in (
        folder.open,
        folder.delete,
        folder.restore,
        lambda n: folder.save(n, "x", ""),
        lambda n: folder.rename(n, "y"),
    ):
        with pytest.raises(
            OutputError, match=r"no name of a chart|no chart named|is no .* in the bin|in the bin"
        ):
            act(name)
    assert contents(folder) == before
    assert (tmp_path / "outside.txt").read_text() == "secret"


def test_a_link_is_neither_read_nor_written(folder: Folder, tmp_path: Path) -> None:
    (tmp_path / "outside.txt").write_text("secret")
    (folder.path / "link.txt").symlink_to(tmp_path / "outside.txt")
    (folder.path / "gone.txt").symlink_to(tmp_path / "nothing.txt")
    (folder.path / BIN).symlink_to(tmp_path)
    for name in ("link.txt", "gone.txt"):
        for act in (
            folder.open,
            folder.delete,
            lambda n: folder.save(n, "x", ""),
            lambda n: folder.rename(n, "y"),
        ):
            with pytest.raises(OutputError):
                act(name)
    with pytest.raises(OutputError):
        folder.restore("outside.txt")
    assert (tmp_path / "outside.txt").read_text() == "secret"
    assert not (tmp_path / "nothing.txt").exists()


def test_a_text_is_saved_over_the_one_that_was_opened(folder: Folder) -> None:
    opened = folder.open("tune.txt")
    saved = folder.save("tune.txt", "| Dm |\n", opened.revision)
    assert contents(folder) == {"tune.txt": b"| Dm |\n"}
    assert saved == ("tune.txt", revision(b"| Dm |\n"), "")
    assert folder.save("tune.txt", "| Em |\n", saved.revision).name == "tune.txt"


def test_two_editors_on_one_file_lose_nothing(folder: Folder) -> None:
    """Whoever saves second finds the first one's text there; both are kept, and said."""
    mine, yours = folder.open("tune.txt"), folder.open("tune.txt")
    folder.save("tune.txt", "mine\n", mine.revision)
    saved = folder.save("tune.txt", "yours\n", yours.revision)
    assert (saved.name, saved.beside) == ("tune 2.txt", "tune.txt")
    assert contents(folder) == {"tune.txt": b"mine\n", "tune 2.txt": b"yours\n"}
    again = folder.save(saved.name, "yours again\n", saved.revision)
    assert (again.name, again.beside) == ("tune 2.txt", "")
    assert contents(folder) == {"tune.txt": b"mine\n", "tune 2.txt": b"yours again\n"}


def test_the_same_text_from_two_editors_is_one_file(folder: Folder) -> None:
    old = folder.open("tune.txt").revision
    folder.save("tune.txt", "same\n", old)
    assert folder.save("tune.txt", "same\n", old).beside == ""
    assert contents(folder) == {"tune.txt": b"same\n"}


def test_a_file_that_is_gone_is_written_anew(folder: Folder) -> None:
    old = folder.open("tune.txt").revision
    (folder.path / "tune.txt").unlink()
    assert folder.save("tune.txt", "x\n", old).name == "tune.txt"


@each(
    ("there", "kept"),
    [
        (b"a\r\nb\r\n", b"x\r\ny"),
        (b"\xef\xbb\xbfa\nb", b"\xef\xbb\xbfx\ny"),
        (b"a\nb\r\nc\nd", b"x\ny"),
        (b"", b"x\ny"),
    ],
)
def test_line_ends_and_mark_of_a_file_stay(tmp_path: Path, there: bytes, kept: bytes) -> None:
    place = tmp_path / f"ends-{len(there)}-{there[:1].hex()}"
    place.mkdir()
    (place / "tune.txt").write_bytes(there)
    folder = Folder(place)
    opened = folder.open("tune.txt")
    assert "\r" not in opened.text
    assert not opened.text.startswith("\ufeff")
    folder.save("tune.txt", "x\ny", opened.revision)
    assert (place / "tune.txt").read_bytes() == kept


def test_what_is_no_text_is_said(folder: Folder) -> None:
    (folder.path / "wrong.txt").write_bytes(b"\xff\xfe\x00x")
    with pytest.raises(ChartError):
        folder.open("wrong.txt")
    (folder.path / "long.txt").write_bytes(b"x" * 1_000_001)
    with pytest.raises(OutputError, match="longer than any chart"):
        folder.open("long.txt")


def test_a_new_chart_takes_nobody_s_name(folder: Folder) -> None:
    assert folder.new("Tune", "x").name == "Tune 2.txt"  # some disks take the two for one
    assert folder.new("a/b: c", "x").name == "a-b- c.txt"
    assert folder.new(" .. ", "x").name == "tune 3.txt"


def test_a_chart_gets_another_name_unless_it_is_taken(folder: Folder) -> None:
    folder.new("other", "x")
    with pytest.raises(OutputError, match=r"there is a chart named Other\.txt already"):
        folder.rename("tune.txt", "Other")
    assert folder.rename("tune.txt", "Tune") == "Tune.txt"
    assert folder.rename("Tune.txt", "Lamps.txt") == "Lamps.txt"
    assert sorted(contents(folder)) == ["Lamps.txt", "other.txt"]
    with pytest.raises(OutputError, match="any more"):
        folder.rename("tune.txt", "x")


def test_what_is_deleted_can_be_taken_back(folder: Folder) -> None:
    folder.delete("tune.txt")
    folder.new("tune", "second")
    folder.delete("tune.txt")
    assert [one.name for one in folder.deleted()] == ["tune 2.txt", "tune.txt"]
    folder.new("tune", "third")
    assert folder.restore("tune.txt") == "tune 2.txt"
    assert folder.restore("tune 2.txt") == "tune 2 2.txt"
    assert contents(folder) == {
        "tune.txt": b"third",
        "tune 2.txt": TUNE.encode(),
        "tune 2 2.txt": b"second",
    }
    assert not (folder.path / BIN).exists()
    with pytest.raises(OutputError, match="in the bin"):
        folder.restore("tune.txt")
