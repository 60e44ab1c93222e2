"""The diatonic manner with a chord on every beat: chords as in a chorale. Tunes here are invented."""

from __future__ import annotations

from fractions import Fraction
from itertools import islice

import pytest

from backing.ground.pitch import Interval, Key
from backing.ground.timebase import Meter
from backing.harmonising import hymn
from backing.harmonising.harmonise import harmonise
from backing.harmonising.melody import Melody, places_of
from backing.harmonising.wishes import Wishes
from tests.bench.harmonising import chorales, measured
from tests.test_harmonising import FOUR, melody

TUNE = [69, 68, 69, 71, 73, 71, 69, 73, 74, 73, 71, 69, 71, 69, 68, 69]  # in A major
SAD = [69, 71, 72, 71, 69, 74, 72, 71, 69, 72, 71, 69, 69, 68, 69, 69]  # in A minor
BEATS = Wishes("diatonic", "beat", results=1)


def symbols(tune: Melody, wishes: Wishes = BEATS) -> tuple[str, ...]:
    return harmonise(tune, wishes)[0].symbols


def test_a_hymn_moves_its_bass_by_inversions_and_comes_home() -> None:
    """Sixth chords between root positions, a dominant before the last tonic: common practice."""
    found = symbols(melody([*TUNE], FOUR, Key.parse("A major")))
    assert found[0] == found[-1] == "A"
    assert found[-2] in ("E", "E7")
    assert any("/" in symbol for symbol in found)
    assert {symbol.split("/")[0] for symbol in found} >= {"A", "D", "E"}


def test_a_minor_hymn_ends_on_its_tonic_after_the_leading_note() -> None:
    found = symbols(melody([*SAD], FOUR, Key.parse("A minor")))
    assert found[-1] in ("Am", "A")
    assert found[13].split("/")[0] in ("E", "E7", "G#dim")


def test_a_phrase_that_is_known_to_close_ends_on_a_chord_of_rest() -> None:
    tune = melody([*TUNE], FOUR, Key.parse("A major"))
    for at in (5, 7, 12):
        closed = symbols(tune._replace(closes=frozenset({Fraction(at)})))[at]
        assert closed.split("/")[0] in ("A", "E", "F#m", "C#", "Bm", "B", "D"), (at, closed)


def test_only_a_chord_a_beat_in_the_diatonic_manner_is_a_hymn() -> None:
    tune = melody([*TUNE], FOUR, Key.parse("A major"))
    six_eight = melody([*TUNE], Meter.of(6, 8), Key.parse("A major"), Fraction(1, 2))
    assert hymn.applies("diatonic", tune, places_of(tune, "beat"))
    assert hymn.applies("diatonic", six_eight, places_of(six_eight, "beat"))
    assert not hymn.applies("diatonic", tune, places_of(tune, "half"))
    assert not hymn.applies("colourful", tune, places_of(tune, "beat"))


def test_a_chord_to_avoid_is_not_in_a_hymn() -> None:
    tune = melody([*TUNE], FOUR, Key.parse("A major"))
    found = symbols(tune, BEATS._replace(avoid=frozenset({"E", "E/G#"})))
    assert not {"E", "E/G#"} & set(found)


@pytest.mark.libraries
def test_chorales_get_more_than_half_of_their_composers_chords() -> None:
    """Against the chorales in music21's corpus, those that the tables were not fitted to (over all 183 of them 55.8 %)."""
    given = list(islice(chorales(40), 1, None, 2))
    own, tonic_only = measured(given, "diatonic")
    assert own.triad / own.quarters >= 0.5
    assert own.triad - tonic_only.triad >= own.quarters / 5


def test_a_hymn_opens_and_closes_on_root_positions() -> None:
    """The first chord on a bar line and the dominant before the last tonic stand on their roots: common practice."""
    wrong = []
    for shift in range(12):
        tune = melody([n + shift for n in (*TUNE[:-1], 69)], FOUR, Key.parse("A major"))
        for result in harmonise(tune._replace(key=None), Wishes("diatonic", "beat", results=4)):
            last = result.chords[-2].chord
            if result.chords[0].chord.bass or (
                last.bass and last.root.pc == result.key.tonic.up(Interval(4, 7)).pc
            ):
                wrong.append((shift, result.symbols))
    assert wrong == []
