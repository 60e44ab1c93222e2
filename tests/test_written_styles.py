"""Styles written to show what the format can say: in every meter, time feel and form without a fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from backing.band.arrange import arrange
from backing.chart.parse import parse
from backing.output.midi import midi_bytes
from backing.performance.perform import perform
from backing.performance.session import looped
from backing.styles.load import load
from backing.styles.model import Style
from backing.timeline.reshape import repeated
from backing.timeline.unroll import unroll
from tests.matrix import METERS, chart

STYLES = sorted((Path(__file__).parent / "data" / "styles").glob("*.toml"))
FEELS = """\
form: A B A
choruses: 3
ending: as written
[A]
| C7 | F7 | C7 | % | F7 |
[B]
dynamics: mp -> f
| Dm7 | G7 | N.C. | C7! | F | G7 / / C7 | C7 |
"""


def faults(own: Style, text: str, seed: int = 1) -> list[str]:
    """What is wrong with all that is played, in words; empty when nothing is."""
    music = arrange(unroll(parse(text), grid_q=own.grid_q), own, seed)
    performance = perform(music)
    found = [] if midi_bytes(performance).startswith(b"MThd") else ["no MIDI file"]
    for player, played in zip(music.players, performance.players, strict=True):
        starts = [n.onset_s for n in played.notes]
        if starts != sorted(starts):
            found.append(f"{player.role} is out of order")
        if [g.at_s for g in played.gestures] != sorted(g.at_s for g in played.gestures):
            found.append(f"gestures of {player.role} are out of order")
        if any(n.end_q <= n.start_q for n in player.notes):
            found.append(f"{player.role} has notes without length")
    return found


@pytest.mark.slow
@pytest.mark.parametrize("path", STYLES, ids=lambda p: p.stem)
def test_every_meter(path: Path) -> None:
    own = load(path)
    told = {}
    for meter in METERS:
        text = "\n".join(chart("rock eighths", meter, 3).splitlines()[1:]) + "\n"
        if found := faults(own, text):
            told[meter] = found
    assert told == {}


@pytest.mark.parametrize("path", STYLES, ids=lambda p: p.stem)
def test_every_form(path: Path) -> None:
    """Odd sections, half and double time, no chord, stops, a crescendo, choruses."""
    own = load(path)
    text = FEELS
    turned = text.replace("| C7 | F7 | C7 |", "| C7 | \"half time\" F7 | C7 |").replace("| Dm7 |", "| \"double time\" Dm7 |")  # fmt: skip
    assert [f for seed in (1, 2) for t in (text, turned) for f in faults(own, t, seed)] == []


def test_gestures_go_round_with_a_loop() -> None:
    """The round that is looped has the swells of its own bars, at its own times."""
    own = load(STYLES[0].with_name("parallel-ninths.toml"))
    once = unroll(parse("meter: 12/8\ntempo: 60\nending: as written\ncount-in: off\n| C7 | F7 |\n"))
    thrice = perform(arrange(repeated(once, 3), own, 1))
    strings = next(p for p in looped(thrice, once).players if p.role == "strings")
    length = float(once.length_q)
    assert len(strings.gestures) > 20
    assert all(-0.5 < g.at_q < length for g in strings.gestures)
    assert strings.gestures == tuple(sorted(strings.gestures))
