"""The arc of a track: the band grows, and the one who practises need not turn the volume."""

from __future__ import annotations

from pathlib import Path

import pyloudnorm
import pytest
import soundfile

from backing.band.arc import room
from backing.band.led import Reason, Rest, SectionPlan
from backing.band.model import Arrangement
from backing.chart.parse import parse
from backing.commands.options import Options
from backing.commands.preparing import band, prepare
from backing.output.sound.audio import write_audio
from backing.performance.model import Performance
from backing.styles.find import names
from tests import mixes

MOST_LU = 4.0  # common practice for a practice track
FIRST_LU = 2.5  # from the first chorus to the whole
HEARD = ("straight-ahead swing", "fast punk", "calypso")  # even density, power chords, late entries
CHART = """title: Four Times
key: C
meter: 4/4
choruses: 4
ending: as written
style: {style}
{dynamics}
[A]
| C | Am | Dm7 | G7 |
| C | A7 | Dm7 G7 | C |
"""


def performed(style: str, dynamics: str = "") -> Performance:
    wish = Options()
    return band(prepare(parse(CHART.format(style=style, dynamics=dynamics), "a.txt"), wish), wish)


def chorus_bars(arrangement: Arrangement, chorus: int) -> tuple[int, int]:
    """First and last bar of a chorus, from 0."""
    found = [s for s in arrangement.timeline.sections if s.chorus == chorus]
    return found[0].first - 1, found[-1].last - 1


def mean_velocity(arrangement: Arrangement, chorus: int, role: str = "drums") -> float:
    bars = arrangement.timeline.bars
    first, last = chorus_bars(arrangement, chorus)
    (player,) = (p for p in arrangement.players if p.role == role)
    inside = [
        n.velocity for n in player.notes if bars[first].start_q <= n.start_q < bars[last].end_q
    ]
    return sum(inside) / len(inside)


def close_together(folder: Path, style: str) -> None:
    """Measured by pyloudnorm (ITU-R BS.1770-4), chorus by chorus."""
    performance = performed(style)
    write_audio(performance, [folder / "a.wav"])
    sound, rate = soundfile.read(folder / "a.wav")
    meter = pyloudnorm.Meter(rate)
    bars = performance.arrangement.timeline.bars
    lufs = []
    for chorus in range(1, 5):
        if mixes.dropped(performance.arrangement, chorus):
            continue  # bass and drums alone are meant to be heard as such
        first, last = chorus_bars(performance.arrangement, chorus)
        start, end = (
            round(float(performance.tempo.exact_s(q)) * rate)
            for q in (bars[first].start_q, bars[last].end_q)
        )
        lufs.append(meter.integrated_loudness(sound[start:end]))
    assert max(lufs) - min(lufs) <= MOST_LU
    assert abs(lufs[0] - meter.integrated_loudness(sound)) <= FIRST_LU


@pytest.mark.parametrize("style", HEARD)
def test_the_choruses_of_a_track_lie_close_together(tmp_path: Path, style: str) -> None:
    close_together(tmp_path, style)


@pytest.mark.slow
@pytest.mark.parametrize("style", mixes.some([n for n in names() if n not in HEARD]))
def test_the_choruses_lie_close_together_in_every_style(tmp_path: Path, style: str) -> None:
    close_together(tmp_path, style)


def test_what_is_played_still_grows() -> None:
    arrangement = performed("straight-ahead swing").arrangement
    bars = arrangement.timeline.bars
    counts = []
    for chorus in (1, 4):
        first, last = chorus_bars(arrangement, chorus)
        span = bars[first].start_q, bars[last].end_q
        counts.append(
            sum(span[0] <= n.start_q < span[1] for p in arrangement.players for n in p.notes)
        )
    assert counts[1] > 1.2 * counts[0]


def resting(why: Reason) -> SectionPlan:
    return SectionPlan(rests=(Rest("guitar", 0, 3, why), Rest("strings", 0, 3, why)))


def test_a_player_gives_way_to_those_who_come_in() -> None:
    waiting = resting(Reason.SIMPLE)
    assert room(waiting, 0, 5) > room(waiting, 0, 8) > 1
    assert room(waiting, 4, 5) == 1


@pytest.mark.parametrize("why", [Reason.DROP, Reason.THIN, Reason.BUILDS])
def test_nobody_fills_the_room_of_a_drop_or_of_a_vamp_that_builds(why: Reason) -> None:
    assert room(resting(why), 0, 5) == 1


def test_written_dynamics_hold_as_they_are_written() -> None:
    """Forte is half as strong again as piano and more (usual velocities of notation programs, 49 and 96: common practice)."""
    soft, loud = (
        mean_velocity(performed("rock eighths", f"dynamics: {d}").arrangement, 1) for d in "pf"
    )
    assert loud > 1.4 * soft
