"""Every option changes what each command writes, or the command says why it does not take it.

Nothing is rendered here: whoever writes sound, a page or a sheet is replaced by one who notes down what was handed over.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from shutil import rmtree
from typing import Any

import pytest

from backing.commands import options as o
from backing.commands.cli import run
from backing.output.folder import LOG
from backing.output.jobs import read
from backing.output.midi import midi_bytes
from backing.output.sound.soundfont import find
from backing.performance.model import Performance

CHART = """\
title: Reach
key: C
tempo: 200
style: straight-ahead swing
[A]
| Dm7 G7 | Cmaj7 | Am7 | D7 |
melody: | F4 B4 | G4 | C5 | A4 |
[B]
| Fmaj7 | Em7 A7 | Dm7 G7 | C6 |
"""
CHOICES = "[lesson]\nspeeds = [100]\nwithout = false\nloops = false\nvideo = true\n"
WRITERS = (
    "backing.output.sound.audio.write_audio",
    "backing.output.sound.audio.write_outputs",
    "backing.output.page.write.write",
    "backing.output.sheet.write.write",
    "backing.output.video.write.write",
)
# What a command makes of the chart; each word of `OUT` is a file that is named in the lines of the log.
COMMANDS = {
    "make": ["tune.txt", *["-o", "t.mid", "-o", "t.wav", "-o", "t.pdf", "-o", "t.html", "-o", "t.json", "-o", "t.mp4"]],
    "rehearse": ["tune.txt", "--ladder", "80:100:20", *["-o", "t.mid", "-o", "t.wav", "-o", "t.pdf", "-o", "t.html", "-o", "t.mp4"]],
    "lesson": ["tune.txt", "-o", "lesson", "--choices", "choices.toml"],
}  # fmt: skip
BESIDE = {"--stems-as": ["--stems"]}  # what an option has no effect without
MOVES_NO_NOTE = ("--tempo", "--straight")  # what `explain` says counts in bars and beats
WHO_PLAYS = (  # `check` tells of the form
    "--click", "--without", "--only", "--guide-tones", "--plain", "--plan", "--seed", "--straight",
    "--chord-melody",
)  # fmt: skip
SHAPES_NO_FILE = ("--force",)  # tests/test_files.py shows what it does
SHAPES_PARTS = ("--part", "--tab")  # tests/test_parts.py shows what they do
SHAPES_READING = "reading"  # of other formats: the tests of each format show it


def paths_of(value: Any) -> list[Path]:
    """The files that an argument of a writer names."""
    if isinstance(value, Path):
        return [value]
    if type(value) in (list, tuple):  # not `Sound`, whose soundfont is no output
        return [p for one in value for p in paths_of(one)]
    path = getattr(value, "path", None)
    return [path] if isinstance(path, Path) else []


def noted(value: object) -> str:
    return midi_bytes(value).hex() if isinstance(value, Performance) else repr(value)


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was handed to the writers, each in a line."""
    lines: list[str] = []

    def writer(name: str) -> Callable[..., Any]:
        def write(*given: Any, progress: object = None, **named: Any) -> Any:
            paths = [p for value in given for p in paths_of(value)]
            for path in paths:
                with path.open("x") as file:  # never over a file that is there
                    file.write("x")
            lines.append(" ".join([name, *map(noted, given), *map(noted, sorted(named.items()))]))
            return paths

        return write

    monkeypatch.chdir(tmp_path)
    for name in WRITERS:  # what is loaded later would keep the replaced one
        import_module(name.rpartition(".")[0])
    for name in WRITERS:
        monkeypatch.setattr(name, writer(name))
    Path("tune.txt").write_text(CHART, "utf-8")
    Path("choices.toml").write_text(CHOICES, "utf-8")
    Path("my.sf2").write_bytes(remarked(find().read_bytes()))
    return lines


def remarked(font: bytes) -> bytes:
    """The same sounds with a comment more: another file (SoundFont 2.04 section 5, the chunk `ICMT` of the list `INFO`)."""
    assert (font[:4], font[8:16], font[20:24]) == (b"RIFF", b"sfbkLIST", b"INFO")
    remark = b"ICMT" + struct.pack("<I", 2) + b"x\0"
    whole, told = (struct.unpack_from("<I", font, at)[0] for at in (4, 16))
    head = b"RIFF" + struct.pack("<I", whole + len(remark)) + b"sfbkLIST"
    head += struct.pack("<I", told + len(remark))
    return head + font[20 : 20 + told] + remark + font[20 + told :]


