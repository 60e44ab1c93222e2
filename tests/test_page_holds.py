"""That the practice page is never stuck: hurried hands on a slow machine, a call that comes in, a page opened again."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from browser import Browser

from tests.practice import Made, chosen

pytestmark = pytest.mark.browser

# Pages that are used at the same time: times slower, sequences; `python -m tests.hurry` runs more.
HANDS = ((1, 8), (4, 8), (20, 4), (20, 4))
PLAIN_HANDS = ((1, 4), (1, 4))  # where a browser has no order to slow it down


# What hands do: keys, taps on bars, words of the sentence and of the drawers. Each plays its part within one task, at
# times of its own, and the last is Stop; then the page must be silent, say Play and have complained of nothing.
HURRY = """
window.hurry = async (seed) => {
  let dice = seed * 2654435761 % 4294967296;
  const roll = (n) => (dice = (dice * 1664525 + 1013904223) % 4294967296, Math.floor((dice / 4294967296) * n));
  const faults = [];
  const note = (event) => faults.push(String(event.reason ?? event.message));
  addEventListener("error", note);
  addEventListener("unhandledrejection", note);
  const press = (key) => document.body.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }));
  const zones = () => [...document.querySelectorAll("#sheet .zone")];
  const clicks = (selector) => () => { const all = [...document.querySelectorAll(selector)]; all[roll(all.length)]?.click(); };
  const acts = [
    ...["+", "-", "ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight", "[", "]", "0", "c", "1", "2", "3", "Home", "m", "g", " ", "k"].map((key) => () => press(key)),
    () => zones()[roll(zones().length)].click(),
    () => zones()[roll(zones().length)].click(),
    clicks("#form button"), clicks("#drawer input"), clicks("#drawer button"), clicks(".word"),
  ];
  const rest = (ms) => new Promise((r) => setTimeout(r, ms));
  const button = document.getElementById("play");
  if (button.textContent === "Play") button.click();
  const count = 3 + roll(8);
  for (let i = 0; i < count; i++) {
    await rest(50 + roll(451));
    acts[roll(acts.length)]();
  }
  await rest(50 + roll(451));
  if (button.textContent === "Stop") button.click();
  const label = button.textContent;
  const { sound } = practice;
  await rest(250);
  const ear = new AnalyserNode(sound.context, { fftSize: 2048 });
  sound.master.connect(ear);
  await rest(150);
  const samples = new Float32Array(2048);
  ear.getFloatTimeDomainData(samples);
  const loudest = samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
  sound.master.disconnect(ear);
  removeEventListener("error", note);
  removeEventListener("unhandledrejection", note);
  return { faults, label, after: button.textContent, loudest, playing: practice.state.playing || sound.playing() };
};
"""


def hurried(tab: Browser, seeds: range) -> list[tuple[int, object]]:
    """The seeds after whose sequence the page did not rest as it should, and what it did."""
    tab.run(HURRY)
    bad: list[tuple[int, object]] = []
    for seed in seeds:
        got = tab.run(f"hurry({seed})")
        good = not got["faults"] and got["label"] == got["after"] == "Play"
        if not (good and got["loudest"] == 0 and not got["playing"]):
            bad.append((seed, got))
    return bad


def hand(made: Made, rate: int, seeds: range) -> list[object]:
    """What went wrong in a browser of its own, so many times slower, in which these sequences were played."""
    with chosen() as tab:
        tab.size(1280, 800)
        tab.open(made.path)
        tab.wait("window.practice && practice.studio?.took < 0.2")
        tab.slowed(rate)
        return [*hurried(tab, seeds), *tab.errors]


def test_stop_stops_whatever_was_pressed(made: Made, chromium: Browser) -> None:
    """Keys and taps within 50 to 500 ms while it plays, on machines so many times slower, ending in Stop."""
    hands = HANDS if chromium.can_be_slowed else PLAIN_HANDS
    with ThreadPoolExecutor(len(hands)) as pool:
        tasks = [
            pool.submit(hand, made, rate, range(1000 * n, 1000 * n + count))
            for n, (rate, count) in enumerate(hands, 1)
        ]
        assert [task.result() for task in tasks] == [[] for _ in hands]


@pytest.mark.chromium
def test_two_keys_at_once_on_a_slow_machine(tab: Browser) -> None:
    """Two semitones up within 300 ms, then Stop: sound that comes too late is not kept to be stopped."""
    tab.slowed(20)
    for _ in range(5):
        tab.run("document.getElementById('play').click()")
        tab.wait("practice.sound.now()?.kind")
        tab.run(TWO_KEYS)
        assert tab.run(LABEL) == "Play"
        assert not tab.run("practice.state.playing || practice.sound.playing()")
        tab.run("practice.state.shift > 3 && document.querySelector('input[name=key]').click()")
    tab.slowed(1)


LABEL = "document.getElementById('play').textContent"
# A hand that presses Stop while it says so: a machine that is too busy to sound may have stopped by itself.
TWO_KEYS = """(async () => {
  const rest = (ms) => new Promise((r) => setTimeout(r, ms));
  const up = () => document.body.dispatchEvent(new KeyboardEvent("keydown", { key: "+", bubbles: true }));
  up();
  await rest(200);
  up();
  await rest(700);
  const button = document.getElementById("play");
  if (button.textContent === "Stop") button.click();
})()"""
SAID = "document.getElementById('message').textContent"


def playing(tab: Browser) -> None:
    """Music, without a count before it."""
    tab.run("practice.state.countIn = 0; document.getElementById('play').click()")
    tab.wait("practice.sound?.now()?.kind === 'music'")


def test_a_call_that_comes_in_stops_the_page_and_says_so(tab: Browser) -> None:
    """The context is suspended from outside: the button says Play at once, and Play goes on from there."""
    playing(tab)
    tab.run("practice.sound.context.suspend()")
    tab.wait(f"{LABEL} === 'Play'")
    assert "Press Play to go on" in tab.run(SAID)
    assert not tab.run("practice.sound.playing()")
    playing(tab)
    assert tab.run(SAID) == ""
    tab.run("document.getElementById('play').click()")


def test_a_closed_context_is_replaced(tab: Browser) -> None:
    playing(tab)
    tab.run("practice.sound.context.close()")
    tab.wait(f"{LABEL} === 'Play'")
    playing(tab)
    tab.run("document.getElementById('play').click()")
    assert tab.run("practice.sound.context.state") == "running"


def test_a_browser_that_never_answers_is_told_of(tab: Browser) -> None:
    """`resume()` that never settles: Stop is there at once, a message comes, and the button works again."""
    tab.run(
        "(async () => { window.spoiled = true; const c = practice.sound.context; await c.suspend(); c.resume = () => new Promise(() => {}); })()"
    )
    tab.run("document.getElementById('play').click()")
    assert tab.run(LABEL) == "Stop"
    tab.wait(f"{LABEL} === 'Play'", 6)
    assert "gives no sound" in tab.run(SAID)
    tab.run("document.getElementById('play').click(); document.getElementById('play').click()")
    assert tab.run(LABEL) == "Play"


def test_a_clock_that_stands_still_is_told_of(tab: Browser) -> None:
    playing(tab)
    tab.run(
        "window.spoiled = true; Object.defineProperty(practice.sound.context, 'currentTime', { value: practice.sound.context.currentTime })"
    )
    tab.wait(f"{LABEL} === 'Play'", 8)
    assert "stands still" in tab.run(SAID)


@pytest.mark.chromium
def test_the_screen_is_kept_awake_again_after_a_page_was_hidden(tab: Browser) -> None:
    """A lock goes when a page is hidden (W3C Screen Wake Lock); when it is seen again another is asked for."""
    tab.run(
        "window.spoiled = true; window.asked = 0; Object.defineProperty(navigator, 'wakeLock', { configurable: true, value: { request: async () => {"
        " asked++; return { release: async () => { asked -= 100; } }; } } })"
    )
    playing(tab)
    assert tab.run("asked") == 1
    tab.run("document.dispatchEvent(new Event('visibilitychange'))")
    tab.wait("asked === -98")  # the second is held, the first given back
    tab.run("document.getElementById('play').click()")
    tab.wait("asked === -198")
    tab.run("document.dispatchEvent(new Event('visibilitychange'))")
    assert tab.run("asked") == -198


CHOSEN = """(() => {
  for (const key of ["+", "+", "ArrowDown", "ArrowDown", "c", "2", "g"]) document.body.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true }));
  const level = document.querySelector('[aria-label="Level of drums"]');
  level.value = -6; level.dispatchEvent(new Event("input"));
  document.querySelector('input[name=count][value="1"]').click();
})()"""
STATE = """JSON.stringify([practice.state.shift, practice.state.percent, practice.state.manner, practice.state.players.bass.silent,
  practice.state.players.drums.db, practice.state.countIn, practice.state.loop, practice.state.first, practice.state.last, practice.state.shown.grips])"""
WANTED = '[2,90,"beats",true,-6,1,true,4,5,true]'


def test_a_chart_s_levels_are_where_the_faders_stand(tab: Browser) -> None:
    """The bass sounds softer already, so its gain is 1 until the fader is moved; the click is struck by the page."""
    tab.run("document.getElementById('play').click()")
    gain = "practice.sound.levels.get('{}').gain.value"
    shown = tab.run("['bass', 'click', 'drums'].map((role) => practice.state.players[role].db)")
    assert shown == [-3, 2, 0]
    tab.wait(f"{gain.format('click')} > 1.25")
    assert tab.run(gain.format("click")) == pytest.approx(10 ** (2 / 20), abs=0.01)
    assert tab.run(gain.format("bass")) == 1
    tab.run(
        "(() => { const fader = document.querySelector('[aria-label=\"Level of bass\"]');"
        " fader.value = 0; fader.dispatchEvent(new Event('input')); })()"
    )
    tab.wait(f"{gain.format('bass')} > 1.4")
    assert tab.run(gain.format("bass")) == pytest.approx(10 ** (3 / 20), abs=0.01)
    settle(tab)
    assert tab.run("location.hash") == "#levels=bass%3A0"
    tab.run("document.getElementById('play').click()")


def settle(tab: Browser) -> None:
    """What was chosen is kept once the hand rests; a page that is left keeps it at once."""
    tab.run("dispatchEvent(new Event('pagehide'))")


def test_a_page_that_is_opened_again_is_as_it_was_left(tab: Browser, made: Made) -> None:
    """By reloading, and from the file anew: what was chosen is in the address and in the browser."""
    tab.run(CHOSEN)
    tab.run("document.querySelector('#sheet .zone[data-bar=\"4\"]').focus()")
    tab.run(
        "(() => { const [a, b] = document.querySelectorAll('#drawer-range select'); a.value = 4; a.dispatchEvent(new Event('change'));"
        " b.value = 5; b.dispatchEvent(new Event('change')); a.value = 4; a.dispatchEvent(new Event('change')); })()"
    )
    tab.run(
        "(() => { const b = document.querySelectorAll('#drawer-range select')[1]; b.value = 5; })()"
    )
    tab.run(
        "document.querySelector('#sheet .zone[data-bar=\"5\"]').dispatchEvent(new MouseEvent('click', { bubbles: true, shiftKey: true }))"
    )
    settle(tab)
    assert tab.run(STATE) == WANTED
    assert "bars=5-6" in tab.run("location.hash")
    tab.reload()
    assert tab.run(STATE) == WANTED
    tab.open(made.path, fresh=False)
    assert tab.run(STATE) == WANTED
    assert "in F major" in tab.run("document.getElementById('sentence').textContent")
    assert "♩ = 180, F major" in tab.run("document.getElementById('line').textContent")
    tab.run(
        "[...document.querySelectorAll('#foot button')].find((b) => b.textContent === 'As it came').click()"
    )
    settle(tab)
    assert tab.run("location.hash") == ""
    tab.open(made.path, fresh=False)
    assert tab.run("practice.state.percent") == 100


def test_a_link_brings_tempo_loop_and_key(tab: Browser, made: Made) -> None:
    """A teacher's link, and one with nonsense in it, of which only what is possible is taken."""
    tab.open(made.path, "tempo=70&key=-3&bars=9-12")
    assert tab.run(
        "[practice.state.percent, practice.state.shift, practice.state.first, practice.state.last]"
    ) == [70, -3, 8, 11]
    tab.run("location.hash = '#tempo=85&bars=1-2'")
    tab.wait("practice.state.percent === 85 && practice.state.last === 1")
    tab.open(
        made.path,
        "tempo=9999&key=x&bars=7-3&count=7&click=%3Cb%3E&levels=__proto__:3,drums:-99&silent=constructor&melody=on",
    )
    assert tab.run(
        "[practice.state.percent, practice.state.shift, practice.state.loop, practice.state.countIn, practice.state.manner]"
    ) == [100, 0, False, 2, "off"]


def test_a_count_the_first_time_only(tab: Browser) -> None:
    """A loop of a bar with its count once: one count, then pass after pass."""
    tab.run("practice.state.countIn = 1")
    tab.run("document.querySelector('#drawer-count input[type=checkbox]').click()")
    tab.run(
        "document.querySelector('#drawer-range select').value = 2; document.querySelector('#drawer-range select').dispatchEvent(new Event('change'))"
    )
    tab.run(
        "document.querySelector('#sheet .zone[data-bar=\"2\"]').dispatchEvent(new MouseEvent('click', { bubbles: true, shiftKey: true }))"
    )
    assert "the first time" in tab.run("document.getElementById('sentence').textContent")
    tab.run("document.getElementById('play').click()")
    tab.wait("practice.sound?.spans().filter((s) => s.kind === 'music').length > 2")
    kinds = tab.run("practice.sound.spans().map((s) => s.kind)")
    assert kinds.count("count") <= 1
    assert kinds[1:] == ["music"] * (len(kinds) - 1)
    tab.run("document.getElementById('play').click()")
