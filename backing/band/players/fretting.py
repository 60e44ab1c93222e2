"""The grips of a guitar: what the hand holds for every chord of a section, found by a search.

The way of the hand, the voices and the top note together cost least.

Conventions: frets above the nut or capo; `open`, `power` and other families are those of `harmony.grips`. With a bass
player no string sounds below the bass where a grip allows it (common practice).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from backing.band.players.chordal import (
    MOVES_ON,
    NEAR_TIE,
    RESHAPED,
    RESTLESS,
    TOP_HELD,
    UNMOVED,
    Step,
    bar_of,
    families,
    steps,
)
from backing.band.players.common import Brief
from backing.band.players.listening import Beside, doubling
from backing.band.players.strings import on_string, strings_over
from backing.band.players.touch import unheard
from backing.band.tensions import planes
from backing.ground.pitch import Degree
from backing.ground.tunings import open_strings
from backing.harmony.capo import best_capo
from backing.harmony.families import VOICES
from backing.harmony.grip import HIGHEST_FRET, Grip, playable
from backing.harmony.grips import Grips, grips, shifts, typed
from backing.harmony.search import best_path, jitter
from backing.harmony.symbol import Chord

BURIED = 5.0  # against a grip whose third or seventh a strum over a high bass would leave out
OVER_MELODY = 1.0  # against a grip whose top lies over the melody
HIGH_FIFTH = (
    2.0  # points for a fifth above the two low strings, where the part would leap an octave
)
OUTSIDE = 4.0  # against every note outside the register that a style asks for
UNROCKED = 8.0  # against a grip from which a rocking hand cannot reach the sixth
LOW_DOWN = 0.5  # against every fret by which a rocking hand is up the neck
RAISED = {"6": 2, "b7": 3}  # frets from the fifth that it reaches for
STRETCHES = {
    "6": 2,
    "b7": 7,
}  # fret of the root from which two fingers on two strings stretch so far (common practice)
FULL_STRINGS = 2  # of a stroke that leaves out low strings


class Held(NamedTuple):
    """A chosen grip, what the hand does in words, and the colours that the band may add to the chord."""

    grip: Grip
    words: str
    colours: tuple[Degree, ...] = ()


def tuning(brief: Brief) -> tuple[int, ...]:
    """What the open strings sound without the capo."""
    return tuple(t + brief.timeline.tuned for t in open_strings(brief.timeline.tuning))


def capo_of(brief: Brief) -> int:
    """Where the capo is: the chart's, or where the style has the player look for open shapes."""
    timeline = brief.timeline
    if timeline.capo or brief.part.word("capo") == "off":
        return timeline.capo
    lengths: dict[Chord, float] = {}
    for span in timeline.chords:
        if span.chord is not None:
            lengths[span.chord] = lengths.get(span.chord, 0.0) + float(span.length_q)
    return best_capo(lengths, tuning(brief))


def drone_of(brief: Brief, bar: int) -> frozenset[int]:
    """The pitch classes whose open strings ring on in a bar of the section, by its key."""
    degrees = brief.part.word("drone").split()
    key = brief.bars[min(max(bar, 0), len(brief.bars) - 1)].key
    return frozenset((key.tonic.pc + Degree.parse(d).semitones) % 12 for d in degrees)


