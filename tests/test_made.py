"""A file that this program made and somebody has changed since is kept, as in a lesson; what nobody touched is renewed."""

from __future__ import annotations

import re
from pathlib import Path

import mido
import pytest

from backing.commands.cli import run
from backing.output import made

TUNE = "title: Kettle\nkey: C major\ntempo: 300\nstyle: straight-ahead swing\n[A]\n| C6 | G7 |\n"


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "states"))
    Path("tune.txt").write_text(TUNE, "utf-8")


def make(*more: str) -> int:
    return run(["make", "tune.txt", "-o", "t.mid", "-o", "t.pdf", "--quiet", *more])


def edited() -> bytes:
    """The MIDI file as another program leaves it: another tempo, the mark still there."""
    file = mido.MidiFile("t.mid")
    for message in file.tracks[0]:
        if message.type == "set_tempo":
            message.tempo = 500_000
    file.save("t.mid")
    data = Path("t.mid").read_bytes()
    assert b"made by backing" in data
    return data


def test_a_file_that_somebody_went_on_with_is_kept(capsys: pytest.CaptureFixture[str]) -> None:
    assert make() == make() == 0
    mine = edited()
    assert make() == 4
    assert "t.mid is in the way and has been changed since" in capsys.readouterr().err
    assert Path("t.mid").read_bytes() == mine
    assert make("--force") == 0
    assert Path("t.mid").read_bytes() != mine
    assert make() == 0


def test_one_of_our_own_that_nobody_changed_is_renewed_wherever_it_lies_now() -> None:
    """An older one from a copy of the folder; one that was moved."""
    assert make() == 0
    older = Path("t.mid").read_bytes()
    assert make("--seed", "2") == 0
    assert Path("t.mid").read_bytes() != older
    Path("t.mid").write_bytes(older)
    assert make("--seed", "2") == 0
    assert run(["make", "tune.txt", "-o", "slow.mid", "--tempo", "50%", "--quiet"]) == 0
    Path("slow.mid").replace("t.mid")
    assert make() == 0


def test_through_a_link_it_is_the_same_place() -> None:
    assert make() == 0
    edited()
    Path("l.mid").symlink_to("t.mid")
    assert run(["make", "tune.txt", "-o", "l.mid", "--quiet"]) == 4


def test_a_track_to_practise_with_is_noted_too() -> None:
    line = ["rehearse", "tune.txt", "-o", "t.mid", "--ladder", "100:100:5", "--quiet"]
    assert run(line) == run(line) == 0
    edited()
    assert run(line) == 4


def test_where_nothing_is_known_the_mark_decides() -> None:
    """After a stop while a file was written, on another machine, and where the list cannot be kept."""
    assert make() == 0
    edited()
    made.begin([Path("t.mid")])
    assert make() == 0
    edited()
    made.record().unlink()
    assert make() == 0
    edited()
    made.record().unlink()
    made.record().mkdir()
    assert make() == 0
    made.record().rmdir()
    made.record().parent.rmdir()
    made.record().parent.write_text("in the way")
    assert make() == 0


def test_a_list_that_a_stop_has_cut_at_any_byte_goes_on() -> None:
    assert make() == 0
    whole = made.record().read_bytes()
    mine = edited()
    for length in range(0, len(whole) + 1, 7):
        made.record().write_bytes(whole[:length])
        made.end([Path("t.pdf")])
        assert not made.changed(Path("t.pdf")), length
        noted = bytes(str(Path("t.mid").resolve()), "utf-8") + b"\t"
        known = re.findall(re.escape(noted) + rb"([0-9a-f]*)\n", made.record().read_bytes())
        assert made.changed(Path("t.mid")) == (bool(known) and len(known[-1]) == 32), length
        made.end([Path("t.mid")])
        assert not made.changed(Path("t.mid")), length
        Path("t.mid").write_bytes(mine + b" ")
        assert made.changed(Path("t.mid")), length
        Path("t.mid").write_bytes(mine)


def test_a_long_list_forgets_its_older_half(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(made, "MOST_BYTES", 4000)
    paths = [Path(f"{n}.mid") for n in range(100)]
    for path in paths:
        path.write_bytes(b"one")
        made.end([path])
        path.write_bytes(b"two")
    assert made.record().stat().st_size < 4500
    known = [made.changed(path) for path in paths]
    assert known == sorted(known)
    assert 5 < sum(known) < 100


def test_a_place_that_begins_like_another_is_another() -> None:
    Path("a.mid").write_bytes(b"one")
    made.end([Path("a.mid")])
    made.end([Path("a.mid")])
    for name in ("b.mid", "a.mid2", "a.mid\\t", "a.mid\n", "\na.mid"):
        Path(name).write_bytes(b"two")
        assert not made.changed(Path(name))
        made.end([Path(name)])
        assert not made.changed(Path(name))
        Path(name).write_bytes(b"three")
        assert made.changed(Path(name))
    assert not made.changed(Path("a.mid"))
