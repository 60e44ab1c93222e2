"""What a section of horns or strings makes of strokes that its style gives only in rhythm: lines, and few chords.

    a figure          a riff by degree, in unison or two parts; its last stroke a chord where that is accented
    a single stroke   a chord where it is accented, else two guide tones
    off-beats         a row of them keeps two notes of the chord
    a long stroke     two guide tones
    a background      two guide tones a chord, held, with a breath at the end of a phrase
    a shout           figures in two parts, every accent at their end a chord

Where those who comp are busy nothing is voiced and nobody takes a second part. A riff is chosen for all playings of a
section in some choruses, so that it is heard to come again. What a style tells by degree is played as it is told.

Conventions: a contour counts steps of the five-note scale of the chord, 0 its root, 5 the octave. Source: riffs and
backgrounds of horn sections, voiced where they accent (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from backing.band.led import Backing
from backing.band.model import Kind
from backing.band.players.chordal import Step, Voiced, steps
from backing.band.players.common import Brief, ZoneKind
from backing.band.players.listening import dense
from backing.band.players.patterns.comping import chosen
from backing.band.players.rhythm import Event, held
from backing.ground.pitch import Degree
from backing.harmony.offer import tones
from backing.harmony.scales import minor_sounding
from backing.harmony.search import best_path
from backing.harmony.symbol import Chord
from backing.harmony.voicings import Voicing
from backing.styles.marks import LINES

NEAR_Q = Fraction(3, 2)  # from stroke to stroke of one figure
LONG_Q = Fraction(2)  # from here on a stroke is held
TWO_PARTS, VOICED, ALONE = (
    0.35,
    0.6,
    0.4,
)  # chances of a second part, of a chord at the end, of a chord by itself
CHORDAL = ("accordion",)  # what plays its chords itself

MAJOR = ("1", "2", "3", "5", "6", "8", "9", "3'")
MINOR = ("1", "3", "4", "5", "7", "8", "3'", "4'")
BELOW = {
    "1": "-5", "2": "-7", "3": "1", "4": "1", "5": "3", "6": "3", "7": "5", "8": "5", "9": "5", "3'": "8", "4'": "8",
}  # fmt: skip
CONTOURS: dict[int, tuple[tuple[int, ...], ...]] = {
    2: ((3, 5), (5, 4), (4, 3), (2, 3)),
    3: ((3, 4, 5), (5, 4, 3), (2, 3, 5), (4, 5, 3), (0, 2, 3)),
    4: ((3, 4, 5, 3), (5, 4, 3, 2), (0, 1, 2, 3), (2, 3, 4, 3), (3, 3, 4, 5)),
    5: ((0, 1, 2, 3, 2), (5, 4, 3, 4, 5), (3, 3, 4, 3, 5), (2, 3, 4, 5, 3)),
    6: ((3, 3, 4, 5, 4, 3), (0, 1, 2, 3, 2, 0), (5, 5, 4, 3, 4, 5)),
    7: ((3, 4, 5, 4, 3, 2, 0), (0, 1, 2, 3, 4, 3, 5), (5, 5, 4, 3, 4, 4, 5)),
}  # fmt: skip
LONGEST = max(CONTOURS)


def written(brief: Brief, events: Sequence[Event]) -> list[Event]:
    """The strokes of a section as its players read them: figures as lines by degree, the others as they are."""
    if brief.part.instrument.name in CHORDAL:
        return list(events)
    bars = chosen(brief)
    free = [
        found is not None
        and not found.pattern.idea
        and not any(n in found.pattern.lines for n in LINES)
        for found in bars
    ]
    mine = [e for e in events if e.line == "chord" and free[e.bar] and _plain(e)]
    made = [e for e in events if not (e.line == "chord" and free[e.bar] and _plain(e))]
    for figure in _figures(mine):
        found = bars[figure[0].bar]
        name = f"{found.pattern.name} {found.bar}" if found is not None else ""
        made += _as_lines(brief, figure, name)
    made.sort(key=lambda e: (e.start_q, e.line))
    return made


def _plain(event: Event) -> bool:
    return (
        event.mark in ("x", "X", "g")
        and event.why.kind is Kind.PATTERN
        and not event.strict
        and not event.shift
    )


def _figures(events: Sequence[Event]) -> list[list[Event]]:
    """Strokes that belong together; one that is held stands alone."""
    found: list[list[Event]] = []
    for before, event in pairwise([None, *events]):
        assert event is not None
        near = (
            before is not None
            and event.start_q - before.start_q <= NEAR_Q
            and before.end_q - before.start_q < LONG_Q
            and event.end_q - event.start_q < LONG_Q
            and before.why == event.why  # of one pattern
            and len(found[-1]) < LONGEST
        )
        if near:
            found[-1].append(event)
        else:
            found.append([event])
    return found


def _as_lines(brief: Brief, figure: Sequence[Event], name: str) -> list[Event]:
    """One figure in one part or two, with a chord where it ends in an accent."""
    first, last = figure[0], figure[-1]
    start = str(first.start_q - brief.bars[first.bar].start_q)
    place = brief.groove.at(name, start)
    busy, shout = dense(brief, first.bar), brief.led.backing is Backing.SHOUT
    if len(figure) == 1 or _after_beats(brief, figure):
        voiced = first.mark == "X" and not busy and (shout or place.chance(ALONE, "alone"))
        if voiced and len(figure) == 1 and last.end_q - last.start_q < LONG_Q:
            return list(figure)
        alone = brief.part.number("voices") == 1
        return [part for event in figure for part in _dyad(event)[: 1 if alone else None]]
    voiced = last.mark == "X" and not busy and (shout or place.chance(VOICED, "voiced"))
    two = (
        not busy
        and brief.part.number("voices") != 1
        and (shout or place.chance(TWO_PARTS, "parts"))
    )
    rows = CONTOURS[len(figure)]
    contour = place.pick(rows, [1.0] * len(rows), "contour")
    made: list[Event] = []
    for event, step in zip(figure, contour, strict=True):
        if voiced and event is last:
            made.append(event)
            continue
        degree = (MINOR if minor_sounding(event.chord) else MAJOR)[step]
        made.append(_told(event, LINES[0], degree))
        if two:
            made.append(_told(event, LINES[1], BELOW[degree]))
    return made


def _told(event: Event, line: str, degree: str) -> Event:
    accent = "!" if event.mark == "X" else ""
    return event._replace(line=line, mark=degree + accent)


def _after_beats(brief: Brief, figure: Sequence[Event]) -> bool:
    """Whether a figure is a row of off-beats."""
    offs = [(e.start_q - brief.bars[e.bar].start_q).denominator > 1 for e in figure]
    apart = {b.start_q - a.start_q for a, b in pairwise(figure)}
    return all(offs) and apart == {Fraction(1)}


def _dyad(event: Event) -> list[Event]:
    """A stroke as two notes of its chord: third and seventh, or third and fifth."""
    high = "7" if any(d.number == 7 for d in event.chord.degrees) else "5"
    return [_told(event, LINES[0], high), _told(event, LINES[1], "3")]


# --- backgrounds


def guide_tones(chord: Chord) -> tuple[Degree, ...]:
    """Third and seventh, or what stands for them: the fourth of a suspended chord, the sixth; without a seventh the root.

    >>> from backing.harmony.reader import read
    >>> [d.name for d in guide_tones(read("C6"))], [d.name for d in guide_tones(read("G7sus4"))]
    (['3', '6'], ['4', 'b7'])
    """
    numbers = {d.number: d for d in chord.degrees}
    third = next(
        (numbers[n] for n in (3, 4, 11, 2) if n in numbers and numbers[n] not in chord.omit), None
    )
    seventh = next((numbers[n] for n in (7, 6, 1) if n in numbers), None)
    found = tuple(d for d in (third, seventh) if d is not None)
    return found or tones(chord).need[:1]


def background(brief: Brief) -> tuple[Event, ...]:
    """One long stroke a chord where time is kept, with a breath before each phrase; strokes of the band as they are."""
    ends = [
        (bar.end_q, bar.end_q - bar.meter.beat_q)
        for bar, plan in zip(brief.bars, brief.plans, strict=True)
        if plan.phrase_end
    ]
    made = []
    for event in held(brief):
        if brief.zone_at(event.start_q).kind is ZoneKind.TIME:
            breath = next(
                (at for end, at in ends if event.start_q < at and event.end_q >= end), None
            )
            event = event if breath is None else event._replace(end_q=breath)
        made.append(event)
    return tuple(made)


def in_two_parts(brief: Brief, low: int, high: int) -> dict[int, Voiced]:
    """The guide tones of every chord, by its index, by the shortest way in two voices."""
    found = steps(brief)
    if not found:
        return {}
    offers = [_pairs(step, low, high) for step in found]
    centre = low + 0.6 * (high - low)
    nodes = [[0.1 * abs(sum(v.pitches) / len(v.pitches) - centre) for v in here] for here in offers]
    edges = [[[_way(a, b) for a in before] for b in after] for before, after in pairwise(offers)]
    path = best_path(nodes, edges)
    return {
        step.change.index: Voiced(here[at], "guide tones in two parts")
        for step, here, at in zip(found, offers, path, strict=True)
    }


def _way(a: Voicing, b: Voicing) -> float:
    return float(abs(a.pitches[0] - b.pitches[0]) + abs(a.pitches[-1] - b.pitches[-1]))


def _pairs(step: Step, low: int, high: int) -> list[Voicing]:
    """Two guide tones of a chord, either above, less than an octave apart."""
    degrees = guide_tones(step.chord)
    fifth = next((d for d in step.chord.degrees if d.number == 5), None)
    if fifth is not None and len(degrees) > 1 and degrees[1].number == 1:
        degrees = (degrees[0], fifth)
    made = []
    for lower, upper in ((degrees[0], degrees[-1]), (degrees[-1], degrees[0])):
        root = step.chord.root.pc
        first = low + (root + lower.semitones - low) % 12
        gap = (upper.semitones - lower.semitones) % 12
        for bottom in range(first, high - gap + 1, 12):
            pitches = tuple(sorted({bottom, bottom + gap}))
            names = (lower.name, upper.name)[: len(pitches)]
            made.append(Voicing(pitches, names, "guide tones"))
    return made
