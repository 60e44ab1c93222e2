"""The band of the desk: what a page hears, and that no sample of it is missing, whatever is typed meanwhile.

The test client of starlette speaks WebSocket with the application itself; a page's demand is played by the test, so time is a
count of frames.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from starlette.applications import Starlette
from starlette.routing import WebSocketRoute
from starlette.testclient import TestClient

from backing.commands.desk_band import DeskBand, Heard, Reading, Wish, index_of, number_at, wanted
from backing.commands.desk_chord import pitches, take_of_chord
from backing.commands.preparing import prepare
from backing.desk.sound import AHEAD, CHUNK, HEADER, MOST_AHEAD, Sound
from backing.ground import dice
from backing.ground.errors import RequestError
from backing.live.session import HOP, Events
from backing.live.take import Take
from backing.output.sound.synth import ON, RATE
from tests.each import each

TUNE = """title: Nine Lamps
key: G
tempo: 160
style: bossa nova
count-in: off
[A]
| G6 | Em7 | Am7 | D7 |
| G6 | Cmaj7 | D7 | G6 |
"""


class Tone:
    """A band that sounds where a note is struck: a sample a note, as high as the note."""

    def __init__(self) -> None:
        self.levels: dict[str, float] = {}
        self.struck: list[tuple[str, int]] = []

    def seat(self, take: Take) -> None:
        return

    def hop(self, events: Events, take: Take, at: int) -> NDArray[np.float32]:
        out = np.zeros((HOP, 2), np.float32)
        for (role, _), row in events.items():
            for offset, event in row:
                if event >> 16 & 3 == ON:
                    out[offset] = (event >> 8 & 255) / 128
                    self.struck.append((role, event >> 8 & 255))
        return out


class Page:
    """What a page does: it asks, says how much it wants, and keeps what it gets."""

    def __init__(self, socket: Any, bands: list[Tone]) -> None:
        self.socket, self.bands = socket, bands
        self.generation = 0
        self.frames = 0  # of this generation
        self.total = 0
        self.heard: list[NDArray[np.float32]] = []
        self.told: list[dict[str, Any]] = []
        self.places: list[tuple[int, int]] = []  # frame, bar
        self.waits = False

    def ask(self, do: str, **what: object) -> None:
        self.socket.send_json({"do": do, **what})

    def take(self) -> None:
        """One message, whatever it is."""
        said = self.socket.receive()
        assert said["type"] == "websocket.send", said
        if (text := said.get("text")) is not None:
            self.told.append(told := json.loads(text))
            if "generation" in told:
                self.generation, self.frames = told["generation"], 0
            if "at" in told:
                self.places.append((told["at"]["frame"], told["at"]["bar"]))
            return
        data = said["bytes"]
        generation, first, count = HEADER.unpack(data[: HEADER.size])
        assert generation == self.generation
        assert first == self.frames, "a frame is missing, or comes twice"
        sound = np.frombuffer(data[HEADER.size :], "<f4").reshape(-1, 2)
        assert len(sound) == count
        self.heard.append(sound)
        self.frames += count
        self.total += count
        if not self.waits:
            self.want()

    def want(self) -> None:
        self.ask("want", generation=self.generation, frames=self.frames + AHEAD)

    def until(self, true: Callable[[], bool]) -> None:
        """Listen on until something is so."""
        self.want()
        while not true():
            self.take()

    def wait(self, true: Callable[[], bool]) -> None:
        """Want nothing until something is so: time stands still while the band is planned anew."""
        self.waits = True
        while not true():
            self.take()
        self.waits = False

    def hear(self, frames: int) -> None:
        goal = self.total + frames
        self.until(lambda: self.total >= goal)

    @property
    def playing(self) -> bool:
        return next((t["playing"] for t in reversed(self.told) if "playing" in t), False)

    @property
    def failed(self) -> list[str]:
        return [t["failed"] for t in self.told if "failed" in t]


@contextmanager
def page(apart: bool = False) -> Iterator[Page]:
    bands: list[Tone] = []

    def band() -> Tone:
        bands.append(Tone())
        return bands[-1]

    sound = Sound(lambda desk: DeskBand(desk, None, band, apart=apart))
    app = Starlette(routes=[WebSocketRoute("/sound", sound.serve)])
    with TestClient(app) as client, client.websocket_connect("/sound") as socket:
        yield Page(socket, bands)


def test_a_text_is_heard_from_the_cursor_and_its_bars_are_told() -> None:
    with page() as one:
        one.ask("load", text=TUNE, name="lamps.txt", revision=1)
        one.ask("play", offset=TUNE.index("Am7"))
        one.hear(3 * RATE)
        assert one.playing
        assert next(bar for _, bar in one.places if bar) == 3
        assert sorted({bar for _, bar in one.places}) == [3, 4, 5]
        assert any(chunk.any() for chunk in one.heard)
        assert [t["tempo"] for t in one.told if "tempo" in t] == [160] * sum(
            "tempo" in t for t in one.told
        )
        one.ask("stop")
        one.until(lambda: not one.playing)
        one.until(lambda: any("rest" in t for t in one.told))


def test_a_chart_that_is_opened_is_planned_before_anybody_plays_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is planned once; a mistake in it is told only to those who want to hear it."""
    made: list[Heard] = []
    make = Reading.__call__

    def counted(self: Reading, heard: Heard, between: Callable[[], object]) -> Iterator[Take]:
        made.append(heard)
        return make(self, heard, between)

    monkeypatch.setattr(Reading, "__call__", counted)
    with page() as one:
        one.ask("load", text=TUNE, name="lamps.txt")
        one.wait(lambda: any("tempo" in t for t in one.told))
        assert (len(one.bands), one.total, one.playing) == (1, 0, False)
        one.ask("play", bar=3)
        one.until(lambda: one.playing)
        one.hear(RATE)
        assert [heard.number for heard in made] == [None]
        assert one.places[0][1] == 3
    with page() as one:
        one.ask("load", text=TUNE.replace("Em7", "Em7x"), name="lamps.txt")
        one.ask("play", bar=1)
        one.wait(lambda: bool(one.failed))
        assert one.failed == ["line 7: x is no word of a chord symbol"]


