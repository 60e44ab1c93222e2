"""What the practice page sounds, in headless Chromium: its own graph rendered offline, and measured."""

from __future__ import annotations

import base64
import json
from typing import Any

import numpy as np
import pytest
from browser import Browser
from numpy.typing import NDArray

from tests.practice import Made

HEARD = 48_000

# It listens by stopping an offline rendering on its way, which Firefox and WebKit do not offer alike.
pytestmark = [pytest.mark.browser, pytest.mark.chromium]


LISTEN = """
window.listen = async ({ wish, seconds, only }) => {
  const offline = new OfflineAudioContext(1, Math.round(seconds * 48000), 48000);
  const sound = practice.openSound(offline);
  for (const role of [...practice.data.players.map((p) => p.role), "click"]) if (!only.includes(role)) sound.level(role, 0);
  const last = practice.data.bars.length - 1;
  sound.play({ bar: 0, first: 0, last, loop: false, rate: 1, step: 0, top: 1, shift: 0, countIn: 0, manner: "off", ...wish });
  const ready = async () => { while (!sound.ready()) await new Promise((r) => setTimeout(r, 2)); };
  const seen = new Map();
  const note = () => sound.spans().forEach((s) => seen.set(s.at, { kind: s.kind, at: s.at, from: s.from, rate: s.rate, beats: s.beats }));
  note();
  await ready();
  for (let t = 0.5; t < seconds; t += 0.5) {
    offline.suspend(t).then(async () => { sound.tick(); note(); await ready(); offline.resume(); });
  }
  const samples = (await offline.startRendering()).getChannelData(0);
  let text = "";
  const bytes = new Uint8Array(samples.buffer);
  for (let i = 0; i < bytes.length; i += 32768) text += String.fromCharCode(...bytes.subarray(i, i + 32768));
  return { sound: btoa(text), spans: [...seen.values()].sort((a, b) => a.at - b.at) };
};
"""


def listen(
    tab: Browser, only: list[str], seconds: float, **wish: object
) -> tuple[NDArray[np.float32], list[dict[str, Any]]]:
    """The page's own graph rendered offline: what it sounds, and what it had planned."""
    tab.run(LISTEN)
    got = tab.run(f"listen({json.dumps({'wish': wish, 'seconds': seconds, 'only': only})})")
    return np.frombuffer(base64.b64decode(got["sound"]), np.float32), got["spans"]


def onsets(sound: NDArray[np.float32], share: float = 0.35) -> NDArray[np.float64]:
    """Where knocks begin, in seconds: the first sample above a share of the highest after 60 ms without one."""
    loud = np.flatnonzero(np.abs(sound) > share * np.abs(sound).max())
    first = np.concatenate([[True], np.diff(loud) > 0.06 * HEARD])
    return np.asarray(loud[first] / HEARD, np.float64)


def pitch_hz(sound: NDArray[np.float32]) -> float:
    """The frequency of a steady tone from the peak of its spectrum, by a parabola through three bins."""
    size = len(sound)
    power = np.log(np.abs(np.fft.rfft(sound * np.hanning(size))) + 1e-12)
    k = int(np.argmax(power))
    a, b, c = power[k - 1 : k + 2]
    return float((k + 0.5 * (a - c) / (a - 2 * b + c)) * HEARD / size)


def test_a_click_lands_where_the_timeline_says_at_60_percent(tab: Browser, made: Made) -> None:
    """Beats of the timeline file, scaled by 1/0.6, within a millisecond."""
    sound, spans = listen(tab, ["click"], 8.0, rate=0.6, manner="beats", bar=2)
    (span,) = spans
    expected = [
        span["at"] + (b - span["from"]) / 0.6 for b in made.beats() if b >= span["from"] - 1e-6
    ]
    found = onsets(sound)
    assert len(found) > 12
    assert np.abs(found - expected[: len(found)]).max() < 0.001


@pytest.mark.parametrize("percent", [40, 60, 100, 130])
@pytest.mark.parametrize("role", ["drums", "guitar"])
def test_every_player_keeps_time_at_every_tempo(
    tab: Browser, made: Made, role: str, percent: int
) -> None:
    """Knocks in the sound of a player, sliced or stretched, come where the timeline says, within 10 ms."""
    rate = percent / 100
    sound, spans = listen(tab, [role], 6.0, rate=rate, bar=1)
    (span,) = spans
    places = made.strokes() if role == "drums" else made.beats()
    expected = np.array([span["at"] + (p - span["from"]) / rate for p in places])
    found = onsets(sound)
    assert len(found) > 5
    off = [np.abs(expected - t).min() for t in found if t > span["at"] + 0.1]
    assert max(off) < 0.010


