"""`backing play`: its keys, its screen, its level, its MIDI, and what it says when something is wrong."""

from __future__ import annotations

import io
import itertools
import re
from collections.abc import Callable, Iterator
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import backing
from backing.commands import play as commands
from backing.commands import screen
from backing.commands.keyboard import split
from backing.commands.live import ACTS, Live
from backing.commands.options import Options
from backing.commands.play import Follower
from backing.commands.playing import changed, faster, higher, wanted_of
from backing.commands.takes import Asked, Making, first_take, whole_take
from backing.ground.errors import AudioUnavailable, RequestError
from backing.ground.roles import CHANNELS
from backing.live.asked import Border, Change, Play, Stop
from backing.live.desk import Desk
from backing.live.device import Speaker, devices
from backing.live.foreseen import by_table, loudness
from backing.live.midi_out import CLOCKS, Clocks, Instruments, Sender
from backing.live.planner import PART, PIECE, Abandoned, Planner, parcels
from backing.live.pump import FADE, Pump
from backing.live.session import HOP, Session
from backing.live.take import take_of
from backing.output.sound.mix import tracks
from backing.output.sound.soundfont import find
from backing.output.sound.synth import BLOCK, RATE
from tests.each import each
from tests.recorder import WALTZ, Recorder, take

DEMO = Path(__file__).parent.parent / "demo"


@pytest.fixture
def live() -> Iterator[Live]:
    wanted = wanted_of(backing.parse(WALTZ), Options())
    first = whole_take(wanted, None)
    found = Live(wanted, first, Recorder(), None, apart=False)
    yield found
    found.planner.stop()


def pressed(live: Live, *keys: str) -> None:
    for key in keys:
        live.press(key)
        live.planner.settle()
        live.session.pull(HOP)


# keys


def test_every_key_that_is_told_does_something_and_every_key_that_does_is_told() -> None:
    names = {"space": " ", "←": "left", "→": "right", "↑": "up", "↓": "down"}
    told = {names.get(k, k) for keys, _ in screen.KEYS if keys != "1 to 9" for k in keys.split()}
    assert told == set(ACTS) - {"="}  # the key of + without its shift


def test_the_keys_are_those_of_the_practice_page() -> None:
    """Where the page has a key, the terminal has it for the same; light and grips are of the page alone."""
    script = (files("backing.output.page") / "web" / "keyboard.js").read_text("utf-8")
    page = {
        keys.replace("−", "-"): does
        for keys, does in re.findall(r'\["([^"]+)", "([^"]+)"\]', script)
    }
    here = dict(screen.KEYS)
    page["space k"] = page.pop("Space, K")
    shared = {keys.lower() if len(keys) == 1 or keys == "Home" else keys for keys in page} & set(
        here
    )
    assert {"space k", "← →", "↑ ↓", "+ -", "[ ]", "0", "1 to 9", "c", "m", "home", "?"} <= shared
    for keys, does in page.items():
        name = keys.lower() if len(keys) == 1 or keys == "Home" else keys
        if name in here:
            assert here[name] == does


@each(
    ("keys", "percent"),
    [(("up",), 105), (("down", "down"), 90), (("up",) * 30, 200), (("down",) * 30, 25)],
)
def test_the_tempo_moves_by_five_per_cent_between_its_ends(
    keys: tuple[str, ...], percent: int
) -> None:
    wanted = wanted_of(backing.parse(WALTZ), Options())
    for key in keys:
        wanted = faster(wanted, 1 if key == "up" else -1)
    assert wanted.at_percent == percent


def test_a_tempo_that_was_typed_moves_on_to_the_next_five_per_cent() -> None:
    wanted = wanted_of(backing.parse(WALTZ), Options().changed(tempo_bpm=Fraction(144)))
    assert wanted.at_percent == 80
    odd = wanted._replace(percent=Fraction(83))
    assert (faster(odd, 1).percent, faster(odd, -1).percent) == (85, 80)


def test_a_key_that_was_typed_is_where_the_keys_begin() -> None:
    from backing.ground.pitch import Key

    wanted = wanted_of(backing.parse(WALTZ), Options().changed(key=Key.parse("Bb")))
    assert wanted.at_shift in (3, -9)
    assert higher(wanted, 1).options().form.transpose == wanted.at_shift + 1


