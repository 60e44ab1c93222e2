"""Runs of a guitar: lines by degree on any string within reach of the hand, hammered on, pulled off and slid.

The root of a run is the lowest one under the grip, an octave higher where the style keeps the guitar high; strings and
frets are the easiest way along the neck from where the hand stands. A note that is hammered on, pulled off or slid into
lies on the string of the note before, and is not struck again: it sounds softer, and the note before ends where it
begins. A slide passes the frets between, as a fretted string does; so no pitch bend moves the strings that ring on.

Conventions: strings count from 1 (highest) to 6, frets above the nut or capo. Source: common practice of flat-picking.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise, product

from backing.band.model import Kind, Note
from backing.band.players.common import Brief
from backing.band.players.fretting import Held, register
from backing.band.players.melodic import Figure, Sung, figures, melodic, sung
from backing.band.players.rhythm import Event
from backing.band.players.touch import sounding_end, velocity
from backing.harmony.grip import HIGHEST_FRET, OPEN_FRETS, Grip, reach
from backing.harmony.search import best_path
from backing.styles.marks import SLURS

Stops = tuple[tuple[int, int], ...]  # string and fret of what sounds together, lowest string first

STRETCHED, OUTSIDE = 0.3, 0.7  # points a note beside the hand, and for each fret beyond that
OPEN_HIGH = 1.5  # against an open string while the hand is up the neck
UP_THE_NECK = 0.05  # points a fret
CROSSED = 0.15  # points a string between one note and the next
NEAR_Q = Fraction(1)  # up to which one note leads to the next; after more the hand is free
SPREAD = 0.1  # points a fret, squared, between strings that are stopped together
TORN = 20.0  # against a slur that its string does not have
WIDEST_SLUR = 5  # frets that a finger hammers or pulls over; a slide goes further
WIDEST_SLIDE = 9
SOFTER = 12  # of velocity, for a note that is not struck
SLIDE_S = 0.028  # a fret of a slide
SLID_FROM = 2  # frets below, for a slide without a note before it
CHUCK_Q = Fraction(1, 12)  # what is heard of a dead note
_TICK = 960  # of a quarter: places of passing frets are rounded to it


def run_notes(brief: Brief, events: Sequence[Event], held: Mapping[int, Held]) -> list[Note]:
    """The notes of the guitar's lines by degree."""
    found = figures(brief, [e for e in melodic(events) if e.change.index in held])
    if not found:
        return []
    grips = [held[figure.events[0].change.index].grip for figure in found]
    where = [_root(brief, f, grip) for f, grip in zip(found, grips, strict=True)]
    low, high = register(brief)
    low = max(low, grips[0].tuning[0])
    high = min(high, grips[0].tuning[-1] + HIGHEST_FRET)
    line = _with_dead(sung(brief, found, where, low, high))
    stops = _stopped(line, [held[note.event.change.index].grip for note in line])
    made: list[Note] = []
    for i, (note, here) in enumerate(zip(line, stops, strict=True)):
        before = (line[i - 1], stops[i - 1]) if i else None
        made += _played(brief, note, here, before, made)
    return made


def _root(brief: Brief, figure: Figure, grip: Grip) -> int:
    """The lowest root at or under the grip from which the figure can be played."""
    low, high = register(brief)
    low = max(low, grip.tuning[0])
    root = grip.pitches[0] - (grip.pitches[0] - figure.root_pc) % 12
    while root + figure.lowest < low:
        root += 12
    while root + figure.highest > high and root - 12 + figure.lowest >= low:
        root -= 12
    return root


def _with_dead(line: Sequence[Sung]) -> list[Sung]:
    """Dead notes take the place of the note before them."""
    made: list[Sung] = []
    for note in line:
        if not note.pitches:
            last = made[-1] if made else None
            pitches = last.pitches if last else (next(n.pitches for n in line if n.pitches),)[0]
            note = note._replace(pitches=pitches, degrees=("",) * len(pitches))
        made.append(note)
    return made


def _stopped(line: Sequence[Sung], grips: Sequence[Grip]) -> list[Stops]:
    """Strings and frets of every stroke, the easiest way."""
    offers = [_ways(note.pitches, grip) for note, grip in zip(line, grips, strict=True)]
    nodes = [
        [sum(_reached(fret, grip) for _, fret in way) + _spread(way) for way in offer]
        for offer, grip in zip(offers, grips, strict=True)
    ]
    edges = []
    for (before, a), (note, b) in pairwise(zip(line, offers, strict=True)):
        slur = note.mark.slur if _joined(before, note) else ""
        apart = note.event.start_q - before.event.start_q > NEAR_Q
        edges.append([[0.0 if apart else _crossing(old, new, slur) for old in a] for new in b])
    return [offer[at] for offer, at in zip(offers, best_path(nodes, edges), strict=True)]


