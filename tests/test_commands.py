"""The commands from outside: what they write, what they say, how they leave.

Sources: loudness and true peak as ITU-R BS.1770-4 measures them (pyloudnorm as the independent meter); MIDI read back
with mido and pretty_midi.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
import pytest

from backing.commands.cli import run
from backing.ground.instruments import INSTRUMENTS
from backing.styles.find import find
from tests.each import each

ROOT = Path(__file__).parent.parent
WALTZ = ROOT / "demo" / "waltz.txt"
SIX = (
    "straight-ahead swing",
    "jazz waltz",
    "bossa nova",
    "rock eighths",
    "pop ballad",
    "slow blues",
)
METERS = ("2/4", "3/4", "4/4", "5/4 (3+2)", "6/8", "7/8 (2+2+3)", "9/8", "12/8")
FIVE_MISTAKES = """\
title: Five Mistakes
tmepo: 120
meter: 4/4

[A]
| Am7 D7 Gmaj7 | Cmaj7 |
| H7 | C(b9) | G7 |
|: Dm7 | G7 | C |
"""


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def files() -> list[str]:
    """What lies in the current folder."""
    return sorted(p.name for p in Path().iterdir())


def chart(text: str, name: str = "tune.txt") -> str:
    Path(name).write_text(text, "utf-8")
    return name


def notes(path: str | Path) -> dict[str, list[tuple[int, int, int]]]:
    """(tick, pitch, velocity) of every note by track name."""
    found: dict[str, list[tuple[int, int, int]]] = {}
    for track in mido.MidiFile(path).tracks:
        at = 0
        for message in track:
            at += message.time
            if message.type == "note_on" and message.velocity:
                found.setdefault(track.name, []).append((at, message.note, message.velocity))
    return found


def test_the_same_seed_gives_the_same_bytes_and_another_seed_other_notes() -> None:
    for name, seed in (("a", "3"), ("b", "3"), ("c", "4")):
        assert run(["make", str(WALTZ), "-o", f"{name}.mid", "--seed", seed]) == 0
    assert Path("a.mid").read_bytes() == Path("b.mid").read_bytes()
    assert notes("a.mid") != notes("c.mid")


def test_transposing_leaves_the_drums_and_moves_harmony_and_first_bass_notes() -> None:
    """Moved by two semitones: same drums, chord pitch classes and the bass's first notes two higher, all in range."""
    run(["make", str(WALTZ), "-o", "a.mid", "-o", "a.json"])
    run(["make", str(WALTZ), "-o", "b.mid", "-o", "b.json", "--transpose", "2"])
    before, after = notes("a.mid"), notes("b.mid")
    assert before["drums"] == after["drums"]
    one, two = (json.loads(Path(f).read_text("utf-8"))["chords"] for f in ("a.json", "b.json"))
    assert [[(p + 2) % 12 for p in c["pitch_classes"]] for c in one] == [
        c["pitch_classes"] for c in two
    ]
    assert (before["bass"][0][1] + 2) % 12 == after["bass"][0][1] % 12
    for part in find("jazz waltz").parts:
        for _, pitch, _ in after.get(part.role, []):
            assert part.instrument.low <= pitch <= part.instrument.high


def test_every_instrument_named_by_a_style_is_a_general_midi_sound() -> None:
    for style in SIX:
        for part in find(style).parts:
            assert part.instrument == INSTRUMENTS[part.instrument.name]


def beats(meter: str) -> int:
    return int(meter.split("/")[0])


