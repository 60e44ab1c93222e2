"""The table of chord qualities, and what follows from a set of degrees: name, family, what must sound, what to omit.

*Conventions*: a quality is a set of spelled degrees; semitones are derived. The same degrees always have the same name,
however they were typed. Sets that are not in the table are named after the nearest stack, with what differs in
brackets: `7(b9,add11)`.

*Sources*: degrees of the MusicXML 4.0 harmony kinds and of Harte et al. 2005; names, what must sound and what is left
out are common practice (full theoretical set, omission when voicing; the third leaves a dominant or major eleventh,
the eleventh leaves a thirteenth over a major third, the perfect fifth leaves a chord with b13).
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from backing.ground.pitch import Degree

# Name and degrees, one quality a line. A star marks stacks: those from which other sets are named.
# Sources: MusicXML 4.0 kinds (33 kinds, those with notes); Harte et al. 2005 shorthands; else common practice.
TABLE = """
*           | 1 3 5
*m          | 1 b3 5
*+          | 1 3 #5
*dim        | 1 b3 b5
(b5)        | 1 3 b5
m#5         | 1 b3 #5
*sus4       | 1 4 5
*sus2       | 1 2 5
*sus24      | 1 2 4 5
*5          | 1 5
no5         | 1 3
mno5        | 1 b3
*6          | 1 3 5 6
*m6         | 1 b3 5 6
mb6         | 1 b3 5 b6
*6/9        | 1 3 5 6 9
*m6/9       | 1 b3 5 6 9
6/9#11      | 1 3 5 6 9 #11
6sus4       | 1 4 5 6
add9        | 1 3 5 9
madd9       | 1 b3 5 9
addb9       | 1 3 5 b9
add11       | 1 3 5 11
madd11      | 1 b3 5 11
add#11      | 1 3 5 #11
+add9       | 1 3 #5 9
sus4add9    | 1 4 5 9
add9no3     | 1 5 9
*7          | 1 3 5 b7
*maj7       | 1 3 5 7
*m7         | 1 b3 5 b7
*mMaj7      | 1 b3 5 7
*m7b5       | 1 b3 b5 b7
*dim7       | 1 b3 b5 bb7
*dim(maj7)  | 1 b3 b5 7
7#5         | 1 3 #5 b7
7b5         | 1 3 b5 b7
maj7#5      | 1 3 #5 7
maj7b5      | 1 3 b5 7
m7#5        | 1 b3 #5 b7
7no5        | 1 3 b7
7no3        | 1 5 b7
*7sus4      | 1 4 5 b7
*7sus2      | 1 2 5 b7
*7sus24     | 1 2 4 5 b7
*9sus4      | 1 4 5 b7 9
*13sus4     | 1 4 5 b7 9 13
7sus4b9     | 1 4 5 b7 b9
13sus4b9    | 1 4 5 b7 b9 13
*maj7sus4   | 1 4 5 7
*maj7sus2   | 1 2 5 7
*maj7sus24  | 1 2 4 5 7
*maj9sus4   | 1 4 5 7 9
7sus4add3   | 1 3 4 5 b7
*9          | 1 3 5 b7 9
*maj9       | 1 3 5 7 9
*m9         | 1 b3 5 b7 9
*mMaj9      | 1 b3 5 7 9
9#5         | 1 3 #5 b7 9
9b5         | 1 3 b5 b7 9
maj9#5      | 1 3 #5 7 9
m9b5        | 1 b3 b5 b7 9
*dim9       | 1 b3 b5 bb7 9
7b9         | 1 3 5 b7 b9
7#9         | 1 3 5 b7 #9
7b9#9       | 1 3 5 b7 b9 #9
m7b9        | 1 b3 5 b7 b9
m7b5b9      | 1 b3 b5 b7 b9
maj7#9      | 1 3 5 7 #9
*11         | 1 3 5 b7 9 11
*maj11      | 1 3 5 7 9 11
*m11        | 1 b3 5 b7 9 11
*mMaj11     | 1 b3 5 7 9 11
*dim11      | 1 b3 b5 bb7 9 11
m11b5       | 1 b3 b5 b7 9 11
11b9        | 1 3 5 b7 b9 11
m7add11     | 1 b3 5 b7 11
7#11        | 1 3 5 b7 #11
9#11        | 1 3 5 b7 9 #11
maj7#11     | 1 3 5 7 #11
maj9#11     | 1 3 5 7 9 #11
7b9#11      | 1 3 5 b7 b9 #11
7#9#11      | 1 3 5 b7 #9 #11
*13         | 1 3 5 b7 9 11 13
*maj13      | 1 3 5 7 9 11 13
*m13        | 1 b3 5 b7 9 11 13
*mMaj13     | 1 b3 5 7 9 11 13
7(9,13)     | 1 3 5 b7 9 13
7add13      | 1 3 5 b7 13
maj7add13   | 1 3 5 7 13
13#11       | 1 3 5 b7 9 #11 13
maj13#11    | 1 3 5 7 9 #11 13
13b9        | 1 3 5 b7 b9 11 13
13#9        | 1 3 5 b7 #9 11 13
13b9#11     | 1 3 5 b7 b9 #11 13
13b5        | 1 3 b5 b7 9 11 13
7b13        | 1 3 5 b7 b13
9b13        | 1 3 5 b7 9 b13
7b9b13      | 1 3 5 b7 b9 b13
7#9b13      | 1 3 5 b7 #9 b13
7b9#11b13   | 1 3 5 b7 b9 #11 b13
7b5b9       | 1 3 b5 b7 b9
7b5#9       | 1 3 b5 b7 #9
7#5b9       | 1 3 #5 b7 b9
7#5#9       | 1 3 #5 b7 #9
7b5#5       | 1 3 b5 #5 b7
7alt        | 1 3 b5 #5 b7 b9 #9
"""

ROWS: tuple[tuple[str, frozenset[str], bool], ...] = tuple(
    (name.strip().removeprefix("*"), frozenset(row.split()), name.startswith("*"))
    for name, row in (line.split("|") for line in TABLE.strip("\n").splitlines())
)
NAMES = {row: name for name, row, _ in ROWS}
ALTERED = frozenset(["1", "3", "b5", "#5", "b7", "b9", "#9"])
ORDER = {
    d: (Degree.parse(d).number, Degree.parse(d).alter)
    for d in [
        "1",
        "2",
        "b3",
        "3",
        "4",
        "b5",
        "5",
        "#5",
        "b6",
        "6",
        "bb7",
        "b7",
        "7",
        "b9",
        "9",
        "#9",
        "11",
        "#11",
        "b13",
        "13",
    ]
}


class Quality(NamedTuple):
    """Everything about a chord but its root and bass; see `Chord`."""

    name: str
    family: str
    degrees: tuple[Degree, ...]
    must_sound: tuple[Degree, ...]
    omit: tuple[Degree, ...]
    any_of: tuple[tuple[Degree, ...], ...]


@lru_cache(maxsize=4096)
def quality(degrees: frozenset[str]) -> Quality:
    """The quality that holds these degrees, by name ("b7"). Raises KeyError for a degree that no chord has."""
    omit = omitted(degrees)
    either: tuple[str, ...] = ("b5 #5", "b9 #9") if degrees == ALTERED else ()
    return Quality(
        NAMES[degrees] if degrees in NAMES else composed(degrees),
        family(degrees),
        _in_order(degrees),
        _in_order(required(degrees) - omit),
        _in_order(omit),
        tuple(_in_order(frozenset(group.split())) for group in either),
    )


def _in_order(names: frozenset[str]) -> tuple[Degree, ...]:
    return tuple([Degree.parse(d) for d in sorted(names, key=ORDER.__getitem__)])


def family(degrees: frozenset[str]) -> str:
    """The broad kind; `power` is root and fifth alone."""
    flat_five = "b5" in degrees and "5" not in degrees
    if "4" in degrees or "2" in degrees:
        return "suspended"
    if "b3" in degrees:
        if not flat_five:
            return "minor"
        return "half-diminished" if "b7" in degrees else "diminished"
    if "b7" in degrees:
        return "dominant"
    if "3" in degrees:
        return "augmented" if "#5" in degrees and "5" not in degrees else "major"
    if degrees == {"1", "5"}:
        return "power"
    return "major" if degrees & {"6", "7"} else "suspended"


def omitted(degrees: frozenset[str]) -> frozenset[str]:
    """What is left out by convention when voicing."""
    out = set()
    ninth = degrees & {"b9", "9", "#9"}
    if "11" in degrees and "3" in degrees and ninth:
        out.add("11" if "13" in degrees else "3")
    if "b13" in degrees and "5" in degrees:
        out.add("5")
    return frozenset(out)


def required(degrees: frozenset[str]) -> frozenset[str]:
    """What some player must sound: all but the root and what a fuller chord can spare.

    A perfect fifth is needed only in a triad or where nothing else stands for the third. A natural ninth may be spared
    under a thirteenth that is stacked or suspended, under the eleventh of a minor chord, and between 6 and #11; a
    natural eleventh under a stacked thirteenth. An altered dominant needs 3 and b7, and one of each altered pair.
    """
    if degrees == ALTERED:
        return frozenset({"3", "b7"})
    need = set(degrees - {"1", "5"})
    ninth = degrees & {"b9", "9", "#9"}
    stacked = "13" in degrees and bool(degrees & {"11", "#11", "4"}) and bool(ninth)
    if "5" in degrees and (len(degrees) <= 3 or not degrees & {"3", "b3", "2", "4", "11"}):
        need.add("5")
    if stacked or {"b3", "11"} <= degrees or {"6", "#11"} <= degrees:
        need.discard("9")
    if stacked:
        need.discard("11")
    return frozenset(need)


def composed(degrees: frozenset[str]) -> str:
    """A name for a set outside the table: the nearest stack, then what differs, in brackets."""
    best: tuple[int, int, str] | None = None
    for stack, base, is_stack in ROWS:
        if not is_stack:
            continue
        items = _difference(stack, base, degrees)
        if items is None:
            continue
        name = f"{stack}({','.join(items)})"
        rank = (len(items), len(name), name)
        if best is None or rank < best:
            best = rank
    if best is None:
        raise KeyError(" ".join(sorted(degrees)))
    return best[2]


def _difference(stack: str, base: frozenset[str], degrees: frozenset[str]) -> list[str] | None:
    """What to write after a stack to get these degrees, or None where it cannot be written."""
    extra, missing = degrees - base, base - degrees
    plain = bool(
        base & {"6", "b7", "7", "bb7"}
    )  # `b9` alone adds itself; on a triad it must say `add`
    top = max(ORDER[d][0] for d in base)
    items: list[str] = []
    for degree in sorted(extra, key=ORDER.__getitem__):
        if degree in ("b5", "#5"):
            if "5" in degrees or ("5" not in base and stack != "m7b5"):
                return None
            items.append(degree)
        elif degree == "3" and "4" in base:
            items.append("add3")
        elif degree in ("b9", "#9", "#11", "b13"):
            if degree.lstrip("b#") in degrees and degree.lstrip("b#") in base:
                return None
            items.append(degree if plain else f"add{degree}")
        elif degree in ("6", "b6", "9", "11", "13"):
            if degree == "6" and base & {"b7", "7", "bb7"}:
                return None
            items.append(f"add{degree}")
        else:
            return None
    for degree in sorted(missing, key=ORDER.__getitem__):
        number = degree.lstrip("b#")
        if extra & {f"b{number}", f"#{number}"}:
            if number in ("9", "11", "13") and ORDER[degree][0] == top:
                return None
            continue
        if number in ("3", "5") or (number in ("9", "11") and ORDER[degree][0] < top):
            items.append(f"no{number}")
        else:
            return None
    return items
