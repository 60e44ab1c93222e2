"""What a command will write is known, each file once, and none over what it is made from, before the first sound."""

from __future__ import annotations

from pathlib import Path

import pytest
import soundfile

from backing.commands.cli import run
from backing.output.files import apart
from backing.output.names import DEVICES, MOST_BYTES, safe, same_name, unique
from backing.output.sound import mix

TUNE = "title: Kettle\nkey: C major\ntempo: 300\nstyle: straight-ahead swing\n[A]\n| C6 | G7 | C6 | G7 |\n"


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(TUNE, "utf-8")


def names() -> list[str]:
    return sorted(p.name for p in Path().iterdir())


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("make tune.txt -o a.wav -o a-bass.wav --stems", "written twice"),
        ("make tune.txt -o A.mid -o a.mid", "written twice"),
        ("make tune.txt -o a.mid -o link/a.mid", "written twice"),
        ("make tune.txt -o tune.txt --force", "never written over"),
        ("make tune.txt -o TUNE.TXT --force", "never written over"),
        ("make tune.txt -o linked.txt --force", "never written over"),
        ("make tune.txt -o a.svg -o a-1.svg", "may be a page of a.svg"),
        ("rehearse tune.txt -o tune.txt --force --ladder 100:100:5", "never written over"),
        ("rehearse tune.txt -o p.wav -o P.wav --ladder 100:100:5", "written twice"),
    ],
)
def test_a_command_that_would_lose_a_file_is_refused_before_any_work(
    line: str, words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("link").symlink_to(".")
    Path("linked.txt").symlink_to("tune.txt")

    def never(*_: object, **__: object) -> None:
        raise AssertionError("work was begun")

    monkeypatch.setattr("backing.output.sound.audio.write_outputs", never)
    before = names()
    assert run([*line.split(), "--quiet"]) == 4
    assert words in capsys.readouterr().err
    assert names() == before
    assert Path("tune.txt").read_text("utf-8") == TUNE


def test_names_that_only_differ_in_how_an_accent_is_written_are_one(tmp_path: Path) -> None:
    with pytest.raises(Exception, match="written twice"):
        apart([tmp_path / "caf\u00e9.mid", tmp_path / "cafe\u0301.mid"])
    apart([tmp_path / "a.mid", tmp_path / "b.mid"])


def test_without_a_name_the_file_and_its_title_say_what_was_asked_for() -> None:
    """The full track is not overwritten by four slow bars of it in another key."""
    assert run(["make", "tune.txt", "-q"]) == 0
    whole = Path("tune.mp3").read_bytes()
    assert run(["make", "tune.txt", "--key", "Eb", "--tempo", "60%", "--bars", "1-4", "-q"]) == 0
    assert names() == ["tune-60-Eb-bars-1-4.mp3", "tune.mp3", "tune.txt"]
    assert Path("tune.mp3").read_bytes() == whole
    with soundfile.SoundFile("tune-60-Eb-bars-1-4.mp3") as file:
        assert file.title == "Kettle (60 %, in Eb, bars 1–4)"
    assert run(["rehearse", "tune.txt", "--ladder", "100:100:5", "--key", "F", "-q"]) == 0
    assert "tune-practice-100-100-5-F.mp3" in names()


@pytest.mark.parametrize("device", sorted(DEVICES))
def test_no_name_is_that_of_a_device(device: str) -> None:
    """Names that Windows keeps for itself, with any ending (its documentation of file names)."""
    for name in (device, device.upper(), f"{device}.take 2", f"{device} "):
        assert safe(name).partition(".")[0].lower() not in DEVICES


def test_safe_names_are_short_and_have_no_characters_that_a_disk_refuses() -> None:
    assert len(safe("é" * 300).encode()) <= MOST_BYTES
    assert safe('a<b>c:d"e/f\\g|h?i*j\x00k') == "a-b-c-d-e-f-g-h-i-j-k"
    assert safe("tune. ") == "tune"
    assert safe("") == "track"


def test_unique_names_are_unique_on_any_disk_and_stay_where_they_can() -> None:
    wanted = ["a.mp3", "A.mp3", "b/a.mp3", "a-2.mp3", "index.html", "é.mid", "e\u0301.mid"]
    found = unique(wanted, ["Index.HTML"])
    assert len({same_name(n) for n in found}) == len(found)
    assert found[0] == "a.mp3"
    assert found[2] == "b/a.mp3"
    assert found[4] == "index-2.html"


def test_a_page_and_sound_files_are_made_of_one_rendering(monkeypatch: pytest.MonkeyPatch) -> None:
    """And are what each of them is alone, to the byte."""
    form = ["--only", "bass", "--bars", "1-2", "--quiet"]
    assert run(["make", "tune.txt", "-o", "alone.html", *form]) == 0
    assert run(["make", "tune.txt", "-o", "alone.wav", *form]) == 0
    rendered: list[object] = []
    tracks = mix.tracks
    monkeypatch.setattr(mix, "tracks", lambda *a, **k: rendered.append(a) or tracks(*a, **k))
    assert run(["make", "tune.txt", "-o", "t.html", "-o", "t.wav", "-o", "t.mid", *form]) == 0
    assert len(rendered) == 1
    assert Path("t.html").read_bytes() == Path("alone.html").read_bytes()
    assert Path("t.wav").read_bytes() == Path("alone.wav").read_bytes()
    assert names() == ["alone.html", "alone.wav", "t.html", "t.mid", "t.wav", "tune.txt"]