@pytest.mark.parametrize("count_in", [0, 1])
def test_a_two_bar_loop_does_not_drift(tab: Browser, made: Made, count_in: int) -> None:
    """Twenty passes of two bars: the last begins where arithmetic puts it, within a millisecond."""
    rate = 1.3
    bar_s = 4 * 60 / 200 / rate
    pass_s = (2 + count_in) * bar_s
    sound, spans = listen(
        tab,
        ["guitar"],
        20 * pass_s + 1.5,
        rate=rate,
        loop=True,
        first=4,
        last=5,
        bar=4,
        countIn=count_in,
    )
    starts = [s["at"] for s in spans if s["kind"] == "music"]
    found = onsets(sound)
    begun = [found[np.abs(found - s).argmin()] for s in starts[:20]]
    assert len(begun) == 20
    drift = (begun[-1] - begun[0]) - 19 * pass_s
    assert abs(drift) < 0.001
    assert max(abs(b - s) for b, s in zip(begun, starts, strict=False)) < 0.005


def test_each_pass_is_faster_up_to_the_top(tab: Browser) -> None:
    _, spans = listen(
        tab,
        ["click"],
        12.0,
        rate=0.8,
        step=0.1,
        top=1.0,
        loop=True,
        first=0,
        last=0,
        bar=0,
        countIn=1,
    )
    music = [s["rate"] for s in spans if s["kind"] == "music"]
    counts = [s["rate"] for s in spans if s["kind"] == "count"]
    assert music[:4] == pytest.approx([0.8, 0.9, 1.0, 1.0])
    assert counts[:4] == pytest.approx([0.8, 0.9, 1.0, 1.0])


def test_a_bar_is_counted_in_before_each_pass(tab: Browser, made: Made) -> None:
    """Four strokes a beat apart before the music, in the tempo of the pass, heard where they are planned."""
    sound, spans = listen(
        tab, ["click"], 6.0, rate=0.5, loop=True, first=1, last=1, bar=1, countIn=1
    )
    count = next(s for s in spans if s["kind"] == "count")
    beats = [b[0] for b in count["beats"]]
    assert np.diff(beats) == pytest.approx([0.6] * 3)
    assert onsets(sound)[:4] == pytest.approx(beats, abs=0.001)


@pytest.mark.parametrize(
    ("shift", "percent", "hz"),
    [
        (0, 100, 440.0),
        (0, 60, 440.0),
        (0, 130, 440.0),
        (3, 100, 523.251),
        (-6, 80, 311.127),
        (6, 100, 622.254),
    ],
)
def test_key_and_tempo_are_independent(tab: Browser, shift: int, percent: int, hz: float) -> None:
    """A tone of 440 Hz (ISO 16) in other keys and tempos: equal temperament, within 3 cents."""
    sound, _ = listen(tab, ["bass"], 4.0, rate=percent / 100, shift=shift, bar=0)
    steady = sound[HEARD : 3 * HEARD + HEARD // 2]
    assert abs(1200 * np.log2(pitch_hz(steady) / hz)) < 3


def test_drums_stay_in_their_pitch(tab: Browser) -> None:
    """Knocks of 2 kHz in a key six semitones higher are knocks of 2 kHz."""
    plain, _ = listen(tab, ["drums"], 3.0, bar=0)
    moved, _ = listen(tab, ["drums"], 3.0, bar=0, shift=6)
    assert np.array_equal(plain, moved)


def test_a_silent_player_is_not_heard(tab: Browser) -> None:
    sound, _ = listen(tab, [], 2.0, bar=0)
    assert not sound.any()


def test_the_mix_is_the_sum_of_the_players(tab: Browser) -> None:
    """Three players alone, added, are the three together."""
    alone = [listen(tab, [r], 2.5, bar=0)[0] for r in ("guitar", "bass", "drums")]
    together, _ = listen(tab, ["guitar", "bass", "drums"], 2.5, bar=0)
    assert np.abs(sum(alone) - together).max() < 1e-4
