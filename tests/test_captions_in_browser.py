"""Captions and chapters read back by Chromium's own WebVTT parser, which follows the W3C's rules for parsing."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import pytest
from browser import Browser

from backing.output.captions import Cue, chapters, chord_cues, vtt
from tests.practice import TUNE, played

pytestmark = [pytest.mark.browser, pytest.mark.chromium]

READ = """
new Promise((resolve, reject) => {
  document.body.innerHTML = "";
  const video = document.createElement("video"), track = document.createElement("track");
  track.kind = KIND;
  track.default = true;
  track.onerror = () => reject(new Error("the track was refused"));
  track.onload = () => resolve([...track.track.cues].map((c) => [c.id, c.startTime, c.endTime, c.getCueAsHTML().textContent]));
  video.append(track);
  document.body.append(video);
  track.track.mode = "showing";
  track.src = "data:text/vtt;base64,DATA";
})"""


@pytest.fixture
def empty(chromium: Browser, tmp_path: Path) -> Browser:
    path = tmp_path / "empty.html"
    path.write_text("<!doctype html><title>captions</title>", encoding="utf-8")
    chromium.open(path)
    return chromium


def read_back(empty: Browser, text: str, kind: str) -> list[list[Any]]:
    data = base64.b64encode(text.encode()).decode("ascii")
    got: list[list[Any]] = empty.run(READ.replace("KIND", f'"{kind}"').replace("DATA", data))
    return got


@pytest.mark.parametrize("kind", ["captions", "chapters"])
def test_every_cue_is_read_back(empty: Browser, kind: str) -> None:
    """Times to the millisecond, names and text, with the characters that WebVTT escapes."""
    _, performance = played(TUNE.replace("[A]", "[A & C]").replace("form: A A B A\n", ""))
    cues: list[Cue] = {"captions": chord_cues, "chapters": chapters}[kind](performance)
    got = read_back(empty, vtt(cues, performance), kind)
    assert len(got) == len(cues) > 2
    for cue, (name, start, end, text) in zip(cues, got, strict=True):
        assert name == cue.name
        assert [round(start * 1000), round(end * 1000)] == [cue.start_ms, cue.end_ms]
        assert text == cue.text
    assert any("A & C" in cue.text for cue in cues)
