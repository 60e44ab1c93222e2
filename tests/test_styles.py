"""Every style in the folder: what it must have, what it says, and what the band makes of it in hard charts."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from backing.band.arrange import arrange
from backing.band.model import Arrangement
from backing.chart.parse import parse
from backing.ground.roles import UNPITCHED
from backing.ground.timebase import Meter
from backing.performance.perform import perform
from backing.styles import shelf
from backing.styles.find import find, names, styles
from backing.styles.grid import choices
from backing.styles.load import check
from backing.styles.model import Part, Pattern, Style, Where
from backing.styles.show import grid, listing, page, row
from backing.timeline.unroll import unroll
from tests.each import each
from tests.golden_styles import golden_page, golden_path

FOLDER = shelf.own_folder()
FILES = sorted(p for p in FOLDER.glob("*.toml") if not p.name.startswith("_"))
NAMES = [find(p.stem.replace("-", " ")).name for p in FILES]
LEVELS = ("p", "mf", "f")
RENEWING = ("drums", "keys", "guitar", "percussion")

METERS = (
    "2/4",
    "3/4",
    "4/4",
    "5/4",
    "6/4",
    "7/4",
    "5/8",
    "6/8",
    "7/8",
    "9/8",
    "10/8",
    "11/8",
    "12/8",
)


def test_there_are_at_least_sixty_styles() -> None:
    assert len(FILES) >= 60


@each("path", [*FILES, FOLDER / "_template.toml"], ids=lambda p: p.stem)
def test_every_file_is_without_mistakes(path: Path) -> None:
    assert check(path) == ()


def patterns(part: Part, level: str, where: Where = Where.TIME) -> list[Pattern]:
    meter = part.patterns[0].meter
    return [p for p in part.patterns if (p.level, p.where, p.meter) == (level, where, meter)]


@each("name", NAMES)
def test_a_style_tells_what_it_is_and_where_its_facts_come_from(name: str) -> None:
    style = find(name)
    assert style.about.endswith(".")
    assert len(style.about) <= 130
    assert style.source
    assert style.low_bpm < style.usual_bpm < style.high_bpm


@each("name", NAMES)
def test_a_band_has_bass_chords_and_something_that_keeps_time(name: str) -> None:
    roles = set(find(name).roles)
    assert "bass" in roles
    assert roles & {"keys", "guitar"}
    assert len(roles) >= 3


@each("name", NAMES)
def test_players_have_several_ideas_at_every_level(name: str) -> None:
    """Two or more for soft and for medium, and no player repeats one bar for want of another when it is loud."""
    style = find(name)
    for part in style.parts:
        if part.role not in RENEWING or "pattern" not in part.plays.values() or not part.patterns:
            continue
        pools = [choices(part.patterns, style.meters[0], level, Where.TIME) for level in LEVELS]
        assert len(pools[1]) >= 2, (name, part.role)
        if part.role == "drums":
            assert all(len(pool) >= 2 for pool in pools), (name, part.role)


@each("name", NAMES)
def test_drums_have_fills_and_an_end(name: str) -> None:
    drums = find(name).part("drums")
    if drums is None:
        return
    places = {p.where for p in drums.patterns}
    assert Where.PHRASE_END in places
    assert Where.CLOSE in places or find(name).clave is not None


@each("name", NAMES)
def test_the_mix_has_headroom_and_width(name: str) -> None:
    """Bass and drums in the middle, the bass not wet, nobody louder than 1 dB."""
    style = find(name)
    for part in style.parts:
        assert part.level_db <= 1
        if part.role in ("bass", "drums"):
            assert part.pan == 0
        if part.role == "bass":
            assert part.room <= 0.15
        assert part.low <= part.high


def _music(part: Part) -> tuple[object, ...]:
    return tuple(
        sorted(
            (str(p.meter), p.level, p.where.value, repr(sorted(p.lines.items())))
            for p in part.patterns
        )
    )


def test_no_two_styles_have_equal_patterns_for_the_same_player() -> None:
    known = {(s.name, p.role): _music(p) for s in styles() for p in s.parts if p.patterns}
    equal = [(a, b) for (a, x), (b, y) in combinations(known.items(), 2) if a[1] == b[1] and x == y]
    assert equal == []


def test_every_drum_pattern_of_a_style_has_a_name_of_its_own() -> None:
    for style in styles():
        for part in style.parts:
            known = [p.name for p in part.patterns]
            assert len(known) == len(set(known)), (style.name, part.role)


def test_straight_styles_have_no_triplets_in_time() -> None:
    """A pulse of three cells is a triplet: in a straight style that is a slip, but for fills."""
    for style in styles():
        if not style.feel.straight or style.grid_q == Fraction(1, 3):
            continue
        for part in style.parts:
            for pattern in (p for p in part.patterns if p.where is Where.TIME):
                assert {
                    cell.at_q.denominator
                    for line in pattern.lines.values()
                    for bar in line
                    for pulse in bar
                    if pulse.length_q == 1
                    for cell in pulse.cells
                } <= {1, 2, 4}, (style.name, part.role, pattern.name)


# --- backbeat drums near what is played


# Chance of a stroke on each sixteenth of a bar in a corpus of popular-music drum patterns (article PMC10130781,
# table 3); places in quarters from 0. Two of its sixteen rows could not be read and are left out.
CORPUS = {
    Fraction(0): (0.914, 0.039, 0.607), Fraction(1, 4): (0.033, 0.102, 0.129),
    Fraction(1, 2): (0.320, 0.057, 0.642), Fraction(3, 4): (0.192, 0.040, 0.132),
    Fraction(1): (0.184, 0.887, 0.719), Fraction(5, 4): (0.063, 0.084, 0.134),
    Fraction(3, 2): (0.246, 0.074, 0.664), Fraction(7, 4): (0.162, 0.187, 0.156),
    Fraction(2): (0.641, 0.082, 0.717), Fraction(9, 4): (0.065, 0.209, 0.143),
    Fraction(5, 2): (0.454, 0.084, 0.626), Fraction(11, 4): (0.206, 0.056, 0.141),
    Fraction(3): (0.191, 0.847, 0.683), Fraction(7, 2): (0.238, 0.145, 0.623),
}  # fmt: skip
POPULAR = (
    "rock eighths", "pushed rock", "pop ballad", "sixteenth-note pop", "backbeat soul", "fast punk",
)  # fmt: skip
INSTRUMENTS = (
    ("kick",),
    ("snare", "rim", "clap"),
    ("hat", "open hat", "ride", "bell", "pedal hat"),
)


def test_rock_pop_and_soul_drums_lie_near_a_corpus() -> None:
    """Mean absolute difference of the chances of a stroke, over the weighted patterns for time."""
    totals = dict.fromkeys(CORPUS, (0.0, 0.0, 0.0))
    weight = 0.0
    for name in POPULAR:
        part = find(name).part("drums")
        assert part is not None
        for pattern in (p for level in LEVELS for p in patterns(part, level)):
            weight += pattern.weight * pattern.bars
            for place in CORPUS:
                struck = [
                    sum(_strikes(pattern, bar, place, group) for bar in range(pattern.bars))
                    for group in INSTRUMENTS
                ]
                totals[place] = tuple(  # type: ignore[assignment]
                    t + s * pattern.weight for t, s in zip(totals[place], struck, strict=True)
                )
    differences = [
        abs(total / weight - chance)
        for place, chances in CORPUS.items()
        for total, chance in zip(totals[place], chances, strict=True)
    ]
    assert sum(differences) / len(differences) <= 0.12


def _strikes(pattern: Pattern, bar: int, place: Fraction, group: tuple[str, ...]) -> bool:
    return any(
        start + cell.at_q == place
        for name in group
        if name in pattern.lines
        for start, pulse in enumerate(pattern.lines[name][bar])
        for cell in pulse.cells
    )


# --- hard charts


TORTURE = """\
title: Hard
form: A B C
ending: rit

