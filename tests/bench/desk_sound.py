"""The band of the desk in a browser while somebody types: `python -m tests.bench.desk_sound [EDITS]`.

A desk of its own and headless Chromium: the band goes round a chart while 500 edits are typed, a sixth of them with a
mistake, five a second. Told are the frames that came, those that were missing between two messages, how often and for
how long the page had nothing to play, in frames and by the clock (a browser without a sound device asks for a second at once
after it was held up), and from a press of Play to the first frame that was heard: as soon as the page is there, when it
has stood open until the band was there, and later, against a message to the desk and back on the same server.
"""

from __future__ import annotations

import json
import sys
import threading
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

from backing.ground import dice
from tests.browser import browser
from tests.desks import desk

TUNE = """title: Nine Lamps
key: G major
tempo: 140
style: bossa nova

[A]
| G | Em7 | Am7 | D7 |
| G | C | D7 | G |
"""
EDITS = [
    ("tempo: 140", "tempo: 132"), ("Em7", "E7"), ("Am7", "Am9"), ("D7", "D7b9"), ("| C", "| Cm"), ("bossa nova", "samba"),
    ("| Am7", "| Am7 | Am7"), ("Em7", "Em7x"), ("[A]", "[B"), ("title: Nine", "title: Ten"),
]  # fmt: skip
SEEN = "document.body.dataset.seen === String(window.desk?.revision) && desk.words !== null"
PRESSED = """(async () => {
  const begun = performance.now();
  const { generation = 0 } = desk.band._sound?.counts ?? {};
  desk.toggle();
  const there = () => desk.band._sound && desk.band._sound.counts.generation > generation && desk.band._sound.counts.played;
  while (!there()) await new Promise((go) => setTimeout(go, 1));
  return performance.now() - begun;
})()"""
ECHO = """(async () => {
  const begun = performance.now();
  await desk.line.ask("chord", { symbol: "C", german: false });
  return performance.now() - begun;
})()"""


def typed(page: Any, text: str) -> None:
    """The whole text anew, as one edit."""
    page.run(
        "(() => { const { view } = desk.editor; view.dispatch({ changes: { from: 0, to: view.state.doc.length,"
        f" insert: {json.dumps(text)} }}, userEvent: 'input.type' }}); return true; }})()"
    )


def main() -> None:
    edits = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with TemporaryDirectory() as folder:
        Path(folder, "lamps.txt").write_text(TUNE, "utf-8")
        with desk(Path(folder)) as one, browser() as page:
            page.size(1440, 900)
            page.visit(one.address)
            page.visit(f"{one.origin}/#lamps.txt")
            page.wait(SEEN)
            echo = median(page.run(ECHO) for _ in range(9))
            at_once = page.run(PRESSED)
            page.visit("about:blank")
            page.visit(f"{one.origin}/#lamps.txt")
            page.wait(SEEN)
            page.run(
                "desk.band.on.state = ((told) => (state) => { told(state); window.there ||= 'tempo' in state; })(desk.band.on.state), true"
            )
            page.wait("window.there")
            first = page.run(PRESSED)
            page.run("(desk.toggle(), true)")
            page.wait("!desk.band.playing")
            later = []
            for _ in range(5):
                later.append(page.run(PRESSED))
                page.run("(desk.toggle(), true)")
                page.wait("!desk.band.playing")
            print(
                f"first sound {at_once:.0f} ms at once, {first:.0f} ms once the band is there, later {median(later):.0f} ms, a message and back {echo:.1f} ms"
            )
            page.run("(desk.band._sound.loop({ from: 1, to: 8 }), desk.toggle(), true)")
            page.wait("desk.band.playing")
            before = page.run("({ ...desk.band._sound.counts })")
            text = TUNE
            for i in range(edits):
                which, back = dice.row(2, "edits", i)
                old, new = EDITS[int(which * len(EDITS))]
                text = text.replace(old, new, 1) if back < 0.6 else TUNE
                typed(page, text)
                threading.Event().wait(0.1 + 0.2 * which)
            counts = page.run("({ ...desk.band._sound.counts })")
            playing = page.run("desk.band.playing")
            print(
                f"{edits} edits: {counts['received'] - before['received']} frames came, {counts['lost']} were lost on the way; "
                f"{counts['gaps'] - before['gaps']} gaps, {counts['gapFrames'] - before['gapFrames']} frames in all, the longest "
                f"{counts['longestGap'] / 44.1:.0f} ms of frames, the longest wait by the clock {counts['longestWait']} ms; playing {playing}; errors {page.errors}"
            )


if __name__ == "__main__":
    main()
