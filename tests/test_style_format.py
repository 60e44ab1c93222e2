"""What a style can say beside its patterns: holding, varying, soft strokes, timing of a drum and of a place."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import groupby, pairwise
from pathlib import Path

import pytest

from backing.band.arrange import arrange
from backing.band.model import Kind, Note
from backing.ground.errors import StyleError
from backing.ground.instruments import DRUM_KEYS
from backing.performance.perform import perform
from backing.styles.load import load, load_text
from backing.styles.model import Style
from backing.styles.show import page
from tests.band import chart, performer, player, timeline
from tests.each import each

HEAD = """
about = "For tests."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
"""
BASS = """
[bass]
instrument = "finger bass"
HOLD
[[bass.pattern]]
name = "a"
lines.bass = "1 . 5 ."
[[bass.pattern]]
name = "b"
lines.bass = "1 1 . 5"
[[bass.pattern]]
name = "c"
lines.bass = "1 . . 8"
"""
DRUMS = """
[drums]
instrument = "drum kit"
settings = { fills = "none", crash = false, vary = 1 }
TIMING
[[drums.pattern]]
name = "time"
OWN
lines.kick  = "x . x ."
lines.snare = ".. X.g. .. X..g"
lines.hat   = "xx xx xx xx"
"""
SIXTEEN = chart(" | ".join(["C"] * 16), meter="4/4", dynamics="mf", ending="as written")
SEEDS = (1, 2, 3, 4)


def style(text: str, **words: str) -> Style:
    for word in ("HOLD", "TIMING", "OWN"):
        text = text.replace(word, words.get(word.lower(), ""))
    return load_text(HEAD + text, "test")


def notes(own: Style, role: str, seed: int = 1, text: str = SIXTEEN) -> tuple[Note, ...]:
    return player(arrange(timeline(text), own, seed), role).notes


def names(own: Style, seed: int, text: str = SIXTEEN) -> list[str]:
    """The bass pattern of every bar, whatever stroke more or less is played of it."""
    found: dict[int, str] = {}
    for note in notes(own, "bass", seed, text):
        told = re.sub(", a stroke (more|less|fewer)", "", note.why.words.split("pattern ")[-1])
        found.setdefault(int(note.start_q // 4), told)
    return [found[bar] for bar in sorted(found)]


# -- holding ------------------------------------------------------------------------------------------------


def test_a_bass_that_holds_for_the_section_plays_one_riff() -> None:
    """In reggae, soul and rock the riff is the tune: unchanged for the section (common practice)."""
    held = [names(style(BASS, hold='hold = "section"'), seed) for seed in SEEDS]
    assert all(len(set(bars)) == 1 for bars in held), held
    assert len({bars[0] for bars in held}) > 1, "another take has another riff"
    assert any(len(set(names(style(BASS), seed))) > 1 for seed in SEEDS), "no other one does"


def test_a_bass_that_holds_for_so_many_bars_may_change_after_them() -> None:
    rows = [names(style(BASS, hold="hold = 4"), seed) for seed in SEEDS]
    runs = [len(list(run)) for row in rows for _, run in groupby(row)]
    assert all(run % 4 == 0 for run in runs), runs
    assert 4 in runs


def test_a_pattern_may_be_held_by_itself() -> None:
    own = style(BASS.replace('name = "b"', 'name = "b"\nhold = 4'))
    runs = [(n, len(list(run))) for seed in SEEDS for n, run in groupby(names(own, seed))]
    assert {n for n, _ in runs} > {"'b'"}
    assert all(length % 4 == 0 or end for n, length, end in _with_ends(runs) if n == "'b'"), runs


def _with_ends(runs: list[tuple[str, int]]) -> list[tuple[str, int, bool]]:
    """Runs with whether each may be cut off by the end of the piece."""
    last = len(runs) - 1
    return [(n, k, i == last) for i, (n, k) in enumerate(runs)]


def test_a_held_pattern_is_the_same_in_every_playing_of_a_section_of_a_chorus() -> None:
    text = "meter: 4/4\nform: A B A\ndynamics: mf\nending: as written\n[A]\n| C | C | F | C |\n[B]\n| F | F | C | C |\n"
    for seed in SEEDS:
        row = names(style(BASS, hold='hold = "section"'), seed, text)
        assert row[:4] == row[8:12]
        assert len(set(row[:4])) == 1


def test_single_notes_of_who_follows_are_played_as_written() -> None:
    """A broken chord or a roll is not turned into held chords where another player leads."""
    band = """