def hold(
    brief: Brief,
    under: Mapping[int, int] = MappingProxyType({}),
    beside: Beside = MappingProxyType({}),
) -> dict[int, Held]:
    """The grip for every change (by its index) and for the change after the section.

    `under` holds the highest bass note that sounds with strokes of a change, `beside` what others strike with them.
    """
    found = steps(brief)
    if not found:
        return {}
    family = families(brief.part)
    strings, capo = tuning(brief), capo_of(brief)
    rocking = rocks(brief)
    offers: list[Grips] = []
    nodes: list[list[float]] = []
    for step in found:
        kind = family[step.level]
        lowest = -(-step.bass // 3) * 3 if step.bass > strings[0] + capo else 0
        if kind in ("open", "power", "rhythm"):  # low strings too, down to the note of the bass
            lowest = step.bass_inside if lowest and kind == "power" else 0
        if kind == "power":  # too few strings to leave one out under an early stroke
            lowest = 0 if rocking else max(lowest, under.get(step.change.index, 0))
        added = () if kind in ("open", "power", "triads", "rhythm") else step.colours
        full = kind == "power" and step.level == "f" and not rocking  # with the octave
        drone = drone_of(brief, bar_of(brief, step.change))
        offer = _typed(brief, step, strings, capo) or grips(
            step.chord, added, kind, VOICES[kind] + full, strings, capo, lowest, drone
        )
        offers.append(offer)
        own = _own_costs(brief, step, kind, offer)
        if chords := beside.get(step.change.index):
            own = [c + doubling(g.pitches, chords) for c, g in zip(own, offer.grips, strict=True)]
        nodes.append(own)
    edges = []
    for a, b, last, step in zip(offers, offers[1:], found, found[1:], strict=False):
        strummed = family[step.level] in ("open", "power")
        top = 0.0 if step.fast or strummed else TOP_HELD * MOVES_ON if step.turns else TOP_HELD
        weight = 1.5 if step.fast else 1.0
        slides = planes(last.chord, step.chord) and not strummed
        edges.append(
            _edges(a, b, weight, step.restless, strummed, last.chord != step.chord, top, slides)
        )
    path = best_path(nodes, edges)
    made: dict[int, Held] = {}
    before: Grip | None = None
    for step, offer, at in zip(found, offers, path, strict=True):
        grip = offer.grips[at]
        drone = drone_of(brief, bar_of(brief, step.change))
        words = _words(before, grip) + _droning(grip, drone)
        made[step.change.index] = Held(grip, words, step.colours)
        before = grip
    return made


def _typed(brief: Brief, step: Step, strings: tuple[int, ...], capo: int) -> Grips | None:
    """The grip that is typed behind a chord, where the instrument goes so high."""
    frets = step.change.span.grip
    if not frets:
        return None
    found = typed(step.chord, frets, strings, capo)
    return found if max(found.grips[0].pitches) <= brief.part.instrument.high else None


def _own_costs(brief: Brief, step: Step, kind: str, offer: Grips) -> list[float]:
    """What each grip of a chord costs here, by itself."""
    place = (bar_of(brief, step.change), str(step.change.start_q - brief.start_q))
    settled = step.fast or kind in ("open", "power")  # a strumming hand takes the shape it knows
    near_tie = 0.1 if settled else NEAR_TIE
    chance = jitter(brief.place.roll("grip", *place), len(offer.grips), near_tie)
    buried = kind in ("open", "rhythm") and step.bass_inside > offer.grips[0].tuning[0]
    rocking, (low, high) = rocks(brief), register(brief)
    costs = []
    for grip, cost, roll in zip(offer.grips, offer.costs, chance, strict=True):
        own = cost + roll
        if rocking:  # the bass is far below, and the hand where the little finger has the least way
            own += LOW_DOWN * max(grip.frets)
            own += UNROCKED if _raised(step.chord, grip, "6") is None else 0.0
        elif kind == "power":
            own += HIGH_FIFTH * _on_fourth(grip)
        if buried:
            own += _buried(step.chord, grip, step.bass_inside)
        if step.melody and grip.pitches[-1] > min(step.melody):
            own += OVER_MELODY
        costs.append(own + OUTSIDE * sum(not low <= p <= high for p in grip.pitches))
    return costs


def _on_fourth(grip: Grip) -> bool:
    """Whether a fifth begins above the two lowest strings, on none that is open."""
    string, fret = next((i, f) for i, f in enumerate(grip.frets) if f >= 0)
    return string > 1 and fret > 0


def register(brief: Brief) -> tuple[int, int]:
    """Lowest and highest note: those of the part, where it narrows what its strings can play."""
    part = brief.part
    low = part.low if part.low > part.instrument.low else 0
    return low, part.high if part.high < part.instrument.high else 127


def rocks(brief: Brief) -> bool:
    """Whether the part rocks between fifth and sixth, a colour that plain playing leaves out."""
    return brief.part.flag("rocks") and brief.colour


@lru_cache(maxsize=4096)
def _buried(chord: Chord, grip: Grip, bass: int) -> float:
    """Against a grip of which what must sound lies under the bass, where a strum leaves strings out."""
    over = {on_string(grip, string)[1] for string in strings_over(grip, bass, FULL_STRINGS)}
    return BURIED if unheard(chord, over) else 0.0


@lru_cache(maxsize=1024)
def _raised(chord: Chord, grip: Grip, to: str) -> Grip | None:
    """Root and fifth with the fifth raised to the sixth or the flat seventh, where the chord has it and the hand reaches it.

    The root lies on the sixth, fifth or fourth string and the fifth on the next one, where the little finger reaches two
    frets up, and three from a root low on the neck; the seventh belongs to dominant chords (common practice of the shuffle).
    """
    names = {d.name for d in chord.degrees}
    if chord.family not in ("major", "dominant") or "5" not in names or {"b13", "b6"} & names:
        return None
    if to == "b7" and chord.family != "dominant":
        return None
    root = 6 - grip.strings[0]
    if (
        set(grip.degrees) != {"", "1", "5"}
        or root > 2
        or grip.degrees[root : root + 2] != ("1", "5")
    ):
        return None
    at = root + 1
    frets, degrees = list(grip.frets), list(grip.degrees)
    frets[at], degrees[at] = frets[at] + RAISED[to], to
    raised = Grip(tuple(frets), grip.tuning, tuple(degrees), f"root and {to}", grip.cost, grip.capo)
    low = frets[root] + grip.capo
    stretched = low >= STRETCHES[to] and frets[at] <= HIGHEST_FRET
    return raised if stretched or playable(frets, grip.capo) else None


def rocked(chord: Chord, chosen: Held, to: str) -> Held:
    """The hand as it is with the fifth raised to a degree, where it can be; a seventh out of reach is a fifth again."""
    grip = _raised(chord, chosen.grip, to)
    how = {"6": "rocking to the sixth", "b7": "reaching the flat seventh"}[to]
    return chosen if grip is None else chosen._replace(grip=grip, words=f"{chosen.words}, {how}")


@lru_cache(maxsize=2048)
def _edges(
    a: Grips,
    b: Grips,
    weight: float,
    restless: bool,
    strummed: bool,
    changes: bool,
    held: float,
    slides: bool,
) -> tuple[tuple[float, ...], ...]:
    """`shifts`, weighed, with what `chordal` says against a chord that stays, a top note that never moves, and another
    shape where a chord `slides` by a half step.
    """
    made = [[weight * cost for cost in column] for column in shifts(a, b, strummed)]
    if restless and not strummed and a is b:
        for i, column in enumerate(made):
            column[i] += RESTLESS
    if changes and not strummed:
        for after, column in zip(b.grips, made, strict=True):
            for i, before in enumerate(a.grips):
                if before.pitches[-1] == after.pitches[-1]:
                    column[i] += UNMOVED if before.pitches == after.pitches else held
                if slides and not _one_shape(before, after):
                    column[i] += RESHAPED
    return tuple(map(tuple, made))


def _one_shape(a: Grip, b: Grip) -> bool:
    """Whether the hand slides a grip by one fret."""
    moves = {y - x for x, y in zip(a.frets, b.frets, strict=True) if x >= 0 or y >= 0}
    return moves in ({1}, {-1}) and a.degrees == b.degrees and 0 not in (*a.frets, *b.frets)


@lru_cache(maxsize=8192)
def _words(before: Grip | None, grip: Grip) -> str:
    held = f"{grip.shape}, {grip.name}" + (f" with the capo at {grip.capo}" if grip.capo else "")
    if before is None or before.frets == grip.frets:
        return held
    way = grip.position - before.position
    if way == 0:
        return f"{held}, hand stays"
    frets = "fret" if abs(way) == 1 else "frets"
    return f"{held}, hand {'up' if way > 0 else 'down'} {abs(way)} {frets}"


def _droning(grip: Grip, drone: frozenset[int]) -> str:
    """Which open strings drone, in words."""
    found = [str(string) for string in grip.strings if rings(drone, *on_string(grip, string)[::2])]
    if not found:
        return ""
    which = (
        f"strings {', '.join(found[:-1])} and {found[-1]}" if found[1:] else f"string {found[0]}"
    )
    return f", {which} {'drone' if found[1:] else 'drones'}"


def rings(drone: frozenset[int], pitch: int, fret: int) -> bool:
    """Whether a string is an open one that drones."""
    return fret == 0 and pitch % 12 in drone
