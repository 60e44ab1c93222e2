"""A lesson folder belongs to the teacher: what she changes or adds stays, the rest is renewed, and the run says so.

Source: the program's own promise (README, "Lessons"); every file is compared byte for byte, links by where they point.
"""

from __future__ import annotations

import os
import stat
import zipfile
from pathlib import Path

import pytest

from backing.commands.cli import run
from backing.output import archive, folder
from backing.output.folder import LOG
from backing.output.jobs import read

CHART = """\
title: Kettle
key: C major
tempo: 240
style: straight-ahead swing
[A]
| C6 | G7 |
"""
OTHER = CHART.replace("C6", "F6")
QUICK = "speeds = [100]\nwithout = false\nstems = false\nloops = false\npage = false\nbass_and_drums = false\n"


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write(CHART)
    Path("choices.toml").write_text(f"[lesson]\n{QUICK}", "utf-8")


def write(text: str) -> None:
    Path("tune.txt").write_text(text, "utf-8")


def lesson(*more: str, chart: str = "tune.txt") -> int:
    return run(["lesson", chart, "--choices", "choices.toml", "--quiet", *more])


def shape(root: Path) -> dict[str, object]:
    """Everything below a folder: bytes of files, targets of links, kinds of the rest."""
    found: dict[str, object] = {}
    for path in sorted(root.rglob("*")):
        name = path.relative_to(root).as_posix()
        if path.is_symlink():
            found[name] = f"link to {path.readlink()}"
        elif path.is_file():
            found[name] = path.read_bytes()
        else:
            found[name] = stat.S_IFMT(path.lstat().st_mode)
    return found


def test_seven_kinds_of_own_things_survive_a_renewal(capsys: pytest.CaptureFixture[str]) -> None:
    assert lesson("-o", "L") == 0
    mine = Path("L")
    edited = mine / "tune.txt"
    edited.write_text(edited.read_text("utf-8") + "# bars 1 and 2 first\n", "utf-8")
    (mine / "tune.mp3").unlink()
    (mine / "tune.mp3").write_bytes(b"ID3 a recording of my own")
    (mine / "homework").mkdir()
    elsewhere = Path("elsewhere")
    elsewhere.mkdir()
    (elsewhere / "notes").write_text("mine")
    (mine / "tune.vtt").unlink()
    (mine / "tune.vtt").symlink_to(Path("..") / "elsewhere" / "notes")
    (mine / "more").symlink_to(Path("..") / "elsewhere")
    (mine / "lost").symlink_to("nowhere")
    os.mkfifo(mine / "pipe")
    own = ("tune.txt", "tune.mp3", "homework", "tune.vtt", "more", "lost", "pipe")
    before = shape(mine)
    mine.chmod(0o750)
    capsys.readouterr()
    write(OTHER)
    assert lesson("-o", "L") == 0
    after = shape(mine)
    assert {name: after[name] for name in own} == {name: before[name] for name in own}
    assert after.keys() == before.keys()
    assert after["tune.mid"] != before["tune.mid"]
    assert stat.S_IMODE(mine.stat().st_mode) == 0o750
    said = capsys.readouterr().out
    assert "6 files, 3 made, 0 unchanged, 3 kept" in said
    for name in ("tune.txt", "tune.mp3", "tune.vtt"):
        assert f"kept {name}: somebody has changed it" in said
    assert lesson("-o", "L", "--force") == 0
    forced = shape(mine)
    assert forced["tune.txt"] != before["tune.txt"]
    assert forced["tune.mp3"] != before["tune.mp3"]
    assert forced["tune.vtt"] == before["tune.vtt"]  # no link is ever replaced


def test_a_run_with_nothing_to_do_writes_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert lesson("-o", "L") == 0

    def told() -> dict[str, tuple[int, int, int]]:
        every = [Path("L"), *Path("L").rglob("*")]
        return {str(p): (p.stat().st_mtime_ns, p.stat().st_ino, p.stat().st_size) for p in every}

    before = told()
    assert lesson("-o", "L") == 0
    assert told() == before
    assert "6 files, 0 made, 6 unchanged" in capsys.readouterr().out


