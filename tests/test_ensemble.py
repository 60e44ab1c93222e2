"""The band hears itself: nobody doubles a chord, nobody's colours rub, drums follow no pitch."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from backing.styles.find import find
from tests import ensemble
from tests.band import arranged, chart, player
from tests.each import each

MINOR = (
    "Am9 | Dm9 | Bm7b5 | E7 | Am6 | F7 | Bm7b5 E7 | Am6 | Cmaj7 | Fmaj7 | Bm7b5 | E7b9 | Am7 | "
    "Dm7 G7 | Cmaj7 Fmaj7 | Bm7b5 E7"
)


@each("style", ["bossa nova", "neo soul", "salsa", "foxtrot", "straight-ahead swing"])
def test_two_who_comp_strike_no_chord_together(style: str) -> None:
    """At most 5 strokes in 100 bars share three pitches, where the style does not ask for it."""
    music = arranged(chart(MINOR, key="A minor", meter="4/4", choruses=2), style)
    assert not find(style).doubles
    assert len(ensemble.comping(music)) == 2
    assert 100 * len(ensemble.doubled(music)) / len(music.timeline.bars) <= 5
    assert ensemble.apart(music) == [], "who strikes together plays one chord"


@each("style", ["bossa nova", "salsa", "bolero", "straight-ahead swing", "jazz ballad"])
def test_nobody_adds_what_rubs(style: str) -> None:
    """No unwritten altered tone beside the bass's fifth, no two colours a half step apart."""
    music = arranged(chart(MINOR, key="A minor", meter="4/4", choruses=2), style)
    assert ensemble.rubs(music) == []


@each("style", ["salsa", "cha-cha-cha", "bolero"])
def test_dances_with_plain_sevenths_add_nothing_altered(style: str) -> None:
    music = arranged(chart(MINOR, key="A minor", meter="4/4"), style)
    added = {n.degree for p in music.players for n in p.notes if ensemble.unwritten(music, n)}
    assert not added & set(ensemble.ALTERED) - {"b9"}  # a half step in a bass line


def test_percussion_plays_alike_in_every_key() -> None:
    here, there = (
        arranged(chart(MINOR, key="A minor", meter="4/4"), "salsa", wish={"transpose": way})
        for way in (None, -5)
    )
    heard = [
        [(n.start_q, n.pitch, n.velocity) for n in player(m, "percussion").notes]
        for m in (here, there)
    ]
    assert heard[0] == heard[1]


VAMP = " | ".join(["Em9 | A13 | Em9 | A13 | Cmaj7 | B7 | Em9 | B7"] * 2)
HORNS = ("ska", "cha-cha-cha", "second line")


@each("style", HORNS)
def test_horns_play_lines(style: str) -> None:
    """At least half of their strokes in one part or two, and some of them move under one chord."""
    music = arranged(chart(VAMP, key="E minor", meter="4/4", choruses=4), style)
    horns = player(music, "horns")
    counts = ensemble.parts_of(horns)
    assert sum(n <= 2 for n in counts) / len(counts) >= 0.5
    assert ensemble.resting(horns, music) >= 1 / 3
    strokes = list(ensemble.strokes(horns).values())
    moves = [a[-1].pitch != b[-1].pitch for a, b in pairwise(strokes) if a[0].chord == b[0].chord]
    assert sum(moves) / len(moves) >= 0.3


def test_a_riff_comes_again() -> None:
    """What horns play under a chord they play again under it in the same section."""
    music = arranged(chart("Em7 | A7 | Em7 | A7 | Em7 | A7 | Em7 | A7", meter="4/4"), "ska", seed=3)
    horns = player(music, "horns")
    bars: dict[tuple[Fraction, ...], set[tuple[int, ...]]] = {}
    for bar in music.timeline.bars[::2]:
        row = [n for n in horns.notes if bar.start_q <= n.start_q < bar.end_q]
        rhythm = tuple(n.start_q - bar.start_q for n in row)
        bars.setdefault(rhythm, set()).add(tuple(n.pitch for n in row))
    assert any(len(rhythm) > 1 for rhythm in bars)
    assert all(len(found) <= 2 for found in bars.values())
