"""What a chordal player hears before choosing notes, and the choice: one voicing for every chord of a section.

The register keeps above the bass that is already played and below the melody; chance breaks near-ties by place. A
chord that stays for bars on end is turned over now and then; chords of a beat or less weigh every move more.

Conventions: pitches are MIDI notes, costs those of `harmony.voicings`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from backing.band.model import Note
from backing.band.players.common import Brief, Change, band
from backing.band.players.listening import Beside, doubling
from backing.band.players.quick import Quick, sounds
from backing.band.tensions import planes
from backing.ground.pitch import Degree
from backing.ground.timebase import EIGHTH
from backing.harmony.families import VOICES
from backing.harmony.search import best_path, jitter
from backing.harmony.symbol import Chord
from backing.harmony.voicings import Palette, Voicing, distance, moves, palette
from backing.styles.model import Part
from backing.timeline.model import MelodyNote

NEAR_TIE = 0.45  # what chance may weigh
ROW_TIE = 0.8  # likewise in a quick row, which is stated often
NARROWEST = 17  # semitones in which every chord of four notes has a voicing
RESTLESS = 7.0  # against leaving a chord as it is for bars on end
UNMOVED = 4.0  # against the very notes of the chord before, under which a change is not heard
TOP_HELD = 0.4  # against the top note of the chord before: a line moves
MOVES_ON = 4.0  # times that, every other bar
RESHAPED = 5.0  # against another shape where a chord slides by half step
FOUR = 4  # notes
LEAN = 0.2  # points a semitone by which a section's chords lie higher or lower in another take
ADD_NINTHS = ("triads", "spread", "close")  # in which a triad takes a ninth and no sixth


class Step(NamedTuple):
    """One chord to voice: the colours that may be added, the highest bass note under it and the melody over it."""

    change: Change
    chord: Chord
    colours: tuple[Degree, ...]
    bass: int  # 0 where no bass plays
    bass_inside: int  # likewise, of the notes that begin under it
    melody: tuple[int, ...]
    fast: bool
    level: str
    restless: bool
    turns: bool  # whether a line that stayed moves on here


class Voiced(NamedTuple):
    """A chosen voicing and what it does, in words."""

    voicing: Voicing
    words: str


def steps(brief: Brief) -> list[Step]:
    """Every chord of the section, and the one after it, with its surroundings."""
    changes = [*brief.changes, *([brief.ahead] if brief.ahead else [])]
    bass = brief.heard.get("bass", ())
    made = []
    under, over, bar = 0, 0, 0
    for number, change in enumerate(changes):
        early = change.start_q - EIGHTH  # a stroke may come ahead of the change
        while under < len(bass) and bass[under].end_q <= early:
            under += 1
        while over < len(brief.melody) and brief.melody[over].end_q <= change.start_q:
            over += 1
        while bar + 1 < len(brief.bars) and brief.bars[bar].end_q <= change.start_q:
            bar += 1
        chord = change.span.chord
        if chord is None:
            continue
        length = change.end_q - change.start_q
        sung = _sung(brief.melody, over, change.end_q)
        again = change.span.again and number > 0
        made.append(
            Step(
                change,
                chord,
                brief.colours.get(change.index, ()),
                _highest(bass, under, change.end_q),
                _highest(bass, under, change.end_q, change.start_q),
                sung,
                length <= brief.bars[bar].meter.beat_q,
                band(brief.plans[bar].level),
                again and bar % 2 == 0 and not brief.style.repeats,
                bar % 2 == 0,
            )
        )
    return made


def _highest(bass: Sequence[Note], at: int, end: Fraction, since: Fraction | None = None) -> int:
    found = 0
    while at < len(bass) and bass[at].start_q < end:
        if since is None or bass[at].start_q >= since:
            found = max(found, bass[at].pitch)
        at += 1
    return found


def _sung(melody: Sequence[MelodyNote], at: int, end: Fraction) -> tuple[int, ...]:
    found = []
    while at < len(melody) and melody[at].start_q < end:
        found.append(melody[at].pitch.midi)
        at += 1
    return tuple(found)


@lru_cache(maxsize=2048)
def _edges(
    a: Palette, b: Palette, weight: float, restless: bool, changes: bool, held: float, slides: bool
) -> tuple[tuple[float, ...], ...]:
    """`voicings.moves`, weighed; with `restless` a voicing that simply stays costs something.

    Where the chord `changes`, the same notes again and, by `held`, the same top note cost something too; where it
    `slides` by half step with its quality, every shape but the same one.
    """
    made = [[weight * cost for cost in column] for column in moves(a, b)]
    if restless and a is b:
        for i, column in enumerate(made):
            column[i] += RESTLESS
    if changes:
        for after, column in zip(b.voicings, made, strict=True):
            for i, before in enumerate(a.voicings):
                if before.top == after.top:
                    column[i] += UNMOVED if before.pitches == after.pitches else held
    if slides:
        for after, column in zip(b.voicings, made, strict=True):
            for i, before in enumerate(a.voicings):
                column[i] += 0.0 if _one_shape(before, after) else RESHAPED
    return tuple(map(tuple, made))


def _one_shape(a: Voicing, b: Voicing) -> bool:
    """Whether one voicing is the other a half step away."""
    moves = {y - x for x, y in zip(a.pitches, b.pitches, strict=False)}
    return a.degrees == b.degrees and moves in ({1}, {-1})


def _surroundings(voicing: Voicing, step: Step) -> float:
    """What bass and melody have against a voicing."""
    cost = 0.0
    if step.bass and voicing.bottom <= step.bass:
        cost += 8.0
    if step.melody:
        over = voicing.top - min(step.melody)
        if over > 0:
            cost += 1.2 + 0.2 * over
        for note in step.melody:
            if any(abs(p - note) in (1, 13) for p in voicing.pitches):
                cost += 1.5
    return cost


def voice(
    brief: Brief,
    family: Mapping[str, str],
    low: int,
    high: int,
    voices: int = 0,
    held: float = TOP_HELD,
    fuller: bool = False,
    beside: Beside = MappingProxyType({}),
    rows: Mapping[int, Quick] = MappingProxyType({}),
) -> dict[int, Voiced]:
    """The best voicing for every change (by its index) and for the change after the section.

    `family` names the family of voicings for each level; `voices` 0 is what the family usually has; `held` is what a
    top note costs that stays while the chord changes. `fuller` hands double a note of a triad where it is loud.
    `beside` holds, by the index of a change, what others strike together with it; `rows` what is
    done with the chords of quick rows, in which one with a seventh has four notes however soft it is.
    """
    found = [step for step in steps(brief) if sounds(rows, step.change.index)]
    if not found:
        return {}
    palettes = [
        _offered(brief, step, family, (low, high), voices, fuller, step.change.index in rows)
        for step in found
    ]
    nodes = [
        _node(brief, step, offer, beside.get(step.change.index, ()), step.change.index in rows)
        for step, offer in zip(found, palettes, strict=True)
    ]
    edges = []
    for a, b, last, step in zip(palettes, palettes[1:], found, found[1:], strict=False):
        weight = 0.0 if step.fast else held * MOVES_ON if step.turns else held
        haste = 1.5 if step.fast else 1.0
        changes, slides = last.chord != step.chord, planes(last.chord, step.chord)
        edges.append(_edges(a, b, haste, step.restless, changes, weight, slides))
    path = best_path(nodes, edges)
    made: dict[int, Voiced] = {}
    before: Voicing | None = None
    for step, offer, at in zip(found, palettes, path, strict=True):
        voicing = offer.voicings[at]
        made[step.change.index] = Voiced(voicing, _words(before, voicing))
        before = voicing
    return made


def _offered(
    brief: Brief,
    step: Step,
    family: Mapping[str, str],
    between: tuple[int, int],
    voices: int,
    fuller: bool,
    in_row: bool,
) -> Palette:
    """The voicings that a chord may have, above its bass and within the instrument."""
    low, high = between
    top = brief.part.instrument.high
    floor = low
    if low <= step.bass <= top - NARROWEST:
        floor = low + -(-(step.bass + 1 - low) // 3) * 3  # in threes: few registers to search
    kind = family["mf" if in_row else step.level]
    loud = fuller and kind == "triads" and step.level == "f"
    count = voices or VOICES[kind] + loud
    if in_row and len(step.chord.degrees) >= FOUR and kind not in ("power", "open"):
        count = max(count, FOUR)
    added = step.colours
    if kind in ADD_NINTHS and len(step.chord.degrees) < 4:
        added = tuple(d for d in added if d.number == 9)
    return palette(step.chord, added, kind, count, floor, min(max(high, floor + 19), top))


def _node(
    brief: Brief, step: Step, offer: Palette, beside: Sequence[frozenset[int]], in_row: bool
) -> list[float]:
    """What each voicing of a chord costs by itself, near-ties broken by chance."""
    where = (bar_of(brief, step.change), str(step.change.start_q - brief.start_q))
    chance = jitter(
        brief.place.roll("voicing", *where),
        len(offer.voicings),
        ROW_TIE if in_row else 0.15 if step.fast else NEAR_TIE,
    )
    own = [v.cost + c for v, c in zip(offer.voicings, chance, strict=True)]
    if step.bass or step.melody:
        own = [c + _surroundings(v, step) for c, v in zip(own, offer.voicings, strict=True)]
    if in_row:
        lean = LEAN * (2 * brief.place.roll("lean") - 1)
        own = [c + lean * v.top for v, c in zip(offer.voicings, own, strict=True)]
    if beside:
        own = [c + doubling(v.pitches, beside) for c, v in zip(own, offer.voicings, strict=True)]
    return own


def bar_of(brief: Brief, change: Change) -> int:
    """The bar of the section in which a change stands as written, so that an edit elsewhere changes no chance."""
    return change.span.bar - brief.bars[0].index


@lru_cache(maxsize=8192)
def _words(before: Voicing | None, voicing: Voicing) -> str:
    if before is None:
        return voicing.shape
    if before.pitches == voicing.pitches:
        return f"{voicing.shape}, as before"
    top = voicing.top - before.top
    if top == 0:
        return f"{voicing.shape}, top note held"
    way = "up" if top > 0 else "down"
    line = "by step" if abs(top) <= 2 else "by leap"
    kept = len(set(before.pitches) & set(voicing.pitches))
    common = f", {kept} common notes" if kept > 1 else ", 1 common note" if kept else ""
    if not common and distance(before.pitches, voicing.pitches) <= 4:
        common = ", all voices close"
    return f"{voicing.shape}, top note {way} {line}{common}"


def families(part: Part) -> dict[str, str]:
    """The family of voicings for each level: the setting, and where given its own for soft and loud playing."""
    usual, soft, loud = (part.word(f"voicing{level}") for level in ("", "_soft", "_loud"))
    return {
        "p": usual if soft == "same" else soft,
        "mf": usual,
        "f": usual if loud == "same" else loud,
    }