def test_what_was_planned_before_is_not_played_in_place_of_what_is_asked() -> None:
    """A take that comes while something else is asked belongs to nobody."""
    with page() as one:
        one.ask("load", text=TUNE, name="lamps.txt")
        one.ask("hear", style="tango", bars=2)
        one.until(lambda: one.playing)
        one.until(lambda: not one.playing)
        assert {bar for _, bar in one.places} <= {1, 2}
        assert "drums" not in {role for role, _ in one.bands[0].struck}


def test_nothing_is_made_that_is_not_wanted() -> None:
    """A page that says nothing more gets what lies ahead and no more; one that wants too much waits for its own line."""
    with page() as one:
        one.ask("load", text=TUNE, name="lamps.txt")
        one.ask("play", bar=1)
        got = 0
        while got < AHEAD:
            said = one.socket.receive()
            got += CHUNK if said.get("bytes") else 0
        one.ask("level", player="nobody", dB="loud")  # answered, since nothing else is under way
        said = one.socket.receive()
        while said.get("bytes") is None and "failed" not in json.loads(said["text"]):
            said = one.socket.receive()
        assert said.get("bytes") is None
    assert AHEAD < MOST_AHEAD


def test_a_mistake_is_told_and_what_is_played_goes_on() -> None:
    with page() as one:
        one.ask("load", text=TUNE, name="lamps.txt")
        one.ask("play", bar=1)
        one.hear(RATE)
        one.ask("load", text=TUNE.replace("Em7", "Em7x"), name="lamps.txt")
        one.wait(lambda: bool(one.failed))
        assert one.failed[0] == "line 7: x is no word of a chord symbol"
        one.hear(RATE)
        assert one.playing
        one.ask("key", to="H flat")
        one.wait(lambda: len(one.failed) > 1)
        one.ask("hum")
        one.wait(lambda: len(one.failed) > 2)
        assert one.failed[2] == "the band knows nothing of 'hum'"
        one.socket.send_json({"do": "tempo"})
        one.wait(lambda: len(one.failed) > 3)