[A]
| Cmaj7 A7b9 | Dm7 / <G13 / | C6/9! | N.C. |
| F#m7b5 B7#5b9 Em9 A7sus4 | Dm11/G | Db7#11 | Cmaj9= |
[B]
dynamics: f
"""


@cache
def torture() -> str:
    """All marks in bars of four, then another meter in every bar, loud and soft."""
    meters = (*METERS, "7/8 (3+2+2)", "9/8 (2+2+2+3)", "3/8", "2/2")
    loud = "\n".join(f"| {meter} Fm7 |" for meter in meters)
    soft = "\n".join(f"| {meter} Bb13/D |" for meter in meters)
    return f"{TORTURE}{loud}\n[C]\ndynamics: p\n{soft}\n"


def shaken(style: Style) -> Arrangement:
    return arrange(unroll(parse(torture())), style, 1)


def _gaps(made: Arrangement) -> Iterator[int]:
    """Bars in which no pitched player sounds, although someone should."""
    for bar in made.timeline.bars:
        if bar.index in made.silent or any(
            note.start_q < bar.end_q and bar.start_q < note.end_q
            for player in made.players
            if player.role not in UNPITCHED
            for note in player.notes
        ):
            continue
        chords = [c for c in made.timeline.chords if c.bar == bar.index and c.chord]
        if chords:
            yield bar.index


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_a_style_plays_through_every_meter_and_every_mark(name: str) -> None:
    """No bar without chords or bass, no note outside its instrument, none of no length, time kept in every meter."""
    style = find(name)
    made = shaken(style)
    assert list(_gaps(made)) == []
    end = made.timeline.length_q
    for player in made.players:
        if player.role == "click":
            continue
        for note in player.notes:
            part = next(
                s.part for s in reversed(player.parts) if s.at_q <= max(note.start_q, Fraction(0))
            )
            assert part.instrument.low <= note.pitch <= part.instrument.high
            assert note.start_q < note.end_q
            assert 0 < note.velocity <= 127
            assert note.start_q < end
    keeps = next(p for r in ("drums", "bass") for p in made.players if p.role == r)
    quiet = [
        bar.index
        for bar in made.timeline.bars
        if bar.section != "A"
        and len(bar.meter.pulses_q) > 1
        and not any(n.start_q < bar.end_q and bar.start_q < n.end_q for n in keeps.notes)
    ]
    assert quiet == [], (name, keeps.role)


@pytest.mark.slow
@each("name", NAMES)
def test_a_style_can_be_played_at_its_slowest_and_its_fastest(name: str) -> None:
    """Every note has a positive length in seconds, and players stay in order."""
    style = find(name)
    meter = style.meters[0].full_name
    for bpm in (style.low_bpm / 2, style.high_bpm):
        text = f"meter: {meter}\ntempo: {bpm:g}\n| C | A7 | Dm7 | G7 |\n"
        done = perform(arrange(unroll(parse(text)), style, 1))
        for player in done.players:
            assert all(note.onset_s < note.release_s for note in player.notes)


# --- golden pages


@each("name", NAMES)
def test_the_first_ideas_of_a_style_read_as_its_golden_page(name: str) -> None:
    """At home, in three, in four and in seven; `python -m tests.golden_styles` writes the pages anew."""
    style = find(name)
    assert golden_page(style) == golden_path(style).read_text("utf-8")


def test_no_golden_page_is_left_over() -> None:
    pages = {p.stem for p in golden_path(find(NAMES[0])).parent.glob("*.txt")}
    assert pages == {p.stem for p in FILES}


# --- showing


def test_the_list_has_every_style_under_its_meter() -> None:
    text = listing(styles())
    assert text.index("4/4, eighths") < text.index("bossa nova") < text.index("3/4, swung eighths")
    assert text.index("3/4, swung eighths") < text.index("jazz waltz") < text.index("7/8 (2+2+3)")
    assert sum(line.startswith("  ") for line in text.splitlines()) == len(names())


def test_a_style_is_a_row_for_programs() -> None:
    found = row(find("bossa nova"))
    assert list(found) == ["name", "about", "meters", "tempo", "feel", "players"]
    assert found["tempo"] == {"low": 110.0, "usual": 132.0, "high": 160.0}
    assert found["players"] == {
        "guitar": "nylon guitar",
        "keys": "electric piano",
        "bass": "acoustic bass",
        "drums": "drum kit",
        "percussion": "percussion",
    }
    assert [r["name"] for r in [row(style) for style in styles()]] == list(names())


def test_a_page_shows_players_and_grids() -> None:
    text = page(find("jazz waltz"))
    assert "meters  3/4, 4/4, 6/4 (3+3); any other is fitted to these" in text
    assert "bass: acoustic bass, p pattern, mf walking, f walking; +0 dB, centre" in text
    guitar = find("jazz waltz").part("guitar")
    assert guitar is not None
    assert f"guitar: jazz guitar, pattern; {guitar.level_db:+g} dB, 35% right" in text
    assert "quarter = 100 to 200, usually 144" in text


def test_the_page_of_a_style_with_a_clave_names_its_side() -> None:
    assert "clave   2-3 unless the chart says otherwise" in page(find("salsa"))


def test_a_drummer_can_read_a_grid() -> None:
    drums = find("jazz waltz").part("drums")
    assert drums is not None
    assert grid(drums.patterns[0], rings=False) == [
        "  ride, hat on two  (3/4, mf, weight 3)",
        "               1 & 2 & 3 &",
        "    ride       x . X x x .",
        "    pedal hat  . . x . . .",
        "    kick       g . . . . .",
    ]


def test_a_grid_of_triplets_counts_the_eighths_of_compound_meters() -> None:
    bass = find("slow blues").part("bass")
    assert bass is not None
    shown = grid(next(p for p in bass.patterns if p.name == "root and pickups"))
    assert shown == [
        "  root and pickups  (12/8, mf, weight 3)",
        "          1     4     7     10",
        "    bass  1 - - 1 - 5 1 - - 5 - a",
    ]


def test_meters_of_a_style_are_played_as_written() -> None:
    """A pattern that is written for a meter is never fitted there."""
    for style in styles():
        for part in style.parts:
            for meter in {p.meter for p in part.patterns if p.where is Where.TIME}:
                native = {p.name for p in part.patterns if p.meter == meter}
                pool = choices(part.patterns, meter, "mf", Where.TIME)
                assert {p.name for p in pool} <= native, (style.name, part.role)


def test_fitted_patterns_say_the_meter_they_are_in() -> None:
    drums = find("rock eighths").part("drums")
    assert drums is not None
    assert {p.meter for p in choices(drums.patterns, Meter.of(7, 8), "mf", Where.TIME)} == {
        Meter.of(7, 8)
    }
