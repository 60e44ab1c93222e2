"""What chords do: key areas, dominants and their targets, passing chords, chords of the parallel key.

*Conventions*: a key area is a stretch of chords heard in one key, found as the cheapest path through the 24 keys:
foreign notes cost, a change of key costs, a dominant that reaches its tonic speaks for that key; the written key is where
the path begins and is favoured. Degrees are counted in the major scale of the area's tonic. N.C. has no function.

*Sources*: functional harmony of any textbook (common practice); the costs are chosen by ear.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from backing.ground.pitch import Degree, Key, NoteName
from backing.harmony.chord import Chord
from backing.harmony.scales import (
    MAJOR,
    MINOR,
    Scale,
    dominant_like,
    in_mode,
    minor_sounding,
    scale_for,
    steps_of,
)
from backing.harmony.spelling import note_in_key

TONIC = "tonic"
SUBDOMINANT = "subdominant"
DOMINANT = "dominant"
SECONDARY = "secondary dominant"
TRITONE = "tritone substitute"
BACKDOOR = "backdoor dominant"
RELATED_TWO = "related two"
PASSING = "passing diminished"
BORROWED = "borrowed"
CHROMATIC = "chromatic"

FOREIGN_COST = 0.6  # a note outside the key, for a chord of a bar of four
CHANGE_COST = 2.6
WRONG_MODE_COST = 0.8  # a major chord on the tonic of a minor key, or the reverse
WRITTEN_KEY_BONUS = 0.3
CADENCE_BONUS = 0.9  # a ii-V-I
HALF_CADENCE_BONUS = 0.45  # a V-I alone
NUMERALS = ("I", "II", "III", "IV", "V", "VI", "VII")
STEPS = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")  # by semitones


class Function(NamedTuple):
    """What one chord does.

    `key` is the area that it is heard in, `degree` its root there, `role` one of the names above, `target` the root
    that a dominant or diminished chord leads to (None for others), `resolves` whether the next chord is that target,
    `scale` the scale over it, `numeral` a Roman numeral ("V7/ii").
    """

    key: Key
    degree: Degree
    role: str
    target: NoteName | None
    resolves: bool
    scale: Scale
    numeral: str


def analyse(
    chords: Sequence[Chord | None], durations: Sequence[Fraction | float], key: Key
) -> tuple[Function | None, ...]:
    """One function a chord, None for N.C.; `durations` are quarters, `key` the written key."""
    keys = key_areas(chords, durations, key)
    out: list[Function | None] = []
    for place, chord in enumerate(chords):
        if chord is None:
            out.append(None)
            continue
        before = chords[place - 1] if place else None
        out.append(_function(chord, keys[place], _next(chords, place), before))
    return tuple(out)


def _next(chords: Sequence[Chord | None], place: int) -> Chord | None:
    """The chord after this one that differs from it; None before N.C. and at the end."""
    here = chords[place]
    for chord in chords[place + 1 : place + 9]:
        if chord is None:
            return None
        if chord is not here and chord != here:
            return chord
    return None


# -- key areas


def key_areas(
    chords: Sequence[Chord | None], durations: Sequence[Fraction | float], key: Key
) -> list[Key]:
    """The key that each chord is heard in."""
    written = key.tonic.pc + (12 if key.minor else 0)
    costs = [0.0 if n == written else CHANGE_COST for n in range(24)]
    trace: list[list[int]] = []
    cadences = _cadences(chords, key)
    for place, chord in enumerate(chords):
        cheapest = min(range(24), key=costs.__getitem__)
        leap = costs[cheapest] + CHANGE_COST
        back = [n if costs[n] <= leap else cheapest for n in range(24)]
        trace.append(back)
        costs = [min(c, leap) for c in costs]
        if chord is None:
            continue
        weight = min(1.25, max(0.4, float(durations[place]) / 4))
        foreign = list(_foreign(chord))
        if in_mode(chord, key):
            foreign[written] = min(foreign[written], 0.0)
        costs = [c + weight * f for c, f in zip(costs, foreign, strict=True)]
        costs[written] -= weight * WRITTEN_KEY_BONUS
        if place in cadences:
            state, bonus = cadences[place]
            costs[state] -= weight * bonus
    state = min(range(24), key=costs.__getitem__)
    states = []
    for back in reversed(trace):
        states.append(state)
        state = back[state]
    states.reverse()
    return [_key(state, key) for state in states]


@lru_cache(maxsize=64)
def _key(state: int, written: Key) -> Key:
    """A key area by number (0 to 11 major from C, 12 to 23 minor), spelled beside the written key."""
    pc, minor = state % 12, state >= 12
    if pc == written.tonic.pc and minor == written.minor:
        return written
    spelled = note_in_key(pc, written)
    if abs(Key(spelled, minor).fifths) > 7:
        return Key(note_in_key(pc, None), minor)
    return Key(spelled, minor)


@lru_cache(maxsize=4096)
def _foreign(chord: Chord) -> tuple[float, ...]:
    """What a chord costs in each of the 24 keys."""
    major, minor = _costs(chord.degrees, minor_sounding(chord), chord.family, dominant_like(chord))
    root = chord.root.pc
    return tuple([row[(root - tonic) % 12] for row in (major, minor) for tonic in range(12)])


@lru_cache(maxsize=1024)
def _costs(
    degrees: tuple[Degree, ...], low: bool, family: str, dominant: bool
) -> tuple[list[float], list[float]]:
    """Costs in major and in minor keys by the semitones of the root above the tonic."""
    rows: tuple[list[float], list[float]] = ([], [])
    notes = [d.semitones for d in degrees]
    for minor, scale in ((False, MAJOR), (True, MINOR)):
        for root in range(12):
            cost = FOREIGN_COST * len({(n + root) % 12 for n in notes} - scale)
            if root == 0 and family in ("major", "minor"):
                cost += -0.3 if minor == low else WRONG_MODE_COST
            if root == 0 and family == "dominant" and not minor:
                cost -= 0.2  # the seventh of a blues
            if root == 7 and dominant:
                cost -= 0.15
            rows[minor].append(cost)
    return rows


def _cadences(chords: Sequence[Chord | None], written: Key) -> dict[int, tuple[int, float]]:
    """Places that speak for a key and how loudly: the chords of every V-I, and of the ii before it.

    A minor chord that is itself the ii of what follows is no place of rest, and chords of a key in a mode lead nowhere.
    """
    found: dict[int, tuple[int, float]] = {}
    for place in range(1, len(chords)):
        five, one = chords[place - 1], chords[place]
        if five is None or one is None or not dominant_like(five):
            continue
        if (five.root.pc - one.root.pc) % 12 != 7 or dominant_like(one):
            continue
        if in_mode(five, written) and in_mode(one, written):
            continue
        after = chords[place + 1] if place + 1 < len(chords) else None
        if (
            minor_sounding(one)
            and after is not None
            and dominant_like(after)
            and (one.root.pc - after.root.pc) % 12 in (7, 1)
        ):
            continue
        key = one.root.pc + (12 if minor_sounding(one) else 0)
        two = chords[place - 2] if place > 1 else None
        if two is not None and minor_sounding(two) and (two.root.pc - one.root.pc) % 12 == 2:
            for chord in range(place - 2, place + 1):
                found[chord] = (key, CADENCE_BONUS)
        else:
            found[place - 1] = found[place] = (key, HALF_CADENCE_BONUS)
    return found


# -- one chord


@lru_cache(maxsize=16384)
def _function(chord: Chord, key: Key, after: Chord | None, before: Chord | None) -> Function:
    semitones = (chord.root.pc - key.tonic.pc) % 12
    degree = Degree.parse(STEPS[semitones])
    role, target = _role(chord, key, semitones, after, before)
    resolves = target is not None and after is not None and after.root.pc == target.pc
    return Function(
        key,
        degree,
        role,
        target,
        resolves,
        scale_for(chord, key, after),
        _numeral(chord, key, degree, role, target, after),
    )


def _role(
    chord: Chord, key: Key, semitones: int, after: Chord | None, before: Chord | None
) -> tuple[str, NoteName | None]:
    down = (chord.root.pc - after.root.pc) % 12 if after else -1
    if in_mode(chord, key):
        return MODAL.get(semitones, CHROMATIC), None
    if dominant_like(chord) and not (semitones in (0, 5) and down != 7 and not key.minor):
        return _dominant(chord, key, semitones, down, after)
    if chord.family == "diminished":
        if after is not None and down in (11, 1, 0):
            return PASSING, after.root
        if semitones == 11:
            return DOMINANT, key.tonic
        if before is not None and (chord.root.pc - before.root.pc) % 12 in (1, 11, 0):
            return PASSING, after.root if after else None
        return CHROMATIC, None
    if minor_sounding(chord) and after is not None and down == 7 and dominant_like(after):
        return (SUBDOMINANT if semitones == 2 else RELATED_TWO), None
    return _plain(chord, key, semitones), None


def _dominant(
    chord: Chord, key: Key, semitones: int, down: int, after: Chord | None
) -> tuple[str, NoteName | None]:
    if after is not None and down == 7:
        return (DOMINANT if semitones == 7 else SECONDARY), after.root
    if after is not None and down == 1:
        return TRITONE, after.root
    if semitones == 7:
        return DOMINANT, key.tonic
    if semitones == 1:
        return TRITONE, key.tonic
    if semitones == 10:
        return (SUBDOMINANT if key.minor else BACKDOOR), key.tonic
    aim = (semitones + 5) % 12
    if aim in steps_of(key.minor, key.mode):
        return SECONDARY, note_in_key((key.tonic.pc + aim) % 12, key)
    return CHROMATIC, None


# Roles of triads and of chords with major or no seventh, by semitones above the tonic.
MAJOR_KEY = {
    0: TONIC, 2: SUBDOMINANT, 4: TONIC, 5: SUBDOMINANT, 7: DOMINANT, 9: TONIC, 11: DOMINANT,
}  # fmt: skip
MINOR_KEY = {
    0: TONIC, 2: SUBDOMINANT, 3: TONIC, 5: SUBDOMINANT, 7: DOMINANT, 8: SUBDOMINANT,
    10: SUBDOMINANT, 11: DOMINANT,
}  # fmt: skip
# In a mode every step of its scale has a role of its own; the seventh step leads to the tonic where it is a semitone
# below and rests beside it where it is a tone below (common practice).
MODAL = MAJOR_KEY | MINOR_KEY | {1: SUBDOMINANT, 6: SUBDOMINANT}


def _plain(chord: Chord, key: Key, semitones: int) -> str:
    relative = {(pc - key.tonic.pc) % 12 for pc in chord.pitch_classes}
    blues = chord.family in ("dominant", "suspended") and semitones in (0, 5)
    if relative <= steps_of(key.minor, "") or blues:
        return (MINOR_KEY if key.minor else MAJOR_KEY).get(semitones, CHROMATIC)
    if relative <= (MAJOR if key.minor else MINOR):
        return BORROWED
    third = 3 if minor_sounding(chord) else 4
    if (semitones + third) % 12 in steps_of(key.minor, "") and semitones in (
        MINOR_KEY if key.minor else MAJOR_KEY
    ):
        return (MINOR_KEY if key.minor else MAJOR_KEY)[
            semitones
        ]  # a colour is foreign, not the chord
    return BORROWED if not key.minor and (semitones + third) % 12 in MINOR else CHROMATIC


def _numeral(
    chord: Chord, key: Key, degree: Degree, role: str, target: NoteName | None, after: Chord | None
) -> str:
    seventh = "7" if dominant_like(chord) else ""
    if target is not None and role in (SECONDARY, TRITONE, PASSING):
        aim = Degree.parse(STEPS[(target.pc - key.tonic.pc) % 12])
        low = after is not None and after.root.pc == target.pc and minor_sounding(after)
        if after is None or after.root.pc != target.pc:
            low = not key.minor and aim.name in ("2", "3", "6")
        goal = _roman(aim, low)
        if role == PASSING:
            leading = (target.pc - chord.root.pc) % 12 == 1
            return f"vii°/{goal}" if leading else f"{_roman(degree, True)}°"
        start = "V" if role == SECONDARY else "bII"
        return f"{start}7" if goal.upper() == "I" else f"{start}7/{goal}"
    sign = {"half-diminished": "ø", "diminished": "°", "augmented": "+"}.get(chord.family, "")
    return _roman(degree, minor_sounding(chord)) + sign + seventh


def _roman(degree: Degree, low: bool) -> str:
    numeral = NUMERALS[degree.number - 1]
    return degree.name[: -len(str(degree.number))] + (numeral.lower() if low else numeral)
