"""A practice page whose sounds can be measured: knocks at known places and a tone of known pitch."""

from __future__ import annotations

import contextlib
import json
import os
import re
import wave
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import webdriver
from browser import Browser, BrowserError, browser
from numpy.typing import NDArray

from backing.chart.parse import parse
from backing.commands import preparing
from backing.commands.options import Options
from backing.output.page import data as page_data
from backing.output.page import write as page
from backing.performance.model import Performance

RATE = 44_100
TUNE = """title: Nine Lamps <&> "Ladders"
by: The Maker
key: Eb major
meter: 4/4
tempo: 200
style: rock eighths
notes: Brushes until the bridge.
levels: bass -3, click +2
form: A A B A
choruses: 2

[A]
| Ebmaj9 Cm7 | Fm9 Bb13 | Gm7 C7b9 | Fm7 Bb7sus4 |
  words: | Nine lamps were | burning on the | quay | |
  words: | One by one they | faded out to | sea | |

[B]
| Ab^7/C Db13#11 | N.C. | C7b9#9#11b13 F7alt/Gb | Bb7 |
"""


BROWSERS = {"chromium": browser, "firefox": webdriver.firefox, "webkit": webdriver.webkit}


@contextlib.contextmanager
def chosen() -> Iterator[Any]:
    """The browser that the environment names in PAGE_BROWSER; Chromium where it names none. Raises `BrowserError`."""
    name = os.environ.get("PAGE_BROWSER", "chromium")
    if name not in BROWSERS:
        raise BrowserError(f"PAGE_BROWSER={name}: write one of {', '.join(BROWSERS)}")
    with BROWSERS[name]() as one:
        yield one


@dataclass(frozen=True)
class Made:
    """A page and what is known of its tune."""

    path: Path
    performance: Performance
    data: dict[str, Any]
    text: str

    def beats(self) -> list[float]:
        return [b for bar in self.data["bars"] for b in bar["beats"]]

    def strokes(self) -> list[float]:
        (drums,) = [p for p in self.data["players"] if p["role"] == "drums"]
        return list(drums["onsets"])


def knocks(places_s: list[float], duration_s: float) -> NDArray[np.float32]:
    """A decaying 2 kHz knock at every place."""
    sound = np.zeros(round(duration_s * RATE) + RATE, np.float32)
    t = np.arange(round(0.03 * RATE)) / RATE
    knock = (0.7 * np.cos(2 * np.pi * 2000 * t) * np.exp(-t * 150)).astype(np.float32)
    for place in places_s:
        at = round(place * RATE)
        sound[at : at + len(knock)] = knock
    return sound[: round(duration_s * RATE)]


def tone(hz: float, duration_s: float) -> NDArray[np.float32]:
    t = np.arange(round(duration_s * RATE)) / RATE
    return (0.3 * np.sin(2 * np.pi * hz * t)).astype(np.float32)


def write_wav(path: Path, sound: NDArray[np.float32]) -> Path:
    stereo = np.repeat(sound[:, None], 2, axis=1)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((stereo * 32767).astype("<i2").tobytes())
    return path


def played(text: str) -> tuple[Any, Performance]:
    chart = parse(text, "tune.txt")
    return chart, preparing.band(preparing.prepare(chart), Options())


def build(folder: Path) -> Made:
    """Write the page of `TUNE` into a folder."""
    chart, performance = played(TUNE)
    beats = [b for bar in page_data.page_data(performance, chart, {})["bars"] for b in bar["beats"]]
    length = performance.duration_s
    stems = {
        "guitar": write_wav(folder / "guitar.wav", knocks(beats, length)),
        "bass": write_wav(folder / "bass.wav", tone(440.0, length)),
        "drums": write_wav(
            folder / "drums.wav", knocks(page_data.strokes(performance, "drums"), length)
        ),
    }
    path = page.write(performance, chart, folder / "tune.html", stems=stems)
    text = path.read_text(encoding="utf-8")
    return Made(path, performance, data_of(text), text)


def data_of(text: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.S)
    assert found
    data: dict[str, Any] = json.loads(found[1])
    return data


# Everything as in a page that nobody has touched; false where another page is there, or one that a test has spoiled.
UNTOUCHED = """(() => {
  if (!window.practice || window.spoiled || location.pathname !== %s) return false;
  const play = document.getElementById("play");
  if (play.textContent === "Stop") play.click();
  document.querySelector("dialog[open]")?.close();
  document.querySelector('.word[aria-expanded="true"]')?.click();
  [...document.querySelectorAll("#foot button")].find((b) => b.textContent === "As it came").click();
  delete document.documentElement.dataset.paper;
  document.activeElement?.blur();
  dispatchEvent(new Event("pagehide")); // what was chosen is kept at once
  document.getElementById("status").textContent = document.getElementById("message").textContent = "";
  scrollTo(0, 0);
  return true;
})()"""


def opened(chromium: Browser, made: Made) -> Iterator[Browser]:
    """The page as nobody has touched it; nothing may complain while it is used.

    The same page serves test after test. Who changes what a browser gives it sets `window.spoiled`.
    """
    chromium.dark(False)
    chromium.size(1280, 800)
    if not chromium.run(UNTOUCHED % json.dumps(made.path.absolute().as_uri()[7:])):
        chromium.open(made.path)
        chromium.wait("window.practice && practice.studio?.took < 0.2")  # every player is loaded
    chromium.run("(practice.wake(), true)")
    yield chromium
    complaints = list(chromium.errors)
    status = chromium.run("document.getElementById('status')?.textContent ?? ''")
    if complaints or "could not" in status:
        chromium.run("window.spoiled = true")
    assert not complaints, complaints
    assert "could not" not in status, status
