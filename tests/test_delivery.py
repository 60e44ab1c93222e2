"""What is handed over: stems that add up, loops without a seam, passes on their sample, faults that cost nothing.

Sources: lengths and places by arithmetic; levels in decibels; what a fault is answered with is this program's own list
of exit codes (3 no engine or soundfont, 4 a file could not be read or written, 130 interrupted).
"""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile
from numpy.typing import NDArray

from backing.chart.parse import parse
from backing.commands.cli import run
from backing.commands.options import Options
from backing.commands.practice import Practice, practised
from backing.commands.preparing import band, prepare
from backing.ground.errors import OutputError
from backing.output.asked import Sound
from backing.output.sound import mix
from backing.output.sound.audio import write_audio
from backing.output.sound.soundfont import find
from backing.output.sound.synth import RATE
from backing.performance.model import Performance
from backing.performance.session import joined
from tests.band import ROOT, chart, performed

Samples = NDArray[np.float64]

ONE_STEP = 2.0**-15  # of 16 bits
TUNE = """\
title: Six O'Clock Kettle
key: F major
tempo: 150
style: straight-ahead swing
| <Fmaj7 | Dm7 | Gm7 | C7 |
"""


@pytest.fixture(autouse=True)
def inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text(TUNE, "utf-8")


def files() -> list[str]:
    return sorted(p.name for p in Path().iterdir())


def read(path: str | Path) -> Samples:
    return np.asarray(soundfile.read(path, always_2d=True)[0])


def db(sound: Samples) -> float:
    return 10 * float(np.log10(np.mean(sound**2) + 1e-12))


# stems


@pytest.mark.parametrize("demo", ["blues", "bossa", "waltz"])
def test_stems_have_one_length_and_add_up_to_the_mix(demo: str) -> None:
    """Before gain and limiter: the same players apart and together, within one step of 16 bits."""
    whole = prepare(parse((ROOT / "demo" / f"{demo}.txt").read_text("utf-8")), Options())
    performance = band(whole, Options().changed(click="beats"))
    players = [p for p in performance.players if p.voices]
    assert "click" in [p.role for p in players]
    length = 8 * RATE + 77
    stems = list(mix.tracks(players, find(), length, apart=True))
    together = list(mix.tracks(players, find(), length, apart=False))
    assert sum(len(block[0]) for block in together if block[0] is not None) == length
    for (*apart, mixed), (both,) in zip(stems, together, strict=True):
        assert both is not None
        assert mixed is not None
        assert np.array_equal(mixed, both)
        assert {len(stem) for stem in apart if stem is not None} == {len(both)}
        total = sum(stem.astype(np.float64) for stem in apart if stem is not None)
        assert np.abs(total - both).max() < ONE_STEP


# loops


def repeated(loop: Performance, times: int) -> Performance:
    """The notes of a loop written out several times in a row."""
    turn_s = float(loop.tempo.exact_s(loop.arrangement.timeline.length_q))
    players = tuple(
        p._replace(
            notes=tuple(
                n._replace(onset_s=n.onset_s + i * turn_s, release_s=n.release_s + i * turn_s)
                for i in range(times)
                for n in p.notes
            ),
        )
        for p in loop.players
    )
    return loop._replace(players=players, duration_s=times * turn_s + 4.0)


