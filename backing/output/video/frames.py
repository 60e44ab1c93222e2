"""Every frame of a video, put together of stills: only what has changed since the frame before is drawn.

Conventions: as for `stills`. What is lit is copied from the lit picture of a still, what goes out again from the other, so
that letters, bar lines and ticks over it stay as they are.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from math import ceil, floor
from typing import TYPE_CHECKING, NamedTuple

from backing.output.video.drawn import Box
from backing.output.video.scenes import Glow, Scene, Still, Sweep
from backing.output.video.screens import FPS, Screen

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Bytes = NDArray[np.uint8]

HAIR_PX = 1e-6  # places come from divisions


class _Area(NamedTuple):
    """Whole pixels from left, top to right, bottom; top and bottom are even."""

    x0: int
    y0: int
    x1: int
    y1: int


def frames(
    scenes: Sequence[Scene], order: dict[Still, int], stills: Bytes, screen: Screen, count: int
) -> Iterator[memoryview]:
    """So many frames; each is good until the next is asked for. `order` says which two pictures are a still's."""
    canvas = _Canvas(screen)
    starts = [scene.start_s for scene in scenes]
    shown = -1
    for n in range(count):
        at_s = (n + 0.5) / FPS
        index = max(0, bisect_right(starts, at_s) - 1)
        if index != shown:
            number = 2 * order[scenes[index].still]
            canvas.begin(scenes[index], stills[number], stills[number + 1])
            shown = index
        canvas.light(at_s)
        yield canvas.data


class _Canvas:
    """A frame, and what is lit in it."""

    def __init__(self, screen: Screen) -> None:
        import numpy as np

        self._scale = screen.scale
        wide, high = screen.pixels
        self._frame = np.zeros(wide * high * 3 // 2, np.uint8)
        self._shape = (high, wide)
        self.data = self._frame.data

    def begin(self, scene: Scene, dark: Bytes, lit: Bytes) -> None:
        """Show a scene with nothing lit."""
        self._frame[:] = dark
        self._planes = [self._planes_of(picture) for picture in (self._frame, dark, lit)]
        self._sweeps = [(sweep, self._area(sweep.box)) for sweep in scene.sweeps]
        self._reached = [area.x0 for _, area in self._sweeps]
        self._glows = [(glow, self._area(glow.box)) for glow in scene.glows]
        self._glowing = [False] * len(self._glows)

    def light(self, at_s: float) -> None:
        """Light what is lit at a time that is not before the last one."""
        for i, (sweep, area) in enumerate(self._sweeps):
            x = self._pixel(sweep, at_s)
            if x > self._reached[i]:
                self._copy(area._replace(x0=self._reached[i], x1=x), lit=True)
                self._reached[i] = x
        for i, (glow, area) in enumerate(self._glows):
            if self._glowing[i] != _glows(glow, at_s):
                self._glowing[i] = not self._glowing[i]
                self._copy(area, lit=self._glowing[i])

    def _pixel(self, sweep: Sweep, at_s: float) -> int:
        """The first pixel that is not filled yet: one on which a beat stands is filled from that beat on."""
        times, xs = sweep.times_s, sweep.xs
        after = bisect_right(times, at_s)
        if after == 0:
            return 0
        if after == len(times):
            return ceil(xs[-1] * self._scale)
        share = (at_s - times[after - 1]) / (times[after] - times[after - 1])
        x = xs[after - 1] + share * (xs[after] - xs[after - 1])
        return floor(x * self._scale + HAIR_PX) + 1

    def _area(self, box: Box) -> _Area:
        x0, y0, x1, y1 = (v * self._scale for v in box)
        return _Area(floor(x0), floor(y0 / 2) * 2, ceil(x1), ceil(y1 / 2) * 2)

    def _copy(self, area: _Area, *, lit: bool) -> None:
        """Copy a part of the frame from one of the two pictures."""
        frame, source = self._planes[0], self._planes[2 if lit else 1]
        for plane, (ours, theirs) in enumerate(zip(frame, source, strict=True)):
            half = 2 if plane else 1
            rows = slice(area.y0 // half, area.y1 // half)
            columns = slice(area.x0 // half, -(-area.x1 // half))
            ours[rows, columns] = theirs[rows, columns]

    def _planes_of(self, picture: Bytes) -> tuple[Bytes, Bytes, Bytes]:
        """Brightness and the two colours of a picture, as arrays of rows."""
        high, wide = self._shape
        luma, half = high * wide, high * wide // 4
        return (
            picture[:luma].reshape(high, wide),
            picture[luma : luma + half].reshape(high // 2, wide // 2),
            picture[luma + half :].reshape(high // 2, wide // 2),
        )


def _glows(glow: Glow, at_s: float) -> bool:
    return glow.start_s <= at_s < glow.end_s