@lru_cache(maxsize=4096)
def _ways(pitches: tuple[int, ...], grip: Grip) -> tuple[Stops, ...]:
    """Where some pitches can be stopped together, each on a string of its own."""
    places = [
        [
            (6 - i, pitch - open_)
            for i, open_ in enumerate(grip.tuning)
            if 0 <= pitch - open_ <= HIGHEST_FRET
        ]
        for pitch in pitches
    ]
    found = [way for way in product(*places) if len({string for string, _ in way}) == len(pitches)]
    if not found:  # more than the neck has at once: the highest of them
        return _ways(pitches[-1:], grip)
    return tuple(found)


def _reached(fret: int, grip: Grip) -> float:
    """How far a fret lies from the hand that holds a grip."""
    if fret == 0:
        return 0.0 if grip.position <= OPEN_FRETS else OPEN_HIGH
    last = grip.position + reach(grip.position + grip.capo) - 1
    away = max(0, grip.position - fret, fret - last)
    return UP_THE_NECK * fret + (STRETCHED + OUTSIDE * (away - 1) if away else 0.0)


def _spread(way: Stops) -> float:
    """How far apart fingers stand that stop strings together."""
    held = [fret for _, fret in way if fret]
    return SPREAD * (max(held) - min(held)) ** 2 if held else 0.0


def _crossing(before: Stops, after: Stops, slur: str) -> float:
    cost = CROSSED * abs(before[-1][0] - after[-1][0])
    return cost + (TORN if slur and not _slurred(before, after, slur) else 0.0)


def _joined(before: Sung, note: Sung) -> bool:
    """Whether a note follows without a gap on the same line."""
    a, b = before.event, note.event
    return a.line == b.line and a.end_q == b.start_q and a.mark.rstrip("!") != "x"


def _slurred(before: Stops, after: Stops, slur: str) -> bool:
    """Whether the strings are the same, and every fret further up or down as a finger can do it."""
    if [s for s, _ in before] != [s for s, _ in after]:
        return False
    ways = [new - old for (_, old), (_, new) in zip(before, after, strict=True)]
    if slur == "h":
        return all(0 < way <= WIDEST_SLUR for way in ways)
    if slur == "p":
        return all(0 < -way <= WIDEST_SLUR for way in ways)
    return all(0 < abs(way) <= WIDEST_SLIDE for way in ways) and all(
        fret for _, fret in (*before, *after)
    )


def _played(
    brief: Brief,
    note: Sung,
    here: Stops,
    before: tuple[Sung, Stops] | None,
    made: list[Note],
) -> list[Note]:
    """The notes of a stroke, and the frets that a slide passes on the way to it."""
    event, slur = note.event, note.mark.slur
    old = before[1] if before and _joined(before[0], note) else None
    joined = bool(slur) and old is not None and _slurred(old, here, slur)
    slides = slur == "/" and (joined or old is None) and all(fret for _, fret in here)
    passed: list[Note] = []
    kind, words, loud = Kind.LINE, "", velocity(event)
    if joined or slides:
        kind = {"h": Kind.HAMMERED, "p": Kind.PULLED, "/": Kind.SLID}[slur]
        words, loud = f", {SLURS[slur]}", max(1, loud - SOFTER)
    dead = event.mark.rstrip("!") == "x"
    why = note.why.also(", dead note" if dead else words)
    why = why._replace(kind=Kind.DEAD if dead else kind)
    struck = []
    rows = list(zip(note.pitches, note.degrees, strict=True))[-len(here) :]
    for (pitch, degree), (string, fret) in zip(rows, here, strict=True):
        end = min(event.end_q, event.start_q + CHUCK_Q) if dead else sounding_end(event, pitch)
        struck.append(
            Note(
                event.start_q, end, pitch, loud, why, degree, event.change.index, 0, 0.0,
                event.strict, string, fret,
            )
        )  # fmt: skip
    if slides:
        for new in struck:
            from_ = dict(old)[new.string] if joined and old else new.fret - SLID_FROM
            passed += _passing(brief, new, max(0, from_), joined, made)
    return [*passed, *struck]


def _passing(brief: Brief, new: Note, from_: int, joined: bool, made: list[Note]) -> list[Note]:
    """The frets from one note to the next, shortly before it; the note that they leave ends where they begin."""
    way = 1 if new.fret > from_ else -1
    frets = list(range(from_ + (way if joined else 0), new.fret, way))
    step_q = Fraction(round(SLIDE_S * brief.qpm / 60 * _TICK), _TICK)
    left = next((i for i, n in reversed(list(enumerate(made))) if n.string == new.string), None)
    room = new.start_q - brief.start_q
    if joined and left is not None:
        room = made[left].length_q / 2
    if not frets or step_q * len(frets) > room:
        frets = frets[len(frets) - int(room / step_q) :] if room >= step_q else []
    start = new.start_q - step_q * len(frets)
    if frets and joined and left is not None:
        made[left] = made[left]._replace(end_q=start)
    open_ = new.pitch - new.fret
    return [
        new._replace(
            start_q=start + step_q * i, end_q=start + step_q * (i + 1), pitch=open_ + fret, degree="", fret=fret,
            why=new.why.also(" over the frets"),
        )
        for i, fret in enumerate(frets)
    ]  # fmt: skip