def test_a_copied_folder_and_one_with_other_dates_are_known_by_their_bytes() -> None:
    assert lesson("-o", "L") == 0
    for path in Path("L").rglob("*"):
        os.utime(path, (1_000_000_000, 1_000_000_000))
    Path("L").rename("stick")
    before = shape(Path("stick"))
    assert lesson("-o", "stick") == 0
    assert shape(Path("stick")) == before


def test_a_file_that_was_deleted_comes_back_and_its_neighbours_are_left_alone() -> None:
    assert lesson("-o", "L") == 0
    whole = shape(Path("L"))
    Path("L/tune.pdf").unlink()
    assert lesson("-o", "L") == 0
    again = shape(Path("L"))
    assert {k: v for k, v in again.items() if k != LOG} == {
        k: v for k, v in whole.items() if k != LOG
    }


def test_what_an_earlier_run_made_and_this_one_does_not_is_left_and_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert lesson("-o", "L") == 0
    Path("choices.toml").write_text(f"[lesson]\n{QUICK}captions = false\n", "utf-8")
    capsys.readouterr()
    assert lesson("-o", "L") == 0
    assert "left tune.vtt: an earlier run made it" in capsys.readouterr().out
    assert Path("L/tune.vtt").is_file()
    assert "tune.vtt" not in Path("L/index.html").read_text("utf-8")


def test_a_link_to_a_lesson_is_followed(tmp_path: Path) -> None:
    assert lesson("-o", "L") == 0
    Path("link").symlink_to("L")
    write(OTHER)
    assert lesson("-o", "link") == 0
    assert Path("link").is_symlink()
    assert b"F6" in Path("L/tune.txt").read_bytes()


