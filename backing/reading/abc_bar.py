"""A bar of an ABC tune while it is read: its events, and what stands before which of them."""

from __future__ import annotations

from fractions import Fraction

from backing.ground.pitch import Pitch
from backing.ground.source import Span
from backing.reading.lead import Measure, Note, Said, Symbol


class Event:
    """A note or rest while its bar is read; `sung` where it takes a syllable."""

    __slots__ = ("length_q", "pitch", "span", "sung", "tied")

    def __init__(self, pitch: Pitch | None, length_q: Fraction, span: Span, tied: bool) -> None:
        self.pitch, self.length_q, self.span, self.tied = pitch, length_q, span, tied
        self.sung: list[str] = []


class Bar:
    """A measure while it is read: what stands in it by the number of the event that it stands before."""

    __slots__ = ("events", "measure", "said", "symbols")

    def __init__(self, measure: Measure) -> None:
        self.measure = measure
        self.events: list[Event] = []
        self.symbols: list[tuple[int, str, Span]] = []
        self.said: list[tuple[int, str, Span]] = []


def placed(bar: Bar) -> None:
    """Give everything in a bar its place in quarters."""
    starts, at = [], Fraction(0)
    measure = bar.measure
    for event in bar.events:
        starts.append(at)
        if event.pitch is not None:
            measure.notes.append(
                Note(at, event.length_q, event.pitch, event.span, event.tied, tuple(event.sung))
            )
        at += event.length_q
    measure.length_q = at
    measure.symbols = [Symbol(starts[i], text, span) for i, text, span in bar.symbols]
    last = len(starts) - 1
    measure.said = [Said(starts[min(i, last)], text, span) for i, text, span in bar.said]
