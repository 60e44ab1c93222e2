"""The soundfonts of a machine: found, listed, chosen, measured; damaged ones refused and never the end of the process."""

from __future__ import annotations

import json
import os
import struct
from pathlib import Path

import pytest

from backing.commands import sounds
from backing.commands.cli import run
from backing.ground.errors import AudioUnavailable
from backing.ground.instruments import INSTRUMENTS
from backing.output.sound import choice, fonts, measuring, soundfont, trial
from backing.output.sound.balance import _MEASURED, trim_db
from backing.output.sound.soundfont import checked, contents, default_soundfont, find, told_find
from backing.output.sound.synth import RATE

PLACES = 50


@pytest.fixture(autouse=True)
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without fonts of its own, a user who chose nothing."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv(soundfont.VARIABLE, raising=False)
    monkeypatch.setattr(soundfont, "folders", lambda: [tmp_path / "fonts"])
    (tmp_path / "fonts").mkdir()


def copy(path: Path) -> Path:
    """The default font under another name, with another content: a comment more."""
    content = bytearray(default_soundfont().read_bytes())
    comment = b"ICMT" + struct.pack("<I", 4) + b"mine"
    (info,) = struct.unpack_from("<I", content, 16)
    content[20 + info : 20 + info] = comment
    for place in (4, 16):
        (length,) = struct.unpack_from("<I", content, place)
        struct.pack_into("<I", content, place, length + len(comment))
    path.write_bytes(content)
    return path


def test_without_a_choice_the_font_of_pip_plays_and_says_so() -> None:
    path, why = told_find()
    assert path == default_soundfont()
    assert "comes with pip" in why


def test_the_best_font_whose_levels_are_known_plays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fluid, lite = (
        copy(tmp_path / "fonts" / name) for name in ("FluidR3_GM.sf2", "MuseScore_General_Lite.sf3")
    )
    assert find() == default_soundfont()
    monkeypatch.setattr(soundfont.fonts, "where", lambda path: path)
    assert find() == fluid
    fluid.unlink()
    assert find() == lite
    assert find("default") == default_soundfont()
    monkeypatch.setenv(soundfont.VARIABLE, "default")
    assert find() == default_soundfont()


def test_a_choice_holds_until_it_is_taken_back(tmp_path: Path) -> None:
    mine = copy(tmp_path / "fonts" / "mine.sf2")
    assert run(["sounds", "use", "mine.sf2"]) == 0
    assert find() == mine
    assert "you chose it" in told_find()[1]
    assert find("default") == default_soundfont()
    assert run(["sounds", "use", "auto"]) == 0
    assert find() == default_soundfont()
    assert not choice.choice_file().exists()


def test_a_choice_that_is_gone_is_named(tmp_path: Path) -> None:
    mine = copy(tmp_path / "fonts" / "mine.sf2")
    sounds.use(str(mine))
    mine.unlink()
    with pytest.raises(AudioUnavailable, match=r"names .*mine\.sf2, which is not there"):
        find()


