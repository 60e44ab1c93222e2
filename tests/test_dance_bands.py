"""What dancers of Cuba, Jamaica, Brazil and the River Plate step to: what a band there never breaks, at any level.

`data/identity.tsv` has where sounds fall at mf; here are what must hold in every bar, through fills and for several
seeds, and what players do together. *Sources* stand at each test; "common practice" for what every player knows.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from itertools import pairwise

import pytest

from backing.band.arrange import arrange
from backing.band.model import Arrangement
from backing.ground.instruments import DRUM_NAMES
from backing.performance.perform import perform
from backing.styles.find import find
from backing.timeline.model import PlayedBar
from tests.band import notes_in, performer, player, timeline
from tests.each import each
from tests.test_identity import cell_called

SEVEN = "C | F | G7 | C | Am | Dm | G7"  # so that the sides of a clave change places
EIGHT = f"{SEVEN} | C"
EIGHTHS = frozenset(Fraction(i, 2) + 1 for i in range(8))


@cache
def band(style: str, dynamics: str = "mf", seed: int = 1, first: str = SEVEN) -> Arrangement:
    """Two sections twice in a style's own meter, the first as it is given."""
    own = find(style)
    text = (
        f"meter: {own.meters[0].full_name}\nform: A B A B\ncount-in: off\nending: as written\n"
        f"dynamics: {dynamics}\n[A]\n| {first} |\n[B]\n| {EIGHT} |\n"
    )
    return arrange(timeline(text), own, seed)


def bars(music: Arrangement) -> Iterator[tuple[PlayedBar, dict[str, set[Fraction]]]]:
    """Every bar but the last, which is held, with the places of each drum in it, counted from 1."""
    struck = [
        n for p in music.players if p.role.split()[0] in ("drums", "percussion") for n in p.notes
    ]
    for bar in music.timeline.bars[:-1]:
        found: dict[str, set[Fraction]] = {}
        for note in struck:
            if bar.start_q <= note.start_q < bar.end_q:
                at = (note.start_q - bar.start_q) / bar.meter.unit_q + 1
                found.setdefault(DRUM_NAMES[note.pitch], set()).add(at)
        yield bar, found


LEVELS = ("p", "mf", "f")


@each("style", ["bolero", "bachata"])
def test_the_martillo_is_whole_in_every_bar(style: str) -> None:
    """Eight unbroken eighths of the bongo, the low drum on four (common practice)."""
    for dynamics in LEVELS:
        for bar, drums in bars(band(style, dynamics)):
            bongos = drums.get("high bongo", set()) | drums.get("low bongo", set())
            assert bongos >= EIGHTHS, (dynamics, bar.index, bongos)
            assert 4 in drums["low bongo"], (dynamics, bar.index)


@each("style", ["salsa", "mambo"])
def test_no_kick_falls_on_the_and_of_one_and_the_clave_is_unbroken(style: str) -> None:
    """The kick goes with the tumbao, on the and of two and on four (Wikipedia, "Tumbao"); the son clave goes through
    sections of odd length, fills and levels (common practice)."""
    clave = cell_called("son clave 2-3")
    sides = [{p for p in clave if p < 5}, {p - 4 for p in clave if p >= 5}]
    for dynamics, seed in (("p", 1), ("mf", 1), ("mf", 2), ("f", 1)):
        for bar, drums in bars(band(style, dynamics, seed)):
            assert Fraction(3, 2) not in drums.get("kick", set()), (dynamics, seed, bar.index)
            assert drums["claves"] == sides[bar.clave_half], (dynamics, seed, bar.index)


def test_two_bells_interlock_where_a_salsa_band_plays_out() -> None:
    """The bongo player's bell and the timbale player's, of two bars, together at f (common practice)."""
    bongo, timbale = set(cell_called("bell of the montuno")), cell_called("mambo bell 2-3")
    sides = [{p for p in timbale if p < 5}, {p - 4 for p in timbale if p >= 5}]
    whole = 0
    for bar, drums in bars(band("salsa", "f")):
        assert drums["cowbell"] == bongo, bar.index
        mine = sides[bar.clave_half]
        assert drums.get("bell", set()) <= mine, bar.index
        whole += drums.get("bell", set()) >= mine - {
            1
        }  # a crash may take the place of its first stroke
    assert whole >= 20


def test_a_guajeo_is_single_notes_in_octaves() -> None:
    """At every level the piano of salsa plays its figure in octaves and no block chords (common practice)."""
    for dynamics in LEVELS:
        music = band("salsa", dynamics)
        struck: dict[Fraction, set[int]] = {}
        for note in notes_in(player(music, "keys").notes, 0, music.timeline.bars[-2].start_q):
            struck.setdefault(note.start_q, set()).add(note.pitch)
        assert all(any(p + 12 in pitches for p in pitches) for pitches in struck.values()), dynamics


