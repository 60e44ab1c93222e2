"""A timeline from a timeline: some of its bars, in another key, at another tempo, several times running.

Conventions: the result counts bars from 1 and quarters from 0 again; numbers of the sheet, sections and text places
stay. Bars that are cut out end as they are written, without a final chord.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import accumulate, pairwise

from backing.chart.ast import Ending, EndingKind
from backing.ground.errors import RequestError
from backing.ground.pitch import UNISON, Interval
from backing.ground.source import nearest
from backing.ground.timebase import QUARTER, TempoStep, microseconds_a_quarter
from backing.harmony.spelling import transpose
from backing.timeline.marks import moved_key, moved_pitch
from backing.timeline.model import SectionPass, Timeline, concatenated
from backing.timeline.tempo import SLOWEST_US, TOO_SLOW, tempo_between

ZERO = Fraction(0)


def slice_bars(timeline: Timeline, first: int, last: int) -> Timeline:
    """Bars `first` to `last` by index, both included. Raises ValueError when there are no such bars."""
    if not 1 <= first <= last <= len(timeline.bars):
        raise ValueError(f"no bars {first} to {last} among {len(timeline.bars)}")
    cut = _cut(timeline, first, last)
    start = cut.bars[0]
    return cut.moved(-start.start_q, 1 - first, -start.section_index)


def uncut(timeline: Timeline) -> Timeline:
    """The same as a track of its own, which was cut out of nothing."""
    sections = tuple(s._replace(origin=0) for s in timeline.sections)
    return timeline._replace(sections=sections, whole=None)


def looped(timeline: Timeline, times: int) -> Timeline:
    """So many rounds of what runs from its end into its start, all of them alike."""
    origins = tuple(s if s.origin else s._replace(origin=s.first) for s in timeline.sections)
    once = timeline._replace(sections=origins, whole=timeline.whole or timeline, loops=True)
    return repeated(once, times)


def _cut(timeline: Timeline, first: int, last: int) -> Timeline:
    """What lies in bars `first` to `last`, where it lies."""
    bars = timeline.bars[first - 1 : last]
    start_q, end_q = bars[0].start_q, bars[-1].end_q
    sections = timeline.sections[bars[0].section_index : bars[-1].section_index + 1]
    chords = [c for c in timeline.chords if first <= c.bar <= last]
    chords[0] = chords[0]._replace(again=False, held=False)
    return timeline._replace(
        bars=bars,
        chords=tuple(chords),
        sections=tuple(
            s._replace(
                first=max(s.first, first),
                last=min(s.last, last),
                origin=(s.origin or s.first) + max(0, first - s.first),
            )
            for s in sections
        ),
        whole=timeline.whole or timeline,
        tempo=tempo_between(timeline.tempo, start_q, end_q),
        choruses=1,
        ending=Ending(EndingKind.AS_WRITTEN),
        fade_bars=0,
        pickup=timeline.pickup and first == 1,
        melody=tuple(
            n._replace(end_q=min(n.end_q, end_q))
            for n in timeline.melody
            if start_q <= n.start_q < end_q
        ),
        hits=tuple(
            h._replace(end_q=min(h.end_q, end_q))
            for h in timeline.hits
            if start_q <= h.start_q < end_q
        ),
        rhythms=tuple(
            r._replace(start_q=max(r.start_q, start_q), end_q=min(r.end_q, end_q))
            for r in timeline.rhythms
            if r.end_q > start_q and r.start_q < end_q
        ),
    )


def joined(parts: Sequence[Timeline]) -> Timeline:
    """Timelines one after another as one; the playings of every section are counted anew."""
    places_q = accumulate((part.length_q for part in parts[:-1]), initial=ZERO)
    whole = concatenated(parts, tuple(places_q))
    passes: dict[str, int] = {}
    sections: list[SectionPass] = []
    for section in whole.sections:
        passes[section.name] = passes.get(section.name, 0) + 1
        sections.append(section._replace(pass_=passes[section.name]))
    return whole._replace(
        bars=tuple(b._replace(pass_=sections[b.section_index].pass_) for b in whole.bars),
        sections=tuple(sections),
        tempo=_without_repeats(whole.tempo),
        choruses=len(parts),
    )


def _without_repeats(steps: Sequence[TempoStep]) -> tuple[TempoStep, ...]:
    return (*steps[:1], *(b for a, b in pairwise(steps) if a.us != b.us))


def only_sections(timeline: Timeline, names: Sequence[str]) -> Timeline:
    """The first playing of each named section, in the order asked for. Raises `RequestError` for other names."""
    known = list(dict.fromkeys(s.name for s in timeline.sections if s.name))
    parts = []
    for name in names:
        found = next(
            (s for s in timeline.sections if s.name and s.name.casefold() == name.casefold()), None
        )
        if found is None:
            raise RequestError(unknown_section(name, known))
        parts.append(slice_bars(timeline, found.first, found.last))
    return joined(parts)._replace(choruses=1)


def unknown_section(name: str, known: Sequence[str]) -> str:
    """What to say of a section that is not played."""
    if not known:
        return f"--section {name}: this chart has no named sections; choose bars with --bars"
    near = nearest(name, known)
    hint = f" Did you mean {near!r}?" if near else ""
    return f"--section {name}: no such section is played; there are {', '.join(known)}.{hint}"


def only_bars(timeline: Timeline, first: int, last: int) -> Timeline:
    """Bars of the sheet from number `first` to `last`, each the first time it is played.

    Raises `RequestError` when the sheet has no such bars.
    """
    numbers = {b.number for b in timeline.bars if b.line}
    low, high = min(numbers), max(numbers)
    if first > last or first < low or last > high:
        raise RequestError(
            f"--bars {first}-{last}: the sheet has bars {low} to {high}, as far as they are played"
        )
    taken: set[int] = set()
    indices = []
    for bar in timeline.bars:
        if bar.line and first <= bar.number <= last and bar.number not in taken:
            taken.add(bar.number)
            indices.append(bar.index)
    if not indices:
        raise RequestError(f"--bars {first}-{last}: these bars are never played")
    parts = [slice_bars(timeline, a, b) for a, b in _runs(indices)]
    return joined(parts)._replace(choruses=1)


def _runs(indices: Iterable[int]) -> list[tuple[int, int]]:
    """Rising numbers as runs, first and last."""
    runs: list[tuple[int, int]] = []
    for i in indices:
        if runs and runs[-1][1] == i - 1:
            runs[-1] = (runs[-1][0], i)
        else:
            runs.append((i, i))
    return runs


def repeated(timeline: Timeline, times: int) -> Timeline:
    """The same bars several times running, each time a chorus of its own; a pickup is played once."""
    again = timeline
    if timeline.pickup and len(timeline.bars) > 1:
        again = slice_bars(timeline, 2, len(timeline.bars))
    parts = [timeline] + [again] * (times - 1)
    numbered = [
        part._replace(
            bars=tuple(b._replace(chorus=n) for b in part.bars),
            sections=tuple(s._replace(chorus=n, part="chorus") for s in part.sections),
        )
        for n, part in enumerate(parts, 1)
    ]
    return joined(numbered)._replace(ending=timeline.ending, fade_bars=timeline.fade_bars)


def at_tempo(
    timeline: Timeline, percent: Fraction | None = None, bpm: Fraction | None = None
) -> Timeline:
    """The same form at a share of its tempo (`percent` 75 is three quarters), or with so many beats a minute at the
    start, counted as a chart counts them. Glides keep their shape.

    Raises ValueError when neither is given, `RequestError` below what a MIDI file can say.
    """
    first = timeline.tempo[0].us
    if bpm is not None:
        share = Fraction(microseconds_a_quarter(bpm * _counted_q(timeline)), first)
    elif percent is not None:
        share = 100 / Fraction(percent)
    else:
        raise ValueError("give a percentage or a tempo")
    if first * share > SLOWEST_US:
        raise RequestError(TOO_SLOW)
    steps = (TempoStep(s.at_q, min(round(s.us * share), SLOWEST_US)) for s in timeline.tempo)
    return timeline._replace(tempo=tuple(steps))


def counted_bpm(timeline: Timeline) -> Fraction:
    """Beats a minute at the start, counted as a chart counts them: quarters in meters counted in eighths."""
    return Fraction(60_000_000, timeline.tempo[0].us) / _counted_q(timeline)


def _counted_q(timeline: Timeline) -> Fraction:
    meter = timeline.bars[0].meter
    return QUARTER if meter.counted_in_eighths else meter.beat_q


def transposed(timeline: Timeline, interval: Interval) -> Timeline:
    """Everything that sounds, an interval up (down where negative); `written` stays as typed."""
    if interval == UNISON:
        return timeline
    keys = {key: moved_key(key, interval) for key in dict.fromkeys(b.key for b in timeline.bars)}
    chords = []
    for span in timeline.chords:
        key, way = keys[timeline.bars[span.bar - 1].key]
        chord = transpose(span.chord, way, key)
        chords.append(span if chord is None else span._replace(chord=chord, symbol=chord.symbol))
    key, way = moved_key(timeline.key, interval)
    return timeline._replace(
        key=key,
        bars=tuple(b._replace(key=keys[b.key][0]) for b in timeline.bars),
        chords=tuple(chords),
        melody=tuple(n._replace(pitch=moved_pitch(n.pitch, way)) for n in timeline.melody),
    )
