"""A chord that is struck once, beside whatever plays."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from backing.ground.errors import RequestError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from backing.harmony.chord import Chord
    from backing.live.take import Take

PIANO = "acoustic piano"
LOWEST_BASS, LOWEST_ROOT = (
    36,
    48,
)  # MIDI notes: the left hand from C2 on, the right one from C3 on (common practice)
VELOCITY = 76
HELD_S, WHOLE_S = 1.8, 3.0
GAIN_DB = 2.0


class Struck:
    """A session of its own for single chords."""

    def __init__(self, band: Any, take: Take) -> None:
        from backing.live.session import Session

        self.band, self._session = band, Session(band, take)

    def strike(self, take: Take) -> None:
        """Let a chord sound; the one before ends."""
        from backing.live.asked import Border, Change, Play

        self._session.command(Change(take), Border.NOW)
        self._session.command(Play(0), Border.NOW)

    def pull(self, frames: int) -> NDArray[np.float32]:
        """The next frames."""
        return self._session.pull(frames)


def strike(symbol: str, struck: Struck | None, band: Callable[[], Any]) -> Struck:
    """Strike a chord, with a band that is made where there is none yet. Raises `RequestError` for what is no chord."""
    take = take_of_chord(symbol)
    struck = struck or Struck(band(), take)
    struck.strike(take)
    return struck


def take_of_chord(symbol: str) -> Take:
    """One bar in which a piano holds a chord. Raises `RequestError`."""
    from backing.band.model import Arrangement
    from backing.chart.parse import parse
    from backing.commands.preparing import prepare
    from backing.ground.errors import ChartError
    from backing.ground.instruments import INSTRUMENTS
    from backing.ground.timebase import TempoMap
    from backing.live.take import Stream, Stroke, Take
    from backing.output.sound.synth import RATE
    from backing.performance.model import Performance, Voice

    if not symbol.strip() or not set("|\n[]{}").isdisjoint(symbol):
        raise RequestError(f"{symbol}: this is no chord")
    try:
        prepared = prepare(parse(f"count-in: off\ntempo: 80\n| {symbol} |", "chord"))
        (span,) = prepared.timeline.chords[:1]
    except (ChartError, ValueError):
        raise RequestError(f"{symbol}: this is no chord") from None
    if span.chord is None:
        raise RequestError(f"{symbol}: there is nothing to strike")
    timeline = prepared.timeline
    arrangement = Arrangement(timeline, prepared.style, 1, ())
    tempo = TempoMap(timeline.tempo, Fraction(0))
    performance = Performance(arrangement, tempo, (), (), 0.0, WHOLE_S)
    frames = round(WHOLE_S * RATE)
    voice = Voice(0.0, Fraction(0), INSTRUMENTS[PIANO], 0.0, 0.0, 0.3)
    strokes = tuple(Stroke(0, round(HELD_S * RATE), p, VELOCITY) for p in pitches(span.chord))
    stream = Stream("keys", False, ((0, voice),), strokes)
    return Take(performance, (0, frames), (stream,), frames, GAIN_DB)


def pitches(chord: Chord) -> list[int]:
    """MIDI notes of a chord in close position over its bass, as a beginner's book has it."""
    bass = LOWEST_BASS + chord.lowest.pc
    root = LOWEST_ROOT + chord.root.pc
    return sorted({bass, *(root + degree.semitones for degree in chord.degrees)})
