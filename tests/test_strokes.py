"""Strokes that last: sweeps and chokes; swells; instruments that change with the level of a section."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import mido
import numpy as np
import pytest

from backing.band.arrange import arrange
from backing.band.model import Arrangement, Note, Shape
from backing.ground.instruments import DRUM_KEYS
from backing.output.midi import write
from backing.output.sound.synth import RATE, render
from backing.performance.explain import explain
from backing.performance.perform import perform
from backing.styles.load import load_text
from backing.styles.model import Style
from backing.styles.show import page
from tests.band import performer, player, timeline
from tests.each import each
from tests.refused import refused

HEAD = """
about = "For tests."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
"""
DRUMS = """
[drums]
instrument = "KIT"
settings = { fills = "none", crash = false, vary = 0 }
[[drums.pattern]]
name = "time"
lines.snare = "SNARE"
lines.crash = "CRASH"
"""
TUNE = "meter: 4/4\ntempo: 120\ndynamics: mf\nending: as written\ncount-in: off\n[A]\n| C | C | C | C |\n"


def style(kit: str = "drum kit", snare: str = ". x . x", crash: str = ". . . .") -> Style:
    text = DRUMS.replace("KIT", kit).replace("SNARE", snare).replace("CRASH", crash)
    return load_text(HEAD + text, "t")


def drums(own: Style, text: str = TUNE) -> tuple[Arrangement, tuple[Note, ...]]:
    music = arrange(timeline(text), own, 1)
    return music, player(music, "drums").notes


# -- sweeps and chokes --------------------------------------------------------------------------------------


def test_a_brush_sweeps_as_long_as_the_cell() -> None:
    """The brush kit has its swirl on key 40 (General MIDI level 2, brush set)."""
    music, notes = drums(style("brush kit", "s= x s= x"))
    swept = [n for n in notes if n.pitch == 40]
    assert [n.start_q % 4 for n in swept[:2]] == [0, 2]
    assert {n.length_q for n in swept} == {1}
    assert "sweep 1 3 (" in explain(music)
    assert "snare 2 4 " in explain(music)


def test_sticks_play_a_soft_stroke_for_a_sweep() -> None:
    _, notes = drums(style("drum kit", "s= x s= x"))
    assert {n.pitch for n in notes} == {DRUM_KEYS["snare"]}
    soft, plain = notes[0], notes[1]
    assert soft.velocity < 0.5 * plain.velocity


def test_a_choked_cymbal_ends_with_its_cell() -> None:
    music, notes = drums(style(crash="c. . . ."))
    crashes = [n for n in notes if n.pitch == DRUM_KEYS["crash"]]
    assert {n.length_q for n in crashes} == {Fraction(1, 2)}
    assert all(n.shape is Shape.CHOKED for n in crashes)
    assert "choked" in explain(music)
    told = performer(perform(music), "drums").gestures
    assert [g.key for g in told] == [DRUM_KEYS["crash"]] * 4
    assert [g.at_q for g in told] == pytest.approx([0.5, 4.5, 8.5, 12.5], abs=0.03)


def test_a_file_chokes_a_cymbal_by_pressure_on_its_key(tmp_path: Path) -> None:
    """Polyphonic key pressure, as electronic kits send it (common practice)."""
    music, _ = drums(style(crash="c. . . ."))
    write(perform(music), tmp_path / "a.mid")
    found = [m for track in mido.MidiFile(tmp_path / "a.mid").tracks for m in track]
    pressed = [m for m in found if m.type == "polytouch"]
    assert [(m.channel, m.note, m.value) for m in pressed] == [(9, 49, 127), (9, 49, 0)] * 4


def loud(own: Style, role: str, text: str, start_s: float, end_s: float) -> float:
    sound = render(perform(arrange(timeline(text), own, 1)))[role]
    piece = sound[round(start_s * RATE) : round(end_s * RATE)]
    return float(np.sqrt((piece**2).mean()))


def test_a_choked_cymbal_is_silent_after_it() -> None:
    """A tenth of a second later it is thirty decibels softer than one that rings."""
    text = TUNE.replace("| C | C | C | C |", "| C |")
    ringing, choked = (
        loud(style(snare="g . . .", crash=f"{mark}. . . ."), "drums", text, 0.4, 0.9)
        for mark in "xc"
    )
    assert choked < ringing / 30


# -- swells -------------------------------------------------------------------------------------------------


def shaped(shape: Shape) -> Arrangement:
    """Two whole notes of strings; the first has a shape."""
    own = load_text(
        HEAD
        + '[strings]\ninstrument = "string ensemble"\n[[strings.pattern]]\nname = "long"\nlines.chord = "x= == == =."\n',
        "t",
    )
    music = arrange(timeline(TUNE.replace("| C | C | C | C |", "| C | C |")), own, 1)
    strings = player(music, "strings")
    notes = tuple(n._replace(shape=shape) if n.start_q < 4 else n for n in strings.notes)
    return music._replace(players=(strings._replace(notes=notes),))


@each(("shape", "first", "last"), [(Shape.SWELLS, 64, 127), (Shape.FADES, 127, 64)])
def test_a_swell_is_heard_in_file_and_sound(shape: Shape, first: int, last: int) -> None:
    """Controller 11 over twelve decibels, full again where the next note begins (General MIDI level 1)."""
    music = shaped(shape)
    performance = perform(music)
    told = performer(performance, "strings").gestures
    values = [g.value for g in told]
    rising = values[:-1] if values[-1] == 127 and shape is Shape.FADES else values
    assert rising == sorted(rising, reverse=shape is Shape.FADES)
    assert min(values) == 64
    assert max(values) in (126, 127)
    assert told[0].at_q < 0.3
    assert values[-1] == 127
    assert all(g.at_q < 4.1 for g in told)
    assert (64 in values[:1]) == (first == 64)
    assert last in values
    sound = render(performance)["strings"]
    early, late = (
        float(np.sqrt((sound[round(a * RATE) : round(b * RATE)] ** 2).mean()))
        for a, b in ((0.4, 0.6), (1.4, 1.6))
    )
    assert (late > 1.5 * early) if shape is Shape.SWELLS else (early > 1.5 * late)


def test_notes_as_they_are_struck_have_no_gestures() -> None:
    assert performer(perform(shaped(Shape.EVEN)), "strings").gestures == ()


def test_a_swell_is_written_to_a_file(tmp_path: Path) -> None:
    write(perform(shaped(Shape.SWELLS)), tmp_path / "a.mid")
    found = [m for track in mido.MidiFile(tmp_path / "a.mid").tracks for m in track]
    values = [m.value for m in found if m.type == "control_change" and m.control == 11]
    assert values[0] == 64
    assert values == sorted(values)
    assert len(values) > 8


# -- instruments by level -----------------------------------------------------------------------------------

BY_LEVEL = """
[drums]
instrument = { p = "brush kit", mf = "drum kit" }
settings = { fills = "none", crash = false, vary = 0 }
[[drums.pattern]]
name = "time"
lines.snare = "s= x s= x"
[bass]
instrument = { mf = "finger bass", f = "slap bass" }
[[bass.pattern]]
name = "time"
lines.bass = "1 . 1 ."
"""
LEVELS = "meter: 4/4\ntempo: 120\nform: A B C\nending: as written\n[A]\ndynamics: p\n| C | C |\n[B]\ndynamics: mf\n| F | F |\n[C]\ndynamics: f\n| G | G |\n"


def test_a_player_takes_up_another_instrument_with_the_level_of_a_section(tmp_path: Path) -> None:
    """Sticks for brushes, fingers for the thumb (common practice); the file changes the program there."""
    music = arrange(timeline(LEVELS), load_text(HEAD + BY_LEVEL, "t"), 1)
    parts = player(music, "drums").parts
    assert [(p.at_q, p.part.instrument.name) for p in parts] == [(0, "brush kit"), (8, "drum kit")]
    bass = player(music, "bass").parts
    assert [(p.at_q, p.part.instrument.name) for p in bass] == [
        (0, "finger bass"),
        (16, "slap bass"),
    ]
    write(perform(music), tmp_path / "a.mid")
    found = [m for track in mido.MidiFile(tmp_path / "a.mid").tracks for m in track]
    programs = [(m.channel, m.program) for m in found if m.type == "program_change"]
    assert [program for channel, program in programs if channel == 9] == [40, 0]
    assert {program for channel, program in programs if channel != 9} == {33, 36}
    assert {n.pitch for n in player(music, "drums").notes if n.start_q < 8} == {38, 40}
    assert {n.pitch for n in player(music, "drums").notes if n.start_q >= 8} == {38}


def test_a_page_shows_instruments_by_level() -> None:
    text = page(load_text(HEAD + BY_LEVEL, "t"))
    assert "drums: p brush kit, mf drum kit, f drum kit, pattern;" in text
    assert "bass: p finger bass, mf finger bass, f slap bass, pattern;" in text


@each(
    ("text", "message", "hint"),
    [
        (BY_LEVEL.replace('"brush kit"', '"brsh kit"'), "there is no p 'brsh kit'", "brush kit"),
        (BY_LEVEL.replace("{ p =", "{ pp ="), "'pp' is not a key", "did you mean 'p'"),
        (BY_LEVEL.replace('{ p = "brush kit", mf = "drum kit" }', "{}"), "no level has an instrument", "brush kit"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_what_to_type(text: str, message: str, hint: str) -> None:
    refused(HEAD + text, message, hint)