[keys]
instrument = "acoustic piano"
[[keys.pattern]]
name = "broken"
lines.chord = "1 2 3 2"
[guitar]
instrument = "steel guitar"
[[guitar.pattern]]
name = "busy"
lines.chord = "dudu dudu dudu dudu"
"""
    found = notes(style(band), "keys")
    assert [n.start_q for n in found] == [Fraction(beat) for beat in range(64)]
    assert {n.why.kind for n in found} == {Kind.PATTERN}


@each("other", ["dudu dudu dudu dudu", "6 3 2 3"])
def test_who_follows_leaves_breaking_to_the_other_with_a_pattern_of_its_own(other: str) -> None:
    """One breaks or picks, the other plays its chords whole (common practice), but none is held that is not written."""
    band = f"""
[keys]
instrument = "acoustic piano"
[[keys.pattern]]
name = "broken"
weight = 100
lines.chord = "1 2 3 2"
[[keys.pattern]]
name = "whole"
lines.chord = "x . x ."
[guitar]
instrument = "steel guitar"
[[guitar.pattern]]
name = "other"
lines.chord = "{other}"
"""
    both = f"plan: flat\n{SIXTEEN}"
    found = {n.why.words.split(",")[0].split(";")[0] for n in notes(style(band), "keys", text=both)}
    assert found <= {"broken", "whole"}, "nothing is held that is not written"
    assert "whole" in found


# -- varying ------------------------------------------------------------------------------------------------


def struck(found: tuple[Note, ...], drum: str) -> list[Fraction]:
    return [n.start_q % 4 for n in found if n.pitch == DRUM_KEYS[drum]]


def test_a_pattern_may_forbid_small_changes() -> None:
    """The player's chance is 1, the pattern's is 0, and no third equal bar is changed either."""
    still = notes(style(DRUMS, own="vary = 0"), "drums")
    assert set(struck(still, "kick")) == {Fraction(0), Fraction(2)}
    assert len(struck(still, "kick")) == 2 * 16
    lively = notes(style(DRUMS), "drums")
    assert [n[:3] for n in lively] != [n[:3] for n in still]


@each(("ghosts", "least", "most"), [("0", 0, 0), ("0.5", 2, 30), ("1", 32, 32)])
def test_the_soft_strokes_of_a_pattern_are_a_layer_that_comes_and_goes(
    ghosts: str, least: int, most: int
) -> None:
    found = notes(style(DRUMS, own=f"vary = 0\nghosts = {ghosts}"), "drums")
    soft = [q for q in struck(found, "snare") if q not in (1, 3)]
    assert least <= len(soft) <= most
    assert len(soft) % 2 == 0, "the whole layer, or none of it"


# -- timing -------------------------------------------------------------------------------------------------


def onsets(own: Style, drum: str) -> dict[Fraction, list[float]]:
    """Seconds of the strokes of a drum by their place in the bar."""
    made = arrange(timeline(SIXTEEN), own, 1)
    part = player(made, "drums").notes
    played = performer(perform(made), "drums").notes
    key = DRUM_KEYS[drum]
    seconds = [n.onset_s for n in played if n.pitch == key]
    found: dict[Fraction, list[float]] = {}
    for note, onset in zip((n for n in part if n.pitch == key), seconds, strict=True):
        found.setdefault(note.start_q % 4, []).append(onset)
    return found


@each(
    ("timing", "drum", "late"),
    [
        ("kick = -6", "kick", {0: -6, 2: -6}),
        ("snare = 24", "snare", {1: 24, 3: 24}),
        ("snare = 24, beat = -4", "snare", {1: 20, 3: 20}),
        ("snare = 24", "kick", {0: 0, 2: 0}),
        ("and = 9", "hat", {0: 0, Fraction(1, 2): 9, Fraction(7, 2): 9}),
        ("a = 7", "snare", {1: 0, Fraction(15, 4): 7}),
    ],
)
def test_a_drum_and_a_place_in_the_beat_come_as_late_as_the_style_says(
    timing: str, drum: str, late: dict[Fraction, float]
) -> None:
    """A late snare and an early kick are what a groove is known by (common practice)."""
    plain = onsets(style(DRUMS, own="vary = 0"), drum)
    told = onsets(style(DRUMS, own="vary = 0", timing=f"timing = {{ {timing} }}"), drum)
    for place, ms in late.items():
        rows = zip(plain[Fraction(place)], told[Fraction(place)], strict=True)
        apart = [(after - before) * 1000 for before, after in rows][1:]  # nothing is before 0
        assert apart == pytest.approx([ms] * len(apart), abs=0.1), place


# -- said, shown, refused -----------------------------------------------------------------------------------


def test_a_page_shows_what_is_held_varied_and_timed() -> None:
    text = page(style(BASS + DRUMS, hold='hold = "section"', own="vary = 0\nghosts = 0.5\nhold = 8", timing="timing = { kick = -6, snare = 24 }"))  # fmt: skip
    assert "  holds a pattern for the section\n" in text
    assert "  timing in ms: kick -6, snare +24\n" in text
    assert "time  (4/4, mf, weight 1, held for 8 bars, vary 0, ghosts 0.5)\n" in text


def test_a_style_that_is_like_another_keeps_its_holding_and_timing(tmp_path: Path) -> None:
    first = HEAD + BASS.replace("HOLD", "hold = 4\ntiming = { and = 8 }")
    (tmp_path / "first.toml").write_text(first, "utf-8")
    (tmp_path / "second.toml").write_text(
        'like = "first.toml"\n[bass]\ntiming = { a = 5 }\n', "utf-8"
    )
    bass = load(tmp_path / "second.toml").part("bass")
    assert bass is not None
    assert (bass.hold, dict(bass.timing)) == (4, {"and": 8, "a": 5})


@each(
    ("text", "message", "hint"),
    [
        (BASS.replace("HOLD", 'hold = "sections"'), "'hold' should be a whole number of bars", "section"),
        (BASS.replace("HOLD", "hold = 0"), "'hold' is 0", "from 1 to 64"),
        (BASS.replace("HOLD", "hold = 2.5"), "'hold' should be a whole number of bars", "section"),
        (BASS.replace("HOLD", "holds = 2"), "'holds' is not a key", "hold"),
        (BASS.replace('name = "b"', 'name = "b"\nvary = 0'), "'vary' is not a key", "known here"),
        (DRUMS.replace("TIMING", "timing = { snar = 24 }"), "'snar' is not a key", "snare"),
        (DRUMS.replace("TIMING", "timing = { snare = 70 }"), "'snare' is 70", "from -60 to 60"),
        (DRUMS.replace("OWN", "ghosts = 2"), "'ghosts' is 2", "from 0 to 1"),
        (DRUMS.replace("OWN", "gosts = 0"), "'gosts' is not a key", "ghosts"),
        (BASS.replace("HOLD", "timing = { snare = 4 }"), "'snare' is not a key", "known here"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_what_to_type(text: str, message: str, hint: str) -> None:
    with pytest.raises(StyleError) as raised:
        style(text)
    told = raised.value.diagnostics[0]
    assert message in told.message
    assert hint in told.hint


# -- places in the form -------------------------------------------------------------------------------------

PLACES = """
[bass]
instrument = "finger bass"
[[bass.pattern]]
name = "time"
lines.bass = "1 . 5 ."
[[bass.pattern]]
name = "time, loud"
level = "f"
lines.bass = "1 . 5 ."
[[bass.pattern]]
name = "round"
where = "turnaround"
lines.bass = "1 1 1 1 | 5 5 5 5"
[[bass.pattern]]
name = "up"
where = "build"
lines.bass = "11 11 11 11"
[[bass.pattern]]
name = "tag"
where = "ending"
lines.bass = "1 5 1 5"
"""
FORM = "meter: 4/4\nform: A B A\nending: as written\n[A]\ndynamics: mf\n| C | F | C | F | C | F | G7 | C |\n[B]\nLEVEL\n| F | F | C | C |\n"


def with_patterns(level: str = "dynamics: mf", text: str = PLACES) -> list[str]:
    return names(style(text), 1, FORM.replace("LEVEL", level))


def test_a_turnaround_fills_the_last_two_bars_of_a_section_that_leads_on() -> None:
    """And of no other, in the order in which its bars are written."""
    row = with_patterns()
    assert row == ["'time'"] * 6 + ["'round'"] * 2 + ["'time'"] * 2 + ["'round'"] * 2 + ["'time'"] * 8  # fmt: skip
    found = notes(style(PLACES), "bass", text=FORM.replace("LEVEL", "dynamics: mf"))
    assert len([n for n in found if 24 <= n.start_q < 28]) == 4
    degrees = {n.degree for n in found if 29 <= n.start_q < 31}
    assert degrees == {"5"}, "its second bar ends the section"


def test_a_build_leads_up_to_a_louder_section_and_through_a_crescendo() -> None:
    assert with_patterns("dynamics: ff")[:8] == ["'time'"] * 4 + ["'up'"] * 4
    assert "'up'" not in with_patterns("dynamics: p")[:8]
    assert with_patterns("dynamics: mp -> f")[8:12] == ["'up'"] * 4


def test_an_ending_is_what_follows_the_last_chorus() -> None:
    text = "meter: 4/4\nform: A Tag\ndynamics: mf\nending: as written\n[A]\n| C | F | G7 | C |\n[Tag]\n| F | G7 | C |\n"
    row = names(style(PLACES), 1, text)
    assert row == ["'time'"] * 2 + ["'round'"] * 2 + ["'tag'"] * 3


def test_a_style_without_such_patterns_plays_as_it_did() -> None:
    plain = PLACES[: PLACES.index('[[bass.pattern]]\nname = "round"')]
    assert set(with_patterns("dynamics: ff", plain)) == {"'time'", "'time, loud'"}


# -- approaches ---------------------------------------------------------------------------------------------

LEADING = """
[bass]
instrument = "finger bass"
HOLD
[[bass.pattern]]
name = "leading"
lines.bass = "1 . . a"
"""
CHANGES = chart("C | F | G7 | C | Am | Dm | G7 | C", key="C", meter="4/4", ending="as written")


@each(("asked", "whole", "black"), [("scale", True, False), ("chromatic", False, True)])
def test_an_approach_is_in_the_scale_or_by_half_steps_as_the_style_asks(
    asked: str, whole: bool, black: bool
) -> None:
    """Country and pop basses walk in the scale, soul and jazz come from a half step (common practice)."""
    own = style(LEADING, hold=f'settings = {{ approach = "{asked}" }}')
    steps, outside = set(), False
    for seed in range(1, 9):
        found = notes(own, "bass", seed, CHANGES)
        for here, after in pairwise(found):
            if here.start_q % 4 == 3 and after.start_q == here.start_q + 1:
                steps.add(abs(after.pitch - here.pitch))
                outside = outside or here.pitch % 12 not in (0, 2, 4, 5, 7, 9, 11)
    assert (2 in steps) == whole, steps
    assert outside == black
