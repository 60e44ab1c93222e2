"""Several performances one after the other as one: what a practice track is made of.

Conventions: every pass keeps its own count-in, which begins where the pass before ends; its last chord rings into it.
Places of a pass are moved by a whole number of microseconds a quarter along the joined tempo map, so that a pass
starts exactly where the lengths before it add up to.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from backing.band.led import Plan
from backing.band.model import Arrangement
from backing.ground.timebase import TempoMap, TempoStep
from backing.performance.model import (
    RING_S,
    Gesture,
    Marker,
    Performance,
    PerformedNote,
    PerformedPlayer,
    Voice,
)
from backing.timeline.model import Timeline, concatenated

ZERO = Fraction(0)
EARLY_Q = 0.12  # a note is human at most so far ahead of its place, and any push is further
EARLY_S = 0.05


def joined(passes: Sequence[Performance], labels: Sequence[str]) -> Performance:
    """One performance of all passes, with a marker for each; those of sections in it say the pass too.

    The arrangement of the result holds the bars, chords and sections of every pass; its players' notes are those of
    the performance. Raises ValueError for no pass.
    """
    if not passes:
        raise ValueError("there is nothing to join")
    bases = _bases(passes)
    tempo = _tempo(passes, bases)
    shifts = [
        float(tempo.exact_s(base - p.arrangement.count_in_q))
        for p, base in zip(passes, bases, strict=True)
    ]
    roles = list(dict.fromkeys(player.role for p in passes for player in p.players))
    placed = list(zip(passes, bases, shifts, strict=True))
    players = tuple(_player(role, placed) for role in roles)
    first, last = passes[0], passes[-1]
    ring_s = 0.0 if last.fade_s is None else RING_S  # a pass does not fade
    return Performance(
        _arrangement(passes, bases),
        tempo,
        players,
        _markers(placed, labels),
        first.count_in_s,
        round(shifts[-1] + last.duration_s + ring_s, 6),
        None,
        tuple(shifts),
        tuple(
            m._replace(at_s=round(m.at_s + shift, 6), at_q=m.at_q + base)
            for p, base, shift in placed
            for m in p.feels
        ),
    )


def _bases(passes: Sequence[Performance]) -> list[Fraction]:
    """Where the first bar of each pass lies, in quarters from the first bar of the first."""
    bases = [ZERO]
    for before, after in pairwise(passes):
        bases.append(
            bases[-1] + before.arrangement.timeline.length_q + after.arrangement.count_in_q
        )
    return bases


def _tempo(passes: Sequence[Performance], bases: Sequence[Fraction]) -> TempoMap:
    steps: list[TempoStep] = []
    for p, base in zip(passes, bases, strict=True):
        begins = -p.arrangement.count_in_q
        steps.append(TempoStep(base + begins, p.tempo.us_at(begins)))
        steps.extend(TempoStep(base + s.at_q, s.us) for s in p.tempo.steps if s.at_q > begins)
    return TempoMap(steps, zero_q=-passes[0].arrangement.count_in_q)


def _player(role: str, placed: Sequence[tuple[Performance, Fraction, float]]) -> PerformedPlayer:
    voices: list[Voice] = []
    notes: list[PerformedNote] = []
    told: list[Gesture] = []
    for performance, base, shift in placed:
        along = float(base)
        for player in performance.players:
            if player.role != role:
                continue
            voices.extend(
                v._replace(at_s=round(v.at_s + shift, 6), at_q=v.at_q + base) for v in player.voices
            )
            notes.extend(
                PerformedNote(
                    round(n.onset_s + shift, 6),
                    round(n.release_s + shift, 6),
                    round(n.start_q + along, 6),
                    round(n.end_q + along, 6),
                    n.pitch,
                    n.velocity,
                )
                for n in player.notes
            )
            told.extend(_moved(g, shift, along) for g in player.gestures)
    return PerformedPlayer(role, tuple(voices), tuple(notes), tuple(told))


def _moved(gesture: Gesture, by_s: float, by_q: float) -> Gesture:
    return gesture._replace(at_s=round(gesture.at_s + by_s, 6), at_q=round(gesture.at_q + by_q, 6))


def _markers(
    placed: Sequence[tuple[Performance, Fraction, float]], labels: Sequence[str]
) -> tuple[Marker, ...]:
    found: list[Marker] = []
    for (performance, base, shift), label in zip(placed, labels, strict=True):
        found.append(Marker(round(shift, 6), base - performance.arrangement.count_in_q, label))
        found.extend(
            Marker(round(m.at_s + shift, 6), m.at_q + base, f"{label}, {m.text}")
            for m in performance.markers
            if m.at_q >= 0 and len(performance.arrangement.timeline.sections) > 1
        )
    return tuple(found)


def _arrangement(passes: Sequence[Performance], bases: Sequence[Fraction]) -> Arrangement:
    first = passes[0].arrangement
    silent: set[int] = set()
    bars = 0
    for p in passes:
        silent.update(i + bars for i in p.arrangement.silent)
        bars += len(p.arrangement.timeline.bars)
    return first._replace(
        timeline=concatenated([p.arrangement.timeline for p in passes], bases),
        players=(),
        silent=frozenset(silent),
        plan=Plan(),  # every pass has one of its own
    )


def looped(thrice: Performance, single: Timeline) -> Performance:
    """One round of a form that was played three times: the middle one, whose end leads into its own start.

    `thrice` plays `single` three times running. What sounds ahead of the round's start (a push, an early stroke) is
    heard at its end instead; a count-in, if there is one, is kept before it.
    """
    length = single.length_q
    arrangement = thrice.arrangement
    tempo = TempoMap(single.tempo, zero_q=-arrangement.count_in_q)
    counted = thrice.count_in_s
    turn_s = float(tempo.exact_s(length)) - counted
    start, end = float(length) - EARLY_Q, 2 * float(length) - EARLY_Q
    players = []
    for player in thrice.players:
        before = [
            n for n in player.notes if n.onset_s < counted - EARLY_S and player.role == "click"
        ]
        round_ = [
            _turned(n, turn_s, float(length), counted)
            for n in player.notes
            if start <= n.start_q < end
        ]
        notes = (*before, *sorted(round_, key=lambda n: (n.onset_s, n.pitch)))
        voices = [v for v in player.voices if v.at_q < length]
        told = sorted(
            _moved(g, -turn_s, -float(length)) for g in player.gestures if start <= g.at_q < end
        )
        players.append(PerformedPlayer(player.role, tuple(voices), notes, tuple(told)))
    markers = [m for m in thrice.markers if m.at_q < length]
    bars = frozenset(i for i in arrangement.silent if i <= len(single.bars))
    plan = arrangement.plan._replace(sections=arrangement.plan.sections[: len(single.sections)])
    return Performance(
        arrangement._replace(timeline=single, players=(), silent=bars, plan=plan),
        tempo,
        tuple(players),
        tuple(markers),
        counted,
        round(counted + turn_s + RING_S, 6),
        None,
        feels=tuple(m for m in thrice.feels if m.at_q < length),
    )


def _turned(note: PerformedNote, turn_s: float, turn_q: float, counted_s: float) -> PerformedNote:
    """A note of the second round where it sounds in the first, or at the end of it when it comes before the start."""
    late = turn_s if note.onset_s - turn_s < counted_s else 0.0
    late_q = turn_q if late else 0.0
    return PerformedNote(
        round(note.onset_s - turn_s + late, 6),
        round(note.release_s - turn_s + late, 6),
        round(note.start_q - turn_q + late_q, 6),
        round(note.end_q - turn_q + late_q, 6),
        note.pitch,
        note.velocity,
    )
