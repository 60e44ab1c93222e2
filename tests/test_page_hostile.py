"""A chart that was written to do harm, and a page into which somebody has put a script: nothing of it runs."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import Browser

from backing.output.bundle import Item
from backing.output.contents import index_page
from backing.output.page import write as page
from tests.practice import data_of, played, tone, write_wav

pytestmark = pytest.mark.browser

HARM = "<script>window.harm=1</script><img src=x onerror=window.harm=2>\"'>--></script><svg onload=window.harm=3>"
TUNE = f"""title: {HARM}
by: {HARM}
notes: {HARM}
key: C
meter: 4/4
tempo: 120
style: folk strum

[A]
| C | F |
  words: | <script>window.harm=4</script> | </pre><img src=x onerror=harm=5> |
"""
SECTION = "<b onclick='window.harm=1'>\"</button><script>window.harm=12</script>"
PUT_IN = (
    "<script>window.harm = 6</script><img src='data:,x' onerror='window.harm = 7'>"
    "<a id='lure' href='javascript:window.harm = 8'>x</a><svg onload='window.harm = 9'></svg>"
    "<script src='data:text/javascript,window.harm = 10'></script>"
    "<iframe srcdoc='<script>parent.harm = 11</script>'></iframe><base href='https://example.invalid/'>"
)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    chart, performance = played(TUNE)
    # The chart language has no such names; the page does not count on it.
    timeline = performance.arrangement.timeline
    sections = tuple(s._replace(name=SECTION) for s in timeline.sections)
    arrangement = performance.arrangement._replace(timeline=timeline._replace(sections=sections))
    performance = performance._replace(arrangement=arrangement)
    stems = {"guitar": write_wav(folder / "guitar.wav", tone(440.0, 8.0))}
    return page.write(performance, chart, folder / "tune.html", stems=stems)


def unharmed(tab: Browser) -> bool:
    tab.run("new Promise((r) => setTimeout(r, 300))")
    return tab.run("window.harm === undefined") is True


@pytest.mark.chromium
def test_a_hostile_chart_is_text(chromium: Browser, hostile: Path) -> None:
    """Title, maker, notes, section and words stand there as they were typed; the page works."""
    chromium.open(hostile)
    chromium.wait("window.practice && practice.studio")
    assert unharmed(chromium)
    assert chromium.errors == []
    assert chromium.run("document.getElementById('title').textContent") == HARM
    assert SECTION in chromium.run("document.getElementById('form').textContent")
    assert "<script>" in chromium.run("document.querySelector('.sung-words').textContent")
    assert data_of(hostile.read_text(encoding="utf-8"))["title"] == HARM
    chromium.scripts(False)
    chromium.open(hostile)
    chromium.scripts(True)
    assert chromium.run("document.querySelectorAll('img, svg, b').length") == 0


def test_a_script_that_is_put_into_the_page_does_not_run(
    chromium: Browser, hostile: Path, tmp_path: Path
) -> None:
    text = hostile.read_text(encoding="utf-8")
    for place in ("<header>", "<main>", '<footer id="foot">'):
        put = tmp_path / "put.html"
        put.write_text(text.replace(place, place + PUT_IN), encoding="utf-8")
        chromium.open(put)
        chromium.run("document.getElementById('lure').click()")
        assert unharmed(chromium)
        chromium.wait("window.practice && practice.studio")


def test_a_page_whose_own_script_was_changed_does_not_run_it(
    chromium: Browser, hostile: Path, tmp_path: Path
) -> None:
    put = tmp_path / "put.html"
    text = hostile.read_text(encoding="utf-8")
    put.write_text(
        text.replace('"use strict";', '"use strict"; window.harm = 1;'), encoding="utf-8"
    )
    chromium.open(put)
    assert unharmed(chromium)
    assert chromium.run("window.practice === undefined")
    assert "open this file in a browser" in chromium.run("document.body.innerText")


def test_nothing_that_is_put_into_an_index_runs(chromium: Browser, tmp_path: Path) -> None:
    """Names and titles are text, links are encoded, a script beside them is not run."""
    names = ("javascript:window.harm=1.html", "a#b?c%20d.mp3", "ü &<b>.pdf", "x'\"onerror=harm.mp3")
    for name in names:
        (tmp_path / name).write_bytes(b"%PDF" if name.endswith("pdf") else b"<p>there</p>")
    items = [Item(name, HARM, HARM) for name in names]
    text = index_page(HARM, HARM, items)
    index = tmp_path / "index.html"
    for put in ("", PUT_IN):
        index.write_text(text.replace("<main>", "<main>" + put), encoding="utf-8")
        chromium.open(index)
        assert unharmed(chromium)
        chromium.run("document.querySelectorAll('a').forEach((a) => { a.target = '_self'; })")
    found = chromium.run(
        "[...document.querySelectorAll('li a')].map((a) => decodeURIComponent(new URL(a.href).pathname.split('/').pop()))"
    )
    assert set(found) == set(names)
    assert chromium.run(
        "[...document.querySelectorAll('li a')].every((a) => a.protocol === 'file:' && !a.hash && !a.search)"
    )
