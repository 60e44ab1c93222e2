"""Chords that a band puts in to end a tune: a tag that turns round, a blues that closes by step.

Conventions: nothing is put in where the chart says how it ends, where a melody sounds, or where a mark holds or stops a
chord. What is put in has the written chord's bar. Source: iii-VI-ii-V in a tag, the half step above before the last
chord of a blues (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from backing.chart.ast import EndingKind
from backing.ground.pitch import Interval, Key
from backing.harmony.symbol import Chord, read
from backing.timeline.closing import TAG, last_chord_q
from backing.timeline.model import ChordSpan, PlayedBar, Strike, Timeline
from backing.timeline.tonality import at_rest, is_blues

RESTING = 2  # bars at most that a tag turns round
SECOND, THIRD, FIFTH, SIXTH = Interval(1, 2), Interval(2, 4), Interval(4, 7), Interval(5, 9)
ABOVE = {
    True: Interval(0, 1),
    False: Interval(1, 1),
}  # the half step over a flat tonic, and over others
# degree: interval from the tonic, what it is in major and in minor, and without sevenths
CHORDS = {
    "iii": (THIRD,  "m7", "m7b5", "m"),
    "VI":  (SIXTH,  "7",  "7b9",  "7"),
    "ii":  (SECOND, "m7", "m7b5", "m"),
    "V":   (FIFTH,  "7",  "7b9",  "7"),
}  # fmt: skip
# semitones of the chord that is led to over the tonic; by bars that turn: the chords of each of them
TO_SECOND = {1: (("iii", "VI"),), 2: (("iii",), ("VI",))}
TO_FIFTH = {1: (("VI", "ii"),), 2: (("VI",), ("ii",))}
TO_OTHERS = {1: (("ii", "V"),), 2: (("iii", "VI"), ("ii", "V"))}
TURNS = {2: TO_SECOND, 5: TO_SECOND, 7: TO_FIFTH}


def with_turns(timeline: Timeline) -> Timeline:
    """A timeline with a tag whose first two rounds lead back to its first bar where the tune would rest."""
    tags = [s for s in timeline.sections if s.name == TAG and s.part == "ending"]
    if not tags:
        return timeline
    rounds = len(tags) // 2
    plain = all(len(s.chord.degrees) < 4 for s in timeline.chords if s.chord)
    said: list[str] = []
    for tag in (tags[0], tags[rounds]):
        timeline, put_in = _turned(timeline, timeline.bars[: tag.first - 1], tag.first, plain)
        said += put_in
    if not said:
        return timeline
    told = " ".join(dict.fromkeys(said))
    note = f"the tag turns round on its first two rounds: {told} where the tune rests"
    return timeline._replace(notes=(*timeline.notes, note))


def _turned(
    timeline: Timeline, before: Sequence[PlayedBar], first: int, plain: bool
) -> tuple[Timeline, list[str]]:
    """The timeline with the bars at rest before a bar turned to it, and the symbols that were put in.

    A `plain` tune has no sevenths.
    """
    coming = next((s.chord for s in timeline.chords if s.bar >= first and s.chord), None)
    resting: list[PlayedBar] = []
    for bar in reversed(before[-RESTING:]):
        if not _rests(timeline, bar):
            break
        resting.insert(0, bar)
    if coming is None or not resting:
        return timeline, []
    key = resting[-1].key
    row = TURNS.get((coming.root.pc - key.tonic.pc) % 12, TO_OTHERS)[len(resting)]
    said: list[str] = []
    for bar, names in zip(resting, row, strict=True):
        chords = [_degree(name, key, plain) for name in names]
        timeline = _put_in(timeline, bar, _shared(bar, chords))
        said += [chord.symbol for chord in chords]
    return timeline, said


def _rests(timeline: Timeline, bar: PlayedBar) -> bool:
    """Whether a bar holds the tonic alone, with no mark and no melody."""
    inside = [s for s in timeline.chords if s.bar == bar.index]
    sung = any(n.start_q < bar.end_q and n.end_q > bar.start_q for n in timeline.melody)
    marked = any(r.start_q < bar.end_q and r.end_q > bar.start_q for r in timeline.rhythms)
    first = next(s.chord for s in timeline.chords if s.chord)
    blues = is_blues(first, timeline.bars[0].key)
    return (
        bool(inside)
        and not sung
        and not marked
        and not (bar.breaks or bar.rubato)
        and all(
            _open(s) and s.chord is not None and at_rest(s.chord, bar.key, blues) for s in inside
        )
    )


def _open(span: ChordSpan) -> bool:
    return span.strike is Strike.NORMAL and not span.fermata and not span.held and not span.push_q


def _degree(name: str, key: Key, plain: bool) -> Chord:
    interval, major, minor, triad = CHORDS[name]
    return _chord(key.tonic.up(interval).name + (minor if key.minor else triad if plain else major))


def _chord(symbol: str) -> Chord:
    chord = read(symbol)
    assert chord is not None
    return chord


def _shared(bar: PlayedBar, chords: Sequence[Chord]) -> list[tuple[Fraction, Chord]]:
    """Chords with their places in a bar: at its start, a second one in its middle, on a beat."""
    return list(zip((bar.start_q, _middle_q(bar)), chords, strict=False))


def _middle_q(bar: PlayedBar) -> Fraction:
    beats = bar.length_q / bar.meter.beat_q
    return bar.start_q + -(-beats // 2) * bar.meter.beat_q


def _put_in(
    timeline: Timeline, bar: PlayedBar, chords: Sequence[tuple[Fraction, Chord]]
) -> Timeline:
    """The timeline with other chords in a bar, from the place of the first of them on."""
    since = chords[0][0]
    ends = [*(at for at, _ in chords[1:]), bar.end_q]
    made = [
        ChordSpan(at, end, chord, chord.symbol, chord.symbol, bar.index)
        for (at, chord), end in zip(chords, ends, strict=True)
    ]
    kept = [
        s._replace(end_q=min(s.end_q, since)) if s.bar == bar.index else s
        for s in timeline.chords
        if s.bar != bar.index or s.start_q < since
    ]
    spans = sorted([*kept, *made], key=lambda s: s.start_q)
    spans = [s._replace(again=False, held=False) if s.start_q == bar.end_q else s for s in spans]
    return timeline._replace(chords=tuple(spans))


def with_step(timeline: Timeline) -> Timeline:
    """A blues whose last chord comes from a half step above, where nobody says how it ends."""
    first = next((s.chord for s in timeline.chords if s.chord is not None), None)
    key = timeline.bars[-1].key
    if first is None or not is_blues(first, timeline.bars[0].key):
        return timeline
    if timeline.ending_asked or timeline.ending.kind is not EndingKind.RING:
        return timeline
    last_q = last_chord_q(timeline)
    final = next(s for s in timeline.chords if s.start_q == last_q)
    bar = timeline.bars[max(0, final.bar - 2)]
    inside = [s for s in timeline.chords if s.bar == bar.index]
    sung = any(n.start_q < bar.end_q and n.end_q > _middle_q(bar) for n in timeline.melody)
    free = not sung and not (bar.breaks or bar.rubato) and inside and all(map(_open, inside))
    if (
        bar.end_q != last_q
        or not free
        or final.chord is None
        or not at_rest(final.chord, key, True)
    ):
        return timeline
    if not _open(final) or any(r.end_q > bar.start_q for r in timeline.rhythms):
        return timeline
    above = _chord(key.tonic.up(ABOVE[key.tonic.alter < 0]).name + "9")
    note = f"the blues closes by step: {above.symbol} before the last chord"
    closed = _put_in(timeline, bar, [(_middle_q(bar), above)])
    return closed._replace(notes=(*timeline.notes, note))
