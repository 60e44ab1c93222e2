"""The running session: what is played from any place, when a command is heard, and that nothing hangs."""

from __future__ import annotations

from fractions import Fraction
from itertools import count as numbers
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from backing.ground import dice
from backing.live.asked import Border, Change, Cut, Loop, Play, Stop
from backing.live.limiter import BETWEEN_DB, Limiter
from backing.live.pump import Pump
from backing.live.session import EARLY, HOP, Events, Session
from backing.live.take import Shape, Take, same_place
from backing.output.sound import limit
from backing.output.sound.synth import GESTURE, GRAIN, PROGRAM, RATE
from tests.each import each
from tests.recorder import WALTZ, Done, Recorder, take

PLAIN = take()
SLOW = take(tempo_percent=Fraction(3, 4))
BAR = PLAIN.bars[1] - PLAIN.bars[0]


def started(bar: int = 0) -> tuple[Session, Recorder]:
    band = Recorder()
    session = Session(band, PLAIN)
    session.command(Play(bar), Border.NOW)
    return session, band


def to_the_end(session: Session) -> None:
    session.pull(HOP)
    while session.place.playing:
        session.pull(HOP)


def test_what_is_played_from_the_start_is_what_a_file_holds() -> None:
    session, band = started()
    to_the_end(session)
    wanted = sorted(
        Done(s.onset, stream.role, s.pitch, s.velocity)
        for stream in PLAIN.streams
        for s in stream.strokes
    )
    assert sorted(band.struck()) == wanted
    assert not band.held()
    released = {(s.release, st.role, s.pitch) for st in PLAIN.streams for s in st.strokes}
    ended = {(d.frame, d.role, d.pitch) for d in band.done if not d.velocity}
    assert all(
        any((frame + g, role, pitch) in released for g in range(-GRAIN, GRAIN))
        for frame, role, pitch in ended
    )


def test_any_lengths_of_pulls_give_the_same_sound_and_the_same_time() -> None:
    one, first = started()
    other, second = started()
    one.pull(40_000)
    for frames in (1, 7, 1000, 38_000, 992):
        other.pull(frames)
    assert first.done == second.done


def test_a_tempo_waits_for_the_bar() -> None:
    session, band = started()
    session.pull(PLAIN.bars[2] + 5000)
    session.command(Change(SLOW))
    session.pull(BAR * 2)
    assert session.cuts[-1] == Cut(PLAIN.bars[3], 3)
    after = [d.frame for d in band.struck() if d.role == "drums" and d.frame >= PLAIN.bars[3]]
    first = min(
        s.onset
        for st in SLOW.streams
        if st.role == "drums"
        for s in st.strokes
        if s.onset >= SLOW.bars[3] - EARLY
    )
    assert abs(after[0] - PLAIN.bars[3] - max(0, first - SLOW.bars[3])) <= 2 * GRAIN


