"""The six measures of the bench on examples that can be counted by hand."""

from __future__ import annotations

from fractions import Fraction
from math import dist, isclose, log

from backing.ground.pitch import Key
from tests.bench.six_measures import Span, centroid, mean, six
from tests.test_harmonising import FOUR, melody

C, F, G = frozenset({0, 4, 7}), frozenset({5, 9, 0}), frozenset({7, 11, 2})


def spans(*triads: frozenset[int]) -> list[Span]:
    return [
        Span(str(sorted(triad)), triad, Fraction(i), Fraction(i + 1))
        for i, triad in enumerate(triads)
    ]


def test_the_centroid_of_one_note_lies_on_its_three_circles() -> None:
    """Radii 1, 1 and a half (Harte, Sandler and Gasser 2006, from memory)."""
    assert all(map(isclose, centroid(frozenset({0})), (0, 1, 0, 1, 0, 0.5)))
    for pc in range(12):
        x = centroid(frozenset({pc}))
        assert isclose(sum(v * v for v in x), 2.25)


def test_near_triads_lie_nearer_than_far_ones() -> None:
    far = frozenset({6, 10, 1})
    assert dist(centroid(C), centroid(G)) < dist(centroid(C), centroid(far))
    assert isclose(dist(centroid(C), centroid(G)), dist(centroid(C), centroid(F)))


def test_the_measures_of_four_quarters_by_hand() -> None:
    tune = melody([64, 62, 59, 60], FOUR, Key.parse("C"))  # E over C, D over G, B over G, C over C
    found = six(tune, spans(C, G, G, C))
    assert isclose(found.entropy, log(2))
    assert found.coverage == 2
    assert isclose(found.distance, 2 * dist(centroid(C), centroid(G)) / 3)
    assert found.tones == 1.0
    # E over C, E, G: third, unison, sixth 3; D over G, B, D: fifth, third, unison 3; B 1 + 1 + 1; C 1 + 1 + 0 (a fourth)
    assert isclose(found.consonance, (3 + 3 + 3 + 2) / 4)


def test_a_note_outside_the_chord_is_proper_where_it_is_left_by_step() -> None:
    stepping = melody([64, 65, 64, 60], FOUR, Key.parse("C"))
    leaping = melody([64, 65, 60, 60], FOUR, Key.parse("C"))
    assert six(stepping, spans(C, C, C, C)).tones == 1.0
    assert six(leaping, spans(C, C, C, C)).tones == 3 / 4
    assert mean([six(stepping, spans(C, C, C, C)), six(leaping, spans(C, C, C, C))]).tones == 7 / 8