def test_the_list_tells_what_is_known(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy(tmp_path / "fonts" / "other.sf2")
    (tmp_path / "fonts" / "broken.sf2").write_bytes(b"RIFF")
    assert run(["sounds", "--json"]) == 0
    rows = {Path(row["path"]).name: row for row in json.loads(capsys.readouterr().out)}
    assert set(rows) == {"TimGM6mb.sf2", "other.sf2", "broken.sf2"}
    assert rows["TimGM6mb.sf2"]["plays"]
    assert rows["TimGM6mb.sf2"]["known"] == "shipped"
    assert rows["TimGM6mb.sf2"]["worst_cents"] == 67
    assert rows["other.sf2"]["known"] == "no"
    assert rows["other.sf2"]["worst_cents"] is None
    assert "is not a soundfont" in rows["broken.sf2"]["fault"]
    assert run(["sounds"]) == 0
    shown = capsys.readouterr().out
    assert "plays  TimGM6mb" in shown
    assert "backing sounds measure other.sf2" in shown
    assert "apt install musescore-general-soundfont-small" in shown


def test_what_is_asked_wrongly_is_answered(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["use"], ["play", "x.sf2"], ["measure", "a", "b"]):
        assert run(["sounds", *words]) == 2
        assert "backing sounds use NAME" in capsys.readouterr().err


def test_doctor_and_tags_name_the_font(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["doctor"]) == 0
    shown = capsys.readouterr().out
    assert "TimGM6mb.sf2" in shown
    assert "comes with pip" in shown


def test_what_a_file_tells_of_itself() -> None:
    told, presets = contents(default_soundfont())
    assert told.name == "TimGM6mb"
    assert {(0, 0), (0, 127), (128, 0)} <= presets


def test_measurements_are_kept_by_content(tmp_path: Path) -> None:
    mine, other = copy(tmp_path / "a.sf2"), tmp_path / "b.sf2"
    measured = fonts.Measured({"trumpet": -20.0}, (("trumpet", 60, 62, 12),), {"trumpet": 1800})
    fonts.keep(mine, measured, "a")
    other.write_bytes(mine.read_bytes())
    font = fonts.known(other)
    assert font.levels == {"trumpet": -20.0}
    program = INSTRUMENTS["trumpet"].program
    assert [font.cents(program, key) for key in (59, 60, 62, 63)] == [0, 12, 12, 0]
    assert font.cutoff_cents(program, pitched=True) == 1800
    assert sounds._listed(other, False).known == "measured"
    louder = trim_db("horns", INSTRUMENTS["trumpet"]) - trim_db(
        "horns", INSTRUMENTS["trumpet"], font.levels
    )
    assert louder == pytest.approx(-20.0 - _MEASURED["trumpet"])
    kept = fonts.where(other)
    assert kept is not None
    kept.write_text("{", "utf-8")
    assert fonts._read(kept) is None


def test_measuring_finds_what_the_tables_say_of_the_default_font() -> None:
    """Levels within 0.7 LU, a key within 3 cents of the tables, which other tests measure in their own way."""
    known = fonts.known(default_soundfont())
    for name in ("harmonica", "trumpet"):
        instrument = INSTRUMENTS[name]
        hand = measuring._Hand(default_soundfont(), instrument)
        if name == "harmonica":
            found = dict(measuring.off(hand))
            assert found[67] == pytest.approx(known.cents(instrument.program, 67), abs=3)
        else:
            hand.synth.soften(measuring.touch(hand))
            assert 0.2 <= measuring.brighter(hand) <= 1.2
        hand.synth.soften(known.cutoff_cents(instrument.program, pitched=True))
        assert measuring.level(hand) == pytest.approx(_MEASURED[name], abs=0.7)
        hand.close()


def test_neighbours_that_are_off_alike_are_one_row() -> None:
    found = [(60, -12.4), (61, -11.0), (62, 3.0), (63, 20.0), (64, 27.0)]
    assert measuring.runs("flute", found) == [
        ("flute", 60, 61, -12), ("flute", 63, 63, 20), ("flute", 64, 64, 27),
    ]  # fmt: skip


def test_a_note_that_is_sharp_is_measured_so() -> None:
    """A tone with four overtones, made 17 cents sharp."""
    import numpy as np

    t = np.arange(RATE) / RATE
    hz = 440 * 2 ** ((64 - 69) / 12 + 17 / 1200)
    tone = sum(np.sin(2 * np.pi * hz * n * t) / n for n in range(1, 6))
    assert isinstance(tone, np.ndarray)
    assert measuring.cents_off(tone, 64) == pytest.approx(17, abs=0.5)


def refusal(path: Path, *, played: bool = False) -> str:
    """What is said of a font, "" where nothing is."""
    try:
        trial.passed(checked(path)) if played else checked(path)
    except AudioUnavailable as told:
        return str(told)
    return ""


def wrecked(path: Path, place: int) -> Path:
    """Four bytes of a file overwritten, in place."""
    with path.open("r+b") as file:
        file.seek(place)
        file.write(b"\xff\x7f\xff\x7f")
    return path


def damaged(path: Path) -> list[str]:
    """One copy patched in fifty places, one after the other, each mended before the next; what is said of each."""
    size = path.stat().st_size
    told = []
    for n in range(PLACES):
        place = 4 * (n if n < 10 else (size - 100) * (n - 9) // (PLACES - 9) // 4)
        with path.open("rb") as file:
            file.seek(place)
            before = file.read(4)
        wrecked(path, place)
        told.append(refusal(path, played=True))
        with path.open("r+b") as file:
            file.seek(place)
            file.write(before)
    return told


def test_a_known_font_is_refused_wherever_it_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "a.sf2"
    path.write_bytes(default_soundfont().read_bytes())
    reasons = ("is damaged", "is not a soundfont", "is cut short")
    assert [t for t in damaged(path) if not any(reason in t for reason in reasons)] == []
    assert refusal(path, played=True) == ""


@pytest.mark.slow
def test_no_damage_of_an_unknown_font_ends_the_process(tmp_path: Path) -> None:
    """What the check of the tables lets through is played in a process of its own, whatever becomes of that."""
    told = damaged(copy(tmp_path / "a.sf2"))
    assert all(not t or "damaged" in t or "is not a soundfont" in t or "short" in t for t in told)
    assert sum(map(bool, told)) >= 4


def test_a_font_that_the_engine_dies_of_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The process that tries it is ended by a signal, as by a fault of memory."""
    path = copy(tmp_path / "a.sf2")
    killer = tmp_path / "killer"
    killer.write_text("#!/bin/sh\nkill -SEGV $$\n")
    killer.chmod(0o755)
    monkeypatch.setattr(trial.sys, "executable", str(killer))
    with pytest.raises(AudioUnavailable, match=r"cannot play .* it is damaged"):
        find(path)
    killer.write_text("#!/bin/sh\nexec sleep 30\n")
    monkeypatch.setattr(trial, "LONGEST_S", 0.2)
    with pytest.raises(AudioUnavailable, match="hangs on"):
        find(path)


def test_what_passed_is_not_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = copy(tmp_path / "a.sf2")
    assert find(path) == path
    monkeypatch.setattr(trial.sys, "executable", "/nowhere")
    assert find(path) == path


def test_tables_that_point_nowhere_are_found(tmp_path: Path) -> None:
    """SoundFont technical specification 2.04, 7: pointers rise, and end with the table that they point into."""
    whole = bytearray(default_soundfont().read_bytes())
    at = whole.index(b"phdr") + 8
    for place, value, reason in (
        (at + 24, 0xFFFF, "phdr points nowhere"),
        (whole.index(b"ibag") + 8, 0xFFFF, "ibag points nowhere"),
    ):
        struct.pack_into("<H", hurt := bytearray(whole), place, value)
        path = tmp_path / "a.sf2"
        path.write_bytes(hurt)
        with pytest.raises(AudioUnavailable, match=reason):
            checked(path)
    rows = whole.index(b"shdr") + 8
    struct.pack_into("<I", hurt := bytearray(whole), rows + 24, 0x7FFFFFFF)
    path.write_bytes(hurt)
    with pytest.raises(AudioUnavailable, match="samples lie outside"):
        checked(path)


def test_a_cache_that_cannot_be_written_is_no_hindrance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(blocked))
    path = copy(tmp_path / "a.sf2")
    assert os.fspath(find(path)) == str(path)
