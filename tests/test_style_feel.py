"""How a style feels time: uneven sixteenths, lateness of a drum in a place and of a pattern; calls over the bar line."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise
from pathlib import Path
from statistics import mean, stdev

import pytest

from backing.band.arrange import arrange
from backing.ground.instruments import DRUM_KEYS, DRUM_NAMES
from backing.ground.timebase import SIXTEENTH, Feel
from backing.performance.feel import ratio
from backing.performance.perform import perform
from backing.styles.find import find, names
from backing.styles.load import load, load_text
from backing.styles.model import Style
from backing.styles.show import page
from tests.band import arranged, performer, player, timeline
from tests.each import each
from tests.refused import refused

STYLES = Path(__file__).parent / "data" / "styles"
HEAD = """
about = "For tests."
source = "made for a test"
meters = ["4/4"]
tempo = { low = 60, usual = 120, high = 200 }
"""
DRUMS = """
[drums]
instrument = "drum kit"
settings = { fills = "none", crash = false, vary = 0 }
TIMING
[[drums.pattern]]
name = "time"
OWN
lines.kick  = "x . x ."
lines.snare = ".. X.g. .. X..g"
lines.hat   = "xx xx xx xx"
"""
FORM = "meter: 4/4\ntempo: 120\ndynamics: mf\nending: as written\n[A]\n| C | C | C | C |\n"
SAMBA = "meter: 2/4\ntempo: 100\nending: as written\n"


def style(text: str = DRUMS, **words: str) -> Style:
    for word in ("TIMING", "OWN"):
        text = text.replace(word, words.get(word.lower(), ""))
    return load_text(HEAD + text, "test")


def onsets(own: Style, role: str, text: str) -> list[tuple[Fraction, str, float]]:
    """Place in quarters, drum, and second of every stroke of a player, from its first bar."""
    music = arrange(timeline(text), own, 1)
    played = performer(perform(music), role).notes
    notes = player(music, role).notes
    keys = {(n.start_q, n.pitch) for n in notes}
    assert len(keys) == len(notes) == len(played)
    by_key: dict[int, list[Fraction]] = {}
    for note in notes:
        by_key.setdefault(note.pitch, []).append(note.start_q)
    return [(by_key[n.pitch].pop(0), DRUM_NAMES.get(n.pitch, ""), n.onset_s) for n in played]


# -- uneven sixteenths --------------------------------------------------------------------------------------


def test_the_sixteenths_of_a_samba_are_as_long_as_the_style_says() -> None:
    """About 28/20/22/30 of a beat, the second and third short and the last long (review of played samba, from memory)."""
    own = load(STYLES / "samba-sixteenths.toml")
    assert own.feel == Feel(SIXTEENTH, None, (28, 20, 22, 30))
    text = SAMBA + "[A]\n| " + " | ".join(["C"] * 64) + " |\n"
    hats: dict[Fraction, list[float]] = {}
    for at, drum, second in onsets(own, "drums", text):
        if drum == "hat":
            hats.setdefault(at, []).append(second)
    times = [hats[at][0] for at in sorted(hats)]
    beat = 60 / 100
    shares = [
        sum(times[i + k + 1] - times[i + k] for i in range(0, len(times) - 4, 4))
        / len(range(0, len(times) - 4, 4))
        / beat
        for k in range(4)
    ]
    assert shares == pytest.approx([0.28, 0.20, 0.22, 0.30], abs=0.02)


def test_a_straight_feel_in_the_chart_makes_them_even() -> None:
    own = load(STYLES / "samba-sixteenths.toml")
    text = SAMBA + "feel: straight\n[A]\n| " + " | ".join(["C"] * 32) + " |\n"
    times = sorted({second for at, drum, second in onsets(own, "drums", text) if drum == "hat"})
    steps = [b - a for a, b in pairwise(times)]
    assert sum(steps) / len(steps) == pytest.approx(0.15, abs=0.005)
    assert max(steps) - min(steps) < 0.05


def test_triplets_stay_between_uneven_sixteenths() -> None:
    from backing.ground.timebase import TempoMap
    from backing.performance.feel import Beats, Clock

    line = timeline("meter: 4/4\ntempo: 120\n| C |\n")
    beats = Beats(
        line.bars, [Feel(SIXTEENTH, None, (28, 20, 22, 30))] * len(line.bars), Clock(TempoMap(line.tempo))
    )  # fmt: skip
    assert beats.place(1 / 3) == (pytest.approx(1 / 3), False)
    assert beats.place(0.25) == (pytest.approx(0.28), False)
    assert beats.place(0.75) == (pytest.approx(0.70), False)
    assert beats.place(1.0) == (1.0, True)


# -- how late a drum is in a place, and a pattern -----------------------------------------------------------


@each(
    ("words", "drum", "late"),
    [
        ({"timing": "timing = { snare = { a = 9 } }"}, "snare", {"1": 0, "15/4": 9}),
        ({"timing": "timing = { snare = { beat = 20, a = -5 } }"}, "snare", {"1": 20, "15/4": -5}),
        ({"timing": "timing = { snare = { beat = 20 } }"}, "kick", {"0": 0, "2": 0}),
        ({"own": "timing = { kick = -6, snare = 24 }"}, "snare", {"1": 24, "15/4": 24}),
        ({"own": "timing = { kick = -6, snare = 24 }"}, "kick", {"2": -6}),
        ({"own": "timing = { snare = 4 }", "timing": "timing = { beat = 6 }"}, "snare", {"1": 10}),
        ({"own": "timing = { hat = { and = 7 } }"}, "hat", {"1": 0, "1/2": 7, "7/2": 7}),
        ({"timing": "timing = { 2 = -40 }"}, "snare", {"1": -40, "3": 0, "15/4": 0}),
        ({"timing": "timing = { snare = { 2 = -40, beat = 10 } }"}, "snare", {"1": -30, "3": 10}),
    ],
)
def test_a_drum_is_late_in_a_place_and_a_pattern_has_its_own_feel(
    words: dict[str, str], drum: str, late: dict[str, float]
) -> None:
    """A snare that lies behind the beat under ghosts that do not (common practice)."""
    plain, told = (
        {(at, name): s for at, name, s in onsets(own, "drums", FORM)}
        for own in (style(), style(**words))
    )
    for place, ms in late.items():
        keys = [key for key in plain if key[1] == drum and key[0] % 4 == Fraction(place) and key[0]]
        apart = [(told[key] - plain[key]) * 1000 for key in keys]
        assert apart == pytest.approx([ms] * len(keys), abs=0.1), place
        assert keys


def test_the_timing_of_a_pattern_holds_in_its_own_bars() -> None:
    """Pitched players as well; the pattern beside it is not moved."""
    bass = """
