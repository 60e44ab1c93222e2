"""The key of a melody, and the keys that it visits.

*Conventions*: a profile says how well each step of a key (0 to 11 semitones above the tonic) fits it; a melody's own
profile adds up lengths. Keys are ranked by correlation. A visit is a stretch of bars whose notes another key holds
better.

*Sources*: probe-tone profiles of Krumhansl and Kessler 1982 (values from memory); that a tune ends on its tonic and
begins on a note of its chord is common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from backing.ground.pitch import Key, NoteName
from backing.harmonising.melody import Melody, TuneNote
from backing.harmony.scales import key_pitch_classes
from backing.harmony.spelling import spellings

MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
LAST_ON_TONIC = 0.2  # added to a correlation
LAST_IN_TRIAD = 0.08
FIRST_ON_TONIC = 0.2  # the first note from the first bar line on
FIRST_IN_TRIAD = 0.1
OUTSIDE = 1.0  # for the share of the tune that lies outside the key
LEAVING = 1.5  # cost of changing the key, in quarters of foreign notes
AT_HOME = 0.15  # a quarter in a foreign key costs so much even where every note fits


def ranked_keys(melody: Melody) -> list[tuple[Key, float]]:
    """The 24 keys with their fit (a correlation, and what the ends and the notes outside say), best first.

    A melody without notes is in C major.
    """
    notes = melody.notes
    if not notes:
        return [(Key(NoteName("C")), 0.0)]
    lengths = [0.0] * 12
    for note in notes:
        lengths[note.pitch.midi % 12] += float(note.length_q)
    last = notes[-1].pitch.midi % 12
    first = next((n for n in notes if n.start_q >= 0), notes[0]).pitch.midi % 12
    found = []
    for above in range(
        12
    ):  # from the last note up, so that a tune moved to another key is ranked alike
        tonic = (last + above) % 12
        for minor, profile in ((False, MAJOR), (True, MINOR)):
            fit = _correlation([lengths[(tonic + i) % 12] for i in range(12)], profile)
            if above == 0:
                fit += LAST_ON_TONIC
            elif (last - tonic) % 12 in ((3, 7) if minor else (4, 7)):
                fit += LAST_IN_TRIAD
            if first == tonic:
                fit += FIRST_ON_TONIC
            elif (first - tonic) % 12 in ((3, 7) if minor else (4, 7)):
                fit += FIRST_IN_TRIAD
            key = _spelled(tonic, minor, notes)
            inside = key_pitch_classes(key)
            fit -= OUTSIDE * sum(lengths[pc] for pc in range(12) if pc not in inside) / sum(lengths)
            found.append((key, fit))
    return sorted(found, key=lambda row: -row[1])


def _correlation(one: Sequence[float], other: Sequence[float]) -> float:
    """Pearson's correlation; 0 where one side does not vary."""
    a, b = sum(one) / len(one), sum(other) / len(other)
    top = sum((x - a) * (y - b) for x, y in zip(one, other, strict=True))
    below = sum((x - a) ** 2 for x in one) * sum((y - b) ** 2 for y in other)
    return top / below**0.5 if below > 0 else 0.0


def _spelled(pc: int, minor: bool, notes: Sequence[TuneNote]) -> Key:
    """The key on a pitch class as the tune spells it, else with the fewest accidentals."""
    used = {n.pitch.note for n in notes}
    choices = [Key(n, minor) for n in spellings(pc) if abs(Key(n, minor).fifths) <= 7]
    return min(choices, key=lambda k: (k.tonic not in used, abs(k.fifths)))


def key_path(melody: Melody, home: Key) -> list[Key]:
    """The key of every bar: home, or a near key that the tune visits (dynamic programming over the bars)."""
    keys = [home, *(k for k in _near(home) if k != home)]
    costs = [0.0 if k == home else LEAVING for k in keys]
    trace: list[list[int]] = []
    for bar in melody.bars:
        cheapest = min(range(len(keys)), key=costs.__getitem__)
        leap = costs[cheapest] + LEAVING
        back = [i if costs[i] <= leap else cheapest for i in range(len(keys))]
        trace.append(back)
        notes = melody.between(bar.start_q, bar.start_q + bar.length_q)
        costs = [
            min(c, leap)
            + _foreign(notes, key, bar.start_q)
            + (0.0 if key == home else AT_HOME * float(bar.length_q))
            for c, key in zip(costs, keys, strict=True)
        ]
    costs = [c if k == home else c + LEAVING for c, k in zip(costs, keys, strict=True)]
    at = min(range(len(keys)), key=costs.__getitem__)
    path = []
    for back in reversed(trace):
        path.append(keys[at])
        at = back[at]
    return path[::-1]


def _near(home: Key) -> list[Key]:
    """Keys at most three signs from home; one with more than seven accidentals is spelled the other way."""
    found = []
    for more in (0, 1, -1, 2, -2, -3, 3):
        for minor in (False, True):
            fifths = home.fifths + more
            fifths -= 12 if fifths > 7 else -12 if fifths < -7 else 0
            place = fifths + (3 if minor else 0) + 1  # on the line of fifths from F
            found.append(Key(NoteName("FCGDAEB"[place % 7], place // 7), minor))
    return found


def _foreign(notes: Sequence[TuneNote], key: Key, since: Fraction) -> float:
    inside = key_pitch_classes(key)
    return float(
        sum(
            (min(n.length_q, n.end_q - since) for n in notes if n.pitch.midi % 12 not in inside),
            Fraction(0),
        )
    )
