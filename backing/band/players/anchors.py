"""The skeleton of a bass line: stretches of one chord, and the note that each begins on.

Conventions: a *stretch* is a piece of a bar under one chord, within one zone; a chord that comes early begins its stretch
early and runs over the bar line. Its anchor is the root or written bass wherever a new chord begins; in a walking line
a bar that goes on under the same chord may begin on another chord tone. Registers are found as the best path over the
section from a fixed home, so that a bass written stepwise moves by step.
Sources: root on the first beat of a new chord, a written bass always (common practice); ranges in `instruments`.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from backing.band.players.common import Brief, Change, Zone, ZoneKind
from backing.band.players.tones import Tones, tones
from backing.band.players.walking import LIKED, move_cost, routes
from backing.ground.timebase import EIGHTH

HOME = 38  # D2, where a line begins
UNDER_FIFTHS = 29  # F1, where it lies under a guitar that plays fifths on its low strings
UNDER_STRUMMING = 34  # where it lies under a guitar that strums all its strings
_STAYS = {
    0: 0.0,
    12: 2.4,
}  # a figure that is told by degree keeps its register while its root stays
_REST_TONES = ((0, 0.0), (5, 0.35), (3, 0.45), (7, 0.9))  # step of the chord and points, 0 its bass


OCTAVE = 12
BORDER = 2.0  # points for a section that begins out of the octave in which it is expected
AGAIN = 0.6  # points for one beat's root again under a new chord (D7sus4 D7)
FOLDED = 2.0  # points for a figure whose top does not fit, so that notes of it are folded down
TAIL = (
    5.0  # points at most for the way from a figure's last note, which may be told in another octave
)
FOLDED_BELOW = 0.6  # a fifth below that is played above instead is heard every day


class Contour(NamedTuple):
    """The lowest, highest and last note of a figure, in semitones from its anchor.

    `octaves` is true where it leaps up to the octave again and again.
    """

    lowest: int
    highest: int
    last: int
    octaves: bool = False


class Stretch(NamedTuple):
    """One chord from `start_q` to `end_q` within bar `bar` (index into the brief's bars).

    `way` is the algorithm, or "struck". `slots` are the places of a walking line, the first one `start_q`; `strong` has
    an entry for each slot after the first. `fresh` is true where the chord is new. `begun` is true where a chord that came early was struck in the section before.
    """

    start_q: Fraction
    end_q: Fraction
    bar: int
    change: Change
    tones: Tones
    way: str
    fresh: bool
    begun: bool
    slots: tuple[Fraction, ...]
    strong: tuple[bool, ...]

    @property
    def walks(self) -> bool:
        return self.way in ("walking", "two-feel")


def stretches(
    brief: Brief, ways: Sequence[str], slots: Sequence[Sequence[tuple[Fraction, bool]]]
) -> list[Stretch]:
    """The stretches of a section in order; silence and N.C. have none.

    `ways` names each bar's algorithm, `slots` the places of each bar (in quarters of the piece) with whether they are
    strong.
    """
    bar_starts = [b.start_q for b in brief.bars]
    found: list[Stretch] = []
    before: Change | None = None
    changes = _struck_ahead(brief)
    after = [*changes[1:], brief.ahead]
    coming = {c.index: a.span.chord for c, a in zip(changes, after, strict=True) if a is not None}
    for zone in brief.zones:
        if zone.kind is ZoneKind.SILENT:
            continue
        for change in _within(changes, zone):
            start = max(zone.start_q, change.start_q)
            end = min(zone.end_q, change.end_q)
            chord = change.span.chord
            if chord is None or start >= end:
                before = change
                continue
            begins = max(
                change.span.start_q, start
            )  # the bar that a chord belongs to, early or not
            cuts = [start]
            cuts += bar_starts[bisect_right(bar_starts, begins) : bisect_left(bar_starts, end)]
            cuts.append(end)
            for left, right in pairwise(cuts):
                begins = max(left, change.span.start_q)
                number = max(0, bisect_right(bar_starts, begins) - 1)
                bar = brief.bars[number]
                new = left == start and not (
                    before is change
                    or (before is not None and (change.span.again or change.span.held))
                )
                inner = [s for s in slots[number] if begins < s[0] < right]
                found.append(
                    Stretch(
                        left, right, number, change, tones(chord, bar.key, coming.get(change.index), brief.colours.get(change.index, ())),
                        "struck" if zone.kind is ZoneKind.STRUCK else ways[number],
                        new or not found,
                        not found and change.span.push_q > 0 and change.span.sounds_q < left == change.span.start_q,
                        (left, *(s for s, _ in inner)), tuple(strong for _, strong in inner),
                    )
                )  # fmt: skip
            before = change
    return found


def _struck_ahead(brief: Brief) -> Sequence[Change]:
    """The changes of a section, each begun where the band strikes it ahead.

    A stroke of the whole band in the last eighth before a new chord, with none on the chord itself, plays the chord to
    come (what comping methods teach of the "and" of four); the bass goes with it.
    """
    changes = list(brief.changes)
    if brief.ahead is not None and brief.ahead.index != changes[-1].index:
        changes.append(brief.ahead._replace(end_q=brief.ahead.start_q))
    starts = [s.start_q for z in brief.zones for s in z.strokes]
    for index in range(1, len(changes)) if starts else ():
        change, before = changes[index], changes[index - 1]
        at = change.start_q
        here = bisect_left(starts, at)
        near = here > 0 and at - starts[here - 1] <= EIGHTH and starts[here - 1] > before.start_q
        taken = here < len(starts) and starts[here] == at
        new = change.span.chord is not None and not change.span.again and not change.span.held
        if near and new and not taken and change.span.push_q == 0:
            changes[index] = change._replace(start_q=starts[here - 1])
            changes[index - 1] = before._replace(end_q=starts[here - 1])
    if changes[-1].start_q == changes[-1].end_q:
        changes.pop()
    return changes


def _within(changes: Sequence[Change], zone: Zone) -> Sequence[Change]:
    first = bisect_right(changes, zone.start_q, key=_end)
    return changes[first : bisect_left(changes, zone.end_q, key=_start)]


def _start(change: Change) -> Fraction:
    return change.start_q


def _end(change: Change) -> Fraction:
    return change.end_q


def settle(
    brief: Brief,
    line: Sequence[Stretch],
    low: int,
    high: int,
    contours: Sequence[Contour | None] = (),
) -> tuple[list[int], int | None]:
    """The anchor of every stretch as a MIDI note, and the first note after the section (None when nothing follows).

    `contours` holds what is known of the figures over the stretches; nothing where it is empty. Raises nothing: a written bass outside the range is played an octave off.
    """
    if not line:
        return [], None
    shapes = contours or [None] * len(line)
    choices = [_candidates(brief, s, low, high, c) for s, c in zip(line, shapes, strict=True)]
    ahead = _ahead(brief, low, high)
    if ahead:
        choices.append(ahead)
    # state: note, and how often it has sounded running (no note comes three times)
    paths: list[dict[tuple[int, int], tuple[float, tuple[int, int] | None]]] = [
        {
            (pitch, 1): (cost + _from_home(pitch, low, home_of(brief)), None)
            for pitch, cost in choices[0]
        }
    ]
    for index in range(1, len(choices)):
        here, shape = line[index - 1], shapes[index - 1]
        new = index == len(line) or line[index].fresh
        reached: dict[tuple[int, int], tuple[float, tuple[int, int] | None]] = {}
        least = _least(here)
        ways = sorted((cost, state) for state, (cost, _) in paths[-1].items())
        for pitch, own in choices[index]:
            leads = new and pitch % 12 != here.tones.bass
            for cost, state in ways:
                run = state[1] + 1 if state[0] == pitch and len(here.slots) == 1 else 1
                there = (pitch, min(run, 3))
                if there in reached and cost + own + least >= reached[there][0]:
                    continue  # no way through the stretch could make up for it
                going = _going(here, state[0], pitch, low, high, leads, shape)
                total = cost + own + going + (4.0 if run > 2 and here.walks else 0.0)
                if there not in reached or total < reached[there][0]:
                    reached[there] = (total, state)
        paths.append(reached)
    at: tuple[int, int] | None = min(paths[-1], key=lambda state: (paths[-1][state][0], state))
    anchors: list[int] = []
    for reached in reversed(paths):
        if at is not None:
            anchors.append(at[0])
            at = reached[at][1]
    anchors.reverse()
    return (anchors[:-1], anchors[-1]) if ahead else (anchors, None)


def _going(
    here: Stretch, start: int, end: int, low: int, high: int, leads: bool, shape: Contour | None
) -> float:
    """Points for leading from one anchor to the next through the stretch between them.

    A figure leads on from its last note too.
    """
    free = len(here.slots) - 1
    if not here.walks or free == 0:
        size = abs(end - start)
        if here.walks and size == 0:
            return AGAIN
        if here.walks or size not in _STAYS:
            cost = move_cost(size)
            if shape is None:
                return cost
            last = start + shape.last
            last -= 12 if shape.last > 0 and start + shape.highest > high else 0  # folded
            return (cost + min(TAIL, move_cost(end - last))) / 2
        return _STAYS[size]
    best = routes(*route_key(here, start, end, low, high, leads))
    return best[0].cost if best else 12.0 + move_cost(end - start)


def _least(here: Stretch) -> float:
    """Points that `_going` never goes below: only a two-feel rewards what it likes."""
    return -LIKED * len(here.slots) if here.way == "two-feel" else 0.0


def route_key(
    here: Stretch, start: int, end: int, low: int, high: int, leads: bool
) -> tuple[int, int, int, int, tuple[bool, ...], int, int, bool, bool]:
    """What `routes` asks for."""
    t = here.tones
    leap = end - start
    down, up = max(0, -leap), max(0, leap)
    return (
        t.chord_rel, t.scale_rel, (start - t.root) % 12, leap, here.strong,
        min(start - low, down + 9), min(high - start, up + 9), here.way == "two-feel", leads,
    )  # fmt: skip


def _candidates(
    brief: Brief, stretch: Stretch, low: int, high: int, shape: Contour | None
) -> list[tuple[int, float]]:
    """Notes that may begin a stretch, with points."""
    t = stretch.tones
    options = [(t.bass, 0.0)]
    if not stretch.fresh and stretch.walks:
        # An octave lower or higher, or another chord tone: the chord has been stated.
        options = [(t.bass if s == 0 else (t.root + t.degrees[s]) % 12, c) for s, c in _REST_TONES]
        options = [(pc, c) for pc, c in options if t.chord_rel >> (pc - t.root) % 12 & 1]
    place = brief.place.at(stretch.bar, str(stretch.start_q))
    home = UNDER_STRUMMING if brief.style.strummed else home_of(brief)
    home += brief.led.bass_up if stretch.walks else 0
    found: dict[int, float] = {}
    for pc, cost in options:
        for pitch in _with_room(range(low + (pc - low) % 12, high + 1, 12), high, shape):
            chance = 0.5 * place.roll("register", pitch)
            cost_here = cost + 0.006 * (pitch - home - 2) ** 2 + chance
            if shape is not None:
                cost_here += FOLDED if pitch + shape.highest > high else 0.0
                cost_here += FOLDED_BELOW if pitch + shape.lowest < low else 0.0
            if pitch not in found or cost_here < found[pitch]:
                found[pitch] = cost_here
    return sorted(found.items())


def _with_room(pitches: Sequence[int], high: int, shape: Contour | None) -> Sequence[int]:
    """The pitches over which a figure in octaves has room; all where none has."""
    if shape is None or not shape.octaves or shape.highest < OCTAVE:
        return pitches
    return [pitch for pitch in pitches if pitch + OCTAVE <= high] or pitches


def _ahead(brief: Brief, low: int, high: int) -> list[tuple[int, float]]:
    """The first notes of what follows the section."""
    if brief.ahead is None or brief.ahead.span.chord is None:
        return []
    pc, home = brief.ahead.span.chord.lowest.pc, home_of(brief)
    return [
        (pitch, 0.006 * (pitch - home) ** 2 + _from_home(pitch, low, home))
        for pitch in range(low + (pc - low) % 12, high + 1, 12)
    ]


def home_of(brief: Brief) -> int:
    """Where a line begins and comes back to."""
    return UNDER_FIFTHS if brief.style.in_fifths else HOME


def _from_home(pitch: int, low: int, home: int) -> float:
    """Points for a section's first note: both sides of a border look for it in the octave around home."""
    inside = home - 6 <= pitch < home + 6 or low > home - 6
    return 0.09 * abs(pitch - home) + (0.0 if inside else BORDER)
