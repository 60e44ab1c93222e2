"""The desk in a browser: a mistake is marked and mended, text and sheet go together, nothing that is typed is lost.

Sources: WCAG 2.2, 2.5.8 (targets of at least 24 by 24 CSS pixels) and axe-core's own rules; Standard MIDI Files 1.0 and MPEG audio
for what is taken away.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from tests.desks import Desk, desk

pytestmark = pytest.mark.browser

TUNE = """title: Nine Lamps
key: G major
meter: 4/4
tempo: 120
style: bossa nova

[A]
| G | Em7 | Am7 | D7 |
| G | C | D7 | G |
"""
MELODY = "key: G major\nstyle: bossa nova\n\n| ? | ? | G |\n  melody: | G4 A4 B4 D5 | E5 D5 C5 A4 | G4 |\n"
SEEN = (
    "window.desk && [document.body.dataset.seen, document.body.dataset.drawn].every((one) => one === String(desk.revision))"
    " && desk.words !== null"
)
TEXT = "desk.editor.text"
SAID = "document.getElementById('said').textContent"
PHONE, LAPTOP = (360, 740), (1440, 900)


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("desk")
    with desk(folder) as found:
        yield found


@pytest.fixture
def page(chromium: Any, one: Desk, request: pytest.FixtureRequest) -> Iterator[Any]:
    """The desk with a chart of the test's own; nothing may complain while it is used."""
    yield from opened(chromium, one, request.node.name, TUNE)


def opened(browser: Any, one: Desk, name: str, text: str) -> Iterator[Any]:
    made = one.post("/charts/new", name=name, text=text)["name"]
    browser.dark(False)
    browser.size(*LAPTOP)
    if not browser.run(f"location.origin === {json.dumps(one.origin)}"):
        browser.visit(one.address)  # which gives it the cookie
    browser.visit(f"{one.origin}/#{made}")
    browser.wait(SEEN)
    yield browser
    assert browser.errors == []


def name(browser: Any) -> str:
    found: str = browser.run("desk.files.name")
    return found


def typed(browser: Any, before: str, new: str) -> None:
    """Put a text in place of another, as by hand."""
    browser.run(
        f"(() => {{ const at = {TEXT}.indexOf({json.dumps(before)});"
        f" desk.editor.view.dispatch({{ changes: {{ from: at, to: at + {len(before)}, insert: {json.dumps(new)} }},"
        f" selection: {{ anchor: at + {len(new)} }}, userEvent: 'input.type' }}); return true; }})()"
    )
    browser.wait(SEEN)


def press(browser: Any, words: str, within: str = "document") -> None:
    """Press the button or link of these words."""
    browser.run(
        f"([...{within}.querySelectorAll('button, a')].find((b) => b.textContent.startsWith({json.dumps(words)})).click(), true)"
    )


def test_a_mistake_is_marked_and_its_hint_mends_it(page: Any) -> None:
    """At its place in UTF-16, behind a sign of two units; what is typed meanwhile moves it."""
    typed(page, "title: Nine", "title: 𝄪 Nine")
    typed(page, "| Am7 | D7 |", "| Am7 D7 G | D7 |")
    page.run("desk.editor.go(desk.editor.text.indexOf('Am7 D7 G'))")
    page.wait(f"{SAID}.includes('3 chords')")
    mark = "desk.editor.view.dom.querySelector('.cm-lintRange-error').textContent"
    page.wait(f"{mark} === 'Am7 D7 G'")
    assert page.run("document.getElementById('paper').classList.contains('old')")
    page.run("(desk.editor.view.dispatch({ changes: { from: 0, insert: '# 𝄪\\n' } }), true)")
    press(page, "type  Am7 / D7 G", "document.getElementById('said')")
    assert "| Am7 / D7 G | D7 |" in page.run(TEXT)
    page.wait(SEEN)
    assert page.run("desk.editor.view.dom.querySelector('.cm-lintRange') === null")
    assert not page.run("document.getElementById('paper').classList.contains('old')")


def test_text_and_sheet_go_together(page: Any) -> None:
    """A bar that is pressed takes the cursor there, and the bar of the cursor is marked."""
    lit = "document.querySelector('.zone.cursor')?.getAttribute('aria-label')"
    page.run("desk.editor.go(desk.editor.text.indexOf('Em7'))")
    assert page.run(lit) == "bar 2 of A: Em7"
    page.run("(document.querySelectorAll('.zone')[6].click(), true)")
    assert page.run(lit) == "bar 7 of A: D7"
    assert page.run("desk.editor.text.slice(desk.editor.selection.head).startsWith('D7 | G |')")
    typed(page, "title: Nine", "title: Ninety-Nine")
    typed(page, "| G | C | D7 |", "| G | C | D7 Am7 |")
    page.wait("document.querySelectorAll('.zone')[6].getAttribute('aria-label').endsWith('D7 Am7')")
    wide = "document.querySelector('#paper svg').getBoundingClientRect()"
    zone = "document.querySelector('.zone').getBoundingClientRect()"
    assert page.run(
        f"{zone}.left > {wide}.left && {zone}.right < {wide}.right && {zone}.top > {wide}.top"
    )


