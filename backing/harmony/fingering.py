"""Which finger stops which string.

The rule: fingers go up with the fret, and on one fret with the string from low to high; a finger lies a fret from its
neighbour where four fingers allow it. The first finger lies across (a barre) where there are more than four notes to
stop, and where the strings at the lowest fret are three or more neighbours, or neighbours up to the highest string
that sounds, with other notes above; never over an open string that sounds. Where notes are still left over, one
finger lies across neighbouring strings at the highest fret.

Conventions: frets as in `grip`; 0 is no finger, 1 the first finger to 4 the little one. Source: fingerings printed in
chord books (common practice); the test counts how often the rule gives the printed one.
"""

from __future__ import annotations

from collections.abc import Sequence

MOST = 4  # fingers; the thumb stays behind the neck


def fingering(frets: Sequence[int]) -> tuple[int, ...] | None:
    """A finger a string; None where four fingers do not suffice.

    >>> fingering((1, 3, 3, 2, 1, 1)), fingering((-1, 3, 2, 0, 1, 0)), fingering((-1, 3, 2, 3, 3, 3))
    ((1, 3, 4, 2, 1, 1), (0, 3, 2, 0, 1, 0), (0, 2, 1, 3, 3, 3))
    """
    stopped = sorted([(fret, string) for string, fret in enumerate(frets) if fret > 0])
    if not stopped:
        return (0,) * len(frets)
    groups = [[string] for _, string in stopped]
    across = _barre(frets)
    if across and (len(stopped) > MOST or _lies_well(frets, across)):
        groups = [across, *groups[len(across) :]]
    if len(groups) > MOST:
        groups = _with_second_barre(frets, groups)
    if len(groups) > MOST:
        return None
    fingers = _spread([frets[group[0]] for group in groups])
    found = [0] * len(frets)
    for finger, group in zip(fingers, groups, strict=True):
        for string in group:
            found[string] = finger
    return tuple(found)


def _barre(frets: Sequence[int]) -> list[int]:
    """The strings at the lowest fret where the first finger can lie over them."""
    lowest = min(f for f in frets if f > 0)
    strings = [i for i, f in enumerate(frets) if f == lowest]
    free = 0 not in frets[strings[0] : strings[-1] + 1]
    return strings if len(strings) > 1 and free else []


def _lies_well(frets: Sequence[int], strings: Sequence[int]) -> bool:
    """Whether a hand would rather lie a finger across than use one a string."""
    if strings[-1] - strings[0] + 1 > len(strings) or max(frets) == frets[strings[0]]:
        return False
    highest = max(i for i, f in enumerate(frets) if f >= 0)
    return len(strings) > 2 or strings[-1] == highest


def _with_second_barre(frets: Sequence[int], groups: list[list[int]]) -> list[list[int]]:
    """One finger over the neighbours at the highest fret, from the highest string down."""
    shared = groups[-1]
    while len(groups) > 1:
        below = groups[-2]
        if below[-1] != shared[0] - 1 or frets[below[0]] != frets[shared[0]] or len(below) > 1:
            break
        shared = below + shared
        groups = [*groups[:-2], shared]
    return groups


def _spread(frets: Sequence[int]) -> list[int]:
    """Fingers for rising frets: as many frets from the first as fingers, drawn together where there are too many."""
    found: list[int] = []
    for place, fret in enumerate(frets):
        wanted = 1 + fret - frets[0]
        least = found[-1] + 1 if found else 1
        left = len(frets) - place - 1
        found.append(min(max(least, wanted), MOST - left))
    return found