def test_three_turns_of_a_loop_sound_like_the_bars_written_out_three_times() -> None:
    """Around each seam, level by tenths of a second and spectrum by octaves stay within 1 dB."""
    wish = Options().changed(loop=True)
    loop = band(prepare(parse(TUNE), wish), wish)
    write_audio(loop, ["loop.wav"], Sound(loop=True, bits=24, loudness=-24.0))
    write_audio(repeated(loop, 3), ["long.wav"], Sound(bits=24, loudness=-24.0))
    turn = read("loop.wav")
    frames = round(Fraction(16 * 60, 150) * RATE)
    assert len(turn) == frames
    thrice, long = np.concatenate([turn] * 3), read("long.wav")
    for seam in (frames, 2 * frames):
        around = slice(seam - RATE, seam + RATE)
        a, b = thrice[around], long[around]
        for at in range(0, len(a), RATE // 10):
            window = slice(at, at + RATE // 10)
            assert abs(db(a[window]) - db(b[window])) < 1.0, (seam, at)
        spectra = [np.abs(np.fft.rfft(x.mean(axis=1) * np.hanning(len(x)))) ** 2 for x in (a, b)]
        for low in (60, 120, 240, 480, 960, 1920, 3840, 7680):
            octave = slice(2 * low, 4 * low)  # half a hertz a bin
            levels = [10 * np.log10(s[octave].sum()) for s in spectra]
            assert abs(levels[0] - levels[1]) < 1.0, (seam, low)


def test_the_clicks_of_a_loop_stay_on_the_grid_across_its_seams() -> None:
    """Three turns end to end at 150 beats a minute: a click every 400 ms, to 5 ms; the seam is a beat like all others."""
    assert (
        run(["make", "tune.txt", "-o", "c.wav", "--loop", "--only", "click", "--click", "beats"])
        == 0
    )
    thrice = np.abs(np.concatenate([read("c.wav")] * 3)).max(axis=1)
    loud = np.flatnonzero(thrice > 0.25 * thrice.max())
    starts = loud[np.r_[True, np.diff(loud) > RATE // 5]] / RATE
    assert len(starts) == 48
    off = starts - 0.4 * np.arange(48)
    assert off.max() - off.min() < 0.005


def test_a_push_into_the_first_bar_is_heard_at_the_loops_end() -> None:
    """The pushed chord of bar 1 comes an eighth early, in the last beat of the turn, as loud as a chord."""
    roles = ["--only", "keys", "--plain"]
    assert run(["make", "tune.txt", "-o", "l.wav", "--loop", *roles]) == 0
    turn = read("l.wav")
    beat = round(0.4 * RATE)
    attack = db(turn[-beat // 3 :]) - db(turn[-beat // 2 - beat // 10 : -beat // 2])
    assert attack > 6.0


# passes


def test_every_pass_of_a_ladder_starts_on_its_sample_and_the_length_is_exact() -> None:
    """Nine tempos twice. Clicks alone: the first of each pass lies where the lengths before it add up to."""
    wish = Options().changed(only=("click",), click="beats")
    prepared = prepare(parse(TUNE), wish)
    performances, labels = practised(prepared, wish, Practice(ladder="60:100:5", passes=2))
    assert len(performances) == 18
    track = joined(performances, labels)
    write_audio(track, ["ladder.wav"], Sound(bits=24, loudness=-30.0))
    sound = read("ladder.wav")[:, 0]
    assert len(sound) == round(track.duration_s * RATE)
    exact = Fraction(0)
    first = sound[64:3000]  # the first grain of a synth's first note rises a little slower
    for number in range(18):
        quarter_us = round(Fraction(60_000_000 * 100, 150 * (60 + 5 * (number // 2))))
        place = round(exact * RATE)
        around = sound[place + 64 - 50 : place + 64 + 50 + len(first)]
        assert abs(int(np.argmax(np.correlate(around, first))) - 50) <= 1, number
        of_pass = performances[number].arrangement
        length_q = of_pass.count_in_q + of_pass.timeline.length_q
        exact += length_q * Fraction(quarter_us, 1_000_000)


def test_a_track_that_fades_ends_when_it_is_silent() -> None:
    """`duration_s` is the end of the fade, and the file is that long."""
    faded = performed(chart("F | Dm7 | Gm7 | C7", tempo=150, ending="fade 2"))
    assert faded.fade_s is not None
    assert faded.duration_s == max(n.release_s for p in faded.players for n in p.notes)
    write_audio(faded, ["f.wav"])
    sound = read("f.wav")
    assert len(sound) == round(faded.duration_s * RATE)
    assert np.abs(sound[-RATE // 2 : -RATE // 4]).max() > 1e-3
    assert np.abs(sound[-200:]).max() < 1e-4


def test_a_band_of_hard_strokes_comes_to_the_loudness_as_well() -> None:
    """Drums stand far out of it, so the limiter takes several decibels; pyloudnorm measures what is left."""
    write_audio(performed(chart("C | G | Am | F", tempo=95), "reggaeton"), ["r.wav"])
    heard = pyloudnorm.Meter(RATE).integrated_loudness(read("r.wav"))
    assert heard == pytest.approx(-16.0, abs=0.3)


# faults


def opened(process: subprocess.Popen[bytes]) -> Iterator[str]:
    """What files a process has open (Linux)."""
    for link in list(Path(f"/proc/{process.pid}/fd").iterdir()):
        with suppress(FileNotFoundError):  # closed meanwhile
            yield str(link.readlink())


def test_a_folder_that_is_removed_while_rendering_is_said() -> None:
    Path("out").mkdir()
    performance = performed(TUNE, None)

    def remove(share: float, words: str) -> None:
        shutil.rmtree("out", ignore_errors=True)

    with pytest.raises(OutputError, match="out") as caught:
        write_audio(performance, ["out/a.wav", "out/a.mp3"], progress=remove)
    assert caught.value.exit_code == 4
    assert files() == ["tune.txt"]


@pytest.mark.parametrize(
    ("variable", "content", "code", "words"),
    [
        ("BACKING_SOUNDFONT", b"no soundfont", 3, "is not a soundfont"),
        ("BACKING_SOUNDFONT", b"RIFF\xff\xff\xff\x00sfbk", 3, "is cut short"),
        ("BACKING_FLUIDSYNTH", b"no library", 3, "cannot be loaded"),
        ("BACKING_FLUIDSYNTH", None, 3, "is not there"),
        ("IMAGEIO_FFMPEG_EXE", None, 3, "the encoder cannot be started"),
    ],
)
def test_what_is_missing_or_broken_is_said_with_its_exit_code(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    variable: str,
    content: bytes | None,
    code: int,
    words: str,
) -> None:
    """One message, no traceback, nothing left behind, the old file whole."""
    Path("tune.mp3").write_bytes(b"made earlier")
    wrong = Path("wrong")
    if content is not None:
        wrong.write_bytes(content)
    monkeypatch.setenv(variable, str(wrong.absolute()))
    there = files()
    assert run(["make", "tune.txt", "--force", "--quiet"]) == code
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
    assert files() == there
    assert Path("tune.mp3").read_bytes() == b"made earlier"


def test_ctrl_c_ends_the_program_at_once_and_leaves_the_old_file_alone() -> None:
    Path("a.mp3").write_bytes(b"made earlier")
    command = [sys.executable, "-m", "backing", "make", "tune.txt", "-o", "a.mp3", "--force"]
    command += ["--length", "20:00", "--stems"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    nameless = f"{Path.cwd()}/#"  # the temporary file of the sound lies beside the target
    while not any(name.startswith(nameless) for name in opened(process)):
        assert process.poll() is None
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert b"interrupted; every file is whole" in said
    assert b"Traceback" not in said
    assert files() == ["a.mp3", "tune.txt"]
    assert Path("a.mp3").read_bytes() == b"made earlier"
