"""The running session: what sounds is a function of the frames pulled so far and the commands given.

Time is the count of frames made, and this module alone owns it. Notes are planned far ahead, since a `Take` is pure and
can be thrown away; samples are made a hop at a time and never taken back. A command waits for the first border that
is not yet made: the next hop, beat, bar, or the seam of the loop.

Conventions: frames of the session count from its first sample; a stroke is placed on the grain (64 frames) that lies
nearest, a jump on the one it falls into. What sounds when the music jumps is released there, and a note that its player meant for the first beat of
the new place but struck early is struck at the border.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Iterator
from fractions import Fraction
from heapq import heappop, heappush
from typing import TYPE_CHECKING, NamedTuple, Protocol

from backing.live.asked import Border, Change, Command, Cut, Loop, Place, Play, Stop
from backing.live.take import FULL, Shape, Stroke, Take, same_place
from backing.output.sound.synth import (
    ALL_KEYS,
    GESTURE,
    GRAIN,
    OFF,
    ON,
    PROGRAM,
    RATE,
    event_of,
)

if TYPE_CHECKING:
    from backing.output.sound.synth import Sound

HOP = 16 * GRAIN  # frames made at a time, 23 ms
EARLY = RATE * 6 // 100  # how early a player may be on a beat, in frames
END = 1 << 62
Key = tuple[str, bool]
Events = dict[Key, list[tuple[int, int]]]  # offset in the hop and `event_of`, by stream


class Band(Protocol):
    """What turns events into sound."""

    def seat(self, take: Take) -> None: ...
    def hop(self, events: Events, take: Take, at: int) -> Sound: ...


class _Waiting(NamedTuple):
    command: Command
    border: Border


class Session:
    """Pull frames from it, give it commands; both may come from different threads, `pull` from one alone."""

    def __init__(self, band: Band, take: Take) -> None:
        self._band = band
        self._take = take
        self._next_take: Take | None = None  # what follows the count
        self._next_bar = 0
        self._origin = 0  # the session's frame at which the take's first frame lies
        self._stopped_at = 0  # the take's frame where it stands still
        self._playing = False
        self._made = 0
        self._rounds = 0
        self._loop: tuple[int, int] | None = None
        self._commands: deque[_Waiting] = deque()
        self._waiting: list[_Waiting] = []
        self._pointers: dict[Key, int] = {}
        self._sounding: dict[Key, list[tuple[int, int]]] = {}
        self._held: dict[Key, dict[int, int]] = {}  # pitch: its release
        self._swelled: set[Key] = set()
        self._rest: Sound | None = None
        self.cuts: deque[Cut] = deque(maxlen=64)
        self.place = Place(take, 0, 0, False)
        band.seat(take)

    def command(self, command: Command, border: Border = Border.BAR) -> None:
        """Ask for something; it takes effect at the next such border that is not yet made."""
        self._commands.append(_Waiting(command, border))

    def pull(self, frames: int) -> Sound:
        """The next frames, float32 of shape (frames, 2)."""
        import numpy as np

        parts = [] if self._rest is None else [self._rest]
        have = sum(len(p) for p in parts)
        while have < frames:
            parts.append(self._hop())
            have += HOP
        whole = np.concatenate(parts) if len(parts) > 1 else parts[0]
        self._rest = whole[frames:]
        return whole[:frames]

    # one hop

    def _hop(self) -> Sound:
        start, end = self._made, self._made + HOP
        while self._commands:
            self._ask(self._commands.popleft())
        events: Events = {}
        at = start
        while True:
            frame, what = self._next_cut(at)
            border = min(end, max(at, frame // GRAIN * GRAIN))
            self._play(events, at, border, start, until=frame)
            at = border
            if at >= end or what is None:
                break
            self._do(what, frame if what.border is not Border.NOW else at, events, at - start)
        take = self._take
        here = self._frame(end) if self._playing else self._stopped_at
        sound = self._band.hop(events, take, here)
        self._made = end
        self._tell(here)
        return sound

    def _ask(self, new: _Waiting) -> None:
        """A later take takes the place of one that still waits, a later loop that of a loop, a whole that of its opening.

        Of a burst of jumps and stops the last jump and the stop after it are done.
        """
        kind = type(new.command)
        if isinstance(new.command, Change) and self._goes_on_as(new.command.take):
            self._take = new.command.take
            self._band.seat(self._take)
            return
        if kind in (Change, Loop):
            self._waiting = [w for w in self._waiting if type(w.command) is not kind]
        if new.border is Border.NOW and kind in (Play, Stop):
            done = (Play, Stop) if kind is Play else (Stop,)
            self._waiting = [w for w in self._waiting if not isinstance(w.command, done)]
        self._waiting.append(new)

    def _frame(self, frame: int) -> int:
        """A frame of the session as one of its take."""
        return frame - self._origin

    def _tell(self, here: int) -> None:
        counting = self._next_take is not None
        take = self._next_take or self._take
        bar = self._next_bar if counting else take.bar_at(here)
        self.place = Place(take, bar, here, self._playing, counting, self._rounds)

    # what comes next

    def _next_cut(self, at: int) -> tuple[int, _Waiting | None]:
        """The first border from `at` on at which something waits, and what."""
        first, found = END, None
        for waiting in self._waiting:
            frame = self._border(waiting.border, at)
            if frame < first:
                first, found = frame, waiting
        seam = self._seam()
        if self._playing and seam <= first:
            return max(seam, at), _Waiting(Play(self._after_seam()), Border.ROUND)
        return first, found

    def _seam(self) -> int:
        """Where this take ends or jumps back."""
        if self._next_take is not None:
            return self._origin + self._take.bars[0]
        if self._loop and self._frame(self._made) < self._take.bars[self._loop[1] + 1]:
            return self._origin + self._take.bars[self._loop[1] + 1]
        return self._origin + self._take.frames

    def _after_seam(self) -> int:
        if self._next_take is not None:
            return self._next_bar
        return self._loop[0] if self._loop else -1

    def _border(self, border: Border, at: int) -> int:
        """The first such border from frame `at` of the session on."""
        if not self._playing or border is Border.NOW:
            return at
        if border is Border.ROUND or self._next_take is not None:
            return self._seam()
        take, here = self._take, self._frame(at)
        if here >= take.bars[-1]:
            return at
        bar = bisect_left(take.bars, here)
        if border is Border.BEAT and bar > 0:
            beats = [take.frame(q) for q in take.beats(bar - 1)]
            frames = [f for f in beats if f >= here]
            if frames:
                return self._origin + frames[0]
        return self._origin + take.bars[bar]

    # what is done at a border

    def _do(self, waiting: _Waiting, frame: int, events: Events, offset: int) -> None:
        if waiting in self._waiting:
            self._waiting.remove(waiting)
        command = waiting.command
        if isinstance(command, Stop):
            if self._playing:
                self._stopped_at = self._frame(frame)
            if self._next_take is not None:
                self._counted()
                self._stopped_at = self._take.bars[self._next_bar]
            self._release(events, offset)
            self._playing = False
        elif isinstance(command, Loop):
            self._set_loop(command)
        elif isinstance(command, Change):
            self._change(command.take, frame, events, offset)
        elif waiting.border is Border.ROUND:
            self._round(command, frame, events, offset)
        else:
            self._counted()
            self._start(command, frame, events, offset)

    def _counted(self) -> None:
        """A count that is under way is over: what it led to is what is played."""
        if self._next_take is not None:
            self._take, self._next_take = self._next_take, None

    def _round(self, command: Play, frame: int, events: Events, offset: int) -> None:
        if self._next_take is not None:
            take, self._next_take = self._next_take, None
            self._jump(take, command.bar, frame, events, offset)
        elif command.bar < 0:  # the end
            self._release(events, offset)
            self._playing, self._stopped_at = False, 0
            self._rounds += 1
        else:
            self._rounds += 1
            self._jump(self._take, command.bar, frame, events, offset)

    def _start(self, command: Play, frame: int, events: Events, offset: int) -> None:
        self._playing = True
        bar = min(max(0, command.bar), len(self._take.bars) - 2)
        if command.count_in is not None:
            self._next_take, self._next_bar = self._take, bar
            self._jump(command.count_in, -1, frame, events, offset)
        elif bar == 0 and not self._loop:
            self._jump(self._take, -1, frame, events, offset)
        else:
            self._jump(self._take, bar, frame, events, offset)

    def _change(self, take: Take, frame: int, events: Events, offset: int) -> None:
        old = self._next_take or self._take
        loop = self._loop
        if loop:
            first, last = (same_place(old.timeline, b, take.timeline) for b in loop)
            self._loop = (first, last) if first <= last else None
        if self._next_take is not None:
            self._next_take = take
            self._next_bar = same_place(old.timeline, self._next_bar, take.timeline)
            return
        here = self._frame(frame) if self._playing else self._stopped_at
        if self._playing and here < old.bars[0]:  # inside the count of the take itself
            self._jump(take, 0, frame, events, offset)
            return
        bar = old.bar_at(here)
        place_q = _inside(old, bar, here)
        target = same_place(old.timeline, bar, take.timeline)
        there = take.timeline.bars[target]
        goal = take.frame(there.start_q + min(place_q, there.length_q))
        if self._playing:
            self._jump(take, target, frame, events, offset, goal)
        else:
            self._take, self._stopped_at = take, goal if here else 0
            self._band.seat(take)

    def _goes_on_as(self, take: Take) -> bool:
        """Whether a take is this one so far, so that nothing need end: a whole that takes the place of its opening."""
        old = self._take
        if self._next_take is not None or not old.opening or old.bars != take.bars:
            return False
        new = {s.key: s for s in take.streams}
        return all(
            s.key in new and new[s.key].strokes[:begun] == s.strokes[:begun]
            for s in old.streams
            for begun in (self._pointers.get(s.key, 0),)
        )

    def _set_loop(self, command: Loop) -> None:
        if command.first is None:
            self._loop = None
            return
        most = len((self._next_take or self._take).bars) - 2
        first = min(command.first, most)
        last = first if command.last is None else min(command.last, most)
        self._loop = (first, max(first, last))

    def _jump(
        self, take: Take, bar: int, frame: int, events: Events, offset: int, goal: int | None = None
    ) -> None:
        """Go on at a bar (-1 is the very start, its count included) or at a frame of a take."""
        self._release(events, offset)
        if take is not self._take:
            self._band.seat(take)
        if goal is None:
            goal = 0 if bar < 0 else take.bars[bar]
        self._take, self._origin = take, frame - goal
        self.cuts.append(Cut(frame, bar))
        self._pointers = {}
        for stream in take.streams:
            key = stream.key
            strokes = stream.strokes
            row = events.setdefault(key, [])
            voice = stream.voice_at(goal)
            row.append((offset, event_of(0, PROGRAM, voice.instrument.program)))
            if stream.shapes:
                row.append((offset, _shaped(Shape(goal, -1, stream.swell_at(goal)))))
            elif key in self._swelled:
                row.append((offset, _shaped(Shape(goal, -1, FULL))))
            first = bisect_left(strokes, (goal - EARLY,))
            pointer = bisect_left(strokes, (goal,))
            for stroke in strokes[first:pointer]:
                if goal > 0 and stroke.release > goal and not _meant_before(stroke, goal):
                    self._strike(row, key, offset, stroke)
            self._pointers[key] = pointer
        self._swelled = {s.key for s in take.streams if s.shapes}

    def _release(self, events: Events, offset: int) -> None:
        """Everything that sounds ends here."""
        for key, held in self._held.items():
            row = events.setdefault(key, [])
            row.extend((offset, event_of(0, OFF, pitch)) for pitch in held)
        self._held, self._sounding = {}, {}

    # strokes between borders

    def _play(self, events: Events, start: int, end: int, hop: int, until: int) -> None:
        """The events of frames `start` to `end` of the session; what is meant for `until`, a cut, is left to it."""
        if not self._playing or end <= start:
            return
        for stream in self._take.streams:
            key = stream.key
            row: list[tuple[int, int]] = []
            for place, event in self._of(stream.strokes, key, start, end, until):
                row.append((max(start, place) - hop, event))
            for first, voice in stream.voices[1:]:
                if start <= (at := _grain(self._origin + first)) < end:
                    row.append((at - hop, event_of(0, PROGRAM, voice.instrument.program)))
            lowest = bisect_left(stream.shapes, (start - self._origin - GRAIN,))
            for shape in stream.shapes[lowest:]:
                if (at := _grain(self._origin + shape.at)) >= end:
                    break
                if at >= start:
                    row.append((at - hop, _shaped(shape)))
            row.sort(key=lambda e: (e[0], e[1] >> 16))
            # behind what was done at the border: a chord that is struck there may end there too
            events.setdefault(key, []).extend(row)

    def _of(
        self, strokes: tuple[Stroke, ...], key: Key, start: int, end: int, until: int
    ) -> Iterator[tuple[int, int]]:
        """Ends and beginnings in order, each with its grain."""
        heap = self._sounding.setdefault(key, [])
        held = self._held.setdefault(key, {})
        at = self._pointers.get(key, 0)
        while at < len(strokes):
            stroke = strokes[at]
            place = _grain(self._origin + stroke.onset)
            if place >= end:
                break
            at += 1
            if (
                until - EARLY <= self._origin + stroke.onset
                and self._origin + stroke.release > until
            ):
                continue  # an early first beat of what is not played now
            yield from _ended(heap, held, place)
            if stroke.pitch in held:
                yield place, event_of(0, OFF, stroke.pitch)
            release = max(place + GRAIN, _grain(self._origin + stroke.release))
            heappush(heap, (release, stroke.pitch))
            held[stroke.pitch] = release
            yield max(place, start), event_of(0, ON, stroke.pitch, stroke.velocity)
        self._pointers[key] = at
        yield from _ended(heap, held, end - 1)

    def _strike(self, row: list[tuple[int, int]], key: Key, offset: int, stroke: Stroke) -> None:
        row.append((offset, event_of(0, ON, stroke.pitch, stroke.velocity)))
        release = _grain(self._origin + stroke.release)
        heappush(self._sounding.setdefault(key, []), (release, stroke.pitch))
        self._held.setdefault(key, {})[stroke.pitch] = release


def _ended(
    heap: list[tuple[int, int]], held: dict[int, int], until: int
) -> Iterator[tuple[int, int]]:
    """What ends up to a frame."""
    while heap and heap[0][0] <= until:
        release, pitch = heappop(heap)
        if held.get(pitch) == release:
            del held[pitch]
            yield release, event_of(0, OFF, pitch)


def _meant_before(stroke: Stroke, goal: int) -> bool:
    """Whether most of a stroke lies before a place: it belongs there."""
    return goal - stroke.onset > stroke.release - goal


def _shaped(shape: Shape) -> int:
    return event_of(0, GESTURE, shape.key if shape.key >= 0 else ALL_KEYS, shape.value)


def _grain(frame: int) -> int:
    return (frame + GRAIN // 2) // GRAIN * GRAIN


def _inside(take: Take, bar: int, frame: int) -> Fraction:
    """How far into a bar a frame lies, in quarters, to the nearest counted beat that is not later."""
    start_q = take.timeline.bars[bar].start_q
    passed = [q for q in take.beats(bar) if take.frame(q) <= frame + 1]
    return (passed[-1] - start_q) if passed else Fraction(0)
