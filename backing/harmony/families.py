"""Stacks: the degrees of a voicing from the bottom up, before they have a register.

Every family of voicings is a rule that turns a choice of degrees into stacks: a row of `FAMILY`.

Conventions: a stack lists degrees from the bottom, each above the one before and less than an octave away, or an
octave where it repeats it. Costs add up, less is better, about 1 is what a player would notice.
Sources: rootless types A and B (piano.org, rootless voicings); drop 2 (mckiel.us) and drop 3 (zelva.dev). The sizes of
the costs are our own, set by listening and reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import pairwise, permutations
from typing import NamedTuple

from backing.ground.pitch import Degree
from backing.harmony.offer import Tones
from backing.harmony.selections import selections

ALMOST = 0.3  # a chord that a family cannot build, in close position instead


class Stack(NamedTuple):
    """Degrees from the bottom, how they are built, and what that costs."""

    degrees: tuple[Degree, ...]
    shape: str
    cost: float = 0.0


class _Given(NamedTuple):
    """What a family builds from: `chosen` by pitch class, `among` all that the chord offers, `voices` asked for."""

    chosen: tuple[Degree, ...]
    among: tuple[Degree, ...]
    voices: int

    def slot_of(self, degree: Degree) -> str:
        """The role of a degree in a voicing: root, third, fifth, seventh or ninth."""
        numbers = {d.number for d in self.among}
        number = degree.number
        if number == 1:
            return "root"
        if number == 3:
            return "third"
        if 3 not in numbers and number == next((n for n in (4, 11, 2) if n in numbers), 0):
            return "third"  # what is suspended stands for it
        if number == 7 or (number == 6 and 7 not in numbers):
            return "seventh"
        return "ninth" if number in (2, 9) else "fifth"


def gaps_of(stack: Sequence[Degree]) -> list[int]:
    """Semitones from each degree to the next above, an octave where it is the same."""
    steps = [d.semitones % 12 for d in stack]
    return [(b - a) % 12 or 12 for a, b in pairwise(steps)]


def _rotations(chosen: Sequence[Degree]) -> Iterator[tuple[Degree, ...]]:
    for i in range(len(chosen)):
        yield (*chosen[i:], *chosen[:i])


def _named(shape: str, stacks: Iterator[tuple[Degree, ...]], cost: float = 0.0) -> list[Stack]:
    return [Stack(s, f"{shape}, {s[0].name} at the bottom", cost) for s in stacks]


def _dropped(chosen: Sequence[Degree], *places: int) -> Iterator[tuple[Degree, ...]]:
    """Close positions with the voices at `places` (2 is the second from the top) an octave down."""
    for close in _rotations(chosen):
        low = [close[-p] for p in sorted(places, reverse=True)]
        yield (*low, *(d for i, d in enumerate(close) if len(close) - i not in places))


def _rootless(given: _Given) -> list[Stack]:
    """Types A (3 5 7 9) and B (7 9 3 5); 13 or an altered degree may stand for the fifth, 1 for the ninth."""
    slots: dict[str, Degree] = {}
    for degree in given.chosen:
        slot = given.slot_of(degree)
        slot = "ninth" if slot == "root" and "ninth" not in slots else slot
        if slot in slots or slot == "root":
            return []
        slots[slot] = degree
    if set(slots) != {"third", "fifth", "seventh", "ninth"}:
        return []
    third, fifth, seventh, ninth = (slots[s] for s in ("third", "fifth", "seventh", "ninth"))
    return [
        Stack((third, fifth, seventh, ninth), "rootless A"),
        Stack((seventh, ninth, third, fifth), "rootless B"),
    ]


def _shells(given: _Given) -> list[Stack]:
    """Third and seventh, either below, with what else must sound above them."""
    thirds = [d for d in given.chosen if given.slot_of(d) == "third"]
    sevenths = [d for d in given.chosen if given.slot_of(d) == "seventh"]
    if len(thirds) != 1 or len(sevenths) != 1:
        return []
    guides = (thirds[0], sevenths[0])
    rest = [d for d in given.chosen if d not in guides]
    if not rest:
        return [Stack(pair, "guide tones", 0.4) for pair in (guides, guides[::-1])]
    cost = 0.0 if len(rest) == 1 else 0.4
    return [
        Stack(pair + more, "shell", cost)
        for pair in (guides, guides[::-1])
        for more in permutations(rest)
    ]


def _quartal(given: _Given) -> list[Stack]:
    """Fourths; one gap may be a third or a fifth."""
    found: list[Stack] = []
    for stack in permutations(given.chosen):
        gaps = gaps_of(stack)
        if all(4 <= g <= 7 for g in gaps) and sum(g in (5, 6) for g in gaps) >= len(gaps) - 1:
            found.append(Stack(stack, "fourths", 0.3 * sum(abs(g - 5) for g in gaps)))
    return found


def _close(given: _Given) -> list[Stack]:
    return _named("close", _rotations(given.chosen))


def _triads(given: _Given) -> list[Stack]:
    return _close(given) if len(given.chosen) >= given.voices else []


def _open(given: _Given) -> list[Stack]:
    return _named("open", _dropped(given.chosen, 2)) if len(given.chosen) == 3 else []


def _open_doubled(given: _Given) -> list[Stack]:
    """Open triads, and with root or fifth doubled above."""
    plain = _open(given)
    doubled = [
        Stack((*s, s[0]), f"{shape}, doubled", cost + 0.1)
        for s, shape, cost in plain
        if s[0].number in (1, 5)
    ]
    return plain + doubled


def _drop_2(given: _Given) -> list[Stack]:
    if len(given.chosen) < 4:
        return _open_doubled(given)
    return _named("drop 2", _dropped(given.chosen, 2))


def _drop_3(given: _Given) -> list[Stack]:
    return _named("drop 3", _dropped(given.chosen, 3)) if len(given.chosen) > 3 else []


_FIRM = (
    1,
    3,
    4,
    6,
    7,
)  # degrees on which a spread voicing stands: the fourth of a suspended chord too


def _spread(given: _Given) -> list[Stack]:
    """Wide, over what makes the chord: colours and fifths stand above (common practice), but where nothing else is."""
    if len(given.chosen) < 4:
        return _open_doubled(given)
    wide = list(_dropped(given.chosen, 2, 4))
    firm = [s for s in wide if s[0].number in _FIRM]
    return _named("spread", iter(firm or wide))


def _rhythm(given: _Given) -> list[Stack]:
    """Root, and third and seventh over it in either order; of a triad third and fifth (common practice of four to the bar).

    A fourth voice, a written ninth or thirteenth, stands on top.
    """
    by = {given.slot_of(d): d for d in given.chosen}
    root, third = by.get("root"), by.get("third")
    other = by.get("seventh") or by.get("fifth")
    if root is None or third is None or other is None:
        return []
    above = tuple(d for d in given.chosen if d not in (root, third, other))
    if len(above) > 1:
        return []
    return [
        Stack((root, other, third, *above), "rhythm guitar"),
        Stack((root, third, other, *above), "rhythm guitar", 0.2),
    ]


def _power(given: _Given) -> list[Stack]:
    root = [d for d in given.chosen if d.number == 1]
    fifth = [d for d in given.chosen if d.number == 5]
    return list(_root_and_fifth(root[0], fifth[-1], given.voices)) if root and fifth else []


def _root_and_fifth(root: Degree, fifth: Degree, voices: int) -> tuple[Stack, ...]:
    if root == fifth:
        return (Stack((root, root), "octaves"),)
    return (
        Stack((root, fifth), "root and fifth", 0.0 if voices < 3 else 0.3),
        Stack((root, fifth, root), "root, fifth and octave", 0.0 if voices > 2 else 0.3),
        Stack((fifth, root), "fifth below the root", 3.0),
        Stack((fifth, root, fifth), "fifth, root and fifth", 3.2),
    )


class _Family(NamedTuple):
    voices: int
    build: Callable[[_Given], list[Stack]]
    doubles: bool


# Notes in a voicing where the chord has enough of them, how a choice of degrees is stacked, and whether a triad is
# doubled at the octave where four notes are asked for.
FAMILY = {
    "shells":   _Family(3, _shells,   True),
    "rootless": _Family(4, _rootless, True),
    "drop 2":   _Family(4, _drop_2,   False),
    "drop 3":   _Family(4, _drop_3,   True),
    "quartal":  _Family(4, _quartal,  True),
    "triads":   _Family(3, _triads,   True),
    "spread":   _Family(4, _spread,   False),
    "rhythm":   _Family(3, _rhythm,   False),
    "power":    _Family(2, _power,    False),
    "close":    _Family(4, _close,    True),
    "open":     _Family(3, _open,     False),
}  # fmt: skip
FAMILIES = tuple(FAMILY)
VOICES = {name: family.voices for name, family in FAMILY.items()}


@lru_cache(maxsize=4096)
def stacks(offer: Tones, family: str, voices: int) -> tuple[Stack, ...]:
    """Every way that a family builds a chord, by degrees from the bottom up.

    What a family cannot build (a triad has no seventh for a shell) is built in close position.
    """
    if offer.family == "power":
        return _root_and_fifth(offer.need[0], offer.need[-1], voices)
    among = offer.need + offer.may
    found: list[Stack] = []
    for chosen, cost in selections(offer, voices):
        built = _built(family, _Given(chosen, among, voices))
        found += [Stack(s, shape, extra + cost) for s, shape, extra in built]
    if not found and family == "power":
        root = next((d for d in among if d.number == 1), Degree(1))
        fifth = next((d for d in among if d.number == 5), Degree(5))
        return _root_and_fifth(root, fifth, voices)
    return tuple(found) or tuple(_instead(offer, voices))


def _built(family: str, given: _Given) -> list[Stack]:
    """What a family makes of one choice of degrees."""
    row = FAMILY[family]
    built = row.build(given)
    if row.doubles and given.voices > 3 and len(given.chosen) == 3:
        full = [(*r, r[0]) for r in _rotations(given.chosen) if r[0].number in (1, 5)]
        built += [Stack(s, f"close, {s[0].name} doubled") for s in full]
    return built


def _instead(offer: Tones, voices: int) -> Iterator[Stack]:
    """Close positions, and of four notes and more drop 2."""
    for chosen, cost in selections(offer, voices):
        yield from _named("close", _rotations(chosen), cost + ALMOST)
        if len(chosen) > 3:
            yield from _named("drop 2", _dropped(chosen, 2), cost + ALMOST)
