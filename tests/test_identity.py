"""What makes each style what it is, checked in what the band plays.

`data/identity.tsv` holds facts: where a sound falls in a bar (or in a cell of several bars), counted from 1 in the lower
figure of the meter as players count, with the source of each. Rules: `at`, the sound is there in at least three of four
places; `exactly`, and hardly anywhere else (at most one stroke in four); `never`, it is not there (at most one in
ten, where a section begins). Phrase ends, where drums fill, are left out. The plan is flat, since a leader's may give a
section another cymbal, or let a player rest. `data/rhythms.tsv` holds bare rhythm cells and tempo ranges.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

from backing.band.arrange import arrange
from backing.chart.parse import parse
from backing.ground.instruments import DRUM_KEYS
from backing.ground.roles import UNPITCHED
from backing.styles.find import find, styles
from backing.styles.model import Pattern, Where
from backing.timeline.unroll import unroll
from tests.each import each

DATA = Path(__file__).parent / "data"
CHORDS = ("Cmaj7", "A7", "Dm7", "G7", "Em7", "A7", "Fmaj7", "G7")
SEEDS, SECTIONS = (1, 2), "ABCD"  # a band holds a figure through a section, so that eight are heard
TRACK = len(SECTIONS) * len(CHORDS)
BARS = len(SEEDS) * TRACK
PHRASE = 4

Row = dict[str, str]


def rows(name: str) -> list[Row]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t"))


def told(row: Row) -> str:
    """A fact in a line."""
    return " ".join(row[c] for c in ("style", "player", "sound", "rule", "positions"))


FACTS = rows("identity.tsv")
RHYTHMS = rows("rhythms.tsv")


@cache
def played(name: str, clave: str = "") -> dict[tuple[str, str], dict[int, set[Fraction]]]:
    """(role, sound) -> bar -> places counted from 1; pitched players have the one sound `any`."""
    style = find(name)
    meter = style.meters[0]
    bars = " | ".join(CHORDS)
    header = (
        f"meter: {meter.full_name}\nending: as written\ncount-in: off\ndynamics: mf\nplan: flat\n"
    )
    if clave:
        header += f"clave: {clave}\n"
    sections = "\n".join(f"[{name}]\n| {bars} |" for name in SECTIONS)
    track = unroll(parse(f"{header}{sections}\n"))
    sounds = {key: sound for sound, key in DRUM_KEYS.items()}
    found: dict[tuple[str, str], dict[int, set[Fraction]]] = defaultdict(lambda: defaultdict(set))
    for take, seed in enumerate(SEEDS):
        for player in arrange(track, style, seed).players:
            for note in player.notes:
                bar, rest = divmod(note.start_q, meter.length_q)
                sound = sounds[note.pitch] if player.role in UNPITCHED else "any"
                found[player.role, sound][take * TRACK + int(bar)].add(rest / meter.unit_q + 1)
    return found


def cell(row: Row, count: int) -> Iterator[tuple[int, set[Fraction]]]:
    """Every bar that is not a phrase's last with the places that the cell has in it."""
    length = int(row["bars"])
    places = [Fraction(p) for p in row["positions"].split()]
    for bar in range(BARS):
        if bar % PHRASE != PHRASE - 1:
            start = bar % length * count
            yield bar, {p - start for p in places if 1 <= p - start < count + 1}


@each("row", FACTS, ids=told)
def test_a_style_has_what_makes_it_what_it_is(row: Row) -> None:
    """Each row is a fact with its source."""
    count = find(row["style"]).meters[0].count
    there = played(row["style"])[row["player"], row["sound"]]
    hits = places = strokes = beside = 0
    for bar, wanted in cell(row, count):
        got = there.get(bar, set())
        places += len(wanted)
        hits += len(wanted & got)
        strokes += len(got)
        beside += len(got - wanted)
    assert places
    if row["rule"] == "never":
        assert hits <= 0.1 * places
        return
    assert hits >= 0.75 * places, (hits, places)
    if row["rule"] == "exactly":
        assert beside <= 0.25 * strokes, (beside, strokes)


def test_every_style_has_at_least_three_facts_with_a_source() -> None:
    counts: dict[str, int] = defaultdict(int)
    for row in FACTS:
        assert row["source"]
        counts[row["style"]] += 1
    assert {s.name for s in styles() if counts[s.name] < 3} == set()
    assert set(counts) <= {s.name for s in styles()}