def test_a_new_text_is_heard_from_the_next_bar() -> None:
    with page() as one:
        one.ask("load", text=TUNE.replace("| G6 | Em7", "| N.C. | N.C."), name="lamps.txt")
        one.ask("play", bar=1)
        one.hear(RATE // 2)
        one.ask("tempo", percent=50)
        one.wait(lambda: {"tempo": 80.0} in one.told)
        bar = RATE * 60 * 4 // 160
        one.hear(8 * bar)
        starts = [frame for frame, number in one.places if number == 4]
        ends = [frame for frame, number in one.places if number == 5]
        assert ends[0] - starts[0] == pytest.approx(2 * bar, abs=2 * CHUNK)


def test_bars_are_repeated_and_left_again() -> None:
    with page() as one:
        one.ask("load", text=TUNE, name="lamps.txt")
        one.ask("loop", bars={"from": 3, "to": 4})
        one.ask("play", bar=1)
        one.hear(7 * RATE)
        assert {bar for _, bar in one.places} == {3, 4}
        one.ask("loop", bars=None)
        one.hear(4 * RATE)
        assert one.places[-1][1] in (5, 6, 7)


def test_a_style_is_tasted_and_then_it_is_still() -> None:
    with page() as one:
        one.ask("load", text=TUNE + "| C6 | G6 | Am7 | D7 |\n", name="lamps.txt")
        one.ask("hear", style="tango", bars=2)
        one.until(lambda: one.playing)
        one.until(lambda: not one.playing)
        assert {bar for _, bar in one.places} <= {1, 2}
        roles = {role for role, _ in one.bands[0].struck}
        assert "drums" not in roles, "a bossa nova has drums, this tango has none"
        one.ask("play", bar=1)
        one.until(lambda: one.playing)
        one.hear(RATE)
        assert "drums" in {role for role, _ in one.bands[0].struck}


def test_a_player_is_silent_and_a_chord_is_struck_beside_the_band() -> None:
    with page() as one:
        one.ask("load", text=TUNE, name="lamps.txt")
        one.ask("level", player="drums", dB=None)
        one.ask("level", player="bass", dB=3)
        one.ask("play", bar=1)
        one.hear(RATE)
        assert one.bands[0].levels["drums"] < -100
        assert one.bands[0].levels["bass"] == 3
        one.ask("chord", symbol="C/E")
        one.until(lambda: len(one.bands) > 1 and bool(one.bands[1].struck))
        assert one.playing
        assert sorted(pitch for _, pitch in one.bands[1].struck) == [40, 48, 52, 55]
        one.ask("chord", symbol="C/E | D")
        one.wait(lambda: bool(one.failed))


@each(
    ("symbol", "notes"),
    [("C", [36, 48, 52, 55]), ("Bb7", [46, 58, 62, 65, 68]), ("Am7b5", [45, 57, 60, 63, 67])],
)
def test_a_chord_stands_over_its_bass(symbol: str, notes: list[int]) -> None:
    """Triad and seventh chords in root position, spelled as in any harmony book (common practice)."""
    chord = take_of_chord(symbol).timeline.chords[0].chord
    assert chord is not None
    assert pitches(chord) == notes


def test_what_is_no_chord_is_said() -> None:
    for symbol in ("H?", "N.C.", "C | D", "C\n| D"):
        with pytest.raises(RequestError, match=r"chord|strike"):
            take_of_chord(symbol)


def test_a_place_in_the_text_is_a_bar_of_the_sheet_and_of_what_is_played() -> None:
    """In UTF-16 units; between bars it is the next one, behind the last the first."""
    text = TUNE.replace("Nine", "𝄞 Nine")
    more = 3  # a sign of two units, and a blank
    numbers = [
        number_at(text, "t.txt", TUNE.index(at) + more) for at in ("title", "Em7", "| Am7", "[A]")
    ]
    assert numbers == [1, 2, 3, 1]
    assert number_at(text, "t.txt", len(text) + 10) == 1
    timeline = prepare(wanted(Wish(TUNE, "t.txt")).chart).timeline
    assert index_of(timeline, 3) == 2
    assert index_of(timeline, 99, 4) == 4


def test_a_page_that_goes_ends_its_thread_and_its_planner() -> None:
    before = set(threading.enumerate())
    with page(apart=True) as one:
        one.ask("load", text=TUNE, name="lamps.txt")
        one.ask("play", bar=1)
        one.hear(RATE)
        assert {t.name for t in set(threading.enumerate()) - before} >= {"sound", "planner"}
    import multiprocessing

    left = [t for t in threading.enumerate() if t not in before and t.name in ("sound", "planner")]
    for thread in left:
        thread.join(60)
        assert not thread.is_alive()
    assert not multiprocessing.active_children()


EDITS = [
    ("tempo: 160", "tempo: 150"), ("Em7", "E7"), ("Am7", "Am9"), ("D7", "D7b9"), ("Cmaj7", "C6"), ("G6", "Gmaj7"),
    ("bossa nova", "samba"), ("| Am7", "| Am7 | Am7"), ("Em7", "Em7x"), ("[A]", "[B"), ("title: Nine", "title: Ten"),
]  # fmt: skip


@pytest.mark.slow
def test_five_hundred_edits_while_it_plays_lose_no_frame() -> None:
    """Each edit is a text of its own, a sixth of them with a mistake; frames are continuous (`Page.take`), music goes on."""
    with page() as one:
        one.ask("load", text=TUNE, name="lamps.txt")
        one.ask("loop", bars={"from": 1, "to": 8})
        one.ask("play", bar=1)
        one.until(lambda: one.playing)
        text = TUNE
        for i in range(500):
            which, back = dice.row(2, "edits", i)
            old, new = EDITS[int(which * len(EDITS))]
            text = text.replace(old, new, 1) if back < 0.6 else TUNE
            one.ask("load", text=text, name="lamps.txt", revision=i)
            one.hear(CHUNK * (1 + int(4 * which)))
        one.hear(2 * RATE)
        assert one.playing
        assert one.generation == 1
        assert all(words.startswith("line ") for words in one.failed)
        assert one.failed
        quiet = np.concatenate(one.heard).any(axis=1)
        struck = np.flatnonzero(quiet)
        assert np.diff(struck).max() < RATE  # somebody strikes in every beat