def test_two_editors_on_one_file_lose_nothing(page: Any, one: Desk) -> None:
    """The desk, and another program that writes meanwhile."""
    mine = name(page)
    folder = Path(one.get("/charts")["folder"])
    typed(page, "| G | C |", "| G | Cm |")
    (folder / mine).write_text("title: Somebody else\n| A |\n", "utf-8")
    press(page, "save it")
    page.wait(
        "document.getElementById('message').textContent.startsWith('Another program has changed')"
    )
    other = name(page)
    assert other != mine
    assert (folder / mine).read_text("utf-8") == "title: Somebody else\n| A |\n"
    assert (folder / other).read_text("utf-8") == TUNE.replace("| G | C |", "| G | Cm |")


def test_what_is_not_saved_is_there_again(page: Any) -> None:
    typed(page, "| G | C |", "| G | Cm6 |")
    page.wait("Object.values(localStorage).some((kept) => kept.includes('Cm6'))")
    page.reload()
    page.wait(SEEN)
    assert "| G | Cm6 |" in page.run(TEXT)
    assert "is here again" in page.run("document.getElementById('message').textContent")
    press(page, page.run("document.getElementById('word-file').textContent"))
    press(page, "go back to what is saved")
    page.wait(f"{TEXT} === {json.dumps(TUNE)}")


def test_chords_for_a_melody_write_themselves_and_can_be_taken_back(
    chromium: Any, one: Desk
) -> None:
    for page in opened(chromium, one, "melody", MELODY):
        assert page.run("document.getElementById('play').hidden || !desk.playable")
        press(page, "Find the chords")
        page.wait("document.querySelectorAll('.answer').length > 2")
        best = page.run("document.querySelector('.answer pre').textContent")
        press(page, "write it", "document.querySelector('.answer')")
        page.wait(SEEN)
        assert best in page.run(TEXT)
        assert "?" not in page.run(TEXT)
        page.wait("desk.playable")
        page.run("(desk.editor.undo(), true)")
        assert page.run(TEXT) == MELODY


def test_each_question_is_answered_at_its_place(chromium: Any, one: Desk) -> None:
    """One is chosen, with its reason beside it; the others are still asked."""
    for page in opened(chromium, one, "questions", MELODY):
        page.run("desk.editor.go(desk.editor.text.indexOf('? | G'))")
        page.wait("document.querySelectorAll('#said li').length > 1")
        assert page.run(
            "[...document.querySelectorAll('#said li')].every((li) => li.querySelector('.soft').textContent.length > 8)"
        )
        chosen = page.run("document.querySelector('#said li button').textContent")
        page.run("(document.querySelector('#said li button').click(), true)")
        assert f"| ? | {chosen} | G |" in page.run(TEXT)


def test_a_chord_tells_its_notes(page: Any) -> None:
    """E minor seven is E G B D (common practice)."""
    page.run("desk.editor.go(desk.editor.text.indexOf('Em7') + 1)")
    page.wait(f"{SAID}.startsWith('Em7 E G B D (1 ♭3 5 ♭7)')")
    page.wait("document.querySelectorAll('#said .grip').length === 3")


@pytest.mark.chromium
def test_it_plays_from_the_bar_of_the_cursor(page: Any) -> None:
    """The bar that sounds is marked on the sheet, and no other; the same key stops it."""
    page.run("(desk.editor.go(desk.editor.text.indexOf('C | D7')), true)")
    page.wait("document.getElementById('word-from').textContent.startsWith('from bar 6')")
    page.press("Enter", ctrl=True)
    page.wait("document.querySelector('.zone.now')", 60)
    assert page.run("document.querySelector('.zone.now').getAttribute('aria-label')") in (
        "bar 6 of A: C",
        "bar 7 of A: D7",
    )
    assert page.run("document.querySelectorAll('.zone.now').length") == 1
    assert page.run("document.getElementById('play').textContent") == "Stop"
    assert page.run("desk.band._sound.counts.played") > 0
    page.press("Enter", ctrl=True)
    page.wait("!desk.band.playing && document.getElementById('play').textContent === 'Play'")
    assert page.run("document.querySelectorAll('.zone.now').length") == 0