@pytest.mark.slow
@pytest.mark.parametrize("meter", METERS)
@pytest.mark.parametrize("style", SIX)
def test_each_of_the_six_styles_plays_in_each_meter(style: str, meter: str) -> None:
    """A full track: in every bar the bass sounds its chord's bass, and the harmony instruments its guide tones."""
    symbols = ["Cmaj7", "A7", "Dm7", "G7/B", "Em7b5", "A7b9", "Dm7/C", "G13"]
    lines = "\n".join("| " + " | ".join(symbols) + " |" for _ in range(2))
    name = chart(f"meter: {meter}\nstyle: {style}\nplan: flat\nending: as written\n{lines}\n")
    assert run(["make", name, "-o", "t.json", "-o", "t.mid", "--plain", "--force"]) == 0
    told = json.loads(Path("t.json").read_text("utf-8"))
    assert len(told["bars"]) == 16
    assert not any(b["silent"] for b in told["bars"])
    explained = told_notes(name)
    for bar, chord in zip(told["bars"], told["chords"], strict=True):
        here = [n for n in explained if n["bar"] == bar["index"]]
        classes = set(chord["pitch_classes"])
        bass = [n for n in here if n["player"] == "bass"]
        assert bass, (style, meter, bar["index"])
        lowest = chord["bass"] or chord["root"]
        assert any(pitch_class(n["pitch"]) == pitch_class(lowest + "4") for n in bass), (
            style,
            meter,
            bar,
        )
        harmony = {
            pitch_class(n["pitch"])
            for n in here
            if n["player"] in ("keys", "guitar", "strings")
            and n["degree"]  # not a shape that slides into its chord
        }
        assert harmony, (style, meter, bar["index"])
        assert any(n["player"] == "drums" for n in here)
        following = told["chords"][bar["index"] % 16]["pitch_classes"]
        assert harmony <= classes | set(following), (style, meter, bar["index"])


def told_notes(name: str) -> list[dict[str, Any]]:
    from backing.commands.options import Options
    from backing.commands.reports import explain

    result = explain(Path(name), Options().changed(plain=True), as_json=True)
    assert isinstance(result, list)
    return result


def pitch_class(name: object) -> int:
    from backing.ground.pitch import Pitch

    return Pitch.parse(str(name)).midi % 12 if not isinstance(name, int) else name % 12


def test_five_mistakes_are_five_diagnostics_and_no_file(capsys: pytest.CaptureFixture[str]) -> None:
    """Each with line, column, a mark under the place and a hint."""
    assert run(["make", chart(FIVE_MISTAKES)]) == 1
    said = capsys.readouterr().err
    heads = [line for line in said.splitlines() if line.startswith("tune.txt:")]
    assert [h.split(":")[1] for h in heads] == ["2", "6", "7", "7", "8"]
    assert said.count("hint:") == 5
    assert said.count("^") >= 5
    assert "did you mean" in said.lower() or "tempo" in said
    assert files() == ["tune.txt"]


