"""A performance made ready to be played from any bar.

Conventions: frames of a take count from the first sample of its performance, count-in included; bars count from 0.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from backing.ground.timebase import TempoMap
from backing.output.notes import apart
from backing.output.sound import balance
from backing.output.sound.synth import GRAIN, RATE
from backing.performance.model import (
    RING_S,
    Performance,
    PerformedNote,
    PerformedPlayer,
    Voice,
)
from backing.timeline.model import PlayedBar, Timeline

FULL = 127


class Stroke(NamedTuple):
    """A note in frames of its take."""

    onset: int
    release: int
    pitch: int
    velocity: int


class Shape(NamedTuple):
    """A gesture in frames of its take: see `Gesture` for `key` and `value`."""

    at: int
    key: int
    value: int


class Stream(NamedTuple):
    """What goes through one synthesiser: a player, or the hats and rides of a kit (`near`), in order of onset."""

    role: str
    near: bool
    voices: tuple[tuple[int, Voice], ...]  # first frame of each, in order
    strokes: tuple[Stroke, ...]
    shapes: tuple[Shape, ...] = ()

    @property
    def key(self) -> tuple[str, bool]:
        return self.role, self.near

    def voice_at(self, frame: int) -> Voice:
        return self.voices[max(0, bisect_right(self.voices, frame, key=lambda v: v[0]) - 1)][1]

    def swell_at(self, frame: int) -> int:
        """How loud what sounds is held there: 127 is as struck."""
        before = bisect_right(self.shapes, frame, key=lambda s: s.at)
        return next((s.value for s in reversed(self.shapes[:before]) if s.key < 0), FULL)


class Take(NamedTuple):
    """A performance as streams. `bars` holds the frame at which every bar starts, and the end of the last one.

    `gain_db` brings it to its loudness (`foreseen`). Of a very long form only the bars from `first` up to `last` have
    strokes (`windowed`), and so it is with an `opening`, which is played while the rest is made.
    """

    performance: Performance
    bars: tuple[int, ...]
    streams: tuple[Stream, ...]
    frames: int
    gain_db: float = 0.0
    first: int = 0
    last: int = 1 << 30
    opening: bool = False

    @property
    def timeline(self) -> Timeline:
        return self.performance.arrangement.timeline

    def has(self, bar: int) -> bool:
        """Whether a bar has its strokes."""
        return self.first <= bar < self.last

    def frame(self, at_q: Fraction) -> int:
        """The frame of a place in quarters."""
        return round(self.performance.tempo.exact_s(at_q) * RATE)

    def bar_at(self, frame: int) -> int:
        """The bar that sounds at a frame; the first in the count-in, the last in what rings after the end."""
        return min(max(0, bisect_right(self.bars, frame) - 1), len(self.bars) - 2)

    def beats(self, bar: int) -> list[Fraction]:
        """Where the counted beats of a bar stand, in quarters."""
        played = self.timeline.bars[bar]
        beat_q = played.meter.beat_q
        count = -(-played.length_q // beat_q)
        return [played.start_q + i * beat_q for i in range(int(count))]


def take_of(performance: Performance) -> Take:
    """Make a performance ready."""
    streams = [s for player in performance.players for s in _streams(player)]
    return Take(
        performance,
        _bars(performance.tempo, performance.arrangement.timeline),
        tuple(streams),
        round(performance.duration_s * RATE),
    )


def windowed(part: Take, whole: Timeline, first: int) -> Take:
    """Some bars of a form, from `first` on, as a take of the whole form in which the others have no strokes yet."""
    arrangement = part.performance.arrangement._replace(timeline=whole, players=())
    zero_q = part.performance.tempo.zero_q if first == 0 else Fraction(0)
    tempo = TempoMap(whole.tempo, zero_q)
    bars = _bars(tempo, whole)
    by = bars[first] - part.bars[0]
    end_s = tempo.seconds(whole.length_q) + RING_S
    performance = part.performance._replace(
        arrangement=arrangement, tempo=tempo, duration_s=end_s, players=()
    )
    streams = tuple(_later(stream, by) for stream in part.streams)
    last = first + len(part.bars) - 1
    return part._replace(
        performance=performance,
        bars=bars,
        streams=streams,
        frames=round(end_s * RATE),
        first=first,
        last=last,
    )


def _later(stream: Stream, by: int) -> Stream:
    return stream._replace(
        voices=tuple((at + by if i else 0, voice) for i, (at, voice) in enumerate(stream.voices)),
        strokes=tuple(
            s._replace(onset=s.onset + by, release=s.release + by) for s in stream.strokes
        ),
        shapes=tuple(s._replace(at=s.at + by) for s in stream.shapes),
    )


def _bars(tempo: TempoMap, timeline: Timeline) -> tuple[int, ...]:
    places = [*(bar.start_q for bar in timeline.bars), timeline.bars[-1].end_q]
    return tuple(round(tempo.exact_s(q) * RATE) for q in places)


def _streams(player: PerformedPlayer) -> list[Stream]:
    if not balance.close_db(player.voices[0].instrument):
        return [_stream(player, player.notes, near=False)]
    far = [n for n in player.notes if n.pitch not in balance.CLOSE_KEYS]
    near = [n for n in player.notes if n.pitch in balance.CLOSE_KEYS]
    return [_stream(player, far, near=False), _stream(player, near, near=True)]


def _stream(player: PerformedPlayer, notes: Sequence[PerformedNote], *, near: bool) -> Stream:
    placed = ((_grain(n.onset_s), _grain(n.release_s), n.pitch, n.velocity) for n in notes)
    strokes = tuple(sorted(Stroke(*row) for row in apart(placed, GRAIN)))
    voices = tuple((round(v.at_s * RATE), v) for v in player.voices)
    shapes = tuple(Shape(_grain(g.at_s), g.key, g.value) for g in player.gestures)
    return Stream(player.role, near, voices, strokes, shapes)


def _grain(seconds: float) -> int:
    """The frame of the grain that lies nearest, as in a file."""
    return GRAIN * round(seconds * RATE / GRAIN)


def same_place(old: Timeline, bar: int, new: Timeline) -> int:
    """The bar of another timeline where the old one's `bar` goes on: the same bar of the same playing of its section,
    else the same number on the sheet, else the same share of the way.
    """
    if not 0 <= bar < len(old.bars):
        return 0
    here = old.bars[bar]

    def section(timeline: Timeline, at: PlayedBar) -> tuple[str, int, int]:
        return at.section, at.pass_, at.index - timeline.sections[at.section_index].first

    wanted = section(old, here)
    if bar < len(new.bars) and section(new, new.bars[bar]) == wanted:
        return bar
    for i, there in enumerate(new.bars):
        if section(new, there) == wanted:
            return i
    numbered = [i for i, there in enumerate(new.bars) if there.number == here.number]
    if here.number and numbered:
        return min(numbered, key=lambda i: abs(i - bar))
    return min(len(new.bars) - 1, bar * len(new.bars) // len(old.bars))
