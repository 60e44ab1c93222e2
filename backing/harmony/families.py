"""Stacks: the degrees of a voicing from the bottom up, before they have a register.

Every family of voicings is a rule that turns a choice of degrees into stacks.

Conventions: a stack lists degrees from the bottom, each above the one before and less than an octave away, or an
octave where it repeats it. Costs add up, less is better, about 1 is what a player would notice.
Sources: rootless types A and B (piano.org, rootless voicings); drop 2 (mckiel.us) and drop 3 (zelva.dev); leaving out
the unaltered fifth first and keeping third, seventh, top extension and altered notes (tyquinn.com chord theory 6,
oer4.com omission rules). The sizes of the costs are our own, set by listening and reading.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import combinations, pairwise, permutations
from typing import NamedTuple

from backing.ground.pitch import Degree
from backing.harmony.symbol import Chord

FAMILIES = (
    "shells", "rootless", "drop 2", "drop 3", "quartal", "triads", "spread", "power", "close", "open",
)  # fmt: skip

# Notes in a voicing of each family when the chord has enough of them.
VOICES = {
    "shells": 3, "rootless": 4, "drop 2": 4, "drop 3": 4, "quartal": 4,
    "triads": 3, "spread": 4, "power": 2, "close": 4, "open": 3,
}  # fmt: skip


class Tones(NamedTuple):
    """What a chord offers: `need` must be in the voicing, `may` can be; `colours` are those of `may` not written.

    `whole` is true where an upper chord must stay complete (slash chords).
    """

    need: tuple[Degree, ...]
    may: tuple[Degree, ...]
    any_of: tuple[tuple[Degree, ...], ...]
    colours: frozenset[Degree]
    family: str
    whole: bool


@lru_cache(maxsize=2048)
def tones(chord: Chord, colours: tuple[Degree, ...] = ()) -> Tones:
    """The degrees to choose from. A slash chord keeps its upper chord whole and leaves an outside bass to the bass."""
    kept = tuple(d for d in chord.degrees if d not in chord.omit)
    outside = False
    if chord.bass is not None:
        bass = (chord.bass.pc - chord.root.pc) % 12
        outside = all(d.semitones % 12 != bass for d in chord.degrees)
        if outside:
            colours = tuple(c for c in colours if c.semitones % 12 != bass)
    whole = chord.bass is not None and chord.bass.pc != chord.root.pc
    free = tuple(c for c in colours if all(c.semitones % 12 != d.semitones % 12 for d in kept))
    if chord.family == "dominant" and any(c.name == "b13" for c in free):
        # one player's fifth would rub against another's flat thirteenth
        kept = tuple(d for d in kept if d.name != "5" or d in chord.must_sound)
    need = tuple(d for d in chord.must_sound if d in kept)
    if whole:
        need = kept if len(kept) < 5 else tuple(d for d in kept if d.number == 1 or d in need)
    if not need:
        need = kept[:3]
    may = tuple(d for d in kept if d not in need)
    if len(kept) <= 2:  # a power chord: nothing is added, least of all a third
        return Tones(kept, (), (), frozenset(), "power", False)
    return Tones(
        need,
        may + free,
        () if whole else chord.any_of,
        frozenset(free),
        chord.family,
        whole,
    )


def _slot(degree: Degree, among: Sequence[Degree]) -> str:
    """The role of a degree in a voicing: root, third, fifth, seventh or ninth."""
    numbers = {d.number for d in among}
    number = degree.number
    if number == 1:
        return "root"
    if number == 3:
        return "third"
    if number in (2, 4, 11) and 3 not in numbers:
        fourth = min((n for n in (4, 11, 2) if n in numbers), key=(4, 11, 2).index)
        if number == fourth:
            return "third"
    if number == 7 or (number == 6 and 7 not in numbers):
        return "seventh"
    return "ninth" if number in (2, 9) else "fifth"


@lru_cache(maxsize=2048)
def selections(offer: Tones, voices: int) -> tuple[tuple[tuple[Degree, ...], float], ...]:
    """Choices of degrees with what each costs; at least everything needed, at most `voices` or all that is needed."""
    need = offer.need
    wanted = max(voices, len(need))
    plain = bool(offer.colours) and not any(
        d.number in (6, 7) for d in (*need, *offer.may) if d not in offer.colours
    )
    spare = wanted - len(need)
    found = []
    for more in combinations(offer.may, min(spare, len(offer.may))):
        chosen = need + more
        if any(not set(group) & set(chosen) for group in offer.any_of):
            continue
        numbers = [d.number for d in more]
        if len({d.semitones % 12 for d in chosen}) < len(chosen) or any(
            numbers.count(n) > 1 or n in {d.number for d in need} for n in numbers
        ):
            continue
        cost = 0.0
        steps = {d.semitones % 12 for d in chosen}
        if 5 in steps and 4 in steps and any(d.semitones % 12 == 5 for d in more):
            continue  # a natural eleventh above a major third
        if 7 in steps and 8 in steps and not offer.whole:
            cost += 2.0
        if 7 in steps and 9 in steps and any(d.number == 13 for d in chosen):
            cost += 0.5
        if {0, 2} <= steps and 7 not in steps and any(d.number == 9 for d in chosen):
            cost += 0.4  # root and ninth side by side want a fifth between them and the third
        if offer.any_of:  # altered: the sharp fifth and the sharp ninth say it best
            cost += 0.9 * any(d.name == "b5" for d in more) + 0.2 * any(
                d.name == "b9" for d in more
            )
        cost += 0.3 * any(d.number == 11 and d in offer.colours for d in more)
        if offer.family == "half-diminished" and any(d.number == 13 for d in more):
            if all(d.number != 1 for d in chosen):
                continue  # without its root it is the dominant ninth a third below
            cost += 0.8
        unused = [c for c in offer.colours if c not in chosen]
        if plain and any(d.number == 13 for d in chosen) and all(d.number != 9 for d in chosen):
            cost += 1.2  # a triad takes its ninth before its sixth
        cost += 0.35 * min(2, len(unused))
        found.append((tuple(sorted(chosen, key=lambda d: d.semitones % 12)), cost))
    if not found:
        # Every way to fill up clashes: what is needed, with one of each group, stands alone.
        extra = tuple(
            next(d for d in group) for group in offer.any_of if not set(group) & set(need)
        )
        found.append((tuple(sorted(need + extra, key=lambda d: d.semitones % 12)), 0.0))
    return tuple(found)


# A stack: degrees from the bottom, the shape's name, its cost
Stack = tuple[tuple[Degree, ...], str, float]


def _rotations(chosen: Sequence[Degree]) -> Iterator[tuple[Degree, ...]]:
    for i in range(len(chosen)):
        yield tuple(chosen[i:]) + tuple(chosen[:i])


def _rootless(chosen: tuple[Degree, ...], among: Sequence[Degree]) -> list[Stack]:
    """Types A (3 5 7 9) and B (7 9 3 5); 13 or an altered degree may stand for the fifth, 1 for the ninth."""
    slots: dict[str, Degree] = {}
    for degree in chosen:
        slot = _slot(degree, among)
        slot = "ninth" if slot == "root" and "ninth" not in slots else slot
        if slot in slots or slot == "root":
            return []
        slots[slot] = degree
    if set(slots) != {"third", "fifth", "seventh", "ninth"}:
        return []
    third, fifth, seventh, ninth = (slots[s] for s in ("third", "fifth", "seventh", "ninth"))
    return [
        ((third, fifth, seventh, ninth), "rootless A", 0.0),
        ((seventh, ninth, third, fifth), "rootless B", 0.0),
    ]


def _shells(chosen: tuple[Degree, ...], among: Sequence[Degree]) -> list[Stack]:
    thirds = [d for d in chosen if _slot(d, among) == "third"]
    sevenths = [d for d in chosen if _slot(d, among) == "seventh"]
    if len(thirds) != 1 or len(sevenths) != 1:
        return []
    third, seventh = thirds[0], sevenths[0]
    rest = tuple(d for d in chosen if d not in (third, seventh))
    found: list[Stack] = []
    for pair in ((third, seventh), (seventh, third)):
        if not rest:
            found.append((pair, "guide tones", 0.6))
        for more in permutations(rest):
            found.append((pair + more, "shell", 0.0 if len(more) == 1 else 0.4))
    return found


def gaps_of(stack: Sequence[Degree]) -> list[int]:
    steps = [d.semitones % 12 for d in stack]
    return [(b - a) % 12 or 12 for a, b in pairwise(steps)]


def _quartal(chosen: tuple[Degree, ...]) -> list[Stack]:
    found: list[Stack] = []
    for stack in permutations(chosen):
        gaps = gaps_of(stack)
        if all(4 <= g <= 7 for g in gaps) and sum(g in (5, 6) for g in gaps) >= len(gaps) - 1:
            found.append((stack, "fourths", 0.3 * sum(abs(g - 5) for g in gaps)))
    return found


def _dropped(chosen: Sequence[Degree], places: tuple[int, ...]) -> Iterator[tuple[Degree, ...]]:
    """Close positions with the voices at `places` (2 is the second from the top) an octave down."""
    for close in _rotations(chosen):
        low = [close[-p] for p in sorted(places, reverse=True)]
        yield tuple(low) + tuple(d for i, d in enumerate(close) if len(close) - i not in places)


def _full(chosen: tuple[Degree, ...]) -> list[tuple[Degree, ...]]:
    """Three notes as four: the outer octave doubles root or fifth."""
    return [(*r, r[0]) for r in _rotations(chosen) if r[0].number in (1, 5)]


def _close(chosen: tuple[Degree, ...], shape: str, cost: float = 0.0) -> list[Stack]:
    return [(r, f"{shape}, {r[0].name} at the bottom", cost) for r in _rotations(chosen)]


@lru_cache(maxsize=4096)
def stacks(offer: Tones, family: str, voices: int) -> tuple[Stack, ...]:
    """Every way that a family builds a chord, by degrees from the bottom up.

    What a family cannot build (a triad has no seventh for a shell) is built in close position.
    """
    among = offer.need + offer.may
    found: list[Stack] = []
    if offer.family == "power":
        return _power(offer.need, voices)
    for chosen, cost in selections(offer, voices):
        made: list[Stack] = []
        if family == "rootless":
            made = _rootless(chosen, among)
        elif family == "shells":
            made = _shells(chosen, among)
        elif family == "quartal":
            made = _quartal(chosen)
        elif family == "drop 2" and len(chosen) > 3:
            made = [(s, f"drop 2, {s[0].name} at the bottom", 0.0) for s in _dropped(chosen, (2,))]
        elif family == "drop 3" and len(chosen) > 3:
            made = [(s, f"drop 3, {s[0].name} at the bottom", 0.0) for s in _dropped(chosen, (3,))]
        elif family == "spread" and len(chosen) > 3:
            made = [
                (s, f"spread, {s[0].name} at the bottom", 0.0) for s in _dropped(chosen, (2, 4))
            ]
        elif family in ("open", "spread", "drop 2") and len(chosen) == 3:
            made = [(s, f"open, {s[0].name} at the bottom", 0.0) for s in _dropped(chosen, (2,))]
            if family != "open":
                made += [
                    ((*s, s[0]), f"{n}, doubled", c + 0.1)
                    for s, n, c in made
                    if s[0].number in (1, 5)
                ]
        elif family == "power":
            root = [d for d in chosen if d.number == 1]
            fifth = [d for d in chosen if d.number == 5]
            made = list(_power(tuple(root + fifth), voices)) if root and fifth else []
        elif family in ("triads", "close") and not (family == "triads" and len(chosen) < voices):
            made = _close(chosen, "close")
        found += [(s, n, c + cost) for s, n, c in made]
        if len(chosen) == 3 and voices > 3 and family not in ("spread", "open", "drop 2", "power"):
            found += [(s, f"close, {s[0].name} doubled", cost) for s in _full(chosen)]
    if family == "power" and not found:
        plain = tuple(d for d in among if d.number == 1) or (Degree(1),)
        fifths = tuple(d for d in among if d.number == 5) or (Degree(5),)
        found = list(_power(plain[:1] + fifths[:1], voices))
    if not found:
        for chosen, cost in selections(offer, voices):
            found += _close(chosen, "close", cost + 0.3)
            if len(chosen) > 3:
                found += [
                    (s, f"drop 2, {s[0].name} at the bottom", cost + 0.3)
                    for s in _dropped(chosen, (2,))
                ]
    return tuple(found)


def _power(pair: tuple[Degree, ...], voices: int) -> tuple[Stack, ...]:
    root, fifth = pair[0], pair[-1]
    if root == fifth:
        return (((root, root), "octaves", 0.0),)
    return (
        ((root, fifth), "root and fifth", 0.0 if voices < 3 else 0.3),
        ((root, fifth, root), "root, fifth and octave", 0.0 if voices > 2 else 0.3),
        ((fifth, root), "fifth below the root", 3.0),
        ((fifth, root, fifth), "fifth, root and fifth", 3.2),
    )
