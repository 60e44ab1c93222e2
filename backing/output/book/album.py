"""The album: its play list, and all of it as one long file with a chapter a tune.

Conventions: the long file is made of the files of the tunes, decoded, with silence between them; it is written as any
sound of this program is, and no more of it than a block is in memory. Of a format with loss it has lost twice; FLAC and WAV lose nothing.
Source: the play list is what RFC 8216 calls an extended M3U (`#EXTM3U`, `#EXTINF:seconds,title`), in UTF-8.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

from backing.ground.errors import OutputError
from backing.output.files import MARK
from backing.output.sound import encode
from backing.output.sound.encoder import encoder_path
from backing.output.sound.tags import Tags
from backing.output.sound.wave import RATE

if TYPE_CHECKING:
    import numpy as np

    from backing.output.sound.encode import Sound

DECODED = 1 << 16  # frames at a time


class Track(NamedTuple):
    """A tune of the album: its file, what it is called, and how long it is."""

    path: Path
    title: str
    length_s: float


def play_list(tracks: Sequence[Track], place: PurePosixPath) -> str:
    """The play list that lies at `place`; the paths of its tracks are relative to the book."""
    rows = ["#EXTM3U", f"# {MARK}"]
    for track in tracks:
        path = PurePosixPath(track.path.as_posix())
        same = path.parent == place.parent
        rows += [f"#EXTINF:{track.length_s:.3f},{track.title}", path.name if same else f"../{path}"]
    return "\n".join(rows) + "\n"


def write(tracks: Sequence[Track], path: Path, title: str, by: str, gap_s: float) -> None:
    """Write the tracks one after another, with so much silence between. Raises `OutputError`, `AudioUnavailable`."""
    gap = round(gap_s * RATE)
    frames = [length(track.path) for track in tracks]
    starts = [sum(frames[:i]) + i * gap for i in range(len(frames))]
    chapters = tuple(
        (round(at * 1000 / RATE), t.title) for at, t in zip(starts, tracks, strict=True)
    )
    tags = Tags(title, by, 0, "", MARK, chapters, album=title)
    joined = _Joined([track.path for track in tracks], frames, gap)
    encode.write(path, path.suffix, joined, tags)


def length(path: Path) -> int:
    """Frames of a sound file. Raises `OutputError`."""
    return sum(len(block) for block in decoded(path))


def decoded(path: Path) -> Generator[np.ndarray[tuple[int, int], np.dtype[np.float32]]]:
    """A sound file in blocks of shape (n, 2). Raises `OutputError`."""
    from subprocess import PIPE, Popen

    import numpy as np

    command = [encoder_path(), "-v", "error", "-i", str(path), "-f", "f32le", "-ac", "2", "-ar", str(RATE), "pipe:1"]  # fmt: skip
    with Popen(command, stdout=PIPE) as program:
        assert program.stdout is not None
        while data := program.stdout.read(DECODED * 8):
            yield np.frombuffer(data, np.float32).reshape(-1, 2)
        if program.wait():
            raise OutputError(f"{path} could not be read as sound")


class _Joined:
    """Files with silence between, read once from start to end."""

    def __init__(self, paths: Sequence[Path], frames: Sequence[int], gap: int) -> None:
        self.frames = sum(frames) + gap * (len(paths) - 1)
        self._blocks = self._all(paths, gap)
        self._left: list[Sound] = []

    def _all(self, paths: Sequence[Path], gap: int) -> Generator[Sound]:
        import numpy as np

        for i, path in enumerate(paths):
            if i and gap:
                yield np.zeros((gap, 2), np.float32)
            yield from decoded(path)

    def sound(self, start: int, end: int) -> Sound:
        """The next frames; each is asked for once, in order."""
        import numpy as np

        held = sum(map(len, self._left))
        while held < end - start:
            self._left.append(next(self._blocks))
            held += len(self._left[-1])
        joined = np.concatenate(self._left)
        self._left = [joined[end - start :]]
        return joined[: end - start]
