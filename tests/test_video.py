"""The chart as a video: what is seen when, measured in the decoded file, and files that appear whole or not at all."""

from __future__ import annotations

import json
import stat
import subprocess
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from backing.chart.ast import Chart
from backing.chart.parse import parse
from backing.commands.cli import run
from backing.commands.options import Options
from backing.commands.preparing import band, moved_chart, prepare
from backing.commands.reading import read_chart
from backing.commands.writing import write_video
from backing.ground.errors import OutputError
from backing.output import asked
from backing.output.asked import Picture
from backing.output.files import made_here
from backing.output.sheet.chord import symbol
from backing.output.sheet.marks import Text, box
from backing.output.sound.encoder import encoder_path
from backing.output.video import write as video
from backing.output.video.rows import CLOSE, fit, laid, together
from backing.output.video.scenes import Scene, scenes
from backing.output.video.screens import BACKGROUNDS, FPS, SCREENS
from backing.performance.model import Performance
from tests.each import each

RATE = 44_100
FRAME_S = 1 / FPS
HEAD = 190  # rows of the picture over the first line
# Rests, so that nothing but the click sounds; a click on every beat; a slower half, so that beats are not all alike.
TUNE = """\
title: The Clock
key: C major
tempo: 240
style: straight-ahead swing
ending: short
[A]
| N.C. | N.C. | N.C. | N.C. |
[B]
tempo: 190
| N.C. | 3/4 N.C. | N.C. | N.C. |
"""
DEMOS = ("blues", "seven", "ferry", "window")