def test_a_lesson_goes_into_the_folder_that_one_stands_in(monkeypatch: pytest.MonkeyPatch) -> None:
    Path("L").mkdir()
    chart, choices = Path("tune.txt").absolute(), Path("choices.toml").absolute()
    monkeypatch.chdir("L")
    for _ in range(2):
        assert run(["lesson", str(chart), "--choices", str(choices), "-q", "-o", "."]) == 0
    assert Path("tune.mp3").is_file()


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("d.zip", "is a folder; choose another name"),
        ("tune.txt", "is a file; name a folder"),
        ("nothing", "is a link to nothing"),
        ("nothing.zip", "is a link to nothing"),
        ("none/L", "there is no folder"),
        (".", "is no lesson made by this program"),
    ],
)
def test_what_cannot_be_is_refused_before_any_work(
    place: str, words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("d.zip").mkdir()
    Path("nothing").symlink_to("gone")
    Path("nothing.zip").symlink_to("gone.zip")

    def never(*_: object, **__: object) -> None:
        raise AssertionError("work was begun")

    monkeypatch.setattr("backing.commands.lesson.band", never)
    before = shape(Path())
    assert lesson("-o", place) == 4
    assert words in capsys.readouterr().err
    assert shape(Path()) == before


def test_a_folder_that_another_run_is_writing_is_refused(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert lesson("-o", "L") == 0
    with folder.opened(Path("L"), "contents.json"):
        assert lesson("-o", "L") == 4
    assert "is being written by another run" in capsys.readouterr().err


def test_a_chart_that_lies_in_its_lesson_is_never_written_over() -> None:
    assert lesson("-o", "L") == 0
    Path("L/song.txt").write_text(CHART + "# mine\n", "utf-8")
    before = Path("L/song.txt").read_bytes()
    assert lesson("-o", "L", "--force", chart="L/song.txt") == 0
    assert Path("L/song.txt").read_bytes() == before
    assert Path("L/song-2.txt").is_file()


@pytest.mark.parametrize("name", ["index", "Contents", "con"])
def test_a_chart_with_the_name_of_a_file_of_the_lesson_loses_nothing(name: str) -> None:
    Path(f"{name}.txt").write_text(CHART, "utf-8")
    Path("choices.toml").write_text(
        "[lesson]\nspeeds = [100]\nwithout = false\nstems = false\nloops = false\n"
    )
    assert lesson("-o", "L", chart=f"{name}.txt") == 0
    listed = Path("L/index.html").read_text("utf-8")
    files = [p.name for p in Path("L").iterdir()]
    assert len({n.lower() for n in files}) == len(files)
    assert sum(n.endswith(".html") for n in files) == 2
    assert sum(n.endswith(".json") for n in files) == 2
    assert "Everything" not in listed
    for path in files:
        if path not in ("index.html", "contents.json", LOG):
            assert f'href="{path}"' in listed
            assert path.partition(".")[0].lower() not in ("con", "prn")


def test_sections_with_names_alike_have_loops_of_their_own() -> None:
    """`A`, `A'` and `A-` were one file."""
    chart = CHART + "[A']\n| F6 | C6 |\n[A-]\n| Dm7 | G7 |\n"
    write(chart)
    Path("choices.toml").write_text(
        f"[lesson]\n{QUICK.replace('loops = false', 'loops = true')}", "utf-8"
    )
    assert lesson("-o", "L") == 0
    loops = sorted(p.name for p in Path("L/loops").iterdir())
    assert loops == ["tune-A-2.wav", "tune-A-prime.wav", "tune-A.wav"]
    assert len({Path("L/loops", n).read_bytes() for n in loops}) == 3


# ZIP


def test_what_somebody_added_or_changed_in_a_zip_stays(capsys: pytest.CaptureFixture[str]) -> None:
    assert lesson("-o", "l.zip") == 0
    mine = zipfile.ZipInfo("homework/bars.txt", (2024, 5, 6, 7, 8, 10))
    mine.external_attr = 0o600 << 16
    with zipfile.ZipFile("l.zip") as old, zipfile.ZipFile("new.zip", "w") as new:
        for info in old.infolist():
            data = old.read(info)
            new.writestr(info, data + b"# slower\n" if info.filename == "tune.txt" else data)
        new.writestr(mine, "bars 5 to 8")
        new.writestr(zipfile.ZipInfo("empty/"), b"")
    Path("new.zip").replace("l.zip")
    write(OTHER)
    capsys.readouterr()
    assert lesson("-o", "l.zip") == 0
    assert "kept tune.txt" in capsys.readouterr().out
    with zipfile.ZipFile("l.zip") as archive_:
        assert archive_.testzip() is None
        assert archive_.read("homework/bars.txt") == b"bars 5 to 8"
        told = archive_.getinfo("homework/bars.txt")
        assert (told.date_time, told.external_attr) == (mine.date_time, mine.external_attr)
        assert archive_.read("tune.txt").endswith(b"# slower\n")
        assert "empty/" in archive_.namelist()


def test_a_zip_that_is_unpacked_is_a_lesson_that_goes_on() -> None:
    assert lesson("-o", "l.zip") == 0
    with zipfile.ZipFile("l.zip") as packed:
        packed.extractall("L")
    before = shape(Path("L"))
    assert lesson("-o", "L") == 0
    assert shape(Path("L")) == before


def test_a_zip_that_is_damaged_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert lesson("-o", "l.zip") == 0
    data = bytearray(Path("l.zip").read_bytes())
    place = data.index(b"tune.mp3") + 400
    data[place : place + 200] = bytes(200)
    Path("l.zip").write_bytes(data)
    assert lesson("-o", "l.zip") == 4
    assert "cannot be read as a ZIP" in capsys.readouterr().err
    assert Path("l.zip").read_bytes() == data


def test_a_long_log_is_written_anew_and_says_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder, "_LINES_A_ROW", 0)
    for text in (CHART, OTHER, CHART, OTHER):
        write(text)
        assert lesson("-o", "L") == 0
    data = Path("L", LOG).read_bytes()
    rows, good = read(data)
    assert good == len(data)
    assert data.count(b"\n") <= 2 * len(rows) + 1
    before = shape(Path("L"))
    assert lesson("-o", "L") == 0
    assert shape(Path("L")) == before


def test_an_archive_is_not_touched_when_the_block_fails() -> None:
    assert lesson("-o", "l.zip") == 0
    before = Path("l.zip").read_bytes()

    def interrupted() -> None:
        with archive.opened(Path("l.zip"), "contents.json") as store:
            store.work()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert Path("l.zip").read_bytes() == before
    assert not [p for p in Path().iterdir() if p.name.startswith(".")]