# --- pitches


def bass_of(name: str, chart: str, dynamics: str = "mf") -> list[tuple[Fraction, int]]:
    style = find(name)
    header = f"meter: {style.meters[0].full_name}\nending: as written\ncount-in: off\ndynamics: {dynamics}\n"
    arrangement = arrange(unroll(parse(header + chart)), style, 1)
    bass = next(p for p in arrangement.players if p.role == "bass")
    return [(n.start_q, n.pitch) for n in bass.notes]


def test_the_tumbao_plays_the_next_chord_on_four() -> None:
    """The note on the last beat belongs to the chord that follows (Wikipedia, "Tumbao"; common practice)."""
    roots = {"C": 0, "F": 5, "Bb": 10, "Eb": 3}
    names = ["C", "F", "Bb", "Eb"] * 4
    notes = dict(bass_of("salsa", f"| {' | '.join(names)} |"))
    for bar in range(15):
        assert notes[Fraction(4 * bar + 3)] % 12 == roots[names[bar + 1]]


def test_disco_has_low_octaves_on_the_beat_and_high_ones_after_it() -> None:
    """Common practice."""
    notes = dict(bass_of("disco", "| C | C | C | C | C | C | C | C |"))
    pairs = [(notes.get(Fraction(b)), notes.get(b + Fraction(1, 2))) for b in range(28)]
    octaves = [high - low for low, high in pairs if low is not None and high is not None]
    assert sum(o == 12 for o in octaves) >= 0.8 * len(pairs)


@each("name", ["country two-step", "country train beat", "bluegrass", "polka", "march"])
def test_two_beat_styles_go_from_root_to_fifth(name: str) -> None:
    """Root on the strong beat, fifth on the other (common practice)."""
    meter = find(name).meters[0]
    notes = dict(bass_of(name, "| C | C | C | C | C | C | C | C |"))
    half = meter.length_q / 2
    roots = [notes[b * meter.length_q] % 12 for b in range(8)]
    fifths = [
        notes[b * meter.length_q + half] % 12
        for b in range(8)
        if b * meter.length_q + half in notes
    ]
    assert set(roots) == {0}
    assert fifths.count(7) >= 6


def test_the_second_bar_of_a_country_waltz_has_the_fifth() -> None:
    """Root on one, the fifth on one of the next bar (common practice)."""
    notes = dict(bass_of("country waltz", "| C | C | C | C | C | C | C | C |"))
    ones = [notes[Fraction(3 * bar)] % 12 for bar in range(8)]
    assert ones[0::2].count(0) >= 3
    assert ones[1::2].count(7) >= 3


# --- clave


@each(
    ("style", "side", "role", "sound", "name"),
    [
        ("salsa", "3-2", "percussion", "claves", "son clave 3-2"),
        ("salsa", "2-3", "percussion", "claves", "son clave 2-3"),
        ("mambo", "3-2", "percussion", "claves", "son clave 3-2"),
        ("mambo", "2-3", "keys", "any", "montuno (piano) 2-3"),
        ("salsa", "3-2", "keys", "any", "montuno (piano) 3-2"),
        ("salsa", "3-2", "drums", "rim", "cascara 3-2"),
        ("bossa nova", "2-3", "drums", "rim", "bossa clave 2-3"),
    ],
)
def test_the_chart_turns_the_clave_for_every_player(
    style: str, side: str, role: str, sound: str, name: str
) -> None:
    """Each player follows the side that the chart sets, in at least three of four strokes."""
    wanted = {"bars": "2", "positions": " ".join(str(p) for p in cell_called(name))}
    there = played(style, side)[role, sound]
    places = list(cell(wanted, 4))
    hits = sum(len(there[bar] & want) for bar, want in places)
    assert hits >= 0.75 * sum(len(want) for _, want in places)


# --- cells


def places(pattern: Pattern, line: str) -> list[Fraction]:
    """Places of the strokes that are no ghosts, counted from 1 through all bars of a pattern."""
    found, at = [], Fraction(0)
    for bar in pattern.lines[line]:
        for pulse in bar:
            found += [
                (at + c.at_q) / pattern.meter.unit_q + 1 for c in pulse.cells if c.mark != "g"
            ]
            at += pulse.length_q
    return found