@each("style", ["reggae one drop", "reggae rockers", "reggae steppers", "rocksteady", "ska"])
def test_there_are_two_skanks_to_a_drop(style: str) -> None:
    """Counted slowly the guitar is on every and, the drop on two and four (Wikipedia, "One drop rhythm", whose count is
    double: skank on two and four, drop on three)."""
    music = band(style, first=EIGHT)
    guitar = {n.start_q for n in player(music, "guitar").notes}
    skanks = drops = 0
    for bar, drums in bars(music):
        if bar.index % 4:  # fills stand at the ends of phrases
            hit = drums.get("rim", set()) | drums.get("snare", set())
            drops += sum(beat in hit for beat in (1, 2, 3, 4))
            skanks += sum(bar.start_q + Fraction(1, 2) + beat in guitar for beat in range(4))
    assert skanks / drops == pytest.approx(2, abs=0.1)


def test_a_tango_band_marks_together() -> None:
    """Marcato on four beats or the síncopa, of bass, piano, guitar and bandoneon alike, also where it is soft (review of
    the band; adamtully.com, accompaniment rhythms)."""
    seen: set[str] = set()
    for dynamics, seed in (("p", 3), ("mf", 3), ("f", 3)):
        music = band("tango", dynamics, seed)
        for bar in music.timeline.bars[:-2]:
            marks = set()
            for role in ("bass", "keys", "guitar", "horns"):
                notes = notes_in(player(music, role).notes, bar.start_q, bar.start_q + 2)
                if notes:  # a player may wait until a later section
                    marks.add(_marking({n.start_q - bar.start_q for n in notes}))
            assert len(marks) == 1, (dynamics, seed, bar.index, marks)
            seen |= marks
    assert seen >= {"marcato", "síncopa"}


def _marking(places: set[Fraction]) -> str:
    """Which of the tango's three markings the first half of a bar has, by its places in quarters from the bar line."""
    if Fraction(1, 2) in places:
        return "síncopa"
    return "three-three-two" if Fraction(3, 2) in places and 1 not in places else "marcato"


def test_the_sixteenths_of_samba_are_uneven() -> None:
    """Second and third short, the last long, about 28 : 20 : 22 : 30 (review of played samba, from memory), within two
    hundredths of a beat."""
    own = find("samba")
    chart = " | ".join(["C"] * 48)
    music = arrange(timeline(f"meter: 2/4\ntempo: 100\nending: as written\n| {chart} |\n"), own, 1)
    times: dict[Fraction, float] = {}
    notes = player(music, "percussion").notes
    for note, played in zip(notes, performer(perform(music), "percussion").notes, strict=True):
        if DRUM_NAMES[note.pitch] == "maracas":
            times[note.start_q] = played.onset_s
    rows = [(at, times[at]) for at in sorted(times)]
    lengths: list[list[float]] = [[], [], [], []]
    for (at, here), (after, there) in pairwise(rows):
        if after - at == Fraction(1, 4):
            lengths[int(at % 1 * 4)].append((there - here) / 0.6)
    shares = [sum(found) / len(found) for found in lengths]
    assert min(len(found) for found in lengths) > 60
    assert shares == pytest.approx([0.28, 0.20, 0.22, 0.30], abs=0.02)


def test_a_bossa_stays_a_bossa_in_its_last_chorus() -> None:
    """No crash and no sixteenths where it is loud (common practice)."""
    for seed in (1, 2):
        for bar, drums in bars(band("bossa nova", "f", seed)):
            assert "crash" not in drums, (seed, bar.index)
            assert all(at.denominator <= 2 for row in drums.values() for at in row), (
                seed,
                bar.index,
            )


def test_the_clave_of_a_street_beat_goes_on_through_sections_of_odd_length() -> None:
    """The bar without the big four stands on every second bar of the piece (common practice)."""
    plain = [bar.index for bar, drums in bars(band("second line")) if drums.get("kick") == {1, 3}]
    assert len(plain) >= 10
    assert len({index % 2 for index in plain}) == 1


@each("style", ["reggae one drop", "reggae rockers", "reggae steppers", "rocksteady", "reggaeton"])
def test_a_riff_is_held_for_a_section(style: str) -> None:
    """In reggae the bass riff is the tune (common practice): one pattern through all bars of a section."""
    music = band(style, first=EIGHT)
    for section in music.timeline.sections:
        first, last = (music.timeline.bars[number - 1] for number in (section.first, section.last))
        names = {
            n.why.words.split("pattern '")[1].split("'")[0]
            for n in notes_in(player(music, "bass").notes, first.start_q, last.end_q)
            if "pattern '" in n.why.words
        } - {"last bar"}
        assert len(names) == 1, (section.name, names)
