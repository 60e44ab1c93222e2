"""WAV files, in blocks, with their tags and loop points before the sound.

Sources: RIFF WAVE (chunks `fmt `, `LIST` of form `INFO`, `data`; little-endian, padded to even lengths); an ID3 tag in
a chunk `id3 ` (common practice: INFO has no place for chapters, tempo or key); the sampler
chunk `smpl` (sample period in nanoseconds, 60 the middle C, a loop from its first to its last sample, both inside,
play count 0 for ever).
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING

from backing.ground.errors import OutputError
from backing.output.sound import id3
from backing.output.sound.tags import Tags

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

RATE = 44_100
_LONGEST = 2**32 - 1


def header(frames: int, bits: int, tags: Tags, loop: tuple[int, int] | None = None) -> bytes:
    """Everything before the samples; `loop` is first frame and frame after the last. Raises `OutputError` if too long."""
    frame = 2 * bits // 8
    data = frames * frame
    chunks = _chunk(b"fmt ", struct.pack("<HHIIHH", 1, 2, RATE, RATE * frame, frame, bits))
    chunks += _chunk(b"LIST", b"INFO" + _info(tags))
    chunks += _chunk(b"id3 ", id3.tag(tags, round(frames * 1000 / RATE)))
    if loop:
        chunks += _chunk(b"smpl", _smpl(*loop))
    length = 4 + len(chunks) + 8 + data + data % 2
    if length > _LONGEST:
        raise OutputError("the track is too long for a WAV file; write FLAC (.flac) instead")
    return (
        b"RIFF" + struct.pack("<I", length) + b"WAVE" + chunks + b"data" + struct.pack("<I", data)
    )


class WaveFile:
    """A WAV file of a length that is known from the start."""

    def __init__(
        self,
        path: Path,
        frames: int,
        bits: int,
        tags: Tags,
        loop: tuple[int, int] | None = None,
    ) -> None:
        self._bits = bits
        head = header(frames, bits, tags, loop)
        self._file = path.open("wb", buffering=0)
        try:
            self._put(memoryview(head))
        except OSError:
            self.close()
            raise

    def write(self, samples: NDArray[np.int16] | NDArray[np.int32]) -> None:
        """Samples of 16 bits, or of 24 bits in the low bytes of 32. Raises OSError."""
        import numpy as np

        if self._bits == 24:
            wide = np.ascontiguousarray(samples, "<i4").view(np.uint8).reshape(-1, 4)
            low = np.empty((len(wide), 3), np.uint8)
            for byte in range(3):
                low[:, byte] = wide[:, byte]
            self._put(low.data.cast("B"))
        else:
            self._put(np.ascontiguousarray(samples, "<i2").data.cast("B"))

    def close(self) -> None:
        self._file.close()

    def _put(self, rest: memoryview) -> None:
        while rest:
            rest = rest[self._file.write(rest) :]


def _info(tags: Tags) -> bytes:
    entries = (
        (b"INAM", tags.title),
        (b"IART", tags.by),
        (b"IPRD", tags.album),
        (b"ITRK", tags.track),
        (b"ICMT", tags.told),
        (b"ISFT", tags.maker),
    )
    return b"".join(_chunk(name, text.encode("utf-8") + b"\0") for name, text in entries if text)


def _smpl(first: int, after: int) -> bytes:
    period_ns = round(1e9 / RATE)
    head = struct.pack("<9I", 0, 0, period_ns, 60, 0, 0, 0, 1, 0)
    return head + struct.pack("<6I", 0, 0, first, after - 1, 0, 0)


def _chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