def test_tempo_and_key_are_heard_from_the_next_bar(live: Live) -> None:
    pressed(live, " ")
    live.session.pull(live.session.place.take.bars[1])
    pressed(live, "down", "+")
    live.session.pull(2 * RATE)
    timeline = live.session.place.take.timeline
    assert timeline.key.short_name in ("Ab", "G#")
    assert timeline.tempo[0].us == round(60_000_000 / 180 / 0.95)


def test_players_are_silenced_and_come_back(live: Live) -> None:
    pressed(live, "1")
    first = live.shown.players[0]
    assert live._band.levels[first] < -100
    pressed(live, "1")
    assert live._band.levels[first] == 0


def test_a_track_that_climbs_is_faster_in_every_round(live: Live) -> None:
    pressed(live, "[", "l", " ")
    for _ in range(40):
        live.session.pull(RATE // 4)
        live.turn()
        live.planner.settle()
    assert live.wanted.at_percent >= 110


def test_what_a_terminal_sends_is_read_as_keys() -> None:
    assert split("\x1b[A\x1b[B q\x1b\x1b[1;5CK") == ["up", "down", " ", "q", "k"]


# the screen


def test_the_screen_tells_where_the_music_is() -> None:
    wanted = wanted_of(backing.parse(WALTZ), Options())
    band = Recorder()
    session = Session(band, take())
    session.command(Play(3), Border.NOW)
    session.pull(RATE // 2)
    lines = screen.lines(session.place, wanted, screen.Shown(("keys", "bass", "drums")))
    assert lines[0] == "Round · jazz waltz · G major · ♩ = 180"
    assert lines[1].startswith("A · bar 4 · 1 2")
    assert lines[2].startswith("| G6 | Am7 D7 D7 | Gmaj7 | E7 |")
    assert lines[3].index("━") == lines[2].index("E7")
    assert lines[4] == "| Cmaj7 | Bm7 | Am7 | D7 |"
    assert lines[5] == "1keys 2bass 3drums"


@each("width", [12, 30, 200])
def test_the_bar_that_sounds_is_seen_in_any_terminal(width: int) -> None:
    session = Session(Recorder(), take())
    session.command(Play(3), Border.NOW)
    session.pull(RATE // 2)
    wanted = wanted_of(backing.parse(WALTZ), Options())
    lines = screen.lines(session.place, wanted, screen.Shown(), width)
    assert lines[2].index("E7") == lines[3].index("━") < width - 2


def test_the_screen_is_cut_to_a_narrow_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "20")
    monkeypatch.setenv("LINES", "4")
    out = io.StringIO()
    commands._Drawn(out).show(["x" * 50, "日本語" * 10, "a", "b", "c"])
    drawn = out.getvalue().removeprefix("\r\x1b[J").splitlines()
    assert drawn == ["x" * 19, "日本語" * 3, "a"]


# the file is followed


def test_a_saved_file_is_read_once_and_only_where_it_changed(tmp_path: Path) -> None:
    path = tmp_path / "tune.txt"
    path.write_text(WALTZ)
    follower = Follower(path)
    assert not follower.saved()
    path.write_text(WALTZ + "# again\n")
    assert follower.saved()
    assert not follower.saved()
    path.unlink()
    assert not follower.saved()


def test_fifty_edits_of_which_ten_are_broken(
    live: Live, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tune.txt"
    path.write_text(WALTZ)
    follower = Follower(path)
    pressed(live, " ")
    for i in range(50):
        broken = i % 5 == 4
        title = f"Round {i}" if not broken else "Round"
        body = WALTZ.replace("title: Round", f"title: {title}")
        path.write_text(body + ("| Cmaj | H? |\n" if broken else "# " + "x" * i + "\n"))
        commands._follow(live, follower, None)
        live.session.pull(RATE * 2)
        said = capsys.readouterr().err
        assert ("E505" in said) == broken
        assert live.session.place.playing or i > 0
        newest = f"Round {i - 1 if broken else i}"
        if live.session.place.playing:
            assert live.session.place.take.timeline.title == newest
        else:
            pressed(live, " ")


# level and sound


@pytest.mark.slow
@each("name", ["waltz", "blues", "stone"])
def test_the_level_is_foreseen_within_a_unit(name: str) -> None:
    """Against the integrated loudness of the rendered mix by pyloudnorm, which implements BS.1770-4."""
    import pyloudnorm

    wanted = wanted_of(
        backing.parse((DEMO / f"{name}.txt").read_text()), Options().changed(choruses=1)
    )
    ready = whole_take(wanted, None)
    font = find(None)
    blocks = tracks(ready.performance.players, font, ready.frames, apart=False)
    mixed = np.concatenate(
        [np.zeros((BLOCK, 2), np.float32) if b is None else b for (b,) in blocks]
    )
    true = pyloudnorm.Meter(RATE).integrated_loudness(mixed.astype(np.float64))
    assert loudness(ready, font) == pytest.approx(true, abs=1.0)
    assert by_table(ready, font) == pytest.approx(true, abs=4.0)


def test_an_opening_is_the_whole_as_far_as_it_goes_and_gives_way_without_a_cut() -> None:
    """Note for note up to its last bar, and whoever plays it hears no difference."""
    wanted = wanted_of(backing.parse((DEMO / "waltz.txt").read_text()), Options())
    whole = whole_take(wanted, None)
    _, opening = first_take(wanted, None)
    assert opening.opening
    assert not whole.opening
    assert 7 <= opening.last < len(whole.bars) - 2
    until = whole.bars[opening.last]
    for one, all_of_it in zip(opening.streams, whole.streams, strict=True):
        assert one.key == all_of_it.key
        early = [s for s in one.strokes if s.release < until]
        assert early == [s for s in all_of_it.strokes if s.release < until]
    heard, struck = Recorder(), Recorder()
    ahead, changed_in_time = Session(struck, whole), Session(heard, opening)
    for session in (ahead, changed_in_time):
        session.command(Play(0), Border.NOW)
        session.pull(8 * RATE)
    changed_in_time.command(Change(whole), Border.BAR)
    for session in (ahead, changed_in_time):
        session.pull(10 * RATE)
    assert changed_in_time.place.take is whole
    assert heard.done == struck.done
    assert len(changed_in_time.cuts) == 1


def test_what_is_heard_is_what_a_file_holds() -> None:
    """60 dB apart: compressors begin anew after a silent hop here, after a silent block there."""
    tiny = take("count-in: off\nstyle: pop ballad\n[A]\n| C | Am |\n")
    font = find(None)
    desk = Desk(font)
    session = Session(desk, tiny._replace(gain_db=0.0))
    session.command(Play(0), Border.NOW)
    heard = session.pull(4 * RATE + HOP)[HOP:]
    desk.close()
    (block,) = next(tracks(tiny.performance.players, font, 4 * RATE, apart=False))
    assert block is not None
    whole = block.astype(np.float64)
    apart = heard[: len(block)] - whole[: len(heard)]
    assert (apart**2).sum() < 1e-6 * (whole**2).sum()


# MIDI


class _Port:
    def __init__(self) -> None:
        self.messages: list[Any] = []

    def send(self, message: Any) -> None:
        self.messages.append(message)


class _Clock:
    """Time that passes when somebody waits."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.now_s += seconds


def sender(bars: int = 0) -> tuple[Session, Instruments, _Port, _Clock, Sender]:
    band, port, clock = Instruments(), _Port(), _Clock()
    session = Session(band, take())
    session.command(Play(bars), Border.NOW)
    return session, band, port, clock, Sender(session, band, port, clock, clock.wait)


def sounding(messages: list[Any]) -> set[tuple[int, int]]:
    held: set[tuple[int, int]] = set()
    for m in messages:
        if m.type == "note_on":
            held.add((m.channel, m.note))
        elif m.type == "note_off":
            held.discard((m.channel, m.note))
    return held


def test_a_port_gets_the_notes_of_the_file_and_a_clock() -> None:
    session, _band, port, _clock, out = sender()
    while session.place.playing or not out.taken:
        out.one(out.taken / RATE)
    out.stop()
    notes = sorted((m.channel, m.note, m.velocity) for m in port.messages if m.type == "note_on")
    performance = take_of(take().performance).performance
    wanted = sorted(
        (CHANNELS[p.role], n.pitch, n.velocity) for p in performance.players for n in p.notes
    )
    assert notes == wanted
    assert not sounding(port.messages)
    count = sum(m.type == "clock" for m in port.messages)
    quarters = performance.arrangement.timeline.length_q - performance.tempo.zero_q
    assert count == quarters * CLOCKS
    assert {m.type for m in port.messages} >= {"start", "stop", "program_change"}
    assert out.missing == 0


def test_clocks_are_even_and_none_is_lost_between_hops() -> None:
    ready = take()
    clocks = Clocks().between
    whole = clocks(ready, 0, ready.bars[-1])
    parts = [
        f
        for at in range(0, ready.bars[-1], HOP)
        for f in clocks(ready, at, min(at + HOP, ready.bars[-1]))
    ]
    assert parts == whole
    gaps = {b - a for a, b in itertools.pairwise(whole)}
    assert gaps <= {612, 613}  # 44,100 * 60 / 180 / 24 is 612.5


def test_a_thousand_stops_leave_no_note_hanging() -> None:
    from backing.ground import dice

    session, _band, port, _clock, out = sender()
    for i in range(1000):
        one, two = dice.row(2, "stops", i)
        session.command(Play(int(one * 11)), Border.NOW)
        for _ in range(1 + int(two * 6)):
            out.one(out.taken / RATE)
        session.command(Stop(), Border.NOW)
        out.one(out.taken / RATE)
        assert not sounding(port.messages)
        port.messages.clear()


# devices


def test_a_device_that_is_not_there_is_named_with_those_that_are() -> None:
    pump = Pump(Session(Recorder(), take()))
    with pytest.raises(
        RequestError, match=r"--device telephone: there is no such device; there are .*null"
    ):
        Speaker(pump, "telephone")
    assert devices()[-1] == "null"


def test_a_pump_gives_silence_for_what_is_not_ready_and_counts_it() -> None:
    pump = Pump(Session(Recorder(), take()), ahead=2 * HOP)
    pump.fill()
    assert len(pump.take(3 * HOP)) == 3 * HOP
    assert (pump.taken, pump.missing) == (2 * HOP, HOP)
    pump.fill()
    pump.take(100)
    assert (pump.taken, pump.missing) == (2 * HOP + 100, HOP)


class _Loud:
    """A session that is as loud as can be."""

    def pull(self, frames: int) -> Any:
        return np.ones((frames, 2), np.float32)


def test_a_pump_that_is_hushed_fades_and_is_still_and_misses_nothing() -> None:
    pump = Pump(_Loud(), ahead=4 * HOP)  # type: ignore[arg-type]
    pump.fill()
    assert pump.take(HOP).all()
    pump.hush()
    last = pump.take(HOP)
    assert last[0, 0] == 1
    assert (np.diff(last[:FADE, 0]) < 0).all()
    assert not last[FADE - 1 :].any()
    assert not pump.take(HOP).any()
    assert (pump.taken, pump.missing) == (2 * HOP, 0)


def test_at_ctrl_c_the_sound_ends_first_and_everything_else_after(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    done: list[str] = []

    def noted(name: str) -> Callable[..., None]:
        return lambda *_: done.append(name)

    class Device:
        def __init__(self, pump: Pump, _: str | None) -> None:
            self._pump = pump

        def close(self) -> None:
            self._pump.take(HOP)
            done.append("device" if not self._pump.take(HOP).any() else "a loud device")

    class Loud(Recorder):
        def hop(self, *_: Any) -> Any:
            return np.ones((HOP, 2), np.float32)

        close = noted("band")

    def interrupted(*_: Any) -> None:
        raise KeyboardInterrupt

    stop = Pump.stop
    monkeypatch.setattr(Pump, "stop", lambda pump: (done.append("pump"), stop(pump)))
    monkeypatch.setattr(Planner, "ask", noted("asked"))
    monkeypatch.setattr(Planner, "stop", noted("planner"))
    monkeypatch.setattr("backing.live.device.Speaker", Device)
    monkeypatch.setattr(commands, "_band", lambda *_: (None, Loud()))
    monkeypatch.setattr(commands, "_run", interrupted)
    with pytest.raises(KeyboardInterrupt):
        commands.play_chart(backing.parse(WALTZ), Options(), commands.How())
    assert done == ["asked", "device", "pump", "planner", "band"]


def test_sound_that_ends_is_told() -> None:
    pump = Pump(Session(Recorder(), take()))
    pump.failure = ValueError("the synthesiser is gone")
    with pytest.raises(AudioUnavailable, match="the sound ended: the synthesiser is gone"):
        commands.Sounding(pump, None).news()


# very long forms, practice tracks, tastes

LONG = "title: Long\nchoruses: 40\ncount-in: 1\n[A]\n" + "| Dm7 | G7 | Cmaj7 | A7 |\n" * 4


def test_a_window_of_a_long_form_has_its_strokes_where_the_whole_has_them() -> None:
    """What a place plays does not depend on where a window begins, but for the bars beside its ends."""
    wanted = wanted_of(backing.parse(LONG), Options())
    first = whole_take(wanted, None)
    *_, second = Making(None)(Asked(wanted, 100))
    assert (first.first, first.last, second.first, second.last) == (0, 256, 96, 352)
    assert len(first.bars) == len(second.bars) == 642
    here = range(104, 200)
    sounding = [
        [
            {
                ((s.onset - t.bars[bar]) // 4410, s.pitch)
                for s in drums.strokes
                if t.bars[bar] + 2000 <= s.onset < t.bars[bar + 1] - 4000
            }
            for bar in here
        ]
        for t in (first, second)
        for drums in t.streams
        if drums.role == "drums" and not drums.near
    ]
    same = sum(len(a & b) for a, b in zip(*sounding, strict=True))
    assert same >= 0.6 * sum(len(a) for a in sounding[0])


def test_the_next_window_is_there_before_the_last_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    wanted = wanted_of(backing.parse(LONG), Options())
    first = whole_take(wanted, None)
    band = Recorder()
    live = Live(wanted, first, band, None, apart=False)
    try:
        live.session.command(Play(200), Border.NOW)
        while live.session.place.bar < 300:
            live.session.pull(RATE)
            live.turn()
            live.planner.settle()
            assert live.session.place.playing
        assert live.session.place.take.first > 0
        frames = [d.frame for d in band.struck() if d.role == "bass"]
        assert max(b - a for a, b in itertools.pairwise(frames)) < 3 * RATE
    finally:
        live.planner.stop()


def test_a_practice_track_is_played_pass_after_pass() -> None:
    from backing.commands.practice import Practice

    wanted = wanted_of(backing.parse(WALTZ), Options())._replace(practice=Practice("80:100:20", 1))
    ready = whole_take(wanted, None)
    us = [step.us for step in ready.timeline.tempo]
    assert us == [416_666, 333_333]
    assert len(ready.timeline.bars) == 26


@pytest.mark.slow
def test_a_chart_and_a_style_are_heard_to_their_end(tmp_path: Path) -> None:
    """On the device that swallows sound: in real time, so among the slow tests."""
    from backing.commands.cli import run

    path = tmp_path / "tiny.txt"
    path.write_text("tempo: 300\nstyle: folk strum\ncount-in: off\n[A]\n| C | C |\n")
    assert run(["play", str(path), "--device", "null", "--quiet"]) == 0
    assert run(["styles", "fast punk", "--play", "--chart", str(path), "--device", "null"]) == 0


@each(
    ("line", "words"),
    [
        ("play tune.txt --stems", "--stems: play writes no files; backing make does"),
        ("play tune.txt --signs", "--signs: it shapes the sheet, and play prints none"),
        ("play - --watch", "--watch follows a file; name the chart in place of -"),
        ("play no.txt --device null", "no.txt: there is no such file"),
        ("styles --play", "name the styles to hear"),
        ("styles bosanova --play", "bossa nova"),
    ],
)
def test_what_cannot_be_played_is_said(
    line: str,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    from backing.commands.cli import run

    monkeypatch.chdir(tmp_path)
    (tmp_path / "tune.txt").write_text(WALTZ)
    assert run(line.split()) in (2, 4)
    assert words in capsys.readouterr().err


class _Lost:
    """A device that takes nothing for a while."""

    def __init__(self, still: int) -> None:
        self.still = still
        self.opened = 0

    def moved(self) -> bool:
        self.still -= 1
        return self.still < 0

    def open(self) -> None:
        self.opened += 1

    def close(self) -> None:
        return


def test_a_device_that_is_lost_is_told_tried_again_and_told_when_it_is_back() -> None:
    pump = Pump(Session(Recorder(), take()))
    lost = _Lost(3 * commands.LOST_TURNS)
    sounding = commands.Sounding(pump, lost)
    said = [(i, text) for i in range(100) if (text := sounding.news()) is not None]
    gone = "the sound device is gone; playing goes on when it is back"
    assert said == [(commands.LOST_TURNS - 1, gone), (3 * commands.LOST_TURNS, "")]
    assert lost.opened == 2


@pytest.mark.slow
def test_any_keys_at_any_time_leave_the_music_going(live: Live) -> None:
    """Among them stops inside a count and loops of bars that another take has no more."""
    from backing.ground import dice

    pressed(live, " ")
    keys = [*sorted(set(ACTS) - {"q", "?"}), " ", "n", "[", "]", "1"]
    for i in range(120):
        pause, which = dice.row(2, "keys", i)
        live.session.pull(int((0.05 + pause / 2) * RATE))
        live.press(keys[int(which * len(keys))])
        live.turn()
        if i % 3 == 0:
            live.planner.settle()
        if not live.session.place.playing:
            live.session.pull(2 * HOP)
            assert live.session.place.playing or not live._band.held()
            live.toggle()
    assert live.session.place.take is not None


# planned apart


def test_a_bar_that_is_not_arranged_is_jumped_to_once_it_is() -> None:
    """What sounds goes on meanwhile, and the place is told; no bar of silence follows."""
    wanted = wanted_of(backing.parse(LONG), Options())
    _, opening = first_take(wanted, None)
    band = Recorder()
    live = Live(wanted, opening, band, None, apart=False)
    try:
        pressed(live, " ")
        live.session.pull(12 * RATE)
        assert not live.session.place.take.has(500)
        live.jump(500)
        assert live.session.place.bar < 10
        assert live.shown.news == "bar 5 comes as soon as it is arranged"
        live.planner.settle()
        live.session.pull(2 * RATE)
        place = live.session.place
        assert (place.playing, place.take.has(500), place.bar) == (True, True, 500)
        assert live.shown.news == ""
        struck = [d for d in band.struck() if d.frame > live.session.cuts[-1].frame]
        assert {"bass", "drums"} <= {d.role for d in struck}
    finally:
        live.planner.stop()


def test_a_very_long_form_begins_as_it_does_when_it_is_known() -> None:
    """The first chorus of two is the first of forty, in bars, chords and who plays."""
    wanted = wanted_of(backing.parse(LONG), Options())
    prepared, opening = first_take(wanted, None)
    assert len(opening.bars) < 100
    whole = whole_take(wanted, None)
    assert opening.bars[:8] == whole.bars[:8]
    assert {s.key for s in opening.streams} == {s.key for s in whole.streams}
    assert not prepared.warnings


def test_takes_come_nearest_first_and_what_is_asked_next_ends_the_work() -> None:
    wanted = wanted_of(
        backing.parse((DEMO / "waltz.txt").read_text()), Options().changed(choruses=7)
    )
    lasts = [t.last for t in Making(None)(Asked(wanted, 3))]
    assert lasts[0] < lasts[1] < lasts[2] == 1 << 30
    assert lasts[0] >= 3 + 8 - 1
    first, *_ = Making(None)(Asked(wanted, 150))
    assert first.has(150)
    assert first.has(165)
    assert not first.has(0)
    calls = itertools.count()

    def between() -> None:
        if next(calls) == 40:
            raise Abandoned

    takes = Making(None)(Asked(wanted, 0), between)
    with pytest.raises(Abandoned):
        list(takes)


def test_a_process_of_its_own_makes_the_same_takes_and_leaves_nothing_behind() -> None:
    import multiprocessing

    wanted = wanted_of(backing.parse(WALTZ), Options())
    made: list[Any] = []
    wrong: list[str] = []
    planner = Planner(Making(None), lambda _, found: made.append(found), wrong.append)
    planner.ask(Asked(wanted, 0, 1000))
    planner.settle()
    planner.ask(Asked(changed(wanted, only=("kazoo",)), 0, 1000))
    planner.settle()
    worker = planner._worker
    assert worker.is_alive()
    planner.stop()
    assert worker not in multiprocessing.active_children()
    with pytest.raises(ValueError, match="closed"):  # and holds no pipe
        worker.is_alive()
    whole = whole_take(wanted, None)
    assert made[0].streams == whole.streams
    assert made[0].bars == whole.bars
    assert made[0].timeline == whole.timeline
    assert len(wrong) == 1
    assert "kazoo" in wrong[0]


def test_a_process_that_is_killed_is_taken_over_by_a_thread() -> None:
    wanted = wanted_of(backing.parse(WALTZ), Options())
    made: list[Any] = []
    planner = Planner(Making(None), lambda _, found: made.append(found), made.append)
    planner.ask(Asked(wanted))
    planner.settle()
    planner._worker.kill()
    planner.ask(Asked(changed(wanted, seed=2)))
    planner.settle()
    planner.stop()
    assert len(made) == 2
    assert made[1].streams != made[0].streams


def test_a_long_timeline_is_sent_in_pieces_and_only_once() -> None:
    take = whole_take(wanted_of(backing.parse(LONG), Options()), None)
    sent = list(parcels(take, None))
    assert max(len(what[1]) for kind, what in sent if kind == PART) == PIECE
    assert sum(len(w[1]) for k, w in sent if k == PART and w[0] == "bars") == len(
        take.timeline.bars
    )
    assert len(list(parcels(take, take.timeline))) == 1