@pytest.mark.chromium
def test_what_can_stand_there_is_offered(page: Any) -> None:
    """A setting, a style, a quality and a direction, by keys alone."""
    page.run("(desk.editor.go(0), true)")
    for keys, chosen in (("sty", "style: "), ("boler", "bolero")):
        for key in keys:
            page.press(key)
        page.wait("desk.editor.view.dom.getRootNode().querySelector('.cm-tooltip-autocomplete')")
        page.run(
            "new Promise((r) => setTimeout(r, 120))"
        )  # it does not take a key that comes at once
        page.press("Enter")
        page.wait(f"{TEXT}.slice(0, desk.editor.selection.head).endsWith({json.dumps(chosen)})")
    page.press("Enter")
    page.wait(SEEN)
    offered = "[...desk.editor.view.dom.getRootNode().querySelectorAll('.cm-completionLabel')].map((l) => l.textContent)"
    for line, label in (("| C", "Cm7"), ('| C "D', "D.S. al Fine")):
        page.run("(desk.editor.go(desk.editor.text.length), true)")
        page.press("Enter")
        for key in line:
            page.press(key)
        page.press(" ", ctrl=True)
        page.wait(f"{offered}.includes({json.dumps(label)})")
        page.press("Escape")


@pytest.mark.chromium
def test_everything_is_asked_of_the_desk_and_of_nobody_else(page: Any, one: Desk) -> None:
    page.reload()
    page.wait(SEEN)
    assert len(page.requests) > 10
    assert all(
        address.startswith((f"{one.origin}/", f"ws://{one.host}/")) for address in page.requests
    )


@pytest.mark.chromium
@pytest.mark.parametrize(
    ("size", "dark", "words"),
    [
        (PHONE, False, ("", "file", "tempo", "key", "style", "who", "take", "away")),
        (PHONE, True, ("", "who")),
        (LAPTOP, False, ("", "file", "style")),
        (LAPTOP, True, ("", "away")),
    ],
    ids=["phone", "phone in the dark", "laptop", "laptop in the dark"],
)
def test_axe_finds_nothing(
    page: Any, size: tuple[int, int], dark: bool, words: tuple[str, ...]
) -> None:
    """With a mistake, and with drawers open; of the long list of styles its beginning."""
    page.run("(desk.words.styles.length = 8)")
    axe = files("axe_core_python").joinpath("axe.min.js").read_text("utf-8")
    page.run(f"{axe};0")
    page.dark(dark)
    page.size(*size, touch=size == PHONE)
    found = "axe.run(document, { resultTypes: ['violations'] }).then((r) => r.violations.map((v) => [v.id, v.nodes.map((n) => n.html.slice(0, 90))]))"
    small = (
        "[...document.querySelectorAll('button:not(.zone), a, input, summary')].filter((e) => e.checkVisibility())"
        ".map((e) => (e.closest('label') ?? e).getBoundingClientRect()).filter((b) => Math.min(b.width, b.height) < 43.9).length"
    )
    typed(page, "| G | C |", "| G | C D E |")
    for word in words:
        if word:
            page.run(f"(document.getElementById('word-{word}').click(), true)")
        assert page.run(found) == [], word
        assert page.run(small) == 0, word
        assert page.run("document.documentElement.scrollWidth <= innerWidth"), word
    page.size(*LAPTOP)


@pytest.mark.chromium
def test_from_an_empty_folder_to_a_file_by_keys_alone(chromium: Any, tmp_path: Path) -> None:
    """A new chart is named, typed over, saved and taken away; no pointer is used."""
    with desk(tmp_path) as one:
        chromium.size(*LAPTOP)
        chromium.visit(one.address)
        chromium.wait("document.activeElement.matches('#drawer-file input')")
        for key in "Lamp":
            chromium.press(key)
        chromium.press("Enter")
        chromium.wait(SEEN + " && desk.playable")
        assert (tmp_path / "Lamp.txt").is_file()
        chromium.wait("desk.editor.view.hasFocus")
        chromium.press("a", ctrl=True)
        chromium.type("style: bossa nova\n| G | C | D7 | G |\n")
        chromium.press("s", ctrl=True)
        chromium.wait("document.getElementById('message').textContent === 'Lamp.txt is saved.'")
        assert (tmp_path / "Lamp.txt").read_text(
            "utf-8"
        ) == "style: bossa nova\n| G | C | D7 | G |\n"
        chromium.wait(SEEN + " && desk.playable")
        walk(chromium, "Take it away")
        chromium.press("Enter")
        walk(chromium, "MIDI")
        chromium.press("Enter")
        chromium.wait("document.querySelector('#drawer-away a')")
        first = "fetch(document.querySelector('#drawer-away a').href).then((r) => r.text()).then((t) => t.slice(0, 4))"
        assert chromium.run(first) == "MThd"
        walk(chromium, "close the desk")
        chromium.press("Enter")
        chromium.wait("document.body.textContent.includes('The desk is closed.')")
        code, said = one.ended()
        assert (code, said.splitlines()[-1]) == (0, "the desk is closed")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["Lamp.txt"]


def walk(browser: Any, words: str) -> None:
    """Go on by Tab until what has the focus begins with these words."""
    for _ in range(60):
        if browser.run(
            f"(document.activeElement?.textContent ?? '').startsWith({json.dumps(words)}) && document.activeElement.matches('button, a')"
        ):
            return
        browser.press("Tab")
    raise AssertionError(f"nothing that Tab leads to begins with {words}")
