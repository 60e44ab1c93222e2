"""A desk that is closed leaves nothing: no process, no port, no file."""

from __future__ import annotations

import json
import signal
import time
from pathlib import Path

import pytest
from websockets.exceptions import ConnectionClosed

from backing.commands.cli import run
from backing.desk.server import own_port
from tests.desks import HOST, Desk, asked, desk, left_of, listens
from tests.each import each

pytestmark = pytest.mark.slow  # each needs a desk of its own
TUNE = "| C | F | G7 | C |\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "charts"
    place.mkdir()
    (place / "tune.txt").write_text(TUNE, "utf-8")
    return place


def gone(folder: Path) -> bool:
    """Whether every process of a desk ends, which takes as long as the system needs to tell them."""
    end = time.monotonic() + 20
    while left_of(folder) and time.monotonic() < end:
        pass
    return not left_of(folder)


def used(one: Desk) -> None:
    """Everything is started that can be: both workers, and a job whose files lie there."""
    with one.line() as line:
        assert asked(line, "look", text=TUNE, revision=7)["answer"]["revision"] == 7
        made = asked(line, "make", kind="mid", text=TUNE, name="tune.txt", wish={"tempo": "75%"})
        assert made["answer"]["files"] == ["tune.mid"]


def test_ctrl_c_ends_a_desk_that_was_used(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "tmp").mkdir()
    with desk(folder, environment={"TMPDIR": str(tmp_path / "tmp")}) as one:
        used(one)
        assert any("desk_work" in words for words in left_of(folder))
        code, said = one.end(signal.SIGINT)
    assert (code, said.splitlines()[-1]) == (0, "the desk is closed")
    assert gone(folder)
    assert not listens(one.port)
    assert list((tmp_path / "tmp").iterdir()) == []
    assert [path.name for path in folder.iterdir()] == ["tune.txt"]


@each("by", ["the page", "Ctrl-C"])
def test_it_ends_while_an_editor_is_open_and_the_band_plays(by: str, folder: Path) -> None:
    with desk(folder) as one, one.line() as line, one.line("/sound") as sound:
        asked(line, "look", text=TUNE)
        for told in ({"do": "load", "name": "tune.txt", "text": TUNE}, {"do": "play", "offset": 0}):
            sound.send(json.dumps(told))
        while not isinstance(sound.recv(timeout=60), bytes):
            pass  # until it sounds
        if by == "the page":
            assert one.post("/end") == {"ended": True}
            code, said = one.ended()
        else:
            code, said = one.end(signal.SIGINT)
        assert (code, said.splitlines()[1:]) == (0, ["the desk is closed"])
    assert gone(folder)
    assert not listens(one.port)


def test_a_desk_that_was_only_opened_ends_while_its_band_comes(folder: Path) -> None:
    """The first chart calls what plans, which is still on its way."""
    with desk(folder) as one, one.line("/sound") as sound:
        sound.send(json.dumps({"do": "load", "name": "tune.txt", "text": TUNE}))
        sound.send(json.dumps({"do": "hum"}))
        while "hum" not in str(sound.recv(timeout=60)):
            pass  # until both are taken
        code, said = one.end(signal.SIGINT)
        assert (code, said.splitlines()[1:]) == (0, ["the desk is closed"])
    assert gone(folder)


def test_what_works_for_a_desk_ends_with_it_however_it_ends(folder: Path) -> None:
    """SIGKILL leaves the server no time to end anybody."""
    with desk(folder) as one:
        with one.line() as line:
            asked(line, "look", text=TUNE)
        one.process.kill()
        one.process.wait()
    assert gone(folder)


def test_a_folder_keeps_its_port_and_a_second_desk_takes_another(folder: Path) -> None:
    with desk(folder) as one, desk(folder) as other:
        assert one.port == own_port(folder)
        assert other.port != one.port
        assert one.get("/charts")["charts"] == other.get("/charts")["charts"]


@pytest.mark.parametrize(
    ("typed", "code", "words"),
    [
        (["nowhere"], 4, "nowhere: there is no such folder; make it first, or name another one"),
        ([".", "--port", "70000"], 2, "--port 70000: choose a number from 0 to 65535"),
    ],
)
def test_what_cannot_be_opened_is_said(
    typed: list[str], code: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["desk", *typed]) == code
    assert capsys.readouterr().err == f"backing: {words}\n"


def test_a_port_that_is_taken_is_said(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind((HOST, 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert run(["desk", str(folder), "--port", str(port), "--no-browser"]) == 4
    words = f"backing: port {port} is in use, or not allowed; --port 0 takes a free one\n"
    assert capsys.readouterr().err == words


def test_no_ask_ends_what_answers_the_others(folder: Path) -> None:
    """Neither one that makes no sense, nor one that is no ask at all."""
    with desk(folder) as one:
        with one.line() as line:
            for do, what in (
                ("look", {"text": 5}),
                ("look", {}),
                ("chord", {"symbol": []}),
                ("answers", {"text": "| C |"}),
                ("make", {"kind": "exe", "text": "| C |", "name": "a.txt", "wish": {}}),
                ("nothing", {}),
            ):
                assert asked(line, do, **what)["failed"]
            wrong = asked(
                line, "make", kind="mid", text="| C |\n| Am7 D7 G |\n", name="a.txt", wish={}
            )
            assert wrong["failed"].startswith("line 2: this bar holds 3 chords")
            assert asked(line, "look", text=TUNE)["answer"]["marks"] == []
        for said in ("{", "[]", '{"do": "look"}', '{"id": "x", "do": 1}'):
            with one.line() as line:
                line.send(said)
                with pytest.raises(ConnectionClosed):
                    line.recv(timeout=20)
        with one.line() as line:
            assert asked(line, "look", text=TUNE)["answer"]["marks"] == []
