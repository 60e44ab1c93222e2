"""The band of the desk in a browser: what is played from the cursor is heard, and the page lights what it hears."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.desks import desk

pytestmark = pytest.mark.browser

TUNE = """title: Nine Lamps
key: G major
tempo: 240
style: bossa nova
count-in: off

[A]
| G | Em7 | Am7 | D7 |
| G | C | D7 | G |
"""
SEEN = "document.body.dataset.seen === String(window.desk?.revision) && desk.words !== null"
LISTEN = """(() => {
  const { context, loudness } = desk.band._sound;
  window.ear = new AnalyserNode(context);
  loudness.connect(ear);
  window.peak = () => { const heard = new Float32Array(ear.fftSize); ear.getFloatTimeDomainData(heard); return Math.max(...heard); };
  return true;
})()"""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory, chromium: Any) -> Iterator[Any]:
    folder: Path = tmp_path_factory.mktemp("hearing")
    (folder / "lamps.txt").write_text(TUNE, "utf-8")
    with desk(folder) as one:
        chromium.visit(one.address)
        chromium.visit(f"{one.origin}/#lamps.txt")
        chromium.wait(SEEN)
        yield chromium
        chromium.visit("about:blank")
        assert chromium.errors == []


def test_the_band_comes_with_the_chart_and_nothing_sounds_before_somebody_asks(page: Any) -> None:
    page.wait("desk.band._sound && desk.band._loaded")
    assert page.run("desk.band._sound.context") is None
    assert page.run("desk.band._sound.counts.received") == 0


def test_what_is_played_from_the_cursor_is_heard_and_lit(page: Any) -> None:
    page.run("(desk.editor.go(desk.editor.text.indexOf('Am7')), desk.toggle(), true)")
    page.wait("desk.band.playing && desk.band._sound.counts.played > 2048")
    page.run(LISTEN)
    page.wait("peak() > 0.02")
    page.wait("desk.sheet._playing === 4")
    page.run("(desk.band.strike('C/E'), true)")
    page.run("(desk.toggle(), true)")
    page.wait("!desk.band.playing && desk.sheet._playing === null")
    page.wait("peak() < 0.001")
    counts = page.run("({ ...desk.band._sound.counts })")
    assert counts["lost"] == 0
    assert counts["received"] >= counts["delivered"] > 0


def test_more_lies_ready_while_somebody_types_and_where_sound_was_missing(page: Any) -> None:
    page.run("(desk.toggle(), true)")
    page.wait("desk.band.playing")
    page.run("(desk.band._sound.ahead = 8820, desk.band._sound._typed = -Infinity, true)")
    page.wait("desk.band._sound.counts.ahead > 4000 && desk.band._sound.counts.ahead < 9000")
    page.run("(desk.editor.view.dispatch({ changes: { from: 0, insert: ' ' } }), true)")
    page.wait("desk.band._sound.counts.ahead > 20000")
    page.run("(desk.editor.view.dispatch({ changes: { from: 0, to: 1 } }), desk.toggle(), true)")
    page.wait("!desk.band.playing")
    more = (
        "(() => { const { _sound } = desk.band; _sound.ahead = 8820;"  # whatever a busy machine has made of it
        " return [1, 2, 3, 4].map(() => (_sound.reported({ ..._sound.counts, gaps: _sound.counts.gaps + 1 }), _sound.ahead)); })()"
    )
    assert page.run(more) == [17640, 35280, 35280, 35280]


def test_a_style_is_tasted_and_ends_by_itself(page: Any) -> None:
    page.run("(desk.heard(desk.band.hear('tango')), true)")
    page.wait("desk.band.playing")
    page.wait("!desk.band.playing")
    assert page.run("desk.band._sound.counts.lost") == 0


def test_a_page_that_is_left_is_still(page: Any) -> None:
    """The desk goes on; whoever comes back hears it again."""
    page.run("(desk.toggle(), true)")
    page.wait("desk.band.playing")
    page.run("(desk.band._sound.close(), true)")
    page.wait("desk.band._sound.gone && desk.band._sound.context.state === 'closed'")
