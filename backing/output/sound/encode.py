"""Sound files in blocks: WAV by hand, every other format by ffmpeg.

Conventions: a writer takes float32 blocks of shape (n, 2) at their final level and turns them into the file's own
samples; 16 bits get triangular dither, whose noise depends on the place in the file and on nothing else. No file holds
a date or a random number, so the same sound gives the same bytes.
Sources: dither of two evenly spread numbers, one step each (common practice); MP3 with a frame in front and M4A with an
edit list that say how much of head and tail to leave out.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, Protocol

from backing.output.sound import id3
from backing.output.sound.encoder import Encoder
from backing.output.sound.tags import Tags
from backing.output.sound.wave import RATE, WaveFile

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Sound = NDArray[np.float32]

__all__ = ["ENCODED", "SOUND", "Source", "write"]

KBPS = 192  # of MP3 and M4A
BITRATE = f"{KBPS}k"
BLOCK = 64 * 1152  # frames at a time


class _Format(NamedTuple):
    """How a format is written: its codec and file, a factor for the samples, names of tags that differ from ffmpeg's.

    `chapters` is whether it has some of its own; where not, they are tags too.
    """

    arguments: str
    gain: float = 1.0
    names: tuple[tuple[str, str], ...] = ()
    chapters: bool = True


_VORBIS_COMMENTS = (("bpm", "BPM"), ("key", "KEY"), ("maker", "ENCODED-BY"))
# LAME at full rate without a search for the shape of the noise: half the time, and a smaller error in the decoded sound.
_QUICK = "-compression_level 7"
# LAME turns a constant 192 kbit/s down to 0.97 of its level; measured: 0.26 LU.
_LAME = 1 / 0.97

_FORMATS = {
    ".flac": _Format("-c:a flac -f flac", names=_VORBIS_COMMENTS, chapters=False),
    ".ogg":  _Format("-c:a libvorbis -q:a 4 -f ogg", names=_VORBIS_COMMENTS, chapters=False),
    ".mp3":  _Format(f"-c:a libmp3lame -b:a {BITRATE} {_QUICK} -id3v2_version 3 -f mp3", _LAME),
    ".m4a":  _Format(f"-c:a aac -b:a {BITRATE} -movflags +faststart -f ipod", names=(("bpm", "tmpo"),)),
}  # fmt: skip
ENCODED = tuple(_FORMATS)  # by ffmpeg
SOUND = (".wav", *ENCODED)


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

    def hurry(self) -> None:
        """Let nobody wait for what a program has not taken yet, from any thread; the file is of no use."""


def write(
    part: Path,
    ending: str,
    source: Source,
    tags: Tags,
    *,
    bits: int = 16,
    loop: tuple[int, int] | None = None,
    tell: Callable[[int], None] = lambda frames: None,
    begun: Callable[[Writer], None] = lambda writer: None,
) -> None:
    """Write the file `part` in the format that `ending` names.

    `tell` hears how many frames were taken, and may raise to end it; `begun` is given the writer, to hurry it. Raises OSError, `OutputError`, `AudioUnavailable`.
    """
    out = _writer(part, ending, source.frames, tags, bits, loop)
    try:
        begun(out)
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
    return _Encoded(part, ending, frames, bits if ending == ".flac" else 0, tags)


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

    def hurry(self) -> None:
        """A disk takes what it takes."""


class _Encoded:
    """A file that ffmpeg writes, from whole samples (`bits`) or, where that is 0, from fractions of full scale."""

    def __init__(self, part: Path, ending: str, frames: int, bits: int, tags: Tags) -> None:
        form = _FORMATS[ending]
        length_ms = round(frames * 1000 / RATE)
        self._part = part
        self._told = part.with_name(part.name + ".tags")
        self._gain, self._bits = form.gain, bits
        self._tag = id3.tag(tags, length_ms) if ending == ".mp3" else b""
        raw = {0: "f32le", 16: "s16le", 24: "s32le"}[bits]
        arguments = ["-f", raw, "-ar", str(RATE), "-ac", "2", "-i", "pipe:0"]
        if self._tag:  # it leaves room in front
            arguments += ["-map_metadata", "-1", "-metadata_header_padding", str(len(self._tag))]
        else:
            self._told.write_text(metadata(tags, length_ms, form), encoding="utf-8")
            arguments += ["-f", "ffmetadata", "-i", str(self._told)]
            arguments += ["-map_metadata", "1", "-map_chapters", "1" if form.chapters else "-1"]
        arguments += ["-map", "0:a", "-fflags", "+bitexact", "-flags:a", "+bitexact"]
        try:
            self._encoder = Encoder(part, [*arguments, *form.arguments.split()])
        except BaseException:
            self._told.unlink(missing_ok=True)
            raise

    def write(self, sound: Sound, at: int) -> None:
        import numpy as np

        if not self._bits:
            loud = sound if self._gain == 1.0 else sound * sound.dtype.type(self._gain)
            self._encoder.write(loud.data.cast("B"))
            return
        whole = samples(sound, self._bits, at)
        if self._bits == 24:
            whole = whole.astype(np.int32) << 8
        self._encoder.write(whole.data.cast("B"))

    def close(self) -> None:
        try:
            self._encoder.close()
        finally:
            self._told.unlink(missing_ok=True)
        if self._tag:
            with self._part.open("r+b") as file:
                room = id3.room_of(file.read(id3.HEADER))
                file.seek(0)
                file.write(id3.filled(self._tag, room))

    def abandon(self) -> None:
        self._encoder.abandon()
        self._told.unlink(missing_ok=True)

    def hurry(self) -> None:
        self._encoder.kill()


def metadata(tags: Tags, length_ms: int, form: _Format) -> str:
    """Tags and chapters as ffmpeg reads them: each chapter runs until the next, the last to `length_ms`."""
    said = {
        "title": tags.title, "artist": tags.by, "album": tags.album, "track": tags.track, "comment": tags.told,
    }  # fmt: skip
    said |= {name: str(getattr(tags, field) or "") for field, name in form.names}
    chapters = tags.chapters if len(tags.chapters) > 1 else ()
    text = [";FFMETADATA1", *(f"{name}={_escaped(value)}" for name, value in said.items() if value)]
    ends = [*(start for start, _ in chapters[1:]), length_ms]
    for i, ((start, name), end) in enumerate(zip(chapters, ends, strict=bool(chapters))):
        if form.chapters:
            text += ["[CHAPTER]", "TIMEBASE=1/1000", f"START={start}", f"END={end}"]
            text.append(f"title={_escaped(name)}")
        else:
            minutes, ms = divmod(start, 60_000)
            at = f"{minutes // 60:02}:{minutes % 60:02}:{ms // 1000:02}.{ms % 1000:03}"
            text += [f"CHAPTER{i:03}={at}", f"CHAPTER{i:03}NAME={_escaped(name)}"]
    return "\n".join(text) + "\n"


def described(tags: Tags, length_ms: int, ending: str) -> str:
    """The same as a format has it that `ending` names."""
    return metadata(tags, length_ms, _FORMATS[ending])


def _escaped(text: str) -> str:
    return re.sub(r"([=;#\\\n])", r"\\\1", text)