@each(
    ("data", "code"),
    [
        (b"", 1),
        (b"\x00\x01\x02\xff\xfe" * 100, 1),
        (b"| C " * 10_000 + b"|\n", 1),
        (b"| " + b"C" * 100_000 + b" |\n", 1),
        (b"| C |\n" * 10_000, 1),
        (b"style: medium swung\n| C |\n", 1),
        ("| C |".encode("utf-16"), 1),
    ],
)
def test_a_bad_chart_is_answered_and_nothing_is_written(
    data: bytes, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bad.txt").write_bytes(data)
    assert run(["make", "bad.txt", "-o", "x.mid"]) == code
    said = capsys.readouterr().err
    assert re.match(r"bad\.txt:(1|2001):\d+: E\d{3} ", said)
    assert "Traceback" not in said
    assert len(said) < 40_000
    assert files() == ["bad.txt"]


@each(
    ("arguments", "code", "words"),
    [
        (["make", "none.txt"], 4, "there is no such file"),
        (["make", "tune.tx"], 4, "Did you mean 'tune.txt'"),
        (["make", "."], 4, "is a folder"),
        (["make", "tune.txt", "-o", "x.doc"], 2, "end the name in one of"),
        (["make", "tune.txt", "-o", "x.midi"], 2, "for MIDI write .mid"),
        (["make", "tune.txt", "-o", "nowhere/x.mid"], 4, "nowhere"),
        (["make", "tune.txt", "-o", "x.wav", "--soundfont", "none.sf2"], 3, "none.sf2"),
        (["make", "tune.txt", "--style", "bosa nova"], 2, "bossa nova"),
        (["make", "tune.txt", "--only", "horns", "-o", "x.mid"], 2, "has no horns; it has"),
        (["make", "tune.txt", "--section", "C", "-o", "x.mid"], 2, "C"),
        (["make", "tune.txt", "--bars", "90-95", "-o", "x.mid"], 2, "90"),
        (["make", "tune.txt", "--tempo", "quick"], 2, "96 or 75%"),
        (["make"], 2, "Missing argument"),
        (["bake"], 2, "No such command"),
    ],
)
def test_a_wrong_request_has_its_exit_code_and_says_what_to_do(
    arguments: list[str], code: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    chart("style: straight-ahead swing\n[A]\n| C | G7 | C | % |\n")
    assert run(arguments) == code
    assert words in capsys.readouterr().err
    assert files() == ["tune.txt"]


def test_a_folder_that_may_not_be_written_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    """A file where a folder should be stands for what the file system refuses (tests may run as root)."""
    name = chart("style: straight-ahead swing\n| C |\n")
    Path("taken").write_text("")
    assert run(["make", name, "-o", "taken/x.mid"]) == 4
    assert "taken" in capsys.readouterr().err


def test_a_foreign_file_is_replaced_only_by_force(capsys: pytest.CaptureFixture[str]) -> None:
    name = chart("style: straight-ahead swing\n| C |\n")
    Path("x.mid").write_bytes(b"somebody's work")
    assert run(["make", name, "-o", "x.mid"]) == 4
    assert "--force" in capsys.readouterr().err
    assert Path("x.mid").read_bytes() == b"somebody's work"
    assert run(["make", name, "-o", "x.mid", "--force"]) == 0
    first = Path("x.mid").read_bytes()
    assert run(["make", name, "-o", "x.mid", "--seed", "2"]) == 0
    assert Path("x.mid").read_bytes() != first


def test_a_chart_is_never_replaced_without_force() -> None:
    name = chart("style: straight-ahead swing\n| C |\n")
    Path("tidy.txt").write_text("# mine\n")
    assert run(["make", name, "-o", "tidy.txt"]) == 4
    assert Path("tidy.txt").read_text() == "# mine\n"
    assert run(["make", name, "-o", "tidy.txt", "--force"]) == 0
    assert "| C" in Path("tidy.txt").read_text()


@pytest.mark.slow
def test_the_waltz_as_mp3_has_the_stated_length_loudness_and_no_silent_bar() -> None:
    """Decoded length within 0.05 s of the timeline, -16 ±0.5 LUFS, true peak at most -1 dBTP, every bar heard."""
    import imageio_ffmpeg
    import numpy as np
    import pyloudnorm

    assert run(["make", str(WALTZ), "-o", "w.mp3", "-o", "w.json", "--quiet"]) == 0
    raw = subprocess.run(
        [
            imageio_ffmpeg.get_ffmpeg_exe(),
            "-v",
            "error",
            "-i",
            "w.mp3",
            "-f",
            "f32le",
            "-ac",
            "2",
            "-ar",
            "44100",
            "-",
        ],
        capture_output=True,
        check=True,
    ).stdout
    sound = np.frombuffer(raw, np.float32).reshape(-1, 2)
    told = json.loads(Path("w.json").read_text("utf-8"))
    assert abs(len(sound) / 44100 - told["duration_s"]) < 0.05
    assert abs(pyloudnorm.Meter(44100).integrated_loudness(sound.astype(np.float64)) + 16) < 0.5
    assert true_peak_db(sound) <= -1.0 + 0.05
    for bar in told["bars"]:
        part = sound[int(bar["start_s"] * 44100) : int(bar["end_s"] * 44100)]
        loud = 20 * np.log10(np.sqrt(np.mean(part**2)) + 1e-12)
        assert bar["silent"] or loud > -40, bar


def true_peak_db(sound: Any) -> float:
    """Four times oversampled peak in dBTP (BS.1770-4, annex 2), by windowed-sinc interpolation in blocks."""
    import numpy as np

    taps = np.arange(-48, 49)
    kernel = np.sinc(taps / 4) * np.kaiser(97, 8.0)
    highest = 0.0
    for channel in sound.T:
        for start in range(0, len(channel), 1 << 18):
            block = channel[max(0, start - 64) : start + (1 << 18) + 64].astype(np.float64)
            stuffed = np.zeros(len(block) * 4)
            stuffed[::4] = block
            highest = max(highest, float(np.abs(np.convolve(stuffed, kernel, "same")).max()))
    return float(20 * np.log10(highest))


def test_check_lists_form_and_chords_and_as_json_the_timeline(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["check", str(ROOT / "demo" / "bossa.txt")]) == 0
    said = capsys.readouterr().out
    assert "form: A B | A B" in said
    assert "Bbmaj7#11" in said
    assert run(["check", "--json", str(ROOT / "demo" / "bossa.txt")]) == 0
    (told,) = json.loads(capsys.readouterr().out)
    assert told["form"] == ["A", "B", "A", "B"]
    assert told["timeline"]["bars"][0]["meter"] == "4/4"
    assert told["diagnostics"] == []


def test_check_says_what_a_style_does_in_a_meter_that_is_not_its_own(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["check", chart("meter: 5/4\nstyle: bossa nova\n| Cm7 | F7 |\n")]) == 0
    assert "note: bossa nova in 5/4 (3+2): " in capsys.readouterr().out
    assert run(["check", chart("meter: 4/4\nstyle: bossa nova\n| Cm7 | F7 |\n")]) == 0
    assert "bossa nova in" not in capsys.readouterr().out


def test_check_names_every_mistake_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", "--json", chart(FIVE_MISTAKES)]) == 1
    (told,) = json.loads(capsys.readouterr().out)
    assert [d["line"] for d in told["diagnostics"]] == [2, 6, 7, 7, 8]
    assert set(told["diagnostics"][0]) == {
        "code",
        "severity",
        "line",
        "column",
        "end_column",
        "message",
        "hint",
    }
    assert told["timeline"] is None


def test_chord_reports_many_symbols_and_refuses_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["chord", "--json", "C7b9", "Am7/D"]) == 0
    first, second = json.loads(capsys.readouterr().out)
    assert first["notes"] == ["C", "E", "G", "Bb", "Db"]
    assert second["bass"] == "D"
    assert run(["chord", "H7"]) == 1
    assert "B7" in capsys.readouterr().out


def test_explain_says_why_of_every_note(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", str(WALTZ), "--bars", "5-6", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {n["player"] for n in told} >= {"bass", "drums"}
    assert all(n["why"] for n in told)
    assert all(Fraction(n["length"]) > 0 for n in told)
    assert run(["explain", str(WALTZ), "--bars", "5-6"]) == 0
    assert "bass" in capsys.readouterr().out


def test_styles_lists_and_shows_and_checks(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["styles"]) == 0
    assert "bossa nova" in capsys.readouterr().out
    assert run(["styles", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert set(rows[0]) == {"name", "about", "meters", "tempo", "feel", "players"}
    assert run(["styles", "straight-ahead swing"]) == 0
    assert "ride" in capsys.readouterr().out
    Path("mine.toml").write_text('name = "mine"\nabuot = "a groove"\n')
    assert run(["styles", "--check", "mine.toml"]) == 1
    assert "mine.toml:2:" in capsys.readouterr().out


def test_doctor_finds_engine_soundfont_encoder_and_styles(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["doctor", "--json"]) == 0
    assert all(f["ok"] for f in json.loads(capsys.readouterr().out))


def test_the_beginning_of_an_option_is_answered_with_those_that_begin_so(
    capsys: pytest.CaptureFixture[str],
) -> None:
    name = chart("| C |\n")
    assert run(["check", name, "--tune", "-2"]) == 2
    assert (
        capsys.readouterr().err
        == "backing: there is no option --tune; did you mean --tuned or --tune-number?\n"
    )
    assert run(["check", name, "--choru=2"]) == 2
    assert "did you mean --choruses?" in capsys.readouterr().err
    assert run(["check", name, "--tuned", "-2"]) == 0
    assert run(["check", name, "--tunde", "-2"]) == 2
    assert "--tuned" in capsys.readouterr().err
    assert run(["check", "--", "--tune"]) == 4


def test_every_command_has_help_with_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("make", "check", "explain", "chord", "styles", "doctor"):
        assert run([command, "--help"]) == 0
        assert f"Example: backing {command}" in " ".join(capsys.readouterr().out.split())


def test_the_module_runs_as_a_program() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "backing", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("backing 0.")