def typed(option: o.Option) -> list[str]:
    return [option.flag] if isinstance(option.usual, bool) else [option.flag, option.example]


def made(command: str, more: list[str], log: list[str]) -> dict[str, str]:
    """What a command wrote with these options, by its kind: notes, sound, page, sheet, timeline."""
    log.clear()
    rmtree("lesson", ignore_errors=True)
    for path in Path().glob("t[.-]*"):
        path.unlink()
    assert run([command, *COMMANDS[command], "--quiet", *more]) == 0
    found = {name: "\n".join(line for line in log if line.startswith(name)) for name in WRITERS}
    if command == "lesson":
        rows = read((Path("lesson") / LOG).read_bytes())[0]
        return {path: repr(row.makes) for path, row in rows.items()}
    return found | {"midi": Path("t.mid").read_bytes().hex()}


SOUND, _, PAGE, SHEET, VIDEO = WRITERS
# What must change where an option of a part is given: in a track, and in the contents of a lesson.
HEARD = {
    "form": ((SOUND, PAGE, VIDEO, "midi"), ("tune.mp3", "tune.mid", "tune.html", "tune.mp4")),
    "band": ((SOUND, PAGE, VIDEO, "midi"), ("tune.mp3", "tune.mid", "tune.html", "tune.mp4")),
    "sound": ((SOUND, PAGE), ("tune.mp3", "tune.html", "stems/tune-bass.mp3")),
    "paper": ((SHEET, PAGE), ("tune.pdf", "tune.html")),
    "picture": ((VIDEO,), ("tune.mp4",)),
    "files": ((SOUND,), ()),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_reaches_the_command_or_is_refused_with_a_reason(
    command: str, log: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    faults = []
    plain = made(command, [], log)
    for option in o.TABLE:
        given = [*BESIDE.get(option.flag, []), *typed(option)]
        if words := o.refusal(option, command):
            capsys.readouterr()
            assert run([command, *COMMANDS[command], *typed(option)]) == 2
            assert capsys.readouterr().err == f"backing: {option.flag}: {words}\n"
            continue
        if option.flag in (*SHAPES_NO_FILE, *SHAPES_PARTS) or option.part == SHAPES_READING:
            continue
        if command == "lesson":
            given = typed(option)
        found = made(command, given, log)
        track, lesson = HEARD[option.part]
        faults += [
            f"{option.flag} does not reach {name} of {command}"
            for name in (lesson if command == "lesson" else track)
            if found.get(name) == plain[name]
        ]
        if found == plain:
            faults.append(f"{option.flag} changes nothing in {command}")
    assert faults == []


@pytest.mark.parametrize(("command", "untold"), [("explain", MOVES_NO_NOTE), ("check", WHO_PLAYS)])
def test_what_is_reported_takes_the_options_that_shape_the_notes(
    command: str, untold: tuple[str, ...], log: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """`explain` and `check` tell of the track that the same options would make."""
    faults = []
    assert run([command, "tune.txt"]) == 0
    plain = capsys.readouterr().out
    for option in o.TABLE:
        if option.part == SHAPES_READING:
            continue
        code = run([command, "tune.txt", *typed(option)])
        told = capsys.readouterr()
        if words := o.refusal(option, command):
            assert (code, told.err) == (2, f"backing: {option.flag}: {words}\n")
        elif code or (told.out == plain and option.flag not in untold):
            faults.append(f"{option.flag} changes nothing in {command}")
    assert faults == []


@pytest.mark.parametrize("ending", [".txt", ".pdf"])
def test_what_is_read_is_written_without_playing_it(
    ending: str, log: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody plays, a hundred choruses are not unrolled, and the options are checked all the same."""
    from backing.timeline import unroll

    choruses: list[int] = []
    order = unroll.order_of_play

    def counted(chart: Any, times: int) -> Any:
        choruses.append(times)
        return order(chart, times)

    def nobody(*_: object, **__: object) -> None:
        raise AssertionError("the band plays")

    monkeypatch.setattr(unroll, "order_of_play", counted)
    monkeypatch.setattr("backing.band.arrange.arrange", nobody)
    Path("tune.txt").write_text(f"choruses: 100\n{CHART}", "utf-8")
    assert run(["make", "tune.txt", "-o", f"t{ending}"]) == 0
    assert set(choruses) == {1}
    assert run(["make", "tune.txt", "-o", f"u{ending}", "--only", "strings"]) == 2
    assert "straight-ahead swing has no strings" in capsys.readouterr().err
