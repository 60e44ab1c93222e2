"""Sound that waits on disk until its level is known.

A tape has one or more tracks and runs in blocks; a silent block takes no room. Many threads may read it at once. It is a temporary file beside the
target that has no name where the system allows that, so nothing is left even when the program is killed.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Sound = NDArray[np.float32]  # (frames, 2)

FRAME = 8  # bytes of a frame of a track
MIX = -1  # the last track of a tape holds all players


class Tape:
    """Blocks of float32 sound, each holding every track; blocks are of one length but for the last.

    Writing raises OSError where the disk is full.
    """

    def __init__(self, folder: Path) -> None:
        self._file: Any = tempfile.TemporaryFile(  # noqa: SIM115
            dir=folder, prefix=".backing-", buffering=0
        )
        self._lock = Lock()
        self._end = 0
        self._blocks: list[tuple[int, list[int]]] = []  # frames, and an offset a track (-1: silent)

    def __len__(self) -> int:
        return len(self._blocks)

    def append(self, tracks: Sequence[Sound | None], frames: int) -> None:
        """Add a block; None is a silent track."""
        offsets = []
        for track in tracks:
            offsets.append(-1 if track is None else self._end)
            if track is not None:
                self._write(track, self._end)
                self._end += track.nbytes
        self._blocks.append((frames, offsets))

    def read(self, block: int) -> list[Sound | None]:
        """The tracks of a block."""
        frames, offsets = self._blocks[block]
        return [None if at < 0 else self._read(at, frames) for at in offsets]

    def frames(self, block: int) -> int:
        """Length of a block."""
        return self._blocks[block][0]

    def span(self, start: int, end: int, tracks: Sequence[int] | None = None) -> list[Sound]:
        """Tracks (all, or those numbered) from frame `start` to `end`, across blocks; silence outside the tape."""
        import numpy as np

        numbers = range(self._tracks()) if tracks is None else tracks
        found = [np.zeros((end - start, 2), np.float32) for _ in numbers]
        for block, at, frames in self._between(start, end):
            first, last = max(start, at), min(end, at + frames)
            for number, part in zip(numbers, found, strict=True):
                offset = self._blocks[block][1][number]
                if offset >= 0:
                    self._fill(part[first - start : last - start], offset + FRAME * (first - at))
        return found

    def add(self, start: int, sound: Sequence[Sound]) -> None:
        """Add sound to every track from frame `start` on."""
        import numpy as np

        end = start + len(sound[0])
        for block, at, frames in self._between(start, end):
            first, last = max(start, at), min(end, at + frames)
            tracks = self.read(block)
            offsets = self._blocks[block][1]
            for i, added in enumerate(sound):
                track = tracks[i]
                if track is None:
                    track = np.zeros((frames, 2), np.float32)
                    offsets[i] = self._end
                    self._end += track.nbytes
                track[first - at : last - at] += added[first - start : last - start]
                self._write(track, offsets[i])

    def cut(self, end: int) -> None:
        """Forget everything from frame `end` on."""
        kept = []
        for block, at, frames in list(self._between(0, end)):
            count = min(frames, end - at)
            kept.append((count, self._blocks[block][1]))
        self._blocks = kept

    def _tracks(self) -> int:
        return len(self._blocks[0][1]) if self._blocks else 0

    def _between(self, start: int, end: int) -> Iterator[tuple[int, int, int]]:
        """Blocks that touch a span: number, first frame, length."""
        length = self._blocks[0][0] if self._blocks else 1
        for block in range(max(0, start // length), min(len(self), -(-end // length))):
            yield block, block * length, self._blocks[block][0]

    def close(self) -> None:
        self._file.close()

    def _write(self, track: Sound, at: int) -> None:
        self._file.seek(at)
        rest = track.data.cast("B")
        while rest:
            rest = rest[self._file.write(rest) :]

    def _read(self, at: int, frames: int) -> Sound:
        import numpy as np

        track = np.empty((frames, 2), np.float32)
        self._fill(track, at)
        return track

    def _fill(self, track: Sound, at: int) -> None:
        rest = track.data.cast("B")
        with self._lock:
            self._file.seek(at)
            while rest:
                got = self._file.readinto(rest)
                if not got:
                    raise OSError("the temporary file lost its end")
                rest = rest[got:]


def together(tracks: Sequence[Sound | None], frames: int) -> Sound:
    """The tracks together."""
    import numpy as np

    sounding = [t for t in tracks if t is not None]
    if not sounding:
        return np.zeros((frames, 2), np.float32)
    if len(sounding) == 1:
        return sounding[0]
    total = sounding[0] + sounding[1]
    for track in sounding[2:]:
        total += track
    return total
