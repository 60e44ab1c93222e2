"""Size of a page and how soon it sounds: `python -m tests.bench.page [CHART] [SECONDS]`.

The budget: the page of three minutes in at most 8 MB, sounding within 2 s of being opened. The browser opens the file,
Play is pressed as soon as the page is there, and the first sample that is not silent is waited for.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from backing.chart.parse import parse
from backing.commands import preparing
from backing.commands.options import Options
from backing.output.page import write as page
from tests.browser import Browser, browser

FIRST_SOUND = """
(async () => {
  if (!practice.state.playing) document.getElementById("play").click();
  const { sound } = practice, context = sound.context;
  const ear = new AnalyserNode(context, { fftSize: 2048 });
  const x = new Float32Array(2048);
  sound.master.connect(ear);
  while (true) {
    ear.getFloatTimeDomainData(x);
    if (x.some((v) => Math.abs(v) > 1e-3)) return performance.now() / 1000;
    await new Promise((r) => setTimeout(r, 5));
  }
})()"""


def first_sound_s(one: Browser, path: Path, *, press: str = "") -> float:
    """Seconds from the start of navigation to sound. With a count-in the first sound is its first stroke."""
    one.open(path)
    one.wait("window.practice && practice.studio")
    one.run(press or "0")
    return float(one.run(FIRST_SOUND))


def main() -> None:
    chart_path = Path(sys.argv[1] if len(sys.argv) > 1 else "demo/songbird.txt")
    length_s = float(sys.argv[2]) if len(sys.argv) > 2 else 180.0
    chart = parse(chart_path.read_text(encoding="utf-8"), str(chart_path))
    wish = Options().changed(length_s=length_s)
    performance = preparing.band(preparing.prepare(chart, wish), wish)
    with TemporaryDirectory() as folder, browser() as one:
        path = Path(folder) / "page.html"
        started = time.perf_counter()
        page.write(performance, chart, path)
        made_s = time.perf_counter() - started
        size = path.stat().st_size
        duration = performance.duration_s
        print(f"{duration:6.1f} s of music, {len(page.sounding(performance))} players")
        print(f"{made_s:6.1f} s to make")
        print(f"{size / 1e6:6.2f} MB, {size / 1e6 * 180 / duration:.2f} MB for three minutes")
        for words, press in (
            ("count-in", ""),
            ("band at once", "document.querySelector('input[name=count][value=\"0\"]').click()"),
            (
                "band at once, 70 %, two up",
                "document.querySelector('input[name=count][value=\"0\"]').click();"
                "document.querySelector('input[name=key][value=\"2\"]').click();"
                "const s = document.querySelector('[aria-label=\"Tempo in percent\"]'); s.value = 70; s.dispatchEvent(new Event('input'))",
            ),
        ):
            took = first_sound_s(one, path, press=press)
            print(f"{took:6.2f} s from opening to sound ({words})")


if __name__ == "__main__":
    main()
