"""Eight bars of some styles in one file."""

from __future__ import annotations

import wave
from pathlib import Path

import mutagen
import numpy as np
import pytest

from backing.commands.cli import run
from backing.commands.taste import BARS, FADE_MS, GAP_MS


def test_styles_are_heard_one_after_the_other_with_silence_between(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bossa nova at 132 and slow waltz at their usual tempos: eight bars, the ring, a silence, eight bars, the ring."""
    path = tmp_path / "taste.wav"
    assert run(["styles", "bossa nova", "slow waltz", "-o", str(path), "--quiet"]) == 0
    assert capsys.readouterr().out.strip() == str(path)
    with wave.open(str(path)) as file:
        assert file.getnchannels() == 2
        sound = np.frombuffer(file.readframes(file.getnframes()), np.int16).reshape(-1, 2)
    loud = np.abs(sound.astype(float)).max(axis=1)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (loud <= 2).astype(int), [0]])))
    silent = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 20_000]
    assert len(silent) == 1
    start, end = silent[0]
    assert (
        GAP_MS - 10 <= (end - start) / 44.1 <= GAP_MS + FADE_MS
    )  # the end of a fade is as good as silent
    assert loud[: start - 44_100].max() > 3_000
    assert loud[end:].max() > 3_000
    assert start / 44_100 > BARS


def test_every_style_is_a_chapter(tmp_path: Path) -> None:
    path = tmp_path / "taste.ogg"
    assert run(["styles", "polka", "tango", "-o", str(path), "--quiet"]) == 0
    tags = mutagen.File(path).tags
    names = [tags[key][0] for key in sorted(tags.keys()) if key.upper().endswith("NAME")]
    assert names == ["polka", "tango"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["polka", "-o", "x.mid"], "-o x.mid: end the name in one of .wav .flac .ogg .mp3 .m4a"),
        (
            ["-o", "x.wav"],
            "name the styles to hear, such as  backing styles 'bossa nova' samba -o x.wav",
        ),
        (["no such style", "-o", "x.wav"], "no style"),
    ],
)
def test_what_cannot_be_tasted_says_so(
    words: list[str],
    says: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["styles", *words, "--quiet"]) == 2
    assert says in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