def test_the_place_does_not_drift_over_many_changes() -> None:
    """Each border is the difference of two rounded places: after 40 changes the next is still exact."""
    session, _ = started()
    takes = [SLOW, PLAIN]
    session.command(Loop(0, 7), Border.NOW)
    pulled = HOP * (PLAIN.bars[0] // HOP + 1)
    session.pull(pulled)
    expected = PLAIN.bars[0]
    now = PLAIN
    for i in range(40):
        new = takes[i % 2]
        bar = session.place.bar
        session.command(Change(new))
        expected += now.bars[bar + 1] - now.bars[bar]
        while pulled < expected + 2 * HOP:
            session.pull(HOP)
            pulled += HOP
        made = [c for c in session.cuts if c.frame == expected]
        assert made, (i, expected, list(session.cuts)[-3:])
        now = new


def test_a_loop_goes_round_without_a_gap_and_releases_what_sounds() -> None:
    session, band = started(2)
    session.command(Loop(2, 3), Border.NOW)
    length = PLAIN.bars[4] - PLAIN.bars[2]
    session.pull(5 * length)
    seams = [c.frame for c in session.cuts if c.bar == 2]
    assert [b - a for a, b in pairwise(seams)] == [length] * (len(seams) - 1)
    assert session.place.rounds >= 4
    rounds = [
        [(d.frame - s, d.role, d.pitch) for d in band.struck() if s <= d.frame < s + length - EARLY]
        for s in seams[1:4]
    ]
    assert [[(r, p) for _, r, p in sorted(one)] for one in rounds[1:]] == [
        [(r, p) for _, r, p in sorted(rounds[0])]
    ] * 2


def test_an_early_first_beat_is_struck_at_the_border_and_not_before_it() -> None:
    """What a player means for the first beat of the bar after a loop is not heard at the end of the loop."""
    session, band = started(0)
    session.command(Loop(0, 1), Border.NOW)
    session.pull(PLAIN.bars[2] + 8 * BAR)
    early = {
        (stream.role, s.pitch)
        for stream in PLAIN.streams
        for s in stream.strokes
        if PLAIN.bars[2] - EARLY <= s.onset < PLAIN.bars[2] < s.release
    }
    assert early, "nobody is early here: choose another bar"
    seam = PLAIN.bars[2]
    heard = {(d.role, d.pitch) for d in band.struck() if seam - EARLY <= d.frame < seam}
    assert not heard & early


def test_a_stop_ends_everything_within_a_hop_and_the_place_is_kept() -> None:
    session, band = started()
    session.pull(PLAIN.bars[3] + 3000)
    session.command(Stop(), Border.NOW)
    session.pull(2 * HOP)
    assert not band.held()
    place = session.place
    assert (place.playing, place.bar) == (False, 3)
    struck = len(band.struck())
    session.pull(RATE)
    assert len(band.struck()) == struck
    session.command(Play(place.bar), Border.NOW)
    session.pull(BAR)
    assert session.place.playing
    assert len(band.struck()) > struck


def test_a_take_that_still_waits_gives_way_to_a_later_one() -> None:
    session, _band = started()
    session.pull(PLAIN.bars[1] + 100)
    third = take(transpose=2)
    session.command(Change(SLOW))
    session.command(Change(third))
    session.pull(2 * BAR)
    assert session.place.take is third
    assert sum(c.bar == 2 for c in session.cuts) == 1


def test_a_count_comes_first_and_leads_into_the_bar() -> None:
    from backing.commands.options import Options
    from backing.commands.playing import count_of

    count = count_of(PLAIN.timeline, 4, Options(), 0.0)
    assert count is not None
    band = Recorder()
    session = Session(band, PLAIN)
    session.command(Play(4, count), Border.NOW)
    session.pull(HOP)
    assert session.place.counting
    session.pull(count.bars[0] + BAR)
    assert [c.bar for c in session.cuts] == [-1, 4]
    assert session.cuts[1].frame == count.bars[0]
    assert {d.role for d in band.struck() if d.frame < count.bars[0] - EARLY} == {"click"}
    assert {"bass", "drums"} <= {d.role for d in band.struck() if d.frame >= count.bars[0]}


def test_a_voice_that_changes_between_two_hops_is_told_once_and_in_its_hop() -> None:
    """Its grain may lie in the hop behind the one in which its frame lies; so may a gesture's."""
    (first, *others) = PLAIN.streams
    voice = first.voices[0][1]
    places = [HOP * k - d for k, d in ((20, 31), (40, 33), (60, 1), (80, 0), (100, -5))]
    changed = first._replace(
        voices=(first.voices[0], *((at, voice) for at in places)),
        shapes=tuple(Shape(at, -1, 100) for at in places),
    )
    seen: list[tuple[int, int]] = []

    class Listening(Recorder):
        def hop(self, events: Events, take: Take, at: int) -> NDArray[np.float32]:
            for offset, event in events.get(first.key, []):
                if event >> 16 & 3 in (PROGRAM, GESTURE):
                    seen.append((self.hops * HOP + offset, event >> 16 & 3))
            return super().hop(events, take, at)

    session = Session(Listening(), PLAIN._replace(streams=(changed, *others)))
    session.command(Play(0), Border.NOW)
    session.pull(120 * HOP)
    grains = [(at + GRAIN // 2) // GRAIN * GRAIN for at in places]
    for kind in (PROGRAM, GESTURE):
        assert [frame for frame, k in seen if k == kind][1:] == grains


@each("command", [Stop(), Play(6)])
def test_a_count_that_is_broken_off_leaves_the_take(command: Stop | Play) -> None:
    """What is played next is the take and not the count, and so is what a loop is of."""
    from backing.commands.options import Options
    from backing.commands.playing import count_of

    count = count_of(PLAIN.timeline, 4, Options(), 0.0)
    session = Session(Recorder(), PLAIN)
    session.command(Play(4, count), Border.NOW)
    session.pull(HOP)
    session.command(Loop(4, 9), Border.NOW)
    session.pull(HOP)
    session.command(command, Border.NOW)
    session.pull(HOP)
    assert session.place.take is PLAIN
    assert session.place.bar == (4 if isinstance(command, Stop) else 6)
    session.command(Play(8, count), Border.NOW)
    session.pull((count.bars[0] if count else 0) + 2 * BAR + BAR // 2)
    assert session.place.take is PLAIN
    assert session.place.bar == 4
    assert session.cuts[-1].bar == 4


TAKES = [PLAIN, SLOW, take(transpose=3), take(style="bossa nova", tempo_percent=Fraction(1))]


def ask_anything(session: Session, i: int) -> float:
    """The command of a moment, and a number from 0 to 1 for when the next one comes."""
    one, two, three = dice.row(3, "commands", i)
    which = int(one * 7)
    if which == 0:
        session.command(Stop(), Border.NOW)
    elif which in (1, 2):
        session.command(Play(int(three * 12)), Border.NOW)
    elif which == 3:
        session.command(Change(TAKES[int(three * 4)]), list(Border)[int(two * 4)])
    elif which == 4:
        session.command(Loop(int(three * 8), int(three * 8) + int(two * 4)), Border.NOW)
    elif which == 5:
        session.command(Loop(), Border.NOW)
    return three


def test_ten_minutes_of_anything_leave_nothing_hanging() -> None:
    """1,000 commands at random moments; whenever it stands still nothing is held, and time only goes on."""
    session, band = started()
    pulled = 0
    for i in numbers():
        if pulled > 600 * RATE:
            break
        frames = int(ask_anything(session, i) * RATE) + 1
        assert len(session.pull(frames)) == frames
        pulled += frames
        if not session.place.playing:
            session.pull(HOP)
            assert session.place.playing or not band.held()
    session.command(Stop(), Border.NOW)
    session.pull(2 * HOP)
    assert not band.held()


PERIOD = 441  # frames that the device asks for at a time, 10 ms
HOP_COST_S, COMMAND_COST_S = (
    0.012,
    0.008,
)  # of 23 ms of sound; measured are 2 to 6 ms, and 6 ms for another style
BURST = 5  # commands at most that come at once


@each("closest_s", [0.05, 0.023])
def test_ten_minutes_of_anything_on_a_device_that_pulls_miss_no_frame(closest_s: float) -> None:
    """Time is simulated: each hop takes half of what it lasts, each command a third; bursts, or one command a hop."""
    session, _ = started()
    pump = Pump(session)
    pump.fill()
    maker_s = next_s = 0.0  # until when the maker is busy, and when the next command comes
    asked = 0
    for period in range(600 * RATE // PERIOD):
        now_s = period * PERIOD / RATE
        if now_s >= next_s:
            dense = closest_s * RATE < HOP
            count = 1 if dense else 1 + int(BURST * dice.row(1, "burst", asked)[0])
            for _ in range(count):
                later_s = ask_anything(session, asked)
                asked += 1
            next_s = now_s + closest_s + (0 if dense else later_s)
            maker_s += count * COMMAND_COST_S
        while pump.short() and maker_s + HOP_COST_S <= now_s:
            pump.make()
            maker_s += HOP_COST_S
        if not pump.short():
            maker_s = max(maker_s, now_s)
        pump.take(PERIOD)
    assert asked > 3000
    assert pump.missing == 0


def test_of_a_burst_of_jumps_and_stops_the_last_jump_and_stop_are_done() -> None:
    session, band = started()
    session.pull(BAR)
    cuts = len(session.cuts)
    for command in (Stop(), Play(3), Play(5), Stop(), Stop()):
        session.command(command, Border.NOW)
    session.pull(HOP)
    assert (session.place.playing, session.place.bar) == (False, 5)
    assert len(session.cuts) == cuts + 1
    assert not band.held()


@pytest.mark.parametrize(
    ("text", "bar", "place"),
    [
        (WALTZ, 5, 5),
        (WALTZ.replace("[B]", "| Cmaj7 | Cm6 |\n[B]"), 9, 11),  # B begins two bars later
        (WALTZ.replace("[A]\n| G6 | Am7 D7 D7 |", "[A]\n| G6 |"), 3, 3),
        ("[A]\n| C |\n", 11, 0),
    ],
)
def test_another_text_goes_on_at_the_same_place(text: str, bar: int, place: int) -> None:
    assert same_place(PLAIN.timeline, bar, take(text).timeline) == place


def test_the_limiter_holds_the_ceiling_and_leaves_the_rest_alone() -> None:
    at = np.arange(60 * HOP)
    tone = np.sin(at * 0.05).astype(np.float32)[:, None] * np.array([0.3, 0.25], np.float32)
    tone[20 * HOP + 300 : 20 * HOP + 500] *= 8
    limiter = Limiter()
    hops = [limiter(tone[i : i + HOP].copy()) for i in range(0, len(tone), HOP)]
    out = np.concatenate(hops)[HOP:]
    ceiling = 10 ** ((limit.CEILING_DBTP - BETWEEN_DB) / 20)
    assert np.abs(out).max() <= ceiling + 1e-6
    assert np.array_equal(out[: 18 * HOP], tone[: 18 * HOP])
    assert np.array_equal(out[-2 * HOP :], tone[-3 * HOP : -HOP])
