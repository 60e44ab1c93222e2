"""Measures made whole: a chart's bars are as long as their meter says, but for one pickup at the start.

Conventions: two short measures that make a bar, as where a tune repeats from its upbeat, become one, and the signs
between them stand behind it. A measure that stays short is filled up with silence and the chord that sounds; one that is
too long becomes several bars, or a bar of a meter of its own. All but the first is common practice of copyists.
"""

from __future__ import annotations

from fractions import Fraction

from backing.chart.ast import BarLine
from backing.ground.timebase import Meter
from backing.reading.findings import Findings
from backing.reading.lead import Lead, Measure, Set

DENOMINATORS = (1, 2, 3, 4, 6, 8)  # of a pickup in counted beats, as `pickup:` reads it
MOST_COUNT = 32  # upper figure of a meter
MOST_PARTS = 64  # bars that one measure becomes; longer than that is a slip of the file


def fitted(lead: Lead, findings: Findings) -> None:
    """Make every measure as long as its meter, with one pickup at most."""
    measures = [m for m in lead.measures if m.length_q > 0]
    done: list[Measure] = []
    pickup_q = Fraction(0)
    at = 0
    while at < len(measures):
        measure = measures[at]
        at += 1
        after = measures[at] if at < len(measures) else None
        short = measure.length_q < measure.meter.length_q
        if not done and short and after and _is_pickup(measure):
            beats = measure.length_q / measure.meter.beat_q
            if all(s.name != "pickup" for s in lead.settings):
                lead.settings.append(Set("pickup", str(beats), measure.span))
            done.append(measure)
            pickup_q = measure.length_q
            if measure.repeat_start:  # a pickup is played once
                measure.repeat_start, after.repeat_start = False, True
        elif after and short and _completes(measure, after):
            _join(measure, after)
            if at + 1 < len(measures):
                _hand_on(after, measures[at + 1])
            done.append(measure)
            at += 1
        else:
            done.extend(_whole(measure, pickup_q, findings))
    lead.measures = done


def _is_pickup(measure: Measure) -> bool:
    return (measure.length_q / measure.meter.beat_q).denominator in DENOMINATORS


def _completes(measure: Measure, after: Measure) -> bool:
    """Whether two short measures make one bar."""
    whole = measure.length_q + after.length_q == measure.meter.length_q == after.meter.length_q
    return whole and not after.ending and not (measure.times and after.times)


def _join(measure: Measure, after: Measure) -> None:
    by = measure.length_q
    measure.symbols += [s._replace(at_q=s.at_q + by) for s in after.symbols]
    measure.notes += [n._replace(start_q=n.start_q + by) for n in after.notes]
    measure.said += [s._replace(at_q=s.at_q + by) for s in after.said]
    measure.length_q += after.length_q
    measure.times = measure.times or after.times
    if after.line_after is not BarLine.SINGLE:
        measure.line_after = after.line_after


def _hand_on(joined: Measure, after: Measure) -> None:
    """What stood at the start of a measure that became the end of another stands at the next one."""
    after.repeat_start = after.repeat_start or joined.repeat_start
    after.new_line = after.new_line or joined.new_line
    after.settings[:0] = joined.settings
    if after.opened is None:
        after.opened, after.opened_at = joined.opened, joined.opened_at


def _whole(measure: Measure, pickup_q: Fraction, findings: Findings) -> list[Measure]:
    """The bars that a measure becomes; one that the pickup makes whole needs no word."""
    length, meter = measure.length_q, measure.meter
    if length == meter.length_q:
        return [measure]
    values = dict(zip(("found", "expected"), in_words(length, meter.length_q), strict=True))
    if length < meter.length_q:
        if length + pickup_q == meter.length_q:
            measure.length_q = meter.length_q
            return [measure]
        findings.add("W703", measure.span, done="the rest of the bar is held", **values)
        measure.length_q = meter.length_q
        return [measure]
    many = length / meter.length_q
    if many.denominator == 1 and many <= MOST_PARTS:
        findings.add("W703", measure.span, done="it becomes several bars", **values)
        return _parted(measure, int(many))
    own = own_meter(length)
    if own is None:
        findings.add("W703", measure.span, done="what is beyond the bar is left out", **values)
        _cut(measure, meter.length_q)
        return [measure]
    findings.add("W703", measure.span, done=f"it becomes a bar of {own.name}", **values)
    measure.meter = own
    return [measure]


def own_meter(length_q: Fraction) -> Meter | None:
    """The meter of a bar of any length, None where no note value makes one."""
    for unit in (4, 8, 16, 32):
        count = length_q * unit / 4
        if count.denominator == 1 and count <= MOST_COUNT:
            return Meter.of(int(count), unit)
    return None


def _parted(measure: Measure, many: int) -> list[Measure]:
    length = measure.meter.length_q
    parts = []
    for i in range(many):
        since, until = i * length, (i + 1) * length
        part = Measure(span=measure.span, meter=measure.meter, length_q=length)
        part.symbols = [
            s._replace(at_q=s.at_q - since) for s in measure.symbols if since <= s.at_q < until
        ]
        part.said = [
            s._replace(at_q=s.at_q - since) for s in measure.said if since <= s.at_q < until
        ]
        for note in measure.notes:
            start, end = max(note.start_q, since), min(note.end_q, until)
            if start < end:
                held = note.held or note.start_q < since
                part.notes.append(
                    note._replace(start_q=start - since, length_q=end - start, held=held)
                )
        parts.append(part)
    first, last = parts[0], parts[-1]
    first.opened, first.opened_at, first.settings = (
        measure.opened,
        measure.opened_at,
        measure.settings,
    )
    first.repeat_start, first.ending, first.new_line = (
        measure.repeat_start,
        measure.ending,
        measure.new_line,
    )
    last.times, last.line_after = measure.times, measure.line_after
    return parts


def _cut(measure: Measure, length_q: Fraction) -> None:
    measure.length_q = length_q
    measure.symbols = [s for s in measure.symbols if s.at_q < length_q]
    measure.notes = [
        n._replace(length_q=min(n.length_q, length_q - n.start_q))
        for n in measure.notes
        if n.start_q < length_q
    ]


def in_words(*lengths_q: Fraction) -> list[str]:
    """Lengths in one note value: `3 quarters`, `5 eighths`."""
    for unit, name in ((1, "quarter"), (2, "eighth"), (4, "16th"), (8, "32nd")):
        counts = [length * unit for length in lengths_q]
        if all(c.denominator == 1 for c in counts):
            return [f"{c} {name}{'s' if c != 1 else ''}" for c in counts]
    return [f"{float(length):.3g} quarters" for length in lengths_q]
