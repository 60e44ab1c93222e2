"""Which degrees of a chord sound together: every choice that a voicing of so many notes can make, with its cost.

A choice is refused by any rule of `REFUSED`, and costs what the rules of `COSTS` add up to.

Conventions: costs add up, less is better, about 1 is what a player would notice. Sources: leaving out the unaltered
fifth first and keeping third, seventh, top extension and altered notes (tyquinn.com chord theory 6, oer4.com omission
rules); no natural eleventh over a major third (common practice). The sizes of the costs are our own, set by listening
and reading.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

from backing.ground.pitch import Degree
from backing.harmony.offer import Tones

Selection = tuple[tuple[Degree, ...], float]  # degrees by pitch class, what choosing them costs


class _Choice(NamedTuple):
    """What an offer needs and what was chosen besides; `steps` and `numbers` are those of `all`."""

    offer: Tones
    more: tuple[Degree, ...]
    all: tuple[Degree, ...]
    steps: frozenset[int]
    numbers: frozenset[int]


def _choice(offer: Tones, more: tuple[Degree, ...]) -> _Choice:
    chosen = offer.need + more
    steps = frozenset([d.semitones % 12 for d in chosen])
    return _Choice(offer, more, chosen, steps, frozenset([d.number for d in chosen]))


def _one_of_each_pair_is_missing(choice: _Choice) -> bool:
    return any(not set(group) & set(choice.all) for group in choice.offer.any_of)


def _one_pitch_twice(choice: _Choice) -> bool:
    return len(choice.steps) < len(choice.all)


def _one_number_twice(choice: _Choice) -> bool:
    """A ninth beside another ninth; what must sound is as it was written."""
    numbers = [d.number for d in choice.more]
    needed = {d.number for d in choice.offer.need}
    return len(set(numbers)) < len(numbers) or not needed.isdisjoint(numbers)


def _natural_eleventh_over_a_major_third(choice: _Choice) -> bool:
    return 4 in choice.steps and any(d.semitones % 12 == 5 for d in choice.more)


def _half_diminished_as_another_chord(choice: _Choice) -> bool:
    """With its flat thirteenth and without its root it is the dominant ninth a third below."""
    return _thirteenth_of_half_diminished(choice) and 1 not in choice.numbers


REFUSED: tuple[Callable[[_Choice], bool], ...] = (
    _one_of_each_pair_is_missing,
    _one_pitch_twice,
    _one_number_twice,
    _natural_eleventh_over_a_major_third,
    _half_diminished_as_another_chord,
)


def _flat_sixth_beside_the_fifth(choice: _Choice) -> bool:
    return {7, 8} <= choice.steps and not choice.offer.whole


def _thirteenth_beside_the_fifth(choice: _Choice) -> bool:
    return {7, 9} <= choice.steps and 13 in choice.numbers


def _root_and_ninth_without_a_fifth(choice: _Choice) -> bool:
    """Side by side they want a fifth between them and the third."""
    return {0, 2} <= choice.steps and 7 not in choice.steps and 9 in choice.numbers


def _altered_by_its_flat_fifth(choice: _Choice) -> bool:
    return bool(choice.offer.any_of) and any(d.name == "b5" for d in choice.more)


def _altered_by_its_flat_ninth(choice: _Choice) -> bool:
    return bool(choice.offer.any_of) and any(d.name == "b9" for d in choice.more)


def _unwritten_eleventh(choice: _Choice) -> bool:
    return any(d.number == 11 and d in choice.offer.colours for d in choice.more)


def _thirteenth_of_half_diminished(choice: _Choice) -> bool:
    return choice.offer.family == "half-diminished" and any(d.number == 13 for d in choice.more)


def _triad_with_its_sixth_before_its_ninth(choice: _Choice) -> bool:
    return _plain(choice.offer) and 13 in choice.numbers and 9 not in choice.numbers


def _unused_colours(choice: _Choice) -> int:
    """At most two are missed."""
    return min(2, len(choice.offer.colours.difference(choice.all)))


# What a rule costs, as often as it counts.
COSTS: tuple[tuple[float, Callable[[_Choice], int]], ...] = (
    (2.00, _flat_sixth_beside_the_fifth),
    (0.50, _thirteenth_beside_the_fifth),
    (0.40, _root_and_ninth_without_a_fifth),
    (0.90, _altered_by_its_flat_fifth),  # the sharp fifth and the sharp ninth say it best
    (0.20, _altered_by_its_flat_ninth),
    (0.30, _unwritten_eleventh),
    (0.80, _thirteenth_of_half_diminished),
    (1.20, _triad_with_its_sixth_before_its_ninth),
    (0.35, _unused_colours),
)


def _plain(offer: Tones) -> bool:
    """A triad with colours."""
    written = [d for d in (*offer.need, *offer.may) if d not in offer.colours]
    return bool(offer.colours) and all(d.number not in (6, 7) for d in written)


@lru_cache(maxsize=2048)
def selections(offer: Tones, voices: int) -> tuple[Selection, ...]:
    """Choices of degrees with what each costs; at least everything needed, at most `voices` or all that is needed."""
    spare = max(0, voices - len(offer.need))
    tried = [_choice(offer, more) for more in combinations(offer.may, min(spare, len(offer.may)))]
    found = [
        (_by_pitch(choice.all), sum([cost * rule(choice) for cost, rule in COSTS]))
        for choice in tried
        if not any(rule(choice) for rule in REFUSED)
    ]
    return tuple(found) or ((_by_pitch(_bare(offer)), 0.0),)


def _bare(offer: Tones) -> tuple[Degree, ...]:
    """What is needed, with one of each group: for an offer whose every way to fill up clashes."""
    missing = [group for group in offer.any_of if not set(group) & set(offer.need)]
    return offer.need + tuple(group[0] for group in missing)


def _by_pitch(chosen: Sequence[Degree]) -> tuple[Degree, ...]:
    return tuple(sorted(chosen, key=lambda d: d.semitones % 12))