def cell_called(name: str) -> list[Fraction]:
    return [Fraction(p) for p in next(r for r in RHYTHMS if r["name"] == name)["positions"].split()]


@each(
    ("style", "role", "line", "name"),
    [
        ("salsa", "percussion", "claves", "son clave 2-3"),
        ("mambo", "percussion", "claves", "son clave 2-3"),
        ("Afro-Cuban 12/8", "drums", "bell", "standard seven-stroke bell"),
        ("milonga", "bass", "bass", "habanera"),
        ("samba", "drums", "rim", "samba timeline (7 strokes)"),
        ("bossa nova", "drums", "rim", "bossa clave 3-2"),
        ("reggaeton", "drums", "snare", "dembow"),
        ("soca", "drums", "snare", "dembow"),
        ("reggae one drop", "drums", "kick", "one drop (counted slow)"),
        ("reggae one drop", "guitar", "chord", "skank (counted slow)"),
        ("reggae steppers", "drums", "kick", "kick of steppers (counted slow)"),
        ("bulerias", "guitar 2", "chord", "compás of bulerías (from twelve)"),
        ("salsa", "keys", "chord", "montuno (piano) 2-3"),
    ],
)
def test_a_style_knows_its_rhythm_cell(style: str, role: str, line: str, name: str) -> None:
    """The heaviest pattern is the cell, stroke by stroke."""
    part = find(style).part(role)
    assert part is not None
    known = [
        p for p in part.patterns if line in p.lines and p.where is Where.TIME and p.level == "mf"
    ]
    best = max(known, key=lambda p: p.weight)
    assert places(best, line) == cell_called(name)


def test_the_shell_pattern_of_salsa_holds_the_rumba_clave_of_its_side() -> None:
    """Both cáscara cells contain the five strokes of the rumba clave of the same side (common practice)."""
    for side in ("2-3", "3-2"):
        assert set(cell_called(f"rumba clave {side}")) <= set(cell_called(f"cascara {side}"))
    part = find("salsa").part("drums")
    assert part is not None
    shells = set(places(part.patterns[0], "rim"))  # the nearest to wood and shell in a drum kit
    assert set(cell_called("rumba clave 2-3")) <= shells


def test_the_nine_strokes_of_the_tamborim_hold_the_seven() -> None:
    """Its two longer steps are filled (Sandroni's paradigm of Estácio, from memory)."""
    nine, seven = (set(cell_called(f"samba timeline ({n} strokes)")) for n in (9, 7))
    assert seven < nine
    steps = [int(4 * (b - a)) for a, b in pairwise([*sorted(nine), min(nine) + 4])]
    assert sorted(steps) == [1, 1, 2, 2, 2, 2, 2, 2, 2]
    short = [i for i, step in enumerate(steps) if step == 1]
    assert {short[1] - short[0], len(steps) + short[0] - short[1]} == {4, 5}


def euclid(strokes: int, steps: int) -> set[int]:
    """Toussaint 2005: strokes spread as evenly as whole steps allow."""
    return {i for i in range(steps) if (i * strokes) % steps < strokes}


@each(
    ("name", "strokes", "steps", "step"),
    [
        ("tresillo (in eighths)", 3, 8, Fraction(1, 2)),
        ("cinquillo (in sixteenths)", 5, 8, Fraction(1, 4)),
        ("bossa clave 3-2", 5, 16, Fraction(1, 2)),
        ("standard seven-stroke bell", 7, 12, Fraction(1)),
    ],
)
def test_cells_are_the_even_spreads_that_they_are_said_to_be(
    name: str, strokes: int, steps: int, step: Fraction
) -> None:
    """Equal up to a rotation (Toussaint 2005, Euclidean rhythms)."""
    mine = {int((p - 1) / step) for p in cell_called(name)}
    turns = [{(i + turn) % steps for i in euclid(strokes, steps)} for turn in range(steps)]
    assert mine in turns


# --- tempo


@each("row", [r for r in RHYTHMS if r["kind"] == "tempo"], ids=lambda r: str(r["name"]))
def test_tempos_are_those_of_the_trade(row: Row) -> None:
    """The usual tempo lies in the range that the source gives, and the style's own range includes it."""
    style = find(row["name"])
    low, high = float(row["low"]), float(row["high"])
    assert low <= style.usual_bpm <= high
    assert style.low_bpm <= low
    assert high <= style.high_bpm