[bass]
instrument = "finger bass"
[[bass.pattern]]
name = "time"
lines.bass = "1 . 1 ."
[[bass.pattern]]
name = "last"
where = "turnaround"
lines.bass = "1 1 1 1"
OWN
"""
    text = "meter: 4/4\ntempo: 120\nform: A A\nending: as written\n[A]\n| C | C | C | C |\n"
    plain, told = (
        onsets(style(bass, own=own), "bass", text) for own in ("", "timing = { beat = 15 }")
    )
    apart = {a: round((s - r) * 1000, 1) for (a, _, r), (_, _, s) in zip(plain, told, strict=True)}
    assert {ms for at, ms in apart.items() if 8 <= at < 16} == {15.0}
    assert {ms for at, ms in apart.items() if at < 8 or at >= 16} == {0.0}


# -- calls --------------------------------------------------------------------------------------------------

CALLING = """
[drums]
instrument = "drum kit"
settings = { fills = "none", crash = false, vary = 0 }
[[drums.pattern]]
name = "time"
lines.hat = "xx xx xx xx"
[[drums.pattern]]
name = "call"
where = "WHERE"
lines.hat = "xx xx xx xx"
lines.snare = ". . xx xX -> X"
"""


def struck(text: str, own: Style, drum: str) -> list[Fraction]:
    notes = player(arrange(timeline(text), own, 1), "drums").notes
    return [n.start_q for n in notes if n.pitch == DRUM_KEYS[drum]]


@each(
    ("where", "firsts"),
    [
        ("phrase-end", [16, 32, 48]),
        ("turnaround", [12, 16, 28, 32]),  # its bar is played twice, and leads to itself
        ("opening", [4, 20, 36]),
    ],
)
def test_a_call_leads_to_the_first_beat_of_what_follows(where: str, firsts: list[int]) -> None:
    """Over the border of a section too: where a fill ends is on the one (common practice)."""
    text = "meter: 4/4\nform: A B A\ndynamics: mf\nending: as written\n[A]\n| C | C | C | C |\n[B]\n| F | F | F | F |\n"
    own = load_text(HEAD + CALLING.replace("WHERE", where), "t")
    on_one = [at for at in struck(text, own, "snare") if at % 4 == 0]
    assert on_one == [at for at in firsts if at < 48]


def test_a_call_of_the_whole_samba_section_lands_together() -> None:
    own = load(STYLES / "samba-sixteenths.toml")
    form = "choruses: 3\n[A]\n| C | C | F | F | G7 | G7 | C | C |\n"
    notes = player(arrange(timeline(SAMBA + form), own, 1), "percussion").notes
    calls = [n for n in notes if DRUM_NAMES[n.pitch] == "high timbale"]
    assert {n.start_q for n in calls if n.start_q % 16 == 0} == {16, 32}
    assert {n.start_q for n in notes if DRUM_NAMES[n.pitch] == "low timbale"} == {16, 32}
    assert min(n.start_q for n in calls) == 12
    led = {n.why.words for n in calls if n.start_q % 16 == 0}
    assert led == {"led to by the bar before"}


# -- said, shown, refused -----------------------------------------------------------------------------------


def test_a_page_shows_feel_timing_and_calls() -> None:
    text = page(load(STYLES / "samba-sixteenths.toml"))
    assert "  feel    sixteenths 28:20:22:30, thinking in sixteenths\n" in text
    assert text.count(" -> X\n") == 1
    assert text.endswith(" -> X")
    told = page(
        style(
            own="timing = { kick = -6, snare = 24 }",
            timing="timing = { snare = { and = 4 }, hat = 2 }",
        )
    )
    assert "  timing in ms: snare and +4, hat +2\n" in told
    assert "weight 1, timing in ms: kick -6, snare +24)\n" in told


@each(
    ("text", "message", "hint"),
    [
        ('feel = "sixteenths 28:20:22"', "'sixteenths 28:20:22' is no feel", "sixteenths 28:20:22:30"),
        ('feel = "sixteenths 90:20:22:30"', "is no feel", "swing"),
        ('feel = "sixteenth 28:20:22:30"', "is no feel", "sixteenths 28"),
        (DRUMS.replace("TIMING", "timing = { snare = { nad = 4 } }"), "'nad' is not a key", "and"),
        (DRUMS.replace("TIMING", "timing = { snare = { and = 99 } }"), "'and' is 99", "from -60 to 60"),
        (DRUMS.replace("OWN", "timing = { snar = 4 }"), "'snar' is not a key", "snare"),
        (DRUMS.replace('"x . x ."', '"x . x . -> "'), "leads to one stroke", "behind the arrow"),
        (DRUMS.replace('"x . x ."', '"x . x . -> xx"'), "leads to one stroke", "g x X"),
        (DRUMS.replace('"x . x ."', '"x . x . -> ."'), "leads to one stroke", "behind the arrow"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_what_to_type(text: str, message: str, hint: str) -> None:
    refused(HEAD + text.replace("TIMING", "").replace("OWN", ""), message, hint)


# -- who is where in time -----------------------------------------------------------------------------------

TRIO = "straight-ahead swing"
TUNE = (
    "meter: 4/4\ntempo: {}\nchoruses: 1\nending: as written\n{}[A]\n"
    + "| C | F | G7 | C |\n  melody: | C5 (E5 G5) C5 A4 | F4 (A4 C5) F5 r | (G4 B4) D5 F5 D5 | C5 E5 (G5 E5) r |\n"
    * 6
)


def melody_timing(name: str, bpm: int, head: str = "") -> tuple[float, float]:
    """How late the melody is on the beats and off them: means in ms behind where its feel has them."""
    music = arranged(TUNE.format(bpm, head), name)
    long_short = 1.0 if head else ratio(60_000 / bpm)
    found: tuple[list[float], list[float]] = ([], [])
    for note, told in zip(
        performer(perform(music), "melody").notes, player(music, "melody").notes, strict=True
    ):
        off = told.start_q.denominator == 2
        meant = int(told.start_q) + (long_short / (1 + long_short) if off else 0.0)
        found[off].append((note.start_q - meant) * 60_000 / bpm)
    on, between = (sum(row) / len(row) for row in found)
    return on, between


@each(("name", "bpm", "late"), [(TRIO, 150, 30), (TRIO, 220, 20.5), ("jazz waltz", 150, 30)])
def test_a_soloist_in_swing_is_late_on_the_beats_and_together_off_them(
    name: str, bpm: int, late: float
) -> None:
    """About 30 ms at 150 bpm, less when it is faster (Nelias et al. 2022)."""
    on, off = melody_timing(name, bpm)
    assert on == pytest.approx(late, abs=2)
    assert off == pytest.approx(0, abs=2)


def test_a_melody_in_straight_eighths_is_not_late() -> None:
    on, off = melody_timing(TRIO, 150, "feel: straight\n")
    assert on == pytest.approx(0, abs=2)
    assert off == pytest.approx(0, abs=2)
    assert melody_timing("rock eighths", 150, "feel: straight\n")[0] == pytest.approx(0, abs=2)


def test_a_trio_is_tight_and_the_hat_of_the_foot_a_little_early() -> None:
    """Asynchronies under 19 ms are what listeners prefer, and the pedal hat is 2 to 26 ms ahead (Hofmann, Wesolowski and
    Goebl 2017)."""
    text = (
        "meter: 4/4\ntempo: 150\nfeel: straight\nchoruses: 4\nending: as written\n| "
        + " | ".join(["C6", "A7", "Dm7", "G7"] * 4)
    )
    done = perform(arranged(text + " |\n", TRIO))
    places: list[dict[int, float]] = []
    for role, key in (("drums", DRUM_KEYS["ride"]), ("bass", 0), ("keys", 0)):
        here: dict[int, float] = {}
        for note in performer(done, role).notes:
            beat = round(note.start_q)
            if key in (0, note.pitch) and abs(note.start_q - beat) < 0.1:
                here.setdefault(beat, note.onset_s * 1000)
        places.append(here)
    for one, other in combinations(places, 2):
        apart = [one[beat] - other[beat] for beat in one.keys() & other.keys()]
        assert len(apart) > 20
        assert stdev(apart) < 19
        assert abs(mean(apart)) < 19
    hat = [
        n.start_q * 400 for n in performer(done, "drums").notes if n.pitch == DRUM_KEYS["pedal hat"]
    ]
    early = [round(at / 400) * 400 - at for at in hat]
    assert 2 <= mean(early) <= 26


@each("name", [name for name in names() if any(part.timing for part in find(name).parts)])
def test_what_a_style_says_of_timing_comes_out(name: str) -> None:
    """The mean over a drum of what it is later than without the setting: within 2 ms."""
    own = find(name)
    bare = own._replace(parts=tuple(replace(part, timing={}) for part in own.parts))
    text = f"meter: {own.meters[0].full_name}\ntempo: 100\nending: as written\n[A]\n| {' | '.join(['C'] * 16)} |\n"
    for part in own.parts:
        told, plain = (
            sorted(
                performer(perform(arrange(timeline(text, None), one, 1)), part.role).notes,
                key=lambda n: n.pitch,
            )
            for one in (own, bare)
        )
        for drum, late in part.timing.items():
            if drum in DRUM_KEYS:
                pairs = [
                    (a, b) for a, b in zip(told, plain, strict=True) if a.pitch == DRUM_KEYS[drum]
                ]
                moved = [(a.onset_s - b.onset_s) * 1000 for a, b in pairs]
                assert not moved or mean(moved) == pytest.approx(late, abs=2), (part.role, drum)
