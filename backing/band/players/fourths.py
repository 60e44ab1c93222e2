"""One chord for eight bars and more: a pianist in jazz planes fourths along its scale, and steps aside and back.

Every stroke takes a stack of fourths (the topmost gap may be a major third) on a step of the scale: for two bars two
neighbours in turn, then two others. In the seventh of eight bars the stack moves a half step aside; the eighth is back.

Conventions: pitches are MIDI notes. Source: chords in fourths on a mode, side-stepping (common practice).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from typing import NamedTuple

from backing.band.players.chordal import Step, Voiced, steps
from backing.band.players.common import Brief, Change
from backing.band.players.patterns.comping import holds_ideas
from backing.band.players.rhythm import Event
from backing.harmony.scales import scale_for
from backing.harmony.symbol import Chord
from backing.harmony.voicings import Voicing

LEAST = 8  # bars of one chord
ASIDE = 6  # bar of eight that stands aside, from 0
TURN = 2  # bars for which two stacks alternate
FOURTH, THIRD = 5, 4
STEP = 3  # semitones at most between two neighbours
HIGHER = 3  # semitones that stacks may reach above other chords
COLOURS = {
    "minor": (2, 5, 9),
    "suspended": (2, 9),
}  # semitones of the scale that may be held beside the chord


class Planes(NamedTuple):
    """The stack of each stroke by its place, and the strokes that stand a half step aside, with its direction."""

    stacks: Mapping[Fraction, Voiced]
    aside: Mapping[Fraction, int]


def planed(brief: Brief, events: Sequence[Event], low: int, high: int) -> Planes:
    """What a pianist makes of long stretches of one chord; nothing in styles that hold on to a figure."""
    stacks: dict[Fraction, Voiced] = {}
    aside: dict[Fraction, int] = {}
    if not brief.colour or holds_ideas(brief.style):
        return Planes(stacks, aside)
    told = {step.change.index: step for step in steps(brief)}
    for run in _stretches(brief):
        first = run[0].span.bar
        indices = {change.index for change in run}
        way = 1 if brief.place.chance(0.5, "aside", first) else -1
        number = 0
        for event in events:
            step = told.get(event.change.index)
            if (
                event.line != "chord"
                or event.change.index not in indices
                or event.strict
                or step is None
            ):
                continue
            bar = event.change.span.bar - first
            offers = _stacks(brief, step, low, high)
            if len(offers) < 2 or step.melody:
                continue
            stacks[event.start_q] = _stack(brief, offers, bar, number)
            number += 1
            if bar % LEAST == ASIDE and event.start_q < event.change.span.end_q:
                aside[event.start_q] = way
    return Planes(stacks, aside)


def _stretches(brief: Brief) -> list[list[Change]]:
    """The changes of every stretch of one chord that fourths can stand for, eight bars or more."""
    found = []
    for chord, run in groupby(brief.changes, key=lambda c: c.span.chord):
        row = list(run)
        bars = {change.span.bar for change in row}
        if chord is not None and _floats(chord) and len(bars) >= LEAST:
            found.append(row)
    return found


def _floats(chord: Chord) -> bool:
    """A minor seventh or a suspended one, over its root: no leading note asks for anything."""
    names = {d.name for d in chord.degrees}
    return chord.family in COLOURS and "b7" in names and chord.bass is None


def _stack(brief: Brief, offers: Sequence[Voicing], bar: int, number: int) -> Voiced:
    """Two neighbours in turn, chosen anew for every two bars."""
    pairs = [(a, b) for a, b in pairwise(offers) if b.bottom - a.bottom <= STEP] or [
        (offers[0], offers[1])
    ]
    pair = brief.place.pick(pairs, [1.0] * len(pairs), "plane", bar // TURN)
    voicing = pair[number % 2]
    return Voiced(voicing, f"fourths on the {voicing.degrees[0]}, planed along the scale")


def _stacks(brief: Brief, step: Step, low: int, high: int) -> list[Voicing]:
    """The stacks of four notes on the steps of the scale, from the lowest up, above the bass."""
    chord = step.chord
    key = brief.bars[
        min(max(0, step.change.span.bar - brief.bars[0].index), len(brief.bars) - 1)
    ].key
    names = {d.semitones % 12: d.name for d in chord.degrees}
    scale = {d.semitones % 12: d for d in scale_for(chord, key).degrees}
    for pc in COLOURS[chord.family]:
        if pc in scale:
            names.setdefault(pc, {2: "9", 5: "11", 9: "13"}[pc])
    found = []
    for bottom in range(max(low, step.bass + 1), high + HIGHER - 3 * FOURTH + 2):
        for top in (FOURTH, THIRD):
            pitches = (bottom, bottom + FOURTH, bottom + 2 * FOURTH, bottom + 2 * FOURTH + top)
            rels = [(p - chord.root.pc) % 12 for p in pitches]
            if pitches[-1] <= high + HIGHER and all(rel in names for rel in rels):
                found.append(Voicing(pitches, tuple(names[rel] for rel in rels), "fourths"))
                break
    return found
