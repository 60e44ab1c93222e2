"""Lessons: everything in one folder or ZIP, whole or not at all, renewed only where something changed."""

from __future__ import annotations

import errno
import io
import json
import re
import zipfile
from pathlib import Path

import mido
import pdfplumber
import pytest
import soundfile

from backing.chart.parse import parse
from backing.commands.choices import Choices, read_choices, read_sheets, read_speeds
from backing.commands.cli import run
from backing.ground.errors import OutputError, RequestError
from backing.output import jobs
from backing.output.folder import LOG
from tests.each import each

CHART = """\
title: Two Bars & a Bit
by: Demo songbook
key: C major
tempo: 240
style: straight-ahead swing
[A]
| C6 | G7 |
"""
# What is quick to make; each test asks for what it is about.
QUICK = "speeds = [100]\nwithout = false\nstems = false\nloops = false\npage = false\n"


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(CHART, "utf-8")


def choose(text: str) -> None:
    Path("choices.toml").write_text(f"[lesson]\n{text}", "utf-8")


def lesson(*more: str) -> int:
    return run(["lesson", "tune.txt", "--choices", "choices.toml", "--quiet", *more])


def files(folder: str) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in Path(folder).rglob("*") if p.is_file())


def opened(path: Path) -> None:
    """Open a file with its usual reader; raises or fails where it cannot be read or holds nothing."""
    kind = path.suffix
    if kind in (".mp3", ".wav"):
        sound, rate = soundfile.read(path)
        assert rate == 44100
        assert len(sound) > rate / 4, path
    elif kind == ".mid":
        assert mido.MidiFile(path).length > 0
    elif kind == ".pdf":
        with pdfplumber.open(path) as pdf:
            assert "Two Bars" in pdf.pages[0].extract_text()
    elif kind == ".json":
        assert json.loads(path.read_text("utf-8"))["made_by"].startswith("backing ")
    elif kind == ".vtt":
        assert path.read_text("utf-8").startswith("WEBVTT")
    elif kind == ".txt":
        parse(path.read_text("utf-8"))
    else:
        assert kind == ".html"
        assert path.read_text("utf-8").startswith("<!doctype html>")


def test_a_lesson_holds_everything_that_was_chosen_and_an_index_of_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    choose("speeds = [100, 70]\nsheets = ['concert', 'Bb']\n")
    assert lesson("-o", "all") == 0
    found = files("all")
    for name in (
        "tune.mp3", "tune-70.mp3", "without/tune-without-bass.mp3", "without/tune-without-drums.mp3",
        "stems/tune-bass.mp3", "stems/tune-drums.mp3", "loops/tune-A.wav", "tune.mid", "tune.pdf", "tune-Bb.pdf",
        "tune.html", "tune.vtt", "tune.json", "tune.txt", "index.html", "contents.json",
    ):  # fmt: skip
        assert name in found
    told = json.loads(Path("all/contents.json").read_text("utf-8"))
    assert {f["path"] for f in told["files"]} | {"index.html", "contents.json", LOG} == set(found)
    for name in found:
        if name != LOG:
            opened(Path("all", name))
    index = Path("all/index.html").read_text("utf-8")
    linked = set(re.findall(r'href="([^"]+)"', index))
    assert linked == {f["path"] for f in told["files"]}
    assert "Two Bars &amp; a Bit" in index
    assert "headphones low" in index
    assert not re.search(r"https?://", index)


def test_a_second_run_makes_only_what_changed(capsys: pytest.CaptureFixture[str]) -> None:
    choose(QUICK)
    assert lesson("-o", "l.zip") == 0
    before = Path("l.zip").read_bytes()
    capsys.readouterr()
    assert lesson("-o", "l.zip") == 0
    assert " 0 made," in capsys.readouterr().out
    assert Path("l.zip").read_bytes() == before
    Path("tune.txt").write_text(CHART + "# a remark\n", "utf-8")
    assert lesson("-o", "l.zip") == 0
    with zipfile.ZipFile("l.zip") as archive:
        assert archive.testzip() is None
        assert "a remark" in archive.read("tune.txt").decode()
    said = capsys.readouterr().out
    assert "unchanged" in said
    assert " 0 unchanged" not in said  # the sound is the same, and was kept


def test_files_that_somebody_added_to_the_folder_stay() -> None:
    choose(QUICK)
    assert lesson("-o", "mine") == 0
    Path("mine/homework.txt").write_text("bars 5 to 8", "utf-8")
    assert lesson("-o", "mine", "--seed", "2") == 0
    assert Path("mine/homework.txt").read_text("utf-8") == "bars 5 to 8"


