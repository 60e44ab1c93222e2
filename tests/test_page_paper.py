"""The practice page where no script runs and on paper: what is drawn without background graphics, read back from the PDF.

Chromium prints a border as a filled path; a thin one that stands is a bar line or the mark of a beat, one that lies is a
rule. Source of the switch: `printBackground` of Page.printToPDF, Chrome DevTools Protocol, is what the box "Background
graphics" of the print window sets.
"""

from __future__ import annotations

import io
from collections import Counter
from typing import Any

import pdfplumber
import pytest
from browser import Browser

from tests.practice import Made

pytestmark = [pytest.mark.browser, pytest.mark.chromium]

PT = 0.75  # a CSS pixel in points
# What a row has on paper, by the classes that the style draws with borders; heights are of print, 20 px a chord.
DRAWN = """(() => {
  dispatchEvent(new Event("beforeprint"));
  const count = (selector) => document.querySelectorAll(`#sheet ${selector}`).length;
  const found = {
    rule: count(".rule"), bar: count(".bar-line"), beat: count(".tick:not(.group)"), group: count(".tick.group"),
    box: count(".box"),
  };
  dispatchEvent(new Event("afterprint"));
  return found;
})()"""
HEIGHTS_PX = {"bar": 0.52 * 20, "group": 0.2 * 20, "beat": 0.13 * 20}


def printed(tab: Browser, *, backgrounds: bool) -> pdfplumber.PDF:
    return pdfplumber.open(io.BytesIO(tab.pdf(backgrounds=backgrounds)))


def strokes(pdf: pdfplumber.PDF) -> Counter[str]:
    """How many rules, bar lines and marks of beats are on all pages together; what is white does not count."""
    found: Counter[str] = Counter()
    for page in pdf.pages:
        for one in (*page.rects, *page.lines, *page.curves):
            if not any(_ink(one.get(k)) for k in ("non_stroking_color", "stroking_color")):
                continue
            width, height = float(one["width"]), float(one["height"])
            if width > 100 and height < 3:
                found["rule"] += 1
            for name, tall in HEIGHTS_PX.items():
                if width < 4 and abs(height - tall * PT) < 0.5:
                    found[name] += 1
    return found


def _ink(colour: Any) -> bool:
    return colour is not None and any(float(part) < 0.9 for part in colour)


@pytest.mark.parametrize("backgrounds", [False, True])
def test_lines_and_beats_are_on_paper(tab: Browser, made: Made, backgrounds: bool) -> None:
    wanted = tab.run(DRAWN)
    with printed(tab, backgrounds=backgrounds) as pdf:
        found = strokes(pdf)
    assert wanted["bar"] > len(made.data["bars"])
    assert wanted["beat"] + wanted["group"] == sum(len(b["beats"]) - 1 for b in made.data["bars"])
    assert {name: found[name] for name in ("rule", "bar", "beat", "group")} == {
        name: wanted[name] for name in ("rule", "bar", "beat", "group")
    }


def without_scripts(chromium: Browser, made: Made) -> None:
    chromium.scripts(False)
    try:
        chromium.open(made.path)
    finally:
        chromium.scripts(True)


def test_without_scripts_title_chords_and_the_way_on_are_read(
    chromium: Browser, made: Made
) -> None:
    """As a phone previews a file: all chords, no dead control, nothing wider than the screen; and so it prints."""
    chromium.size(360, 740)
    without_scripts(chromium, made)
    text = chromium.run("document.body.innerText")
    assert text.startswith(made.data["title"])
    assert "open this file in a browser" in text
    assert "| E♭maj9 Cm7 | Fm9 B♭13 | Gm7 C7(♭9) | Fm7 B♭7sus4 |" in " ".join(text.split())
    assert text.count("|") > len(made.data["bars"])
    seen = "[...document.querySelectorAll('button, input, select, a')].filter((e) => e.checkVisibility()).length"
    assert chromium.run(seen) == 0
    assert chromium.run("document.documentElement.scrollWidth <= innerWidth")
    with printed(chromium, backgrounds=False) as pdf:
        paper = " ".join(" ".join(page.extract_text() for page in pdf.pages).split())
    assert "Nine Lamps" in paper
    assert paper.count("|") == text.count("|")
