"""Sound files in blocks: WAV by hand, FLAC and OGG through soundfile, M4A and (see `mp3`) MP3 through ffmpeg.

Conventions: a writer takes float32 blocks of shape (n, 2) at their final level and turns them into the file's own
samples; 16 bits get triangular dither, whose noise depends on the place in the file and on nothing else.
Sources: dither of two evenly spread numbers, one step each (common practice); M4A with an edit list that says how
much of its head and tail to leave out.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from backing.ground.errors import AudioUnavailable
from backing.output.sound import mp3
from backing.output.sound.loudness import encoder_path, failure
from backing.output.sound.tags import Tags
from backing.output.sound.wave import RATE, WaveFile

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Sound = NDArray[np.float32]

__all__ = ["ENCODED", "SOUND", "Source", "encoder_path", "write"]

SOUND = (".wav", ".flac", ".ogg", ".mp3", ".m4a")
ENCODED = (".mp3", ".m4a")  # by ffmpeg
BITRATE = f"{mp3.KBPS}k"
BLOCK = 64 * mp3.FRAME  # frames at a time


class Source(Protocol):
    """Sound by its place."""

    @property
    def frames(self) -> int:
        """Length in frames (sample pairs)."""

    def sound(self, start: int, end: int) -> Sound:
        """Samples of shape (end - start, 2); `start` is a multiple of 64."""


class Writer(Protocol):
    """A sound file that is being written."""

    def write(self, sound: Sound, at: int) -> None:
        """Take the block that begins at frame `at`. Raises OSError, `OutputError`."""

    def close(self) -> None:
        """Finish the file. Raises OSError, `OutputError`."""

    def abandon(self) -> None:
        """Stop without finishing; the file is of no use."""


def write(
    part: Path,
    ending: str,
    source: Source,
    tags: Tags,
    *,
    bits: int = 16,
    loop: tuple[int, int] | None = None,
    tell: Callable[[int], None] = lambda frames: None,
) -> None:
    """Write the file `part` in the format that `ending` names.

    `tell` hears how many frames were taken, and may raise to end it. Raises OSError, `OutputError`, `AudioUnavailable`.
    """
    if ending == ".mp3":
        mp3.write(part, source, tags, tell)
        return
    out = _writer(part, ending, source.frames, tags, bits, loop)
    try:
        for at in range(0, source.frames, BLOCK):
            end = min(source.frames, at + BLOCK)
            tell(end - at)
            out.write(source.sound(at, end), at)
    except BaseException:
        out.abandon()
        raise
    out.close()


def _writer(
    part: Path, ending: str, frames: int, tags: Tags, bits: int, loop: tuple[int, int] | None
) -> Writer:
    if ending == ".wav":
        return _Wave(part, frames, bits, tags, loop)
    if ending in (".flac", ".ogg"):
        return _SoundFile(part, ending, bits, tags)
    return _Aac(part, frames, tags)


def samples(sound: Sound, bits: int, at: int) -> NDArray[np.int16] | NDArray[np.int32]:
    """Whole samples: 16 bits with dither, or 24 bits in the low bytes of 32; never beyond full scale.

    Digital silence stays silent.
    """
    import numpy as np

    if bits == 24:
        wide = np.clip(np.rint(sound * np.float32(2**23)), -(2**23), 2**23 - 1)
        return np.asarray(wide, np.int32)
    if not sound.any():
        return np.zeros(sound.shape, np.int16)
    count = sound.size
    raw = np.random.Philox(key=at).random_raw(-(-count // 2)).view(np.uint16).reshape(2, -1)
    noise = np.subtract(raw[0, :count], raw[1, :count], dtype=np.float32).reshape(sound.shape)
    noise *= np.float32(2**-16)
    scaled = sound * np.float32(2**15)
    scaled += noise
    np.rint(scaled, out=scaled)
    np.clip(scaled, -(2**15), 2**15 - 1, out=scaled)
    return scaled.astype(np.int16)


class _Wave:
    def __init__(
        self, part: Path, frames: int, bits: int, tags: Tags, loop: tuple[int, int] | None
    ) -> None:
        self._bits = bits
        self._file = WaveFile(part, frames, bits, tags, loop)

    def write(self, sound: Sound, at: int) -> None:
        self._file.write(samples(sound, self._bits, at))

    def close(self) -> None:
        self._file.close()

    abandon = close


class _SoundFile:
    def __init__(self, part: Path, ending: str, bits: int, tags: Tags) -> None:
        import soundfile

        self._flac = ending == ".flac"
        self._bits = bits
        self._error = soundfile.LibsndfileError
        try:
            self._file: Any = soundfile.SoundFile(
                part,
                "w",
                RATE,
                2,
                subtype=f"PCM_{bits}" if self._flac else "VORBIS",
                format="FLAC" if self._flac else "OGG",
            )
        except self._error as error:
            raise OSError(f"soundfile could not open it: {error}") from error
        said = {"title": tags.title, "artist": tags.by, "software": tags.maker}
        said["comment"] = f"{tags.comment}; {tags.bpm} bpm, {tags.key}"
        for name, value in said.items():
            if value:
                setattr(self._file, name, value)

    def write(self, sound: Sound, at: int) -> None:
        import numpy as np

        data: NDArray[Any] = sound
        if self._flac:
            data = samples(sound, self._bits, at)
            if self._bits == 24:
                data = data.astype(np.int32) << 8
        else:
            data = np.clip(sound, -1.0, 1.0)
        try:
            self._file.write(data)
        except (self._error, AssertionError) as error:  # soundfile asserts that all was written
            raise OSError(28, "the sound could not be written whole") from error

    def close(self) -> None:
        try:
            self._file.close()
        except self._error as error:
            raise OSError(28, "the sound could not be written whole") from error

    abandon = close


class _Aac:
    def __init__(self, part: Path, frames: int, tags: Tags) -> None:
        self._chapters = part.with_name(part.name + ".chapters")
        arguments = [encoder_path(), "-hide_banner", "-loglevel", "error", "-y"]
        arguments += ["-f", "f32le", "-ar", str(RATE), "-ac", "2", "-i", "pipe:0"]
        if len(tags.chapters) > 1:
            self._chapters.write_text(chapters(tags, frames), encoding="utf-8")
            arguments += ["-f", "ffmetadata", "-i", str(self._chapters), "-map_chapters", "1"]
        arguments += ["-map", "0:a", "-fflags", "+bitexact"]
        arguments += ["-flags:a", "+bitexact", "-b:a", BITRATE]
        comment = f"{tags.comment}; {tags.bpm} bpm, {tags.key}"
        said = {"title": tags.title, "artist": tags.by, "comment": comment, "tmpo": str(tags.bpm)}
        for name, value in said.items():
            if value:
                arguments += ["-metadata", f"{name}={value}"]
        arguments += ["-c:a", "aac", "-movflags", "+faststart", "-f", "ipod"]
        try:
            self._process = subprocess.Popen(
                [*arguments, str(part)],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
            )
        except OSError as error:
            raise AudioUnavailable(f"the encoder cannot be started: {error.strerror}") from error

    def write(self, sound: Sound, at: int) -> None:
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(sound.data.cast("B"))
        except BrokenPipeError:
            self.close()

    def close(self) -> None:
        _, report = self._process.communicate()
        self._chapters.unlink(missing_ok=True)
        if self._process.returncode:
            raise failure(report)

    def abandon(self) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self._process.communicate()
        self._chapters.unlink(missing_ok=True)


def chapters(tags: Tags, frames: int) -> str:
    """Chapters as ffmpeg reads them: each runs until the next, the last to the end."""
    end = round(frames * 1000 / RATE)
    starts = [start for start, _ in tags.chapters]
    text = [";FFMETADATA1"]
    for (start, name), stop in zip(tags.chapters, [*starts[1:], end], strict=True):
        escaped = re.sub(r"([=;#\\\n])", r"\\\1", name)
        text += [
            "[CHAPTER]",
            "TIMEBASE=1/1000",
            f"START={start}",
            f"END={stop}",
            f"title={escaped}",
        ]
    return "\n".join(text) + "\n"
