"""Who reads from right to left, with a thumb, by ear or in the dark: the practice page for them, on a phone and a laptop.

Sources: WCAG 2.2, 2.5.5 (targets of at least 44 by 44 CSS pixels); axe-core's own rules, as the package axe-core-python
brings it; Unicode's bidirectional algorithm through `dir="auto"` (HTML standard, 3.2.6.4).
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from browser import Browser

from backing.output.bundle import Item
from backing.output.contents import index_page
from backing.output.page import write as page
from tests.practice import Made, played, tone, write_wav

pytestmark = [pytest.mark.browser, pytest.mark.chromium]

PHONE, LAPTOP = (360, 740), (1280, 800)
DRAWERS = ("range", "tempo", "key", "band", "click", "count", "step", "shown")
EAST = """title: שיר הפנס הקטן
by: מחברת הדגמה
notes: לאט, ואז מהר יותר
key: D minor
meter: 6/8
style: folk strum
pickup: 1

[בית]
| A7 |
| Dm | Gm A7 |
  melody: | D5 | G4 A4 |
  words: | ערב יורד | על הים |
[פזמון]
| Bb | A7 |
"""

# What can be pressed and is seen, with the size of its target: of a box in a label the label's.
SMALL = """(() => {
  const pressed = [...document.querySelectorAll("button, input, select, summary, a")].filter((e) => e.checkVisibility({ visibilityProperty: true }));
  const least = ({ width, height }) => Math.min(width, height);
  return pressed.map((e) => [e, (e.matches("[type=checkbox], [type=radio]") ? e.closest("label") ?? e : e).getBoundingClientRect()])
    .filter(([, box]) => box.width && least(box) < 43.99)
    .map(([e, box]) => `${e.outerHTML.slice(0, 60)} ${Math.round(box.width)} x ${Math.round(box.height)}`);
})()"""
# Pairs of bars of the sheet whose targets lie over each other.
CROSSED = """(() => {
  const boxes = [...document.querySelectorAll("#sheet .zone")].map((z) => z.getBoundingClientRect());
  return boxes.filter((a, i) => boxes.slice(i + 1).some((b) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1)).length;
})()"""


@pytest.fixture(scope="module")
def axe() -> str:
    return files("axe_core_python").joinpath("axe.min.js").read_text("utf-8")


@pytest.fixture(scope="module")
def eastern(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("east")
    chart, performance = played(EAST)
    stems = {"guitar": write_wav(folder / "guitar.wav", tone(440.0, 8.0))}
    return page.write(performance, chart, folder / "tune.html", stems=stems)


def sized(tab: Browser, size: tuple[int, int], *, dark: bool = False) -> None:
    """A window of that size in light or dark, the page laid out for it."""
    tab.dark(dark)
    tab.size(*size, touch=size == PHONE)
    tab.wait(f"innerWidth === {size[0]}")
    tab.run("new Promise((r) => requestAnimationFrame(() => setTimeout(r, 50)))")


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
def test_a_thumb_finds_everything(tab: Browser, size: tuple[int, int]) -> None:
    """Every target, with each drawer open in turn, melody and grips shown; and no bar lies under another."""
    sized(tab, size)
    for key in "mg":
        tab.press(key)
    small: list[str] = []
    for drawer in DRAWERS:
        word = f"document.getElementById('word-{drawer}')"
        if tab.run(f"{word}?.checkVisibility() ?? false"):
            tab.run(f"{word}.click()")
            small += tab.run(SMALL)
    assert small == []
    assert tab.run(CROSSED) == 0
    tab.press("?")
    assert tab.run("document.querySelector('dialog').open")
    assert tab.run(SMALL) == []


def violations(tab: Browser, axe: str) -> list[Any]:
    """What axe-core finds on the page as it stands."""
    tab.run(f"{axe};0")
    found: list[Any] = tab.run(
        "axe.run(document, { resultTypes: ['violations'] }).then((r) => r.violations.map((v) => [v.id, v.nodes.map((n) => n.html.slice(0, 90))]))"
    )
    return found


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("size", [PHONE, LAPTOP])
def test_axe_finds_nothing(tab: Browser, axe: str, size: tuple[int, int], dark: bool) -> None:
    """With each of two drawers, melody and grips; and with the help open."""
    sized(tab, size, dark=dark)
    for key in "mg":
        tab.press(key)
    for drawer in ("band", "range"):
        tab.run(f"document.getElementById('word-{drawer}').click()")
        assert violations(tab, axe) == []
    tab.press("?")
    assert violations(tab, axe) == []


def test_axe_finds_what_is_wrong(tab: Browser, axe: str) -> None:
    """A name taken away is found, so that silence means something."""
    tab.run("document.getElementById('play').textContent = ''")
    found = [name for name, _ in violations(tab, axe)]
    tab.run("document.getElementById('play').textContent = 'Play'")
    assert found == ["button-name"]


@pytest.mark.parametrize("dark", [False, True])
def test_axe_finds_nothing_in_an_index_and_without_scripts(
    chromium: Browser, made: Made, axe: str, tmp_path: Path, dark: bool
) -> None:
    index = tmp_path / "index.html"
    items = [Item("tune.html", "To read", "The practice page"), Item("tune.mp3", "The band", "All")]
    index.write_text(index_page("Nine Lamps", "The Maker", items), encoding="utf-8")
    sized_before = PHONE
    chromium.dark(dark)
    chromium.size(*sized_before)
    chromium.open(index)
    assert violations(chromium, axe) == []
    chromium.scripts(False)
    chromium.open(made.path)
    chromium.scripts(True)
    assert violations(chromium, axe) == []


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
def test_a_title_from_right_to_left(
    chromium: Browser, eastern: Path, size: tuple[int, int]
) -> None:
    """Title, maker, notes, sections and words run from the right, chords and time from the left; nothing leaves the page."""
    chromium.open(eastern)
    chromium.wait("window.practice && practice.studio?.took < 0.2")
    sized(chromium, size)
    runs = "[...document.querySelectorAll('{}')].map((e) => getComputedStyle(e).direction)"
    for selector in ("#title", "#by", "#notes", "#form button", "#sheet .box", ".sung-words"):
        found = chromium.run(runs.format(selector))
        assert found, selector
        added = selector in ("#form button", "#sheet .box")  # Ending
        assert set(found[: -1 if added else None]) == {"rtl"}, selector
    for selector in ("#sheet .line", "#sentence", "#line"):
        assert set(chromium.run(runs.format(selector))) == {"ltr"}, selector
    edge = "document.getElementById('title').getBoundingClientRect().right"
    assert chromium.run(
        f"{edge} <= innerWidth && document.documentElement.scrollWidth <= innerWidth"
    )
    assert chromium.run("document.title") == "שיר הפנס הקטן"
    assert chromium.errors == []
