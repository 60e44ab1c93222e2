"""Chance as a function of a place: the same for ever, even over [0, 1), each place by itself."""

from __future__ import annotations

from hashlib import blake2b

import pytest

from backing.ground.dice import Place, at, row


def test_a_number_is_the_first_53_bits_of_the_hash_of_its_key() -> None:
    """BLAKE2b (RFC 7693) as the standard library has it, eight bytes, big-endian, unit separators between parts."""
    digest = blake2b(b"1\x1fbass\x1fA\x1f2\x1f4\x1fapproach", digest_size=8).digest()
    expected = (int.from_bytes(digest, "big") >> 11) / 2**53
    assert at(1, "bass", "A", 2, 4, "approach") == expected


def test_numbers_never_change() -> None:
    """Pinned: another number here would change every track that was ever made with a seed."""
    assert at(1, "drums", "A", 1, 0, "fill") == 0.4476476527317298


def test_a_place_with_a_longer_stem_draws_what_the_whole_key_draws() -> None:
    place = Place((7, "keys")).at("B", 2)
    assert place.roll("voicing") == at(7, "keys", "B", 2, "voicing")


def test_parts_of_a_key_are_kept_apart() -> None:
    assert at("ab", "c") != at("a", "bc")
    assert at(1, 2) != at(12)
    assert at(1, "x") != at(2, "x")


def test_numbers_fill_the_unit_interval_evenly() -> None:
    """Ten thousand places in ten bins: a chi-square of nine degrees of freedom stays under 27.9 (p = 0.001, tables)."""
    count = [0] * 10
    for i in range(10_000):
        value = at(3, "drums", "A", 1, i, "ghost")
        assert 0 <= value < 1
        count[int(value * 10)] += 1
    assert sum((n - 1000) ** 2 / 1000 for n in count) < 27.9


def test_weights_decide_how_often_an_item_is_picked() -> None:
    place = Place((1, "bass"))
    picked = [place.pick("abc", (1, 0, 3), "walk", i) for i in range(4000)]
    assert picked.count("b") == 0
    assert picked.count("a") == pytest.approx(1000, abs=120)
    assert Place((1,)).pick(["only"], [5.0], "x") == "only"


def test_a_chance_of_none_never_happens_and_of_one_always() -> None:
    place = Place((1, "guitar"))
    assert not any(place.chance(0, i) for i in range(200))
    assert all(place.chance(1, i) for i in range(200))


def test_a_spread_is_centred_with_a_third_of_deviation() -> None:
    """The mean of three even numbers on (-1, 1) has variance 1/9."""
    values = [Place((1, "keys")).spread("late", i) for i in range(4000)]
    assert all(-1 < v < 1 for v in values)
    mean = sum(values) / len(values)
    assert mean == pytest.approx(0, abs=0.02)
    assert sum((v - mean) ** 2 for v in values) / len(values) == pytest.approx(1 / 9, abs=0.01)


def test_a_row_begins_alike_whatever_its_length_and_is_even() -> None:
    """Sixteen bits of the hash a number; the mean of 4,000 even numbers lies within 0.02 of a half (4 deviations)."""
    long = row(4000, 1, "drums", "A")
    assert long[:5] == row(5, 1, "drums", "A")
    assert row(0, 1) == []
    assert all(0 <= n < 1 for n in long)
    assert sum(long) / 4000 == pytest.approx(0.5, abs=0.02)
    digest = blake2b(b"1\x1fdrums\x1fA\x1e0", digest_size=64).digest()
    assert long[0] == int.from_bytes(digest[:2], "big") / 65536