def ffmpeg(*arguments: object) -> bytes:
    command = [encoder_path(), "-v", "error", *map(str, arguments)]
    return subprocess.run(command, check=True, capture_output=True).stdout


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a video of `TUNE`, its timeline, and the chart."""
    folder = tmp_path_factory.mktemp("video")
    (folder / "tune.txt").write_text(TUNE, "utf-8")
    line = ["make", str(folder / "tune.txt"), "--click", "beats", "--only", "bass", "-q"]
    line += ["--screen", "720p"]
    for ending in ("mp4", "json", "wav"):
        line += ["-o", str(folder / f"tune.{ending}")]
    assert run(line) == 0
    return folder


@pytest.fixture(scope="module")
def luma(made: Path) -> Any:
    """The brightness of every frame, an array of shape (frames, 720, 1280)."""
    raw = ffmpeg("-i", made / "tune.mp4", "-map", "0:v", "-pix_fmt", "gray", "-f", "rawvideo", "-")
    return np.frombuffer(raw, np.uint8).reshape(-1, 720, 1280)


@pytest.fixture(scope="module")
def onsets(made: Path) -> list[float]:
    """When each click begins in the sound that the video plays, in seconds.

    ffmpeg leaves out what the edit list says is the encoder's priming, as players do (ISO/IEC 14496-12, 8.6.6).
    """
    raw = ffmpeg("-i", made / "tune.mp4", "-map", "0:a", "-ac", "1", "-f", "f32le", "-")
    sound = np.abs(np.frombuffer(raw, np.float32))
    loud = np.flatnonzero(sound > 0.25 * sound.max())
    found = [loud[0]]
    for at in loud:
        if at - found[-1] > 0.2 * RATE:
            found.append(at)
    return [float(at) / RATE for at in found]


@cache
def played(path: Path, **more: object) -> tuple[Performance, Chart, Options]:
    """A chart as it is asked for, performed."""
    wish = Options().changed(choruses=1, **more)
    prepared = prepare(read_chart(path, wish.reading), wish)
    return band(prepared, wish), moved_chart(prepared.chart, wish), wish


def seen(path: Path, screen: str = "1080p", **more: object) -> list[Scene]:
    performance, chart, wish = played(path, **more)
    return scenes(performance, chart, SCREENS[screen], paper=wish.paper)


def test_the_file_is_what_every_player_takes(made: Path) -> None:
    """H.264 High and AAC in MP4, 4:2:0, its index in front; frames of one length (ISO/IEC 14496-10, -12, -14)."""
    path = made / "tune.mp4"
    assert ffmpeg("-i", path, "-f", "null", "-") == b""
    told = subprocess.run(
        [encoder_path(), "-hide_banner", "-i", str(path)], capture_output=True, text=True
    ).stderr
    for words in (
        "Video: h264 (High)", "yuv420p(tv, bt709, progressive)", "1280x720", "30 fps",
        "Audio: aac (LC)", "44100 Hz, stereo", "start: 0.000000", "title           : The Clock",
    ):  # fmt: skip
        assert words in told
    data = path.read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")
    assert b"x264" not in data.replace(b"libx264", b"")
    assert b"Lavf" not in data
    assert made_here(path)


def test_every_frame_is_as_long_as_the_others_and_there_are_as_many_as_the_sound_is_long(
    made: Path,
) -> None:
    text = ffmpeg("-i", made / "tune.mp4", "-map", "0:v", "-f", "framecrc", "-").decode()
    rows = [line.split(",") for line in text.splitlines() if not line.startswith("#")]
    assert "#tb 0: 1/30" in text
    assert [int(row[2]) for row in rows] == list(range(len(rows)))
    sound = ffmpeg("-i", made / "tune.wav", "-f", "s16le", "-")
    length_s = len(sound) / 4 / RATE
    assert length_s <= len(rows) * FRAME_S < length_s + FRAME_S


def test_every_beat_is_lit_within_a_frame_of_its_sound(
    made: Path, luma: Any, onsets: list[float]
) -> None:
    """Ticks and bar lines are found in the picture, beats in the sound: neither is asked of the program."""
    count_in = json.loads((made / "tune.json").read_text())["count_in"]["end_s"]
    beats = [t for t in onsets if t > count_in - 0.02]
    shown = [n * FRAME_S for n in lit(luma)]
    assert len(shown) == len(beats) == 4 * 4 + 4 + 3 * 3 == 29
    late = [round((a - b) / FRAME_S, 2) for a, b in zip(shown, beats, strict=True)]
    assert max(map(abs, late)) <= 1.0, late


def lit(luma: Any) -> list[int]:
    """The frame on which each beat is lit: the first that has the rule thick where its tick stands."""
    dark = luma[0] < 120
    wide = dark[HEAD:].sum(axis=1)
    rule = HEAD + int(
        np.flatnonzero(wide > 0.9 * wide.max())[0]
    )  # the upper of those from end to end
    inside = np.flatnonzero(dark[rule])
    left, right = int(inside[0]), int(inside[-1])
    thick = luma[:, rule - 4, left + 4 : right - 4] < 160  # the thin rule does not reach so high
    filled = thick.sum(axis=1).astype(int)
    first = np.flatnonzero(filled > filled[0])[0]
    others = np.flatnonzero(np.diff(filled) < -100) + 1
    found = []
    for start, end in pairwise([int(first), *map(int, others), len(luma)]):
        under = np.flatnonzero(luma[start, rule + 8, left : right - 6] < 160)
        ticks = [int(x) for i, x in enumerate(under) if i == 0 or x - under[i - 1] > 3]
        for x in ticks:
            column = luma[start:end, rule - 4, left + x + 4] < 160
            found += [start + int(n) for n in np.flatnonzero(column)[:1]]
    return found


def changed(luma: Any, n: int) -> bool:
    """Whether a frame shows another figure than the one before."""
    return n > 0 and bool((np.abs(luma[n, :HEAD].astype(int) - luma[n - 1, :HEAD]) > 60).any())


def test_the_count_stands_in_figures_as_it_is_struck(
    made: Path, luma: Any, onsets: list[float]
) -> None:
    """The frames on which the head of the picture changes, up to the first bar, are those of the strokes."""
    count_in = json.loads((made / "tune.json").read_text())["count_in"]["end_s"]
    strokes = [t for t in onsets if t < count_in - 0.02]
    shown = [n * FRAME_S for n in range(round(count_in * FPS) - 2) if changed(luma, n)]
    assert len(shown) == len(strokes) - 1 == 3  # the first figure is there from the start
    assert max(abs(a - b) for a, b in zip(shown, strokes[1:], strict=True)) <= FRAME_S


@pytest.mark.parametrize("name", DEMOS)
def test_nothing_stands_over_anything_else_or_outside_the_screen(name: str) -> None:
    path = Path(__file__).parent.parent / "demo" / f"{name}.txt"
    solo = {"chord_melody": "full"} if "melody:" in path.read_text("utf-8") else {}
    faults = []
    for size, screen in SCREENS.items():
        for scene in seen(path, size, **solo):
            marks = (*scene.still.marks, *scene.still.bright)
            boxes = [box(m) for m in marks]
            inside = all(min(b) >= 0 and b[2] <= screen.wide and b[3] <= screen.high for b in boxes)
            if not inside:
                faults.append(f"{size}: outside the screen at {scene.start_s}")
            texts = sorted(
                (box(m) for m in marks if isinstance(m, Text)), key=lambda b: (b[3], b[0])
            )
            for one, other in pairwise(texts):
                if one[3] == other[3] and one[2] > other[0] + 8:  # signs reach under their letter
                    faults.append(f"{size}: text over text at {scene.start_s}: {one} {other}")
    assert faults == []


@pytest.mark.parametrize("screen", SCREENS)
def test_every_bar_and_chord_is_shown_once_and_in_order(screen: str) -> None:
    text = (Path(__file__).parent.parent / "demo" / "seven.txt").read_text("utf-8")
    timeline = prepare(parse(text, "seven"), Options().changed(choruses=2)).timeline
    size, rows = laid(timeline, lambda i: symbol(timeline.chords[i].chord), SCREENS[screen])
    assert SCREENS[screen].least <= size <= SCREENS[screen].largest
    assert [a.end_q for a in rows[:-1]] == [b.start_q for b in rows[1:]]
    assert (rows[0].start_q, rows[-1].end_q) == (Fraction(0), timeline.length_q)
    assert [c.start_q for row in rows for c in row.chords] == [c.start_q for c in timeline.chords]
    assert all(fit(row, SCREENS[screen].room) >= CLOSE * size for row in rows)
    assert [row for group in together(rows, 2) for row in group] == rows


def test_a_line_that_does_not_fit_is_halved_until_it_does(tmp_path: Path) -> None:
    """A full bar stands alone, and the others beside it stay together."""
    path = tmp_path / "tune.txt"
    full = "Dm7b5 G7#5b9 C#m7b5 F#13#11"
    path.write_text(
        f"key: C major\nstyle: jazz ballad\n[A]\n| {full} | C | C | C | C | C | C | C |\n", "utf-8"
    )
    performance, _, _ = played(path)
    timeline = performance.arrangement.timeline
    symbols = [symbol(span.chord) for span in timeline.chords]
    _, rows = laid(timeline, symbols.__getitem__, SCREENS["upright"])
    assert [len(row.bars) for row in rows[:4]] == [1, 1, 2, 4]


def test_long_words_are_cut_where_the_card_ends(tmp_path: Path) -> None:
    path = tmp_path / "tune.txt"
    words = "a name that goes on and on " * 9
    path.write_text(
        f"title: {words}\nby: {words}\nkey: C major\nstyle: jazz ballad\n[{words[:60]}]\n| C | F |\n",
        "utf-8",
    )
    for size, screen in SCREENS.items():
        for scene in seen(path, size):
            assert max(box(m)[2] for m in scene.still.marks) <= screen.wide - screen.side + 2
            assert sum("…" in m.text for m in scene.still.marks if isinstance(m, Text)) in (1, 2)


def test_the_tab_of_the_solo_guitar_is_shown_and_left_out(tmp_path: Path) -> None:
    path = tmp_path / "tune.txt"
    path.write_text(
        "key: C major\nstyle: jazz ballad\n[A]\n| Cmaj7 | G7 |\nmelody: | E5 | D5 |\n", "utf-8"
    )

    def figures(**more: object) -> int:
        first = seen(path, chord_melody="full", **more)[0]
        return sum(isinstance(m, Text) and m.text.isdigit() for m in first.still.marks)

    assert figures() - figures(tab="off") >= 4


def test_an_instrument_that_transposes_reads_its_own_chords(tmp_path: Path) -> None:
    path = tmp_path / "tune.txt"
    path.write_text("key: C major\nstyle: jazz ballad\n[A]\n| Cmaj7 | G7 |\n", "utf-8")
    roots = [m.text for m in seen(path, transposing="Bb")[0].still.marks if isinstance(m, Text)]
    assert "D" in roots
    assert "C" not in roots


def test_passes_of_a_practice_track_are_counted_and_shown_one_after_the_other(
    tmp_path: Path,
) -> None:
    from backing.commands.practice import Practice, practised
    from backing.performance.session import joined

    path = tmp_path / "tune.txt"
    path.write_text(
        "key: C major\ntempo: 200\nstyle: straight-ahead swing\n[A]\n| C6 | G7 |\n", "utf-8"
    )
    prepared = prepare(read_chart(path, Options().reading), Options())
    performance = joined(*practised(prepared, Options(), Practice(ladder="80:100:20", passes=1)))
    found = scenes(performance, prepared.chart, SCREENS["1080p"])
    counts = ["".join(m.text for m in s.still.bright if isinstance(m, Text)) for s in found]
    half = performance.passes_s[1]
    assert [c for c, s in zip(counts, found, strict=True) if c and s.start_s < half - 0.1] == list(
        "121234"
    )
    assert [c for c, s in zip(counts, found, strict=True) if c and s.start_s > half - 0.1] == list(
        "121234"
    )
    assert [s.start_s for s in found] == sorted(s.start_s for s in found)


def test_screens_and_backgrounds_are_those_that_can_be_asked_for() -> None:
    assert tuple(SCREENS) == asked.SCREENS
    assert tuple(BACKGROUNDS) == asked.BACKGROUNDS
    for picture, words in (
        (Picture("4k"), "'4k' is no screen"),
        (Picture("720p", "red"), "'red' is no background"),
    ):
        with pytest.raises(OutputError, match=words):
            video.asked(picture)
    assert SCREENS["720p"].pixels == (1280, 720)
    assert all(n % 2 == 0 for screen in SCREENS.values() for n in screen.pixels)


@each("name, colours", BACKGROUNDS.items())
def test_letters_stand_out_from_their_background(name: str, colours: Any) -> None:
    """WCAG 2.2, 1.4.3: large letters have at least three times the light of their paper, or a third of it."""
    for ink in (colours.ink, colours.soft, colours.now):
        light, dark = sorted((luminance(ink), luminance(colours.paper)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 3, (name, ink)


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


# files


def again(made: Path, path: Path) -> None:
    """The video of the same sound once more."""
    wish = Options().changed(click="beats", only=("bass",), screen="720p")
    prepared = prepare(read_chart(made / "tune.txt", wish.reading), wish)
    write_video(prepared, band(prepared, wish), path, made / "tune.wav", wish)


def test_the_same_chart_gives_the_same_bytes(made: Path, tmp_path: Path) -> None:
    again(made, tmp_path / "a.mp4")
    assert (tmp_path / "a.mp4").read_bytes() == (made / "tune.mp4").read_bytes()


@pytest.mark.parametrize(
    ("program", "words"),
    [
        (
            "#!/bin/sh\necho 'no such codec' >&2\nexit 1\n",
            "the encoder stopped before the end: no such codec",
        ),
        ("#!/bin/sh\nexec sleep 60\n", "gave no sign of life"),
    ],
)
def test_an_encoder_that_fails_or_hangs_leaves_the_old_file(
    program: str, words: str, made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "broken"
    broken.write_text(program)
    broken.chmod(broken.stat().st_mode | stat.S_IXUSR)
    target = tmp_path / "a.mp4"
    target.write_bytes((made / "tune.mp4").read_bytes())
    monkeypatch.setattr("backing.output.sound.encoder.SILENCE_S", 0.3)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(broken))
    with pytest.raises(OutputError, match=words):
        again(made, target)
    assert target.read_bytes() == (made / "tune.mp4").read_bytes()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.mp4", "broken"]


def test_without_an_encoder_nothing_is_rendered(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(tmp_path / "gone"))
    assert run(["make", str(made / "tune.txt"), "-o", str(tmp_path / "a.mp4")]) == 3
    assert "the encoder cannot be started" in capsys.readouterr().err


def test_a_film_of_somebody_else_is_kept(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "a.mp4"
    ffmpeg("-f", "lavfi", "-i", "color=s=32x32:d=0.1", target)
    before = target.read_bytes()
    assert run(["make", str(made / "tune.txt"), "-o", str(target)]) == 4
    assert "was not made by this program" in capsys.readouterr().err
    assert target.read_bytes() == before


def test_words_are_read_whole_and_not_in_syllables(tmp_path: Path) -> None:
    path = tmp_path / "tune.txt"
    path.write_text(
        "key: C major\nstyle: jazz ballad\n[A]\n| Cmaj7 | G7 |\nmelody: | E5 F5 | D5 |\n"
        "words: | o-ver__ | home |\n",
        "utf-8",
    )
    texts = [m.text for m in seen(path)[0].still.marks if isinstance(m, Text)]
    assert {"over", "home"} <= set(texts)