def test_a_run_that_fails_leaves_the_lesson_before_it_whole(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Interrupted while rendering: the old files are all there, and nothing temporary is left."""
    choose(QUICK)
    assert lesson("-o", "kept") == 0
    before = {name: Path("kept", name).read_bytes() for name in files("kept")}

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("backing.output.sound.audio.write_outputs", interrupted)
    assert lesson("-o", "kept", "--seed", "9") == 130
    assert {name: Path("kept", name).read_bytes() for name in files("kept")} == before
    assert sorted(p.name for p in Path().iterdir()) == ["choices.toml", "kept", "tune.txt"]


@pytest.mark.parametrize("place", ["kept", "kept.zip"])
def test_a_message_names_a_file_of_the_lesson_and_not_where_it_is_made(
    place: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    choose(QUICK)

    def full(self: object, *_: object) -> None:
        raise OSError(errno.ENOSPC, "no space left")

    monkeypatch.setattr("backing.output.sound.tape.Tape.append", full)
    assert lesson("-o", place) == 4
    assert capsys.readouterr().err == "backing: tune.mp3 cannot be written: the disk is full\n"
    assert sorted(p.name for p in Path().iterdir()) == ["choices.toml", "tune.txt"]


def test_something_else_in_the_way_is_never_replaced(capsys: pytest.CaptureFixture[str]) -> None:
    choose(QUICK)
    Path("work").mkdir()
    Path("work/thesis.doc").write_text("x")
    assert lesson("-o", "work", "--force") == 4
    assert "is no lesson made by this program" in capsys.readouterr().err
    assert files("work") == ["thesis.doc"]
    Path("other.zip").write_bytes(b"not ours")
    assert lesson("-o", "other.zip") == 4
    assert "--force" in capsys.readouterr().err
    assert Path("other.zip").read_bytes() == b"not ours"


def test_a_missing_folder_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    choose(QUICK)
    assert lesson("-o", "nowhere/l.zip") == 4
    assert "there is no folder" in capsys.readouterr().err


def test_fingerprints_tell_parts_apart() -> None:
    assert jobs.fingerprint("ab", "c") != jobs.fingerprint("a", "bc")
    assert jobs.fingerprint("a") == jobs.fingerprint(b"a")


def test_choices_are_read_from_a_table() -> None:
    choose("speeds = [100, 60]\nstems_as = 'flac'\nsheets = ['Eb']\nloops = false\n")
    assert read_choices(Path("choices.toml"), Choices()) == Choices(
        speeds=(100, 60), stems_as="flac", sheets=("Eb",), loops=False
    )


@each(
    ("text", "words"),
    [
        ("speds = [100]", "Did you mean 'speeds'"),
        ("speeds = 100", "speeds is a list"),
        ("speeds = [5]", "percentages go from 10 to 200"),
        ("stems = 'yes'", "stems is true or false"),
        ("stems_as = 'aiff'", "choose one of wav"),
        ("sheets = ['A']", "choose one of concert"),
        ("= 3", "is no TOML file"),
    ],
)
def test_a_wrong_choice_is_named(text: str, words: str) -> None:
    choose(text)
    with pytest.raises(RequestError) as wrong:
        read_choices(Path("choices.toml"), Choices())
    assert words in str(wrong.value)


def test_choices_that_cannot_be_read_are_an_output_error() -> None:
    with pytest.raises(OutputError, match="could not be read"):
        read_choices(Path("none.toml"), Choices())


def test_speeds_and_sheets_are_lists_without_repeats() -> None:
    assert read_speeds("100, 85%,100") == (100, 85)
    assert read_sheets("concert,Bb,Bb") == ("concert", "Bb")
    with pytest.raises(RequestError, match="such as 100,85,70"):
        read_speeds("slow")


def test_a_click_a_ladder_and_a_duo_are_among_the_choices() -> None:
    """The mixes that are asked for; the ladder goes through five tempos."""
    choose(f"{QUICK}click = true\nladder = true\nbass_and_drums = true\n")
    assert lesson("-o", "more") == 0
    for name in ("tune-click.mp3", "tune-ladder.mp3", "tune-bass-and-drums.mp3"):
        opened(Path("more", name))
    index = Path("more/index.html").read_text("utf-8")
    lengths = dict(re.findall(r'href="(tune[\w-]*\.mp3)".*?(\d+:\d\d)</span>', index))
    seconds = {n: int(t.split(":")[0]) * 60 + int(t.split(":")[1]) for n, t in lengths.items()}
    assert seconds["tune-ladder.mp3"] > 3 * seconds["tune-click.mp3"]


def lengths_of(folder: str) -> dict[str, float]:
    return {n: soundfile.info(Path(folder, n)).duration for n in ("tune-click.mp3", "tune-ladder.mp3")}  # fmt: skip


def bytes_of(folder: str) -> dict[str, bytes]:
    return {n: Path(folder, n).read_bytes() for n in files(folder) if n != LOG}


def test_click_and_ladder_of_a_renewed_lesson_are_those_of_a_new_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Nothing changed: nothing made. Another tempo and level: both anew, as in an empty folder. One left out: it is told, and the list has it no more; the other sounds as before."""
    quick = f"{QUICK}bass_and_drums = false\n"
    choose(f"{quick}click = true\nladder = true\n")
    assert lesson("-o", "kept") == 0
    before, lengths = bytes_of("kept"), lengths_of("kept")
    capsys.readouterr()
    assert lesson("-o", "kept") == 0
    assert " 0 made," in capsys.readouterr().out
    assert bytes_of("kept") == before
    Path("tune.txt").write_text(CHART.replace("240", "160") + "[B]\nlevels: bass -9\n| F6 |\n")
    assert lesson("-o", "kept") == 0
    assert lesson("-o", "new") == 0
    assert bytes_of("kept") == bytes_of("new")
    # three bars at 160 in place of two at 240, beside the ring of four seconds that each file ends with
    for name, length in lengths_of("kept").items():
        assert length > lengths[name] + 1, name
    choose(f"{quick}ladder = true\n")
    ladder = bytes_of("kept")["tune-ladder.mp3"]
    capsys.readouterr()
    assert lesson("-o", "kept") == 0
    assert "left tune-click.mp3" in capsys.readouterr().out
    assert 'href="tune-click.mp3"' not in Path("kept/index.html").read_text("utf-8")
    sound, _ = soundfile.read(
        io.BytesIO(bytes_of("kept")["tune-ladder.mp3"])
    )  # its number is another
    assert (sound == soundfile.read(io.BytesIO(ladder))[0]).all()
